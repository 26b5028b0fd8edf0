package server_test

import (
	"encoding/json"
	"encoding/xml"
	"errors"
	"io"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	v1 "turnwright/api/turnwright/v1"
)

// refusal is a call that must fail, and how.
type refusal struct {
	what    string
	err     error
	code    codes.Code
	reason  string
	field   string // that a BadRequest names; empty for none
	message string
}

func (c refusal) check(t *testing.T) {
	t.Helper()
	st := status.Convert(c.err)
	assert.Equal(t, c.code, st.Code(), st.Message())
	assert.Contains(t, st.Message(), c.message)
	var info *errdetails.ErrorInfo
	field := ""
	for _, d := range st.Details() {
		switch d := d.(type) {
		case *errdetails.ErrorInfo:
			info = d
		case *errdetails.BadRequest:
			field = d.GetFieldViolations()[0].GetField()
		}
	}
	require.NotNil(t, info)
	assert.Equal(t, c.reason, info.GetReason())
	assert.Equal(t, c.field, field)
}

func TestPicturesAreDrawn(t *testing.T) {
	r := start(t, t.TempDir())
	draws := v1.NewDrawServiceClient(r.conn)
	req := &v1.DrawPuzzleRequest{
		Puzzle: "puzzles/vertex-cut-dodecahedron", Sequence: "2.a c2^-2 a c2^2 2.a' c2^-2 a' c2^2", Width: 400,
		Scene: &v1.Scene{Far: v1.FarSide_FAR_SIDE_TURNED, Mark: []string{"triangle:b3-b4-c2-c3-c4"}},
	}
	reply, err := draws.DrawPuzzle(t.Context(), req)
	require.NoError(t, err)
	picture := reply.GetPicture()
	assert.Equal(t, "image/svg+xml", picture.GetMediaType())
	assert.EqualValues(t, 400, picture.GetWidth())
	assert.Contains(t, picture.GetText(), "triangle")
	root, rest := svgRoot(t, picture.GetContent())
	assert.Equal(t, "svg", root)
	assert.Contains(t, rest, "2.a c2^-2 a c2^2")

	req.Format = v1.PictureFormat_PICTURE_FORMAT_JSON
	reply, err = draws.DrawPuzzle(t.Context(), req)
	require.NoError(t, err)
	assert.Equal(t, "application/json", reply.GetPicture().GetMediaType())
	var form struct {
		Width    float64
		Polygons []struct{ Sticker int }
		Arrows   []struct{ Type string }
		Marks    []struct{}
	}
	require.NoError(t, json.Unmarshal([]byte(reply.GetPicture().GetContent()), &form))
	assert.EqualValues(t, 400, form.Width)
	assert.NotEmpty(t, form.Arrows)
	assert.NotEmpty(t, form.Marks)
	assert.Equal(t, "triangle", form.Arrows[0].Type)

	req.Format = v1.PictureFormat_PICTURE_FORMAT_PDF
	reply, err = draws.DrawPuzzle(t.Context(), req)
	require.NoError(t, err)
	assert.Equal(t, "application/pdf", reply.GetPicture().GetMediaType())
	assert.Empty(t, reply.GetPicture().GetContent())
	assert.Contains(t, string(reply.GetPicture().GetData()), "/MediaBox [0 0 300.00 ", "400 pixels of 96 to an inch")

	sheet, err := draws.DrawSheet(t.Context(), &v1.DrawSheetRequest{
		Puzzle: "puzzles/3x3x3", Metric: v1.Metric_METRIC_OBTM, Title: "By <lamplight>",
		Scene:   &v1.Scene{Projection: v1.Projection_PROJECTION_NET},
		Entries: []*v1.SheetEntry{{Sequence: "R' D' R U R' D R U'"}, {Sequence: "R U", Text: "a < b"}},
	})
	require.NoError(t, err)
	_, text := svgRoot(t, sheet.GetPicture().GetContent())
	assert.EqualValues(t, 210, sheet.GetPicture().GetWidth(), "A4, ISO 216")
	assert.Contains(t, text, "By <lamplight>")
	assert.Contains(t, text, "8 OBTM")
	assert.Contains(t, text, "commutator", "a sequence without a text is explained")
	assert.Contains(t, text, "a < b")
}

// svgRoot is the name of a document's root element, and all text in it.
func svgRoot(t *testing.T, document string) (root, text string) {
	t.Helper()
	d := xml.NewDecoder(strings.NewReader(document))
	for {
		token, err := d.Token()
		if errors.Is(err, io.EOF) {
			return root, text
		}
		require.NoError(t, err)
		switch token := token.(type) {
		case xml.StartElement:
			if root == "" {
				root = token.Name.Local
			}
		case xml.CharData:
			text += string(token)
		}
	}
}

func TestBadPicturesAreRefused(t *testing.T) {
	r := start(t, t.TempDir())
	draws := v1.NewDrawServiceClient(r.conn)
	draw := func(change func(*v1.DrawPuzzleRequest)) error {
		req := &v1.DrawPuzzleRequest{Puzzle: "puzzles/3x3x3", Sequence: "R U", Scene: &v1.Scene{}}
		change(req)
		_, err := draws.DrawPuzzle(t.Context(), req)
		return err
	}
	sheet := func(change func(*v1.DrawSheetRequest)) error {
		req := &v1.DrawSheetRequest{Puzzle: "puzzles/3x3x3", Entries: []*v1.SheetEntry{{Sequence: "R"}}}
		change(req)
		_, err := draws.DrawSheet(t.Context(), req)
		return err
	}
	const invalid, bad = codes.InvalidArgument, "FIELD_INVALID"
	for _, c := range []refusal{
		{"unknown puzzle", draw(func(q *v1.DrawPuzzleRequest) { q.Puzzle = "puzzles/pebble" }), codes.NotFound, "PUZZLE_NOT_FOUND", "", "pebble"},
		{"no puzzle", draw(func(q *v1.DrawPuzzleRequest) { q.Puzzle = "" }), invalid, bad, "puzzle", "puzzles/NAME"},
		{"too narrow", draw(func(q *v1.DrawPuzzleRequest) { q.Width = 99 }), invalid, bad, "width", "100 to 4000"},
		{"too wide", draw(func(q *v1.DrawPuzzleRequest) { q.Width = 4001 }), invalid, bad, "width", "100 to 4000"},
		{"negative", draw(func(q *v1.DrawPuzzleRequest) { q.Width = -1 }), invalid, bad, "width", "100 to 4000"},
		{"a long title", draw(func(q *v1.DrawPuzzleRequest) { q.Title = strings.Repeat("ü", 201) }), invalid, bad, "title", "200"},
		{"unreadable", draw(func(q *v1.DrawPuzzleRequest) { q.Sequence = "R (" }), invalid, "SEQUENCE_REFUSED", "sequence", "line 1"},
		{"hostile", draw(func(q *v1.DrawPuzzleRequest) { q.Sequence = "((((R)^9999)^9999)^9999)^9999" }), invalid, "SEQUENCE_REFUSED", "sequence", "turns"},
		{"too long", draw(func(q *v1.DrawPuzzleRequest) { q.Sequence = "(R U)^5001" }), invalid, "SEQUENCE_REFUSED", "sequence", "10002 turns"},
		{"no projection", draw(func(q *v1.DrawPuzzleRequest) { q.Scene.Projection = 9 }), invalid, bad, "scene.projection", "9"},
		{"no moment", draw(func(q *v1.DrawPuzzleRequest) { q.Scene.Moment = 9 }), invalid, bad, "scene.moment", "9"},
		{"no side", draw(func(q *v1.DrawPuzzleRequest) { q.Scene.Far = 9 }), invalid, bad, "scene.far", "9"},
		{"no format", draw(func(q *v1.DrawPuzzleRequest) { q.Format = 9 }), invalid, bad, "format", "9"},
		{"a net seen from somewhere", draw(func(q *v1.DrawPuzzleRequest) {
			q.Scene.Projection, q.Scene.Up = v1.Projection_PROJECTION_NET, 3
		}), invalid, bad, "scene.projection", "about a view"},
		{"no axis", draw(func(q *v1.DrawPuzzleRequest) { q.Scene.From = "Q" }), invalid, bad, "scene.from", "it has U"},
		{"no angle", draw(func(q *v1.DrawPuzzleRequest) { q.Scene.Tilt = math.NaN() }), invalid, bad, "scene.tilt", "-360 to 360"},
		{"too far round", draw(func(q *v1.DrawPuzzleRequest) { q.Scene.Right = 1e300 }), invalid, bad, "scene.right", "-360 to 360"},
		{"no type for arrows", draw(func(q *v1.DrawPuzzleRequest) { q.Scene.Arrows = []string{"petal"} }), invalid, bad, "scene.arrows", "it has centre"},
		{"all and one", draw(func(q *v1.DrawPuzzleRequest) { q.Scene.Arrows = []string{"all", "edge"} }), invalid, bad, "scene.arrows", `"all"`},
		{"no pale type", draw(func(q *v1.DrawPuzzleRequest) { q.Scene.Pale = []string{"petal"} }), invalid, bad, "scene.pale", "petal"},
		{"no heavy type", draw(func(q *v1.DrawPuzzleRequest) { q.Scene.Highlight = []string{"petal"} }), invalid, bad, "scene.highlight", "petal"},
		{"no slot", draw(func(q *v1.DrawPuzzleRequest) { q.Scene.Mark = []string{"edge:UFR"} }), invalid, bad, "scene.mark", "no such slot"},
		{"a thousand marks", draw(func(q *v1.DrawPuzzleRequest) { q.Scene.Mark = make([]string, 1000) }), invalid, bad, "scene.mark", "at most 100"},
		{"a long name", draw(func(q *v1.DrawPuzzleRequest) { q.Scene.Pale = []string{strings.Repeat("x", 201)} }), invalid, bad, "scene.pale", "at most 200"},
		{"hundreds of arrows", draw(func(q *v1.DrawPuzzleRequest) {
			q.Puzzle, q.Scene.Arrows = "puzzles/7x7x7", []string{"all"}
			q.Sequence = "(R U F 2.R 2.U 2.F 3.R 3.U 3.F L D B)^7"
		}), invalid, bad, "scene", "arrows, at most 200"},
		{"an empty sheet", sheet(func(q *v1.DrawSheetRequest) { q.Entries = nil }), invalid, bad, "entries", "1 to 6"},
		{"a crowded sheet", sheet(func(q *v1.DrawSheetRequest) { q.Entries = make([]*v1.SheetEntry, 7) }), invalid, bad, "entries", "1 to 6"},
		{"unreadable on a sheet", sheet(func(q *v1.DrawSheetRequest) {
			q.Entries = append(q.Entries, &v1.SheetEntry{Sequence: "Q"})
		}), invalid, "SEQUENCE_REFUSED", "entries[1].sequence", "sequence 2"},
		{"much text on a sheet", sheet(func(q *v1.DrawSheetRequest) { q.Entries[0].Text = strings.Repeat("x", 2001) }), invalid, bad, "entries[0].text", "2000"},
		{"a sheet without a metric", sheet(func(q *v1.DrawSheetRequest) { q.Metric = 9 }), invalid, bad, "metric", "9"},
		{"a sheet of no puzzle", sheet(func(q *v1.DrawSheetRequest) { q.Puzzle = "puzzles/pebble" }), codes.NotFound, "PUZZLE_NOT_FOUND", "", "pebble"},
	} {
		t.Run(c.what, c.check)
	}
}
