// Package engine does the units of work that searches are cut into, on the
// server and in worker processes alike.
//
// The one idea: an Engine follows from a stored spec alone. Whoever has the spec
// and the number of a unit does the same work and comes to the same report; and
// whoever has the report can tell, without doing the work, whether it can be
// right: how much it covered is predicted where it can be, and every sequence is
// carried out turn by turn.
//
//	e, err := engine.New(library, spec)
//	plan, stages := e.Plan(8)
//	report, err := e.Run(ctx, engine.Work{Length: 8, Index: 3, Tables: tables})
//	unit, err := e.Accept(report)
//
// It stores nothing and knows nothing of other searches.
package engine

import (
	"context"
	"errors"

	"turnwright/search/notation"
	"turnwright/search/puzzle"
	"turnwright/storage"
)

// Builder makes puzzles of definitions.
type Builder interface {
	Build(definition string) (*puzzle.Puzzle, error)
}

// Engine is what differs between the kinds of searches. It does one search. Its
// methods may be called from several goroutines at once.
type Engine interface {
	// AtOnce gives what answers the search without any table or unit, if anything does.
	AtOnce() ([]storage.Finding, error)
	// Tables lists the tables that units look things up in.
	Tables() []Table
	// Note adds to what the store is told of the tables, once one was made or read.
	// They are noted in their order.
	Note(out *storage.Tables, i int, c Content)
	// Plan says of a length, from 1 on, what the store is told, and cuts its units
	// into stages. It is the same each time.
	Plan(length int) (storage.LengthPlan, []Stage)
	// Needs lists the tables that a unit looks things up in, as indices into Tables.
	Needs(length, index int) []int
	// Run does one unit. A unit of a stage that is Local needs what is known of the search.
	Run(ctx context.Context, w Work) (Report, error)
	// Accept verifies a report and makes of it what the store keeps.
	Accept(r Report) (storage.Unit, error)
	// Finding verifies one sequence and makes of it what the store keeps, as Accept does.
	Finding(f Found) (storage.Finding, error)
	// Enough tells, where a stage is over, whether the search is.
	Enough(now storage.Search) bool
}

// Continuer is an Engine whose units go on from what the stages before theirs have found.
type Continuer interface {
	// Continues tells whether a unit can go on from a finding. It goes on from the first of
	// them, in rank order, for which that is so. As those of its own stage or a later one
	// are none of them, it is the same one whenever the unit is done.
	Continues(length, index int, f storage.Finding) bool
}

// Stage is a range of units that can be done in any order and side by side. It
// begins when all units before it are in.
type Stage struct {
	First, Last int  // units, Last not included
	Local       bool // they need the store, and little time: the server does them
}

// Work is one unit to be done.
type Work struct {
	Length, Index int
	Tables        []Content // of all tables of the search those that the unit needs; the others may be nil
	// From is the sequence that the unit goes on from, if its engine is a Continuer, and there is one.
	From string
	// Progress, if not nil, is told every few milliseconds how much was covered since
	// it was last told. While it does not return, neither does the unit go on.
	Progress func(covered uint64)
	// Known gives the sequences of a length that the search has found; for local units.
	Known func(ctx context.Context, length int) ([]string, error)
}

// Report is what a unit brings back. Of its findings nothing is taken on trust but
// what Accept can verify: the sequence, and what it is said to do.
type Report struct {
	Length, Index int
	Covered       uint64 // leaves, nodes of a position, pairs of parts, or a study's budget of leaves
	Short         bool   // it ended early, as enough was found
	Found         []Found
}

// Found is a sequence and what it does to the wanted type, as goal.ParseChange
// reads it, empty for a position; and of which parts it was made, for a structure. For a
// study Change is the round that found it, and Structure a word that says how.
type Found struct {
	Text      string
	Change    string
	Structure string
}

// New makes the engine of a search. It takes up to seconds for large puzzles.
func New(b Builder, spec storage.Spec) (Engine, error) {
	switch {
	case spec.Position != nil:
		return newPosition(b, spec)
	case spec.Structure != nil:
		return newStructured(b, spec)
	case spec.Study != nil:
		return newStudied(b, spec)
	}
	return newCycles(b, spec)
}

// plainly holds that turns are written as this program writes them. What a worker puts
// in besides, as a comment, is no part of what was found.
func plainly(p *puzzle.Puzzle, text string, turns []puzzle.Turn) error {
	if text != notation.Print(p, turns) {
		return errors.New("the engine writes turns otherwise")
	}
	return nil
}
