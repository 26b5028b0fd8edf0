package main

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/fieldmaskpb"

	"turnwright/api/client"
	v1 "turnwright/api/turnwright/v1"
)

// rules are what flags say of a round.
type rules struct {
	title          string
	metric, format string
	attempts, max  int32
	opens, closes  moment
	limit          time.Duration
	brackets       bool
	members        []string
}

func (r *rules) register(flags *pflag.FlagSet, now func() time.Time) {
	r.opens.now, r.closes.now = now, now
	flags.StringVar(&r.title, "title", "", "what people call it")
	flags.Var(newChoice(&r.metric, "obtm", "stm", "qtm", "etm"), "metric", "how long a solution is")
	flags.Var(newChoice(&r.format, "best", "mean"), "format", "what of the attempts counts; a mean is one of three")
	flags.Int32Var(&r.attempts, "attempts", 0, "`number` of attempts, 1 to 5 (default 1, or 3 for a mean)")
	flags.Var(&r.opens, "opens", "when scrambles are shown from: 19:00 (the next time), \"2026-11-28 19:00\", 2026-11-28T19:00:00Z, or 3h from now (default now)")
	flags.Var(&r.closes, "closes", "when the seals are broken, said in the same ways")
	flags.DurationVar(&r.limit, "time-limit", time.Hour, "`time` for each attempt, from when its scramble is shown")
	flags.Int32Var(&r.max, "max", 0, "the greatest `length` that counts, by ETM (WCA Regulation E2d1 has 80; default none)")
	flags.BoolVar(&r.brackets, "brackets", false, "an entry may have brackets, groups, exponents and comments too (default moves and rotations only)")
	flags.StringSliceVar(&r.members, "members", nil, "the only `members` who may take part, such as anna,bert (default everybody)")
}

// fieldOf is the field of a round that a flag says.
var fieldOf = map[string]string{
	"title": "title", "metric": "metric", "format": "format", "attempts": "attempts", "opens": "open_time", "closes": "close_time",
	"time-limit": "time_limit", "max": "max_length", "brackets": "content", "members": "members",
}

// round is the same as the API has it.
func (r *rules) round() *v1.Round {
	round := &v1.Round{
		Title: r.title, Metric: metricOf(r.metric), Format: v1.RoundFormat_ROUND_FORMAT_BEST, Attempts: r.attempts,
		OpenTime: r.opens.stamp(), CloseTime: r.closes.stamp(), TimeLimit: durationpb.New(r.limit), MaxLength: r.max,
		Content: v1.EntryContent_ENTRY_CONTENT_PLAIN,
	}
	if r.format == "mean" {
		round.Format = v1.RoundFormat_ROUND_FORMAT_MEAN
	}
	if r.brackets {
		round.Content = v1.EntryContent_ENTRY_CONTENT_NOTATION
	}
	for _, id := range r.members {
		round.Members = append(round.Members, client.MemberName(id))
	}
	return round
}

func (a *app) announceCommand() *cobra.Command {
	var e either
	var r rules
	var puzzle, id string
	cmd := &cobra.Command{
		Use:   "announce --puzzle NAME --closes TIME",
		Short: "Announce a round, for organisers",
		Long: `Announce a round. Its scrambles are made at once from a secret seed, and nobody sees
them before it opens, its organiser neither. What is shown at once is the commitment: a
digest of the seed, by which anyone can tell afterwards that it was not exchanged.

The time limit of an hour is that of WCA Regulation E2b. Entries that are handed in are
sealed until the round closes, from organisers too.`,
		Example: `  turnwright announce --puzzle 3x3x3 --id lantern-cup --title "Lantern cup" --format mean --max 80 --opens "2026-11-28 19:00" --closes "2026-11-29 20:00"
  turnwright announce --puzzle 2x2x2 --closes 2h --time-limit 20m --members anna,bert`,
		Args: cobra.NoArgs,
		RunE: a.verb(func(ctx context.Context, _ []string) error {
			return a.withServer(ctx, e, func(c *client.Client) error {
				round := r.round()
				var err error
				if round.Puzzle, err = puzzleName(ctx, c, puzzle); err != nil {
					return err
				}
				reply, err := c.Rounds.CreateRound(ctx, &v1.CreateRoundRequest{Round: round, RoundId: id, RequestId: client.NewRequestID()})
				if err != nil {
					return err
				}
				return a.printRound(reply.GetRound())
			})
		}),
	}
	e.registerRemote(cmd)
	cmd.Flags().StringVar(&puzzle, "puzzle", "", "`name` of the puzzle that is scrambled, or a YAML file that defines one")
	cmd.Flags().StringVar(&id, "id", "", "last `part` of the round's name (default one that the server makes up)")
	r.register(cmd.Flags(), a.now)
	mustRequire(cmd, "puzzle", "closes")
	return cmd
}

// printRound prints a round as it was just made or changed.
func (a *app) printRound(r *v1.Round) error {
	if a.output == "json" {
		return a.printJSON("round", roundJSON(r))
	}
	return a.printText(a.roundText(r))
}

func (a *app) amendCommand() *cobra.Command {
	var e either
	var r rules
	var reason string
	var admit []string
	cmd := &cobra.Command{
		Use:   "amend ROUND",
		Short: "Change a round, for organisers",
		Long: `Change a round. Before it opens all but the puzzle may change. Once it is open only the
title, the closing time (not to the past), and the members (more of them); then a reason
is needed, and everybody sees what was changed, by whom and why. What no flag names stays.`,
		Example: `  turnwright amend lantern-cup --closes "2026-11-29 21:00" --reason "the server was away for an hour"
  turnwright amend lantern-cup --admit dora --reason "she was left out by mistake"`,
		Args: cobra.ExactArgs(1),
	}
	cmd.RunE = a.verb(func(ctx context.Context, args []string) error {
		mask := &fieldmaskpb.FieldMask{}
		cmd.Flags().Visit(func(f *pflag.Flag) {
			if field := fieldOf[f.Name]; field != "" {
				mask.Paths = append(mask.Paths, field)
			}
		})
		if len(admit) > 0 {
			mask.Paths = append(mask.Paths, "members")
		}
		if len(mask.GetPaths()) == 0 {
			return usageError{errors.New("nothing to change: say what with one of the flags")}
		}
		round := r.round()
		round.Name = client.RoundName(args[0])
		return a.withServer(ctx, e, func(c *client.Client) error {
			if len(admit) > 0 {
				var err error
				if round.Members, err = admitted(ctx, c, round.GetName(), admit); err != nil {
					return err
				}
			}
			reply, err := c.Rounds.UpdateRound(ctx, &v1.UpdateRoundRequest{
				Round: round, UpdateMask: mask, Reason: reason, RequestId: client.NewRequestID(),
			})
			if err != nil {
				return err
			}
			return a.printRound(reply.GetRound())
		})
	})
	e.registerRemote(cmd)
	cmd.ValidArgsFunction = e.completeRound
	r.register(cmd.Flags(), a.now)
	cmd.Flags().StringSliceVar(&admit, "admit", nil, "`members` who may take part beside those who may already")
	cmd.MarkFlagsMutuallyExclusive("members", "admit")
	registerReason(cmd, &reason)
	return cmd
}

// admitted are those who may take part in a round, and some more.
func admitted(ctx context.Context, c *client.Client, round string, more []string) ([]string, error) {
	reply, err := c.Rounds.GetRound(ctx, &v1.GetRoundRequest{Name: round})
	if err != nil {
		return nil, err
	}
	members := reply.GetRound().GetMembers()
	if len(members) == 0 {
		return nil, usageError{errors.New("--admit: everybody may take part in this round already")}
	}
	for _, id := range more {
		if name := client.MemberName(id); !slices.Contains(members, name) {
			members = append(members, name)
		}
	}
	return members, nil
}

func registerReason(cmd *cobra.Command, reason *string) {
	cmd.Flags().StringVar(reason, "reason", "", "why, which everybody sees")
}

func (a *app) closeCommand() *cobra.Command {
	cmd := a.endCommand("close", false)
	cmd.Short = "Close an open round before its time, for organisers"
	cmd.Long = `Close an open round before its time: nothing is taken any more, and everybody sees all
entries. There is no way back. A round closes by itself at its closing time.`
	cmd.Example = `  turnwright close lantern-cup --reason "all have handed in"`
	return cmd
}

func (a *app) callOffCommand() *cobra.Command {
	cmd := a.endCommand("call-off", true)
	cmd.Short = "Call a round off, for organisers"
	cmd.Long = `Call off a round that is not over. Its entries stay sealed: each is seen by its author
alone. There is no way back.`
	cmd.Example = `  turnwright call-off lantern-cup --reason "a scramble was told before the round"`
	return cmd
}

// endCommand is a verb that ends a round.
func (a *app) endCommand(verb string, callOff bool) *cobra.Command {
	var e either
	var reason string
	cmd := &cobra.Command{
		Use:  verb + " ROUND --reason TEXT",
		Args: cobra.ExactArgs(1),
		RunE: a.verb(func(ctx context.Context, args []string) error {
			return a.withServer(ctx, e, func(c *client.Client) error {
				reply, err := c.Rounds.CloseRound(ctx, &v1.CloseRoundRequest{
					Name: client.RoundName(args[0]), CallOff: callOff, Reason: reason, RequestId: client.NewRequestID(),
				})
				if err != nil {
					return err
				}
				if a.output == "json" {
					return a.printJSON("round", roundJSON(reply.GetRound()))
				}
				return a.printText(fmt.Sprintf("%s is %s.\n", client.ID(reply.GetRound().GetName()), a.stageText(reply.GetRound())))
			})
		}),
	}
	e.registerRemote(cmd)
	cmd.ValidArgsFunction = e.completeRound
	registerReason(cmd, &reason)
	mustRequire(cmd, "reason")
	return cmd
}
