package main

import (
	"context"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"turnwright/api/client"
	turnwrightv1 "turnwright/api/turnwright/v1"
)

const aboutExplain = `Read a sequence as nested commutators [A, B] = A B A' B' and conjugates
[A: B] = A B A'. Several arguments are one sequence.

The reading was expanded again: it is the sequence, up to turns that cancel or merge
and a rotation of the whole puzzle at the end. Of all readings that were found it is
the one with the fewest turns written.`

func (a *app) explainCommand() *cobra.Command {
	var e either
	var puzzle, metric string
	cmd := &cobra.Command{
		Use:     "explain --puzzle NAME SEQUENCE",
		Short:   "Read a sequence as nested commutators and conjugates",
		Long:    aboutExplain,
		Example: `  turnwright explain --puzzle 3x3x3 --metric obtm "U R' D' R U' R' D R"`,
		Args:    cobra.MinimumNArgs(1),
		RunE: a.verb(func(ctx context.Context, args []string) error {
			return a.withServer(ctx, e, func(c *client.Client) error {
				name, err := puzzleName(ctx, c, puzzle)
				if err != nil {
					return err
				}
				reply, err := c.Effects.ExplainSequence(ctx, &turnwrightv1.ExplainSequenceRequest{
					Puzzle: name, Sequence: strings.Join(args, " "), Metric: metricOf(metric),
				})
				if err != nil {
					return err
				}
				if a.output == "json" {
					return a.printJSON("explanation", explanationJSON(reply.GetExplanation()))
				}
				return a.printText(explanationText(reply.GetExplanation(), strings.ToUpper(metric)))
			})
		}),
	}
	e.registerData(cmd)
	cmd.Flags().StringVar(&puzzle, "puzzle", "", "`name` of the puzzle, or a YAML file that defines one")
	cmd.Flags().Var(newChoice(&metric, "stm", "obtm", "qtm", "etm"), "metric", "how turns are counted")
	if err := cmd.MarkFlagRequired("puzzle"); err != nil {
		panic(err) // the flag was not registered above
	}
	return cmd
}

type explanationForm struct {
	Text    string `json:"text"`    // the reading
	Words   string `json:"words"`   // what kind of sequence it is
	Plain   bool   `json:"plain"`   // nothing was found: the text is the turns as they are
	Written int32  `json:"written"` // length of the turns in the text
	Length  int32  `json:"length"`  // of the sequence, after cancelling and merging

	Brackets int32 `json:"brackets"`    // in the text
	Setup    int32 `json:"setupLength"` // of the turns in the text
}

func explanationJSON(e *turnwrightv1.Explanation) *explanationForm {
	if e == nil { // from a server that knows of none
		return nil
	}
	return &explanationForm{e.GetText(), e.GetWords(), e.GetPlain(), e.GetWritten(), e.GetLength(), e.GetBrackets(), e.GetSetupLength()}
}

func explanationText(e *turnwrightv1.Explanation, metric string) string {
	if e.GetPlain() {
		return fmt.Sprintf("%s\nNo commutator or conjugate was found in it: %s (%s).\n", e.GetText(), e.GetWords(), metric)
	}
	return fmt.Sprintf("%s\n%s: %s written, %d when carried out (%s).\n", e.GetText(), upperFirst(e.GetWords()),
		plural(int64(e.GetWritten()), "turn", "turns"), e.GetLength(), metric)
}

func upperFirst(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}
