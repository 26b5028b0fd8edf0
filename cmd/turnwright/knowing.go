package main

import (
	"context"
	"fmt"
	"strings"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/proto"

	"turnwright/api/client"
	turnwrightv1 "turnwright/api/turnwright/v1"
)

func registerFind(cmd *cobra.Command, length *int32) {
	cmd.Flags().Int32Var(length, "find", 0, "where no search has found sequences yet, first search up to this `length`")
}

// knowing asks for what rests on sequences that are known. Where no search has found
// any it does the searches that are missing, up to a length, and asks again, or
// tells which they are if the length is 0. Their goals are the one given with the
// types that the server names.
func (a *app) knowing(ctx context.Context, c *client.Client, goal *turnwrightv1.CoverageGoal, length int32, ask func() error) error {
	err := ask()
	if client.Reason(err) != turnwrightv1.ErrorReason_ERROR_REASON_NO_SEQUENCES {
		return err
	}
	var lines []string
	for _, cycle := range strings.Split(client.Metadata(err)["cycles"], ",") {
		missing := proto.CloneOf(goal)
		missing.Cycle = cycle
		if length == 0 {
			lines = append(lines, findFor(missing, 9))
			continue
		}
		a.note("no search has found 3-cycles of %ss yet; first: %s", cycle, findFor(missing, length))
		if err := a.findFirst(ctx, c, missing, length); err != nil {
			return err
		}
	}
	if length == 0 {
		return fmt.Errorf("%w; begin with: %s", err, strings.Join(lines, "; "))
	}
	if err = ask(); client.Reason(err) == turnwrightv1.ErrorReason_ERROR_REASON_NO_SEQUENCES {
		return fmt.Errorf("%w up to length %d: use a greater --find", err, length)
	}
	return err
}

// findFirst does a search that others rest on.
func (a *app) findFirst(ctx context.Context, c *client.Client, g *turnwrightv1.CoverageGoal, length int32) error {
	name, err := a.begin(ctx, c, &turnwrightv1.Search{
		Goal: &turnwrightv1.Goal{
			Puzzle: g.GetPuzzle(), Cycle: g.GetCycle(), Protect: g.GetProtect(), Ignore: g.GetIgnore(), Core: g.GetCore(),
		},
		Metric: g.GetMetric(), MaxLength: length,
	})
	if err != nil {
		return err
	}
	search, err := a.follow(ctx, c, name)
	if err != nil {
		return err
	}
	return outcome(search)
}
