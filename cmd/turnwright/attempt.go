package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"time"
	"unicode/utf8"

	"github.com/spf13/cobra"

	"turnwright/api/client"
	v1 "turnwright/api/turnwright/v1"
)

func (a *app) scrambleCommand() *cobra.Command {
	var e either
	var attempt int32
	var start bool
	cmd := &cobra.Command{
		Use:   "scramble ROUND",
		Short: "See the scramble of an attempt, and start its clock",
		Long: `See the scramble of an attempt. The first time that you see it your clock begins to run,
and it does not stop before the time limit is over or the round closes; so the first time
needs --start. Afterwards the scramble is shown again as often as you like. That you saw
it, and when, is kept; organisers can see that.

The server's clock counts. Where the round has closed no clock runs.`,
		Example: `  turnwright scramble lantern-cup --attempt 1 --start`,
		Args:    cobra.ExactArgs(1),
		RunE: a.verb(func(ctx context.Context, args []string) error {
			return a.withServer(ctx, e, func(c *client.Client) error {
				round, number, err := attemptOf(ctx, c, args[0], attempt)
				if err != nil {
					return err
				}
				switch {
				case round.GetState() == v1.RoundState_ROUND_STATE_ANNOUNCED:
					return usageError{fmt.Errorf("nothing was shown: %s %s", client.ID(round.GetName()), a.stageText(round))}
				case round.GetState() == v1.RoundState_ROUND_STATE_OPEN && !start:
					mine, err := ownAttempts(ctx, c, round)
					if err != nil {
						return err
					}
					if int(number) <= len(mine) && mine[number-1].Shown == "" {
						return usageError{a.unstarted(round, number)}
					}
				}
				reply, err := c.Rounds.ShowScramble(ctx, &v1.ShowScrambleRequest{
					Round: round.GetName(), Attempt: number, RequestId: client.NewRequestID(),
				})
				if err != nil {
					return err
				}
				return a.printAttempt(round, reply.GetAttempt())
			})
		}),
	}
	e.registerRemote(cmd)
	cmd.ValidArgsFunction = e.completeRound
	registerAttempt(cmd, &attempt)
	cmd.Flags().BoolVar(&start, "start", false, "let the clock begin to run, if it doesn't yet")
	return cmd
}

func registerAttempt(cmd *cobra.Command, attempt *int32) {
	cmd.Flags().Int32Var(attempt, "attempt", 0, "`number` of the attempt, from 1 (may be left out where there is one only)")
}

// attemptOf finds the round, and which attempt is meant.
func attemptOf(ctx context.Context, c *client.Client, round string, attempt int32) (*v1.Round, int32, error) {
	reply, err := c.Rounds.GetRound(ctx, &v1.GetRoundRequest{Name: client.RoundName(round)})
	if err != nil {
		return nil, 0, err
	}
	r := reply.GetRound()
	switch {
	case attempt == 0 && r.GetAttempts() == 1:
		return r, 1, nil
	case attempt == 0:
		return nil, 0, usageError{fmt.Errorf("the round has %d attempts: say which with --attempt", r.GetAttempts())}
	case attempt < 0 || attempt > r.GetAttempts():
		return nil, 0, usageError{fmt.Errorf("--attempt %d: the round has %s", attempt, plural(int64(r.GetAttempts()), "attempt", "attempts"))}
	}
	return r, attempt, nil
}

// unstarted says what would happen with --start.
func (a *app) unstarted(r *v1.Round, number int32) error {
	now := a.now()
	end := earlier(now.Add(r.GetTimeLimit().AsDuration()), r.GetCloseTime().AsTime())
	cut := ""
	if end.Equal(r.GetCloseTime().AsTime()) {
		cut = ", as the round closes then"
	}
	return fmt.Errorf("nothing was shown: with the scramble of attempt %d your clock begins, and you have %s%s; say --start to begin",
		number, spanText(end.Sub(now)), cut)
}

type attemptForm struct {
	Round    string     `json:"round"`
	Attempt  int32      `json:"attempt"`
	Scramble string     `json:"scramble,omitempty"`
	Shown    string     `json:"shown,omitempty"`    // for the first time; absent where it was not
	Deadline string     `json:"deadline,omitempty"` // for an entry
	Entry    *entryForm `json:"entry,omitempty"`    // what was handed in; only from verb round

	show, end time.Time // the same as Shown and Deadline
}

// printAttempt prints the scramble, and tells people how much time they have.
func (a *app) printAttempt(r *v1.Round, t *v1.Attempt) error {
	if a.output == "json" {
		return a.printJSON("attempt", attemptForm{
			Round: t.GetRound(), Attempt: t.GetNumber(), Scramble: t.GetScramble(),
			Shown: timeText(t.GetShowTime()), Deadline: timeText(t.GetDeadline()),
		})
	}
	if err := a.printText(t.GetScramble() + "\n"); err != nil {
		return err
	}
	what := fmt.Sprintf("attempt %d of %s", t.GetNumber(), client.ID(r.GetName()))
	switch {
	case t.GetDeadline() == nil:
		a.note("%s: the round has closed, no clock runs", what)
	case t.GetDeadline().AsTime().Before(a.now()):
		a.note("%s: your time was over %s", what, a.when(t.GetDeadline()))
	default:
		a.note("%s: your clock has run since %s; hand in until %s:", what, a.at(t.GetShowTime()), a.when(t.GetDeadline()))
		flag := ""
		if r.GetAttempts() > 1 {
			flag = fmt.Sprintf(" --attempt %d", t.GetNumber())
		}
		a.note("  turnwright enter %s%s \"…\"", client.ID(r.GetName()), flag)
	}
	return nil
}

func (a *app) enterCommand() *cobra.Command {
	var e either
	var attempt int32
	var explanation string
	var check bool
	cmd := &cobra.Command{
		Use:   "enter ROUND SOLUTION",
		Short: "Hand in a solution, or only have it checked",
		Long: `Hand in a solution for an attempt whose scramble you have seen. It is judged at once: how
long it is, or why it is no result (DNF), with the place where the text is wrong or the
pieces that are left. Until your time is over you may hand in another; the last one
counts. Nobody else sees any of it before the round closes.

Several arguments are one solution; @FILE is one in a file, and - one on standard input.
--check keeps nothing and tells the same; it ends with status 2 where the solution would
be no result.`,
		Example: `  turnwright enter lantern-cup --attempt 1 "R' U' F D2 L2 F R2 U2 R2 B D2 L B2 D' B2 L' R' U' F" --check
  turnwright enter lantern-cup --attempt 1 @mine.txt --explanation how.txt`,
		Args: cobra.MinimumNArgs(2),
		RunE: a.verb(func(ctx context.Context, args []string) error {
			entry := &v1.Entry{}
			var err error
			if entry.Solution, err = a.readSolution(args[1:]); err != nil {
				return err
			}
			if explanation != "" {
				if entry.Explanation, err = a.readWritten("--explanation", explanation); err != nil {
					return err
				}
			}
			return a.withServer(ctx, e, func(c *client.Client) error {
				round, number, err := attemptOf(ctx, c, args[0], attempt)
				if err != nil {
					return err
				}
				entry.Attempt = number
				req := &v1.SubmitEntryRequest{Round: round.GetName(), Entry: entry, ValidateOnly: check}
				if !check {
					req.RequestId = client.NewRequestID()
				}
				reply, err := c.Rounds.SubmitEntry(ctx, req)
				if err != nil {
					return err
				}
				if err := a.printEntered(round, reply.GetEntry(), check); err != nil {
					return err
				}
				if check && reply.GetEntry().GetVerdict().GetDnf() != nil {
					return usageError{errors.New("this would be no result; nothing was handed in")}
				}
				return nil
			})
		}),
	}
	e.registerRemote(cmd)
	cmd.ValidArgsFunction = e.completeRound
	registerAttempt(cmd, &attempt)
	cmd.Flags().StringVar(&explanation, "explanation", "", "`file` with what you say of it, - for standard input; it is not judged")
	cmd.Flags().BoolVar(&check, "check", false, "only tell what it would count for")
	return cmd
}

// readSolution reads what arguments say: a solution, or where it is.
func (a *app) readSolution(args []string) (string, error) {
	return a.readMoves("the solution", strings.Join(args, " "))
}

// readMoves is the text itself, or what is in @FILE or, with -, on standard input.
func (a *app) readMoves(what, text string) (string, error) {
	if text == "-" {
		return a.readWritten(what, "-")
	}
	if file, ok := strings.CutPrefix(text, "@"); ok {
		return a.readWritten(what, file)
	}
	return text, nil
}

// maxWritten is the most that the server takes of a text of an entry, in bytes.
const maxWritten = 20_000

// readWritten reads a text from a file or standard input, and no more than the server takes.
func (a *app) readWritten(what, file string) (string, error) {
	from := a.stdin
	if file != "-" {
		opened, err := os.Open(file)
		if err != nil {
			return "", usageError{fmt.Errorf("%s: %w", what, err)}
		}
		defer opened.Close() //nolint:errcheck // it was only read
		from = opened
	}
	if from == nil {
		return "", usageError{fmt.Errorf("%s: there is no standard input", what)}
	}
	if file == "-" {
		if a.stdinWas != "" {
			return "", usageError{fmt.Errorf("%s: standard input was already read as %s: put one of them into a file, and say @FILE", what, a.stdinWas)}
		}
		a.stdinWas = what
	}
	text, err := io.ReadAll(io.LimitReader(from, maxWritten+1))
	switch {
	case err != nil:
		return "", fmt.Errorf("%s: %w", what, err)
	case len(text) > maxWritten:
		return "", usageError{fmt.Errorf("%s: more than %d bytes, which is too long for one", what, maxWritten)}
	case !utf8.Valid(text):
		return "", usageError{fmt.Errorf("%s: not text in UTF-8", what)}
	}
	return strings.TrimRight(string(text), "\r\n"), nil
}

// printEntered prints what an entry counts for, and what its author may still do.
func (a *app) printEntered(r *v1.Round, e *v1.Entry, check bool) error {
	if a.output == "json" {
		kind := "entry"
		if check {
			kind = "checked"
		}
		return a.printJSON(kind, entryJSON(e))
	}
	var mine attemptForm
	if e.GetShowTime() != nil {
		mine.shown(r, e.GetShowTime().AsTime())
	}
	var b strings.Builder
	b.WriteString(verdictText(e, metricText(r.GetMetric())))
	until := ""
	if !mine.end.IsZero() {
		until = fmt.Sprintf(" until %s, %s", mine.end.In(a.now().Location()).Format("2006-01-02 15:04 MST"), offText(mine.end.Sub(a.now())))
	}
	if check {
		fmt.Fprintf(&b, "\nNothing was handed in by this. You may hand in%s.\n", until)
		return a.printText(b.String())
	}
	fmt.Fprintf(&b, "\nHanded in for attempt %d of %s", e.GetAttempt(), client.ID(r.GetName()))
	if e.GetRevision() > 1 {
		fmt.Fprintf(&b, " in the place of what you had handed in before (%d times now)", e.GetRevision())
	}
	fmt.Fprintf(&b, ".\nYou may hand in another%s; the last one counts.\n", until)
	fmt.Fprintf(&b, "Nobody else sees it before the round closes, %s.\n", a.when(r.GetCloseTime()))
	return a.printText(readable(b.String()))
}
