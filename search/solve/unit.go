package solve

import (
	"math"
	"math/big"
	"slices"

	"turnwright/search/word"
)

// Unit is a part of one length: the words that begin with a range of prefixes.
type Unit struct {
	Length      int
	Index       int // within the length, from 0
	First, Last int // prefixes, Last not included
}

// Sizes of units. How many words a search will look at can only be guessed: all of
// a length, divided by the positions of the largest table (Korf 1997).
const (
	unitWork     = 1 << 24 // words of that guess for one unit: a second or two
	cutFiner     = 16      // prefixes for one unit, so that units are about alike
	manyPrefixes = 1 << 17 // prefixes that are enough in any case
)

// Units cuts a length, 0 to the question's greatest, into units.
func (p *Plan) Units(length int) []Unit {
	prefixes := len(p.prefixesOf(length))
	units := p.CountUnits(length)
	out := make([]Unit, units)
	for i := range out {
		out[i] = Unit{length, i, prefixes * i / units, prefixes * (i + 1) / units}
	}
	return out
}

// CountUnits is the number of units of a length.
func (p *Plan) CountUnits(length int) int {
	return min(len(p.prefixesOf(length)), 1+int(min(p.guess(length)/unitWork, 1<<20)))
}

// guess is about how many words a length will look at.
func (p *Plan) guess(length int) float64 {
	words, _ := new(big.Float).SetInt(p.Words(length)).Float64()
	entries := 1.0
	for _, s := range p.tables {
		entries = math.Max(entries, float64(s.Entries()))
	}
	return words / entries * float64(len(p.starts))
}

// prefixesOf lists the prefixes that words of a length are cut by: short ones,
// but enough.
func (p *Plan) prefixesOf(length int) []word.Prefix {
	p.mu.Lock()
	defer p.mu.Unlock()
	enough := int(min(cutFiner*p.guess(length)/unitWork, manyPrefixes))
	for cost := 1; ; cost++ {
		cut := [2]int{min(cost, length), min(cost+p.dearest()-1, length)} // no beginning costs more
		list, ok := p.prefixes[cut]
		if !ok {
			list = p.beginnings(cut[0], cut[1])
			p.prefixes[cut] = list
		}
		if len(list) >= enough || cost >= length {
			return list
		}
	}
}

// dearest is the greatest cost of a letter.
func (p *Plan) dearest() int {
	most := 1
	for _, l := range p.Alphabet.Letters {
		most = max(most, l.Cost)
	}
	return most
}

// beginnings lists, in order, the beginnings of words that reach the cost with
// their last letter and not before, or are whole words of cost most.
func (p *Plan) beginnings(cost, most int) []word.Prefix {
	var out []word.Prefix
	var grow func(b word.Prefix)
	grow = func(b word.Prefix) {
		if b.Cost >= min(cost, most) {
			out = append(out, b)
			return
		}
		for i, l := range p.Alphabet.Letters {
			if to := p.Alphabet.Next(b.State, i); to >= 0 && b.Cost+l.Cost <= most {
				grow(word.Prefix{Letters: append(slices.Clone(b.Letters), i), State: to, Cost: b.Cost + l.Cost})
			}
		}
	}
	grow(word.Prefix{State: p.Alphabet.Start()})
	return out
}
