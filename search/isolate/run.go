package isolate

import (
	"cmp"
	"context"
	"fmt"
	"maps"
	"math"
	"slices"

	"turnwright/search/goal"
	"turnwright/search/puzzle"
)

// MaxFound is the greatest number of classes that a unit reports: of shapes other
// than a 3-cycle there may be any number. Those met first are kept.
const MaxFound = 100_000

// Report is what a unit found: at most one candidate for each class, the best that
// the unit tried (see [Candidate.Better]).
type Report struct {
	Pairs uint64 // as the unit says
	Found []Candidate
}

// Run runs a unit. Where ctx ends before, its error is returned and nothing was found.
// The progress function may be nil; it is told of pairs tried since it was last
// called.
func (p *Plan) Run(ctx context.Context, u Unit, progress func(pairs uint64)) (Report, error) {
	best := map[uint64]Candidate{}
	run := runner{Plan: p, progress: progress}
	run.found = func(h *hit) error { return run.propose(ctx, best, Candidate.Better, h) }
	if err := run.run(ctx, u); err != nil {
		return Report{Pairs: run.pairs}, err
	}
	r := Report{Pairs: run.pairs, Found: slices.SortedFunc(maps.Values(best), order(Candidate.Better).compare)}
	for _, c := range r.Found {
		if err := cmp.Or(ctx.Err(), p.b.Verify(c)); err != nil {
			return Report{Pairs: run.pairs}, err
		}
	}
	return r, nil
}

// Search runs all units, and yields every candidate that is better than all before
// of its class, as the units end. The error is that of ctx, or of the verification.
func (p *Plan) Search(ctx context.Context, yield func(Candidate) bool) error {
	best := map[uint64]Candidate{}
	for _, u := range p.Units() {
		r, err := p.Run(ctx, u, nil)
		if err != nil {
			return err
		}
		for _, c := range r.Found {
			if old, ok := best[c.Key]; ok && !c.Better(old) {
				continue
			}
			if best[c.Key] = c; !yield(c) {
				return nil
			}
		}
	}
	return nil
}

// hit is a pair of parts that does what the goal wants.
type hit struct {
	x        prefix
	y, z     *word // z is nil in [X, Y]
	rotation int   // of the whole, left over
	change   goal.Change
}

// runner tries the pairs of a unit.
type runner struct {
	*Plan
	found    func(*hit) error
	progress func(uint64)

	list        *[]word // short parts
	pairs, told uint64
	decided     [accepted + 1]uint64 // pairs by verdict
	err         error
}

// pollPairs is how many pairs are tried before a look at the context, some milliseconds.
const pollPairs = 1 << 17

func (r *runner) run(ctx context.Context, u Unit) error {
	xy := r.b.newPart()
	r.list = r.parts()
	ys, zs := (*r.list)[:r.ys], (*r.list)[:r.zs]
	for _, start := range r.prefixes[u.First:u.Last] {
		r.words.walk(start, r.Job.X, func(x prefix, part *part) bool {
			for i := range ys {
				y := &ys[i]
				r.try(x, y, nil, part, &y.part)
				if len(zs) > 0 {
					r.nest(x, y, zs, part, &xy)
				}
				if r.pairs-r.told >= pollPairs && !r.poll(ctx) || r.err != nil {
					return false
				}
			}
			return true
		})
		if r.err != nil {
			return r.err
		}
	}
	if r.poll(ctx) {
		return nil
	}
	return r.err
}

// poll tells of progress, and whether to go on.
func (r *runner) poll(ctx context.Context) bool {
	if r.progress != nil {
		r.progress(r.pairs - r.told)
	}
	r.told = r.pairs
	if err := ctx.Err(); err != nil && r.err == nil {
		r.err = err
	}
	return r.err == nil
}

// nest tries [[X, Y], Z] for every Z.
func (r *runner) nest(x prefix, y *word, zs []word, part, xy *part) {
	r.b.commutator(xy, part, &y.part)
	for i := range zs {
		z := &zs[i]
		r.try(x, y, z, xy, &z.part)
	}
}

// try judges one pair.
func (r *runner) try(x prefix, y, z *word, px, py *part) {
	r.pairs++
	if z == nil && r.words.shorter(x.letters, y.letters) {
		return
	}
	rotation, v := r.b.judge(px, py)
	r.decided[v]++
	if v < lemma {
		return
	}
	h := &hit{x, y, z, rotation, r.b.changeOf(px, py, rotation)}
	if err := r.found(h); err != nil && r.err == nil {
		r.err = err
	}
}

// shorter tells whether a shorter part does the same: one that ends on the line of
// the other, if that is just one letter, may as well end before.
func (w *words) shorter(x, y []int) bool {
	return w.line(x) == w.line(y) && (len(x) == 1 || len(y) == 1)
}

// commutator writes what [X, Y] does.
func (b *Bench) commutator(out, x, y *part) {
	for s := range out.to {
		to := y.from[x.from[y.to[x.to[s]]]]
		out.to[s] = to
		out.from[to] = uint16(s)
	}
	b.support(out.support, out.to)
}

// pollSetups is how many setups are tried before a look at the context.
const pollSetups = 1 << 12

// propose puts a hit, and what setups make of it, among the best if it comes before
// what is there. The error is that of ctx.
func (r *runner) propose(ctx context.Context, best map[uint64]Candidate, before order, h *hit) error {
	if err := ctx.Err(); err != nil {
		return err // hits may be all that there is
	}
	base := r.candidate(h)
	word, _ := r.b.p.ToFrame(base.expand())
	word = r.b.cancel(word)
	length := 0
	for _, s := range word {
		length += r.b.p.SyllableCost(r.b.metric, s)
	}
	most := r.Job.Max
	if most == 0 {
		most = math.MaxInt
	}
	offer := func(c Candidate, atLeast int) {
		old, ok := best[c.Key]
		switch {
		case atLeast > most, ok && old.Length < atLeast, !ok && len(best) == MaxFound:
		case !r.b.complete(&c), c.Length > most, ok && !before(c, old):
		default:
			best[c.Key] = c
		}
	}
	offer(base, length)
	if h.rotation != 0 || len(word) == 0 {
		return nil // undoing the setup would go about other axes
	}
	first, last := word[0].Line, word[len(word)-1].Line
	setups := (*r.list)[:r.ss]
	for i := range setups {
		if i%pollSetups == pollSetups-1 && ctx.Err() != nil {
			return ctx.Err()
		}
		s := &setups[i]
		// Where the setup's last line is that of an end, as much may cancel there as it costs.
		atLeast := length + 2*s.cost
		line := r.words.line(s.letters)
		if line == first {
			atLeast -= 2 * s.cost
		}
		if line == last {
			atLeast -= 2 * s.cost
		}
		if r.b.commuting != nil {
			atLeast = 0
		}
		if atLeast > most {
			continue
		}
		c := base
		c.Change = conjugate(&r.b.p.Types[r.b.goal.Cycle], base.Change, &s.part)
		c.Key, c.Class, c.Size = r.b.classOf(c.Change)
		if old, ok := best[c.Key]; !ok || old.Length >= atLeast {
			c.Setup = r.words.turns(s.letters)
			offer(c, atLeast)
		}
	}
	return nil
}

// conjugate is what S C S' does if C makes a change.
func conjugate(t *puzzle.Type, c goal.Change, s *part) goal.Change {
	out := make(goal.Change, len(c))
	for i, step := range c {
		out[i] = goal.Step{From: int(s.from[step.From]), To: int(s.from[step.To])}
	}
	return out.Normal(t)
}

// candidate writes a hit's parts.
func (p *Plan) candidate(h *hit) Candidate {
	c := Candidate{X: p.words.turns(h.x.letters), Y: p.words.turns(h.y.letters), Change: h.change}
	if h.z != nil {
		c.Z = p.words.turns(h.z.letters)
	}
	c.Key, c.Class, c.Size = p.b.classOf(c.Change)
	return c
}

// String names the unit for people.
func (u Unit) String() string {
	return fmt.Sprintf("unit %d, beginnings %d to %d", u.Index, u.First, u.Last-1)
}
