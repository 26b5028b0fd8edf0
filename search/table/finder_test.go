package table_test

import (
	"bytes"
	"context"
	"errors"
	"io"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"turnwright/search/puzzle"
	"turnwright/search/table"
)

// Sift, many keys at once, passes the keys that Maybe passes one by one, and
// lets no word of the table slip.
func TestSiftIsMaybeForManyKeys(t *testing.T) {
	s := spec(t, "3x3x3", puzzle.OBTM, 4, 10)
	near := build(t, s, 2)
	words := s.Alphabet.Count(s.Alphabet.Start(), 4)
	rapid.Check(t, func(t *rapid.T) {
		keys := rapid.SliceOfN(rapid.Custom(func(t *rapid.T) uint64 {
			if rapid.Bool().Draw(t, "word") {
				return keyOf(near.Tracker, s.Alphabet.Unrank(nil, 4, rapid.Uint64Range(0, words-1).Draw(t, "rank")))
			}
			return rapid.Uint64().Draw(t, "key")
		}), 0, 100).Draw(t, "keys")
		want := []int{-7}
		for i, k := range keys {
			if near.Maybe(k) {
				want = append(want, i)
			} else {
				assert.Empty(t, slices.Collect(near.Find(k, 4)), "a word of the table was held back")
			}
		}
		assert.Equal(t, want, near.Sift([]int{-7}, keys))
	})
}

// The filter lets through no more of what is not there than it promises.
func TestTheFilterHoldsMostBack(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	for depth := 1; depth <= 4; depth++ {
		near := build(t, spec(t, "3x3x3", puzzle.OBTM, depth, 10), 2)
		passed := 0
		const keys = 100_000
		for range keys {
			if near.Maybe(rng.Uint64()) {
				passed++
			}
		}
		assert.Less(t, passed, keys/30, "words up to %d", depth)
	}
}

// A Finder asked for many keys at once finds for each what Find does alone, with
// the letters of the words.
func TestFinderTakesManyKeys(t *testing.T) {
	s := spec(t, "edge-cube", puzzle.OBTM, 4, 3)
	near := build(t, s, 2)
	finder := table.NewFinder(near)
	rapid.Check(t, func(t *rapid.T) {
		cost := rapid.IntRange(0, 4).Draw(t, "cost")
		keys := rapid.SliceOfN(rapid.Custom(func(t *rapid.T) uint64 {
			from := rapid.IntRange(0, 4).Draw(t, "from")
			rank := rapid.Uint64Range(0, s.Alphabet.Count(s.Alphabet.Start(), from)-1).Draw(t, "rank")
			return keyOf(near.Tracker, s.Alphabet.Unrank(nil, from, rank)) ^ uint64(rapid.IntRange(0, 1).Draw(t, "wrong"))
		}), 0, 80).Draw(t, "keys")
		got := make([][]uint64, len(keys))
		finder.Find(keys, cost, func(i int, rank uint64, letters []int) {
			got[i] = append(got[i], rank)
			assert.True(t, slices.Equal(s.Alphabet.Unrank(nil, cost, rank), letters))
			assert.Equal(t, keys[i], keyOf(near.Tracker, letters))
		})
		for i, k := range keys {
			assert.Equal(t, slices.Collect(near.Find(k, cost)), got[i])
		}
	})
}

func TestFindCanBeLeftEarly(t *testing.T) {
	s := spec(t, "3x3x3", puzzle.OBTM, 2, 0)
	near := build(t, s, 1)
	key := keyOf(near.Tracker, nil) // with nothing tracked all words have it
	require.Len(t, slices.Collect(near.Find(key, 2)), 243)
	n := 0
	for range near.Find(key, 2) {
		if n++; n == 5 {
			break
		}
	}
	assert.Equal(t, 5, n)
}

// Spec.Bytes is what the table takes, and what is written but for the head and what is
// filled up to a multiple of eight.
func TestBytesAreCounted(t *testing.T) {
	for _, s := range []table.Spec{
		spec(t, "3x3x3", puzzle.OBTM, 0, 1),
		spec(t, "3x3x3", puzzle.OBTM, 4, 10),
		spec(t, "vertex-cut-dodecahedron", puzzle.STM, 3, 10),
	} {
		var buf bytes.Buffer
		require.NoError(t, build(t, s, 2).Write(&buf))
		assert.Contains(t, []uint64{s.Bytes() + 32, s.Bytes() + 36}, uint64(buf.Len()))
		assert.Zero(t, buf.Len()%8)
		s.Parts = 4
		buf.Reset()
		require.NoError(t, build(t, s, 2).Write(&buf))
		assert.LessOrEqual(t, uint64(buf.Len()), s.Bytes()+36, "a part is no larger than it is said to be")
	}
}

// Whatever is told apart in the bytes is told apart in the key.
func TestKeysTellSpecsApart(t *testing.T) {
	s := spec(t, "3x3x3", puzzle.OBTM, 3, 6)
	assert.Equal(t, s.Key(), spec(t, "3x3x3", puzzle.OBTM, 3, 6).Key())
	half := s
	half.Parts = 2
	other := half
	other.Part = 1
	seen := map[string]bool{s.Key(): true}
	for _, s := range []table.Spec{
		spec(t, "3x3x3", puzzle.OBTM, 2, 6), spec(t, "3x3x3", puzzle.OBTM, 3, 5), spec(t, "3x3x3", puzzle.QTM, 3, 6),
		spec(t, "3x3x3", puzzle.STM, 3, 6), spec(t, "4x4x4", puzzle.OBTM, 3, 6), half, other,
	} {
		assert.False(t, seen[s.Key()], s.Key())
		seen[s.Key()] = true
	}
	one := s
	one.Parts = 1
	assert.Equal(t, s.Key(), one.Key(), "one part is the whole")
}

func TestProgressEndsWhereItSays(t *testing.T) {
	for _, workers := range []int{0, 1, 3} {
		last, all := uint64(0), uint64(0)
		_, err := table.Build(context.Background(), spec(t, "3x3x3", puzzle.OBTM, 4, 5), workers, func(done, total uint64) {
			assert.GreaterOrEqual(t, done, last)
			last, all = done, total
		})
		require.NoError(t, err)
		assert.Equal(t, 2*(spec(t, "3x3x3", puzzle.OBTM, 4, 5).Words()-1), last, "each word but the empty one, twice")
		assert.LessOrEqual(t, last, all)
	}
}

func TestAContextThatHasEndedBuildsNothing(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	near, err := table.Build(ctx, spec(t, "3x3x3", puzzle.OBTM, 2, 5), 2, nil)
	assert.ErrorIs(t, err, context.Canceled)
	assert.Nil(t, near)
}

// full is a writer that takes so many bytes.
type full int

var errFull = errors.New("no space left")

func (f *full) Write(b []byte) (int, error) {
	if len(b) > int(*f) {
		return 0, errFull
	}
	*f -= full(len(b))
	return len(b), nil
}

func TestATableThatCantBeWritten(t *testing.T) {
	near := build(t, spec(t, "3x3x3", puzzle.OBTM, 2, 5), 1)
	for _, room := range []full{0, 32, 32 + 4*(32+1), 10_000} {
		err := near.Write(&room)
		if room > 5000 {
			assert.NoError(t, err)
			continue
		}
		assert.ErrorIs(t, err, errFull)
	}
	_, err := table.Read(near.Spec, bytes.NewReader(nil))
	assert.ErrorIs(t, err, io.EOF)
}

func TestSiftingAllocatesNothing(t *testing.T) {
	near := build(t, spec(t, "vertex-cut-dodecahedron", puzzle.STM, 2, 10), 1)
	keys := make([]uint64, 720)
	near.Tracker.Children(keys[:72], near.Tracker.Start, 0)
	passed := make([]int, 0, len(keys))
	assert.Zero(t, testing.AllocsPerRun(100, func() { passed = near.Sift(passed[:0], keys) }))
	assert.NotEmpty(t, passed)
}

// BenchmarkSift is the filter asked for a thousand keys at once, against one after another.
func BenchmarkSift(b *testing.B) {
	near := build(b, spec(b, "vertex-cut-dodecahedron", puzzle.STM, 4, 10), 2)
	rng := rand.New(rand.NewPCG(1, 2))
	keys := make([]uint64, 1<<20) // far more than a cache holds
	for i := range keys {
		keys[i] = rng.Uint64()
	}
	passed := make([]int, 0, len(keys))
	b.Run("together", func(b *testing.B) {
		for b.Loop() {
			for at := 0; at < len(keys); at += 1024 {
				passed = near.Sift(passed[:0], keys[at:at+1024])
			}
		}
		b.ReportMetric(float64(len(keys))*float64(b.N)/b.Elapsed().Seconds()/1e6, "Mkeys/s")
	})
	b.Run("singly", func(b *testing.B) {
		n := 0
		for b.Loop() {
			for _, k := range keys {
				if near.Maybe(k) {
					n++
				}
			}
		}
		b.ReportMetric(float64(len(keys))*float64(b.N)/b.Elapsed().Seconds()/1e6, "Mkeys/s")
	})
}
