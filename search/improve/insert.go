package improve

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"math/bits"
	"slices"

	"turnwright/search/goal"
	"turnwright/search/notation"
	"turnwright/search/puzzle"
)

// Problem is a solution that leaves a few pieces wrong.
type Problem struct {
	Scramble []puzzle.Turn
	Solution []puzzle.Turn // the skeleton
	// Insertions is the most 3-cycles that may be put in, 1 to MaxInsertions; as few are
	// as will do.
	Insertions int
	// Beam is how many solutions with some of the cycles put in are gone on with, the
	// shortest ones; 0 is DefaultBeam. With one insertion it means nothing.
	Beam int
	// Limit is how many results are wanted; 0 is DefaultLimit.
	Limit int
}

// Bounds and what stands in where a problem says nothing.
const (
	MaxTurns      = 200  // of the solution
	MaxScramble   = 1000 // turns of the scramble, which is only carried out
	MaxWrong      = 9    // pieces that a solution may leave wrong
	MaxInsertions = 3
	DefaultBeam   = 3000
	MaxBeam       = 100_000
	DefaultLimit  = 10
	MaxLimit      = 1000
)

// Insertion says where a sequence goes. Before, Sequence and After, one after
// another, do what the solution with it put in does; nothing has merged yet.
type Insertion struct {
	Before   string `json:"before"`
	Sequence string `json:"sequence"`
	After    string `json:"after"`
	Length   int    `json:"length"` // of the sequence
	Net      int    `json:"net"`    // by how much it makes the solution longer
}

// Result is a solution with sequences put in.
type Result struct {
	Solution   string      `json:"solution"`
	Length     int         `json:"length"`
	Lines      int         `json:"lines"`      // different lines that it turns about
	Insertions []Insertion `json:"insertions"` // each into what the ones before it made

	Turns []puzzle.Turn `json:"-"`
}

// Results are the best solutions, best first.
type Results struct {
	Skeleton string   `json:"skeleton"` // as it was taken: rewritten without rotations of the whole
	Length   int      `json:"length"`   // of it
	Results  []Result `json:"results"`
	// Exact tells that nothing better can be made of the library's sequences with so many
	// insertions, each of which moves at least two pieces that are wrong when its turn
	// comes: nothing fell off the beam.
	Exact bool `json:"exact"`
}

// Errors of Insert.
var (
	ErrSolved = errors.New("the solution leaves nothing wrong")
	ErrNoWay  = errors.New("the solution can't be mended so")
)

// Insert finds the best places for sequences of the library in a solution that
// leaves a few pieces wrong. Places are before and after each turn, and within a
// syllable, between turns of one line or with one of them split, where that costs at most 1 more. Each
// result was carried out turn by turn after the scramble. Results rank by length, then fewer
// different lines, then by the length of their text, then by the text. It returns ctx's error if that ends first.
func (lib *Library) Insert(ctx context.Context, pr Problem) (Results, error) {
	if err := pr.fill(); err != nil {
		return Results{}, err
	}
	r := &run{ctx: ctx, lib: lib, bench: newBench(lib.letters), pr: pr}
	if err := r.begin(); err != nil {
		return Results{}, err
	}
	beam := r.starts
	for n := r.need; n > 0; n-- {
		next := newBeam(pr.Beam)
		if n == 1 {
			next = newBeam(pr.Limit)
			next.keepTies = true
		}
		for _, s := range beam {
			if err := r.extend(s, next); err != nil {
				return Results{}, err
			}
		}
		beam = next.sorted()
		r.dropped = r.dropped || n > 1 && next.dropped
	}
	if len(beam) == 0 {
		return Results{}, fmt.Errorf("%w: the library has no sequence for a cycle that it takes", ErrNoWay)
	}
	return r.results(beam)
}

// fill checks a problem and puts in what it leaves out.
func (pr *Problem) fill() error {
	pr.Beam = cmp.Or(pr.Beam, DefaultBeam)
	pr.Limit = cmp.Or(pr.Limit, DefaultLimit)
	switch {
	case len(pr.Scramble) > MaxScramble:
		return fmt.Errorf("a scramble of more than %d turns is not taken", MaxScramble)
	case len(pr.Solution) > MaxTurns:
		return fmt.Errorf("a solution of more than %d turns is not taken", MaxTurns)
	case pr.Insertions < 1 || pr.Insertions > MaxInsertions:
		return fmt.Errorf("%d insertions: use 1 to %d", pr.Insertions, MaxInsertions)
	case pr.Beam < 1 || pr.Beam > MaxBeam:
		return fmt.Errorf("a beam of %d: use 1 to %d", pr.Beam, MaxBeam)
	case pr.Limit < 1 || pr.Limit > MaxLimit:
		return fmt.Errorf("%d results: use 1 to %d", pr.Limit, MaxLimit)
	}
	return nil
}

// solution is one on the way.
type solution struct {
	word     []letter
	cost     int
	rotation int // scramble and word do the leftover, then rotate the whole by this
	state    *state
	from     *solution // what the last sequence was put into
	place    place
	entry    entry
}

// place is where a sequence goes: before letter at or, if it is split, within it.
type place struct {
	at          int
	left, right letter // the parts of a split letter
	split       bool
}

type run struct {
	ctx     context.Context
	lib     *Library
	bench   *bench
	pr      Problem
	held    int // rotation of the whole that the scramble leaves
	need    int // cycles
	starts  []*solution
	dropped bool
}

// begin reads the problem in the frame and finds out what is wrong.
func (r *run) begin() error {
	p := r.bench.p
	scramble, held := p.ToFrame(r.pr.Scramble)
	r.held = held
	word, _ := p.ToFrame(r.images(r.pr.Solution, p.Symmetries[held].Inverse))
	perm := p.Identity()
	for _, s := range slices.Concat(scramble, word) {
		perm = perm.Then(p.SyllablePerm(s))
	}
	var start []*solution
	letters := r.bench.spell(word)
	for rotation, s := range p.Symmetries[:p.Rotations] {
		left, ok := leftoverOf(p, perm.Then(s.Stickers.Inverse()), MaxWrong)
		if !ok {
			continue
		}
		if left.moved() == 0 {
			return ErrSolved
		}
		start = append(start, &solution{word: letters, cost: r.bench.costOf(letters), rotation: rotation, state: &state{left: left}})
	}
	if len(start) == 0 {
		return fmt.Errorf("%w: it leaves more than %d pieces wrong", ErrNoWay, MaxWrong)
	}
	m := &mender{ctx: r.ctx, p: p, types: r.lib.types, known: map[string]*state{}}
	for r.need = 1; r.need <= r.pr.Insertions; r.need++ {
		for _, s := range start {
			least, ok := fewest(p, s.state.left)
			if !ok || least > r.need {
				continue
			}
			ways := m.waysOf(s.state.left, r.need)
			if err := r.ctx.Err(); err != nil {
				return err
			}
			if ways != nil {
				r.starts = append(r.starts, &solution{word: s.word, cost: s.cost, rotation: s.rotation, state: ways})
			}
		}
		if len(r.starts) > 0 {
			r.dropped = len(m.known) == maxStates
			return nil
		}
	}
	least := slices.MinFunc(start, func(a, b *solution) int { return a.state.left.moved() - b.state.left.moved() })
	return fmt.Errorf("%w: %s wrong, which up to %d 3-cycles of the types that sequences are known for can't mend",
		ErrNoWay, least.state.left.describe(p), r.pr.Insertions)
}

// images is turns as a symmetry carries them.
func (r *run) images(turns []puzzle.Turn, symmetry int) []puzzle.Turn {
	out := make([]puzzle.Turn, len(turns))
	for i, t := range turns {
		out[i] = r.bench.p.Symmetries[symmetry].Image(t)
	}
	return out
}

// extend puts every sequence that goes on at every place of a solution.
func (r *run) extend(s *solution, next *beam) error {
	places := r.places(s.word)
	for _, way := range s.state.mends {
		if err := r.ctx.Err(); err != nil {
			return err
		}
		k := r.lib.types[way.typ]
		typ := &r.bench.p.Types[way.typ]
		// From the end backwards: where the stickers of the cycle's slots are before the
		// turns that follow.
		var at [3]uint16
		for j, slot := range way.cycle {
			at[j] = r.bench.p.Symmetries[s.rotation].Stickers[typ.Slots[slot][0]]
		}
		i := len(s.word)
		for _, pl := range places { // from the last to the first
			for i > pl.at {
				if pl.split && i == pl.at+1 {
					break
				}
				i--
				at = carried(at, r.bench.perm(r.bench.inverse(s.word[i])))
			}
			here := at
			if pl.split {
				here = carried(at, r.bench.perm(r.bench.inverse(pl.right)))
			}
			cycle := goal.Cycle{k.slotAt[here[0]], k.slotAt[here[1]], k.slotAt[here[2]]}
			for _, e := range k.byCycle[k.catalog.Key(cycle)] {
				cost := r.net(s, pl, e)
				if next.takes(cost) {
					r.put(s, pl, e, way.rest, cost, next)
				}
			}
		}
	}
	return nil
}

func carried(at [3]uint16, perm puzzle.Perm) [3]uint16 {
	return [3]uint16{perm[at[0]], perm[at[1]], perm[at[2]]}
}

// maxSplit bounds the syllables of a line that a letter is split into in every way; on
// other lines it is only split into turns of its cheapest way.
const maxSplit = 512

// places lists where a sequence may go, from the end to the beginning; within a
// letter before the place before it.
func (r *run) places(word []letter) []place {
	out := []place{{at: len(word)}}
	for i := len(word) - 1; i >= 0; i-- {
		x := word[i]
		split := func(a letter) {
			b := r.bench.plus(r.bench.inverse(a), x)
			if !a.idle() && !b.idle() && r.bench.cost(a)+r.bench.cost(b) <= r.bench.cost(x)+1 {
				out = append(out, place{i, a, b, true})
			}
		}
		if row := r.bench.lines[x.line()]; row.count <= maxSplit {
			for code := 1; code < row.count; code++ {
				split(letterOf(x.line(), code))
			}
		} else {
			turns, _ := r.bench.p.FromFrame(r.bench.m, []puzzle.Syllable{r.bench.syllable(x)})
			for _, t := range turns {
				part, _ := r.bench.p.ToFrame([]puzzle.Turn{t})
				if a := r.bench.spell(part); len(a) == 1 && a[0].line() == x.line() {
					split(a[0])
					split(r.bench.plus(r.bench.inverse(a[0]), x))
				}
			}
		}
		out = append(out, place{at: i})
	}
	return out
}

// put makes the solution.
func (r *run) put(s *solution, pl place, e entry, rest *state, cost int, next *beam) {
	left, right := pl.parts(s.word)
	word := slices.Clone(left)
	for _, x := range e.word {
		word = r.bench.push(word, x)
	}
	renamed, after := r.bench.rename(e.rotation, right)
	for _, x := range renamed {
		word = r.bench.push(word, x)
	}
	rotation := r.bench.p.Compose(s.rotation, after)
	next.add(&solution{word: word, cost: cost, rotation: rotation, state: rest, from: s, place: pl, entry: e})
}

// parts are what comes before and after a place.
func (pl place) parts(word []letter) (left, right []letter) {
	if !pl.split {
		return word[:pl.at], word[pl.at:]
	}
	return append(slices.Clone(word[:pl.at]), pl.left), append([]letter{pl.right}, word[pl.at+1:]...)
}

// results writes the solutions out, carries each out, and ranks them.
func (r *run) results(found []*solution) (Results, error) {
	p, m := r.bench.p, r.bench.m
	out := Results{Exact: !r.dropped, Length: r.starts[0].cost}
	out.Skeleton = r.print(r.starts[0].word)[0]
	scrambled := p.Apply(r.pr.Scramble)
	for _, s := range found {
		text := r.print(s.word)[0]
		turns, err := notation.ParseTurns(p, text)
		if err != nil {
			return Results{}, fmt.Errorf("improve: %q: %w", text, err)
		}
		end := scrambled.Then(p.Apply(turns))
		solved := slices.ContainsFunc(p.Symmetries[:p.Rotations], func(s puzzle.Symmetry) bool { return slices.Equal(s.Stickers, end) })
		if n := notation.Length(p, m, turns); !solved || n != s.cost {
			return Results{}, fmt.Errorf("improve: %q is %d long, not %d, or does not solve", text, n, s.cost)
		}
		res := Result{Solution: text, Length: s.cost, Lines: lines(s.word), Turns: turns}
		for ; s.from != nil; s = s.from {
			left, right := s.place.parts(s.from.word)
			right, _ = r.bench.rename(s.entry.rotation, right)
			texts := r.print(left, s.entry.word, right)
			res.Insertions = append(res.Insertions, Insertion{texts[0], texts[1], texts[2], s.entry.cost, s.cost - s.from.cost})
		}
		slices.Reverse(res.Insertions)
		out.Results = append(out.Results, res)
	}
	slices.SortFunc(out.Results, func(a, b Result) int {
		return cmp.Or(a.Length-b.Length, a.Lines-b.Lines, len(a.Solution)-len(b.Solution), cmp.Compare(a.Solution, b.Solution))
	})
	out.Results = slices.CompactFunc(out.Results, func(a, b Result) bool { return a.Solution == b.Solution })
	out.Results = out.Results[:min(len(out.Results), r.pr.Limit)]
	return out, nil
}

// lines counts the different lines that a word turns about.
func lines(word []letter) int {
	seen := uint64(0)
	for _, x := range word {
		seen |= 1 << x.line()
	}
	return bits.OnesCount64(seen)
}

// print writes words one after another, as they are done after the scramble.
func (r *run) print(words ...[]letter) []string {
	p := r.bench.p
	rotation := r.held
	var out []string
	for _, word := range words {
		var syllables []puzzle.Syllable
		for _, x := range word {
			syllables = append(syllables, r.bench.syllable(x))
		}
		turns, spun := p.FromFrame(r.bench.m, syllables)
		for i, t := range turns {
			turns[i] = p.Tidy(p.Symmetries[rotation].Image(t))
		}
		out = append(out, notation.Print(p, turns))
		rotation = p.Compose(spun, rotation)
	}
	return out
}
