package study

import (
	"context"
	"errors"
	"fmt"
	"math/big"
	"slices"
	"time"

	"turnwright/search/notation"
	"turnwright/search/pattern"
	"turnwright/search/puzzle"
	"turnwright/search/solve"
	"turnwright/search/word"
)

// Bound says how short something could be.
type Bound struct {
	Length  int    `json:"length"`  // of the shortest sequence known, that of the solution included
	Turns   string `json:"turns"`   // that sequence; empty where it is the solution's own
	AtLeast int    `json:"atLeast"` // every shorter sequence was ruled out
}

// Proven tells whether nothing shorter than Length exists.
func (b Bound) Proven() bool { return b.AtLeast >= b.Length }

// Goal is what a sequence has to do in the place of a stage, or of a solution.
type Goal string

// The goals.
const (
	// Brings home the pieces that are home after the stage, however the whole is held, from
	// where the stage began. What else a stage prepares, such as how other pieces are turned,
	// does not count.
	Brings Goal = "brings"
	// Does what the stage does, to every piece. Those that look alike are told apart, and the
	// whole is not turned against its core.
	Same Goal = "same"
	// Solves the scramble: by colours, however the whole is held.
	Solves Goal = "solves"
)

// Weight says how few moves one stage, or the whole, can take.
type Weight struct {
	Goal     Goal `json:"goal"`
	Solution int  `json:"solution"` // index into the solutions; the shortest that solves, with the goal Solves
	Stage    int  `json:"stage"`    // index into its stages; 0 with the goal Solves
	Bound
}

// Scales say what solutions are weighed with.
type Scales struct {
	Shop   *Workshop // of their puzzle and metric; the goal Same is left out where nil
	Memory int64     // bytes of the tables for the whole; what package solve takes if 0
}

// Bounds of what Weigh does.
const (
	stageMemory = 8 << 20     // bytes of the tables for a stage, at most
	briefMemory = 1 << 20     // for one of a few moves, or one way to hold the whole
	leastMemory = 1 << 15     // at least
	buildWork   = 400_000_000 // positions times letters of these, at most: a core takes a second or two
	brief       = 6           // moves
	mostLeaves  = 1 << 24     // words looked up for a stretch and length, at most: a second or so
	hasty       = 90 * time.Second
)

// Weigh finds out how few moves each stage of solutions that solve could take, and the
// whole, and tells each once; the whole, which comes last, whenever more is known of it.
// The time until the context's deadline, if it has one, is shared out among what is left
// to do. It ends without an error where the context ends: what was told then stays true.
//
// Goals that can't be searched for, on puzzles with too many turns, are left out.
func Weigh(ctx context.Context, studies []*Study, with Scales, tell func(Weight)) error {
	if err := together(studies); err != nil {
		return err
	}
	if w := with.Shop; w != nil && (w.p.Name != studies[0].Puzzle.Name || w.m != studies[0].Metric) {
		return fmt.Errorf("study: a workshop of %s, %v, can't weigh solutions of %s, %v", w.p.Name, w.m, studies[0].Puzzle.Name, studies[0].Metric)
	}
	w := &weigher{p: studies[0].Puzzle, m: studies[0].Metric, with: with, tell: tell, known: map[string]Bound{}, tables: map[string]*pattern.Table{}}
	a, err := word.New(w.p, w.m)
	if err != nil {
		return nil // nothing can be searched for
	}
	w.letters = len(a.Letters)
	var tasks []func(context.Context) error
	whole := -1
	for i, s := range studies {
		if !s.Solves {
			continue
		}
		if whole < 0 || s.length() < studies[whole].length() {
			whole = i
		}
		h := s.homes()
		from := 0
		for k, c := range s.cuts(h) {
			st := stretch{study: s, homes: h, from: from, to: c.to}
			from = c.to
			have := &Bound{Length: st.length()} // what does the same brings the same home
			if with.Shop != nil {
				tasks = append(tasks, func(ctx context.Context) error { return w.same(ctx, i, k, st, have) })
			}
			if st.brings() && !st.all() {
				tasks = append(tasks, func(ctx context.Context) error { return w.bring(ctx, i, k, st, *have) })
			}
		}
	}
	if whole >= 0 {
		tasks = append(tasks, func(ctx context.Context) error { return w.whole(ctx, whole, studies[whole]) })
	}
	for i, task := range tasks {
		if ctx.Err() != nil {
			return nil
		}
		if err := share(ctx, len(tasks)-i, task); err != nil {
			return err
		}
	}
	return nil
}

// share runs a task for its part of the time that is left for so many.
func share(ctx context.Context, tasks int, task func(context.Context) error) error {
	if until, ok := ctx.Deadline(); ok {
		var cancel context.CancelFunc
		ctx, cancel = context.WithTimeout(ctx, time.Until(until)/time.Duration(tasks))
		defer cancel()
	}
	if err := task(ctx); err != nil && ctx.Err() == nil {
		return err
	}
	return nil
}

// weigher weighs the solutions of one scramble; it is for one goroutine.
type weigher struct {
	p      *puzzle.Puzzle
	m      puzzle.Metric
	with   Scales
	tell   func(Weight)
	known  map[string]Bound          // by what was asked: solutions that begin alike ask alike
	tables map[string]*pattern.Table // of all pieces, by key: last stages and the whole share them

	letters int // of the alphabet
}

// soon is so much memory, or as much of it as is built soon where there are so many letters to look at for
// each position.
func soon(memory int64, letters int) int64 {
	return max(min(memory, buildWork/2/int64(letters)), leastMemory)
}

// stretch is a stage of a solution.
type stretch struct {
	study    *Study
	homes    homes
	from, to int
}

func (s stretch) length() int {
	return notation.Length(s.study.Puzzle, s.study.Metric, s.study.Turns[s.from:s.to])
}

// last tells whether the puzzle is solved at its end.
func (s stretch) last() bool { return s.to == len(s.study.Turns) }

// all tells whether it is the whole solution, which has a goal of its own.
func (s stretch) all() bool { return s.from == 0 && s.last() }

// brings tells whether more is home at its end than at its beginning.
func (s stretch) brings() bool { return !s.homes.pieces[s.to].within(s.homes.pieces[s.from]) }

// before are the turns up to it, the scramble's included.
func (s stretch) before() []puzzle.Turn {
	return slices.Concat(s.study.Scramble, s.study.Turns[:s.from])
}

func (s *Study) length() int { return notation.Length(s.Puzzle, s.Metric, s.Turns) }

// wants are the pieces that are home at its end, where they are then; those of a solved puzzle by
// colours.
func (s stretch) wants() []pattern.Want {
	p := s.study.Puzzle
	if s.last() {
		return pattern.SolvedByColour(p)
	}
	perm, _ := framed(p, slices.Concat(s.study.Scramble, s.study.Turns[:s.to]))
	var out []pattern.Want
	for i, piece := range p.Pieces {
		if s.homes.pieces[s.to].has(i) {
			out = append(out, pattern.Want{Piece: i, Slots: []int{p.Types[piece.Type].SlotImage(piece.Home, perm)}})
		}
	}
	return out
}

// framed is what turns do to the stickers, the rotation of the whole undone, and that rotation.
func framed(p *puzzle.Puzzle, turns []puzzle.Turn) (puzzle.Perm, int) {
	_, rotation := p.ToFrame(turns)
	return p.Apply(turns).Then(p.Symmetries[p.Symmetries[rotation].Inverse].Stickers), rotation
}

// bring weighs a stage by what it brings home, as a sequence that is there does.
func (w *weigher) bring(ctx context.Context, solution, stage int, s stretch, have Bound) error {
	memory := int64(stageMemory)
	if s.length() <= brief {
		memory = briefMemory
	}
	memory = soon(memory, w.letters)
	q := solve.Question{
		Puzzle: w.p, Metric: w.m, Start: s.before(), Wants: s.wants(), AnyWay: true, Max: solve.MaxLength, Memory: memory, Limit: 1,
	}
	b, err := w.fewest(ctx, q, have, s.last(), nil)
	if err == nil || b.AtLeast > 0 {
		w.tell(Weight{Brings, solution, stage, b})
	}
	return unlessBeyond(err)
}

// whole weighs the shortest solution.
func (w *weigher) whole(ctx context.Context, solution int, s *Study) error {
	q := solve.Question{
		Puzzle: w.p, Metric: w.m, Start: s.Scramble, Wants: pattern.SolvedByColour(w.p), AnyWay: true,
		Max: solve.MaxLength, Memory: w.with.Memory, Limit: 1,
	}
	// Large tables are worth their making only where there is time.
	if until, ok := ctx.Deadline(); ok && time.Until(until) < hasty && (q.Memory == 0 || q.Memory > stageMemory) {
		q.Memory = soon(stageMemory, w.letters)
	}
	told := Bound{AtLeast: -1}
	tell := func(b Bound) {
		if b != told {
			told = b
			w.tell(Weight{Solves, solution, 0, b})
		}
	}
	b, err := w.fewest(ctx, q, Bound{Length: s.length()}, true, tell)
	if err == nil || b.AtLeast > 0 {
		tell(b)
	}
	return unlessBeyond(err)
}

// errBeyond is that of a puzzle whose turns or pieces are too many for such a search.
var errBeyond = errors.New("too large to be searched")

func unlessBeyond(err error) error {
	if errors.Is(err, errBeyond) {
		return nil
	}
	return err
}

// fewest covers one length after another, until there is a sequence, or all that are shorter
// than what is there, b, are covered. What it gives is true also with an error. Tables of all pieces are kept.
func (w *weigher) fewest(ctx context.Context, q solve.Question, b Bound, keep bool, progress func(Bound)) (Bound, error) {
	have := b.Length
	b.AtLeast = 0
	key := fmt.Sprint(q.Start, q.Wants, b)
	if known, ok := w.known[key]; ok {
		return known, nil
	}
	plans, err := plansOf(ctx, q)
	if err != nil {
		return b, err
	}
	tables := make([][]*pattern.Table, len(plans))
	bounds := make([]int, len(plans))
	for i, p := range plans {
		if tables[i], err = w.build(ctx, p, keep); err != nil {
			return b, err
		}
		bounds[i] = p.Bound(tables[i])
	}
	b.AtLeast = min(have, slices.Min(bounds))
	for length := b.AtLeast; length < have && length <= q.Max; length++ {
		if progress != nil && length > 0 {
			progress(b)
		}
		for i, p := range plans {
			if length < bounds[i] {
				continue
			}
			found, err := cover(ctx, p, length, tables[i])
			if err != nil {
				return b, err
			}
			if found == nil {
				continue
			}
			if found.Length < have { // by ETM a sequence may be written with more than it costs
				b.Length, b.Turns = found.Length, found.Text
			}
			w.known[key] = b
			return b, nil
		}
		b.AtLeast = length + 1
	}
	if b.Proven() {
		w.known[key] = b
	}
	return b, nil
}

// plansOf are the plans that together look for all that the question allows. One does,
// except where only some pieces are wanted and nothing holds the whole: then each way to hold
// it has its own.
func plansOf(ctx context.Context, q solve.Question) ([]*solve.Plan, error) {
	plan, err := solve.NewPlan(q)
	if err != nil {
		return nil, fmt.Errorf("%w: %w", errBeyond, err)
	}
	if !plan.Narrow {
		return []*solve.Plan{plan}, nil
	}
	var out []*solve.Plan
	for _, sym := range q.Puzzle.Symmetries[:q.Puzzle.Rotations] {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		one := q
		one.AnyWay, one.Wants = false, nil
		one.Memory = soon(briefMemory, len(plan.Alphabet.Letters)*q.Puzzle.Rotations)
		for _, want := range q.Wants {
			t := &q.Puzzle.Types[q.Puzzle.Pieces[want.Piece].Type]
			turned := pattern.Want{Piece: want.Piece}
			for _, s := range want.Slots {
				if to := t.SlotImage(s, sym.Stickers); to >= 0 {
					turned.Slots = append(turned.Slots, to)
				}
			}
			slices.Sort(turned.Slots)
			one.Wants = append(one.Wants, turned)
		}
		if slices.ContainsFunc(one.Wants, func(x pattern.Want) bool { return len(x.Slots) == 0 }) {
			continue
		}
		plan, err := solve.NewPlan(one)
		if errors.Is(err, solve.ErrUnreachable) {
			continue
		}
		if err != nil {
			return nil, fmt.Errorf("%w: %w", errBeyond, err)
		}
		out = append(out, plan)
	}
	return out, nil
}

// build builds the tables of a plan.
func (w *weigher) build(ctx context.Context, p *solve.Plan, keep bool) ([]*pattern.Table, error) {
	var out []*pattern.Table
	for _, spec := range p.Tables() {
		t := w.tables[spec.Key()]
		if t == nil {
			var err error
			if t, err = pattern.Build(ctx, spec, 1, nil); err != nil {
				return nil, err
			}
			if keep {
				w.tables[spec.Key()] = t
			}
		}
		out = append(out, t)
	}
	return out, nil
}

// cover looks through all words of a length for one that does it.
func cover(ctx context.Context, p *solve.Plan, length int, tables []*pattern.Table) (*solve.Solution, error) {
	for _, u := range p.Units(length) {
		r, err := p.Run(ctx, u, tables, nil)
		if err != nil {
			return nil, err
		}
		if len(r.Solutions) > 0 {
			return &r.Solutions[0], nil
		}
	}
	return nil, nil
}

// same weighs a stage by all that it does.
func (w *weigher) same(ctx context.Context, solution, stage int, s stretch, have *Bound) error {
	shop := w.with.Shop
	_, held := w.p.ToFrame(s.before())
	word, err := shop.spell(s.study.Turns[s.from:s.to], held)
	if err != nil {
		return err
	}
	b := Bound{Length: s.length()}
	found, covered := shop.finder().fewest(ctx, word, b.Length-1)
	b.AtLeast = covered + 1
	if found != nil {
		turns := shop.turns(found, held)
		before, after := slices.Concat(s.before(), turns), slices.Concat(s.study.Scramble, s.study.Turns[:s.to])
		if rotationTo(w.p, w.p.Apply(after), w.p.Apply(before)) < 0 {
			return fmt.Errorf("study: %q does not do what stage %d of solution %d does", notation.Print(w.p, turns), stage+1, solution+1)
		}
		if n := notation.Length(w.p, w.m, turns); n < b.Length {
			b.Length, b.Turns = n, notation.Print(w.p, turns)
		}
	}
	*have = b
	if b.AtLeast > 0 || b.Length == 0 {
		w.tell(Weight{Same, solution, stage, b})
	}
	return nil
}

// fewest finds a shortest word with the effect of one, among those of length at most most that it
// reaches, and the greatest length that no shorter one has.
func (f *finder) fewest(ctx context.Context, word []int, most int) (found []int, covered int) {
	perm, rows := f.perm(word), f.rows(nil, word)
	enough := big.NewInt(mostLeaves)
	for cost := 0; cost <= most; cost++ {
		if ctx.Err() != nil || f.a.Total(max(0, cost-f.Depth())).Cmp(enough) > 0 {
			return nil, cost - 1
		}
		if !f.words(perm, rows, cost, func(w []int) bool { found = slices.Clone(w); return false }) {
			return found, cost - 1
		}
	}
	return nil, most
}
