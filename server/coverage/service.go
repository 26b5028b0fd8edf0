package coverage

import (
	"context"

	v1 "turnwright/api/turnwright/v1"
	"turnwright/search/coverage"
	"turnwright/search/goal"
	"turnwright/search/puzzle"
	"turnwright/server/effects"
	"turnwright/server/page"
	"turnwright/server/puzzles"
	"turnwright/server/readings"
)

// Service answers turnwright.v1.CoverageService.
type Service struct {
	v1.UnimplementedCoverageServiceServer
	tables   *Tables
	library  *puzzles.Library
	readings *readings.Readings
	pages    *page.Tokens
}

// NewService makes the service.
func NewService(t *Tables, l *puzzles.Library, r *readings.Readings, pages *page.Tokens) *Service {
	return &Service{tables: t, library: l, readings: r, pages: pages}
}

// GetCoverage sums a coverage up.
func (s *Service) GetCoverage(ctx context.Context, req *v1.GetCoverageRequest) (*v1.GetCoverageResponse, error) {
	ask, err := Read(ctx, s.library, req.GetGoal(), 1)
	if err != nil {
		return nil, err
	}
	known, err := s.tables.Get(ctx, ask)
	if err != nil {
		return nil, err
	}
	return &v1.GetCoverageResponse{Coverage: summary(ask, known)}, nil
}

// ListCoverageRows gives the classes by number.
func (s *Service) ListCoverageRows(ctx context.Context, req *v1.ListCoverageRowsRequest) (*v1.ListCoverageRowsResponse, error) {
	size, err := page.Size(req.GetPageSize())
	if err != nil {
		return nil, err
	}
	ask, err := Read(ctx, s.library, req.GetGoal(), 1)
	if err != nil {
		return nil, err
	}
	query := "coverage " + goalKey(ask)
	from := 0
	if err := s.pages.Open(req.GetPageToken(), query, &from); err != nil {
		return nil, err
	}
	known, err := s.tables.Get(ctx, ask)
	if err != nil {
		return nil, err
	}
	out := &v1.ListCoverageRowsResponse{}
	typ := &ask.Puzzle.Types[ask.Goal.Cycle]
	rows := known.Rows[min(from, len(known.Rows)):min(from+size, len(known.Rows))]
	texts := make([]string, len(rows))
	for i, row := range rows {
		texts[i] = row.Sequence
	}
	read, err := s.readings.For(ask.Puzzle, ask.Metric).Messages(ctx, texts)
	if err != nil {
		return nil, err
	}
	for i, row := range rows {
		m := rowMessage(typ, row)
		if row.Sequence != "" {
			m.Explanation = read[i]
		}
		out.Rows = append(out.Rows, m)
	}
	if from+size < len(known.Rows) {
		out.NextPageToken = s.pages.Seal(query, from+size)
	}
	return out, nil
}

func summary(ask Ask, k *Known) *v1.Coverage {
	sum := coverage.Summarize(k.Rows, k.Table.Proven())
	out := &v1.Coverage{
		Goal: ask.Message(), Searches: int32(k.Searches), Sequences: int32(k.Sequences),
		Classes: int32(sum.Classes), Cycles: int64(sum.Cycles),
		Found: int32(sum.Found), BySetup: int32(sum.BySetup), Missing: int32(sum.Missing), Proven: int32(sum.Proven),
		ProvenLength: int32(sum.ProvenLength), Longest: int32(sum.Longest),
		MeanPerClass: sum.PerClass, MeanPerCycle: sum.PerCycle,
	}
	byLength := make([]*v1.CoverageLength, sum.Longest+1)
	for _, r := range k.Rows {
		l := byLength[r.Length]
		if l == nil {
			l = &v1.CoverageLength{Length: int32(r.Length)}
			byLength[r.Length] = l
		}
		l.Classes++
		l.Cycles += int64(r.Cycles)
		if r.Proven {
			l.Proven++
		}
	}
	for _, l := range byLength {
		if l != nil {
			out.Lengths = append(out.Lengths, l)
		}
	}
	return out
}

var origins = map[coverage.How]v1.CoverageOrigin{
	coverage.Found:   v1.CoverageOrigin_COVERAGE_ORIGIN_FOUND,
	coverage.BySetup: v1.CoverageOrigin_COVERAGE_ORIGIN_SETUP,
	coverage.Missing: v1.CoverageOrigin_COVERAGE_ORIGIN_MISSING,
}

func rowMessage(t *puzzle.Type, r coverage.Row) *v1.CoverageRow {
	return &v1.CoverageRow{
		Class: int32(r.Class), Cycle: CycleMessage(t, r.Slots), Cycles: int64(r.Cycles), Origin: origins[r.How],
		Sequence: r.Sequence, Length: int32(r.Length), Proven: r.Proven, LeastLength: int32(r.AtLeast),
		Setup: r.Setup, Base: r.Base, Axes: int32(r.Lines),
	}
}

// CycleMessage writes a 3-cycle as the API has it.
func CycleMessage(t *puzzle.Type, c goal.Cycle) *v1.Cycle {
	return effects.ChangeMessages(t, c.Change(t))[0]
}
