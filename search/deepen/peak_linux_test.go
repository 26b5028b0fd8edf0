package deepen_test

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"runtime/debug"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"turnwright/search/deepen"
	"turnwright/search/puzzle"
	"turnwright/search/table"
)

// The goals whose peak of memory is measured: tables are made for the greatest length,
// and lengths up to another are covered.
var peakGoals = []struct {
	puzzle, cycle string
	ignore        []string
	metric        puzzle.Metric
	max, run      int
}{
	{"vertex-cut-dodecahedron", "triangle", nil, puzzle.STM, 11, long(9, 7)},
	{"vertex-cut-dodecahedron", "edge", []string{"centre", "triangle"}, puzzle.STM, long(9, 8), long(5, 3)}, // four passes
	{"tipped-tetrahedron", "edge", []string{"axial", "tip"}, puzzle.STM, 12, 5},
	{"3x3x3", "corner", nil, puzzle.OBTM, 14, 10},
	{"3x3x3", "edge", []string{"corner"}, puzzle.QTM, 14, 7},
	{"4x4x4", "wing", []string{"corner"}, puzzle.OBTM, 9, 3},
	{"shallow-cut-dodecahedron", "edge", []string{"corner"}, puzzle.OBTM, 9, 5},
}

const peakVariable = "TURNWRIGHT_TEST_PEAK"

// The memory of a whole process, as its greatest resident size, grows by no more than
// the dial from when the plan is there until the lengths are covered.
func TestPeakMemoryStaysWithinTheDial(t *testing.T) {
	if testing.Short() {
		t.Skip("takes seconds for each goal")
	}
	for i, c := range peakGoals {
		for _, dial := range long([]int64{24 << 20, 96 << 20}, []int64{24 << 20}) {
			t.Run(fmt.Sprint(c.puzzle, c.cycle, dial>>20), func(t *testing.T) {
				cmd := exec.CommandContext(t.Context(), os.Args[0], "-test.run=^TestPeakProcess$", "-test.v")
				cmd.Env = append(os.Environ(), fmt.Sprintf("%s=%d %d", peakVariable, i, dial))
				out, err := cmd.CombinedOutput()
				require.NoError(t, err, string(out))
				var before, after, tables int64
				_, line, found := strings.Cut(string(out), "peak:")
				require.True(t, found, string(out))
				_, err = fmt.Sscan(line, &before, &after, &tables)
				require.NoError(t, err, string(out))
				t.Logf("before %d MiB, after %d MiB, tables %d MiB", before>>20, after>>20, tables>>20)
				assert.LessOrEqual(t, tables, dial)
				assert.LessOrEqual(t, after-before, dial)
			})
		}
	}
}

// TestPeakProcess is the process that is measured.
func TestPeakProcess(t *testing.T) {
	var index int
	var dial int64
	if _, err := fmt.Sscan(os.Getenv(peakVariable), &index, &dial); err != nil {
		t.Skip("only as a process of its own")
	}
	c := peakGoals[index]
	q := question(t, c.puzzle, c.cycle, c.ignore, c.metric, c.max)
	q.Memory = dial
	plan, err := deepen.NewPlan(q)
	require.NoError(t, err)
	units := map[int][]deepen.Unit{} // by pass
	for length := 1; length <= c.run; length++ {
		for _, u := range plan.Units(length) {
			units[u.Pass] = append(units[u.Pass], u)
		}
	}
	before := peak(t)
	for pass, spec := range plan.Tables() {
		debug.FreeOSMemory() // who goes from pass to pass gives the last table back first, as the server does
		near, err := table.Build(context.Background(), spec, 2, nil)
		require.NoError(t, err)
		for _, u := range units[pass] {
			_, err := plan.Run(context.Background(), u, near, nil)
			require.NoError(t, err)
		}
	}
	fmt.Println("peak:", before, peak(t), plan.Tables()[0].Bytes())
}

// peak is the greatest resident size of this process so far, in bytes (proc(5)).
func peak(t *testing.T) int64 {
	status, err := os.ReadFile("/proc/self/status")
	require.NoError(t, err)
	_, line, found := strings.Cut(string(status), "VmHWM:")
	require.True(t, found)
	var kib int64
	_, err = fmt.Sscan(line, &kib)
	require.NoError(t, err)
	return kib << 10
}
