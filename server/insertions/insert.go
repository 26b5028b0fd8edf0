// Package insertions serves sequences that were found inside solutions.
//
// The one idea: what can be put in is what the searches in the store have found,
// for each type of piece that is wrong, and what follows from it. So the answer says
// where its sequences came from, and where there are none it says which search to run.
package insertions

import (
	"cmp"
	"context"
	"errors"
	"time"

	v1 "turnwright/api/turnwright/v1"
	"turnwright/search/goal"
	"turnwright/search/improve"
	"turnwright/search/puzzle"
	"turnwright/server/coverage"
	"turnwright/server/fail"
	"turnwright/server/fits"
	"turnwright/server/joins"
	"turnwright/server/page"
	"turnwright/server/puzzles"
	"turnwright/server/read"
	"turnwright/server/readings"
)

// Service answers turnwright.v1.InsertionService.
type Service struct {
	v1.UnimplementedInsertionServiceServer
	tables    *coverage.Tables
	library   *puzzles.Library
	store     Store
	joins     *joins.Joins
	readings  *readings.Readings
	pages     *page.Tokens
	libraries libraries
	working   chan struct{} // holds a token for each call that looks for insertions
}

// NewService makes the service.
func NewService(t *coverage.Tables, l *puzzles.Library, store Store, j *joins.Joins, r *readings.Readings, pages *page.Tokens) *Service {
	return &Service{
		tables: t, library: l, store: store, joins: j, readings: r, pages: pages,
		libraries: libraries{turn: make(chan struct{}, 1)}, working: make(chan struct{}, maxWorking),
	}
}

// Bounds of a request.
const (
	maxBeam    = 10_000
	maxLimit   = 100             // results, so that an answer stays about a megabyte
	maxBeyond  = 100             // results looked at beyond those wanted: they may be as short, and simpler
	maxPage    = 200             // findings between moves, for the same reason
	maxCycles  = 9               // types: no more can be wrong
	maxTime    = 2 * time.Minute // that one call may take
	maxWorking = 2               // calls that look for insertions at once
)

// InsertSequences finds the best places for sequences in a solution.
func (s *Service) InsertSequences(ctx context.Context, req *v1.InsertSequencesRequest) (*v1.InsertSequencesResponse, error) {
	p, problem, err := s.problem(ctx, req)
	if err != nil {
		return nil, err
	}
	m, err := read.Metric("metric", req.GetMetric())
	if err != nil {
		return nil, err
	}
	types, err := s.types(p, req.GetCycles(), problem)
	if err != nil {
		return nil, err
	}
	ctx, done := context.WithTimeout(ctx, maxTime)
	defer done()
	select {
	case s.working <- struct{}{}:
		defer func() { <-s.working }()
	case <-ctx.Done():
		return nil, ctx.Err()
	}
	known, sources, err := s.known(ctx, p, m, types)
	if err != nil {
		return nil, err
	}
	lib, err := s.libraries.get(ctx, p, m, known)
	if err != nil {
		return nil, err
	}
	limit := cmp.Or(problem.Limit, improve.DefaultLimit)
	problem.Limit = limit + maxBeyond
	results, err := lib.Insert(ctx, problem)
	if errors.Is(err, improve.ErrSolved) || errors.Is(err, improve.ErrNoWay) {
		return nil, refusedSolution(err)
	}
	if err != nil {
		return nil, err
	}
	reader := s.readings.For(p, m)
	err = readings.Rank(ctx, reader, results.Results, inserted, func(x, y improve.Result) bool {
		return x.Length == y.Length && x.Lines == y.Lines
	})
	if err != nil {
		return nil, err
	}
	results.Results = results.Results[:min(limit, len(results.Results))]
	out := response(results, sources)
	return out, explain(ctx, reader, out)
}

// explain says how what is put in reads.
func explain(ctx context.Context, r readings.Reader, out *v1.InsertSequencesResponse) error {
	for _, solution := range out.GetSolutions() {
		texts := make([]string, len(solution.GetInsertions()))
		for i, in := range solution.GetInsertions() {
			texts[i] = in.GetSequence()
		}
		read, err := r.Messages(ctx, texts)
		if err != nil {
			return err
		}
		for i, in := range solution.GetInsertions() {
			in.Explanation = read[i]
		}
	}
	return nil
}

// inserted are the sequences that a result puts in.
func inserted(r improve.Result) []string {
	var out []string
	for _, in := range r.Insertions {
		out = append(out, in.Sequence)
	}
	return out
}

// problem checks all that a client can say, the types aside.
func (s *Service) problem(ctx context.Context, req *v1.InsertSequencesRequest) (*puzzle.Puzzle, improve.Problem, error) {
	pr := improve.Problem{Insertions: int(req.GetInsertions()), Limit: int(req.GetLimit()), Beam: int(req.GetBeam())}
	switch {
	case pr.Insertions < 0 || pr.Insertions > improve.MaxInsertions:
		return nil, pr, fail.Field("insertions", "%d: use 1 to %d", pr.Insertions, improve.MaxInsertions)
	case pr.Limit < 0 || pr.Limit > maxLimit:
		return nil, pr, fail.Field("limit", "%d: use 1 to %d", pr.Limit, maxLimit)
	case pr.Beam < 0 || pr.Beam > maxBeam:
		return nil, pr, fail.Field("beam", "%d: use 1 to %d", pr.Beam, maxBeam)
	case len(req.GetCycles()) > maxCycles:
		return nil, pr, fail.Field("cycles", "%d types, at most %d are taken", len(req.GetCycles()), maxCycles)
	}
	pr.Insertions = max(pr.Insertions, 1)
	if err := read.Names("cycles", req.GetCycles()); err != nil {
		return nil, pr, err
	}
	if err := read.Names("puzzle", []string{req.GetPuzzle()}); err != nil {
		return nil, pr, err
	}
	p, err := s.library.Find(ctx, req.GetPuzzle())
	if err != nil {
		return nil, pr, err
	}
	if pr.Scramble, err = fits.ReadScramble(p, req.GetScramble()); err != nil {
		return nil, pr, err
	}
	pr.Solution, err = fits.ReadMoves(p, "solution", req.GetSolution())
	return p, pr, err
}

// types are those named, or those that have pieces wrong.
func (s *Service) types(p *puzzle.Puzzle, names []string, pr improve.Problem) ([]int, error) {
	wrong, err := improve.Wrong(p, pr.Scramble, pr.Solution)
	if err != nil {
		return nil, refusedSolution(err)
	}
	var out []int
	for i, n := range wrong {
		if len(names) == 0 && n > 0 {
			out = append(out, i)
		}
	}
	seen := map[int]bool{}
	for _, name := range names {
		g, err := goal.New(p, name, nil, nil)
		if err != nil {
			return nil, refused("cycles", err)
		}
		if !seen[g.Cycle] {
			seen[g.Cycle] = true
			out = append(out, g.Cycle)
		}
	}
	return out, nil
}

// known gives the tables of pure 3-cycles of some types.
func (s *Service) known(ctx context.Context, p *puzzle.Puzzle, m puzzle.Metric, types []int) ([]*coverage.Known, []*v1.InsertionSource, error) {
	var known []*coverage.Known
	var sources []*v1.InsertionSource
	var none []int
	for _, i := range types {
		typ := &p.Types[i]
		g, err := goal.New(p, typ.Name, nil, nil)
		if err != nil {
			return nil, nil, refused("cycles", err)
		}
		ask := coverage.NewAsk(p, g, m, v1.Core_CORE_KEPT, perClass(typ))
		k, err := s.tables.Get(ctx, ask)
		if err != nil {
			return nil, nil, err
		}
		if k.Sequences == 0 {
			none = append(none, i)
		}
		known = append(known, k)
		sources = append(sources, source(ask, k))
	}
	if len(none) > 0 {
		return nil, nil, coverage.NoSequences(p, m, none...)
	}
	return known, sources, nil
}

func refused(field string, err error) error {
	return fail.Refused(v1.ErrorReason_ERROR_REASON_GOAL_REFUSED, field, err)
}

func refusedSolution(err error) error {
	return fail.Refused(v1.ErrorReason_ERROR_REASON_SOLUTION_REFUSED, "solution", err)
}

func source(ask coverage.Ask, k *coverage.Known) *v1.InsertionSource {
	out := &v1.InsertionSource{
		Goal: ask.Message(), Searches: int32(k.Searches), Sequences: int32(k.Sequences),
		ProvenLength: int32(k.Table.Proven()), Classes: int32(len(k.Rows)), SequencesPerClass: int32(ask.Keep),
	}
	for _, row := range k.Rows {
		if row.Sequence == "" {
			out.Missing++
		}
	}
	return out
}

func response(r improve.Results, sources []*v1.InsertionSource) *v1.InsertSequencesResponse {
	out := &v1.InsertSequencesResponse{Skeleton: r.Skeleton, Length: int32(r.Length), Exact: r.Exact, Sources: sources}
	for _, result := range r.Results {
		m := &v1.InsertedSolution{Solution: result.Solution, Length: int32(result.Length)}
		for _, in := range result.Insertions {
			m.Insertions = append(m.Insertions, &v1.Insertion{
				Before: in.Before, Sequence: in.Sequence, After: in.After, Length: int32(in.Length), Net: int32(in.Net),
			})
		}
		out.Solutions = append(out.Solutions, m)
	}
	return out
}
