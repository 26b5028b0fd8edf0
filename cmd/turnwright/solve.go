package main

import (
	"context"
	"strings"

	"github.com/spf13/cobra"

	"turnwright/api/client"
	turnwrightv1 "turnwright/api/turnwright/v1"
)

func (a *app) solveCommand() *cobra.Command {
	var q positionQuestion
	var e either
	cmd := &cobra.Command{
		Use:   "solve --puzzle NAME --scramble SEQUENCE --max LENGTH",
		Short: "Solve one position in as few turns as possible, with proof",
		Long: `Find the shortest sequences that bring one position home, and prove that none is
shorter. The position is what a scramble makes of the solved puzzle. With --pin
chosen pieces go elsewhere instead, without a scramble from the solved puzzle;
with --ignore pieces of some types may be anywhere. A solution is done with the
puzzle held as the scramble leaves it. Ctrl-C ends the search; what was proven so
far is printed.`,
		Example: `  turnwright solve --puzzle 3x3x3 --scramble "R U F2 L' D B R2 U'" --metric obtm --max 12
  turnwright solve --puzzle 2x2x2 --scramble "R U R' U' F2" --metric qtm --max 14 --all
  turnwright solve --puzzle 3x3x3 --scramble "R U R' D2" --ignore edge --max 9
  turnwright solve --puzzle 3x3x3 --pin UF=UR --pin UR=UB --pin UB=UF --metric obtm --max 10`,
		Args: cobra.NoArgs,
		RunE: a.verb(func(ctx context.Context, _ []string) error {
			return a.withServer(ctx, e, func(c *client.Client) error {
				return a.find(ctx, c, &q, e)
			})
		}),
	}
	q.register(cmd)
	e.register(cmd)
	cmd.Flags().Lookup("memory").Usage = "at most so much memory for tables (default what is built in less than a minute or so, 512MiB at most)"
	return cmd
}

// positionQuestion is a search for a position as the flags of solve put it.
type positionQuestion struct {
	puzzle, scramble string
	ignore, pins     []string
	byColour, all    bool
	metric           string
	each, max        int32
}

func (q *positionQuestion) register(cmd *cobra.Command) {
	flags := cmd.Flags()
	flags.StringVar(&q.puzzle, "puzzle", "", "`name` of the puzzle, or a YAML file that defines one")
	flags.StringVar(&q.scramble, "scramble", "", "the `sequence` that makes the position of the solved puzzle")
	flags.StringArrayVar(&q.pins, "pin", nil, "`PIECE=SLOT`: the piece that is at home in slot PIECE must end in SLOT; may be repeated")
	flags.StringSliceVar(&q.ignore, "ignore", nil, "`types` whose pieces may end anywhere")
	flags.BoolVar(&q.byColour, "by-colour", false, "pieces that look alike may take one another's places")
	flags.Int32Var(&q.each, "each", 1, "how many `solutions` of the shortest length")
	flags.BoolVar(&q.all, "all", false, "all solutions of the shortest length (up to about 1000)")
	flags.Var(newChoice(&q.metric, "stm", "obtm", "qtm", "etm"), "metric", "how turns are counted")
	flags.Int32Var(&q.max, "max", 0, "greatest `length`")
	cmd.MarkFlagsMutuallyExclusive("each", "all")
	cmd.MarkFlagsOneRequired("scramble", "pin")
	for _, name := range []string{"puzzle", "max"} {
		if err := cmd.MarkFlagRequired(name); err != nil {
			panic(err) // a flag of that name was not registered above
		}
	}
}

// search puts the question to the API. The puzzle's file, where one is named, is
// defined on the server first.
func (q *positionQuestion) search(ctx context.Context, c *client.Client, memory size) (*turnwrightv1.Search, error) {
	pins, err := parsePins(q.pins)
	if err != nil {
		return nil, err
	}
	name, err := puzzleName(ctx, c, q.puzzle)
	if err != nil {
		return nil, err
	}
	position := &turnwrightv1.Position{
		Puzzle: name, Scramble: q.scramble, Ignore: q.ignore, ByColour: q.byColour, All: q.all,
	}
	for _, pin := range pins {
		position.Pins = append(position.Pins, &turnwrightv1.PiecePin{Piece: pin.GetFrom(), At: pin.GetTo()})
	}
	search := &turnwrightv1.Search{
		Position:    position,
		Metric:      turnwrightv1.Metric(turnwrightv1.Metric_value["METRIC_"+strings.ToUpper(q.metric)]),
		MaxLength:   q.max,
		MemoryBytes: int64(memory),
	}
	if !q.all {
		search.SequencesPerClass = q.each
	}
	return search, nil
}
