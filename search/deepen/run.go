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
	room  *room
}

// room is where the words that follow from one are written, one after another: most are
// proposed in vain, and would leave more garbage than the search has memory of its own.
type room struct {
	joined, merged, rotated, opened []int
}

func (p *Plan) newBest() best {
	return best{max(1, p.Question.Each), map[uint64][]Candidate{}, &room{}}
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

// siftedKeys is how many keys are sifted together.
const siftedKeys = 1024

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
		ctx: ctx, plan: p, judge: p.judge, near: near, finder: table.NewFinder(near), tracker: near.Tracker, progress: progress,
		length: u.Length, other: other,
		keys:    make([]uint64, 0, siftedKeys+len(p.Alphabet.Letters)),
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
	for start := range p.starts {
		w.start = start
		w.judge.startRows(w.state[0], near.Tracker, start)
		for _, prefix := range prefixes[u.First:u.Last] {
			w.begin(prefix, cost)
			if w.stopped {
				return Report{}, ctx.Err()
			}
		}
		w.sift()
		w.flush()
	}
	w.tell()
	out := Report{Leaves: w.leaves, Hits: w.hits}
	out.Found = w.found.sorted()
	return out, nil
}

// walk is a depth-first walk over the words u of one unit.
type walk struct {
	ctx      context.Context
	plan     *Plan
	judge    *judge
	near     *table.Near
	finder   *table.Finder
	tracker  *table.Tracker
	progress func(uint64)
	length   int // of the whole sequence
	other    int // cost of v
	start    int // of the plan's starts

	state   [][]uint16 // tracked pieces by depth
	letters []int      // of u so far

	// Keys that wait for the filter, the runs that they are of, and the letters
	// of these words but the last.
	keys   []uint64
	runs   []run
	stems  []int
	passed []int // of the keys, reused

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
	n := len(w.letters) - 1
	w.keep(w.tracker.Key(w.state[n+1]), w.letters[:n], w.letters[n])
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

// lookUp covers the words that end with one of a range of letters: it adds their
// keys to those that will be sifted together.
func (w *walk) lookUp(state []uint16, r word.Range) {
	n := r.To - r.From
	if len(w.keys)+n > cap(w.keys) {
		w.sift()
	}
	from := len(w.keys)
	w.keys = w.keys[:from+n]
	w.tracker.Children(w.keys[from:], state, r.From)
	w.leaves += uint64(n)
	w.stems = append(w.stems, w.letters...)
	w.runs = append(w.runs, run{end: len(w.keys), first: r.From, stem: len(w.stems)})
}

// run is a row of keys of words that differ in their last letter only.
type run struct {
	end   int // of its keys in walk.keys; they begin where the run before ends
	first int // position in ByCost of the first one's last letter
	stem  int // end of the letters before in walk.stems
}

// sift has the filter look at all keys at once, and keeps the words that pass.
func (w *walk) sift() {
	w.passed = w.near.Sift(w.passed[:0], w.keys)
	at, from, stem := 0, 0, 0 // the run of the key, where it begins, and where its stem begins
	for _, i := range w.passed {
		for i >= w.runs[at].end {
			from, stem = w.runs[at].end, w.runs[at].stem
			at++
		}
		r := w.runs[at]
		w.keep(w.keys[i], w.stems[stem:r.stem], w.plan.Alphabet.ByCost[r.first+i-from])
	}
	w.keys, w.runs, w.stems = w.keys[:0], w.runs[:0], w.stems[:0]
}

// keep puts the word u of a stem and a last letter aside, to be looked up with others.
func (w *walk) keep(key uint64, stem []int, last int) {
	if len(w.pending) == cap(w.pending) {
		w.flush()
	}
	w.pending = append(w.pending, key)
	w.kept = append(append(w.kept, stem...), last)
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
	figure, ok := w.judge.figureOf(u, v, w.start)
	if !ok {
		return
	}
	joined := w.plan.join(w.found.room.joined, u, v)
	w.found.room.joined = joined
	if w.cyclic != nil {
		w.plan.expand(w.found, joined, w.length, figure)
		return
	}
	for _, c := range w.plan.candidates(joined, w.length, figure, w.start) {
		w.found.add(c)
	}
}

func (w *walk) tell() {
	if w.progress != nil {
		w.progress(w.leaves - w.told)
	}
	w.told = w.leaves
}
