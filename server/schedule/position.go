package schedule

import (
	"context"
	"crypto/sha256"
	"fmt"
	"io"
	"time"

	"turnwright/search/notation"
	"turnwright/search/pattern"
	"turnwright/search/puzzle"
	"turnwright/search/solve"
	"turnwright/storage"
)

// MaxSolutions is after how many solutions a search ends that wants all of them.
const MaxSolutions = 1000

// position is the kind of search that asks for the shortest solutions of one
// position. It ends at the first length that has any.
//
// Where only some are wanted the length need not be finished. Its units are done
// in waves, and a wave that was begun is always finished: so the units that are
// in when the search ends, and with them the solutions and the nodes, are the
// same in whatever order workers ended and however often the server was killed.
type position struct {
	r      *Runner
	live   *live
	spec   storage.Spec
	engine *solve.Plan
	specs  []pattern.Spec
	tables []*pattern.Table

	units []solve.Unit // of the length that was planned last
}

func (r *Runner) newPosition(spec storage.Spec, l *live) (*position, error) {
	q, err := PositionQuestion(r.puzzles, spec)
	if err != nil {
		return nil, err
	}
	plan, err := solve.NewPlan(q)
	if err != nil {
		return nil, err
	}
	return &position{r: r, live: l, spec: spec, engine: plan, specs: plan.Tables()}, nil
}

func (p *position) atOnce() ([]storage.Finding, error) {
	if !p.engine.Solved() {
		return nil, nil
	}
	return p.findings([]solve.Solution{{}})
}

func (p *position) prepare(ctx context.Context) (storage.Tables, error) {
	start := time.Now()
	out := storage.Tables{Count: len(p.specs), Cached: true}
	for _, spec := range p.specs {
		out.Entries += spec.Entries()
		out.Bytes += int64(spec.Bytes())
	}
	p.live.tables(out.Entries)
	for _, spec := range p.specs {
		table, cached, err := p.table(ctx, spec)
		if err != nil {
			return out, err
		}
		out.Cached = out.Cached && cached
		out.Mean = max(out.Mean, table.Mean())
		p.tables = append(p.tables, table)
	}
	out.Bound = p.engine.Bound(p.tables)
	out.Elapsed = time.Since(start)
	return out, nil
}

// table gives one table, from the cache or made anew.
func (p *position) table(ctx context.Context, spec pattern.Spec) (*pattern.Table, bool, error) {
	var table *pattern.Table
	var told uint64
	cached, err := p.r.cached(ctx, p.live, spec.Key(), func(r io.Reader) (err error) {
		table, err = pattern.Read(spec, r)
		return err
	}, func() (err error) {
		table, err = pattern.Build(ctx, spec, p.r.workers, func(done, _ uint64) {
			p.live.tableWords(done - told)
			told = done
		})
		return err
	}, func(w io.Writer) error { return table.Write(w) })
	p.live.tableWords(spec.Entries() - told)
	return table, cached, err
}

// Sizes of waves: small ones first, as many searches end soon.
const (
	firstWave = 16
	mostWave  = 256
)

func (p *position) plan(length int) (storage.LengthPlan, []stage) {
	p.units = p.engine.Units(length)
	var stages []stage
	for first, size := 0, firstWave; first < len(p.units); {
		last := min(first+size, len(p.units))
		stages = append(stages, stage{first: first, last: last})
		first, size = last, min(2*size, mostWave)
	}
	return storage.LengthPlan{Length: length, Words: p.engine.Words(length).String(), Units: len(p.units), Open: true}, stages
}

func (p *position) run(ctx context.Context, index int, progress func(uint64)) (storage.Unit, error) {
	u := p.units[index]
	out := storage.Unit{Length: u.Length, Index: index}
	report, err := p.engine.Run(ctx, u, p.tables, progress)
	if err != nil {
		return out, err
	}
	out.Leaves, out.Short = report.Nodes, report.Ended
	out.Found, err = p.findings(report.Solutions)
	return out, err
}

// findings verifies solutions, read again from their text, and writes them as the
// store has them. Each is a finding of its own where all are wanted; otherwise
// the store keeps as many as are wanted, the best ranked.
func (p *position) findings(found []solve.Solution) ([]storage.Finding, error) {
	q := p.engine.Question
	out := make([]storage.Finding, 0, len(found))
	for _, s := range found {
		var err error
		if s.Text != "" {
			if s.Turns, err = notation.ParseTurns(q.Puzzle, s.Text); err != nil {
				return nil, fmt.Errorf("the engine wrote what can't be read: %w", err)
			}
		}
		if err := solve.Verify(q, s); err != nil {
			return nil, fmt.Errorf("the engine found what is not so: %w", err)
		}
		f := storage.Finding{ID: "best", Size: 1, Text: s.Text, Length: s.Length, Axes: lines(q.Puzzle, s.Turns)}
		if p.spec.Position.All {
			f.ID = fmt.Sprintf("w%x", sha256.Sum256([]byte(s.Text)))[:17]
		}
		out = append(out, f)
	}
	return out, nil
}

// lines counts the distinct lines of turns.
func lines(p *puzzle.Puzzle, turns []puzzle.Turn) int {
	seen := map[int]bool{}
	for _, t := range turns {
		seen[p.Axes[t.Axis].Line] = true
	}
	return len(seen)
}

func (p *position) enough(now storage.Search) bool {
	n := now.Findings
	return n >= p.engine.Question.Limit || n > 0 && now.Proven == len(now.Lengths)
}
