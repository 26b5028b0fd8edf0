package solve

import (
	"context"
	"fmt"
	"slices"

	"turnwright/search/pattern"
	"turnwright/search/word"
)

// Report is what a unit brings back.
type Report struct {
	Nodes     uint64     // words looked at, those that go on and those that don't
	Solutions []Solution // in the order of the words, no more than the question's limit
	Ended     bool       // early, having found as many as that: the unit is not covered
}

// pollNodes is after how many nodes a walk looks whether to stop: some milliseconds.
const pollNodes = 1 << 14

// Run covers one unit with the plan's tables. It ends early once it has as many
// solutions as the question wants. progress, if not nil, is told now and then how
// many nodes there were since it was last told. If ctx ends first, Run returns
// within milliseconds with its error and no report.
func (p *Plan) Run(ctx context.Context, u Unit, tables []*pattern.Table, progress func(nodes uint64)) (Report, error) {
	prefixes := p.prefixesOf(u.Length)
	if u.First < 0 || u.First > u.Last || u.Last > len(prefixes) {
		return Report{}, fmt.Errorf("unit %d of length %d is not of this plan", u.Index, u.Length)
	}
	if err := p.checkTables(tables); err != nil {
		return Report{}, err
	}
	if err := ctx.Err(); err != nil {
		return Report{}, err
	}
	w := newWalk(ctx, p, u.Length, tables, progress)
	for _, prefix := range prefixes[u.First:u.Last] {
		for _, s := range p.starts {
			if !w.stopped {
				w.begin(s, prefix)
			}
		}
	}
	w.tell()
	if w.err != nil {
		return Report{}, w.err
	}
	return Report{w.nodes, w.found, w.stopped}, nil
}

func (p *Plan) checkTables(tables []*pattern.Table) error {
	if len(tables) != len(p.tables) {
		return fmt.Errorf("%d tables: the plan needs %d", len(tables), len(p.tables))
	}
	for i, t := range tables {
		if len(t.Spec.Wants) != len(p.tables[i].Wants) || t.Spec.Entries() != p.tables[i].Entries() {
			return fmt.Errorf("table %d is not that of the plan", i)
		}
	}
	return nil
}

// walk is a depth-first walk over the words of one unit.
type walk struct {
	ctx      context.Context
	plan     *Plan
	tables   []*pattern.Table
	progress func(uint64)
	length   int
	cost     []int // of letters

	start   start
	letters []int   // of the word so far
	levels  []level // by number of letters

	nodes, told, polled uint64
	found               []Solution
	stopped             bool
	err                 error
}

// level is what a word of some number of letters needs: all the memory is there
// before the walk begins.
type level struct {
	rows    [][]uint16 // by table
	letters []int      // that may come next
	index   []uint64   // where they lead to in a table
	far     []uint8    // and the distance there
}

func newWalk(ctx context.Context, p *Plan, length int, tables []*pattern.Table, progress func(uint64)) *walk {
	w := &walk{ctx: ctx, plan: p, tables: tables, progress: progress, length: length, letters: make([]int, 0, length)}
	for _, l := range p.Alphabet.Letters {
		w.cost = append(w.cost, l.Cost)
	}
	for range length + 1 {
		n := len(p.Alphabet.Letters)
		l := level{letters: make([]int, 0, n), index: make([]uint64, n), far: make([]uint8, n)}
		for _, t := range tables {
			l.rows = append(l.rows, make([]uint16, len(t.Layout.Wants)))
		}
		w.levels = append(w.levels, l)
	}
	return w
}

// begin walks the words from a start that begin with a prefix.
func (w *walk) begin(s start, prefix word.Prefix) {
	w.start = s
	for t, table := range w.tables {
		table.Layout.Rows(w.levels[0].rows[t], func(piece int) int { return s[piece] })
	}
	w.letters = append(w.letters[:0], prefix.Letters...)
	left := w.length
	for i := 0; ; i++ {
		for t, table := range w.tables {
			if table.Distance(w.levels[i].rows[t]) > left {
				return
			}
		}
		if i == len(prefix.Letters) {
			break
		}
		letter := prefix.Letters[i]
		w.move(i, letter)
		w.nodes++
		left -= w.cost[letter]
	}
	if left == 0 {
		w.solved()
		return
	}
	w.walk(prefix.State, left)
}

// walk goes on from the word so far, with so much left of the length.
func (w *walk) walk(s word.State, left int) {
	a := w.plan.Alphabet
	depth := len(w.letters)
	l := &w.levels[depth]
	letters := l.letters[:0]
	for cost := 1; cost <= left; cost++ {
		for _, r := range a.Ranges(s, cost) {
			letters = append(letters, a.ByCost[r.From:r.To]...)
		}
	}
	w.nodes += uint64(len(letters))
	if w.poll(); w.stopped {
		return
	}
	for t, table := range w.tables {
		letters = w.sift(table, l.rows[t], l, letters, left)
	}
	for _, letter := range letters {
		w.letters = append(w.letters, letter)
		if rest := left - w.cost[letter]; rest == 0 {
			w.solved()
		} else {
			w.move(depth, letter)
			w.walk(a.Next(s, letter), rest)
		}
		w.letters = w.letters[:depth]
		if w.stopped {
			return
		}
	}
}

// sift keeps the letters after which a table does not say that too little is
// left. All places in memory are worked out before the first one is read, and all
// are read before the first one is looked at, so that the waits overlap.
func (w *walk) sift(t *pattern.Table, rows []uint16, l *level, letters []int, left int) []int {
	index, far := l.index[:len(letters)], l.far[:len(letters)]
	t.Layout.After(index, rows, letters)
	for i, x := range index {
		far[i] = uint8(t.At(x))
	}
	kept := letters[:0]
	for i, letter := range letters {
		if int(far[i])+w.cost[letter] <= left {
			kept = append(kept, letter)
		}
	}
	return kept
}

// move writes where the pieces are after one more letter.
func (w *walk) move(depth, letter int) {
	for t, table := range w.tables {
		table.Layout.Move(w.levels[depth+1].rows[t], w.levels[depth].rows[t], letter)
	}
}

// solved takes in the word so far if it is a solution.
func (w *walk) solved() {
	if !w.plan.meets(w.start, w.letters) {
		return // it may be that not all pieces are in a table
	}
	s, err := w.plan.solution(w.letters)
	if err == nil && s.Length != w.length {
		err = fmt.Errorf("%s has length %d, not %d", s.Text, s.Length, w.length)
	}
	if err != nil {
		w.stopped, w.err = true, fmt.Errorf("a solution failed its check: %w", err)
		return
	}
	if slices.ContainsFunc(w.found, func(other Solution) bool { return other.Text == s.Text }) {
		return // two starts, pieces being alike
	}
	w.found = append(w.found, s)
	w.stopped = len(w.found) == w.plan.Question.Limit
}

// poll looks, now and then, whether to stop.
func (w *walk) poll() {
	if w.nodes-w.polled < pollNodes {
		return
	}
	w.polled = w.nodes
	w.tell()
	if w.err = w.ctx.Err(); w.err != nil {
		w.stopped = true
	}
}

func (w *walk) tell() {
	if w.progress != nil && w.nodes > w.told {
		w.progress(w.nodes - w.told)
	}
	w.told = w.nodes
}
