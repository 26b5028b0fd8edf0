// Package deepen searches by iterative deepening: for each length in turn it
// covers every canonical word of that length, and so proves what it does not find.
//
// The one idea: a sequence w that meets the goal splits anywhere, w = u·v⁻¹. Then u
// and v take every protected piece to the same slot. All words v up to a length
// are in a near table by where they take a few such pieces; the search walks
// all words u and looks them up. u need only be one of each orbit under the
// symmetries that keep the goal, as they carry sequences to sequences of
// another cycle of the same class.
//
// Where too little is protected to tell words apart, the pieces of the wanted
// type are dealt into one block more than the shape moves pieces: four for a
// 3-cycle. One of them is left alone (pigeonhole), so each in turn is tracked as
// if it were protected. And
// where a table would not fit the memory, it is made in parts, by the words'
// keys. Each block and each part is a pass over all words u of its own.
//
// A length is cut into units: a range of first syllables each. A unit is
// deterministic, can be run again without harm, and reports the words it
// covered; a length is proven when all its units are in and have covered what
// an independent recurrence says.
//
//	plan, err := deepen.NewPlan(deepen.Question{Puzzle: p, Goal: g, Metric: puzzle.STM, Max: 9})
//	near, err := table.Build(ctx, plan.Tables()[0], 2, nil)
//	for _, u := range plan.Units(8) {
//		report, err := plan.Run(ctx, u, near, nil)
//	}
//
// It keeps nothing and stores nothing.
package deepen

import (
	"cmp"
	"fmt"
	"math/big"
	"slices"
	"sync"

	"turnwright/search/catalog"
	"turnwright/search/goal"
	"turnwright/search/puzzle"
	"turnwright/search/table"
	"turnwright/search/word"
)

// Question is what a search asks.
type Question struct {
	Puzzle *puzzle.Puzzle
	Goal   goal.Goal
	Metric puzzle.Metric
	Max    int   // greatest length to cover, 1 to MaxLength
	Memory int64 // bytes that one table may take; DefaultMemory if 0
	// Each is how many sequences are wanted for each class (or pinned cycle), best
	// first; 0 is the same as 1. With more than one, a search is plain.
	Each int
	// KeepCore leaves out sequences that turn all that is protected or wanted against
	// a core that nothing of it marks. It matters where HidesCore says so; there, to
	// count them takes many times the work.
	KeepCore bool
	// Plain leaves out the reduction by rotation and inversion of cyclic words.
	// It is the slow twin for tests; with pins a search is plain in any case.
	Plain bool
}

// MaxLength is the greatest length that can be asked for.
const MaxLength = 40

// MaxEach is the most sequences for each class that can be asked for.
const MaxEach = 20

// maxRanked is the greatest alphabet whose pairs of letters are ranked.
const maxRanked = 160

// DefaultMemory is the memory for a table where nobody says otherwise.
const DefaultMemory = 512 << 20

// Plan is how a question will be answered. It follows from the question alone,
// so that every worker, and every start after a crash, has the same.
type Plan struct {
	Question Question
	Alphabet *word.Alphabet
	Catalog  *catalog.Catalog // nil for shapes other than a 3-cycle
	Depth    int              // greatest length in the near tables

	images     []word.Image // symmetries that keep goal and frame
	symmetries []int        // symmetries that keep the goal, in the order of the catalog's images
	tables     []table.Spec // one for each pass: tracked pieces, then parts
	starts     []int        // rotations of the whole that words are compared under, the idle one first
	judge      *judge
	shapes     *catalog.Shapes // classes of shapes other than a 3-cycle, as they come
	matching   []uint32        // keys of the cycles that all pins ask for; nil without pins
	cyclic     *cyclic         // nil in a plain search
	onLine     [][]int         // letters by line
	product    [][]int         // product[x][y]: the letter that does x and then y, on one line; -1 if idle
	counted    *word.Alphabet  // the alphabet with the fewest words, for Words

	mu       sync.Mutex
	prefixes []cutWords     // the last used first
	totals   map[int]uint64 // words, by cost
}

// NewPlan makes the plan. Its errors are for the person who asked.
func NewPlan(q Question) (*Plan, error) {
	if q.Max < 1 || q.Max > MaxLength {
		return nil, fmt.Errorf("greatest length %d: use 1 to %d", q.Max, MaxLength)
	}
	if q.Memory == 0 {
		q.Memory = DefaultMemory
	}
	if q.Memory < 0 {
		return nil, fmt.Errorf("memory of %d bytes: use a positive number", q.Memory)
	}
	q.Puzzle = hold(q.Puzzle, q.Goal, q.KeepCore)
	starts := turned(q.Puzzle, q.Goal)
	if q.KeepCore && q.Puzzle.Anchor < 0 {
		starts = starts[:1]
	}
	allows := func(line, layer int) bool { return q.Goal.Allows(q.Puzzle, line, layer) }
	counted, err := word.Only(q.Puzzle, q.Metric, false, allows)
	if err != nil {
		return nil, err
	}
	a := counted
	if q.Each < 0 || q.Each > MaxEach {
		return nil, fmt.Errorf("%d sequences for each class: use 1 to %d", q.Each, MaxEach)
	}
	reduce := false
	if !q.Plain && len(q.Goal.Pins) == 0 && q.Each <= 1 && len(starts) == 1 {
		byLine, err := word.Only(q.Puzzle, q.Metric, true, allows)
		if err != nil {
			return nil, err
		}
		if reduce = !byLine.Commuting && len(byLine.Letters) <= maxRanked; reduce {
			a = byLine
		}
	}
	p := &Plan{Question: q, Alphabet: a, counted: counted, starts: starts, totals: map[int]uint64{}}
	if q.Goal.Shape.ThreeCycle() {
		p.Catalog, err = catalog.Enumerate(q.Puzzle, q.Goal)
	} else {
		p.shapes, err = catalog.NewShapes(q.Puzzle, q.Goal)
	}
	if err != nil {
		return nil, err
	}
	p.symmetries = q.Goal.Symmetries(q.Puzzle)
	p.images = a.Images(p.symmetries)
	if reduce {
		p.cyclic = newCyclic(a, p.images)
		p.prepareLines()
	}
	parts, err := p.chooseTables()
	if err != nil {
		return nil, err
	}
	for _, tracked := range chooseTracked(a, q.Goal, p.Depth) {
		for part := range parts {
			p.tables = append(p.tables, table.Spec{Alphabet: a, Tracked: tracked, Depth: p.Depth, Part: part, Parts: parts})
		}
	}
	p.judge = newJudge(a, q.Goal, starts)
	if len(q.Goal.Pins) > 0 {
		p.matching = p.Catalog.Matching(q.Goal.Pins)
	}
	return p, nil
}

// Costs of the parts of a search in nanoseconds of one core, as measured. Only
// the choice of tables rests on them.
const (
	walkCost  = 10 // a word of a near table, for each part that is made
	placeCost = 80 // a word of a near table, put in its place
	probeCost = 13 // a word looked up
)

// maxParts is how many parts a table is cut into at most.
const maxParts = 16

// chooseTables picks the depth of the near table, and the parts that it is made
// in, so that the greatest length costs least within the memory. Where a
// smaller table costs at most half as much again it is preferred.
func (p *Plan) chooseTables() (parts int, err error) {
	type choice struct {
		depth, parts int
		cost         float64
	}
	var choices []choice
	for depth := 0; depth <= (p.Question.Max+1)/2; depth++ {
		words := float64((table.Spec{Alphabet: p.Alphabet, Depth: depth}).Words())
		if words > table.MaxWords {
			break
		}
		for parts := 1; parts <= maxParts; parts *= 2 {
			spec := table.Spec{Alphabet: p.Alphabet, Depth: depth, Parts: parts}
			if spec.Bytes() > uint64(p.Question.Memory) {
				continue
			}
			leaves := float64(p.words(p.Question.Max-depth)) * float64(len(p.starts))
			cost := words*(placeCost+walkCost*float64(parts)) + probeCost*leaves*float64(parts)
			choices = append(choices, choice{depth, parts, cost})
			break // more parts only cost more
		}
	}
	if len(choices) == 0 {
		return 0, fmt.Errorf("%d bytes of memory hold no table at all: allow some kilobytes more", p.Question.Memory)
	}
	best := slices.MinFunc(choices, func(a, b choice) int { return cmp.Compare(a.cost, b.cost) })
	for _, c := range choices {
		if c.cost <= 1.5*best.cost {
			p.Depth = c.depth
			return c.parts, nil
		}
	}
	panic("deepen: the best choice is within its own cost")
}

// Tables lists the near tables that the units need, by pass.
func (p *Plan) Tables() []table.Spec { return p.tables }

// Answers is how many findings there can be, and how many directed cycles they
// stand for: all classes or, where pieces are pinned, all cycles that match. For
// shapes that are not listed both are 0.
func (p *Plan) Answers() (findings, cycles int) {
	if p.Catalog == nil {
		return 0, 0
	}
	if len(p.Question.Goal.Pins) > 0 {
		return len(p.matching), len(p.matching)
	}
	return len(p.Catalog.Classes), p.Catalog.Cycles
}

// Symmetries is the number of symmetries by which the search is reduced.
func (p *Plan) Symmetries() int { return len(p.images) }

// Words is the number of canonical words of exactly the length: what is covered once it is proven.
func (p *Plan) Words(length int) *big.Int { return p.counted.Total(length) }

// split says how long u and v are for a length.
func (p *Plan) split(length int) (u, v int) {
	v = min(p.Depth, length/2)
	return length - v, v
}
