package main

import (
	"context"
	"fmt"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"turnwright/api/client"
	v1 "turnwright/api/turnwright/v1"
	"turnwright/search/scramble"
)

func (a *app) roundsCommand() *cobra.Command {
	var e either
	cmd := &cobra.Command{
		Use:   "rounds",
		Short: "List the rounds, the latest first",
		Args:  cobra.NoArgs,
		RunE: a.verb(func(ctx context.Context, _ []string) error {
			return a.withServer(ctx, e, func(c *client.Client) error {
				rounds, err := client.Collect(c.AllRounds(ctx))
				if err != nil {
					return err
				}
				return printList(a, "round", rounds, roundJSON, a.roundsText)
			})
		}),
	}
	e.registerRemote(cmd)
	return cmd
}

func (a *app) roundCommand() *cobra.Command {
	var e either
	cmd := &cobra.Command{
		Use:   "round ROUND",
		Short: "Look at a round: its rules, how much time there is, and how you stand in it",
		Long: `Look at a round: its rules, when it opens and closes, and what you have done in it so
far. Once it has closed, also its scrambles, the seed that they follow from, and the
standings.`,
		Example: `  turnwright round lantern-cup`,
		Args:    cobra.ExactArgs(1),
		RunE: a.verb(func(ctx context.Context, args []string) error {
			return a.withServer(ctx, e, func(c *client.Client) error {
				reply, err := c.Rounds.GetRound(ctx, &v1.GetRoundRequest{Name: client.RoundName(args[0])})
				if err != nil {
					return err
				}
				return a.printRoundWhole(ctx, c, reply.GetRound())
			})
		}),
	}
	e.registerRemote(cmd)
	cmd.ValidArgsFunction = e.completeRound
	return cmd
}

// printRoundWhole prints a round with what the caller did in it, or its standings.
func (a *app) printRoundWhole(ctx context.Context, c *client.Client, r *v1.Round) error {
	var mine []attemptForm
	if r.GetState() == v1.RoundState_ROUND_STATE_OPEN {
		var err error
		if mine, err = ownAttempts(ctx, c, r); err != nil {
			return err
		}
	}
	if a.output == "json" {
		form := roundJSON(r)
		form.Yours = mine
		return a.printJSON("round", form)
	}
	text := a.roundText(r)
	switch r.GetState() {
	case v1.RoundState_ROUND_STATE_OPEN:
		text += "\n" + a.ownText(r, mine)
	case v1.RoundState_ROUND_STATE_CLOSED:
		reply, err := c.Rounds.GetStandings(ctx, &v1.GetStandingsRequest{Round: r.GetName()})
		if err != nil {
			return err
		}
		text += "\n" + standingsText(reply)
	}
	return a.printText(text)
}

// ownAttempts is what the caller did in an open round: by attempt, the scrambles that were
// shown and what was handed in.
func ownAttempts(ctx context.Context, c *client.Client, r *v1.Round) ([]attemptForm, error) {
	me, err := c.Members.GetCaller(ctx, &v1.GetCallerRequest{})
	if err != nil {
		return nil, err
	}
	forms := make([]attemptForm, r.GetAttempts())
	for i := range forms {
		forms[i] = attemptForm{Round: r.GetName(), Attempt: int32(i + 1)}
	}
	at := func(number int32) *attemptForm {
		if number < 1 || int(number) > len(forms) {
			return &attemptForm{}
		}
		return &forms[number-1]
	}
	for view, err := range c.AllScrambleViews(ctx, r.GetName()) {
		if err != nil {
			return nil, err
		}
		if view.GetFirst() && view.GetMember() == me.GetMember() {
			at(view.GetAttempt()).shown(r, view.GetTime().AsTime())
		}
	}
	for entry, err := range c.AllEntries(ctx, r.GetName()) {
		if err != nil {
			return nil, err
		}
		if entry.GetMember() == me.GetMember() {
			form := entryJSON(entry)
			at(entry.GetAttempt()).Entry = &form
		}
	}
	return forms, nil
}

type roundForm struct {
	Round      string        `json:"round"`
	Title      string        `json:"title"`
	State      string        `json:"state"` // announced, open, closed or called-off
	Puzzle     string        `json:"puzzle"`
	Metric     string        `json:"metric"`
	Format     string        `json:"format"` // best or mean
	Attempts   int32         `json:"attempts"`
	Opens      string        `json:"opens"`
	Closes     string        `json:"closes"`
	Limit      float64       `json:"timeLimit"`           // of an attempt, in seconds
	Max        int32         `json:"maxLength,omitempty"` // by ETM
	Content    string        `json:"content"`             // plain or notation
	Members    []string      `json:"members"`             // who may take part; everybody where there is none
	Owner      string        `json:"owner"`
	Created    string        `json:"created"`
	Commitment string        `json:"commitment"`
	Method     string        `json:"scrambleMethod"`
	Way        int32         `json:"scrambleWay"`         // the number of how they follow from the seed; 0 where it was announced before ways had numbers
	Seed       string        `json:"seed,omitempty"`      // once it has closed
	Scrambles  []string      `json:"scrambles,omitempty"` // once it has closed
	Changes    []changeForm  `json:"changes"`
	Yours      []attemptForm `json:"yours,omitempty"` // of verb round, while it is open
}

type changeForm struct {
	Time   string `json:"time"`
	Member string `json:"member"`
	Change string `json:"change"`
	Reason string `json:"reason"`
}

func roundJSON(r *v1.Round) roundForm {
	form := roundForm{
		Round: r.GetName(), Title: r.GetTitle(), State: roundStateText(r.GetState()),
		Puzzle: client.ID(r.GetPuzzle()), Metric: strings.ToLower(metricText(r.GetMetric())),
		Format: formatText(r.GetFormat()), Attempts: r.GetAttempts(),
		Opens: timeText(r.GetOpenTime()), Closes: timeText(r.GetCloseTime()), Limit: r.GetTimeLimit().AsDuration().Seconds(),
		Max: r.GetMaxLength(), Content: contentText(r.GetContent()), Members: list(r.GetMembers()),
		Owner: r.GetOwner(), Created: timeText(r.GetCreateTime()),
		Commitment: r.GetCommitment(), Method: r.GetScrambleMethod(), Way: r.GetScrambleWay(), Seed: r.GetSeed(), Scrambles: r.GetScrambles(),
		Changes: []changeForm{},
	}
	for _, c := range r.GetChanges() {
		form.Changes = append(form.Changes, changeForm{timeText(c.GetTime()), c.GetMember(), c.GetChange(), c.GetReason()})
	}
	return form
}

func roundStateText(s v1.RoundState) string {
	return strings.ReplaceAll(strings.ToLower(strings.TrimPrefix(s.String(), "ROUND_STATE_")), "_", "-")
}

func formatText(f v1.RoundFormat) string {
	if f == v1.RoundFormat_ROUND_FORMAT_MEAN {
		return "mean"
	}
	return "best"
}

func contentText(c v1.EntryContent) string {
	if c == v1.EntryContent_ENTRY_CONTENT_NOTATION {
		return "notation"
	}
	return "plain"
}

// countsText says what of the attempts counts.
func countsText(r *v1.Round) string {
	switch {
	case r.GetFormat() == v1.RoundFormat_ROUND_FORMAT_MEAN:
		return fmt.Sprintf("mean of %d", r.GetAttempts())
	case r.GetAttempts() == 1:
		return "one attempt"
	}
	return fmt.Sprintf("best of %d", r.GetAttempts())
}

// stageText says what is next in the life of a round, and when.
func (a *app) stageText(r *v1.Round) string {
	switch r.GetState() {
	case v1.RoundState_ROUND_STATE_ANNOUNCED:
		if !a.now().Before(r.GetOpenTime().AsTime()) { // it does as soon as somebody looks
			return "opens now, until " + a.when(r.GetCloseTime())
		}
		return "opens " + a.when(r.GetOpenTime())
	case v1.RoundState_ROUND_STATE_OPEN:
		return "open until " + a.when(r.GetCloseTime())
	case v1.RoundState_ROUND_STATE_CLOSED:
		return "closed"
	case v1.RoundState_ROUND_STATE_CALLED_OFF:
		return "called off"
	}
	return roundStateText(r.GetState())
}

func (a *app) roundsText(rounds []*v1.Round) string {
	if len(rounds) == 0 {
		return "No round was announced yet.\n"
	}
	var rows [][]any
	for _, r := range rounds {
		rows = append(rows, []any{
			client.ID(r.GetName()), client.ID(r.GetPuzzle()), metricText(r.GetMetric()), countsText(r), a.stageText(r), r.GetTitle(),
		})
	}
	return readable(columns([]string{"round", "puzzle", "metric", "what counts", "when", "title"}, rows))
}

// roundText is all that there is to say of a round to everybody.
func (a *app) roundText(r *v1.Round) string {
	var b strings.Builder
	id := client.ID(r.GetName())
	if r.GetTitle() == "" {
		fmt.Fprintf(&b, "%s: %s.\n\n", id, a.stageText(r))
	} else {
		fmt.Fprintf(&b, "%s, %q: %s.\n\n", id, r.GetTitle(), a.stageText(r))
	}
	line := func(what, format string, args ...any) {
		fmt.Fprintf(&b, "%-12s %s\n", what, fmt.Sprintf(format, args...))
	}
	line("puzzle", "%s, lengths in %s", client.ID(r.GetPuzzle()), metricText(r.GetMetric()))
	line("what counts", "%s", countsText(r))
	line("open", "%s to %s", a.at(r.GetOpenTime()), a.at(r.GetCloseTime()))
	line("time limit", "%s for an attempt, from when its scramble is shown", spanText(r.GetTimeLimit().AsDuration()))
	if r.GetMaxLength() > 0 {
		line("longest", "%d (ETM)", r.GetMaxLength())
	}
	if r.GetContent() == v1.EntryContent_ENTRY_CONTENT_NOTATION {
		line("an entry has", "moves and rotations, also brackets, groups and comments")
	} else {
		line("an entry has", "moves and rotations only")
	}
	line("takes part", "%s", membersOfText(r.GetMembers()))
	line("announced by", "%s", client.ID(r.GetOwner()))
	line("scrambles", "%s%s", r.GetScrambleMethod(), numberedWay(r.GetScrambleWay()))
	line("commitment", "%s", r.GetCommitment())
	if r.GetSeed() != "" {
		line("seed", "%s", r.GetSeed())
	}
	for i, s := range r.GetScrambles() {
		line(fmt.Sprintf("scramble %d", i+1), "%s", s)
	}
	for _, c := range r.GetChanges() {
		line("changed", "%s, %s: %s (%s)", a.at(c.GetTime()), client.ID(c.GetMember()), c.GetChange(), c.GetReason())
	}
	return readable(b.String())
}

// numberedWay names the way of a round's scrambles behind how they were made in words.
func numberedWay(way int32) string {
	if way == scramble.Unnumbered {
		return ""
	}
	return fmt.Sprintf(" (way %d)", way)
}

func membersOfText(members []string) string {
	if len(members) == 0 {
		return "everybody"
	}
	var ids []string
	for _, m := range members {
		ids = append(ids, client.ID(m))
	}
	return strings.Join(ids, ", ")
}

// ownText is what the reader did in an open round, and what to do next.
func (a *app) ownText(r *v1.Round, mine []attemptForm) string {
	var rows [][]any
	for _, m := range mine {
		shown, until, entry := "not yet", "-", "-"
		if !m.show.IsZero() {
			shown = m.show.In(a.now().Location()).Format("2006-01-02 15:04 MST")
			until = m.end.In(a.now().Location()).Format("15:04 MST") + ", " + offText(m.end.Sub(a.now()))
		}
		if m.Entry != nil {
			entry = m.Entry.Result
		}
		rows = append(rows, []any{m.Attempt, shown, until, entry})
	}
	text := "Yours, which nobody else sees before the round closes:\n\n"
	text += columns([]string{">attempt", "scramble shown", "time until", ">handed in"}, rows)
	return text + fmt.Sprintf("\nThe clock of an attempt begins to run with: turnwright scramble %s%s --start\n", client.ID(r.GetName()), attemptFlag(r))
}

// attemptFlag is the flag that says which attempt, where there are several.
func attemptFlag(r *v1.Round) string {
	if r.GetAttempts() == 1 {
		return ""
	}
	return " --attempt N"
}

// shown notes when the scramble of an attempt was shown, and what follows from it.
func (f *attemptForm) shown(r *v1.Round, at time.Time) {
	f.show = at
	f.end = earlier(at.Add(r.GetTimeLimit().AsDuration()), r.GetCloseTime().AsTime())
	f.Shown, f.Deadline = at.UTC().Format(time.RFC3339), f.end.UTC().Format(time.RFC3339)
}
