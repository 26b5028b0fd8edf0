// Package fits serves sequences that are known at other places.
package fits

import (
	"context"
	"errors"
	"fmt"

	v1 "turnwright/api/turnwright/v1"
	"turnwright/search/fit"
	"turnwright/search/goal"
	"turnwright/search/improve"
	"turnwright/search/notation"
	"turnwright/search/puzzle"
	"turnwright/search/variant"
	"turnwright/server/coverage"
	"turnwright/server/effects"
	"turnwright/server/fail"
	"turnwright/server/puzzles"
	"turnwright/server/read"
	"turnwright/server/readings"
)

// Service answers turnwright.v1.FitService.
type Service struct {
	v1.UnimplementedFitServiceServer
	tables   *coverage.Tables
	library  *puzzles.Library
	readings *readings.Readings
}

// NewService makes the service.
func NewService(t *coverage.Tables, l *puzzles.Library, r *readings.Readings) *Service {
	return &Service{tables: t, library: l, readings: r}
}

// Bounds of a request, and what stands in where it says nothing.
const (
	kept         = 8 // sequences of each class that choices follow from
	maxSequences = 20
	defaultLimit = 20
	maxLimit     = 200 // so that an answer stays below a megabyte
	maxBeyond    = 100 // choices looked at beyond those wanted: they may be as short, and simpler
)

// FitSequences gives what will do, best first.
func (s *Service) FitSequences(ctx context.Context, req *v1.FitSequencesRequest) (*v1.FitSequencesResponse, error) {
	ask, err := coverage.Read(ctx, s.library, req.GetGoal(), kept)
	if err != nil {
		return nil, err
	}
	limit := int(req.GetLimit())
	switch {
	case limit < 0 || limit > maxLimit:
		return nil, fail.Field("limit", "%d: use 1 to %d", limit, maxLimit)
	case limit == 0:
		limit = defaultLimit
	}
	wanted, err := readWanted(ask, req)
	if err != nil {
		return nil, err
	}
	between, err := readBetween(ask.Puzzle, req)
	if err != nil {
		return nil, err
	}
	known, err := s.known(ctx, ask, req.GetSequences())
	if err != nil {
		return nil, err
	}
	most := limit + maxBeyond
	if between.any() {
		most = fit.MaxChoices // a longer one may cancel more
	}
	choices, err := fit.Fit(ctx, known.Table, wanted, most)
	if err != nil {
		return nil, err
	}
	r := ranker{s.readings.For(ask.Puzzle, ask.Metric), known.Table.Bench, limit}
	out := &v1.FitSequencesResponse{Sequences: int32(known.Sequences)}
	if between.any() {
		out.Choices, err = r.between(ctx, between, choices)
	} else {
		out.Choices, err = r.choices(ctx, choices)
	}
	if err != nil {
		return nil, err
	}
	texts := make([]string, len(out.Choices))
	for i, c := range out.Choices {
		texts[i] = c.Sequence
	}
	explained, err := r.read.Messages(ctx, texts)
	if err != nil {
		return nil, err
	}
	for i, c := range out.Choices {
		c.Explanation = explained[i]
	}
	return out, nil
}

// known is the table of the sequences that are given, or of those of all searches.
func (s *Service) known(ctx context.Context, ask coverage.Ask, texts []string) (*coverage.Known, error) {
	if len(texts) == 0 {
		known, err := s.tables.Get(ctx, ask)
		if err == nil && known.Sequences == 0 {
			err = coverage.NoSequences(ask.Puzzle, ask.Metric, ask.Goal.Cycle)
		}
		return known, err
	}
	if len(texts) > maxSequences {
		return nil, fail.Field("sequences", "%d sequences, at most %d are taken", len(texts), maxSequences)
	}
	var sequences [][]puzzle.Turn
	for i, text := range texts {
		turns, err := notation.ParseTurns(ask.Puzzle, text)
		if err != nil {
			return nil, effects.Refusal(fmt.Sprintf("sequences[%d]", i), fmt.Errorf("sequence %d: %w", i+1, err))
		}
		if len(turns) > variant.MaxTurns {
			return nil, fail.Field(fmt.Sprintf("sequences[%d]", i), "%d turns, at most %d are taken", len(turns), variant.MaxTurns)
		}
		sequences = append(sequences, turns)
	}
	return s.tables.Of(ctx, ask, "sequences", sequences)
}

// readWanted checks pins and places.
func readWanted(ask coverage.Ask, req *v1.FitSequencesRequest) (fit.Wanted, error) {
	var w fit.Wanted
	pins, places := req.GetPins(), req.GetPlaces()
	switch {
	case len(pins) > 3:
		return w, fail.Field("pins", "%d pins: a 3-cycle has at most three", len(pins))
	case len(places) > 3:
		return w, fail.Field("places", "%d places: a 3-cycle has three", len(places))
	case len(pins) == 0 && len(places) < 2:
		return w, fail.Field("pins", "say what to fit: a pin, or two or three places")
	}
	if err := read.Names("places", places); err != nil {
		return w, err
	}
	g := ask.Goal
	for _, pin := range pins {
		if err := read.Names("pins", []string{pin.GetFrom(), pin.GetTo()}); err != nil {
			return w, err
		}
		if err := g.Pin(ask.Puzzle, pin.GetFrom(), pin.GetTo()); err != nil {
			return w, fail.Refused(v1.ErrorReason_ERROR_REASON_GOAL_REFUSED, "pins", err)
		}
	}
	w.Pins = g.Pins
	typ := &ask.Puzzle.Types[g.Cycle]
	taken := map[int]string{}
	for _, label := range places {
		slot, err := goal.Slot(ask.Puzzle, typ, label)
		if err != nil {
			return w, fail.Refused(v1.ErrorReason_ERROR_REASON_GOAL_REFUSED, "places", err)
		}
		if other, ok := taken[typ.Place[slot]]; ok {
			return w, fail.Refused(v1.ErrorReason_ERROR_REASON_GOAL_REFUSED, "places", fmt.Errorf("%s and %s are the same place", other, label))
		}
		taken[typ.Place[slot]] = label
		w.Places = append(w.Places, slot)
	}
	return w, nil
}

// between holds the moves that a choice goes between.
type between struct{ before, after []puzzle.Turn }

func (b between) any() bool { return len(b.before)+len(b.after) > 0 }

func readBetween(p *puzzle.Puzzle, req *v1.FitSequencesRequest) (b between, err error) {
	if b.before, err = ReadMoves(p, "before", req.GetBefore()); err != nil {
		return b, err
	}
	b.after, err = ReadMoves(p, "after", req.GetAfter())
	return b, err
}

// ReadMoves reads the moves of a solution or a part of one.
func ReadMoves(p *puzzle.Puzzle, field, text string) ([]puzzle.Turn, error) {
	return readMoves(p, field, text, improve.MaxTurns)
}

// ReadScramble reads the moves of a scramble, of which there may be more.
func ReadScramble(p *puzzle.Puzzle, text string) ([]puzzle.Turn, error) {
	return readMoves(p, "scramble", text, improve.MaxScramble)
}

func readMoves(p *puzzle.Puzzle, field, text string, most int) ([]puzzle.Turn, error) {
	if text == "" {
		return nil, nil
	}
	turns, err := notation.ParseTurns(p, text)
	if err != nil {
		return nil, effects.Refusal(field, fmt.Errorf("%s: %w", field, err))
	}
	if len(turns) > most {
		return nil, fail.Refused(v1.ErrorReason_ERROR_REASON_SEQUENCE_REFUSED, field,
			fmt.Errorf("%s: %d turns, at most %d are taken", field, len(turns), most))
	}
	return turns, nil
}

// ranker ranks choices, and writes the best.
type ranker struct {
	read  readings.Reader
	bench *variant.Bench
	limit int
}

// choices gives the best choices by themselves.
func (r ranker) choices(ctx context.Context, choices []fit.Choice) ([]*v1.FitChoice, error) {
	err := readings.Rank(ctx, r.read, choices,
		func(c fit.Choice) []string { return []string{c.Sequence} },
		func(x, y fit.Choice) bool { return x.Length == y.Length && x.Lines == y.Lines })
	if err != nil {
		return nil, err
	}
	var out []*v1.FitChoice
	for _, c := range choices[:min(r.limit, len(choices))] {
		out = append(out, message(r.bench, c))
	}
	return out, nil
}

// between gives the best choices by net length.
func (r ranker) between(ctx context.Context, b between, choices []fit.Choice) ([]*v1.FitChoice, error) {
	byText := map[string]fit.Choice{}
	var sequences []variant.Sequence
	for _, c := range choices {
		byText[c.Sequence] = c
		sequences = append(sequences, c.Known)
	}
	joined, err := improve.Join(ctx, r.bench, b.before, b.after, sequences)
	if err != nil {
		return nil, err
	}
	if err := rankJoined(ctx, r.read, r.bench, joined, r.limit); err != nil {
		return nil, err
	}
	var out []*v1.FitChoice
	for _, j := range joined[:min(r.limit, len(joined))] {
		c, ok := byText[r.bench.Text(j.Sequence)]
		if !ok {
			return nil, errors.New("a sequence that was joined is none of those that fit")
		}
		m := message(r.bench, c)
		m.Joined = JoinedMessage(r.bench.Puzzle, j)
		out = append(out, m)
	}
	return out, nil
}

// rankJoined puts the simpler ones first of sequences that cost as much between moves,
// are as long and turn about as many lines, as far as the first most of them go.
func rankJoined(ctx context.Context, r readings.Reader, b *variant.Bench, joined []improve.Joined, most int) error {
	tied := func(x, y improve.Joined) bool {
		return x.Net == y.Net && x.Sequence.Length == y.Sequence.Length && x.Sequence.Lines == y.Sequence.Lines
	}
	end := min(most, len(joined))
	for end > 0 && end < len(joined) && tied(joined[end-1], joined[end]) {
		end++
	}
	return readings.Rank(ctx, r, joined[:end], func(j improve.Joined) []string { return []string{b.Text(j.Sequence)} }, tied)
}

// JoinedMessage writes a sequence between moves as the API has it.
func JoinedMessage(p *puzzle.Puzzle, j improve.Joined) *v1.Joined {
	return &v1.Joined{Sequence: notation.Print(p, j.Turns), Length: int32(j.Length), Net: int32(j.Net)}
}

func message(b *variant.Bench, c fit.Choice) *v1.FitChoice {
	return &v1.FitChoice{
		Sequence: c.Sequence, Length: int32(c.Length), Axes: int32(c.Lines),
		Cycle: coverage.CycleMessage(&b.Puzzle.Types[b.Goal.Cycle], c.Slots),
		Setup: c.Setup, Base: c.Base, Mirrored: c.Mirrored, Inverted: c.Inverted,
	}
}
