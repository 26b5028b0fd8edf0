package table

import "runtime"

// Finder looks words up in a near table for one goroutine.
type Finder struct {
	t       *Near
	letters []int
	state   []uint16
}

// NewFinder makes a Finder.
func NewFinder(t *Near) *Finder {
	return &Finder{t: t, letters: make([]int, 0, t.Spec.Depth), state: make([]uint16, len(t.Tracker.Start))}
}

// Find calls hit for every word of exactly the cost that has one of the keys,
// with the number of the key, the word's rank, and its letters, which are only
// lent. It first reads all the places in memory that it needs, so that the
// waits overlap: it is far faster for keys that come by the dozen.
func (f *Finder) Find(keys []uint64, cost int, hit func(i int, rank uint64, letters []int)) {
	const group = 32
	var lo, hi [group]uint32
	t := f.t
	for from := 0; from < len(keys); from += group {
		part := keys[from:min(from+group, len(keys))]
		for i, k := range part {
			b := k >> t.bucketShift
			lo[i], hi[i] = t.offset[b], t.offset[b+1]
		}
		var seen uint32
		for i := range part {
			if lo[i] < hi[i] {
				seen |= t.entries[lo[i]]
			}
		}
		runtime.KeepAlive(seen) // so that the reads are not left out
		for i, k := range part {
			f.scan(lo[i], hi[i], k, cost, from+i, hit)
		}
	}
}

// scan looks through one bucket.
func (f *Finder) scan(lo, hi uint32, key uint64, cost, i int, hit func(int, uint64, []int)) {
	t := f.t
	tag, mask := t.tag(key), uint32(1<<t.numberBits-1)
	for _, e := range t.entries[lo:hi] {
		if e&^mask != tag {
			continue
		}
		n := uint64(e & mask)
		if n < t.first[cost] || n >= t.first[cost+1] {
			continue
		}
		f.letters = t.ranking.Word(f.letters[:0], cost, n-t.first[cost])
		if f.key() == key {
			hit(i, n-t.first[cost], f.letters)
		}
	}
}

// key is the key of the word in letters.
func (f *Finder) key() uint64 {
	copy(f.state, f.t.Tracker.Start)
	for _, letter := range f.letters {
		moves := f.t.Tracker.moves[letter]
		for i, r := range f.state {
			f.state[i] = moves[r]
		}
	}
	return f.t.Tracker.Key(f.state)
}
