package table

import (
	"fmt"
	"iter"
	"math/bits"
	"runtime"

	"turnwright/search/word"
)

// Near is a near table. It is never changed once built.
//
// A key's highest bits name a bucket. An entry takes 32 bits: the lowest hold
// the word's number, which counts all words up to Depth by cost, then rank; the
// rest of them hold as many of the key's next bits:
//
//	31 ....... numberBits | numberBits-1 ....... 0
//	tag                   | number
//
// The number rebuilds the word, and so the whole key: a tag only saves doing so
// for most of the entries that share a bucket. Entries of a bucket are sorted.
//
// Beginning at the top again, a key's bits name a word of the filter and three
// bits in it, so that a look-up touches one place in memory (F. Putze,
// P. Sanders, J. Singler, "Cache-, Hash- and Space-Efficient Bloom Filters", 2007).
type Near struct {
	Spec    Spec
	Tracker *Tracker

	ranking *word.Ranking
	first   []uint64 // first[c]: the number of the first word of cost c; one more at the end
	offset  []uint32 // offset[b]: first entry of bucket b; one more at the end
	entries []uint32
	filter  []uint64

	bucketShift, filterShift int
	numberBits               int
}

// empty makes a table without entries; size says how many it will have.
func empty(spec Spec, size uint64) (*Near, error) {
	t, err := frameOf(spec)
	if err != nil {
		return nil, err
	}
	share := spec.share()
	t.offset = reserve[uint32](1<<bucketBits(share) + 1)
	t.filter = reserve[uint64](1 << filterBits(share) / 64)
	t.entries = reserve[uint32](int(size))
	return t, nil
}

// frameOf makes a table that has no memory yet.
func frameOf(spec Spec) (*Near, error) {
	words := spec.Words()
	if words > MaxWords {
		return nil, fmt.Errorf("a near table of all words up to %d would hold more than %d words", spec.Depth, uint64(MaxWords))
	}
	if n := spec.parts(); n&(n-1) != 0 || spec.Part < 0 || spec.Part >= n {
		return nil, fmt.Errorf("part %d of %d: use a power of two, and a part below it", spec.Part, n)
	}
	share := spec.share()
	t := &Near{
		Spec:        spec,
		Tracker:     NewTracker(spec.Alphabet, spec.Tracked),
		ranking:     spec.Alphabet.Ranking(spec.Depth),
		bucketShift: 64 - bucketBits(share),
		filterShift: 64 - filterBits(share) + 6,
		numberBits:  bits.Len64(words - 1),
	}
	sum := uint64(0)
	for c := range spec.Depth + 1 {
		t.first = append(t.first, sum)
		sum += spec.Alphabet.Count(spec.Alphabet.Start(), c)
	}
	t.first = append(t.first, sum)
	return t, nil
}

// holds tells whether a key is of the table's part.
func (t *Near) holds(key uint64) bool {
	return key&uint64(t.Spec.parts()-1) == uint64(t.Spec.Part)
}

// entry packs a key's tag and a word's number.
func (t *Near) entry(key, number uint64) uint32 { return t.tag(key) | uint32(number) }

// tag is the bits of a key after those of the bucket, in their place.
func (t *Near) tag(key uint64) uint32 {
	below := uint32(key << (64 - t.bucketShift) >> 32)
	return below &^ (1<<t.numberBits - 1)
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

// Sift appends to dst the positions of the keys that a word may have. It first
// only reads all the places in memory that it needs: nothing depends on what it
// reads, so that the waits overlap, twice as well as with Maybe on each key.
func (t *Near) Sift(dst []int, keys []uint64) []int {
	var seen uint64
	for _, k := range keys {
		seen |= t.filter[k>>t.filterShift]
	}
	runtime.KeepAlive(seen) // so that the reads are not left out
	for i, k := range keys {
		if t.Maybe(k) {
			dst = append(dst, i)
		}
	}
	return dst
}

// Find yields the ranks of the words of exactly the cost that have the key.
func (t *Near) Find(key uint64, cost int) iter.Seq[uint64] {
	return func(yield func(uint64) bool) {
		f := NewFinder(t)
		more := true
		f.Find([]uint64{key}, cost, func(_ int, rank uint64, _ []int) {
			more = more && yield(rank)
		})
	}
}

// Len is the number of words that the table holds.
func (t *Near) Len() int { return len(t.entries) }
