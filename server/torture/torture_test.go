package torture

import (
	"cmp"
	"errors"
	"math/rand/v2"
	"os"
	"strconv"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	v1 "turnwright/api/turnwright/v1"
)

// TestTorture kills the server and its workers again and again while they search.
//
//	TURNWRIGHT_TORTURE_KILLS=200 go test ./server/torture -run TestTorture$ -v -timeout 20m
//
// makes it long. TURNWRIGHT_TORTURE_SEED=N repeats the moments and the victims of a
// run, as far as the machine lets it.
func TestTorture(t *testing.T) {
	if testing.Short() {
		t.Skip("takes half a minute")
	}
	kills := number(t, "TURNWRIGHT_TORTURE_KILLS", 12)
	questions := short()
	if kills > 50 {
		questions = long()
	}
	st := storm{kills: int(kills), every: 700 * time.Millisecond, seed: number(t, "TURNWRIGHT_TORTURE_SEED", rand.Uint64())}
	t.Logf("seed %d", st.seed)
	program := build(t)
	begun := time.Now()
	was := calm(t, program, questions)
	t.Logf("undisturbed: %v", time.Since(begun).Round(100*time.Millisecond))
	// The fault is one of those below: this program knows of none.
	h, n := st.do(t, program, questions, was, "TURNWRIGHT_FAULT=unit-twice")
	t.Logf("%v: killed %v, %d of these before the end; %d processes started again, %d units given to others, %d streams broken off; "+
		"servers were seen to do %d units, workers %d",
		n.took.Round(100*time.Millisecond), n.kills, n.early, n.restarts, n.lost, n.breaks, n.own, n.others)
	for _, s := range h.Searches {
		units := 0
		for _, l := range s.Stored {
			units += l.Done
		}
		t.Logf("%s: %d units, %d findings, %d and %d events", s.Name, units, len(s.End.Findings), len(s.Clients[0].Events), len(s.Clients[1].Events))
	}
	require.Positive(t, n.early, "all was over before anything could be disturbed")
	for _, err := range Check(h) {
		assert.NoError(t, err)
	}
}

// short is what the search service does in seconds: a search of a hundred units, a
// position, and a search that moves findings from place to place.
func short() []question {
	return []question{
		{"cycles", triangles(9, 1<<20), 0},
		{"position", &v1.Search{
			Position: &v1.Position{Puzzle: "puzzles/3x3x3", Scramble: "R2 F' D L' U2 B R D' F2 L U"},
			Metric:   v1.Metric_METRIC_OBTM, MaxLength: 14, MemoryBytes: 2 << 20,
		}, 0.3},
		{"places", &v1.Search{
			Goal:   &v1.Goal{Puzzle: "puzzles/3x3x3", Cycle: "edge", Ignore: []string{"corner"}},
			Metric: v1.Metric_METRIC_OBTM, MaxLength: 7, SequencesPerClass: 3, Slack: 1,
		}, 0.5},
	}
}

// long is the same with less memory for tables, and another search of that size: more
// than a thousand units, a minute of work.
func long() []question {
	out := short()
	out[0].search = triangles(9, 128<<10)
	more := triangles(9, 128<<10)
	more.Metric = v1.Metric_METRIC_ETM
	return append(out, question{"more", more, 0})
}

// triangles asks for the pure 3-cycles of the demo puzzle's triangles.
func triangles(length int32, memory int64) *v1.Search {
	return &v1.Search{
		Goal:      &v1.Goal{Puzzle: "puzzles/vertex-cut-dodecahedron", Cycle: "triangle"},
		MaxLength: length, MemoryBytes: memory,
	}
}

// number is what the environment says, or else the default.
func number(t *testing.T, name string, otherwise uint64) uint64 {
	t.Helper()
	n, err := strconv.ParseUint(cmp.Or(os.Getenv(name), strconv.FormatUint(otherwise, 10)), 10, 64)
	require.NoError(t, err, name)
	return n
}

// A program that is wrong in one place is found out, each time by the error that
// names what is wrong.
func TestABrokenProgramIsFoundOut(t *testing.T) {
	if testing.Short() {
		t.Skip("builds a program and takes a few seconds for each")
	}
	program := build(t, "-tags", "torture_broken")
	brief := []question{{"brief", triangles(8, 1<<20), 0}}
	whole := []question{{"whole", triangles(9, 1<<20), 0}}
	was := calm(t, program, append(brief, whole...)) // without a fault it is as sound as the other
	for _, c := range []struct {
		fault     string
		questions []question
		kills     int
		want      error
	}{
		{"unit-twice", whole, 1, ErrUnitTwice},           // of units that were given out more than once
		{"finding-dropped", brief, 0, ErrSummaryDiffers}, // one in fifty
		{"event-twice", brief, 0, ErrFindingMissed},      // a number that another finding had
	} {
		t.Run(c.fault, func(t *testing.T) {
			st := storm{kills: c.kills, from: &State{Length: 9, Units: 3}}
			h, n := st.do(t, program, c.questions, was, "TURNWRIGHT_FAULT="+c.fault)
			errs := Check(h)
			assert.ErrorIs(t, errors.Join(errs...), c.want)
			for _, err := range errs[:min(len(errs), 5)] {
				t.Log(err)
			}
			t.Logf("%v, killed %v", n.took.Round(100*time.Millisecond), n.kills)
		})
	}
}
