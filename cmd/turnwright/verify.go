package main

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"turnwright/api/client"
	v1 "turnwright/api/turnwright/v1"
	"turnwright/search/puzzle"
	"turnwright/search/scramble"
	"turnwright/server/rounds"
)

func (a *app) verifyCommand() *cobra.Command {
	var e either
	var noted string
	var here bool
	cmd := &cobra.Command{
		Use:   "verify ROUND",
		Short: "Know that the scrambles of a closed round were not chosen",
		Long: `Know that the scrambles of a round that has closed were not chosen: that its seed is the
one that the server was bound to by the commitment, and that the scrambles follow from it in
the way that the round says by number, to which it was bound too. Every later program makes the
same ones in that way. The commitment is worked out here as well as on the server. With --commitment it is also
held against what you noted before the round opened, as "turnwright round" shows it. With
--here the scrambles too are made by this program, so the server need not be believed.

It ends with status 1 where anything does not fit.`,
		Example: `  turnwright verify lantern-cup --here`,
		Args:    cobra.ExactArgs(1),
		RunE: a.verb(func(ctx context.Context, args []string) error {
			return a.withServer(ctx, e, func(c *client.Client) error {
				name := client.RoundName(args[0])
				reply, err := c.Rounds.VerifyRound(ctx, &v1.VerifyRoundRequest{Name: name})
				if err != nil {
					return err
				}
				round, err := c.Rounds.GetRound(ctx, &v1.GetRoundRequest{Name: name})
				if err != nil {
					return err
				}
				if here {
					made, err := madeHere(ctx, c, round.GetRound())
					if err != nil {
						return err
					}
					reply.Scrambles = made
					reply.ScramblesFit = reply.GetScramblesFit() && slices.Equal(made, round.GetRound().GetScrambles())
				}
				return a.printVerified(round.GetRound(), reply, noted)
			})
		}),
	}
	e.registerRemote(cmd)
	cmd.ValidArgsFunction = e.completeRound
	cmd.Flags().StringVar(&noted, "commitment", "", "`digits` that you noted before the round opened")
	cmd.Flags().BoolVar(&here, "here", false, "make the scrambles on this machine too, which takes some seconds")
	return cmd
}

// madeHere makes the scrambles of a round from its seed in this process, as the server's
// program does.
func madeHere(ctx context.Context, c *client.Client, r *v1.Round) ([]string, error) {
	reply, err := c.Puzzles.GetPuzzle(ctx, &v1.GetPuzzleRequest{Name: r.GetPuzzle()})
	if err != nil {
		return nil, err
	}
	definition, err := puzzle.ParseDefinition([]byte(reply.GetPuzzle().GetDefinition()))
	if err != nil {
		return nil, fmt.Errorf("%s: %w", r.GetPuzzle(), err)
	}
	p, err := puzzle.Build(definition)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", r.GetPuzzle(), err)
	}
	var d rounds.Drawn // as the server has it
	made, _, err := d.Scrambles(ctx, p, int(r.GetScrambleWay()), r.GetSeed(), client.ID(r.GetName()), int(r.GetAttempts()))
	if err != nil {
		return nil, fmt.Errorf("make the scrambles of %s here: %w", client.ID(r.GetName()), err)
	}
	return made, nil
}

type verifiedForm struct {
	Round        string   `json:"round"`
	Commitment   string   `json:"commitment"`
	Seed         string   `json:"seed"`
	SeedFits     bool     `json:"seedFits"` // it is the one that the commitment binds to: on the server, and here
	Scrambles    []string `json:"scrambles"`
	ScrambleWay  int32    `json:"scrambleWay"`         // in which the seed makes them
	ScramblesFit bool     `json:"scramblesFit"`        // they are what the seed makes
	NotedFits    *bool    `json:"notedFits,omitempty"` // the commitment is the one of --commitment
}

// errUnfair is the end of a verb that found a round that is not as it should be.
var errUnfair = errors.New("the round is not as it should be: tell the organisers, and keep what you noted")

// commitmentOf is the commitment to a seed and a way, worked out apart from the server; empty
// where there is no such seed.
func commitmentOf(seed string, way int32) string {
	s, err := scramble.ParseSeed(seed)
	if err != nil {
		return ""
	}
	return scramble.Commit(s, int(way))
}

func (a *app) printVerified(r *v1.Round, v *v1.VerifyRoundResponse, noted string) error {
	form := verifiedForm{
		Round: r.GetName(), Commitment: r.GetCommitment(), Seed: r.GetSeed(), Scrambles: list(r.GetScrambles()), ScrambleWay: r.GetScrambleWay(),
		SeedFits: v.GetSeedFits() && commitmentOf(r.GetSeed(), r.GetScrambleWay()) == r.GetCommitment(), ScramblesFit: v.GetScramblesFit(),
	}
	fits := form.SeedFits && form.ScramblesFit
	if noted != "" {
		same := strings.EqualFold(strings.TrimSpace(noted), r.GetCommitment())
		form.NotedFits = &same
		fits = fits && same
	}
	var err error
	if !fits {
		err = errUnfair
	}
	if a.output == "json" {
		return errors.Join(a.printJSON("verified", form), err)
	}
	return errors.Join(a.printText(verifiedText(form, v.GetScrambles())), err)
}

func verifiedText(f verifiedForm, made []string) string {
	var b strings.Builder
	if f.SeedFits {
		fmt.Fprintf(&b, "The seed is the one that the server was bound to before the round opened:\n")
	} else {
		fmt.Fprintf(&b, "The seed is NOT the one that the server was bound to:\n")
	}
	fmt.Fprintf(&b, "  seed        %s\n  commitment  %s\n", f.Seed, f.Commitment)
	switch {
	case f.NotedFits == nil:
		fmt.Fprintf(&b, "Hold the commitment against what you noted before it opened, if you did (--commitment).\n")
	case *f.NotedFits:
		fmt.Fprintf(&b, "The commitment is the one that you noted.\n")
	default:
		fmt.Fprintf(&b, "The commitment is NOT the one that you noted.\n")
	}
	if f.ScramblesFit {
		fmt.Fprintf(&b, "The scrambles that were shown are those that it makes%s:\n", numberedWay(f.ScrambleWay))
	} else {
		fmt.Fprintf(&b, "The scrambles that were shown are NOT those that it makes%s:\n", numberedWay(f.ScrambleWay))
	}
	for i, s := range f.Scrambles {
		fmt.Fprintf(&b, "  %d  %s\n", i+1, s)
		if i < len(made) && made[i] != s {
			fmt.Fprintf(&b, "     it makes %s\n", made[i])
		}
	}
	if f.SeedFits && !f.ScramblesFit && f.ScrambleWay == scramble.Unnumbered {
		fmt.Fprintf(&b, "The round does not say in which way they were made: the program that announced it may have made them otherwise. Ask one of that version, too.\n")
	}
	if s, err := scramble.ParseSeed(f.Seed); err == nil {
		fmt.Fprintf(&b, "\nBy hand, the commitment is what this prints:\n  echo %s | sha256sum\n", scramble.Committed(s, int(f.ScrambleWay)))
	}
	return b.String()
}

func (a *app) viewsCommand() *cobra.Command {
	var e either
	cmd := &cobra.Command{
		Use:   "views ROUND",
		Short: "See who saw which scramble when: everybody for organisers, else your own",
		Args:  cobra.ExactArgs(1),
		RunE: a.verb(func(ctx context.Context, args []string) error {
			return a.withServer(ctx, e, func(c *client.Client) error {
				views, err := client.Collect(c.AllScrambleViews(ctx, client.RoundName(args[0])))
				if err != nil {
					return err
				}
				return printList(a, "view", views, viewJSON, a.viewsText)
			})
		}),
	}
	e.registerRemote(cmd)
	cmd.ValidArgsFunction = e.completeRound
	return cmd
}

type viewForm struct {
	Time    string `json:"time"`
	Member  string `json:"member"`
	Attempt int32  `json:"attempt"`
	First   bool   `json:"first"` // the clock began
}

func viewJSON(v *v1.ScrambleView) viewForm {
	return viewForm{timeText(v.GetTime()), v.GetMember(), v.GetAttempt(), v.GetFirst()}
}

func (a *app) viewsText(views []*v1.ScrambleView) string {
	if len(views) == 0 {
		return "No scramble was shown.\n"
	}
	var rows [][]any
	for _, v := range views {
		clock := ""
		if v.GetFirst() {
			clock = "the clock began"
		}
		rows = append(rows, []any{v.GetTime().AsTime().In(a.now().Location()).Format("2006-01-02 15:04:05 MST"), client.ID(v.GetMember()), v.GetAttempt(), clock})
	}
	return columns([]string{"time", "member", ">attempt", ""}, rows)
}
