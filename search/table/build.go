package table

import (
	"context"
	"slices"
	"sync"
	"sync/atomic"

	"turnwright/search/word"
)

// Build makes the table with the given number of goroutines. It goes through
// all words twice: to count the buckets, and to fill them. progress, if not
// nil, is called now and then, one call at a time, with words done of words to
// do. Build stops soon after ctx ends.
func Build(ctx context.Context, spec Spec, workers int, progress func(done, total uint64)) (*Near, error) {
	t, err := empty(spec, 0)
	if err != nil {
		return nil, err
	}
	total := 2 * (spec.Words() - 1) // all but the empty word, twice
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
	err = t.eachWord(ctx, workers, report, func(_ uint64, keys []uint64) {
		for _, k := range keys {
			if t.holds(k) {
				atomic.AddUint32(&t.offset[k>>t.bucketShift], 1)
			}
		}
	})
	if err != nil {
		return nil, err
	}
	// Each offset becomes the end of its bucket; filling counts it down to the start.
	sum := uint32(0)
	for b := range t.offset {
		sum += t.offset[b]
		t.offset[b] = sum
	}
	t.entries = reserve[uint32](int(sum))
	err = t.eachWord(ctx, workers, report, func(number uint64, keys []uint64) {
		for i, k := range keys {
			if !t.holds(k) {
				continue
			}
			at := atomic.AddUint32(&t.offset[k>>t.bucketShift], ^uint32(0))
			t.entries[at] = t.entry(k, number+uint64(i))
			atomic.OrUint64(&t.filter[k>>t.filterShift], t.mask(k))
		}
	})
	if err != nil {
		return nil, err
	}
	t.sortBuckets(workers)
	return t, ctx.Err()
}

// sortBuckets makes the bytes independent of who came first.
func (t *Near) sortBuckets(workers int) {
	buckets := len(t.offset) - 1
	var wg sync.WaitGroup
	for w := range max(workers, 1) {
		from, to := buckets*w/max(workers, 1), buckets*(w+1)/max(workers, 1)
		wg.Go(func() {
			for b := from; b < to; b++ {
				slices.Sort(t.entries[t.offset[b]:t.offset[b+1]])
			}
		})
	}
	wg.Wait()
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
