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
// Where too little is protected to tell words apart, the pieces of the cycled
// type are dealt into four blocks. A 3-cycle leaves one of them alone
// (pigeonhole), so each block in turn is tracked as if it were protected.
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
	"fmt"
	"math"
	"math/big"
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
	// Plain leaves out the reduction by rotation and inversion of cyclic words.
	// It is the slow twin for tests; with pins a search is plain in any case.
	Plain bool
}

// MaxLength is the greatest length that can be asked for.
const MaxLength = 40

// maxRanked is the greatest alphabet whose pairs of letters are ranked.
const maxRanked = 2048

// DefaultMemory is the memory for a table where nobody says otherwise.
const DefaultMemory = 512 << 20

// Plan is how a question will be answered. It follows from the question alone,
// so that every worker, and every start after a crash, has the same.
type Plan struct {
	Question Question
	Alphabet *word.Alphabet
	Catalog  *catalog.Catalog
	Depth    int // greatest length in the near tables

	images     []word.Image // symmetries that keep goal and frame
	symmetries []int        // symmetries that keep the goal, in the order of the catalog's images
	tables     []table.Spec // one for each pass
	judge      *judge
	cyclic     *cyclic        // nil in a plain search
	onLine     [][]int        // letters by line
	product    [][]int        // product[x][y]: the letter that does x and then y, on one line; -1 if idle
	counted    *word.Alphabet // the alphabet with the fewest words, for Words

	mu       sync.Mutex
	prefixes map[[2]int][]word.Prefix // by cost of the prefix and of the whole
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
	counted, err := word.New(q.Puzzle, q.Metric)
	if err != nil {
		return nil, err
	}
	a := counted
	reduce := false
	if !q.Plain && len(q.Goal.Pins) == 0 {
		byLine, err := word.ByLine(q.Puzzle, q.Metric)
		if err != nil {
			return nil, err
		}
		if reduce = !byLine.Commuting && len(byLine.Letters) <= maxRanked; reduce {
			a = byLine
		}
	}
	c, err := catalog.Enumerate(q.Puzzle, q.Goal)
	if err != nil {
		return nil, err
	}
	p := &Plan{Question: q, Alphabet: a, Catalog: c, counted: counted, prefixes: map[[2]int][]word.Prefix{}}
	p.symmetries = q.Goal.Symmetries(q.Puzzle)
	p.images = a.Images(p.symmetries)
	if reduce {
		p.cyclic = newCyclic(a, p.images)
		p.prepareLines()
	}
	if err := p.chooseDepth(); err != nil {
		return nil, err
	}
	for _, tracked := range chooseTracked(a, q.Goal, p.Depth) {
		p.tables = append(p.tables, table.Spec{Alphabet: a, Tracked: tracked, Depth: p.Depth})
	}
	p.judge = newJudge(a, q.Goal)
	return p, nil
}

// Costs of the parts of a search, relative to one another, as measured: a word
// of a near table to make (twice walked, put in its place, sorted), and a word
// to look up. Only the choice of a depth rests on them.
const (
	buildCost = 50
	probeCost = 5
)

// chooseDepth picks the depth of the near table that makes the greatest length
// cheapest within the memory.
func (p *Plan) chooseDepth() error {
	best := math.Inf(1)
	for k := 0; k <= (p.Question.Max+1)/2; k++ {
		spec := table.Spec{Alphabet: p.Alphabet, Depth: k}
		if spec.Words() > table.MaxWords || spec.Bytes() > uint64(p.Question.Memory) {
			break
		}
		leaves := float64(p.Alphabet.Count(p.Alphabet.Start(), p.Question.Max-k)) / float64(len(p.images))
		if cost := buildCost*float64(spec.Words()) + probeCost*leaves; cost < best {
			best, p.Depth = cost, k
		}
	}
	if math.IsInf(best, 1) {
		return fmt.Errorf("%d bytes of memory hold no table at all: allow at least 1 MB", p.Question.Memory)
	}
	return nil
}

// Tables lists the near tables that the units need, by pass.
func (p *Plan) Tables() []table.Spec { return p.tables }

// Symmetries is the number of symmetries by which the search is reduced.
func (p *Plan) Symmetries() int { return len(p.images) }

// Words is the number of canonical words of exactly the length: what is covered once it is proven.
func (p *Plan) Words(length int) *big.Int { return p.counted.Total(length) }

// split says how long u and v are for a length.
func (p *Plan) split(length int) (u, v int) {
	v = min(p.Depth, length/2)
	return length - v, v
}
