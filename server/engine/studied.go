package engine

import (
	"context"
	"errors"
	"fmt"
	"strconv"
	"sync"
	"time"
	"weak"

	"turnwright/search/puzzle"
	"turnwright/search/study"
	"turnwright/search/table"
	"turnwright/storage"
)

// studied is the engine of searches that shorten a solution. Like those with a structure
// they have one length, which stands for all and proves nothing. Their units are done in rounds,
// each of which is a stage, and go on from the best that the rounds before came to. What is kept of a
// round is its best: so a search comes to the same in whatever order workers ended and
// however often the server was killed, and its findings get shorter from round to round.
type studied struct {
	night  *study.Night
	p      *puzzle.Puzzle
	tables []Table

	mu   sync.Mutex
	near weak.Pointer[table.Near] // that kit was made of
	kit  weak.Pointer[study.Kit]
}

// Studied plans what is done for a stored spec that has a solution to shorten, and says which
// table that takes.
func Studied(b Builder, spec storage.Spec) (*study.Night, table.Spec, error) {
	p, err := b.Build(spec.Definition)
	if err != nil {
		return nil, table.Spec{}, err
	}
	m, err := puzzle.ParseMetric(spec.Metric)
	if err != nil {
		return nil, table.Spec{}, err
	}
	s, err := study.Read(study.Question{Puzzle: p, Metric: m, Scramble: spec.Study.Scramble, Solution: spec.Study.Solution})
	if err != nil {
		return nil, table.Spec{}, err
	}
	night, err := study.NewNight(s, study.Cut{Units: spec.Study.Units, Leaves: spec.Study.Leaves}, spec.Study.Seed)
	if err != nil {
		return nil, table.Spec{}, err
	}
	near, err := study.Spec(p, m, spec.Memory)
	return night, near, err
}

func newStudied(b Builder, spec storage.Spec) (*studied, error) {
	night, near, err := Studied(b, spec)
	if err != nil {
		return nil, err
	}
	return &studied{night: night, p: near.Alphabet.Puzzle, tables: []Table{nearTable(near)}}, nil
}

func (s *studied) AtOnce() ([]storage.Finding, error) { return nil, nil }

func (s *studied) Tables() []Table { return s.tables }

func (s *studied) Note(out *storage.Tables, i int, t Content) {
	out.Count++
	out.Words += uint64(t.(*table.Near).Len())
	out.Bytes += s.tables[i].Bytes
}

// Plan is that of length 1; there is no other.
func (s *studied) Plan(int) (storage.LengthPlan, []Stage) {
	n := s.night.Units
	var stages []Stage
	for first := 0; first < n; first += study.RoundUnits {
		stages = append(stages, Stage{First: first, Last: min(first+study.RoundUnits, n)})
	}
	return storage.LengthPlan{Length: 1, Leaves: uint64(n) * s.night.Leaves, Units: n, Unproven: true}, stages
}

func (s *studied) Needs(int, int) []int { return []int{0} }

func (s *studied) has(length, index int) bool {
	return length == 1 && index >= 0 && index < s.night.Units
}

func (s *studied) Continues(_, index int, f storage.Finding) bool {
	return f.Class < s.night.Round(index)
}

func (s *studied) Run(ctx context.Context, w Work) (Report, error) {
	out := Report{Length: w.Length, Index: w.Index, Covered: s.night.Leaves}
	if !s.has(w.Length, w.Index) {
		return out, notOfThisPlan(w.Length, w.Index)
	}
	kit, err := s.kitOf(w.Tables[0].(*table.Near))
	if err != nil {
		return out, err
	}
	if w.Progress != nil {
		ctx = &breather{Context: ctx, breathe: w.Progress}
	}
	found, ok, err := s.night.Run(ctx, kit, w.Index, w.From)
	if ok {
		out.Found = []Found{{Text: found.Text, Change: strconv.Itoa(s.night.Round(w.Index)), Structure: found.By}}
	}
	return out, err
}

// kitOf gives what units are done with that have a table. Those that are done at once share it; the
// engine does not hold it, as it outlives the table.
func (s *studied) kitOf(near *table.Near) (*study.Kit, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if kit := s.kit.Value(); kit != nil && s.near == weak.Make(near) {
		return kit, nil
	}
	shop, err := study.With(near)
	if err != nil {
		return nil, err
	}
	kit := study.NewKit(shop)
	s.near, s.kit = weak.Make(near), weak.Make(kit)
	return kit, nil
}

// breather is the context of a unit that is asked again and again whether it has ended: good
// moments to let short questions go between.
type breather struct {
	context.Context
	breathe func(covered uint64)

	mu   sync.Mutex
	last time.Time
}

// breath is how often short questions may go between.
const breath = 5 * time.Millisecond

func (b *breather) Err() error {
	if b.mu.TryLock() {
		if time.Since(b.last) > breath {
			b.breathe(0)
			b.last = time.Now()
		}
		b.mu.Unlock()
	}
	return b.Context.Err()
}

// maxBy bounds the word that says how a solution was found.
const maxBy = 40

func (s *studied) Accept(r Report) (storage.Unit, error) {
	out := storage.Unit{Length: r.Length, Index: r.Index, Leaves: r.Covered}
	switch {
	case !s.has(r.Length, r.Index):
		return out, notOfThisPlan(r.Length, r.Index)
	case r.Covered != s.night.Leaves || r.Short:
		return out, errors.New("a unit looked up more or less than it was to")
	case len(r.Found) > 1:
		return out, errors.New("a unit gives its best solution, not several")
	}
	for _, f := range r.Found {
		found, err := s.Finding(f)
		if err != nil {
			return out, err
		}
		if found.Class != s.night.Round(r.Index) {
			return out, fmt.Errorf("a unit of round %d gives a solution of round %d", s.night.Round(r.Index), found.Class)
		}
		out.Found = append(out.Found, found)
	}
	return out, nil
}

func (s *studied) Finding(f Found) (storage.Finding, error) {
	round, err := strconv.Atoi(f.Change)
	if last := s.night.Round(s.night.Units - 1); err != nil || round < 1 || round > last || f.Change != strconv.Itoa(round) {
		return storage.Finding{}, fmt.Errorf("%.40q is no round of the search", f.Change)
	}
	found, err := s.night.Verify(f.Text)
	if err != nil {
		return storage.Finding{}, fmt.Errorf("the engine found what is not so: %w", err)
	}
	if err := plainly(s.p, f.Text, found.Turns); err != nil {
		return storage.Finding{}, err
	}
	if !isWord(f.Structure) {
		return storage.Finding{}, fmt.Errorf("%.40q does not say how a solution was found", f.Structure)
	}
	return storage.Finding{
		ID: fmt.Sprintf("r%d", round), Class: round, Size: 1, Change: f.Change,
		Text: f.Text, Length: found.Length, Axes: lines(s.p, found.Turns), Structure: f.Structure,
	}, nil
}

// isWord tells whether a text is a plain word, of those that the package study has or may come to have.
func isWord(text string) bool {
	for _, c := range text {
		if c < 'a' || c > 'z' {
			return false
		}
	}
	return text != "" && len(text) <= maxBy
}

// Enough is when all units are in.
func (s *studied) Enough(now storage.Search) bool {
	return len(now.Lengths) > 0 && now.Lengths[0].Complete()
}
