package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"

	"github.com/spf13/cobra"

	"turnwright/api/client"
	turnwrightv1 "turnwright/api/turnwright/v1"
	"turnwright/server/care"
	"turnwright/server/puzzles"
	"turnwright/storage"
)

func (a *app) checkCommand() *cobra.Command {
	var e either
	var repair bool
	cmd := &cobra.Command{
		Use:   "check",
		Short: "Check everything that is kept, every finding turn by turn",
		Long: `Hold all that is kept against itself: indexes and counters against the records that
they follow from, tables against their digests, and every finding against what its
sequence does, turn by turn. A server checks itself while it works. With --data the
directory is checked while no server uses it, and --repair then writes indexes and
counters again and drops damaged tables. What only a backup can bring back stays.

The exit status is 0 if all is right or was repaired, 1 if anything is left.`,
		Args: cobra.NoArgs,
		RunE: a.verb(func(ctx context.Context, _ []string) error {
			switch {
			case e.data != "":
				return a.checkData(ctx, e.data, repair)
			case repair:
				return usageError{errors.New("--repair: stop the server and name its directory with --data")}
			}
			return e.with(func(c *client.Client) error { return a.checkServer(ctx, c) })
		}),
	}
	e.registerRemote(cmd)
	cmd.Flags().Lookup("data").Usage = "`directory` to check while no server uses it"
	cmd.Flags().BoolVar(&repair, "repair", false, "mend what follows from other records; needs --data")
	return cmd
}

type problemForm struct {
	At       string `json:"at"`   // which record, in words
	What     string `json:"what"` // is wrong with it, in words
	Repaired bool   `json:"repaired"`
}

type checkForm struct {
	Searches int `json:"searches"`
	Findings int `json:"findings"`
	Tables   int `json:"tables"`
	Problems int `json:"problems"`
	Repaired int `json:"repaired"`
}

func (a *app) checkData(ctx context.Context, data string, repair bool) (err error) {
	if _, err := os.Stat(data); err != nil { // it would be made
		return usageError{fmt.Errorf("--data: %w", err)}
	}
	store, err := storage.Open(storage.Options{
		Dir: data, Logger: slog.New(slog.NewTextHandler(a.stderr, &slog.HandlerOptions{Level: slog.LevelError})),
	})
	if errors.Is(err, storage.ErrLocked) {
		return fmt.Errorf("%w; stop it first, or leave out --data to have it check itself", err)
	}
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, store.Close()) }()
	sum, err := care.Check(ctx, store, puzzles.NewLibrary(store), repair, func(p storage.Problem) error {
		return a.printProblem(problemForm(p))
	})
	if err != nil {
		return err
	}
	return a.printCheck(checkForm(sum))
}

func (a *app) checkServer(ctx context.Context, c *client.Client) error {
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	stream, err := c.Administration.Check(ctx, &turnwrightv1.CheckRequest{})
	if err != nil {
		return err
	}
	var sum *turnwrightv1.CheckSummary
	err = each(stream.Recv, func(event *turnwrightv1.CheckResponse) error {
		if s := event.GetSummary(); s != nil {
			sum = s
		}
		if p := event.GetProblem(); p != nil {
			return a.printProblem(problemForm{At: p.GetAt(), What: p.GetWhat()})
		}
		return nil
	})
	if err != nil {
		return err
	}
	return a.printCheck(checkForm{
		Searches: int(sum.GetSearches()), Findings: int(sum.GetFindings()), Tables: int(sum.GetTables()), Problems: int(sum.GetProblems()),
	})
}

func (a *app) printProblem(p problemForm) error {
	if a.output == "json" {
		return a.printJSON("problem", p)
	}
	done := ""
	if p.Repaired {
		done = " (repaired)"
	}
	return a.printText(fmt.Sprintf("%s: %s%s\n", p.At, p.What, done))
}

// printCheck tells what a check came to; problems that are left are an error.
func (a *app) printCheck(c checkForm) error {
	var err error
	if a.output == "json" {
		err = a.printJSON("check", c)
	} else {
		err = a.printText(fmt.Sprintf("Checked %s, %s, %s: %s.\n",
			plural(int64(c.Searches), "search", "searches"), plural(int64(c.Findings), "finding", "findings"),
			plural(int64(c.Tables), "table", "tables"), problemsText(c)))
	}
	if left := c.Problems - c.Repaired; left > 0 {
		err = errors.Join(err, fmt.Errorf("%s left", plural(int64(left), "problem is", "problems are")))
	}
	return err
}

func problemsText(c checkForm) string {
	switch {
	case c.Problems == 0:
		return "all is right"
	case c.Repaired == 0:
		return plural(int64(c.Problems), "problem", "problems")
	}
	return fmt.Sprintf("%s, %d repaired", plural(int64(c.Problems), "problem", "problems"), c.Repaired)
}
