package study

import (
	"context"
	"fmt"
	"runtime"
	"slices"

	"turnwright/search/puzzle"
	"turnwright/search/table"
	"turnwright/search/word"
)

// Options say how much a workshop may take.
type Options struct {
	Memory  int64 // bytes of the near table; DefaultMemory if 0
	Workers int   // goroutines that build it; all cores if 0
}

// Bounds and what stands in where options say nothing.
const (
	DefaultMemory = 160 << 20
	MaxTurns      = 1000 // of the scramble, and of the solution
)

const (
	tracked  = 15 // pieces that a key tells apart
	maxDepth = 8
)

// Workshop has what solutions of one puzzle and metric are shortened with. It never
// changes once made, and any number of goroutines may use it.
type Workshop struct {
	*letters
	near   *table.Near
	images []word.Image
}

// Spec is the near table that a workshop needs: the deepest that fits the memory.
func Spec(p *puzzle.Puzzle, m puzzle.Metric, memory int64) (table.Spec, error) {
	a, err := word.New(p, m)
	if err != nil {
		return table.Spec{}, err
	}
	if memory == 0 {
		memory = DefaultMemory
	}
	spec := table.Spec{Alphabet: a, Tracked: trackedOf(p)}
	for depth := 1; depth <= maxDepth; depth++ {
		deeper := spec
		deeper.Depth = depth
		if deeper.Words() >= table.MaxWords || deeper.Bytes() > uint64(memory) {
			break
		}
		spec = deeper
	}
	if spec.Depth == 0 {
		return spec, fmt.Errorf("a table of all turns of %s does not fit %d bytes: allow more memory", p.Name, memory)
	}
	return spec, nil
}

// trackedOf picks pieces from all types in turn, those of a type well apart.
func trackedOf(p *puzzle.Puzzle) []int {
	var out []int
	taken := make([]int, len(p.Types))
	share := make([]int, len(p.Types))
	for left := tracked; left > 0; {
		before := left
		for i, t := range p.Types {
			if left > 0 && share[i] < len(t.Pieces) {
				share[i]++
				left--
			}
		}
		if left == before {
			break
		}
	}
	for i, t := range p.Types {
		for ; taken[i] < share[i]; taken[i]++ {
			out = append(out, t.Pieces[taken[i]*len(t.Pieces)/share[i]])
		}
	}
	return out
}

// NewWorkshop builds the table.
func NewWorkshop(ctx context.Context, p *puzzle.Puzzle, m puzzle.Metric, o Options) (*Workshop, error) {
	spec, err := Spec(p, m, o.Memory)
	if err != nil {
		return nil, err
	}
	workers := o.Workers
	if workers == 0 {
		workers = runtime.NumCPU()
	}
	near, err := table.Build(ctx, spec, workers, nil)
	if err != nil {
		return nil, err
	}
	return With(near)
}

// With makes a workshop of a table that is there, made to the Spec.
func With(near *table.Near) (*Workshop, error) {
	a := near.Spec.Alphabet
	ls, err := newLetters(a.Puzzle, a.Metric)
	if err != nil {
		return nil, err
	}
	all := make([]int, len(a.Puzzle.Symmetries))
	for i := range all {
		all[i] = i
	}
	return &Workshop{letters: ls, near: near, images: a.Images(all)}, nil
}

// Depth is the greatest length of the words in the table.
func (w *Workshop) Depth() int { return w.near.Spec.Depth }

// finder finds the words that have an effect, for one goroutine.
type finder struct {
	*Workshop
	find   *table.Finder
	leaves uint64      // words looked up so far, and what else takes as long
	tried  int         // words that were held against all stickers
	stop   func() bool // ends a walk; nil for none
	state  [][]uint16
	keys   []uint64
	passed []int
	some   []uint64
	path   []int
	word   []int
	got    puzzle.Perm
}

func (w *Workshop) finder() *finder {
	f := &finder{Workshop: w, find: table.NewFinder(w.near), got: w.p.Identity()}
	f.keys = make([]uint64, len(w.a.Letters))
	return f
}

// words calls hit with words of the cost that do what perm says to all stickers, where no
// shorter one does: each that has a beginning and an end that are shortest themselves, some more
// than once. The word is only lent. It ends early where hit returns false or it has to stop, and
// returns false then.
func (f *finder) words(perm puzzle.Perm, rows []uint16, cost int, hit func(w []int) bool) bool {
	return f.walk(perm, rows, f.a.Start(), max(0, cost-f.Depth()), min(cost, f.Depth()), 0, hit)
}

// rowsAt keeps room for the rows at a depth.
func (f *finder) rowsAt(depth int) []uint16 {
	for len(f.state) <= depth {
		f.state = append(f.state, make([]uint16, len(f.near.Tracker.Start)))
	}
	return f.state[depth]
}

// walk goes through all canonical words y of the cost after an effect, and looks up words u
// with the same effect as it has with y: then u y' is a word for the effect.
func (f *finder) walk(perm puzzle.Perm, rows []uint16, s word.State, cost, near, depth int, hit func([]int) bool) bool {
	if cost == 0 {
		f.leaves++
		key := f.near.Tracker.Key(rows)
		if !f.near.Maybe(key) {
			return true
		}
		f.some = append(f.some[:0], key)
		return f.look(perm, near, -1, nil, hit)
	}
	if f.stop != nil && f.stop() {
		return false
	}
	next := f.rowsAt(depth)
	for c := 1; c < cost; c++ {
		for _, r := range f.a.Ranges(s, c) {
			for _, letter := range f.a.ByCost[r.From:r.To] {
				f.near.Tracker.Move(next, rows, letter)
				f.path = append(f.path, letter)
				ok := f.walk(perm, next, f.a.Next(s, letter), cost-c, near, depth+1, hit)
				f.path = f.path[:len(f.path)-1]
				if !ok {
					return false
				}
			}
		}
	}
	for _, r := range f.a.Ranges(s, cost) {
		keys := f.keys[:r.To-r.From]
		f.leaves += uint64(len(keys))
		f.near.Tracker.Children(keys, rows, r.From)
		f.passed = f.near.Sift(f.passed[:0], keys)
		if len(f.passed) == 0 {
			continue
		}
		f.some = f.some[:0]
		for _, i := range f.passed {
			f.some = append(f.some, keys[i])
		}
		if !f.look(perm, near, r.From, f.passed, hit) {
			return false
		}
	}
	return true
}

// perCandidate is what it takes to write a word of the table down and to hold it against all
// stickers, in leaves, as measured. On puzzles of many more pieces than a key tells apart most
// of the time goes into it.
const perCandidate = 12

// look finds the words of the keys in some, and holds each against all stickers.
func (f *finder) look(perm puzzle.Perm, near, from int, passed []int, hit func([]int) bool) bool {
	ok := true
	f.find.Find(f.some, near, func(i int, _ uint64, u []int) {
		f.leaves += perCandidate
		f.tried++
		if !ok {
			return
		}
		f.word = append(f.word[:0], u...)
		if passed != nil {
			f.word = append(f.word, f.a.Letters[f.a.ByCost[from+passed[i]]].Inverse)
		}
		f.word = f.inverted(f.word, f.path)
		if f.does(perm) {
			ok = hit(f.word)
		}
	})
	return ok
}

// does tells whether the word does to the stickers what perm says.
func (f *finder) does(perm puzzle.Perm) bool {
	for x := range perm {
		at := uint16(x)
		for _, l := range f.word {
			at = f.perms[l][at]
		}
		if at != perm[x] {
			return false
		}
	}
	return true
}

// rows are those of an effect, in the order of the table's tracker.
func (f *finder) rows(dst []uint16, w []int) []uint16 {
	dst = append(dst[:0], f.near.Tracker.Start...)
	for _, x := range w {
		f.near.Tracker.Move(dst, dst, x)
	}
	return dst
}

// Shortest finds the shortest sequence with the same effect, of length at most most, by the
// walk over all words. It is empty, and false, where there is none.
func (f *finder) shortest(w []int, most int) ([]int, bool) {
	perm, rows := f.perm(w), f.rows(nil, w)
	var out []int
	for cost := 0; cost <= most; cost++ {
		if !f.words(perm, rows, cost, func(w []int) bool { out = slices.Clone(w); return false }) {
			return out, true
		}
	}
	return nil, false
}
