package main

import (
	"context"
	"fmt"

	"github.com/spf13/cobra"

	"turnwright/api/client"
	turnwrightv1 "turnwright/api/turnwright/v1"
)

func (a *app) findingsCommand() *cobra.Command {
	var e either
	var before, after string
	cmd := &cobra.Command{
		Use:   "findings SEARCH",
		Short: "Print a search's findings and proof as they are now, in rank order",
		Long: `Print a search's findings and proof as they are now, in rank order. With the moves
before and after, findings of 3-cycles are ranked by what each costs between them: by
how much the moves get longer, when turns that meet have merged and cancelled. Each
is turned, mirrored or inverted as it costs least.`,
		Example: `  turnwright findings overnight
  turnwright findings overnight --before "F2 R" --after "D B2"`,
		Args: cobra.ExactArgs(1),
		RunE: a.verb(func(ctx context.Context, args []string) error {
			return a.withServer(ctx, e, func(c *client.Client) error {
				name := client.SearchName(args[0])
				reply, err := c.Searches.GetSearch(ctx, &turnwrightv1.GetSearchRequest{Name: name})
				if err != nil {
					return err
				}
				if before != "" || after != "" {
					joined, err := client.Collect(c.AllJoinedFindings(ctx, name, before, after))
					if err != nil {
						return err
					}
					return a.printJoined(reply.GetSearch(), joined, before, after)
				}
				findings, err := client.Collect(c.AllFindings(ctx, name))
				if err != nil {
					return err
				}
				return a.printResult(reply.GetSearch(), findings)
			})
		}),
	}
	e.registerRemote(cmd)
	cmd.ValidArgsFunction = e.completeSearch
	cmd.Flags().StringVar(&before, "before", "", "rank by what findings cost after these `moves`")
	cmd.Flags().StringVar(&after, "after", "", "rank by what findings cost before these `moves`")
	return cmd
}

type joinedFindingForm struct {
	Class    int32       `json:"class"`
	Length   int32       `json:"length"` // of the sequence by itself
	Sequence string      `json:"sequence"`
	Cycle    cycleForm   `json:"cycle"`
	Joined   *joinedForm `json:"joined"`

	Explanation *explanationForm `json:"explanation,omitempty"` // how the sequence reads; missing for long ones
}

func (a *app) printJoined(s *turnwrightv1.Search, all []*turnwrightv1.JoinedFinding, before, after string) error {
	if a.output == "json" {
		for _, f := range all {
			form := joinedFindingForm{f.GetClass(), f.GetLength(), f.GetSequence(), cycleJSON(f.GetCycle()), joinedJSON(f.GetJoined()), explanationJSON(f.GetExplanation())}
			if err := a.printJSON("joined", form); err != nil {
				return err
			}
		}
		return a.printJSON("summary", summaryJSON(s))
	}
	text := fmt.Sprintf("%s%s\n", alarmsText(s), goalText(s, client.ID(s.GetGoal().GetPuzzle())))
	if len(all) == 0 {
		return a.printText(text + "\nNothing has been found.\n")
	}
	var rows [][]any
	for i, f := range all {
		j := f.GetJoined()
		rows = append(rows, []any{i + 1, j.GetNet(), f.GetLength(), f.GetClass(), f.GetSequence(), f.GetCycle().GetText(), readingText(f.GetExplanation()), j.GetSequence(), j.GetLength()})
	}
	text += betweenText(before, after) + "\n"
	return a.printText(text + columns([]string{">rank", ">net", ">length", ">class", "sequence", "cycle", "reads as", "between the moves", ">total"}, rows))
}

// betweenText says which moves there are.
func betweenText(before, after string) string {
	switch {
	case after == "":
		return fmt.Sprintf("After %q.\n", before)
	case before == "":
		return fmt.Sprintf("Before %q.\n", after)
	}
	return fmt.Sprintf("Between %q and %q.\n", before, after)
}

// joinedText lists findings of a search that has moves.
func joinedText(findings []*turnwrightv1.Finding) string {
	var rows [][]any
	for i, f := range findings {
		j := f.GetJoined()
		rows = append(rows, []any{
			i + 1, j.GetNet(), f.GetLength(), classText(f), sequenceText(f), partsText(f), readingText(f.GetExplanation()), j.GetSequence(), j.GetLength(),
		})
	}
	return columns([]string{">rank", ">net", ">length", ">class", "sequence", "cycle", "reads as", "between the moves", ">total"}, rows)
}
