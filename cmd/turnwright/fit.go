package main

import (
	"context"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"turnwright/api/client"
	turnwrightv1 "turnwright/api/turnwright/v1"
)

func (a *app) fitCommand() *cobra.Command {
	var k knownGoal
	var e either
	var sequences, pins, places []string
	var before, after string
	var limit, find int32
	cmd := &cobra.Command{
		Use:   "fit --puzzle NAME --cycle TYPE (--pin FROM=TO | --places A,B)",
		Short: "Make known sequences serve at other places",
		Long: `Make known sequences serve at other places: those that are given with --sequence or,
without any, those that searches have found. They are turned and mirrored with the
puzzle, inverted, begun at another turn and set up; the shortest come first. With the
moves before and after, those come first that cost least between them.
One --pin leaves the third place free.`,
		Example: `  turnwright fit --puzzle 3x3x3 --cycle corner --metric obtm --pin UFR=UBR
  turnwright fit --puzzle 3x3x3 --cycle corner --sequence "[R' D' R, U']" --places UFR,DBL,ULB
  turnwright fit --puzzle 3x3x3 --cycle corner --metric obtm --pin UFR=UBR --before "F2 R" --after "D B2"`,
		Args: cobra.NoArgs,
		RunE: a.verb(func(ctx context.Context, _ []string) error {
			parsed, err := parsePins(pins)
			if err != nil {
				return err
			}
			return a.withServer(ctx, e, func(c *client.Client) error {
				goal, err := k.goal(ctx, c)
				if err != nil {
					return err
				}
				var reply *turnwrightv1.FitSequencesResponse
				err = a.knowing(ctx, c, goal, find, func() (err error) {
					reply, err = c.Fits.FitSequences(ctx, &turnwrightv1.FitSequencesRequest{
						Goal: goal, Sequences: sequences, Pins: parsed, Places: places, Limit: limit, Before: before, After: after,
					})
					return err
				})
				if err != nil {
					return err
				}
				if a.output == "json" {
					for _, choice := range reply.GetChoices() {
						if err := a.printJSON("choice", choiceJSON(choice)); err != nil {
							return err
						}
					}
					return nil
				}
				return a.printText(choicesText(reply, len(sequences) > 0))
			})
		}),
	}
	k.register(cmd)
	e.registerData(cmd)
	flags := cmd.Flags()
	flags.StringArrayVar(&sequences, "sequence", nil, "a `sequence` that is known; may be repeated (default those that searches found)")
	flags.StringArrayVar(&pins, "pin", nil, "`FROM=TO`: the piece at slot FROM must go to slot TO; may be repeated")
	flags.StringSliceVar(&places, "places", nil, "two or three `slots` whose pieces must be cycled, in whatever direction and orientation")
	flags.StringVar(&before, "before", "", "the `moves` before the sequence")
	flags.StringVar(&after, "after", "", "the `moves` after it")
	flags.Int32Var(&limit, "limit", 20, "at most so many `choices`")
	registerFind(cmd, &find)
	return cmd
}

type choiceForm struct {
	Sequence string      `json:"sequence"`
	Length   int32       `json:"length"`
	Axes     int32       `json:"axes"`
	Cycle    cycleForm   `json:"cycle"`
	Setup    string      `json:"setup"`
	Base     string      `json:"base"` // the known sequence that it follows from
	Mirrored bool        `json:"mirrored"`
	Inverted bool        `json:"inverted"`
	Joined   *joinedForm `json:"joined,omitempty"` // between the moves before and after

	Explanation *explanationForm `json:"explanation,omitempty"` // how the sequence reads; missing for long ones
}

type joinedForm struct {
	Sequence string `json:"sequence"`
	Length   int32  `json:"length"`
	Net      int32  `json:"net"` // by how much it is longer than the moves by themselves
}

func choiceJSON(c *turnwrightv1.FitChoice) choiceForm {
	form := choiceForm{
		Sequence: c.GetSequence(), Length: c.GetLength(), Axes: c.GetAxes(), Cycle: cycleJSON(c.GetCycle()),
		Setup: c.GetSetup(), Base: c.GetBase(), Mirrored: c.GetMirrored(), Inverted: c.GetInverted(),
		Explanation: explanationJSON(c.GetExplanation()),
	}
	if c.GetJoined() != nil {
		form.Joined = joinedJSON(c.GetJoined())
	}
	return form
}

func joinedJSON(j *turnwrightv1.Joined) *joinedForm {
	return &joinedForm{j.GetSequence(), j.GetLength(), j.GetNet()}
}

func choicesText(reply *turnwrightv1.FitSequencesResponse, given bool) string {
	from := fmt.Sprintf("the %s that searches found", plural(int64(reply.GetSequences()), "sequence", "sequences"))
	if given {
		from = plural(int64(reply.GetSequences()), "given sequence", "given sequences")
	}
	if len(reply.GetChoices()) == 0 {
		return fmt.Sprintf("Nothing that follows from %s fits there.\n", from)
	}
	between := reply.GetChoices()[0].GetJoined() != nil
	heading := []string{">rank", ">length", "sequence", "cycle", "reads as", "follows from", "by"}
	if between {
		heading = []string{">rank", ">net", ">length", "sequence", "cycle", "reads as", "between the moves", ">total"}
	}
	var rows [][]any
	for i, c := range reply.GetChoices() {
		row := []any{i + 1, c.GetLength(), c.GetSequence(), c.GetCycle().GetText(), readingText(c.GetExplanation()), c.GetBase(), wayText(c)}
		if between {
			j := c.GetJoined()
			row = []any{i + 1, j.GetNet(), c.GetLength(), c.GetSequence(), c.GetCycle().GetText(), readingText(c.GetExplanation()), j.GetSequence(), j.GetLength()}
		}
		rows = append(rows, row)
	}
	return fmt.Sprintf("%s, from %s.\n\n%s", plural(int64(len(rows)), "choice", "choices"), from, columns(heading, rows))
}

// wayText says how a choice follows from its base.
func wayText(c *turnwrightv1.FitChoice) string {
	if c.GetSequence() == c.GetBase() {
		return "nothing"
	}
	words := []string{"turning it"}
	if c.GetMirrored() {
		words = []string{"mirroring it"}
	}
	if c.GetInverted() {
		words = append(words, "inverse")
	}
	if c.GetSetup() != "" {
		words = append(words, "setup "+c.GetSetup())
	}
	return strings.Join(words, ", ")
}
