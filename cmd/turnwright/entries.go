package main

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"unicode"

	"github.com/spf13/cobra"

	"turnwright/api/client"
	v1 "turnwright/api/turnwright/v1"
)

func (a *app) entriesCommand() *cobra.Command {
	var e either
	cmd := &cobra.Command{
		Use:   "entries ROUND [ENTRY]",
		Short: "List the entries of a round that you may see, or look at one",
		Long: `List the entries of a round that you may see: your own, and everybody's once the round
has closed. An entry is named by its author and attempt, such as anna-1; named, it is
shown whole, with what its author says of it and why it is no result, if it is none.`,
		Example: `  turnwright entries lantern-cup
  turnwright entries lantern-cup anna-1`,
		Args: cobra.RangeArgs(1, 2),
		RunE: a.verb(func(ctx context.Context, args []string) error {
			return a.withServer(ctx, e, func(c *client.Client) error {
				reply, err := c.Rounds.GetRound(ctx, &v1.GetRoundRequest{Name: client.RoundName(args[0])})
				if err != nil {
					return err
				}
				round := reply.GetRound()
				if len(args) == 2 {
					reply, err := c.Rounds.GetEntry(ctx, &v1.GetEntryRequest{Name: client.EntryName(args[0], args[1])})
					if err != nil {
						return err
					}
					return a.printEntry(round, reply.GetEntry())
				}
				entries, err := client.Collect(c.AllEntries(ctx, round.GetName()))
				if err != nil {
					return err
				}
				return printList(a, "entry", entries, entryJSON, func(entries []*v1.Entry) string { return a.entriesText(round, entries) })
			})
		}),
	}
	e.registerRemote(cmd)
	cmd.ValidArgsFunction = e.completeEntry
	return cmd
}

func (a *app) correctCommand() *cobra.Command {
	var e either
	var dnf, again bool
	var solution, reason string
	cmd := &cobra.Command{
		Use:   "correct ROUND ENTRY --reason TEXT",
		Short: "Change what an entry counts for, for organisers",
		Long: `Change what an entry counts for once its round has closed: make it no result, judge what
its author meant in the place of what was written, or judge it again as it is. What it
counted for before, who changed it and why stay on record, and everybody sees them.`,
		Example: `  turnwright correct lantern-cup bert-2 --dnf --reason "WCA Regulation E2e: derived from the scramble"
  turnwright correct lantern-cup anna-1 --solution "R U R' U'" --reason "a prime was left out, as the jury agrees"`,
		Args: cobra.ExactArgs(2),
		RunE: a.verb(func(ctx context.Context, args []string) error {
			if !dnf && !again && solution == "" {
				return usageError{errors.New("say what it counts for: --dnf, --solution or --again")}
			}
			return a.withServer(ctx, e, func(c *client.Client) error {
				reply, err := c.Rounds.CorrectEntry(ctx, &v1.CorrectEntryRequest{
					Name: client.EntryName(args[0], args[1]), Dnf: dnf, Solution: solution, Reason: reason, RequestId: client.NewRequestID(),
				})
				if err != nil {
					return err
				}
				if a.output == "json" {
					return a.printJSON("entry", entryJSON(reply.GetEntry()))
				}
				round, err := c.Rounds.GetRound(ctx, &v1.GetRoundRequest{Name: client.RoundName(args[0])})
				if err != nil {
					return err
				}
				return a.printEntry(round.GetRound(), reply.GetEntry())
			})
		}),
	}
	e.registerRemote(cmd)
	cmd.ValidArgsFunction = e.completeEntry
	cmd.Flags().BoolVar(&dnf, "dnf", false, "it is no result")
	cmd.Flags().StringVar(&solution, "solution", "", "judge this `sequence`, which its author meant")
	cmd.Flags().BoolVar(&again, "again", false, "judge again what was handed in")
	cmd.MarkFlagsMutuallyExclusive("dnf", "solution", "again")
	registerReason(cmd, &reason)
	mustRequire(cmd, "reason")
	return cmd
}

type entryForm struct {
	Entry       string           `json:"entry"`
	Member      string           `json:"member"`
	Attempt     int32            `json:"attempt"`
	Result      string           `json:"result"`           // the length in decimal, or DNF
	Length      int32            `json:"length,omitempty"` // absent for DNF
	Solution    string           `json:"solution"`
	Explanation string           `json:"explanation,omitempty"`
	Lengths     *lengthsForm     `json:"lengths,omitempty"` // where it can be read
	DNF         *dnfForm         `json:"dnf,omitempty"`     // where it is no result
	Warnings    []string         `json:"warnings,omitempty"`
	Shown       string           `json:"shown"`
	Updated     string           `json:"updated,omitempty"` // absent with --check
	Revision    int32            `json:"revision,omitempty"`
	Corrections []correctionForm `json:"corrections,omitempty"`
}

type dnfForm struct {
	Reason string     `json:"reason"` // notation, not-solved, too-long or corrected
	Rule   string     `json:"rule,omitempty"`
	Text   string     `json:"text"`
	Line   int32      `json:"line,omitempty"` // where the text is wrong, from 1
	Column int32      `json:"column,omitempty"`
	Left   []leftForm `json:"left,omitempty"`
}

type leftForm struct {
	Type   string   `json:"type"`
	Count  int32    `json:"count"`
	Places []string `json:"places"`
}

type correctionForm struct {
	Time     string `json:"time"`
	Member   string `json:"member"`
	Reason   string `json:"reason"`
	Before   string `json:"before"` // the result
	Solution string `json:"solution,omitempty"`
}

func entryJSON(e *v1.Entry) entryForm {
	v := e.GetVerdict()
	form := entryForm{
		Entry: e.GetName(), Member: e.GetMember(), Attempt: e.GetAttempt(), Result: countedText(v),
		Length: v.GetLength(), Solution: e.GetSolution(), Explanation: e.GetExplanation(), Warnings: v.GetWarnings(),
		Shown: timeText(e.GetShowTime()), Updated: timeText(e.GetUpdateTime()), Revision: e.GetRevision(),
	}
	if v.GetLengths() != nil {
		lengths := lengthsJSON(v.GetLengths())
		form.Lengths = &lengths
	}
	if d := v.GetDnf(); d != nil {
		form.DNF = &dnfForm{Reason: dnfReason(d.GetReason()), Rule: d.GetRule(), Text: d.GetText(), Line: d.GetLine(), Column: d.GetColumn()}
		for _, l := range d.GetLeft() {
			form.DNF.Left = append(form.DNF.Left, leftForm{l.GetType(), l.GetCount(), list(l.GetPlaces())})
		}
	}
	for _, c := range e.GetCorrections() {
		form.Corrections = append(form.Corrections, correctionForm{
			timeText(c.GetTime()), c.GetMember(), c.GetReason(), countedText(c.GetBefore()), c.GetSolution(),
		})
	}
	return form
}

func dnfReason(r v1.DnfReason) string {
	return strings.ReplaceAll(strings.ToLower(strings.TrimPrefix(r.String(), "DNF_REASON_")), "_", "-")
}

// countedText is what a verdict counts for: a length, or DNF.
func countedText(v *v1.Verdict) string {
	if v.GetDnf() != nil {
		return "DNF"
	}
	return fmt.Sprint(v.GetLength())
}

func (a *app) entriesText(r *v1.Round, entries []*v1.Entry) string {
	sealed := ""
	if r.GetState() != v1.RoundState_ROUND_STATE_CLOSED {
		sealed = "\nWhat others have handed in, and whether they have, is sealed.\n"
		if r.GetState() == v1.RoundState_ROUND_STATE_OPEN {
			sealed = fmt.Sprintf("\nWhat others have handed in, and whether they have, is sealed until the round closes, %s.\n", a.when(r.GetCloseTime()))
		}
	}
	if len(entries) == 0 && sealed != "" {
		return "You have handed in nothing." + sealed
	}
	if len(entries) == 0 {
		return "Nobody has handed in anything.\n"
	}
	var rows [][]any
	for _, e := range entries {
		note := ""
		if len(e.GetCorrections()) > 0 {
			note = "corrected"
		}
		if len(e.GetVerdict().GetWarnings()) > 0 {
			note = strings.TrimPrefix(note+", to look at", ", ")
		}
		solution := strings.Join(strings.Fields(e.GetSolution()), " ")
		rows = append(rows, []any{client.ID(e.GetName()), countedText(e.GetVerdict()), a.at(e.GetUpdateTime()), clipped(solution, 60), note})
	}
	return readable(columns([]string{"entry", ">result", "handed in", "solution", ""}, rows)) + sealed
}

// clipped is the text, cut off where it has more characters than that.
func clipped(text string, width int) string {
	if runes := []rune(text); len(runes) > width {
		return string(runes[:width-2]) + " …"
	}
	return text
}

func (a *app) printEntry(r *v1.Round, e *v1.Entry) error {
	if a.output == "json" {
		return a.printJSON("entry", entryJSON(e))
	}
	var b strings.Builder
	fmt.Fprintf(&b, "%s, attempt %d of %s, shown %s, handed in %s.\n\n", client.ID(e.GetMember()), e.GetAttempt(), client.ID(r.GetName()),
		a.at(e.GetShowTime()), a.at(e.GetUpdateTime()))
	if len(r.GetScrambles()) >= int(e.GetAttempt()) && e.GetAttempt() > 0 {
		fmt.Fprintf(&b, "Scramble: %s\n", r.GetScrambles()[e.GetAttempt()-1])
	}
	fmt.Fprintf(&b, "Solution: %s\n\n%s", strings.ReplaceAll(e.GetSolution(), "\n", "\n          "), verdictText(e, metricText(r.GetMetric())))
	for _, c := range e.GetCorrections() {
		fmt.Fprintf(&b, "\nCorrected %s by %s, from %s: %s\n", a.at(c.GetTime()), client.ID(c.GetMember()), countedText(c.GetBefore()), c.GetReason())
		if c.GetSolution() != "" {
			fmt.Fprintf(&b, "Judged: %s\n", c.GetSolution())
		}
	}
	if e.GetExplanation() != "" {
		fmt.Fprintf(&b, "\n%s\n", e.GetExplanation())
	}
	return a.printText(readable(b.String()))
}

// readable is what a member wrote without what a terminal would take for orders, or would
// show in another order.
func readable(text string) string {
	return strings.Map(func(r rune) rune {
		if r == '\n' || unicode.IsPrint(r) {
			return r
		}
		return unicode.ReplacementChar
	}, strings.NewReplacer("\r\n", "\n", "\t", " ").Replace(text))
}

// judged is the text that the verdict is about: what was handed in, or what an organiser
// had judged in its place.
func judged(e *v1.Entry) string {
	if n := len(e.GetCorrections()); n > 0 && e.GetCorrections()[n-1].GetSolution() != "" {
		return e.GetCorrections()[n-1].GetSolution()
	}
	return e.GetSolution()
}

// verdictText is what an entry counts for, and why it is no result, if it is none.
func verdictText(e *v1.Entry, metric string) string {
	var b strings.Builder
	v := e.GetVerdict()
	if d := v.GetDnf(); d != nil {
		rule := ""
		if d.GetRule() != "" && !strings.Contains(d.GetText(), d.GetRule()) {
			rule = " (WCA Regulation " + strings.TrimPrefix(d.GetRule(), "WCA ") + ")"
		}
		fmt.Fprintf(&b, "DNF: %s%s\n", d.GetText(), rule)
		b.WriteString(caretText(judged(e), int(d.GetLine()), int(d.GetColumn())))
		for _, l := range d.GetLeft() {
			more := ""
			if n := int(l.GetCount()) - len(l.GetPlaces()); n > 0 {
				more = fmt.Sprintf(" and %d more", n)
			}
			fmt.Fprintf(&b, "  %s: %s%s\n", l.GetType(), strings.Join(l.GetPlaces(), ", "), more)
		}
	} else {
		fmt.Fprintf(&b, "Solved, %s (%s).\n", plural(int64(v.GetLength()), "move", "moves"), metric)
	}
	for _, w := range v.GetWarnings() {
		fmt.Fprintf(&b, "For the organisers to look at: %s\n", w)
	}
	return b.String()
}

// caretText is the line that is wrong, as much of it as one sees at once, and below it a
// mark at the column. Lines and columns count from 1, columns in characters.
func caretText(text string, line, column int) string {
	lines := strings.Split(text, "\n")
	if line < 1 || line > len(lines) || column < 1 {
		return ""
	}
	const before, after = 40, 30
	wrong := []rune(strings.ReplaceAll(strings.TrimRight(lines[line-1], "\r"), "\t", " "))
	column = min(column, len(wrong)+1)
	from, to := max(0, column-1-before), min(len(wrong), column-1+after)
	lead, tail := "", ""
	if from > 0 {
		lead = "… "
	}
	if to < len(wrong) {
		tail = " …"
	}
	where := ""
	if len(lines) > 1 {
		where = fmt.Sprintf("line %d: ", line)
	}
	mark := strings.Repeat(" ", len(where)+len([]rune(lead))+column-1-from)
	return fmt.Sprintf("  %s%s%s%s\n  %s^\n", where, lead, string(wrong[from:to]), tail, mark)
}
