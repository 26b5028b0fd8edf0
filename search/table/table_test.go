package table_test

import (
	"bytes"
	"context"
	"encoding/binary"
	"fmt"
	"slices"
	"testing"
	"unsafe"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"turnwright/search/puzzle"
	"turnwright/search/table"
	"turnwright/search/word"
)

// spec is a table of the 3x3x3 or another puzzle that tracks the first pieces
// of its largest type.
func spec(t testing.TB, name string, m puzzle.Metric, depth, tracked int) table.Spec {
	t.Helper()
	p, err := puzzle.Find(name)
	require.NoError(t, err)
	a, err := word.New(p, m)
	require.NoError(t, err)
	pieces := p.Types[len(p.Types)-1].Pieces
	return table.Spec{Alphabet: a, Tracked: slices.Clone(pieces[:tracked]), Depth: depth}
}

func build(t testing.TB, s table.Spec, workers int) *table.Near {
	t.Helper()
	near, err := table.Build(context.Background(), s, workers, nil)
	require.NoError(t, err)
	return near
}

// slowKey moves each tracked piece by each letter's stickers, one by one.
func slowKey(s table.Spec, tr *table.Tracker, letters []int) string {
	p := s.Alphabet.Puzzle
	perm := p.Identity()
	for _, l := range letters {
		perm = perm.Then(p.SyllablePerm(s.Alphabet.Letters[l].Syllable))
	}
	key := ""
	for _, piece := range tr.Pieces {
		for _, x := range p.Pieces[piece].Stickers {
			key += fmt.Sprint(perm[x], " ")
		}
	}
	return key
}

func keyOf(tr *table.Tracker, letters []int) uint64 {
	state, next := slices.Clone(tr.Start), slices.Clone(tr.Start)
	for _, l := range letters {
		tr.Move(next, state, l)
		state, next = next, state
	}
	return tr.Key(state)
}

// The table against a map from where the stickers of the tracked pieces go to
// the words that take them there.
func TestTableAgainstAMap(t *testing.T) {
	for _, c := range []struct {
		puzzle         string
		metric         puzzle.Metric
		depth, tracked int
	}{
		{"3x3x3", puzzle.OBTM, 3, 0},
		{"3x3x3", puzzle.OBTM, 3, 1},
		{"3x3x3", puzzle.QTM, 4, 5},
		{"3x3x3", puzzle.STM, 2, 12},
		{"vertex-cut-dodecahedron", puzzle.STM, 2, 10},
		{"shallow-cut-dodecahedron", puzzle.OBTM, 2, 10},
		{"edge-cube", puzzle.OBTM, 4, 6},
		{"3x3x3", puzzle.OBTM, 0, 3},
	} {
		t.Run(fmt.Sprint(c), func(t *testing.T) {
			if testing.Short() && c.tracked == 0 {
				t.Skip("all words have one key, to be compared for each of them")
			}
			s := spec(t, c.puzzle, c.metric, c.depth, c.tracked)
			near := build(t, s, 2)
			require.EqualValues(t, s.Words(), near.Len())
			twin := map[string][]uint64{} // by cost and slots: ranks
			for cost := 0; cost <= c.depth; cost++ {
				for r := range s.Alphabet.Count(s.Alphabet.Start(), cost) {
					k := fmt.Sprint(cost, ":", slowKey(s, near.Tracker, s.Alphabet.Unrank(nil, cost, r)))
					twin[k] = append(twin[k], r)
				}
			}
			step := uint64(1 + len(twin)/500)
			for cost := 0; cost <= c.depth; cost++ {
				for r := uint64(0); r < s.Alphabet.Count(s.Alphabet.Start(), cost); r += step {
					letters := s.Alphabet.Unrank(nil, cost, r)
					key := keyOf(near.Tracker, letters)
					require.True(t, near.Maybe(key))
					got := slices.Sorted(near.Find(key, cost))
					require.Equal(t, twin[fmt.Sprint(cost, ":", slowKey(s, near.Tracker, letters))], got)
				}
			}
		})
	}
}

func TestChildrenAreTheKeysOfWordsOneLetterLonger(t *testing.T) {
	s := spec(t, "vertex-cut-dodecahedron", puzzle.STM, 1, 10)
	tr := table.NewTracker(s.Alphabet, s.Tracked)
	rapid.Check(t, func(t *rapid.T) {
		letters := rapid.SliceOfN(rapid.IntRange(0, len(s.Alphabet.Letters)-1), 0, 5).Draw(t, "letters")
		first := rapid.IntRange(0, len(s.Alphabet.ByCost)-1).Draw(t, "first")
		n := rapid.IntRange(0, len(s.Alphabet.ByCost)-first).Draw(t, "n")
		state, next := slices.Clone(tr.Start), slices.Clone(tr.Start)
		for _, l := range letters {
			tr.Move(next, state, l)
			state, next = next, state
		}
		keys := make([]uint64, n)
		tr.Children(keys, state, first)
		for i, k := range keys {
			assert.Equal(t, keyOf(tr, append(slices.Clone(letters), s.Alphabet.ByCost[first+i])), k)
		}
	})
}

// The parts of a table hold each word once.
func TestPartsMakeUpTheWhole(t *testing.T) {
	s := spec(t, "3x3x3", puzzle.OBTM, 3, 5)
	whole := build(t, s, 1)
	for _, parts := range []int{2, 8} {
		var all []*table.Near
		words := 0
		for part := range parts {
			q := s
			q.Part, q.Parts = part, parts
			assert.NotEqual(t, s.Key(), q.Key())
			all = append(all, build(t, q, 2))
			words += all[part].Len()
		}
		assert.Equal(t, whole.Len(), words)
		for r := uint64(0); r < s.Alphabet.Count(s.Alphabet.Start(), 3); r += 37 {
			key := keyOf(whole.Tracker, s.Alphabet.Unrank(nil, 3, r))
			var got []uint64
			for _, part := range all {
				got = append(got, slices.Collect(part.Find(key, 3))...)
			}
			slices.Sort(got)
			assert.Equal(t, slices.Sorted(whole.Find(key, 3)), got)
		}
	}
	for _, bad := range [][2]int{{0, 3}, {2, 2}, {-1, 2}} {
		q := s
		q.Part, q.Parts = bad[0], bad[1]
		_, err := table.Build(context.Background(), q, 1, nil)
		assert.Error(t, err)
	}
}

func TestTheBytesDoNotDependOnTheWorkers(t *testing.T) {
	s := spec(t, "3x3x3", puzzle.OBTM, 4, 10)
	var one, three bytes.Buffer
	require.NoError(t, build(t, s, 1).Write(&one))
	require.NoError(t, build(t, s, 3).Write(&three))
	assert.True(t, bytes.Equal(one.Bytes(), three.Bytes()))
}

// aligned copies data to where a mapped file would be: at a multiple of eight.
func aligned(data []byte) []byte {
	words := make([]uint64, len(data)/8+1)
	out := unsafe.Slice((*byte)(unsafe.Pointer(unsafe.SliceData(words))), len(data))
	copy(out, data)
	return out
}

func TestATableIsReadAsItWasWritten(t *testing.T) {
	for name, open := range map[string]func(table.Spec, []byte) (*table.Near, error){
		"read":   func(s table.Spec, data []byte) (*table.Near, error) { return table.Read(s, bytes.NewReader(data)) },
		"mapped": func(s table.Spec, data []byte) (*table.Near, error) { return table.Map(s, aligned(data)) },
	} {
		t.Run(name, func(t *testing.T) {
			for _, depth := range []int{2, 3} {
				s := spec(t, "3x3x3", puzzle.OBTM, depth, 6)
				near := build(t, s, 2)
				var buf bytes.Buffer
				require.NoError(t, near.Write(&buf))
				data := buf.Bytes()
				got, err := open(s, data)
				require.NoError(t, err)
				var again bytes.Buffer
				require.NoError(t, got.Write(&again))
				assert.True(t, bytes.Equal(data, again.Bytes()))

				for _, cut := range []int{0, 1, 31, 32, 100, len(data) - 1} {
					_, err := open(s, data[:cut])
					assert.Error(t, err, "cut at %d", cut)
				}
				for at := range 32 { // the head
					bad := slices.Clone(data)
					bad[at] ^= 0x55
					_, err := open(s, bad)
					assert.Error(t, err, "byte %d", at)
				}
				other := s
				other.Depth = depth - 1
				_, err = open(other, data)
				assert.ErrorIs(t, err, table.ErrFormat)
			}
		})
	}
	s := spec(t, "3x3x3", puzzle.OBTM, 2, 6)
	var buf bytes.Buffer
	require.NoError(t, build(t, s, 2).Write(&buf))
	_, err := table.Map(s, aligned(append([]byte{0}, buf.Bytes()...))[1:])
	assert.ErrorIs(t, err, table.ErrFormat, "where it does not begin at a multiple of eight")
}

// Damage that storage's checksums would find must not crash a search either.
func TestDamagedEntriesAreHarmless(t *testing.T) {
	s := spec(t, "3x3x3", puzzle.OBTM, 3, 6)
	near := build(t, s, 1)
	var buf bytes.Buffer
	require.NoError(t, near.Write(&buf))
	rapid.Check(t, func(t *rapid.T) {
		bad := slices.Clone(buf.Bytes())
		for range 50 {
			at := rapid.IntRange(32, len(bad)-1).Draw(t, "at")
			bad[at] = rapid.Byte().Draw(t, "byte")
		}
		got, err := table.Map(s, aligned(bad))
		if err != nil {
			return
		}
		for r := range s.Alphabet.Count(s.Alphabet.Start(), 2) {
			key := keyOf(got.Tracker, s.Alphabet.Unrank(nil, 2, r))
			for range got.Find(key, 2) {
			}
		}
	})
}

func TestBuildStopsWithItsContext(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	s := spec(t, "vertex-cut-dodecahedron", puzzle.STM, 4, 10)
	_, err := table.Build(ctx, s, 2, func(done, total uint64) {
		assert.LessOrEqual(t, done, total)
		cancel()
	})
	assert.ErrorIs(t, err, context.Canceled)
}

func TestATableTooLargeIsRefused(t *testing.T) {
	s := spec(t, "3x3x3", puzzle.OBTM, 10, 5)
	_, err := table.Build(context.Background(), s, 1, nil)
	assert.ErrorContains(t, err, "more than")
}

// Numbers are written as they are in memory.
func TestThisMachineIsLittleEndian(t *testing.T) {
	assert.EqualValues(t, 1, binary.NativeEndian.Uint16([]byte{1, 0}))
}

func TestTheInnerLoopAllocatesNothing(t *testing.T) {
	s := spec(t, "vertex-cut-dodecahedron", puzzle.STM, 2, 10)
	near := build(t, s, 1)
	keys := make([]uint64, 72)
	finder := table.NewFinder(near)
	hits := 0
	assert.Zero(t, testing.AllocsPerRun(100, func() {
		near.Tracker.Children(keys, near.Tracker.Start, 0)
		for _, k := range keys {
			if near.Maybe(k) {
				hits++
			}
		}
		finder.Find(keys, 1, func(int, uint64, []int) { hits++ })
	}))
	assert.Positive(t, hits)
}

func BenchmarkChildren(b *testing.B) {
	s := spec(b, "vertex-cut-dodecahedron", puzzle.STM, 1, 10)
	tr := table.NewTracker(s.Alphabet, s.Tracked)
	keys := make([]uint64, 72)
	b.ReportAllocs()
	for b.Loop() {
		tr.Children(keys, tr.Start, 0)
	}
	b.ReportMetric(float64(len(keys))*float64(b.N)/b.Elapsed().Seconds()/1e6, "Mkeys/s")
}

// BenchmarkBuild and BenchmarkRead: reading must be faster than building.
func BenchmarkBuild(b *testing.B) {
	s := spec(b, "vertex-cut-dodecahedron", puzzle.STM, 4, 10)
	for b.Loop() {
		build(b, s, 2)
	}
	b.ReportMetric(float64(s.Words())*float64(b.N)/b.Elapsed().Seconds()/1e6, "Mwords/s")
}

func BenchmarkRead(b *testing.B) {
	s := spec(b, "vertex-cut-dodecahedron", puzzle.STM, 4, 10)
	var buf bytes.Buffer
	require.NoError(b, build(b, s, 2).Write(&buf))
	for b.Loop() {
		_, err := table.Read(s, bytes.NewReader(buf.Bytes()))
		require.NoError(b, err)
	}
	b.ReportMetric(float64(s.Words())*float64(b.N)/b.Elapsed().Seconds()/1e6, "Mwords/s")
}
