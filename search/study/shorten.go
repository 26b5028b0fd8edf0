package study

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"

	"turnwright/search/notation"
	"turnwright/search/puzzle"
)

// Budget bounds what Shorten does. It ends at the first of them, or with its context.
type Budget struct {
	Leaves uint64 // words looked up; 0 is no bound
	Quiet  int    // rounds of the walk without an improvement; 0 is no bound
}

// Improvement is a whole solution that is shorter than the ones before it.
type Improvement struct {
	Text   string        `json:"text"`
	Turns  []puzzle.Turn `json:"-"`
	Length int           `json:"length"`
	Saved  int           `json:"saved"` // against the solution as it was given
	By     string        `json:"by"`    // what made it
}

// What made an improvement.
const (
	ByMerging   = "merging"   // turns that merge, after those that commute have changed places
	ByStretches = "stretches" // other sequences with the effects of stretches
	ByMoving    = "moving"    // a stretch that moves few pieces, done at another moment
)

// effort is how much longer than the near table's words those are that a stretch is looked up by.
const (
	firstEffort = 2
	mostEffort  = 4
)

const (
	maxWays    = 12     // sequences kept for a stretch
	maxWindow  = 24     // greatest length of a stretch whose effect is looked up, above what can be found
	maxTried   = 10_000 // words that are held against all stickers for a stretch
	walkRounds = 64     // changes of the walk between two looks at all stretches
)

// shortener shortens one solution; it is for one goroutine.
type shortener struct {
	*finder
	ctx    context.Context
	rng    *rand.Rand
	budget Budget
	known  map[string]*ways
	moves  *mover

	best     []int
	bestCost int
	tell     func(w []int, cost int, by string) error
	err      error
}

// ways are the shortest sequences known to do what a stretch does.
type ways struct {
	cost    int     // their length; that of the stretch while nothing shorter is known
	words   [][]int // others than the stretch if they are as long
	covered int     // no sequence of this length or less does the same, but for words
	every   bool    // words has all of them that the search finds, or as many as are kept, or as it has time for
}

// Shorten looks for shorter solutions with the same end, and tells each as it comes; with the
// same seed and a budget of leaves it does the same each time. It returns the best one, the
// given one merged if there is none, and ends without an error where the context ends.
func (w *Workshop) Shorten(ctx context.Context, s *Study, budget Budget, seed uint64, tell func(Improvement)) (Improvement, error) {
	if s.Puzzle.Name != w.p.Name || s.Metric != w.m {
		return Improvement{}, fmt.Errorf("study: a workshop of %s, %v, can't shorten a solution of %s, %v", w.p.Name, w.m, s.Puzzle.Name, s.Metric)
	}
	word, err := w.spell(s.Turns, s.held)
	if err != nil {
		return Improvement{}, err
	}
	given := notation.Length(s.Puzzle, s.Metric, s.Turns)
	best := Improvement{Text: notation.Print(s.Puzzle, s.Turns), Turns: s.Turns, Length: given}
	sh := &shortener{
		finder: w.finder(), ctx: ctx, rng: rand.New(rand.NewPCG(seed, 0x7475726e)), budget: budget,
		known: map[string]*ways{}, bestCost: math.MaxInt,
	}
	sh.tell = func(word []int, cost int, by string) error {
		i := Improvement{Turns: w.turns(word, s.held), By: by}
		i.Text = notation.Print(s.Puzzle, i.Turns)
		if i.Turns, i.Length, err = s.Same(i.Text); err != nil {
			return fmt.Errorf("study: %w", err)
		}
		if i.Length > cost && s.Metric != puzzle.ETM {
			return fmt.Errorf("study: %q is %d long, not %d", i.Text, i.Length, cost)
		}
		if i.Length >= best.Length {
			return nil
		}
		i.Saved = given - i.Length
		best = i
		if tell != nil {
			tell(i)
		}
		return nil
	}
	sh.moves = newMover(w)
	sh.run(w.reduce(nil, word))
	return best, sh.err
}

// over tells whether the budget is spent.
func (s *shortener) over() bool {
	return s.err != nil || s.ctx.Err() != nil || s.budget.Leaves > 0 && s.leaves >= s.budget.Leaves
}

// offer takes a solution in, if it is the best so far.
func (s *shortener) offer(w []int, by string) bool {
	cost := s.cost(w)
	if cost >= s.bestCost {
		return false
	}
	s.best, s.bestCost = slices.Clone(w), cost
	if err := s.tell(w, cost, by); err != nil && s.err == nil {
		s.err = err
	}
	return true
}

// run does everything in turn: stretches that need little looking up, stretches elsewhere, and
// then, until the budget is spent, a walk over solutions that are no longer, with more and more looking up.
func (s *shortener) run(w []int) {
	s.offer(w, ByMerging)
	w = s.settle(w, firstEffort)
	effort, quiet := firstEffort, 0
	for !s.over() && s.bestCost > 0 {
		before := s.bestCost
		w = s.wander(w)
		w = s.settle(w, effort)
		if s.bestCost < before {
			quiet, effort = 0, firstEffort
			continue
		}
		quiet++
		if s.budget.Quiet > 0 && quiet >= s.budget.Quiet {
			return
		}
		if quiet%4 == 0 {
			w = s.settle(slices.Clone(s.best), min(firstEffort+quiet/4, mostEffort))
		}
	}
}

// settle replaces and moves stretches until nothing changes any more.
func (s *shortener) settle(w []int, effort int) []int {
	for !s.over() {
		before := s.cost(w)
		w = s.replace(w, effort)
		s.offer(w, ByStretches)
		w = s.moves.best(s, w)
		s.offer(w, ByMoving)
		if s.cost(w) >= before {
			break
		}
	}
	return w
}

// key names a word.
func key(w []int) string {
	b := make([]byte, 0, 2*len(w))
	for _, x := range w {
		b = append(b, byte(x), byte(x>>8))
	}
	return string(b)
}

// waysOf finds the shortest sequences with the effect of a stretch, as far as words that are by
// effort longer than those of the table tell. Sequences as long as the stretch are listed too.
func (s *shortener) waysOf(w []int, effort int) *ways {
	k := key(w)
	known := s.known[k]
	if known == nil {
		if len(s.known) > 1<<20 {
			clear(s.known)
		}
		known = &ways{cost: s.cost(w), covered: -1}
		s.known[k] = known
	}
	most := min(known.cost, s.Depth()+effort)
	if known.every || known.covered >= most {
		return known
	}
	perm, rows := s.perm(w), s.rows(nil, w)
	// On puzzles of many pieces a stretch that moves few of those that a key tells apart could take all the time.
	before := s.tried
	s.stop = func() bool { return s.over() || s.tried-before > maxTried }
	for c := known.covered + 1; c <= most; c++ {
		if s.over() {
			return known
		}
		var found [][]int
		s.words(perm, rows, c, func(x []int) bool {
			x = s.reduce(nil, x)
			if !slices.Equal(x, w) && !slices.ContainsFunc(found, func(y []int) bool { return slices.Equal(x, y) }) {
				found = append(found, x)
			}
			return len(found) < maxWays
		})
		if s.over() {
			return known
		}
		if len(found) > 0 || c == known.cost || s.stop() {
			known.words, known.every = found, true
			if len(found) > 0 {
				known.cost = s.cost(found[0])
			}
			break
		}
		known.covered = c
	}
	return known
}

// node is a way to have done the first letters of a solution: its cost, its last letter, and
// where it came from.
type node struct {
	cost int
	last int   // letter, or -1
	from int   // position
	prev int   // node there
	word []int // what leads from there to here
}

// maxNodes is how many nodes are kept for a place: those of the least cost with different last letters.
const maxNodes = 12

// replace finds the cheapest way over all places between letters, by the solution's own letters and
// by what stretches may be replaced with. Where two of these meet, the letters there may merge.
func (s *shortener) replace(w []int, effort int) []int {
	n := len(w)
	places := make([][]node, n+1)
	places[0] = []node{{last: -1, from: -1}}
	add := func(i, j int, x []int) {
		for at, from := range places[i] {
			c := from.cost + s.cost(x)
			last := from.last
			if len(x) > 0 {
				if y := from.last; y >= 0 && s.a.Letters[y].Family == s.a.Letters[x[0]].Family {
					c -= s.a.Letters[y].Cost + s.a.Letters[x[0]].Cost
					if z := s.product(y, x[0]); z >= 0 {
						c += s.a.Letters[z].Cost
					}
				}
				last = x[len(x)-1]
			}
			places[j] = keep(places[j], node{c, last, i, at, x})
		}
	}
	far := s.Depth() + effort + maxWindow
	for i := range n {
		add(i, i+1, w[i:i+1])
		cost := s.a.Letters[w[i]].Cost
		for j := i + 2; j <= n; j++ {
			if cost += s.a.Letters[w[j-1]].Cost; cost > far || s.over() {
				break
			}
			// A long stretch is worth looking at only with few words.
			e := effort
			if cost > s.Depth()+effort+2 {
				e = min(e, 1)
			}
			k := s.waysOf(w[i:j], e)
			for _, x := range k.words {
				add(i, j, x)
			}
		}
	}
	best := slices.IndexFunc(places[n], func(x node) bool { return x.cost == slices.MinFunc(places[n], byCost).cost })
	var parts [][]int
	for i, at := n, best; i > 0; {
		x := places[i][at]
		parts = append(parts, x.word)
		i, at = x.from, x.prev
	}
	slices.Reverse(parts)
	out := s.reduce(nil, parts...)
	if s.cost(out) > s.cost(w) {
		return w
	}
	return out
}

func byCost(a, b node) int { return cmp.Compare(a.cost, b.cost) }

// keep adds a node to those of a place. Their indices stay: one that is worse than another with the
// same last letter is overwritten, and so is the worst where there is no room.
func keep(nodes []node, x node) []node {
	worst := 0
	for i, y := range nodes {
		if y.last == x.last {
			if x.cost < y.cost {
				nodes[i] = x
			}
			return nodes
		}
		if y.cost > nodes[worst].cost {
			worst = i
		}
	}
	if len(nodes) < maxNodes {
		return append(nodes, x)
	}
	if x.cost < nodes[worst].cost {
		nodes[worst] = x
	}
	return nodes
}

// wander changes the solution at random, into others that are no longer, and follows up each place
// where that makes something merge.
func (s *shortener) wander(w []int) []int {
	w = slices.Clone(w)
	if s.cost(w) > s.bestCost+2 {
		w = slices.Clone(s.best)
	}
	for range walkRounds {
		if len(w) < 2 || s.over() {
			break
		}
		var next []int
		s.leaves += uint64(64 + len(w)) // so that a budget ends a walk in which all is known
		if s.rng.IntN(2) == 0 {
			next = s.moves.random(s, w)
		} else {
			i := s.rng.IntN(len(w) - 1)
			j := i + 2 + s.rng.IntN(min(8, len(w)-i-1))
			j = min(j, len(w))
			if k := s.waysOf(w[i:j], 1); len(k.words) > 0 {
				next = s.reduce(nil, w[:i], k.words[s.rng.IntN(len(k.words))], w[j:])
			}
		}
		if next != nil && s.cost(next) <= s.cost(w) {
			w = next
			s.offer(w, ByStretches)
		}
	}
	return w
}
