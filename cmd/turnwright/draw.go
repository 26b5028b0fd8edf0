package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"strings"

	"github.com/spf13/cobra"

	"turnwright/api/client"
	turnwrightv1 "turnwright/api/turnwright/v1"
	"turnwright/search/draw"
	"turnwright/search/draw/svg"
	"turnwright/search/puzzle"
)

const aboutDraw = `Draw a puzzle as SVG: in perspective or as a flat net; solved, or after a sequence, or
with arrows along the cycles that the sequence makes. Several arguments are one sequence.

With arrows the puzzle is shown as it is before the sequence, what stays is pale, and a
turn of the whole puzzle that is left over is taken off. Without --arrows there are
arrows where there are at most 24 of them; otherwise the state after is shown.

With --sheet each argument is a sequence of its own, six at most, and all of them come on
one page to print (A4) with their pictures and lengths and what they do. Text after
"//" in an argument takes the place of the latter.`

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
}

// Bounds of a drawing.
const (
	leastWidth, mostWidth = 100, 4000
	mostArrows            = 24 // unless they are asked for
	mostCaption           = 400
)

func (a *app) drawCommand() *cobra.Command {
	var e either
	var d drawing
	cmd := &cobra.Command{
		Use:   "draw --puzzle NAME [SEQUENCE]",
		Short: "Draw a puzzle, or what a sequence does to it, as SVG",
		Long:  aboutDraw,
		Example: `  turnwright draw --puzzle 3x3x3 --as net --to net.svg
  turnwright draw --puzzle 3x3x3 "[R U R', D]" --to cycle.svg
  turnwright draw --puzzle skewb a1 b2 --state after --far turned --to state.svg
  turnwright draw --puzzle 3x3x3 --sheet --title "Two of mine" "[R U R', D] // three corners" "[R' 2.D R, U2]" --to sheet.svg`,
		RunE: a.verb(func(ctx context.Context, args []string) error {
			if err := d.check(); err != nil {
				return usageError{err}
			}
			if a.output == "json" && d.to != "-" {
				return usageError{errors.New("--to: a picture as JSON goes to standard output; leave out --to or --output json")}
			}
			return a.withServer(ctx, e, func(c *client.Client) error {
				name, err := puzzleName(ctx, c, d.puzzle)
				if err != nil {
					return err
				}
				reply, err := c.Puzzles.GetPuzzle(ctx, &turnwrightv1.GetPuzzleRequest{Name: name})
				if err != nil {
					return err
				}
				p, err := built(reply.GetPuzzle())
				if err != nil {
					return err
				}
				picture, err := d.draw(p, args)
				if err != nil {
					return usageError{err}
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
	flags.Var(newChoice(&d.as, "view", "net"), "as", "in perspective, or unfolded")
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
	flags.StringVar(&d.to, "to", "-", "`file` to write to; - for standard output")
	flags.IntVar(&d.width, "width", 0, fmt.Sprintf("`pixels` across, %d to %d (default %d for a net, %d for a view)", leastWidth, mostWidth, draw.NetWidth, draw.ViewWidth))
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
	case d.as == "net" && (d.from != "" || len(d.turn) > 0 || d.far != "none"):
		return errors.New("--from, --turn and --far are about a view: leave them out, or leave out --as net")
	}
	return nil
}

// built is the puzzle as a definition makes it.
func built(p *turnwrightv1.Puzzle) (*puzzle.Puzzle, error) {
	def, err := puzzle.ParseDefinition([]byte(p.GetDefinition()))
	if err != nil {
		return nil, fmt.Errorf("reading the definition that the server has: %w", err)
	}
	return puzzle.Build(def)
}

// put writes the picture where it is to go.
func (a *app) put(p draw.Picture, d *drawing) error {
	if a.output == "json" {
		return a.printJSON("picture", p)
	}
	write := svg.Write
	if d.sheet {
		write = svg.WritePage
	}
	var b bytes.Buffer
	if err := write(&b, p); err != nil {
		return err
	}
	if d.to == "-" {
		return a.printText(b.String())
	}
	if err := os.WriteFile(d.to, b.Bytes(), 0o666); err != nil {
		return usageError{fmt.Errorf("--to: %w", err)}
	}
	a.note("wrote %s", strings.TrimSpace(d.to))
	return nil
}
