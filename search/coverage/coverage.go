// Package coverage has a sequence for every class of 3-cycles: the best one that
// is known or, for classes that no search has reached yet, one that is set up.
//
// The one idea: directed 3-cycles are the nodes of a graph, and a turn is an edge
// from each cycle to the one it is carried to. A sequence for a cycle gives one
// for each neighbour, by doing the turn before it and undoing it after. Symmetries
// and inversion carry the whole graph to itself, so that the search for the cheapest
// setups (E. W. Dijkstra, 1959) goes over classes, which are few: 303 rather than
// 68,440 on the demo puzzle.
//
// What a setup costs is what is left when turns have merged and cancelled where it meets
// the sequence. That is why each sequence is first begun at each of its turns
// (see [variant.Bench.Begun]).
//
//	t, err := coverage.New(p, g, puzzle.STM)
//	for _, f := range findings {
//		err = t.Add(f.Turns, f.Change)
//	}
//	t.Prove(9)
//	rows, err := t.Rows(ctx)
//
// Every sequence in the rows was carried out by the slow judge. The package
// searches nothing itself and keeps nothing beyond its table.
package coverage

import (
	"context"
	"fmt"
	"slices"

	"turnwright/search/goal"
	"turnwright/search/notation"
	"turnwright/search/puzzle"
	"turnwright/search/variant"
)

// Table is the coverage of one goal under one metric. It is not safe for
// concurrent use, except that any number of goroutines may ask for the best sequences
// of classes, and for what they rest on, once Rows has returned and until more is added.
type Table struct {
	Bench *variant.Bench

	keep    int
	bases   []variant.Sequence
	texts   []string // of bases, as they were added
	proven  int
	classes []class // by number, from 0
	settled bool
}

// class is what is known of one class.
type class struct {
	found    int                // length of the best that was added, 0 for none
	best     []variant.Sequence // best first, all of them for the class's first cycle
	texts    []string           // of best
	verified bool               // the first of best was
}

// MaxBases is the most sequences that can be added.
const MaxBases = 1 << 20

// MaxKeep is the most sequences that are kept for a class.
const MaxKeep = 64

// New makes a table in which every class is missing.
func New(p *puzzle.Puzzle, g goal.Goal, m puzzle.Metric) (*Table, error) {
	b, err := variant.NewBench(p, g, m)
	if err != nil {
		return nil, err
	}
	return On(b, 1), nil
}

// On makes a table on a bench that is there, with up to keep sequences, 1 to MaxKeep, for each class.
func On(b *variant.Bench, keep int) *Table {
	t := &Table{Bench: b, keep: min(max(keep, 1), MaxKeep)}
	t.classes = make([]class, len(b.Catalog.Classes))
	return t
}

// Add takes a sequence in, after the slow judge has carried it out. want says
// what it should do; nil takes what it does (see [variant.Bench.Read]).
func (t *Table) Add(turns []puzzle.Turn, want goal.Change) error {
	if len(t.bases) == MaxBases {
		return fmt.Errorf("there are %d sequences already, no more can be added", MaxBases)
	}
	s, err := t.Bench.Read(turns, want)
	if err != nil {
		return err
	}
	s.Origin.Base = len(t.bases)
	t.bases = append(t.bases, s)
	t.texts = append(t.texts, notation.Print(t.Bench.Puzzle, turns))
	c := &t.classes[t.Bench.Catalog.ClassOf(s.Cycle)-1]
	if c.found == 0 || s.Length < c.found {
		c.found = s.Length
	}
	t.settled = false
	return nil
}

// Prove says that a search has covered all sequences up to the length, and that the best it
// found for each class was added. Where the search leaves sequences out, as those
// that turn everything against a core that nobody sees, so does what is proven here.
func (t *Table) Prove(length int) { t.proven = max(t.proven, length) }

// Base is the sequence that another one of the table follows from, as it was added.
func (t *Table) Base(s variant.Sequence) string { return t.texts[s.Origin.Base] }

// Proven is the length up to which a search has covered all sequences.
func (t *Table) Proven() int { return t.proven }

// Best lists the sequences for a class by its number, best first, each for the first
// cycle of its class. It is empty where nothing that was added reaches the class. The list must not
// be changed.
func (t *Table) Best(ctx context.Context, number int) ([]variant.Sequence, error) {
	if err := t.settle(ctx); err != nil {
		return nil, err
	}
	return t.classes[number-1].best, nil
}

// settle finds the sequences for all classes again.
func (t *Table) settle(ctx context.Context) error {
	if t.settled {
		return nil
	}
	old := t.classes
	t.classes = make([]class, len(old))
	for i := range old {
		t.classes[i].found = old[i].found
	}
	var queue queue
	order := slices.Clone(t.bases)
	slices.SortStableFunc(order, func(a, b variant.Sequence) int { return a.Length - b.Length })
	for i, s := range order {
		if i%64 == 0 && ctx.Err() != nil {
			t.classes = old
			return ctx.Err()
		}
		take := func(s variant.Sequence) { t.offer(&queue, s) }
		take(s)
		t.Bench.Begun(s, t.wanted, take)
	}
	for queue.next() {
		if ctx.Err() != nil {
			t.classes = old
			return ctx.Err()
		}
		s := queue.pop()
		if !t.holds(s) {
			continue // a better one has come since
		}
		for i := range t.Bench.Setups {
			if t.wanted(t.Bench.CycleBy(s.Cycle, i), t.Bench.LeastBy(s, i)) {
				t.offer(&queue, t.Bench.SetUpBy(s, i))
			}
		}
	}
	for i := range old {
		c := &t.classes[i]
		c.verified = old[i].verified && len(c.best) > 0 && c.texts[0] == old[i].texts[0]
	}
	t.settled = true
	return nil
}

// wanted tells whether a sequence of a length, or a longer one, could be among those kept.
func (t *Table) wanted(cycle goal.Cycle, length int) bool {
	c := &t.classes[t.Bench.Catalog.ClassOf(cycle)-1]
	return len(c.best) < t.keep || length <= c.best[len(c.best)-1].Length
}

// offer keeps a sequence if it is among the best of its class, and has its setups tried.
func (t *Table) offer(queue *queue, s variant.Sequence) {
	c := &t.classes[t.Bench.Catalog.ClassOf(s.Cycle)-1]
	full := len(c.best) == t.keep
	if full && s.Length > c.best[t.keep-1].Length || !t.Bench.Allows(s.Turns) {
		return
	}
	s, text := t.first(s)
	if slices.Contains(c.texts, text) {
		return
	}
	at := 0
	for at < len(c.best) && t.Bench.Compare(c.best[at], s) <= 0 {
		at++
	}
	if at == t.keep {
		return
	}
	c.best = slices.Insert(c.best, at, s)
	c.texts = slices.Insert(c.texts, at, text)
	c.best, c.texts = c.best[:min(len(c.best), t.keep)], c.texts[:min(len(c.texts), t.keep)]
	queue.push(s)
}

// first is the image of a sequence, or of its inverse, that makes the first cycle of its
// class; of several, that with the best text.
func (t *Table) first(s variant.Sequence) (variant.Sequence, string) {
	b := t.Bench
	want := b.Catalog.Class(b.Catalog.ClassOf(s.Cycle)).Cycle
	var best variant.Sequence
	text := ""
	for i := range b.Symmetries {
		image := b.Catalog.Image(i, s.Cycle)
		for _, inverted := range []bool{false, true} {
			if inverted {
				image = b.Catalog.Inverse(image)
			}
			if image != want {
				continue
			}
			v := b.Image(s, i)
			if inverted {
				v = b.Inverse(v)
			}
			if x := b.Text(v); text == "" || len(x) < len(text) || len(x) == len(text) && x < text {
				best, text = v, x
			}
		}
	}
	return best, text
}

func (t *Table) holds(s variant.Sequence) bool {
	c := &t.classes[t.Bench.Catalog.ClassOf(s.Cycle)-1]
	return slices.Contains(c.texts, t.Bench.Text(s))
}

// queue holds sequences by length.
type queue struct {
	byLength [][]variant.Sequence
	at       int
}

func (q *queue) push(s variant.Sequence) {
	for len(q.byLength) <= s.Length {
		q.byLength = append(q.byLength, nil)
	}
	q.byLength[s.Length] = append(q.byLength[s.Length], s)
	q.at = min(q.at, s.Length)
}

func (q *queue) next() bool {
	for q.at < len(q.byLength) && len(q.byLength[q.at]) == 0 {
		q.at++
	}
	return q.at < len(q.byLength)
}

func (q *queue) pop() variant.Sequence {
	list := q.byLength[q.at]
	s := list[0]
	q.byLength[q.at] = list[1:]
	return s
}
