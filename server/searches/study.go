package searches

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"google.golang.org/protobuf/types/known/durationpb"

	v1 "turnwright/api/turnwright/v1"
	"turnwright/search/notation"
	"turnwright/search/puzzle"
	"turnwright/search/study"
	"turnwright/server/effects"
	"turnwright/server/engine"
	"turnwright/server/fail"
	"turnwright/server/read"
	"turnwright/storage"
)

// Bounds of a study.
const (
	maxWritten    = 100_000 // bytes of a scramble or solution as it was thought
	maxWrittenOut = 3_000   // bytes of both written out, so that a page of searches fits a message
	leastShorten  = time.Second
	mostShorten   = 72 * time.Hour
	usualShorten  = time.Hour
)

// planStudy checks what is particular to a solution that is to become shorter, and plans the search.
func (s *Service) planStudy(ctx context.Context, spec storage.Spec, m *v1.Study) (storage.Spec, *v1.Estimate, error) {
	limit := m.GetShortenTime().AsDuration()
	if m.GetShortenTime() == nil {
		limit = usualShorten
	}
	switch {
	case spec.Max > 0:
		return spec, nil, fail.Field("search.max_length", "%d: does not go with a study, whose findings are shorter than the solution", spec.Max)
	case spec.Each > 0:
		return spec, nil, fail.Field("search.sequences_per_class", "%d: does not go with a study", spec.Each)
	case spec.Slack > 0:
		return spec, nil, fail.Field("search.slack", "%d: does not go with a study", spec.Slack)
	case spec.Before != "":
		return spec, nil, fail.Field("search.before", "goes with a goal: the moves before a solution are its scramble")
	case spec.After != "":
		return spec, nil, fail.Field("search.after", "goes with a goal: leave it out")
	case m.ShortenTime != nil && !m.GetShortenTime().IsValid(), limit < leastShorten, limit > mostShorten:
		return spec, nil, fail.Field("search.study.shorten_time", "%v: use %v to %v", limit, leastShorten, mostShorten)
	}
	for field, text := range map[string]string{"scramble": m.GetScramble(), "solution": m.GetSolution()} {
		if len(text) > maxWritten {
			return spec, nil, fail.Field("search.study."+field, "it has %d bytes, at most %d are taken", len(text), maxWritten)
		}
	}
	if err := read.Names("search.study.puzzle", []string{m.GetPuzzle()}); err != nil {
		return spec, nil, err
	}
	p, err := s.library.Find(ctx, m.GetPuzzle())
	if err != nil {
		return spec, nil, err
	}
	metric, err := puzzle.ParseMetric(spec.Metric)
	if err != nil {
		return spec, nil, err
	}
	one, err := study.Read(study.Question{Puzzle: p, Metric: metric, Scramble: m.GetScramble(), Solution: m.GetSolution()})
	var unread *study.TextError
	switch {
	case errors.As(err, &unread):
		return spec, nil, effects.Refusal("search.study."+unread.Field, err)
	case err != nil:
		return spec, nil, refusedSolution(err)
	}
	cut := study.CutFor(limit)
	asked := storage.Study{
		Scramble: notation.Print(p, one.Scramble), Solution: notation.Print(p, one.Turns),
		Length: notation.Length(p, metric, one.Turns), Units: cut.Units, Leaves: cut.Leaves, Seed: m.GetSeed(),
	}
	if n := len(asked.Scramble) + len(asked.Solution); n > maxWrittenOut {
		return spec, nil, fail.Field("search.study.solution",
			"scramble and solution written out have %d bytes, at most %d are taken: StudySolution takes more, for as long as it is watched", n, maxWrittenOut)
	}
	if spec.Memory == 0 {
		spec.Memory = min(study.DefaultMemory, s.allowed(ctx))
	}
	spec.Puzzle, spec.Definition, spec.Study = p.Name, p.Def.YAML(), &asked
	night, near, err := engine.Studied(s.library, spec)
	switch {
	case errors.Is(err, study.ErrUnsolved):
		return spec, nil, refusedSolution(unsolved(one))
	case err != nil:
		return spec, nil, refusedSolution(err)
	}
	if err := s.maySubmit(ctx, p, one.Undoes()); err != nil {
		return spec, nil, err
	}
	work := uint64(night.Units) * night.Leaves
	spec.Work = storage.Work{Leaves: work, Entries: near.Words(), Tables: int64(near.Bytes())}
	return spec, &v1.Estimate{Units: int64(night.Units), TableWords: near.Words(), TableBytes: int64(near.Bytes())}, nil
}

// maySubmit refuses scrambles of rounds that are open: all members see a search, what
// is asked and what is found, and an entry is for its author alone until the round closes.
func (s *Service) maySubmit(ctx context.Context, p *puzzle.Puzzle, scramble []puzzle.Turn) error {
	round, err := s.rounds.OpenWith(ctx, p, scramble)
	if err != nil || round == "" {
		return err
	}
	return fail.Precondition(v1.ErrorReason_ERROR_REASON_ROUND_SEALED, round,
		fmt.Sprintf("%s is open, and this solves its scramble: all members would see it; ask again when it has closed", round))
}

func refusedSolution(err error) error {
	return fail.Refused(v1.ErrorReason_ERROR_REASON_SOLUTION_REFUSED, "search.study.solution", err)
}

// unsolved says what a solution leaves wrong.
func unsolved(one *study.Study) error {
	a, err := one.Analyse()
	if err != nil {
		return err
	}
	var left []string
	for _, t := range a.Types {
		if t.Left > 0 {
			left = append(left, fmt.Sprintf("%d %ss", t.Left, t.Type))
		}
	}
	return fmt.Errorf("%w: it leaves %s wrong; look at both again, or mend it first, by insertions", study.ErrUnsolved, strings.Join(left, ", "))
}

// studyMessage is the solution that is to become shorter.
func studyMessage(spec storage.Spec) *v1.Study {
	s := spec.Study
	return &v1.Study{
		Puzzle: "puzzles/" + spec.Puzzle, Scramble: s.Scramble, Solution: s.Solution, Seed: s.Seed,
		ShortenTime: durationpb.New(study.Cut{Units: s.Units, Leaves: s.Leaves}.Time()),
		Length:      int32(s.Length), UnitsTotal: int64(s.Units),
	}
}
