package table

import (
	"crypto/sha256"
	"fmt"
	"math/bits"

	"turnwright/search/word"
)

// Spec says what a near table holds: every canonical word of cost up to Depth,
// by the slots of the tracked pieces.
type Spec struct {
	Alphabet *word.Alphabet
	Tracked  []int // indices into Puzzle.Pieces
	Depth    int
	// Part and Parts cut a table that is too large for memory by the words'
	// keys: it holds the words of part Part, 0 to Parts-1. Parts is a power of
	// two; 0 is the same as 1.
	Part, Parts int
}

// formatVersion changes whenever the same spec makes other bytes.
const formatVersion = 3

// Key identifies the table, for a cache: equal keys, equal bytes.
func (s Spec) Key() string {
	p := s.Alphabet.Puzzle
	h := sha256.New()
	fmt.Fprintf(h, "near %d\n%s %v\n%s %d\n%v\n%d %d %d\n", formatVersion, p.Def.Solid, p.Def.Axes,
		s.Alphabet.Metric, s.Alphabet.Letters, s.Tracked, s.Depth, s.Part, s.parts())
	return fmt.Sprintf("near-%s-%s-%d-%x", p.Name, s.Alphabet.Metric, s.Depth, h.Sum(nil)[:8])
}

func (s Spec) parts() int { return max(1, s.Parts) }

// Words is the number of words up to Depth, in all parts.
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

// MaxWords is the greatest number of words up to the depth: a word's number has 32 bits.
const MaxWords = 1<<32 - 1

// Bytes is the memory that the table takes: four bytes for each word, half a
// byte to one for its bucket, one to four for the filter.
func (s Spec) Bytes() uint64 {
	n := s.share()
	return 4*n + 4*(1<<bucketBits(n)+1) + 1<<filterBits(n)/8
}

// share is about how many words one part holds: keys are random, and an
// eighth more than the mean leaves room.
func (s Spec) share() uint64 {
	n := s.Words()
	if s.parts() == 1 {
		return n
	}
	return n/uint64(s.parts()) + n/uint64(8*s.parts()) + 64
}

// bucketBits is the number of bits of the key that name a bucket: four to eight words a bucket.
func bucketBits(words uint64) int { return max(4, bits.Len64(words)-3) }

// filterBits is the logarithm of the filter's size in bits: eight to sixteen
// for each word where that fits a cache; twice as many in larger tables, where
// one read is as slow as another and each word let through costs two more.
func filterBits(words uint64) int {
	n := bits.Len64(words) + 3
	if n > 27 { // 16 MiB
		n++
	}
	return max(9, n)
}
