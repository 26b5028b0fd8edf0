// Package pictures serves pictures of puzzles and of what sequences do to them.
//
// The one idea: a request is turned into a draw.Scene field by field, so that what is
// wrong is said of its field; what follows is package draw's.
//
//	v1.RegisterDrawServiceServer(g, pictures.NewService(library))
//
// It keeps nothing: the same request gives the same picture.
package pictures

import (
	"bytes"
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"strings"
	"unicode/utf8"

	v1 "turnwright/api/turnwright/v1"
	"turnwright/search/draw"
	"turnwright/search/draw/pdf"
	"turnwright/search/draw/svg"
	"turnwright/search/notation"
	"turnwright/search/puzzle"
	"turnwright/server/effects"
	"turnwright/server/fail"
	"turnwright/server/puzzles"
	"turnwright/server/read"
)

// Bounds of a request.
const (
	leastWidth, mostWidth = 100, 4000 // pixels
	maxTitle              = 200       // letters
	maxText               = 2000      // letters of what is said about a sequence
	maxCaption            = 400       // letters of a sequence under its picture
	maxTurns              = 10_000    // of a sequence
	maxAnswer             = 3 << 20   // bytes of a picture: clients take messages of 4 MiB

	maxDrawing = 2 // pictures that are drawn at once
)

// Service answers turnwright.v1.DrawService.
type Service struct {
	v1.UnimplementedDrawServiceServer
	library *puzzles.Library
	drawing chan struct{} // holds a token for each picture that is being drawn
}

// NewService makes the service.
func NewService(l *puzzles.Library) *Service {
	return &Service{library: l, drawing: make(chan struct{}, maxDrawing)}
}

// turn waits until a picture may be drawn; done ends that.
func (s *Service) turn(ctx context.Context) (done func(), err error) {
	select {
	case s.drawing <- struct{}{}:
		return func() { <-s.drawing }, nil
	case <-ctx.Done():
		return nil, ctx.Err()
	}
}

// DrawPuzzle draws one picture.
func (s *Service) DrawPuzzle(ctx context.Context, req *v1.DrawPuzzleRequest) (*v1.DrawPuzzleResponse, error) {
	if w := req.GetWidth(); w != 0 && (w < leastWidth || w > mostWidth) {
		return nil, fail.Field("width", "%d: must be %d to %d", w, leastWidth, mostWidth)
	}
	if err := checkTitle(req.GetTitle()); err != nil {
		return nil, err
	}
	p, err := s.library.Find(ctx, req.GetPuzzle())
	if err != nil {
		return nil, err
	}
	look, err := readScene(p, req.GetScene())
	if err != nil {
		return nil, err
	}
	turns, text, err := sequence(p, req.GetSequence())
	if err != nil {
		return nil, effects.Refusal("sequence", err)
	}
	done, err := s.turn(ctx)
	if err != nil {
		return nil, err
	}
	defer done()
	look.scene.Title = cmp.Or(req.GetTitle(), p.Title)
	if text != "" {
		look.scene.Captions = []string{shortened(text, maxCaption)}
	}
	picture, err := look.draw(p, turns)
	if err != nil {
		return nil, err
	}
	if w := req.GetWidth(); w != 0 {
		picture = picture.Resize(float64(w))
	}
	m, err := message(picture, req.GetFormat(), writers{svg.Write, pdf.Write})
	if err != nil {
		return nil, err
	}
	return &v1.DrawPuzzleResponse{Picture: m}, nil
}

// DrawSheet lays sequences out on a page.
func (s *Service) DrawSheet(ctx context.Context, req *v1.DrawSheetRequest) (*v1.DrawSheetResponse, error) {
	if n := len(req.GetEntries()); n < 1 || n > draw.MaxEntries {
		return nil, fail.Field("entries", "%d sequences: give 1 to %d for a sheet", n, draw.MaxEntries)
	}
	if err := checkTitle(req.GetTitle()); err != nil {
		return nil, err
	}
	metric, err := read.Metric("metric", req.GetMetric())
	if err != nil {
		return nil, err
	}
	p, err := s.library.Find(ctx, req.GetPuzzle())
	if err != nil {
		return nil, err
	}
	look, err := readScene(p, req.GetScene())
	if err != nil {
		return nil, err
	}
	done, err := s.turn(ctx)
	if err != nil {
		return nil, err
	}
	defer done()
	look.scene.Title = cmp.Or(req.GetTitle(), p.Title)
	var entries []draw.Entry
	for i, e := range req.GetEntries() {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		entry, err := look.entry(p, metric, i, e)
		if err != nil {
			return nil, err
		}
		entries = append(entries, entry)
	}
	picture, err := draw.Sheet(look.scene.Title, p.Name, entries)
	if err != nil {
		return nil, fail.Field("entries", "%w", err)
	}
	m, err := message(picture, req.GetFormat(), writers{svg.WritePage, pdf.WritePage})
	if err != nil {
		return nil, err
	}
	return &v1.DrawSheetResponse{Picture: m}, nil
}

// entry is one row of a sheet.
func (l *look) entry(p *puzzle.Puzzle, metric puzzle.Metric, i int, e *v1.SheetEntry) (draw.Entry, error) {
	field := fmt.Sprintf("entries[%d]", i)
	if utf8.RuneCountInString(e.GetText()) > maxText {
		return draw.Entry{}, fail.Field(field+".text", "more than %d letters", maxText)
	}
	turns, text, err := sequence(p, e.GetSequence())
	if err != nil {
		return draw.Entry{}, effects.Refusal(field+".sequence", fmt.Errorf("sequence %d: %w", i+1, err))
	}
	picture, err := l.draw(p, turns)
	if err != nil {
		return draw.Entry{}, fmt.Errorf("sequence %d: %w", i+1, err)
	}
	out := draw.Entry{
		Picture: picture, Sequence: text, Text: strings.TrimSpace(e.GetText()),
		Length: fmt.Sprintf("%d %s", notation.Length(p, metric, turns), strings.ToUpper(metric.String())),
	}
	if out.Text == "" {
		out.Text, err = explained(p, metric, turns, text)
	}
	return out, err
}

// explained says how a sequence reads, if it has any structure, and what it does. The
// reading is left out where the text has it already.
func explained(p *puzzle.Puzzle, metric puzzle.Metric, turns []puzzle.Turn, text string) (string, error) {
	e, err := effects.Explanation(p, metric, turns)
	switch {
	case err != nil:
		return "", err
	case e.GetPlain():
		return does(p, turns), nil
	case e.GetText() == text:
		return fmt.Sprintf("%s. %s", e.GetWords(), does(p, turns)), nil
	}
	return fmt.Sprintf("%s: %s. %s", e.GetText(), e.GetWords(), does(p, turns)), nil
}

func checkTitle(title string) error {
	if utf8.RuneCountInString(title) > maxTitle {
		return fail.Field("title", "more than %d letters", maxTitle)
	}
	return nil
}

// sequence reads a sequence and writes it out as it was meant, without its comments.
func sequence(p *puzzle.Puzzle, text string) ([]puzzle.Turn, string, error) {
	seq, err := notation.Parse(p, text)
	if err != nil {
		return nil, "", err
	}
	turns, err := seq.Expand()
	if err == nil && len(turns) > maxTurns {
		err = fmt.Errorf("%d turns, at most %d can be drawn", len(turns), maxTurns)
	}
	return turns, seq.String(), err
}

// shortened is a text as far as there is room for it.
func shortened(text string, most int) string {
	if rs := []rune(text); len(rs) > most {
		return string(rs[:most]) + " …"
	}
	return text
}

// writers write pictures in units of one kind.
type writers struct {
	svg, pdf func(io.Writer, draw.Picture) error
}

// message writes a picture as the API has it.
func message(p draw.Picture, f v1.PictureFormat, write writers) (*v1.Picture, error) {
	out := &v1.Picture{Title: p.Title, Text: p.Text, Width: draw.Round(p.Width), Height: draw.Round(p.Height)}
	var b bytes.Buffer
	var err error
	switch f {
	case v1.PictureFormat_PICTURE_FORMAT_UNSPECIFIED, v1.PictureFormat_PICTURE_FORMAT_SVG:
		out.MediaType = "image/svg+xml"
		err = write.svg(&b, p)
	case v1.PictureFormat_PICTURE_FORMAT_PDF:
		out.MediaType = "application/pdf"
		err = write.pdf(&b, p)
	case v1.PictureFormat_PICTURE_FORMAT_JSON:
		out.MediaType = "application/json"
		encoder := json.NewEncoder(&b)
		encoder.SetEscapeHTML(false)
		err = encoder.Encode(p)
	default:
		return nil, fail.Field("format", "%d is no format", int32(f))
	}
	if err != nil {
		return nil, err
	}
	if b.Len() > maxAnswer {
		return nil, fail.Field("format", "the picture has %d bytes, at most %d are sent: ask for less on it, or for SVG", b.Len(), maxAnswer)
	}
	if f == v1.PictureFormat_PICTURE_FORMAT_PDF {
		out.Data = b.Bytes()
	} else {
		out.Content = b.String()
	}
	return out, nil
}
