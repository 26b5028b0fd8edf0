package main

import (
	"context"
	"errors"
	"fmt"

	"github.com/dustin/go-humanize"
	"github.com/spf13/cobra"

	"turnwright/api/client"
	turnwrightv1 "turnwright/api/turnwright/v1"
)

func (a *app) submitCommand() *cobra.Command {
	var q question
	cmd := a.submission(&cobra.Command{
		Use:   "submit --puzzle NAME --cycle TYPE --max LENGTH",
		Short: "Give the server a search to do, and don't wait for it",
		Long: `Give the server a search to do and print its name: watch, findings, pause and
cancel take it. The search is kept over crashes and restarts of the server. What is
asked is what find asks; "submit solve" asks what solve asks, "submit study" has a
solution shortened.
` + aboutParts,
		Example: `  turnwright submit --puzzle vertex-cut-dodecahedron --cycle triangle --max 11 --id overnight
  turnwright submit --puzzle vertex-cut-dodecahedron --cycle triangle --parts 5,1,1 --setup 1 --id further
  turnwright watch overnight`,
	}, &q)
	q.register(cmd)

	var p positionQuestion
	solve := a.submission(&cobra.Command{
		Use:   "solve --puzzle NAME --scramble SEQUENCE --max LENGTH",
		Short: "Give the server a position to solve, and don't wait for it",
		Long: `Give the server a position to solve and print the search's name: watch, findings,
pause and cancel take it. The search is kept over crashes and restarts of the server.`,
		Example: `  turnwright submit solve --puzzle 3x3x3 --scramble "R U F2 L' D B" --metric obtm --max 20 --id overnight
  turnwright watch overnight`,
	}, &p)
	p.register(solve)

	s := studyQuestion{app: a}
	study := a.submission(&cobra.Command{
		Use:   "study --puzzle NAME [--scramble MOVES] --solution MOVES",
		Short: "Give the server a solution to shorten, and don't wait for it",
		Long: `Give the server a solution to shorten, overnight perhaps, and print the search's name:
watch, findings, pause and cancel take it. Rounds of units replace stretches by other
sequences with the same effect and do stretches that move few pieces at another moment,
with the scramble and with its inverse; some first put sequences in where they cost
least. Each round begins with the best of those before. What is found was carried out turn
by turn after the scramble. The search is kept over crashes and restarts of the server, and
comes to the same whoever does its units.

MOVES is the text, @FILE to read a file, or - to read standard input. Without a scramble
the solution is taken for one of what it undoes. A solution of a scramble of a round that
is open is refused: all members see a search.`,
		Example: `  turnwright submit study --puzzle 3x3x3 --scramble "R' D' R U' R' D R U F2" --solution "F2 U' R' D' R U R' D R" --shorten 8h --id overnight
  turnwright watch overnight`,
	}, &s)
	s.register(study)
	cmd.AddCommand(solve, study)
	return cmd
}

// submission makes a verb that submits what is asked.
func (a *app) submission(cmd *cobra.Command, q asker) *cobra.Command {
	var r remote
	var memory size
	var id string
	var t timing
	var estimate, wait bool
	cmd.Args = cobra.NoArgs
	cmd.RunE = a.verb(func(ctx context.Context, _ []string) error {
		return r.with(func(c *client.Client) error {
			search, err := q.search(ctx, c, memory)
			if err != nil {
				return err
			}
			t.apply(search)
			reply, err := c.Searches.CreateSearch(ctx, &turnwrightv1.CreateSearchRequest{
				Search: search, SearchId: id, RequestId: client.NewRequestID(), ValidateOnly: estimate,
			})
			if err != nil {
				return err
			}
			if wait && !estimate {
				return a.await(ctx, c, reply.GetSearch().GetName())
			}
			return a.printSubmitted(reply, estimate)
		})
	})
	r.register(cmd)
	flags := cmd.Flags()
	t.register(flags)
	flags.Var(&memory, "memory", "at most so much memory for tables (default the server's limit)")
	flags.StringVar(&id, "id", "", "last `part` of the search's name (default one that the server makes up)")
	flags.BoolVar(&estimate, "estimate", false, "only tell what the search would take")
	flags.BoolVar(&wait, "wait", false, "wait for the end and print what came of it; Ctrl-C ends the waiting, not the search")
	cmd.MarkFlagsMutuallyExclusive("estimate", "wait")
	return cmd
}

// await waits for the end of a search, which goes on without it.
func (a *app) await(ctx context.Context, c *client.Client, name string) error {
	a.note("%s", name)
	err := a.track(ctx, c, name)
	if ctx.Err() != nil {
		return fmt.Errorf("no longer waiting, the search goes on: %w", ctx.Err())
	}
	if err != nil {
		return err
	}
	return a.printSearch(ctx, c, name)
}

// printSearch prints a search that has ended, with its findings.
func (a *app) printSearch(ctx context.Context, c *client.Client, name string) error {
	reply, err := c.Searches.GetSearch(ctx, &turnwrightv1.GetSearchRequest{Name: name})
	if err != nil {
		return err
	}
	findings, err := client.Collect(c.AllFindings(ctx, name))
	if err != nil {
		return err
	}
	return errors.Join(a.printResult(reply.GetSearch(), findings), outcome(reply.GetSearch()))
}

func (a *app) printSubmitted(reply *turnwrightv1.CreateSearchResponse, estimate bool) error {
	switch {
	case a.output == "json" && estimate:
		return a.printJSON("estimate", estimateJSON(reply.GetEstimate()))
	case a.output == "json":
		return a.printJSON("search", searchJSON(reply.GetSearch()))
	case estimate && reply.GetSearch().GetPosition() != nil:
		return a.printText(positionEstimateText(reply.GetEstimate()))
	case estimate && reply.GetSearch().GetStudy() != nil:
		return a.printText(studyEstimateText(reply.GetSearch(), reply.GetEstimate()))
	case estimate && reply.GetSearch().GetStructure() != nil:
		return a.printText(structuredEstimateText(reply.GetEstimate()))
	case estimate:
		return a.printText(estimateText(reply.GetEstimate()))
	default:
		return a.printText(reply.GetSearch().GetName() + "\n")
	}
}

type estimateForm struct {
	Lengths    []lengthEstimateForm `json:"lengths"`
	Units      int64                `json:"units"`
	Leaves     uint64               `json:"leaves"`
	TableWords uint64               `json:"tableWords"`
	TableBytes int64                `json:"tableBytes"`
	Seconds    float64              `json:"seconds,omitempty"` // absent where the server can't tell
	Pairs      uint64               `json:"pairs,omitempty"`   // of parts, with --parts; tableBytes are for these then
}

type lengthEstimateForm struct {
	Length int32  `json:"length"`
	Words  number `json:"words"`
	Leaves uint64 `json:"leaves"`
	Units  int64  `json:"units"`
}

func estimateJSON(e *turnwrightv1.Estimate) estimateForm {
	form := estimateForm{
		Lengths: []lengthEstimateForm{}, Units: e.GetUnits(), Leaves: e.GetLeaves(),
		TableWords: e.GetTableWords(), TableBytes: e.GetTableBytes(), Seconds: e.GetDuration().AsDuration().Seconds(), Pairs: e.GetPairs(),
	}
	for _, l := range e.GetLengths() {
		form.Lengths = append(form.Lengths, lengthEstimateForm{
			Length: l.GetLength(), Words: number(l.GetWords()), Leaves: l.GetLeaves(), Units: l.GetUnits(),
		})
	}
	return form
}

func estimateText(e *turnwrightv1.Estimate) string {
	var rows [][]any
	for _, l := range e.GetLengths() {
		rows = append(rows, []any{l.GetLength(), grouped(l.GetWords()), grouped(fmt.Sprint(l.GetLeaves())), l.GetUnits()})
	}
	text := columns([]string{">length", ">words", ">leaves", ">units"}, rows)
	text += fmt.Sprintf("\nTables: %s words, %s.\n", short(e.GetTableWords()), humanize.IBytes(uint64(e.GetTableBytes())))
	if e.GetDuration() != nil {
		text += fmt.Sprintf("Time: about %s.\n", durationText(e.GetDuration().AsDuration()))
	}
	return text
}
