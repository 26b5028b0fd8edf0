package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	"turnwright/api/client"
	turnwrightv1 "turnwright/api/turnwright/v1"
)

const aboutDraw = `Draw a puzzle as SVG, or as PDF where --to ends with .pdf: in perspective or as a flat
net; solved, or after a sequence, or with arrows along the cycles that the sequence
makes. Several arguments are one sequence.

With arrows the puzzle is shown as it is before the sequence, what stays is pale, and a
turn of the whole puzzle that is left over is taken off. Without --arrows there are
arrows where there are at most 24 of them; otherwise the state after is shown.

With --sheet each argument is a sequence of its own, six at most, and all of them come on
one page to print (A4) with their pictures and lengths and what they do. Text after
"//" in an argument takes the place of the latter.

With --as model there is no picture but what one is drawn from in space, as JSON: regions,
axes and layers of the puzzle; turns and arrows of the sequence.`

// drawing is what the flags of draw say.
type drawing struct {
	puzzle string

	as, far   string
	from      string
	turn      []float64
	arrows    []string
	state     string
	pale      []string
	highlight []string
	mark      []string
	letters   bool

	sheet  bool
	title  string
	metric string
	to     string
	width  int
	format turnwrightv1.PictureFormat
}

// Bounds of --width, in pixels.
const leastWidth, mostWidth = 100, 4000

func (a *app) drawCommand() *cobra.Command {
	var e either
	var d drawing
	cmd := &cobra.Command{
		Use:   "draw --puzzle NAME [SEQUENCE]",
		Short: "Draw a puzzle, or what a sequence does to it, as SVG or PDF",
		Long:  aboutDraw,
		Example: `  turnwright draw --puzzle 3x3x3 --as net --to net.svg
  turnwright draw --puzzle 3x3x3 "[R U R', D]" --to cycle.svg
  turnwright draw --puzzle skewb a1 b2 --state after --far turned --to state.svg
  turnwright draw --puzzle 3x3x3 --sheet --title "Two of mine" "[R U R', D] // three corners" "[R' 2.D R, U2]" --to sheet.pdf`,
		RunE: a.verb(func(ctx context.Context, args []string) error {
			if err := d.check(); err != nil {
				return usageError{err}
			}
			if d.as == "model" {
				return a.withServer(ctx, e, func(c *client.Client) error { return a.drawModel(ctx, c, &d, strings.Join(args, " ")) })
			}
			if strings.EqualFold(filepath.Ext(d.to), ".pdf") {
				d.format = turnwrightv1.PictureFormat_PICTURE_FORMAT_PDF
			}
			if a.output == "json" {
				d.format = turnwrightv1.PictureFormat_PICTURE_FORMAT_JSON
				if d.to != "-" {
					return usageError{errors.New("--to: a picture as JSON goes to standard output; leave out --to or --output json")}
				}
			}
			return a.withServer(ctx, e, func(c *client.Client) error {
				name, err := puzzleName(ctx, c, d.puzzle)
				if err != nil {
					return err
				}
				picture, err := d.draw(ctx, c, name, args)
				if err != nil {
					return err
				}
				return a.put(picture, &d)
			})
		}),
	}
	e.registerData(cmd)
	d.register(cmd)
	return cmd
}

func (d *drawing) register(cmd *cobra.Command) {
	flags := cmd.Flags()
	flags.StringVar(&d.puzzle, "puzzle", "", "`name` of the puzzle, or a YAML file that defines one")
	flags.Var(newChoice(&d.as, "view", "net", "model"), "as", "in perspective, or unfolded; or what there is to draw in space, as JSON")
	flags.StringVar(&d.from, "from", "", "`axis` that points at the viewer (default from the front, or where most arrows are seen)")
	flags.Float64SliceVar(&d.turn, "turn", nil, "`degrees` that the viewer goes on from there: to the right, up, and tilts: 20,-10 or 20,-10,5")
	flags.Lookup("turn").DefValue = "" // nothing to show
	flags.Var(newChoice(&d.far, "none", "turned", "mirror"), "far", "the far side beside it: the puzzle turned half round, or in a mirror behind it")
	flags.StringSliceVar(&d.arrows, "arrows", nil, "`types` of pieces whose cycles have arrows, or all, or none")
	flags.Var(newChoice(&d.state, "auto", "before", "after"), "state", "colours before the sequence or after it (auto: before where there are arrows)")
	flags.StringSliceVar(&d.pale, "pale", nil, "`types` of pieces to make pale")
	flags.StringSliceVar(&d.highlight, "highlight", nil, "`types` of pieces with heavy outlines")
	flags.StringSliceVar(&d.mark, "mark", nil, "`slots` whose pieces have a ring around them: UFR, or corner:UFR")
	flags.BoolVar(&d.letters, "letters", false, "write on each sticker the face that it comes from")
	flags.BoolVar(&d.sheet, "sheet", false, "one page to print, each argument a sequence of its own")
	flags.StringVar(&d.title, "title", "", "`text` for a title (default the puzzle's)")
	flags.Var(newChoice(&d.metric, "stm", "obtm", "qtm", "etm"), "metric", "how turns are counted on a sheet")
	flags.StringVar(&d.to, "to", "-", "`file` to write to, PDF if it ends with .pdf; - for standard output")
	flags.IntVar(&d.width, "width", 0, fmt.Sprintf("`pixels` across, %d to %d (default 800 for a net, 520 for a view)", leastWidth, mostWidth))
	cmd.MarkFlagsMutuallyExclusive("sheet", "width")
	if err := cmd.MarkFlagRequired("puzzle"); err != nil {
		panic(err) // the flag was not registered above
	}
}

// check looks at what does not depend on the puzzle.
func (d *drawing) check() error {
	switch {
	case d.width != 0 && (d.width < leastWidth || d.width > mostWidth):
		return fmt.Errorf("--width %d: must be %d to %d", d.width, leastWidth, mostWidth)
	case len(d.turn) > 3:
		return errors.New("--turn: must be at most three numbers: to the right, up, and the tilt")
	case d.to == "":
		return errors.New("--to: must be a file, or - for standard output")
	case slices.Contains([]string{".png", ".jpg", ".jpeg", ".gif", ".webp"}, strings.ToLower(filepath.Ext(d.to))):
		return fmt.Errorf("--to %s: pictures are SVG or PDF: write one that ends with .svg or .pdf", d.to)
	case d.as == "net" && (d.from != "" || len(d.turn) > 0 || d.far != "none"):
		return errors.New("--from, --turn and --far are about a view: leave them out, or leave out --as net")
	case d.as == "model" && (d.sheet || d.to != "-" || d.width != 0):
		return errors.New("--as model writes JSON to standard output: leave out --sheet, --to and --width")
	}
	return nil
}

// draw asks for the picture, or the sheet.
func (d *drawing) draw(ctx context.Context, c *client.Client, puzzle string, args []string) (*turnwrightv1.Picture, error) {
	scene := d.scene()
	if d.sheet {
		request := &turnwrightv1.DrawSheetRequest{
			Puzzle: puzzle, Scene: scene, Title: d.title, Metric: metricOf(d.metric), Format: d.format,
		}
		for _, arg := range args {
			_, comment, _ := strings.Cut(arg, "//")
			request.Entries = append(request.Entries, &turnwrightv1.SheetEntry{Sequence: arg, Text: strings.TrimSpace(comment)})
		}
		reply, err := c.Drawings.DrawSheet(ctx, request)
		return reply.GetPicture(), err
	}
	reply, err := c.Drawings.DrawPuzzle(ctx, &turnwrightv1.DrawPuzzleRequest{
		Puzzle: puzzle, Sequence: strings.Join(args, " "), Scene: scene, Title: d.title, Width: int32(d.width), Format: d.format,
	})
	return reply.GetPicture(), err
}

// drawModel writes what there is to draw in space: always JSON, as it is for programs.
func (a *app) drawModel(ctx context.Context, c *client.Client, d *drawing, sequence string) error {
	puzzle, err := puzzleName(ctx, c, d.puzzle)
	if err != nil {
		return err
	}
	model, err := c.Drawings.GetModel(ctx, &turnwrightv1.GetModelRequest{Puzzle: puzzle})
	if err != nil {
		return err
	}
	trace, err := c.Drawings.TraceSequence(ctx, &turnwrightv1.TraceSequenceRequest{Puzzle: puzzle, Sequence: sequence, Arrows: d.arrows})
	if err != nil {
		return err
	}
	form, err := messageJSON(model.GetModel())
	if err != nil {
		return err
	}
	if err := a.printJSON("model", form); err != nil {
		return err
	}
	if form, err = messageJSON(trace.GetTrace()); err != nil {
		return err
	}
	return a.printJSON("trace", form)
}

// messageJSON is a message as it is over HTTP. Its spaces are taken out, which are made up
// anew in each build of the program.
func messageJSON(m proto.Message) (json.RawMessage, error) {
	text, err := protojson.MarshalOptions{EmitDefaultValues: true}.Marshal(m)
	if err != nil {
		return nil, fmt.Errorf("write as JSON: %w", err)
	}
	var compact bytes.Buffer
	if err := json.Compact(&compact, text); err != nil {
		return nil, fmt.Errorf("write as JSON: %w", err)
	}
	return compact.Bytes(), nil
}

// scene is what is to be seen, as the API has it.
func (d *drawing) scene() *turnwrightv1.Scene {
	s := &turnwrightv1.Scene{
		From: d.from, Arrows: d.arrows, Pale: d.pale, Highlight: d.highlight, Mark: d.mark, Letters: d.letters,
		Projection: turnwrightv1.Projection(turnwrightv1.Projection_value["PROJECTION_"+strings.ToUpper(d.as)]),
		Moment:     turnwrightv1.Moment(turnwrightv1.Moment_value["MOMENT_"+strings.ToUpper(d.state)]), // auto is not said
		Far:        turnwrightv1.FarSide(turnwrightv1.FarSide_value["FAR_SIDE_"+strings.ToUpper(d.far)]),
	}
	for i, at := range []*float64{&s.Right, &s.Up, &s.Tilt} {
		if i < len(d.turn) {
			*at = d.turn[i]
		}
	}
	return s
}

// put writes the picture where it is to go.
func (a *app) put(p *turnwrightv1.Picture, d *drawing) error {
	switch {
	case a.output == "json":
		return a.printJSON("picture", json.RawMessage(p.GetContent()))
	case d.to == "-":
		return a.printText(p.GetContent())
	}
	content := p.GetData()
	if d.format != turnwrightv1.PictureFormat_PICTURE_FORMAT_PDF {
		content = []byte(p.GetContent())
	}
	if err := writeFile("--to", d.to, content); err != nil {
		return err
	}
	a.note("wrote %s", strings.TrimSpace(d.to))
	return nil
}
