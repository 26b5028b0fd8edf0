// Package solve finds the shortest sequences that bring the puzzle from one given
// position to another, for all pieces or for some, and proves that none is shorter.
//
// The one idea is iterative-deepening A* (R. E. Korf, "Depth-first
// iterative-deepening", 1985, and "Finding optimal solutions to Rubik's Cube using
// pattern databases", 1997): for each length in turn walk all canonical words of
// that length, but turn back wherever a pattern table says that what is left of the
// length is too little for some of the pieces. What a table says is never too
// much, so no solution is passed over.
//
//	plan, err := solve.NewPlan(solve.Question{Puzzle: p, Start: turns, Max: 20})
//	tables := make([]*pattern.Table, len(plan.Tables())) // build or load each
//	answer, err := plan.Solve(ctx, tables, runtime.NumCPU(), nil)
//
// As in package deepen a length is cut into units, each of which is
// deterministic and can be run again without harm; a length is covered when all
// its units are in. Solve runs them all in one process.
//
// Positions and goals are those of the frame, in which the reference layers
// rest: the whole puzzle may be held in any way, before and after. On some puzzles
// nothing that can be seen, or nothing that counts, tells how the core is turned.
// Question.AnyWay then lets all pieces end turned against it (start.go). The
// package keeps nothing. Where the group of the turns tells it quickly that no
// sequence does what is wanted, the plan is refused with [ErrUnreachable].
package solve

import (
	"fmt"
	"math/big"
	"slices"
	"sync"

	"turnwright/search/pattern"
	"turnwright/search/puzzle"
	"turnwright/search/word"
)

// Question is what is asked.
type Question struct {
	Puzzle *puzzle.Puzzle
	Metric puzzle.Metric
	Start  []puzzle.Turn // the position: what these turns make of the solved puzzle
	// Wants says where pieces should be in the end; all others are ignored. Where
	// nil all pieces are to be at home. pattern.SolvedByColour lets those that look
	// alike be exchanged.
	Wants  []pattern.Want
	AnyWay bool  // in the end all pieces together may be turned against the core, as if the whole were
	Max    int   // greatest length to cover, 0 to MaxLength
	Memory int64 // bytes that all tables together may take; if 0, DefaultMemory or what is built soon
	Limit  int   // how many solutions of the shortest length are wanted, the first ones; all if 0
}

// MaxLength is the greatest length that can be asked for.
const MaxLength = 40

// DefaultMemory is the most memory for tables where nobody says otherwise.
const DefaultMemory = 512 << 20

// buildWork bounds the tables where nobody says otherwise: positions times letters,
// each of which is looked at once or so while they are built. It takes a core
// some twenty seconds.
const buildWork = 5_000_000_000

const leastMemory = 4 << 20

// Plan is how a question will be answered. It follows from the question alone,
// so that every worker, and every start after a crash, has the same.
type Plan struct {
	Question Question
	Alphabet *word.Alphabet

	// Narrow is set where the whole could be turned in the end in a way that the
	// search does not look for: pieces that look alike but are wanted differently.
	Narrow bool

	rotation int            // of the whole after Start
	wants    []pattern.Want // as the tables have them
	starts   []start
	tables   []pattern.Spec

	mu       sync.Mutex
	prefixes map[[2]int][]word.Prefix // by what they cost at least, and at most
}

// NewPlan makes the plan. Its errors are for the person who asked.
func NewPlan(q Question) (*Plan, error) {
	if q.Max < 0 || q.Max > MaxLength {
		return nil, fmt.Errorf("greatest length %d: use 0 to %d", q.Max, MaxLength)
	}
	if q.Memory < 0 || q.Limit < 0 {
		return nil, fmt.Errorf("memory of %d bytes and %d solutions: use no negative numbers", q.Memory, q.Limit)
	}
	if q.Wants == nil {
		q.Wants = pattern.Solved(q.Puzzle)
	}
	a, err := word.New(q.Puzzle, q.Metric)
	if err != nil {
		return nil, err
	}
	if q.Memory == 0 {
		q.Memory = max(min(DefaultMemory, buildWork/2/int64(len(a.Letters))), leastMemory)
	}
	p := &Plan{Question: q, Alphabet: a, prefixes: map[[2]int][]word.Prefix{}}
	if err := p.begin(); err != nil {
		return nil, err
	}
	if p.tables, err = pattern.Choose(a, p.wants, q.Memory); err != nil {
		return nil, err
	}
	return p, nil
}

// Tables lists the pattern tables that every unit needs, in the order that Run takes them.
func (p *Plan) Tables() []pattern.Spec { return p.tables }

// Words is the number of canonical words of exactly the length, of which a
// search passes most over.
func (p *Plan) Words(length int) *big.Int { return p.Alphabet.Total(length) }

// Bound is a length that no solution is shorter than: the greatest distance
// that a table tells of the start, of the nearest where there are several.
func (p *Plan) Bound(tables []*pattern.Table) int {
	least := pattern.Beyond
	for _, s := range p.starts {
		bound := 0
		for _, t := range tables {
			bound = max(bound, t.Distance(s.rows(t.Layout)))
		}
		least = min(least, bound)
	}
	return least
}

// Solved tells whether there is nothing to do.
func (p *Plan) Solved() bool {
	return slices.ContainsFunc(p.starts, func(s start) bool { return p.meets(s, nil) })
}

// rows is the start as a table numbers it.
func (s start) rows(l *pattern.Layout) []uint16 {
	rows := make([]uint16, len(l.Wants))
	l.Rows(rows, func(piece int) int { return s[piece] })
	return rows
}

// slotsAfter is where turns take all pieces in the frame, and the rotation of
// the whole that they leave.
func slotsAfter(p *puzzle.Puzzle, turns []puzzle.Turn) (slots []int, rotation int) {
	perm, rotation := framed(p, turns)
	for _, piece := range p.Pieces {
		slots = append(slots, slices.IndexFunc(p.Types[piece.Type].Slots, func(slot []uint16) bool {
			return covers(perm, piece.Stickers, slot)
		}))
	}
	return slots, rotation
}

// framed is what turns do to the stickers, the rotation of the whole undone.
func framed(p *puzzle.Puzzle, turns []puzzle.Turn) (perm puzzle.Perm, rotation int) {
	_, rotation = p.ToFrame(turns)
	undo := p.Symmetries[p.Symmetries[rotation].Inverse].Stickers
	return p.Apply(turns).Then(undo), rotation
}

// covers tells whether a permutation takes stickers to those of a slot.
func covers(perm puzzle.Perm, stickers []int, slot []uint16) bool {
	for k, x := range stickers {
		if perm[x] != slot[k] {
			return false
		}
	}
	return true
}
