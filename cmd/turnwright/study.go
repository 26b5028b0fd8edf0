package main

import (
	"context"
	"fmt"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/types/known/durationpb"

	"turnwright/api/client"
	turnwrightv1 "turnwright/api/turnwright/v1"
)

func (a *app) studyCommand() *cobra.Command {
	var e either
	var puzzle, metric, scramble, solution string
	var shorten time.Duration
	var seed uint64
	cmd := &cobra.Command{
		Use:   "study --puzzle NAME [--scramble MOVES] --solution MOVES",
		Short: "Tell where the moves of a solution went, and find shorter ones",
		Long: `Tell where the moves of a solution went: its stages and what each cost, when each type
of piece was finished, what merges. Then, with --shorten, look for shorter solutions with
the same end for so long: stretches are replaced by the shortest sequences with the same
effect, and those that move few pieces are tried at other moments. Each is printed as it
comes, after it was carried out turn by turn. "submit study" looks longer, on a server.

MOVES is the text, @FILE to read a file, or - to read standard input. Comments that stand
alone on a line of the solution name the stage that begins there. Without a scramble the
solution is taken for one of what it undoes.`,
		Example: `  turnwright study --puzzle 3x3x3 --scramble "R' D' R U' R' D R U F2" --solution "F2 U' R' D' R U R' D R" --shorten 5s`,
		Args:    cobra.NoArgs,
		RunE: a.verb(func(ctx context.Context, _ []string) error {
			var err error
			if scramble, err = a.readMoves("the scramble", scramble); err != nil {
				return err
			}
			if solution, err = a.readMoves("the solution", solution); err != nil {
				return err
			}
			return a.withServer(ctx, e, func(c *client.Client) error {
				name, err := puzzleName(ctx, c, puzzle)
				if err != nil {
					return err
				}
				req := &turnwrightv1.StudySolutionRequest{
					Puzzle: name, Metric: metricOf(metric), Scramble: scramble, Solution: solution, Seed: seed,
				}
				if shorten != 0 {
					req.ShortenTime = durationpb.New(shorten)
				}
				stream, err := c.Studies.StudySolution(ctx, req)
				if err != nil {
					return err
				}
				return a.printStudy(stream.Recv, strings.ToUpper(metric), shorten)
			})
		}),
	}
	e.registerData(cmd)
	flags := cmd.Flags()
	flags.StringVar(&puzzle, "puzzle", "", "`name` of the puzzle, or a YAML file that defines one")
	flags.StringVar(&scramble, "scramble", "", "the scramble's `moves` (default none)")
	flags.StringVar(&solution, "solution", "", "the solution's `moves`")
	flags.Var(newChoice(&metric, "obtm", "stm", "qtm", "etm"), "metric", "how turns are counted")
	flags.DurationVar(&shorten, "shorten", 0, "look for shorter solutions for so much `time`, such as 60s; at most 5m (default not at all)")
	flags.Uint64Var(&seed, "seed", 0, "another `number` takes another way")
	for _, name := range []string{"puzzle", "solution"} {
		if err := cmd.MarkFlagRequired(name); err != nil {
			panic(err) // a flag of that name was not registered above
		}
	}
	return cmd
}

type analysisForm struct {
	Solution  string              `json:"solution"` // written out
	Turns     int32               `json:"turns"`
	Lengths   lengthsForm         `json:"lengths"`
	Solves    bool                `json:"solves"`
	Merged    int32               `json:"mergedLength"`
	Reordered int32               `json:"reorderedLength"`
	Types     []typeFinishedForm  `json:"types"`
	Stages    []solutionStageForm `json:"stages"`
	Merges    []solutionMergeForm `json:"merges"`
}

type typeFinishedForm struct {
	Type   string `json:"type"`
	After  int32  `json:"after"` // its last turn, from 1
	Length int32  `json:"length"`
	Left   int32  `json:"left"`
}

type solutionStageForm struct {
	Name    string `json:"name"`
	From    int32  `json:"from"`
	To      int32  `json:"to"`
	Turns   string `json:"turns"`
	Length  int32  `json:"length"`
	Gained  int32  `json:"gained"`
	Reading string `json:"reading"`
	Words   string `json:"words"`
}

type solutionMergeForm struct {
	From  int32  `json:"from"`
	Turns string `json:"turns"`
	Into  string `json:"into"`
	Saves int32  `json:"saves"`
}

type shorterForm struct {
	Solution string `json:"solution"`
	Length   int32  `json:"length"`
	Saved    int32  `json:"saved"`
	By       string `json:"by"`

	// Of a search on a server.
	Round    int32 `json:"round,omitempty"`
	Revision int32 `json:"revision,omitempty"` // a higher one takes the place of the one before in its round
}

// printStudy prints what comes, as it comes.
func (a *app) printStudy(recv func() (*turnwrightv1.StudySolutionResponse, error), metric string, limit time.Duration) error {
	found := 0
	err := each(recv, func(m *turnwrightv1.StudySolutionResponse) error {
		if s := m.GetShorter(); s != nil {
			found++
		}
		return a.printStudied(m, metric)
	})
	if err != nil || a.output == "json" || limit <= 0 {
		return err
	}
	if found == 0 {
		return a.printText(fmt.Sprintf("\nNothing shorter with the same end was found in %v. That is no proof that there is none.\n", limit))
	}
	return a.printText("\nThe last is the shortest that was found. That is no proof that there is none shorter.\n")
}

func (a *app) printStudied(m *turnwrightv1.StudySolutionResponse, metric string) error {
	s, text := m.GetShorter(), a.output != "json"
	switch {
	case s == nil && text:
		return a.printText(analysisText(m.GetAnalysis(), metric))
	case s == nil:
		return a.printJSON("analysis", analysisJSON(m.GetAnalysis()))
	case text:
		return a.printText(fmt.Sprintf("\n%d %s, %d less, by %s:\n%s\n", s.GetLength(), metric, s.GetSaved(), s.GetBy(), s.GetSolution()))
	}
	return a.printJSON("shorter", shorterForm{Solution: s.GetSolution(), Length: s.GetLength(), Saved: s.GetSaved(), By: s.GetBy()})
}

func analysisJSON(m *turnwrightv1.Analysis) analysisForm {
	form := analysisForm{
		Solution: m.GetSolution(), Turns: m.GetTurns(), Lengths: lengthsJSON(m.GetLengths()), Solves: m.GetSolves(),
		Merged: m.GetMergedLength(), Reordered: m.GetReorderedLength(),
		Types: []typeFinishedForm{}, Stages: []solutionStageForm{}, Merges: []solutionMergeForm{},
	}
	for _, t := range m.GetTypes() {
		form.Types = append(form.Types, typeFinishedForm{t.GetType(), t.GetAfter(), t.GetLength(), t.GetLeft()})
	}
	for _, s := range m.GetStages() {
		form.Stages = append(form.Stages, solutionStageForm{
			s.GetName(), s.GetFrom(), s.GetTo(), s.GetTurns(), s.GetLength(), s.GetGained(), s.GetReading(), s.GetWords(),
		})
	}
	for _, c := range m.GetMerges() {
		form.Merges = append(form.Merges, solutionMergeForm{c.GetFrom(), c.GetTurns(), c.GetInto(), c.GetSaves()})
	}
	return form
}

func analysisText(m *turnwrightv1.Analysis, metric string) string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s\n%s", m.GetSolution(), lengthsIn(m.GetLengths()))
	if m.GetSolves() {
		fmt.Fprintln(&b, " It solves.")
	} else {
		fmt.Fprintln(&b, " It does not solve.")
	}
	var rows [][]any
	for _, s := range m.GetStages() {
		rows = append(rows, []any{s.GetName(), fmt.Sprintf("%d-%d", s.GetFrom(), s.GetTo()), s.GetLength(), fmt.Sprintf("%+d", s.GetGained()), s.GetTurns(), s.GetWords()})
	}
	fmt.Fprintf(&b, "\n%s", columns([]string{"stage", "turns", ">" + metric, ">pieces", "moves", "reads as"}, rows))
	rows = nil
	for _, t := range m.GetTypes() {
		state := fmt.Sprintf("%d left", t.GetLeft())
		switch {
		case t.GetLeft() == 0 && t.GetAfter() == 0:
			state = "nothing to do"
		case t.GetLeft() == 0:
			state = fmt.Sprintf("after turn %d, at %d %s", t.GetAfter(), t.GetLength(), metric)
		}
		rows = append(rows, []any{t.GetType(), state})
	}
	fmt.Fprintf(&b, "\n%s", columns([]string{"type", "finished"}, rows))
	for _, c := range m.GetMerges() {
		into := c.GetInto()
		if into == "" {
			into = "nothing"
		}
		fmt.Fprintf(&b, "\nFrom turn %d: %s is %s, which saves %d.", c.GetFrom(), c.GetTurns(), into, c.GetSaves())
	}
	if len(m.GetMerges()) > 0 {
		fmt.Fprintln(&b)
	}
	if m.GetReorderedLength() < m.GetMergedLength() {
		fmt.Fprintf(&b, "With turns that commute in another order more would merge: %d %s instead of %d.\n", m.GetReorderedLength(), metric, m.GetMergedLength())
	}
	return b.String()
}
