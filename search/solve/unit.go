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
	_, prefixes := p.cut(length)
	units := p.CountUnits(length)
	out := make([]Unit, units)
	for i := range out {
		out[i] = Unit{length, i, prefixes * i / units, prefixes * (i + 1) / units}
	}
	return out
}

// CountUnits is the number of units of a length.
func (p *Plan) CountUnits(length int) int {
	_, prefixes := p.cut(length)
	return min(prefixes, 1+int(min(p.guess(length)/unitWork, 1<<20)))
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

// prefixesOf lists the prefixes that words of a length are cut by.
func (p *Plan) prefixesOf(length int) []word.Prefix {
	cut, _ := p.cut(length)
	p.mu.Lock()
	defer p.mu.Unlock()
	list, ok := p.prefixes[cut]
	if !ok {
		list = p.beginnings(cut[0], cut[1])
		p.prefixes[cut] = list
	}
	return list
}

// cut tells what the beginnings that words of a length are cut by cost, from and to,
// and how many there are: short ones, but enough.
func (p *Plan) cut(length int) (cut [2]int, n int) {
	enough := int(min(cutFiner*p.guess(length)/unitWork, manyPrefixes))
	for cost := 1; ; cost++ {
		cut := [2]int{min(cost, length), min(cost+p.dearest()-1, length)} // no beginning costs more
		if n := p.countBeginnings(cut[0], cut[1]); n >= enough || cost >= length {
			return cut, n
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

// countBeginnings is how many beginnings there are; to list them takes a thousand
// times as long.
func (p *Plan) countBeginnings(cost, most int) int {
	type place struct {
		state word.State
		cost  int
	}
	known := map[place]int{}
	var count func(at place) int
	count = func(at place) int {
		if at.cost >= min(cost, most) {
			return 1
		}
		n, ok := known[at]
		if ok {
			return n
		}
		for i, l := range p.Alphabet.Letters {
			if to := p.Alphabet.Next(at.state, i); to >= 0 && at.cost+l.Cost <= most {
				n += count(place{to, at.cost + l.Cost})
			}
		}
		known[at] = n
		return n
	}
	return count(place{p.Alphabet.Start(), 0})
}
