package table

import (
	"context"
	"crypto/sha256"
	"fmt"
	"iter"
	"math/bits"
	"runtime"
	"slices"
	"sync"
	"sync/atomic"

	"turnwright/search/word"
)

// Spec says what a near table holds: every canonical word of cost up to Depth,
// by the slots of the tracked pieces.
type Spec struct {
	Alphabet *word.Alphabet
	Tracked  []int // indices into Puzzle.Pieces
	Depth    int
}

// formatVersion changes whenever the same spec makes other bytes.
const formatVersion = 1

// Key identifies the table, for a cache: equal keys, equal bytes.
func (s Spec) Key() string {
	p := s.Alphabet.Puzzle
	h := sha256.New()
	fmt.Fprintf(h, "near %d\n%s %v\n%s\n%v\n%d\n", formatVersion, p.Def.Solid, p.Def.Axes, s.Alphabet.Metric, s.Tracked, s.Depth)
	return fmt.Sprintf("near-%s-%s-%d-%x", p.Name, s.Alphabet.Metric, s.Depth, h.Sum(nil)[:8])
}

// Words is the number of words that the table holds.
func (s Spec) Words() uint64 {
	n := uint64(0)
	for c := range s.Depth + 1 {
		n += s.Alphabet.Count(s.Alphabet.Start(), c)
		if n > 1<<40 {
			return n // more than any table; sums beyond may not fit
		}
	}
	return n
}

// Bytes is the memory that the table takes.
func (s Spec) Bytes() uint64 {
	n := s.Words()
	return 8*n + 4*(1<<bucketBits(n)+1) + 1<<filterBits(n)/8
}

// MaxWords is the greatest number of words in one table: a word's number has 32 bits.
const MaxWords = 1<<32 - 1

// bucketBits is the number of bits of the key that name a bucket: four words a bucket.
func bucketBits(words uint64) int { return max(4, bits.Len64(words)-2) }

// filterBits is the logarithm of the filter's size in bits: eight to sixteen for each word.
func filterBits(words uint64) int { return max(9, bits.Len64(words)+3) }

// Near is a near table. It is never changed once built.
//
// A key's highest bits name a bucket; the next bits are its tag:
//
//	63 ............ 64-bucketBits | next 32 bits | rest
//	bucket                        | tag          | not kept
//
// Beginning at the top again, they name a word of the filter and three bits in
// it, so that a look-up touches one place in memory (F. Putze, P. Sanders,
// J. Singler, "Cache-, Hash- and Space-Efficient Bloom Filters", 2007).
//
// An entry is tag<<32 | number, where number counts all words up to Depth by
// cost, then rank. Entries of a bucket are sorted.
type Near struct {
	Spec    Spec
	Tracker *Tracker

	first   []uint64 // first[c]: the number of the first word of cost c; one more at the end
	offset  []uint32 // offset[b]: first entry of bucket b; one more at the end
	entries []uint64
	filter  []uint64

	bucketShift, tagShift, filterShift int
}

func empty(spec Spec) (*Near, error) {
	n := spec.Words()
	if n > MaxWords {
		return nil, fmt.Errorf("a near table of all words up to %d would hold more than %d words", spec.Depth, uint64(MaxWords))
	}
	t := &Near{
		Spec:        spec,
		bucketShift: 64 - bucketBits(n),
		tagShift:    32 - bucketBits(n),
		filterShift: 64 - filterBits(n) + 6,
	}
	var release [3]func()
	t.offset, release[0] = reserve[uint32](1<<bucketBits(n) + 1)
	t.entries, release[1] = reserve[uint64](int(n))
	t.filter, release[2] = reserve[uint64](1 << filterBits(n) / 64)
	runtime.AddCleanup(t, func(release [3]func()) {
		for _, r := range release {
			r()
		}
	}, release)
	for c := range spec.Depth + 1 {
		t.first = append(t.first, t.firstOf(c))
	}
	t.first = append(t.first, n)
	t.Tracker = NewTracker(spec.Alphabet, spec.Tracked)
	return t, nil
}

func (t *Near) firstOf(cost int) uint64 {
	n := uint64(0)
	for c := range cost {
		n += t.Spec.Alphabet.Count(t.Spec.Alphabet.Start(), c)
	}
	return n
}

// Build makes the table with the given number of goroutines. It goes through
// all words twice: to count the buckets, and to fill them. progress, if not
// nil, is called now and then, one call at a time, with words done of words to
// do. Build stops soon after ctx ends.
func Build(ctx context.Context, spec Spec, workers int, progress func(done, total uint64)) (*Near, error) {
	t, err := empty(spec)
	if err != nil {
		return nil, err
	}
	total := 2 * uint64(len(t.entries))
	var done uint64
	var mu sync.Mutex
	report := func(n uint64) {
		if progress == nil {
			return
		}
		mu.Lock()
		defer mu.Unlock()
		done += n
		progress(done, total)
	}
	fill := make([]uint32, len(t.offset))
	err = t.eachWord(ctx, workers, report, func(number uint64, keys []uint64) {
		for _, k := range keys {
			atomic.AddUint32(&fill[k>>t.bucketShift], 1)
		}
	})
	if err != nil {
		return nil, err
	}
	sum := uint32(0)
	for b := range t.offset {
		t.offset[b] = sum
		sum += fill[b]
		fill[b] = t.offset[b]
	}
	err = t.eachWord(ctx, workers, report, func(number uint64, keys []uint64) {
		for i, k := range keys {
			at := atomic.AddUint32(&fill[k>>t.bucketShift], 1) - 1
			t.entries[at] = uint64(uint32(k>>t.tagShift))<<32 | (number + uint64(i))
		}
	})
	if err != nil {
		return nil, err
	}
	for b := range len(t.offset) - 1 {
		slices.Sort(t.entries[t.offset[b]:t.offset[b+1]])
	}
	t.fillFilter()
	return t, nil
}

// eachWord calls visit for all words, with the number of the first and the
// keys of some that follow one another, from several goroutines.
func (t *Near) eachWord(ctx context.Context, workers int, report func(uint64), visit func(number uint64, keys []uint64)) error {
	a := t.Spec.Alphabet
	visit(0, []uint64{t.Tracker.Key(t.Tracker.Start)}) // the empty word
	// One job is a cost and the position of a first letter in ByCost.
	type job struct{ cost, first int }
	var jobs []job
	for cost := 1; cost <= t.Spec.Depth; cost++ {
		for first, letter := range a.ByCost {
			if a.Letters[letter].Cost <= cost {
				jobs = append(jobs, job{cost, first})
			}
		}
	}
	var at atomic.Int64
	var wg sync.WaitGroup
	for range max(workers, 1) {
		wg.Go(func() {
			w := newWordWalk(t, visit)
			for ctx.Err() == nil {
				i := int(at.Add(1)) - 1
				if i >= len(jobs) {
					return
				}
				j := jobs[i]
				w.run(ctx, j.cost, j.first)
				report(w.visited)
				w.visited = 0
			}
		})
	}
	wg.Wait()
	return ctx.Err()
}

// wordWalk goes through the words of one cost in the order of their ranks.
type wordWalk struct {
	t       *Near
	a       *word.Alphabet
	visit   func(number uint64, keys []uint64)
	state   [][]uint16 // by depth
	keys    []uint64
	number  uint64
	visited uint64
}

func newWordWalk(t *Near, visit func(uint64, []uint64)) *wordWalk {
	w := &wordWalk{t: t, a: t.Spec.Alphabet, visit: visit, keys: make([]uint64, len(t.Spec.Alphabet.Letters))}
	for range t.Spec.Depth + 1 {
		w.state = append(w.state, slices.Clone(t.Tracker.Start))
	}
	return w
}

// run visits the words of the cost that begin with letter ByCost[first].
func (w *wordWalk) run(ctx context.Context, cost, first int) {
	letter := w.a.ByCost[first]
	left := cost - w.a.Letters[letter].Cost
	start := w.a.Start()
	w.number = w.t.first[cost]
	for _, i := range w.a.ByCost[:first] {
		if before := w.a.Letters[i].Cost; before <= cost {
			w.number += w.a.Count(w.a.Next(start, i), cost-before)
		}
	}
	if left == 0 {
		w.leaves(w.t.Tracker.Start, first, first+1)
		return
	}
	w.t.Tracker.Move(w.state[1], w.t.Tracker.Start, letter)
	w.walk(ctx, 1, w.a.Next(start, letter), left)
}

func (w *wordWalk) walk(ctx context.Context, depth int, s word.State, left int) {
	if left > 1 && ctx.Err() != nil {
		return
	}
	for cost := 1; cost < left; cost++ {
		for _, r := range w.a.Ranges(s, cost) {
			for _, letter := range w.a.ByCost[r.From:r.To] {
				w.t.Tracker.Move(w.state[depth+1], w.state[depth], letter)
				w.walk(ctx, depth+1, w.a.Next(s, letter), left-cost)
			}
		}
	}
	for _, r := range w.a.Ranges(s, left) {
		w.leaves(w.state[depth], r.From, r.To)
	}
}

func (w *wordWalk) leaves(state []uint16, from, to int) {
	keys := w.keys[:to-from]
	w.t.Tracker.Children(keys, state, from)
	w.visit(w.number, keys)
	w.number += uint64(len(keys))
	w.visited += uint64(len(keys))
}

// fillFilter sets the bit of every entry. The bucket and the tag together hold
// more bits of the key than the filter needs.
func (t *Near) fillFilter() {
	for b := range len(t.offset) - 1 {
		for _, e := range t.entries[t.offset[b]:t.offset[b+1]] {
			k := uint64(b)<<t.bucketShift | e>>32<<t.tagShift
			t.filter[k>>t.filterShift] |= t.mask(k)
		}
	}
}

// mask is the bits of a filter word that a key sets: the next bits of the key
// after those that name the word, six for each.
func (t *Near) mask(key uint64) uint64 {
	r := key >> (t.filterShift - 18)
	return 1<<(r&63) | 1<<(r>>6&63) | 1<<(r>>12&63)
}

// Maybe tells whether a word may have the key: false is certain, true is wrong
// for one key in thirty to one in two hundred.
func (t *Near) Maybe(key uint64) bool {
	m := t.mask(key)
	return t.filter[key>>t.filterShift]&m == m
}

// Find yields the ranks of the words of exactly the cost that have the key.
// About one in 2^50 of other words may be among them.
func (t *Near) Find(key uint64, cost int) iter.Seq[uint64] {
	return func(yield func(uint64) bool) {
		b := key >> t.bucketShift
		t.scan(t.offset[b], t.offset[b+1], key, cost, func(rank uint64) { yield(rank) })
	}
}

// FindAll calls hit for every word of exactly the cost that has one of the
// keys, with the number of the key. It first reads all the places in memory
// that it needs, so that the waits overlap, and is far faster than Find for
// keys that come by the dozen.
func (t *Near) FindAll(keys []uint64, cost int, hit func(i int, rank uint64)) {
	const group = 32
	var lo, hi [group]uint32
	for from := 0; from < len(keys); from += group {
		part := keys[from:min(from+group, len(keys))]
		for i, k := range part {
			b := k >> t.bucketShift
			lo[i], hi[i] = t.offset[b], t.offset[b+1]
		}
		var seen uint64
		for i := range part {
			if lo[i] < hi[i] {
				seen |= t.entries[lo[i]]
			}
		}
		runtime.KeepAlive(seen) // so that the reads are not left out
		for i, k := range part {
			t.scan(lo[i], hi[i], k, cost, func(rank uint64) { hit(from+i, rank) })
		}
	}
}

// scan looks through one bucket.
func (t *Near) scan(lo, hi uint32, key uint64, cost int, hit func(rank uint64)) {
	tag := uint64(uint32(key >> t.tagShift))
	for _, e := range t.entries[lo:hi] {
		if e>>32 != tag {
			continue
		}
		if n := e & (1<<32 - 1); n >= t.first[cost] && n < t.first[cost+1] {
			hit(n - t.first[cost])
		}
	}
}
