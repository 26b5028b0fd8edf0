package main

import (
	"context"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"turnwright/api/client"
	turnwrightv1 "turnwright/api/turnwright/v1"
)

func (a *app) puzzleCommand() *cobra.Command {
	var e either
	var labels, definition bool
	cmd := &cobra.Command{
		Use:   "puzzle NAME",
		Short: "Tell about one puzzle: its pieces, axes and symmetries",
		Long: `Tell about one puzzle, by name or alias, or about the one that a YAML file defines,
which is kept then, as with define.`,
		Args: cobra.ExactArgs(1),
		RunE: a.verb(func(ctx context.Context, args []string) error {
			return a.withServer(ctx, e, func(c *client.Client) error {
				name, err := puzzleName(ctx, c, args[0])
				if err != nil {
					return err
				}
				reply, err := c.Puzzles.GetPuzzle(ctx, &turnwrightv1.GetPuzzleRequest{Name: name})
				if err != nil {
					return err
				}
				puzzle := reply.GetPuzzle()
				switch {
				case definition && a.output == "json":
					return a.printJSON("definition", map[string]string{"puzzle": client.ID(puzzle.GetName()), "yaml": puzzle.GetDefinition()})
				case definition:
					return a.printText(puzzle.GetDefinition())
				case a.output == "json":
					return a.printJSON("puzzle", puzzleJSON(puzzle))
				case labels:
					return a.printText(labelsText(puzzle))
				}
				return a.printText(puzzleText(puzzle))
			})
		}),
	}
	e.registerData(cmd)
	cmd.ValidArgsFunction = completePuzzle
	cmd.Flags().BoolVar(&labels, "labels", false, "list the labels of all slots, for --pin")
	cmd.Flags().BoolVar(&definition, "definition", false, "print the definition as YAML, to start one's own from")
	return cmd
}

func (a *app) defineCommand() *cobra.Command {
	var e either
	cmd := &cobra.Command{
		Use:   "define FILE",
		Short: "Build a puzzle from a definition in YAML and keep it",
		Long: `Build a puzzle from a definition in YAML and keep it, as --puzzle with a file does too. What
is kept stays as it is, since searches rest on it: a changed definition takes another name.
To try depths out, keep them in a directory to throw away: --data tries.`,
		Args: cobra.ExactArgs(1),
		RunE: a.verb(func(ctx context.Context, args []string) error {
			return a.withServer(ctx, e, func(c *client.Client) error {
				puzzle, err := define(ctx, c, args[0])
				if err != nil {
					return err
				}
				if a.output == "json" {
					return a.printJSON("puzzle", puzzleJSON(puzzle))
				}
				return a.printText(puzzleText(puzzle))
			})
		}),
	}
	e.registerData(cmd)
	return cmd
}

type puzzleForm struct {
	Name       string     `json:"name"`
	Aliases    []string   `json:"aliases"`
	Title      string     `json:"title"`
	Solid      string     `json:"solid"`
	Types      []typeForm `json:"types"`
	Axes       []axisForm `json:"axes"`
	Faces      []string   `json:"faces"`
	Stickers   int32      `json:"stickers"`
	Symmetries int32      `json:"symmetries"` // rotations and reflections
	Rotations  int32      `json:"rotations"`
	Builtin    bool       `json:"builtin"`
}

type typeForm struct {
	Name             string   `json:"name"`
	Pieces           int32    `json:"pieces"`
	Slots            int32    `json:"slots"`
	Orientations     int32    `json:"orientations"`
	StickersPerPiece int32    `json:"stickersPerPiece"`
	Labels           []string `json:"labels,omitempty"` // of the slots; not in lists
}

type axisForm struct {
	Name           string `json:"name"`
	Opposite       string `json:"opposite"`
	Steps          int32  `json:"steps"`
	Layers         int32  `json:"layers"`
	ReferenceLayer int32  `json:"referenceLayer"`
}

func puzzleJSON(p *turnwrightv1.Puzzle) puzzleForm {
	form := puzzleForm{
		Name: client.ID(p.GetName()), Aliases: list(p.GetAliases()), Title: p.GetTitle(), Solid: p.GetSolid(),
		Types: []typeForm{}, Axes: []axisForm{}, Faces: list(p.GetFaces()), Stickers: p.GetStickerCount(),
		Symmetries: p.GetSymmetryCount(), Rotations: p.GetRotationCount(), Builtin: p.GetBuiltin(),
	}
	for _, t := range p.GetPieceTypes() {
		form.Types = append(form.Types, typeForm{
			t.GetName(), t.GetPieces(), t.GetSlots(), t.GetOrientations(), t.GetStickersPerPiece(), t.GetSlotLabels(),
		})
	}
	for _, x := range p.GetAxes() {
		form.Axes = append(form.Axes, axisForm{x.GetName(), x.GetOpposite(), x.GetSteps(), x.GetLayers(), x.GetReferenceLayer()})
	}
	return form
}

func puzzleText(p *turnwrightv1.Puzzle) string {
	var b strings.Builder
	b.WriteString(client.ID(p.GetName()))
	if p.GetTitle() != "" {
		b.WriteString(": " + p.GetTitle())
	}
	b.WriteByte('\n')
	if aliases := p.GetAliases(); len(aliases) > 0 {
		fmt.Fprintf(&b, "Also called %s.\n", strings.Join(aliases, ", "))
	}
	fmt.Fprintf(&b, "%s, %d faces, %d stickers; %d symmetries, %d of them rotations.\n\n",
		strings.ToUpper(p.GetSolid()[:1])+p.GetSolid()[1:], len(p.GetFaces()), p.GetStickerCount(), p.GetSymmetryCount(), p.GetRotationCount())
	var rows [][]any
	for _, t := range p.GetPieceTypes() {
		rows = append(rows, []any{t.GetName(), t.GetPieces(), t.GetSlots(), t.GetOrientations(), t.GetStickersPerPiece()})
	}
	fmt.Fprintf(&b, "%s\n", columns([]string{"type", ">pieces", ">slots", ">orientations", ">stickers each"}, rows))
	rows = nil
	for _, x := range p.GetAxes() {
		rows = append(rows, []any{x.GetName(), x.GetOpposite(), x.GetSteps(), x.GetLayers(), x.GetReferenceLayer()})
	}
	b.WriteString(columns([]string{"axis", "opposite", ">steps", ">layers", ">reference layer"}, rows))
	return b.String()
}

// piecesText is such as "12 centres, 30 edges".
func piecesText(p *turnwrightv1.Puzzle) string {
	var parts []string
	for _, t := range p.GetPieceTypes() {
		many := t.GetName() + "s"
		if strings.ContainsAny(t.GetName(), "0123456789") { // corner-1 has no plural
			many = t.GetName()
		}
		parts = append(parts, plural(int64(t.GetPieces()), t.GetName(), many))
	}
	return strings.Join(parts, ", ")
}

func labelsText(p *turnwrightv1.Puzzle) string {
	var rows [][]any
	for _, t := range p.GetPieceTypes() {
		for slot, label := range t.GetSlotLabels() {
			rows = append(rows, []any{t.GetName(), slot, label})
		}
	}
	return columns([]string{"type", ">slot", "label"}, rows)
}
