package deepen

import (
	"context"
	"fmt"
	"maps"
	"slices"

	"turnwright/search/table"
	"turnwright/search/word"
)

// Report is what a unit brings back.
type Report struct {
	Leaves uint64      // words u covered
	Hits   uint64      // look-ups that found a word with the same key
	Found  []Candidate // the best for each key, as many as the question wants; by key, then rank
}

// pollLeaves is after how many words the walk looks whether to stop: some milliseconds.
const pollLeaves = 1 << 18

// best holds the best candidates for each key, best first.
type best struct {
	each  int
	byKey map[uint64][]Candidate
}

func (p *Plan) newBest() best {
	return best{max(1, p.Question.Each), map[uint64][]Candidate{}}
}

// add takes a candidate in if it is among the best of its key and not there yet.
func (b best) add(c Candidate) {
	list := b.byKey[c.Key]
	at, _ := slices.BinarySearchFunc(list, c, func(have, c Candidate) int {
		if have.Before(c) {
			return -1
		}
		return 1
	})
	if at == b.each || at < len(list) && list[at].Text == c.Text {
		return
	}
	list = slices.Insert(list, at, c)
	b.byKey[c.Key] = list[:min(len(list), b.each)]
}

func (b best) sorted() []Candidate {
	var out []Candidate
	for _, key := range slices.Sorted(maps.Keys(b.byKey)) {
		out = append(out, b.byKey[key]...)
	}
	return out
}

// pendingWords is how many words are looked up together.
const pendingWords = 256

// Run covers one unit with the table of its pass. progress, if not nil, is told
// now and then how many words were covered since it was last told. If ctx ends
// first, Run returns within milliseconds with its error and no report.
func (p *Plan) Run(ctx context.Context, u Unit, near *table.Near, progress func(leaves uint64)) (Report, error) {
	cost, other := p.split(u.Length)
	prefixes := p.prefixesOf(cost)
	if u.Pass < 0 || u.Pass >= len(p.tables) || u.First < 0 || u.First > u.Last || u.Last > len(prefixes) {
		return Report{}, fmt.Errorf("unit %d of length %d is not of this plan", u.Index, u.Length)
	}
	w := &walk{
		ctx: ctx, plan: p, near: near, finder: table.NewFinder(near), tracker: near.Tracker, progress: progress,
		length: u.Length, other: other,
		keys:    make([]uint64, len(p.Alphabet.Letters)),
		letters: make([]int, 0, cost),
		pending: make([]uint64, 0, pendingWords),
		kept:    make([]int, 0, pendingWords*cost),
		ends:    make([]int, 0, pendingWords),
		found:   p.newBest(),
		cyclic:  p.cyclic,
	}
	for range cost + 1 {
		w.state = append(w.state, slices.Clone(near.Tracker.Start))
	}
	for _, prefix := range prefixes[u.First:u.Last] {
		w.begin(prefix, cost)
		if w.stopped {
			return Report{}, ctx.Err()
		}
	}
	w.flush()
	w.tell()
	out := Report{Leaves: w.leaves, Hits: w.hits}
	out.Found = w.found.sorted()
	return out, nil
}

// walk is a depth-first walk over the words u of one unit.
type walk struct {
	ctx      context.Context
	plan     *Plan
	near     *table.Near
	finder   *table.Finder
	tracker  *table.Tracker
	progress func(uint64)
	length   int // of the whole sequence
	other    int // cost of v

	state   [][]uint16 // tracked pieces by depth
	letters []int      // of u so far
	keys    []uint64

	// Words u that the filter let through, waiting to be looked up together:
	// their keys, their letters one after another, and where each ends.
	pending []uint64
	kept    []int
	ends    []int

	leaves, told, hits uint64
	stopped            bool
	found              best
	cyclic             *cyclic // nil where every word is walked
	rank               int32   // that pairs of letters must keep to
}

func (w *walk) begin(prefix word.Prefix, cost int) {
	w.letters = append(w.letters[:0], prefix.Letters...)
	if w.cyclic != nil {
		w.rank = w.cyclic.rankOf(prefix.Letters)
	}
	for i, letter := range prefix.Letters {
		w.tracker.Move(w.state[i+1], w.state[i], letter)
	}
	if left := cost - prefix.Cost; left > 0 {
		w.walk(prefix.State, left)
		return
	}
	// The prefix is the whole word.
	w.leaves++
	last := w.letters[len(w.letters)-1]
	w.letters = w.letters[:len(w.letters)-1]
	w.keep(w.tracker.Key(w.state[len(prefix.Letters)]), last)
}

func (w *walk) walk(s word.State, left int) {
	a := w.plan.Alphabet
	depth := len(w.letters)
	for cost := 1; cost < left; cost++ {
		for _, r := range a.Ranges(s, cost) {
			for _, letter := range a.ByCost[r.From:r.To] {
				if w.cyclic != nil && !w.cyclic.follows(w.rank, w.letters[depth-1], letter) {
					continue
				}
				w.tracker.Move(w.state[depth+1], w.state[depth], letter)
				w.letters = append(w.letters, letter)
				w.walk(a.Next(s, letter), left-cost)
				w.letters = w.letters[:depth]
				if w.stopped {
					return
				}
			}
		}
	}
	for _, r := range a.Ranges(s, left) {
		w.lookUp(w.state[depth], r)
	}
	if w.leaves-w.told >= pollLeaves {
		w.tell()
		w.stopped = w.ctx.Err() != nil
	}
}

// lookUp covers the words that end with one of a range of letters. First all
// keys, then all probes: so the waits for memory overlap.
func (w *walk) lookUp(state []uint16, r word.Range) {
	keys := w.keys[:r.To-r.From]
	w.tracker.Children(keys, state, r.From)
	w.leaves += uint64(len(keys))
	for i, k := range keys {
		if w.near.Maybe(k) {
			w.keep(k, w.plan.Alphabet.ByCost[r.From+i])
		}
	}
}

// keep puts the word u that ends with a letter aside, to be looked up with others.
func (w *walk) keep(key uint64, last int) {
	if len(w.pending) == cap(w.pending) {
		w.flush()
	}
	w.pending = append(w.pending, key)
	w.kept = append(append(w.kept, w.letters...), last)
	w.ends = append(w.ends, len(w.kept))
}

// flush looks up the words put aside and judges every word v with one of their keys.
func (w *walk) flush() {
	w.finder.Find(w.pending, w.other, w.hit)
	w.pending, w.kept, w.ends = w.pending[:0], w.kept[:0], w.ends[:0]
}

// hit judges the i-th word put aside with a word v.
func (w *walk) hit(i int, _ uint64, v []int) {
	w.hits++
	first := 0
	if i > 0 {
		first = w.ends[i-1]
	}
	u := w.kept[first:w.ends[i]]
	if w.plan.shortens(u, v) {
		return
	}
	figure, ok := w.plan.judge.figureOf(u, v)
	if !ok {
		return
	}
	if w.cyclic != nil {
		w.plan.expand(w.found, w.plan.join(u, v), w.length, figure)
		return
	}
	for _, c := range w.plan.candidates(w.plan.join(u, v), w.length, figure) {
		w.found.add(c)
	}
}

func (w *walk) tell() {
	if w.progress != nil {
		w.progress(w.leaves - w.told)
	}
	w.told = w.leaves
}
