// Package joins puts findings between moves: what each costs there, and how they rank.
//
// The one idea: a finding stands for its class, so it goes there in that form, turned,
// mirrored or inverted, which costs least. Like readings, none of it is stored: it is
// worked out for all findings of a search when someone asks, and the last answers are kept
// under what they rest on.
//
//	r, err := j.Get(ctx, search, "F2 R", "D B2")
//	page, err := r.Page(ctx, 0, 50)
package joins

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"slices"
	"sync"
	"time"

	v1 "turnwright/api/turnwright/v1"
	"turnwright/search/goal"
	"turnwright/search/improve"
	"turnwright/search/notation"
	"turnwright/search/puzzle"
	"turnwright/search/variant"
	"turnwright/server/engine"
	"turnwright/server/fail"
	"turnwright/server/fits"
	"turnwright/server/readings"
	"turnwright/storage"
)

// Bounds of the work.
const (
	maxKept = 4               // answers
	maxTime = 2 * time.Minute // that one may take, the wait for its turn included
)

// Store is what joining needs of storage.
type Store interface {
	Findings(ctx context.Context, search string, q storage.FindingScan) ([]storage.Finding, error)
}

// Joins puts findings between moves. It is safe for concurrent use.
type Joins struct {
	store    Store
	puzzles  engine.Builder
	readings *readings.Readings
	turn     chan struct{} // holds a token for the answer that is being worked out

	mu   sync.Mutex
	kept []*Ranked // the last used first
}

// New makes an empty set of answers.
func New(store Store, puzzles engine.Builder, r *readings.Readings) *Joins {
	return &Joins{store: store, puzzles: puzzles, readings: r, turn: make(chan struct{}, 1)}
}

// Joined is a finding between moves.
type Joined struct {
	Finding storage.Finding
	improve.Joined
}

// Message writes how it goes there as the API has it.
func (r *Ranked) Message(j Joined) *v1.Joined { return fits.JoinedMessage(r.Bench.Puzzle, j.Joined) }

// Ranked is the findings of a search between moves.
type Ranked struct {
	Bench *variant.Bench

	search        storage.Search // as it was
	before, after string
	moves         *improve.Moves
	same          bool // only forms that make the same cycle count, as there are pins
	read          readings.Reader

	all []Joined

	mu     sync.Mutex
	listed []Joined // by net length, then as the bench ranks; the first by their readings too
}

// Get gives the findings of a search as they are now between moves. It refuses moves that
// can't be read, and searches that are not for 3-cycles; field is where the request has the
// search.
func (j *Joins) Get(ctx context.Context, search storage.Search, field, before, after string) (*Ranked, error) {
	want := &Ranked{search: search, before: before, after: after}
	if have := j.look(want); have != nil && have.search.Events == search.Events {
		return have, nil
	}
	ctx, done := context.WithTimeout(ctx, maxTime)
	defer done()
	select {
	case j.turn <- struct{}{}:
		defer func() { <-j.turn }()
	case <-ctx.Done():
		return nil, ctx.Err()
	}
	switch have := j.look(want); { // another call may have been about it
	case have == nil:
		if err := j.prepare(want, field); err != nil {
			return nil, err
		}
	case have.search.Events == search.Events:
		return have, nil
	default:
		want.Bench, want.moves, want.same, want.read = have.Bench, have.moves, have.same, have.read
	}
	if err := j.fill(ctx, want); err != nil {
		return nil, err
	}
	j.mu.Lock()
	defer j.mu.Unlock()
	j.kept = slices.DeleteFunc(j.kept, want.sameAs)
	j.kept = slices.Insert(j.kept, 0, want)
	j.kept = j.kept[:min(len(j.kept), maxKept)]
	return want, nil
}

func (r *Ranked) sameAs(s *Ranked) bool {
	return r.search.Number == s.search.Number && r.before == s.before && r.after == s.after
}

// look finds an answer for the same moves, of whenever.
func (j *Joins) look(want *Ranked) *Ranked {
	j.mu.Lock()
	defer j.mu.Unlock()
	i := slices.IndexFunc(j.kept, want.sameAs)
	if i < 0 {
		return nil
	}
	have := j.kept[i]
	j.kept = slices.Insert(slices.Delete(j.kept, i, i+1), 0, have)
	return have
}

// prepare makes what does not depend on the findings.
func (j *Joins) prepare(r *Ranked, field string) error {
	if !r.search.Spec.ForCycles() {
		return refused(field)
	}
	q, err := engine.Question(j.puzzles, r.search.Spec)
	if err != nil {
		return err
	}
	if !q.Goal.Shape.ThreeCycle() {
		return refused(field)
	}
	r.same = len(q.Goal.Pins) > 0
	if r.Bench, err = variant.NewBench(q.Puzzle, q.Goal, q.Metric); err != nil {
		return fail.Refused(v1.ErrorReason_ERROR_REASON_GOAL_REFUSED, field, err)
	}
	var moves [2][]puzzle.Turn
	for i, side := range []struct{ field, text string }{{"before", r.before}, {"after", r.after}} {
		if moves[i], err = fits.ReadMoves(q.Puzzle, side.field, side.text); err != nil {
			return err
		}
	}
	r.read = j.readings.For(q.Puzzle, q.Metric)
	r.moves, err = improve.NewMoves(r.Bench, moves[0], moves[1])
	return err
}

func refused(field string) error {
	return fail.Refused(v1.ErrorReason_ERROR_REASON_GOAL_REFUSED, field, errors.New("only findings of 3-cycles are put between moves"))
}

// fill puts all findings between the moves, up to improve.MaxJoined.
func (j *Joins) fill(ctx context.Context, r *Ranked) error {
	for scan := (storage.FindingScan{Until: storage.AnyEvent, Limit: 500}); ; {
		found, err := j.store.Findings(ctx, r.search.ID, scan)
		if err != nil {
			return err
		}
		for _, f := range found {
			if err := ctx.Err(); err != nil {
				return err
			}
			joined, err := r.Join(f)
			if err != nil {
				return err
			}
			r.all = append(r.all, joined)
			scan.After = f.Rank()
		}
		if len(found) < scan.Limit || len(r.all) >= improve.MaxJoined-scan.Limit {
			break
		}
	}
	// What a class has several of may be images of one another, and take one form then.
	taken := map[string]bool{}
	for _, joined := range r.all {
		if text := r.Bench.Text(joined.Sequence); !taken[text] {
			taken[text] = true
			r.listed = append(r.listed, joined)
		}
	}
	slices.SortStableFunc(r.listed, func(x, y Joined) int { return r.moves.Compare(x.Joined, y.Joined) })
	return nil
}

// Join puts a finding of the search between the moves.
func (r *Ranked) Join(f storage.Finding) (Joined, error) {
	s, err := r.sequence(f)
	if err != nil {
		return Joined{}, fmt.Errorf("finding %s of search %s: %w", f.ID, r.search.ID, err)
	}
	return Joined{f, r.moves.JoinForm(s, r.same)}, nil
}

func (r *Ranked) sequence(f storage.Finding) (variant.Sequence, error) {
	turns, err := notation.ParseTurns(r.Bench.Puzzle, f.Text)
	if err != nil {
		return variant.Sequence{}, err
	}
	change, err := goal.ParseChange(&r.Bench.Puzzle.Types[r.Bench.Goal.Cycle], f.Change)
	if err != nil {
		return variant.Sequence{}, err
	}
	return r.Bench.Read(turns, change)
}

// Page gives findings in rank order, and whether there are more after them. Of findings that
// take the same form only the best of them is there.
func (r *Ranked) Page(ctx context.Context, from, size int) (page []Joined, more bool, err error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	from = min(max(from, 0), len(r.listed))
	to := min(from+size, len(r.listed))
	err = readings.Rank(ctx, r.read, r.listed[:r.untied(to)], func(j Joined) []string { return []string{r.Bench.Text(j.Sequence)} }, tied)
	return slices.Clone(r.listed[from:to]), to < len(r.listed), err
}

// untied is where those that are tied with the last before a place end.
func (r *Ranked) untied(end int) int {
	for end > 0 && end < len(r.listed) && tied(r.listed[end-1], r.listed[end]) {
		end++
	}
	return end
}

func tied(x, y Joined) bool {
	return x.Net == y.Net && x.Sequence.Length == y.Sequence.Length && x.Sequence.Lines == y.Sequence.Lines
}

// Place is the place of a finding by net length and, of equal ones, by the order in which the
// store has them.
type Place struct {
	Net  int          `json:"n"`
	Rank storage.Rank `json:"r"`
}

// Place gives the place.
func (j Joined) Place() Place { return Place{j.Net, j.Finding.Rank()} }

// Compare compares places.
func (p Place) Compare(q Place) int {
	if p.Net != q.Net {
		return p.Net - q.Net
	}
	return bytes.Compare(p.Rank, q.Rank)
}

// Until gives the findings that came with an event or before, by their places.
func (r *Ranked) Until(event uint64) []Joined {
	out := slices.Clone(r.all)
	out = slices.DeleteFunc(out, func(j Joined) bool { return j.Finding.Event > event })
	slices.SortFunc(out, func(x, y Joined) int { return x.Place().Compare(y.Place()) })
	return out
}
