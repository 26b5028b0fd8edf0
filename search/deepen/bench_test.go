package deepen_test

import (
	"context"
	"fmt"
	"sync"
	"sync/atomic"
	"testing"

	"github.com/stretchr/testify/require"

	"turnwright/search/deepen"
	"turnwright/search/puzzle"
	"turnwright/search/table"
)

// The rates below are in millions of leaves a second, the whole of the work for
// a leaf included: keys, probes, judging, writing out. Compare rows of one run.

// BenchmarkLeaves is one unit of the demo goal on one core.
func BenchmarkLeaves(b *testing.B) {
	plan, tables := prepare(b, question(b, "vertex-cut-dodecahedron", "triangle", nil, puzzle.STM, 11))
	u := plan.Units(11)[5]
	b.ReportAllocs()
	for b.Loop() {
		_, err := plan.Run(context.Background(), u, tables[0], nil)
		require.NoError(b, err)
	}
	b.ReportMetric(float64(u.Leaves)*float64(b.N)/b.Elapsed().Seconds()/1e6, "Mleaves/s")
}

// BenchmarkPlainLoop is the loop to beat: ten pieces moved one by one for each
// leaf, packed six bits each, hashed by one multiplication, one bit looked up.
func BenchmarkPlainLoop(b *testing.B) {
	plan, tables := prepare(b, question(b, "vertex-cut-dodecahedron", "triangle", nil, puzzle.STM, 11))
	a, tracked := plan.Alphabet, tables[0].Spec.Tracked
	p := a.Puzzle
	const pieces, slots = 10, 64
	require.Len(b, tracked, pieces)
	moves := make([][pieces][slots]uint8, len(a.Letters)) // where each tracked piece goes from each slot
	for letter := range moves {
		for i, piece := range tracked {
			for s, to := range table.SlotMoves(a, p.Pieces[piece].Type, letter) {
				moves[letter][i][s] = uint8(to)
			}
		}
	}
	filter := make([]uint64, 1<<22) // 32 MiB, as full as the words of the table make it
	for x := uint64(1); x <= uint64(tables[0].Len()); x++ {
		key := x * 0xd1342543de82ef95
		key ^= key >> 29
		filter[key>>42] |= 1 << (key >> 36 & 63)
	}
	const cost = 3 // words of this cost
	leaves, hits := 0, 0
	var walk func(state *[pieces]uint8, line, left int)
	walk = func(state *[pieces]uint8, line, left int) {
		for letter := range a.Letters {
			l := &a.Letters[letter]
			if l.Line == line || l.Cost > left {
				continue
			}
			m := &moves[letter]
			if l.Cost < left {
				var next [pieces]uint8
				for i := range next {
					next[i] = m[i][state[i]&(slots-1)]
				}
				walk(&next, l.Line, left-l.Cost)
				continue
			}
			key := uint64(0)
			for i := range state {
				key = key<<6 | uint64(m[i][state[i]&(slots-1)])
			}
			key *= 0x9e3779b97f4a7c15
			leaves++
			if filter[key>>42]>>(key>>36&63)&1 != 0 {
				hits++
			}
		}
	}
	var start [pieces]uint8
	for i, piece := range tracked {
		start[i] = uint8(p.Pieces[piece].Home)
	}
	b.ReportAllocs()
	for b.Loop() {
		walk(&start, -1, cost)
	}
	require.Less(b, hits, leaves/8)
	b.ReportMetric(float64(leaves)/b.Elapsed().Seconds()/1e6, "Mleaves/s")
}

// BenchmarkWorkers is length 10 of the demo goal on one worker and on two.
func BenchmarkWorkers(b *testing.B) {
	plan, tables := prepare(b, question(b, "vertex-cut-dodecahedron", "triangle", nil, puzzle.STM, 11))
	for _, workers := range []int{1, 2} {
		b.Run(fmt.Sprint(workers), func(b *testing.B) {
			for b.Loop() {
				runAll(b, plan, tables[0], 10, workers)
			}
			b.ReportMetric(float64(plan.Leaves(10))*float64(b.N)/b.Elapsed().Seconds()/1e6, "Mleaves/s")
		})
	}
}

// BenchmarkReduction is length 9 of the demo goal with and without the
// reduction by rotation and inversion.
func BenchmarkReduction(b *testing.B) {
	for _, plain := range []bool{true, false} {
		q := question(b, "vertex-cut-dodecahedron", "triangle", nil, puzzle.STM, 11)
		q.Plain = plain
		plan, tables := prepare(b, q)
		b.Run(map[bool]string{true: "plain", false: "reduced"}[plain], func(b *testing.B) {
			for b.Loop() {
				runAll(b, plan, tables[0], 9, 1)
			}
			b.ReportMetric(float64(plan.Leaves(9))/1e6, "Mleaves")
		})
	}
}

func runAll(b *testing.B, plan *deepen.Plan, near *table.Near, length, workers int) {
	units := plan.Units(length)
	var at atomic.Int64
	var wg sync.WaitGroup
	for range workers {
		wg.Go(func() {
			for i := at.Add(1) - 1; int(i) < len(units); i = at.Add(1) - 1 {
				if _, err := plan.Run(context.Background(), units[i], near, nil); err != nil {
					b.Error(err)
				}
			}
		})
	}
	wg.Wait()
}
