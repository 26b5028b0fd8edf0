package main

import (
	"context"

	"github.com/spf13/cobra"

	"turnwright/api/client"
	turnwrightv1 "turnwright/api/turnwright/v1"
)

// wish is what commutators are wanted to do, as the flags of isolate and commutators
// put it.
type wish struct {
	puzzle, cycle, shape  string
	protect, ignore, axes []string
	metric                string
	limit                 int32
}

func (w *wish) register(cmd *cobra.Command, limit int32, of string) {
	flags := cmd.Flags()
	flags.StringVar(&w.puzzle, "puzzle", "", "`name` of the puzzle, or a YAML file that defines one")
	flags.StringVar(&w.cycle, "cycle", "", "`type` of the pieces to cycle")
	flags.StringVar(&w.shape, "shape", "3", "`cycles` to make of them: 3, 5, 2+2, 1~+1~ (~ leaves a twist), <=4 (at most four pieces)")
	flags.StringSliceVar(&w.axes, "axes", nil, "the only `axes` to turn about, such as U,R (default all)")
	flags.StringSliceVar(&w.protect, "protect", nil, "`types` that must stay as they are (all that --ignore does not name)")
	flags.StringSliceVar(&w.ignore, "ignore", nil, "`types` that may be moved in any way")
	flags.Var(newChoice(&w.metric, "stm", "obtm", "qtm", "etm"), "metric", "how turns are counted")
	flags.Int32Var(&w.limit, "limit", limit, "at most so many `"+of+"`, the best first")
	for _, name := range []string{"puzzle", "cycle"} {
		if err := cmd.MarkFlagRequired(name); err != nil {
			panic(err) // a flag of that name was not registered above
		}
	}
}

// goal is the same as the API has it. The puzzle's file, where one is named, is
// defined on the server first.
func (w *wish) goal(ctx context.Context, c *client.Client) (*turnwrightv1.Goal, error) {
	name, err := puzzleName(ctx, c, w.puzzle)
	if err != nil {
		return nil, err
	}
	return &turnwrightv1.Goal{
		Puzzle: name, Cycle: w.cycle, Shape: w.shape, Axes: w.axes, Protect: w.protect, Ignore: w.ignore,
	}, nil
}
