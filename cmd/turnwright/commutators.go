package main

import (
	"context"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"turnwright/api/client"
	turnwrightv1 "turnwright/api/turnwright/v1"
)

const aboutCommutators = `List every commutator [X, Y] = X Y X' Y' of short parts that does what is wanted, best
first, and tell which classes the lengths of the parts reach. Of those that symmetries of the
puzzle carry into one another only one is listed.

Exchanging X and Y undoes the commutator and reaches the same class, so let X be the
longer. Nothing is proven about sequences that are no commutators: see find.`

func (a *app) commutatorsCommand() *cobra.Command {
	var e either
	var w wish
	var first, second int32
	var best bool
	cmd := &cobra.Command{
		Use:   "commutators --puzzle NAME --cycle TYPE",
		Short: "List every n-m commutator that does what is wanted, and the classes reached",
		Long:  aboutCommutators,
		Example: `  turnwright commutators --puzzle vertex-cut-dodecahedron --cycle triangle --first 4 --best
  turnwright commutators --puzzle 3x3x3 --cycle edge --ignore corner --metric obtm --first 2 --second 2`,
		Args: cobra.NoArgs,
		RunE: a.verb(func(ctx context.Context, _ []string) error {
			return a.withServer(ctx, e, func(c *client.Client) error {
				goal, err := w.goal(ctx, c)
				if err != nil {
					return err
				}
				reply, err := c.Commutators.ListCommutators(ctx, &turnwrightv1.ListCommutatorsRequest{
					Goal: goal, Metric: metricOf(w.metric), FirstLength: first, SecondLength: second, BestOnly: best, Limit: w.limit,
				})
				if err != nil {
					return err
				}
				if a.output == "json" {
					return a.printCommutators(reply)
				}
				return a.printText(commutatorsText(reply, strings.ToUpper(w.metric)))
			})
		}),
	}
	e.registerData(cmd)
	w.register(cmd, 50, "commutators")
	flags := cmd.Flags()
	flags.Int32Var(&first, "first", 3, "the greatest `length` of X, 1 to 12")
	flags.Int32Var(&second, "second", 1, "the greatest `length` of Y, 1 to 12")
	flags.BoolVar(&best, "best", false, "only the best for each class")
	return cmd
}

type commutatorForm struct {
	Text        string      `json:"text"`     // as a person types it
	Words       string      `json:"words"`    // what kind it is
	Sequence    string      `json:"sequence"` // after cancelling and merging
	Length      int32       `json:"length"`   // of that
	Lengths     lengthsForm `json:"lengths"`
	Axes        int32       `json:"axes"`
	PartsLength int32       `json:"partsLength"` // of X and Y together
	Class       int32       `json:"class"`
	ClassCycles int64       `json:"classCycles"`
	Cycles      []cycleForm `json:"cycles"`
}

type cellForm struct {
	First       int32  `json:"first"`  // length of X
	Second      int32  `json:"second"` // length of Y
	Commutators uint64 `json:"commutators"`
	Classes     int32  `json:"classes"`
	Least       int32  `json:"leastLength"` // 0 for none
}

type reachForm struct {
	Classes      int32      `json:"classes"`      // reached
	ClassesTotal int32      `json:"classesTotal"` // 0 for shapes other than a 3-cycle
	Pairs        uint64     `json:"pairs"`        // of parts, tried
	LeftOut      int32      `json:"leftOut"`      // by --limit
	Cells        []cellForm `json:"cells"`
}

func commutatorJSON(c *turnwrightv1.Commutator) *commutatorForm {
	return &commutatorForm{
		Text: c.GetText(), Words: c.GetWords(), Sequence: c.GetSequence(), Length: c.GetLength(),
		Lengths: lengthsJSON(c.GetLengths()), Axes: c.GetAxes(), PartsLength: c.GetPartsLength(),
		Class: c.GetClass(), ClassCycles: c.GetClassCycles(), Cycles: cyclesJSON(c.GetCycles()),
	}
}

func cyclesJSON(cycles []*turnwrightv1.Cycle) []cycleForm {
	out := []cycleForm{}
	for _, c := range cycles {
		out = append(out, cycleJSON(c))
	}
	return out
}

func (a *app) printCommutators(r *turnwrightv1.ListCommutatorsResponse) error {
	for _, c := range r.GetCommutators() {
		if err := a.printJSON("commutator", commutatorJSON(c)); err != nil {
			return err
		}
	}
	form := reachForm{
		Classes: r.GetClasses(), ClassesTotal: r.GetClassesTotal(), Pairs: r.GetPairs(), LeftOut: r.GetLeftOut(), Cells: []cellForm{},
	}
	for _, c := range r.GetCells() {
		form.Cells = append(form.Cells, cellForm{c.GetFirstLength(), c.GetSecondLength(), c.GetCommutators(), c.GetClasses(), c.GetLeastLength()})
	}
	return a.printJSON("reached", form)
}

func commutatorsText(r *turnwrightv1.ListCommutatorsResponse, metric string) string {
	var b strings.Builder
	var rows [][]any
	for i, c := range r.GetCommutators() {
		class := "-"
		if c.GetClass() > 0 {
			class = fmt.Sprint(c.GetClass())
		}
		rows = append(rows, []any{i + 1, c.GetLength(), class, c.GetText(), strings.TrimSuffix(c.GetWords(), " commutator"), cyclesText(c.GetCycles())})
	}
	if len(rows) > 0 {
		fmt.Fprintf(&b, "%s\n", columns([]string{">rank", ">length", ">class", "commutator", "kind", "cycle"}, rows))
	}
	if n := r.GetLeftOut(); n > 0 {
		fmt.Fprintf(&b, "%s left out: see --limit and --best.\n", plural(int64(n), "more is", "more are"))
	}
	fmt.Fprintf(&b, "%s of parts tried; lengths in %s, after cancelling.\n", plural(int64(r.GetPairs()), "pair", "pairs"), metric)
	if total := r.GetClassesTotal(); total > 0 {
		fmt.Fprintf(&b, "Reached: %d of %s.\n\n", r.GetClasses(), plural(int64(total), "class", "classes"))
	} else {
		fmt.Fprintf(&b, "Reached: %s.\n\n", plural(int64(r.GetClasses()), "class", "classes"))
	}
	rows = nil
	for _, c := range r.GetCells() {
		least := "-"
		if c.GetLeastLength() > 0 {
			least = fmt.Sprint(c.GetLeastLength())
		}
		rows = append(rows, []any{fmt.Sprintf("%d-%d", c.GetFirstLength(), c.GetSecondLength()),
			grouped(fmt.Sprint(c.GetCommutators())), c.GetClasses(), least})
	}
	b.WriteString(columns([]string{"kind", ">commutators, images included", ">classes", ">least length"}, rows))
	return b.String()
}
