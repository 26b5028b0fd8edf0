package main

import (
	"context"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"turnwright/api/client"
	turnwrightv1 "turnwright/api/turnwright/v1"
)

func (a *app) insertCommand() *cobra.Command {
	var e either
	var puzzle, metric, scramble, solution string
	var cycles []string
	var insertions, limit, beam, find int32
	cmd := &cobra.Command{
		Use:   "insert --puzzle NAME --scramble MOVES --solution MOVES",
		Short: "Find the best places for known sequences in a solution that leaves a few pieces wrong",
		Long: `Find the best places for known sequences in a solution that leaves a few pieces wrong,
where turns that meet merge and cancel. Known are the pure 3-cycles that searches have
found, and what follows from them: turned, mirrored, inverted, set up. With more than
one insertion they are looked for together, the later ones also within the earlier ones.
The answer says which searches the sequences came from; if there are none for
a type that is wrong, it says which search to run first, or runs it with --find.`,
		Example: `  turnwright insert --find 9 --puzzle 3x3x3 --scramble "R' D' R U' R' D R U D' F U' R2 B' D L' F2" --solution "F2 L D' B R2 U F' D"`,
		Args:    cobra.NoArgs,
		RunE: a.verb(func(ctx context.Context, _ []string) error {
			return a.withServer(ctx, e, func(c *client.Client) error {
				name, err := puzzleName(ctx, c, puzzle)
				if err != nil {
					return err
				}
				goal := &turnwrightv1.CoverageGoal{Puzzle: name, Metric: metricOf(metric)}
				var reply *turnwrightv1.InsertSequencesResponse
				err = a.knowing(ctx, c, goal, find, func() (err error) {
					reply, err = c.Insertions.InsertSequences(ctx, &turnwrightv1.InsertSequencesRequest{
						Puzzle: name, Metric: metricOf(metric), Scramble: scramble, Solution: solution,
						Insertions: insertions, Cycles: cycles, Limit: limit, Beam: beam,
					})
					return err
				})
				if err != nil {
					return err
				}
				if a.output == "json" {
					return a.printInsertions(reply)
				}
				return a.printText(insertionsText(reply, metric))
			})
		}),
	}
	e.registerData(cmd)
	flags := cmd.Flags()
	flags.StringVar(&puzzle, "puzzle", "", "`name` of the puzzle, or a YAML file that defines one")
	flags.StringVar(&scramble, "scramble", "", "the scramble's `moves` (default none)")
	flags.StringVar(&solution, "solution", "", "the solution's `moves`, which leave a few pieces wrong")
	flags.Int32Var(&insertions, "insertions", 1, "the most sequences to put in: 1 to 3")
	flags.StringSliceVar(&cycles, "cycle", nil, "`types` whose 3-cycles may be put in (default those that are wrong)")
	flags.Var(newChoice(&metric, "obtm", "stm", "qtm", "etm"), "metric", "how turns are counted")
	flags.Int32Var(&limit, "limit", 10, "at most so many `results`")
	flags.Int32Var(&beam, "beam", 0, "`solutions` with some of several sequences put in that are gone on with (default 3000)")
	registerFind(cmd, &find)
	for _, name := range []string{"puzzle", "solution"} {
		if err := cmd.MarkFlagRequired(name); err != nil {
			panic(err) // a flag of that name was not registered above
		}
	}
	return cmd
}

type insertedForm struct {
	Solution   string          `json:"solution"`
	Length     int32           `json:"length"`
	Insertions []insertionForm `json:"insertions"` // each into what the ones before it made
}

type insertionForm struct {
	Before   string `json:"before"`
	Sequence string `json:"sequence"`
	After    string `json:"after"`
	Length   int32  `json:"length"` // of the sequence
	Net      int32  `json:"net"`    // by how much it makes the solution longer

	Explanation *explanationForm `json:"explanation,omitempty"` // how the sequence reads; missing for long ones
}

type skeletonForm struct {
	Skeleton string       `json:"skeleton"`
	Length   int32        `json:"length"`
	Exact    bool         `json:"exact"`
	Sources  []sourceForm `json:"sources"`
}

type sourceForm struct {
	Puzzle       string `json:"puzzle"`
	Cycle        string `json:"cycle"`
	Metric       string `json:"metric"`
	Searches     int32  `json:"searches"`
	Sequences    int32  `json:"sequences"`
	ProvenLength int32  `json:"provenLength"`
	Classes      int32  `json:"classes"`
	Missing      int32  `json:"missing"`
	PerClass     int32  `json:"perClass"` // sequences tried at most, with setups
}

func (a *app) printInsertions(reply *turnwrightv1.InsertSequencesResponse) error {
	for _, s := range reply.GetSolutions() {
		form := insertedForm{s.GetSolution(), s.GetLength(), []insertionForm{}}
		for _, in := range s.GetInsertions() {
			form.Insertions = append(form.Insertions, insertionForm{in.GetBefore(), in.GetSequence(), in.GetAfter(), in.GetLength(), in.GetNet(), explanationJSON(in.GetExplanation())})
		}
		if err := a.printJSON("inserted", form); err != nil {
			return err
		}
	}
	form := skeletonForm{reply.GetSkeleton(), reply.GetLength(), reply.GetExact(), []sourceForm{}}
	for _, s := range reply.GetSources() {
		g := s.GetGoal()
		form.Sources = append(form.Sources, sourceForm{
			client.ID(g.GetPuzzle()), g.GetCycle(), strings.ToLower(metricText(g.GetMetric())), s.GetSearches(), s.GetSequences(),
			s.GetProvenLength(), s.GetClasses(), s.GetMissing(), s.GetSequencesPerClass(),
		})
	}
	return a.printJSON("skeleton", form)
}

// insertionsText shows each solution with what was put in between stars.
func insertionsText(reply *turnwrightv1.InsertSequencesResponse, metric string) string {
	var b strings.Builder
	fmt.Fprintf(&b, "Skeleton: %s (%d %s)\n\n", reply.GetSkeleton(), reply.GetLength(), strings.ToUpper(metric))
	var rows [][]any
	for i, s := range reply.GetSolutions() {
		rank, length := any(i+1), any(s.GetLength())
		for _, in := range s.GetInsertions() {
			rows = append(rows, []any{rank, length, fmt.Sprintf("%+d", in.GetNet()), strings.TrimSpace(in.GetBefore() + " * " + in.GetSequence() + " * " + in.GetAfter()), readingText(in.GetExplanation())})
			rank, length = "", ""
		}
		rows = append(rows, []any{rank, length, "", "= " + s.GetSolution(), ""})
	}
	b.WriteString(columns([]string{">rank", ">length", ">net", "what goes in, between stars; the solution", "reads as"}, rows))
	fmt.Fprintln(&b)
	for _, s := range reply.GetSources() {
		fmt.Fprintf(&b, "Used for %ss: what follows from %s (%s), up to %d for each of %s",
			s.GetGoal().GetCycle(), sourceText(s.GetSequences(), s.GetSearches()),
			coveredText(s.GetProvenLength(), metricText(s.GetGoal().GetMetric())), s.GetSequencesPerClass(), plural(int64(s.GetClasses()), "class", "classes"))
		if s.GetMissing() > 0 {
			fmt.Fprintf(&b, ", %d of them without any", s.GetMissing())
		}
		fmt.Fprintln(&b, ".")
	}
	if reply.GetExact() {
		fmt.Fprintln(&b, "No better way exists with these sequences.")
	} else {
		fmt.Fprintln(&b, "Not every way was tried: a greater --beam tries more.")
	}
	return b.String()
}
