package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"unicode/utf8"

	"github.com/spf13/cobra"

	"turnwright/api/client"
	turnwrightv1 "turnwright/api/turnwright/v1"
)

// question is a search as the flags of find and submit put it.
type question struct {
	puzzle, cycle   string
	protect, ignore []string
	pins            []string
	axes            []string
	shape           string
	metric          string
	core            string
	each, slack     int32
	before, after   string
	max             int32
	parts           parts
}

func (q *question) register(cmd *cobra.Command) {
	flags := cmd.Flags()
	flags.StringVar(&q.puzzle, "puzzle", "", "`name` of the puzzle, or a YAML file that defines one")
	flags.StringVar(&q.cycle, "cycle", "", "`type` of the pieces to cycle")
	flags.StringVar(&q.shape, "shape", "3", "`cycles` to make of them: 3, 5, 2+2, 1~+1~ (~ leaves a twist), <=4 (at most four pieces)")
	flags.StringSliceVar(&q.axes, "axes", nil, "the only `axes` to turn about, such as U,R (default all)")
	flags.StringSliceVar(&q.protect, "protect", nil, "`types` that must stay as they are (all that --ignore does not name)")
	flags.StringSliceVar(&q.ignore, "ignore", nil, "`types` that may be moved in any way")
	flags.StringArrayVar(&q.pins, "pin", nil, "`FROM=TO`: the piece at slot FROM must go to slot TO; may be repeated")
	flags.Int32Var(&q.each, "each", 1, "how many `sequences` for each class, best first")
	flags.Int32Var(&q.slack, "slack", 0, "by how many `turns` those after the first may be longer")
	flags.StringVar(&q.before, "before", "", "rank by what findings cost after these `moves`")
	flags.StringVar(&q.after, "after", "", "rank by what findings cost before these `moves`")
	flags.Var(newChoice(&q.metric, "stm", "obtm", "qtm", "etm"), "metric", "how turns are counted")
	flags.Var(newChoice(&q.core, "auto", "kept", "free"), "core", "whether sequences count that turn everything against a core that nothing marks:\nfree counts them, auto counts them where types are ignored")
	flags.Int32Var(&q.max, "max", 0, "greatest `length`; may be left out with --parts")
	q.parts.register(cmd)
	cmd.MarkFlagsOneRequired("max", "parts")
	for _, name := range []string{"puzzle", "cycle"} {
		if err := cmd.MarkFlagRequired(name); err != nil {
			panic(err) // a flag of that name was not registered above
		}
	}
}

// search puts the question to the API. The puzzle's file, where one is named, is
// defined on the server first.
func (q *question) search(ctx context.Context, c *client.Client, memory size) (*turnwrightv1.Search, error) {
	pins, err := parsePins(q.pins)
	if err != nil {
		return nil, err
	}
	structure, err := q.parts.structure()
	if err != nil {
		return nil, err
	}
	name, err := puzzleName(ctx, c, q.puzzle)
	if err != nil {
		return nil, err
	}
	return &turnwrightv1.Search{
		Structure: structure,
		Goal: &turnwrightv1.Goal{
			Puzzle: name, Cycle: q.cycle, Shape: q.shape, Axes: q.axes, Protect: q.protect, Ignore: q.ignore, Pins: pins,
			Core: coreOf(q.core),
		},
		Metric:            metricOf(q.metric),
		MaxLength:         q.max,
		SequencesPerClass: q.each,
		Slack:             q.slack,
		Before:            q.before,
		After:             q.after,
		MemoryBytes:       int64(memory),
	}, nil
}

func parsePins(texts []string) ([]*turnwrightv1.Pin, error) {
	var pins []*turnwrightv1.Pin
	for _, text := range texts {
		from, to, ok := strings.Cut(text, "=")
		if !ok || from == "" || to == "" {
			return nil, usageError{fmt.Errorf("--pin %q: must be FROM=TO, two labels of slots", text)}
		}
		pins = append(pins, &turnwrightv1.Pin{From: from, To: to})
	}
	return pins, nil
}

// puzzleName is the resource name of the puzzle that a flag or an argument means:
// a name, or a file with a definition, which is then given to the server.
func puzzleName(ctx context.Context, c *client.Client, text string) (string, error) {
	if !isFile(text) {
		return client.PuzzleName(text), nil
	}
	puzzle, err := define(ctx, c, text)
	if err != nil {
		return "", err
	}
	return puzzle.GetName(), nil
}

func isFile(text string) bool {
	switch filepath.Ext(text) {
	case ".yaml", ".yml", ".json":
		return true
	}
	return false
}

func define(ctx context.Context, c *client.Client, path string) (*turnwrightv1.Puzzle, error) {
	definition, err := readDefinition(path)
	if err != nil {
		return nil, usageError{err}
	}
	reply, err := c.Puzzles.DefinePuzzle(ctx, &turnwrightv1.DefinePuzzleRequest{
		Definition: definition, RequestId: client.NewRequestID(),
	})
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	return reply.GetPuzzle(), nil
}

// maxDefinition is the most that the server takes, in bytes.
const maxDefinition = 64 << 10

// readDefinition reads a file that ought to be a definition, and no more of it
// than a definition can have.
func readDefinition(path string) (string, error) {
	file, err := os.Open(path)
	if err != nil {
		return "", err
	}
	defer file.Close() //nolint:errcheck // it was only read
	text, err := io.ReadAll(io.LimitReader(file, maxDefinition+1))
	switch {
	case err != nil:
		return "", fmt.Errorf("%s: %w", path, err)
	case len(text) > maxDefinition:
		return "", fmt.Errorf("%s: more than %d bytes, which no definition has", path, maxDefinition)
	case !utf8.Valid(text):
		return "", fmt.Errorf("%s: not text in UTF-8", path)
	}
	return string(text), nil
}
