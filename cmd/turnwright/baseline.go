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

func (a *app) baselineCommand() *cobra.Command {
	var e either
	var puzzle, metric, scramble string
	var shorten time.Duration
	cmd := &cobra.Command{
		Use:   "baseline --puzzle NAME --scramble MOVES",
		Short: "Show a scramble solved: a length to beat",
		Long: `Show a scramble solved, one type of piece after another, with what each stage adds to the
length. It is not the shortest solution: it is the one to beat. Then, with --shorten, look
for shorter ones for so long. Each is printed as it comes, after it was carried out turn
by turn.

MOVES is the text, @FILE to read a file, or - to read standard input. The first time, the
tables for a puzzle take some seconds, and up to a minute; a server keeps those of the
puzzles last asked for. A scramble of a round that is open is refused.`,
		Example: `  turnwright baseline --puzzle vertex-cut-dodecahedron --scramble "a b1 2.c2 d" --metric stm
  turnwright baseline --puzzle 3x3x3 --scramble "R' U' F L2 D B2 R F' U2 L B D2" --shorten 10s`,
		Args: cobra.NoArgs,
		RunE: a.verb(func(ctx context.Context, _ []string) error {
			moves, err := a.readMoves("the scramble", scramble)
			if err != nil {
				return err
			}
			return a.withServer(ctx, e, func(c *client.Client) error {
				name, err := puzzleName(ctx, c, puzzle)
				if err != nil {
					return err
				}
				req := &turnwrightv1.ShowBaselineRequest{Puzzle: name, Metric: metricOf(metric), Scramble: moves}
				if shorten != 0 {
					req.ShortenTime = durationpb.New(shorten)
				}
				stream, err := c.Studies.ShowBaseline(ctx, req)
				if err != nil {
					return err
				}
				return a.printBaselines(stream.Recv, strings.ToUpper(metric), shorten)
			})
		}),
	}
	e.registerData(cmd)
	flags := cmd.Flags()
	flags.StringVar(&puzzle, "puzzle", "", "`name` of the puzzle, or a YAML file that defines one")
	flags.StringVar(&scramble, "scramble", "", "the scramble's `moves`")
	flags.Var(newChoice(&metric, "obtm", "stm", "qtm", "etm"), "metric", "how turns are counted")
	flags.DurationVar(&shorten, "shorten", 0, "look for shorter solutions for so much `time`, such as 60s; at most 5m (default not at all)")
	for _, name := range []string{"puzzle", "scramble"} {
		if err := cmd.MarkFlagRequired(name); err != nil {
			panic(err) // a flag of that name was not registered above
		}
	}
	return cmd
}

type baselineForm struct {
	Solution string              `json:"solution"`
	Length   int32               `json:"length"`
	Lengths  lengthsForm         `json:"lengths"`
	Stages   []baselineStageForm `json:"stages"`
}

type baselineStageForm struct {
	Name  string `json:"name"`
	Added int32  `json:"added"` // to the length
}

// printBaselines prints what comes, as it comes.
func (a *app) printBaselines(recv func() (*turnwrightv1.ShowBaselineResponse, error), metric string, limit time.Duration) error {
	came, first, fewest := 0, int32(0), false
	err := each(recv, func(m *turnwrightv1.ShowBaselineResponse) error {
		b := m.GetBaseline()
		came++
		switch {
		case a.output == "json":
			return a.printJSON("baseline", baselineJSON(b))
		case came == 1:
			first = b.GetLength()
			stages := b.GetStages()
			fewest = len(stages) == 1 && stages[0].GetName() == "all" // which is solved in the fewest moves
			return a.printText(baselineText(b, metric))
		}
		return a.printText(fmt.Sprintf("\n%d less than the first:\n%s", first-b.GetLength(), baselineText(b, metric)))
	})
	switch {
	case err != nil || a.output == "json":
		return err
	case fewest:
		return a.printText("\nFewer moves can't do: one stage solved all of it in the fewest.\n")
	case limit <= 0:
		return nil
	case came == 1:
		return a.printText(fmt.Sprintf("\nNothing shorter was found in %v. That is no proof that there is none.\n", limit))
	}
	return a.printText("\nThe last is the one to beat. That is no proof that there is none shorter.\n")
}

func baselineJSON(b *turnwrightv1.Baseline) baselineForm {
	form := baselineForm{
		Solution: b.GetSolution(), Length: b.GetLength(), Lengths: lengthsJSON(b.GetLengths()), Stages: []baselineStageForm{},
	}
	for _, s := range b.GetStages() {
		form.Stages = append(form.Stages, baselineStageForm{s.GetName(), s.GetAdded()})
	}
	return form
}

func baselineText(b *turnwrightv1.Baseline, metric string) string {
	if b.GetSolution() == "" {
		return "The scramble leaves it solved: there is nothing to do.\n"
	}
	text := fmt.Sprintf("%s\n%s\n", b.GetSolution(), lengthsIn(b.GetLengths()))
	var rows [][]any
	length := int32(0)
	for _, s := range b.GetStages() {
		length += s.GetAdded()
		rows = append(rows, []any{s.GetName(), fmt.Sprintf("%+d", s.GetAdded()), length})
	}
	return text + "\n" + columns([]string{"stage", ">" + metric, ">so far"}, rows)
}
