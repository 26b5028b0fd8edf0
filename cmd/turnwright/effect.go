package main

import (
	"context"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"turnwright/api/client"
	turnwrightv1 "turnwright/api/turnwright/v1"
)

func (a *app) effectCommand() *cobra.Command {
	var e either
	var puzzle string
	cmd := &cobra.Command{
		Use:     "effect --puzzle NAME SEQUENCE",
		Short:   "Tell what a sequence does to each type of piece",
		Long:    "Tell what a sequence does to each type of piece. Several arguments are one sequence.",
		Example: `  turnwright effect --puzzle 3x3x3 "[R U R', D]"`,
		Args:    cobra.MinimumNArgs(1),
		RunE: a.verb(func(ctx context.Context, args []string) error {
			return a.withServer(ctx, e, func(c *client.Client) error {
				name, err := puzzleName(ctx, c, puzzle)
				if err != nil {
					return err
				}
				reply, err := c.Effects.DescribeSequence(ctx, &turnwrightv1.DescribeSequenceRequest{
					Puzzle: name, Sequence: strings.Join(args, " "),
				})
				if err != nil {
					return err
				}
				if a.output == "json" {
					return a.printJSON("effect", effectJSON(reply.GetEffect()))
				}
				return a.printText(effectText(reply.GetEffect()))
			})
		}),
	}
	e.registerData(cmd)
	cmd.Flags().StringVar(&puzzle, "puzzle", "", "`name` of the puzzle, or a YAML file that defines one")
	if err := cmd.MarkFlagRequired("puzzle"); err != nil {
		panic(err) // the flag was not registered above
	}
	return cmd
}

type effectForm struct {
	Sequence string           `json:"sequence"`
	Lengths  lengthsForm      `json:"lengths"`
	Order    number           `json:"order"` // of what types says
	Rotation string           `json:"rotation"`
	Repeats  number           `json:"repeats"` // until all is back, with the rotation
	Types    []typeEffectForm `json:"types"`
}

type typeEffectForm struct {
	Type   string      `json:"type"`
	Moved  int32       `json:"moved"`
	Order  number      `json:"order"`
	Cycles []cycleForm `json:"cycles"`
}

func effectJSON(e *turnwrightv1.Effect) effectForm {
	form := effectForm{
		Sequence: e.GetSequence(), Lengths: lengthsJSON(e.GetLengths()),
		Order: number(e.GetOrder()), Rotation: e.GetRotation(), Repeats: number(e.GetRepeats()), Types: []typeEffectForm{},
	}
	for _, t := range e.GetTypes() {
		cycles := []cycleForm{}
		for _, c := range t.GetCycles() {
			cycles = append(cycles, cycleJSON(c))
		}
		form.Types = append(form.Types, typeEffectForm{t.GetType(), t.GetMoved(), number(t.GetOrder()), cycles})
	}
	return form
}

func lengthsIn(l *turnwrightv1.Lengths) string {
	return fmt.Sprintf("Length: %d OBTM, %d STM, %d QTM, %d ETM.", l.GetObtm(), l.GetStm(), l.GetQtm(), l.GetEtm())
}

func effectText(e *turnwrightv1.Effect) string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s\n", e.GetSequence())
	fmt.Fprintf(&b, "%s Order: %s.\n", lengthsIn(e.GetLengths()), grouped(e.GetOrder()))
	if e.GetRotation() != "" {
		fmt.Fprintf(&b, "The whole puzzle is left turned by %s; with that, %s times bring all back.\n", e.GetRotation(), grouped(e.GetRepeats()))
	}
	var rows [][]any
	for _, t := range e.GetTypes() {
		var cycles []string
		for _, c := range t.GetCycles() {
			cycles = append(cycles, c.GetText())
		}
		if cycles == nil {
			cycles = []string{"untouched"}
		}
		rows = append(rows, []any{t.GetType(), t.GetMoved(), grouped(t.GetOrder()), strings.Join(cycles, " ")})
	}
	fmt.Fprintf(&b, "\n%s", columns([]string{"type", ">moved", ">order", "cycles"}, rows))
	return b.String()
}
