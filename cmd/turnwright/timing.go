package main

import (
	"context"
	"errors"
	"fmt"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	"turnwright/api/client"
	v1 "turnwright/api/turnwright/v1"
)

// timing is when and how long a search is worked on, as flags put it.
type timing struct {
	priority int32
	stopAt   moment
	budget   time.Duration
}

func (t *timing) register(flags *pflag.FlagSet) {
	flags.Int32Var(&t.priority, "priority", 0, "`number` from -10 to 10: the highest of your own searches comes first; below 0 also no short question goes before others")
	flags.Var(&t.stopAt, "stop-at", "end it at this time as it is: 07:00 (the next time), \"2026-11-27 07:00\", 2026-11-27T07:00:00Z, or 3h from now")
	flags.DurationVar(&t.budget, "core-budget", 0, "end it as it is after so much `time` of cores, such as 8h")
}

// apply writes it into a search.
func (t *timing) apply(s *v1.Search) {
	s.Priority = t.priority
	if !t.stopAt.IsZero() {
		s.StopTime = timestamppb.New(t.stopAt.Time)
	}
	if t.budget != 0 {
		s.CoreBudget = durationpb.New(t.budget)
	}
}

// moment is a flag for a time: a time of day, the next one; a date and a time of day; a
// moment by RFC 3339; or how long from now.
type moment struct {
	time.Time
	now func() time.Time // time.Now where nil; its zone is that of what names none
}

func (m *moment) String() string {
	if m.IsZero() {
		return ""
	}
	return m.Format(time.RFC3339)
}

func (*moment) Type() string { return "time" }

func (m *moment) Set(text string) error {
	now := time.Now
	if m.now != nil {
		now = m.now
	}
	var err error
	m.Time, err = readMoment(text, now())
	return err
}

// stamp is the time for the API; none where the flag was not given.
func (m *moment) stamp() *timestamppb.Timestamp {
	if m.IsZero() {
		return nil
	}
	return timestamppb.New(m.Time)
}

func readMoment(text string, now time.Time) (time.Time, error) {
	if t, err := time.Parse(time.RFC3339, text); err == nil {
		return t, nil
	}
	if t, err := time.ParseInLocation("2006-01-02 15:04", text, now.Location()); err == nil {
		return t, nil
	}
	if d, err := readDuration(text); err == nil && d > 0 {
		return now.Add(d), nil
	}
	clock, err := time.Parse("15:04", text)
	if err != nil {
		return time.Time{}, errors.New(`must be a time of day, such as 07:00, a date with one, such as "2026-11-27 07:00", a moment such as 2026-11-27T07:00:00Z, or how long from now, such as 3h or 2d`)
	}
	t := time.Date(now.Year(), now.Month(), now.Day(), clock.Hour(), clock.Minute(), 0, 0, now.Location())
	if !t.After(now) {
		t = time.Date(now.Year(), now.Month(), now.Day()+1, clock.Hour(), clock.Minute(), 0, 0, now.Location())
	}
	return t, nil
}

// readDuration reads such as 90m, 1h30m or 2d.
func readDuration(text string) (time.Duration, error) {
	if days, ok := strings.CutSuffix(text, "d"); ok {
		n, err := strconv.ParseUint(days, 10, 12)
		return time.Duration(n) * 24 * time.Hour, err
	}
	return time.ParseDuration(text)
}

func (a *app) rescheduleCommand() *cobra.Command {
	var r remote
	var t timing
	var noStop bool
	cmd := &cobra.Command{
		Use:   "reschedule SEARCH",
		Short: "Change when and how long a search is worked on",
		Long: `Change a search's priority among your own, the time at which it ends as it is, or how
much time of cores it may take in all. What no flag names stays.`,
		Example: `  turnwright reschedule overnight --priority 5
  turnwright reschedule overnight --stop-at 07:00 --core-budget 8h`,
		Args: cobra.ExactArgs(1),
	}
	cmd.RunE = a.verb(func(ctx context.Context, args []string) error {
		req := &v1.RescheduleSearchRequest{Name: client.SearchName(args[0]), RequestId: client.NewRequestID(), ClearStopTime: noStop}
		if cmd.Flags().Changed("priority") {
			req.Priority = &t.priority
		}
		if !t.stopAt.IsZero() {
			req.StopTime = timestamppb.New(t.stopAt.Time)
		}
		if cmd.Flags().Changed("core-budget") {
			req.CoreBudget = durationpb.New(t.budget)
		}
		if req.Priority == nil && req.StopTime == nil && req.CoreBudget == nil && !noStop {
			return usageError{errors.New("nothing to change: use --priority, --stop-at, --no-stop or --core-budget")}
		}
		return r.with(func(c *client.Client) error {
			reply, err := c.Searches.RescheduleSearch(ctx, req)
			if err != nil {
				return err
			}
			if a.output == "json" {
				return a.printJSON("search", searchJSON(reply.GetSearch()))
			}
			return a.printText(fmt.Sprintf("%s: %s\n", reply.GetSearch().GetName(), timingText(reply.GetSearch())))
		})
	})
	r.register(cmd)
	cmd.ValidArgsFunction = r.completeSearch
	t.register(cmd.Flags())
	cmd.Flags().BoolVar(&noStop, "no-stop", false, "it is not to end at any time any more")
	cmd.MarkFlagsMutuallyExclusive("stop-at", "no-stop")
	return cmd
}

// timingText says when and how long a search is worked on.
func timingText(s *v1.Search) string {
	text := fmt.Sprintf("priority %d", s.GetPriority())
	if s.GetStopTime() != nil {
		text += ", ends at " + s.GetStopTime().AsTime().Local().Format("2006-01-02 15:04")
	}
	if s.GetCoreBudget() != nil {
		text += fmt.Sprintf(", %s of %s of cores used", durationText(s.GetCoreTime().AsDuration()), durationText(s.GetCoreBudget().AsDuration()))
	}
	return text
}
