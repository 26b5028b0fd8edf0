package engine

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"

	"turnwright/search/notation"
	"turnwright/search/pattern"
	"turnwright/search/puzzle"
	"turnwright/search/solve"
	"turnwright/storage"
)

// MaxSolutions is after how many solutions a search ends that wants all of them.
const MaxSolutions = 1000

// position is the engine of searches for the shortest solutions of one position.
// They end at the first length that has any.
//
// Where only some are wanted the length need not be finished. Its units are done
// in waves, and a wave that was begun is always finished: so the units that are
// in when the search ends, and with them the solutions and the nodes, are the
// same in whatever order workers ended and however often the server was killed.
type position struct {
	spec   storage.Spec
	plan   *solve.Plan
	tables []Table
	units  lengths[solve.Unit]
	noted  []*pattern.Table // while not all are: the bound comes from all together
}

func newPosition(b Builder, spec storage.Spec) (*position, error) {
	q, err := PositionQuestion(b, spec)
	if err != nil {
		return nil, err
	}
	plan, err := solve.NewPlan(q)
	if err != nil {
		return nil, err
	}
	p := &position{spec: spec, plan: plan, units: lengths[solve.Unit]{cut: plan.Units}}
	for _, spec := range plan.Tables() {
		p.tables = append(p.tables, patternTable(spec))
	}
	return p, nil
}

func (p *position) AtOnce() ([]storage.Finding, error) {
	if !p.plan.Solved() {
		return nil, nil
	}
	f, err := p.finding("")
	return []storage.Finding{f}, err
}

func (p *position) Tables() []Table { return p.tables }

func (p *position) Note(out *storage.Tables, i int, c Content) {
	t := c.(*pattern.Table)
	out.Count++
	out.Entries += p.tables[i].Entries
	out.Bytes += p.tables[i].Bytes
	out.Mean = max(out.Mean, t.Mean())
	if p.noted = append(p.noted, t); len(p.noted) == len(p.tables) {
		out.Bound = p.plan.Bound(p.noted)
		p.noted = nil
	}
}

func (p *position) patterns(tables []Content) []*pattern.Table {
	var out []*pattern.Table
	for _, t := range tables {
		out = append(out, t.(*pattern.Table))
	}
	return out
}

// Sizes of waves: small ones first, as many searches end soon.
const (
	firstWave = 16
	mostWave  = 256
)

func (p *position) Plan(length int) (storage.LengthPlan, []Stage) {
	units := p.units.of(length)
	var stages []Stage
	for first, size := 0, firstWave; first < len(units); {
		last := min(first+size, len(units))
		stages = append(stages, Stage{First: first, Last: last})
		first, size = last, min(2*size, mostWave)
	}
	return storage.LengthPlan{Length: length, Words: p.plan.Words(length).String(), Units: len(units), Open: true}, stages
}

func (p *position) Needs(int, int) []int {
	all := make([]int, len(p.tables))
	for i := range all {
		all[i] = i
	}
	return all
}

func (p *position) Run(ctx context.Context, w Work) (Report, error) {
	out := Report{Length: w.Length, Index: w.Index}
	units := p.units.of(w.Length)
	if w.Index < 0 || w.Index >= len(units) {
		return out, notOfThisPlan(w.Length, w.Index)
	}
	report, err := p.plan.Run(ctx, units[w.Index], p.patterns(w.Tables), w.Progress)
	if err != nil {
		return out, err
	}
	out.Covered, out.Short = report.Nodes, report.Ended
	for _, s := range report.Solutions {
		out.Found = append(out.Found, Found{Text: s.Text})
	}
	return out, nil
}

func (p *position) Accept(r Report) (storage.Unit, error) {
	out := storage.Unit{Length: r.Length, Index: r.Index, Leaves: r.Covered, Short: r.Short}
	if r.Index < 0 || r.Index >= len(p.units.of(r.Length)) {
		return out, notOfThisPlan(r.Length, r.Index)
	}
	if r.Short && len(r.Found) < p.plan.Question.Limit {
		return out, errors.New("a unit ended early without as many solutions as are wanted")
	}
	for _, f := range r.Found {
		found, err := p.finding(f.Text)
		if err != nil {
			return out, err
		}
		if found.Length != r.Length {
			return out, fmt.Errorf("a unit of length %d has a solution of length %d", r.Length, found.Length)
		}
		out.Found = append(out.Found, found)
	}
	return out, nil
}

func (p *position) Finding(f Found) (storage.Finding, error) { return p.finding(f.Text) }

// finding verifies a solution, read again from its text, and writes it as the
// store has it. Each is a finding of its own where all are wanted; otherwise
// the store keeps as many as are wanted, the best ranked.
func (p *position) finding(text string) (storage.Finding, error) {
	q := p.plan.Question
	s := solve.Solution{Text: text}
	if text != "" {
		var err error
		if s.Turns, err = notation.ParseTurns(q.Puzzle, text); err != nil {
			return storage.Finding{}, fmt.Errorf("the engine wrote what can't be read: %w", err)
		}
	}
	if err := plainly(q.Puzzle, text, s.Turns); err != nil {
		return storage.Finding{}, err
	}
	s.Length = notation.Length(q.Puzzle, q.Metric, s.Turns)
	if err := solve.Verify(q, s); err != nil {
		return storage.Finding{}, fmt.Errorf("the engine found what is not so: %w", err)
	}
	f := storage.Finding{ID: "best", Size: 1, Text: text, Length: s.Length, Axes: lines(q.Puzzle, s.Turns)}
	if p.spec.Position.All {
		f.ID = fmt.Sprintf("w%x", sha256.Sum256([]byte(text)))[:17]
	}
	return f, nil
}

// lines counts the distinct lines of turns.
func lines(p *puzzle.Puzzle, turns []puzzle.Turn) int {
	seen := map[int]bool{}
	for _, t := range turns {
		seen[p.Axes[t.Axis].Line] = true
	}
	return len(seen)
}

func (p *position) Enough(now storage.Search) bool {
	n := now.Findings
	return n >= p.plan.Question.Limit || n > 0 && now.Proven == len(now.Lengths)
}
