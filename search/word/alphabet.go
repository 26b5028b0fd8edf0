// Package word knows the canonical words of a puzzle: sequences of syllables
// written in one way only, as far as turns that commute and merge can be told
// apart from all others.
//
// The one idea is an automaton whose state is the set of families that may not
// come next. A family is a set of syllables that merge with one another (those
// of one line, or of one layer where costs simply add). After a syllable of
// family f the families forbidden are f itself, and every g that commutes with
// f and was forbidden before or comes earlier than f in the order of families:
// such a syllable could slide to the left, to merge or to be in order.
//
// No element is lost: among the cheapest words for an element take those of
// fewest syllables, and of these the first in the order of syllables. It is
// accepted, as a rejected one could be made shorter, or earlier, at no cost.
// (Normal forms of partially commutative monoids: P. Cartier, D. Foata, 1969;
// A. V. Anisimov, D. E. Knuth, 1979.) Since it is the first of all, its image
// under a symmetry is never earlier if its first syllable is least under all
// symmetries, its second under those that keep the first, and so on.
//
//	a, err := word.New(p, puzzle.STM)
//	n := a.Count(a.Start(), 4) // canonical words of cost 4
//
// It does not say what words do to pieces; package table does.
package word

import (
	"fmt"
	"math"
	"math/bits"
	"slices"

	"turnwright/search/puzzle"
)

// Letter is one syllable of the alphabet.
type Letter struct {
	puzzle.Syllable
	Cost    int
	Family  int
	Inverse int // index of the letter that undoes it
}

// Alphabet is the set of letters of a puzzle under a metric, with the
// automaton of canonical words. It is never changed once made.
type Alphabet struct {
	Puzzle  *puzzle.Puzzle
	Metric  puzzle.Metric
	Letters []Letter // by family, then by cost
	// ByCost lists the letters' indices by cost, then in their order. Words are
	// numbered and walked in this order, so that those that end a word stand side by side.
	ByCost []int
	// Commuting tells whether any two families commute.
	Commuting bool

	index    map[string]int // letters by syllable
	families int
	forbid   []uint64    // by state: the set of families that may not come next
	next     [][]int32   // by state and family; -1 where forbidden
	perFam   [][]uint64  // perFam[f][c]: letters of family f with cost c
	ranges   [][][]Range // ranges[state][cost]: the letters of the cost that may come
	counts   [][]uint64  // counts[n][state]: canonical words of cost n that may follow
}

// Range is a run of positions in ByCost, From to To-1.
type Range struct{ From, To int }

// MaxCost is the greatest length that words are counted for.
const MaxCost = 60

const (
	maxLetters  = 20_000 // those of cubes of up to 7 layers
	maxFamilies = 64
	maxStates   = 1 << 13
)

// New makes the alphabet with as many families as the costs allow, and so as
// few words as possible. It fails for puzzles with more than 64 families
// or 20,000 letters.
func New(p *puzzle.Puzzle, m puzzle.Metric) (*Alphabet, error) { return build(p, m, false, everyLayer) }

// ByLine makes the alphabet with one family for each line. Its words are plain:
// where no lines commute, every sequence of syllables that does not stay on a
// line is canonical, and so is every rotation of one that ends on another line
// than it begins.
func ByLine(p *puzzle.Puzzle, m puzzle.Metric) (*Alphabet, error) {
	return build(p, m, true, everyLayer)
}

// Only makes the alphabet of New, or of ByLine, with turns of some layers only:
// those that allows says may be turned in the frame.
func Only(p *puzzle.Puzzle, m puzzle.Metric, byLine bool, allows func(line, layer int) bool) (*Alphabet, error) {
	return build(p, m, byLine, allows)
}

func everyLayer(_, _ int) bool { return true }

func build(p *puzzle.Puzzle, m puzzle.Metric, byLine bool, allows func(line, layer int) bool) (*Alphabet, error) {
	a := &Alphabet{Puzzle: p, Metric: m}
	var generators [][]puzzle.Perm // of each family
	for line := range p.Lines {
		turns := func(k int) bool { return k != p.Lines[line].Reference && allows(line, k) }
		syllables := p.Syllables(line)
		syllables = slices.DeleteFunc(syllables, func(s puzzle.Syllable) bool {
			for k, amount := range s.Amounts {
				if amount != 0 && !turns(k) {
					return true
				}
			}
			return false
		})
		if len(syllables) == 0 {
			continue
		}
		if byLine || !additive(p, m, syllables) {
			a.addFamily(syllables)
			var gens []puzzle.Perm
			for k, step := range p.Lines[line].Step {
				if turns(k) {
					gens = append(gens, step)
				}
			}
			generators = append(generators, gens)
			continue
		}
		for k, step := range p.Lines[line].Step {
			if !turns(k) {
				continue
			}
			var own []puzzle.Syllable
			for _, s := range syllables {
				if onlyLayer(s, k) {
					own = append(own, s)
				}
			}
			a.addFamily(own)
			generators = append(generators, []puzzle.Perm{step})
		}
	}
	if len(a.Letters) > maxLetters {
		return nil, fmt.Errorf("puzzle %s has %d different turns between turns of other lines, at most %d can be searched", p.Name, len(a.Letters), maxLetters)
	}
	if a.families > maxFamilies {
		return nil, fmt.Errorf("puzzle %s has %d families of turns, at most %d can be searched", p.Name, a.families, maxFamilies)
	}
	if len(a.Letters) == 0 {
		return nil, fmt.Errorf("puzzle %s: no turn is allowed", p.Name)
	}
	a.findInverses()
	commute := commuting(generators)
	for _, set := range commute {
		a.Commuting = a.Commuting || set != 0
	}
	a.buildStates(commute)
	a.countWords()
	a.findRanges()
	return a, nil
}

// additive tells whether the cost of every syllable is the sum of its layers' costs.
func additive(p *puzzle.Puzzle, m puzzle.Metric, syllables []puzzle.Syllable) bool {
	for _, s := range syllables {
		sum := 0
		for k, amount := range s.Amounts {
			if amount != 0 {
				one := puzzle.Syllable{Line: s.Line, Amounts: make([]int, len(s.Amounts))}
				one.Amounts[k] = amount
				sum += p.SyllableCost(m, one)
			}
		}
		if sum != p.SyllableCost(m, s) {
			return false
		}
	}
	return true
}

func onlyLayer(s puzzle.Syllable, layer int) bool {
	for k, amount := range s.Amounts {
		if (amount != 0) != (k == layer) {
			return false
		}
	}
	return true
}

// addFamily appends a family's letters in order of cost.
func (a *Alphabet) addFamily(syllables []puzzle.Syllable) {
	count := make([]uint64, MaxCost+1)
	var letters []Letter
	for _, s := range syllables {
		cost := a.Puzzle.SyllableCost(a.Metric, s)
		letters = append(letters, Letter{Syllable: s, Cost: cost, Family: a.families})
		count[cost]++
	}
	slices.SortStableFunc(letters, func(x, y Letter) int { return x.Cost - y.Cost })
	a.Letters = append(a.Letters, letters...)
	a.perFam = append(a.perFam, count)
	a.families++
}

func (a *Alphabet) findInverses() {
	a.index = make(map[string]int, len(a.Letters))
	for i, l := range a.Letters {
		a.index[fmt.Sprint(l.Syllable)] = i
	}
	for i := range a.Letters {
		l := &a.Letters[i]
		inv := puzzle.Syllable{Line: l.Line, Amounts: make([]int, len(l.Amounts))}
		steps := a.Puzzle.Lines[l.Line].Steps
		for k, amount := range l.Amounts {
			inv.Amounts[k] = (steps - amount) % steps
		}
		l.Inverse = a.index[fmt.Sprint(inv)]
	}
}

// commuting tells for each family, as a set, which others commute with it.
func commuting(generators [][]puzzle.Perm) []uint64 {
	commute := func(p, q puzzle.Perm) bool {
		for x := range p {
			if q[p[x]] != p[q[x]] {
				return false
			}
		}
		return true
	}
	out := make([]uint64, len(generators))
	for f, gens := range generators {
		for g, others := range generators {
			all := f != g
			for _, p := range gens {
				for _, q := range others {
					all = all && commute(p, q)
				}
			}
			if all {
				out[f] |= 1 << g
			}
		}
	}
	return out
}

// buildStates finds the automaton's states from the start, where nothing is forbidden.
func (a *Alphabet) buildStates(commute []uint64) {
	for {
		index := map[uint64]int32{0: 0}
		a.forbid, a.next = []uint64{0}, nil
		for s := 0; s < len(a.forbid) && len(a.forbid) <= maxStates; s++ {
			row := make([]int32, a.families)
			for f := range row {
				row[f] = -1
				if a.forbid[s]>>f&1 != 0 {
					continue
				}
				set := uint64(1)<<f | commute[f]&(a.forbid[s]|(1<<f-1))
				to, ok := index[set]
				if !ok {
					to = int32(len(a.forbid))
					index[set] = to
					a.forbid = append(a.forbid, set)
				}
				row[f] = to
			}
			a.next = append(a.next, row)
		}
		if len(a.forbid) <= maxStates {
			return
		}
		// Too many: look at the last syllable only. Words are then written in
		// several ways, which costs time but loses none.
		clear(commute)
	}
}

// countWords fills the table of counts by a recurrence over costs; numbers too
// large for 64 bits stay at the greatest.
func (a *Alphabet) countWords() {
	a.counts = make([][]uint64, MaxCost+1)
	for n := range a.counts {
		row := make([]uint64, len(a.forbid))
		for s := range row {
			if n == 0 {
				row[s] = 1
				continue
			}
			for f, to := range a.next[s] {
				if to < 0 {
					continue
				}
				for c := 1; c <= n; c++ {
					row[s] = addMul(row[s], a.perFam[f][c], a.counts[n-c][to])
				}
			}
		}
		a.counts[n] = row
	}
}

// addMul is s + x·y, or the greatest number where that is larger.
func addMul(s, x, y uint64) uint64 {
	hi, lo := bits.Mul64(x, y)
	sum, carry := bits.Add64(s, lo, 0)
	if hi != 0 || carry != 0 {
		return math.MaxUint64
	}
	return sum
}

// State is a state of the automaton.
type State = int32

// Start is the state before the first letter.
func (a *Alphabet) Start() State { return 0 }

// States is the number of states; they are 0 to States()-1.
func (a *Alphabet) States() int { return len(a.forbid) }

// Next is the state after a letter, or -1 if the letter may not come there.
func (a *Alphabet) Next(s State, letter int) State { return a.next[s][a.Letters[letter].Family] }

// Allowed tells whether a letter of the family may come in a state.
func (a *Alphabet) Allowed(s State, family int) bool { return a.next[s][family] >= 0 }

// Count is the number of canonical words of exactly the cost that may follow in
// a state; math.MaxUint64 stands for that and all larger numbers. The cost is 0 to MaxCost.
func (a *Alphabet) Count(s State, cost int) uint64 { return a.counts[cost][s] }

// Ranges lists the letters of exactly the cost that may come in a state, as
// runs of ByCost.
func (a *Alphabet) Ranges(s State, cost int) []Range {
	if cost >= len(a.ranges[s]) {
		return nil
	}
	return a.ranges[s][cost]
}

func (a *Alphabet) findRanges() {
	for i := range a.Letters {
		a.ByCost = append(a.ByCost, i)
	}
	slices.SortStableFunc(a.ByCost, func(i, j int) int { return a.Letters[i].Cost - a.Letters[j].Cost })
	most := a.Letters[a.ByCost[len(a.ByCost)-1]].Cost
	a.ranges = make([][][]Range, len(a.forbid))
	for s := range a.ranges {
		rows := make([][]Range, most+1)
		for pos, i := range a.ByCost {
			l := a.Letters[i]
			if !a.Allowed(State(s), l.Family) {
				continue
			}
			row := &rows[l.Cost]
			if n := len(*row); n > 0 && (*row)[n-1].To == pos {
				(*row)[n-1].To = pos + 1
			} else {
				*row = append(*row, Range{pos, pos + 1})
			}
		}
		a.ranges[s] = rows
	}
}
