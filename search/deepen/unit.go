package deepen

import (
	"iter"
	"math"
	"slices"

	"turnwright/search/word"
)

// Unit is a part of one length: the words u that begin with a range of prefixes.
type Unit struct {
	Length      int
	Index       int    // within the length, from 0
	Pass        int    // which of the plan's tables it looks up
	First, Last int    // prefixes, Last not included
	Leaves      uint64 // words u that it must cover, from each start, by recurrence
}

// Sizes of units. A unit of the largest size takes about a second, as prefixes are
// long enough to cut it so. At lengths that take weeks a unit is one prefix.
const (
	unitLeaves  = 1 << 26
	unitsAtMost = 1 << 20 // for one length
	manyPrefix  = 512     // prefixes to cut a length into, where it has as many
	mostPrefix  = 1 << 16 // prefixes that are enough in any case
	fewUnits    = 16      // units that a length large enough is cut into at least
	smallUnit   = 1 << 16
)

// Units cuts a length, 1 to the question's greatest, into units.
func (p *Plan) Units(length int) []Unit {
	once := slices.Collect(p.unitsOfPass(length))
	out := make([]Unit, 0, len(once)*len(p.tables))
	for pass := range p.tables {
		for _, u := range once {
			u.Index, u.Pass = len(out), pass
			out = append(out, u)
		}
	}
	return out
}

// CountUnits is the number of units of a length. An estimate needs no more, and
// a length that nobody can reach may have millions.
func (p *Plan) CountUnits(length int) int {
	n := 0
	for range p.unitsOfPass(length) {
		n++
	}
	return n * len(p.tables)
}

// unitsOfPass cuts the words of one pass; all passes are cut alike.
func (p *Plan) unitsOfPass(length int) iter.Seq[Unit] {
	u, _ := p.split(length)
	total := p.Leaves(length) / uint64(len(p.tables))
	size := min(max(total/fewUnits, smallUnit), unitLeaves)
	size = max(size, total/unitsAtMost)
	return func(yield func(Unit) bool) {
		unit := Unit{Length: length}
		for prefix := range p.cut(u) {
			if unit.Last > unit.First && unit.Leaves >= size {
				if !yield(unit) {
					return
				}
				unit = Unit{Length: length, First: unit.Last, Last: unit.Last}
			}
			below := p.below(prefix, u)
			for range p.starts {
				unit.Leaves = saturate(unit.Leaves, below)
			}
			unit.Last++
		}
		if unit.Last > unit.First {
			yield(unit)
		}
	}
}

// Leaves is the number of words u that all units of a length cover, one for
// each start and orbit under the symmetries; math.MaxUint64 stands for that and more.
func (p *Plan) Leaves(length int) uint64 {
	u, _ := p.split(length)
	total, once := uint64(0), p.words(u)
	for range len(p.tables) * len(p.starts) {
		total = saturate(total, once)
	}
	return total
}

// words is the number of words u of a cost that one pass walks, from each start.
func (p *Plan) words(u int) uint64 {
	p.mu.Lock()
	sum, ok := p.totals[u]
	p.mu.Unlock()
	if ok {
		return sum
	}
	for prefix := range p.cut(u) {
		sum = saturate(sum, p.below(prefix, u))
	}
	p.mu.Lock()
	p.totals[u] = sum
	p.mu.Unlock()
	return sum
}

// below counts the words of cost u that begin with a prefix.
func (p *Plan) below(prefix word.Prefix, u int) uint64 {
	left := u - prefix.Cost
	if p.cyclic == nil || left == 0 {
		return p.Alphabet.Count(prefix.State, left)
	}
	return p.cyclic.count(p.cyclic.rankOf(prefix.Letters), prefix.Letters[len(prefix.Letters)-1], left)
}

func saturate(a, b uint64) uint64 {
	if a > math.MaxUint64-b {
		return math.MaxUint64
	}
	return a + b
}

// cutWords are the prefixes that words of a cost are cut by.
type cutWords struct {
	cost     int
	prefixes []word.Prefix
}

// keptCuts is for how many costs the prefixes are kept: the length that is searched
// has one, and so has the next. All of them would take hundreds of megabytes.
const keptCuts = 2

// prefixesOf lists the prefixes that words of cost u are cut by.
func (p *Plan) prefixesOf(u int) []word.Prefix {
	p.mu.Lock()
	defer p.mu.Unlock()
	if i := slices.IndexFunc(p.prefixes, func(c cutWords) bool { return c.cost == u }); i >= 0 {
		c := p.prefixes[i]
		p.prefixes = slices.Insert(slices.Delete(p.prefixes, i, i+1), 0, c)
		return c.prefixes
	}
	var list []word.Prefix
	for prefix := range p.cut(u) {
		prefix.Letters = slices.Clone(prefix.Letters)
		list = append(list, prefix)
	}
	p.prefixes = append([]cutWords{{u, list}}, p.prefixes[:min(len(p.prefixes), keptCuts-1)]...)
	return list
}

// cut gives the prefixes that words of cost u are cut by: short ones, but many.
func (p *Plan) cut(u int) iter.Seq[word.Prefix] {
	about := p.Alphabet.Count(p.Alphabet.Start(), u) / uint64(len(p.images)) / unitLeaves
	enough := int(min(max(about, manyPrefix), mostPrefix))
	var allow func([]int, int) bool
	if p.cyclic != nil {
		allow = p.cyclic.allow(u)
	}
	for cost := 1; ; cost++ {
		prefixes := p.Alphabet.Prefixes(p.images, cost, u, allow)
		n := 0
		for range prefixes {
			if n++; n == enough {
				break
			}
		}
		if n == enough || cost >= u {
			return prefixes
		}
	}
}
