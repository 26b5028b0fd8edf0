package insertions

import (
	"context"
	"errors"
	"fmt"

	v1 "turnwright/api/turnwright/v1"
	"turnwright/search/goal"
	"turnwright/search/improve"
	"turnwright/search/notation"
	"turnwright/search/puzzle"
	"turnwright/search/variant"
	"turnwright/server/coverage"
	"turnwright/server/engine"
	"turnwright/server/fits"
	"turnwright/server/page"
	"turnwright/server/searches"
	"turnwright/storage"
)

// Store is what the service needs of storage.
type Store interface {
	Search(ctx context.Context, id string) (storage.Search, error)
	Findings(ctx context.Context, search string, q storage.FindingScan) ([]storage.Finding, error)
}

// JoinFindings ranks the findings of a search by what they cost between moves.
func (s *Service) JoinFindings(ctx context.Context, req *v1.JoinFindingsRequest) (*v1.JoinFindingsResponse, error) {
	size, err := page.Size(req.GetPageSize())
	if err != nil {
		return nil, err
	}
	size = min(size, maxPage)
	id, err := searches.ReadID("parent", req.GetParent())
	if err != nil {
		return nil, err
	}
	search, err := s.store.Search(ctx, id)
	if err != nil {
		return nil, searches.Explain(req.GetParent(), err)
	}
	query := fmt.Sprintf("joined %d %q %q", search.Number, req.GetBefore(), req.GetAfter())
	from := 0
	if err := s.pages.Open(req.GetPageToken(), query, &from); err != nil {
		return nil, err
	}
	if search.Spec.Position != nil {
		return nil, refusedSearch()
	}
	q, err := engine.Question(s.library, search.Spec)
	if err != nil {
		return nil, err
	}
	if !q.Goal.Shape.ThreeCycle() {
		return nil, refusedSearch()
	}
	before, err := fits.ReadMoves(q.Puzzle, "before", req.GetBefore())
	if err != nil {
		return nil, err
	}
	after, err := fits.ReadMoves(q.Puzzle, "after", req.GetAfter())
	if err != nil {
		return nil, err
	}
	joined, err := s.join(ctx, search, q.Puzzle, q.Goal, q.Metric, before, after, from+size)
	if err != nil {
		return nil, err
	}
	out := &v1.JoinFindingsResponse{}
	out.Findings = joined[min(from, len(joined)):min(from+size, len(joined))]
	texts := make([]string, len(out.Findings))
	for i, f := range out.Findings {
		texts[i] = f.GetSequence()
	}
	read, err := s.readings.For(q.Puzzle, q.Metric).Messages(ctx, texts)
	if err != nil {
		return nil, err
	}
	for i, f := range out.Findings {
		f.Explanation = read[i]
	}
	if from+size < len(joined) {
		out.NextPageToken = s.pages.Seal(query, from+size)
	}
	return out, nil
}

func refusedSearch() error {
	return refused("parent", errors.New("only findings of 3-cycles are put between moves"))
}

// join puts all findings of a search between moves, when it is its turn.
func (s *Service) join(ctx context.Context, search storage.Search, p *puzzle.Puzzle, g goal.Goal, m puzzle.Metric, before, after []puzzle.Turn, most int) ([]*v1.JoinedFinding, error) {
	ctx, done := context.WithTimeout(ctx, maxTime)
	defer done()
	select {
	case s.working <- struct{}{}:
		defer func() { <-s.working }()
	case <-ctx.Done():
		return nil, ctx.Err()
	}
	bench, err := variant.NewBench(p, g, m)
	if err != nil {
		return nil, refused("parent", err)
	}
	typ := &p.Types[g.Cycle]
	var sequences []variant.Sequence
	var findings []storage.Finding
	for scan := (storage.FindingScan{Until: storage.AnyEvent, Limit: 500}); ; {
		found, err := s.store.Findings(ctx, search.ID, scan)
		if err != nil {
			return nil, searches.Explain("searches/"+search.ID, err)
		}
		for _, f := range found {
			sequence, err := readFinding(bench, typ, f)
			if err != nil {
				return nil, fmt.Errorf("finding %s of search %s: %w", f.ID, search.ID, err)
			}
			sequence.Origin.Base = len(findings)
			sequences, findings = append(sequences, sequence), append(findings, f)
			scan.After = f.Rank()
		}
		if len(found) < scan.Limit || len(findings) >= improve.MaxJoined-scan.Limit {
			break
		}
	}
	joined, err := improve.Join(ctx, bench, before, after, sequences)
	if err != nil {
		return nil, err
	}
	if err := fits.RankJoined(ctx, s.readings.For(p, m), bench, joined, most); err != nil {
		return nil, err
	}
	out := make([]*v1.JoinedFinding, len(joined))
	for i, j := range joined {
		f := findings[j.Sequence.Origin.Base]
		out[i] = &v1.JoinedFinding{
			Finding: fmt.Sprintf("searches/%s/findings/%s", search.ID, f.ID), Class: int32(f.Class),
			Sequence: f.Text, Length: int32(f.Length),
			Cycle: coverage.CycleMessage(typ, j.Sequence.Cycle), Joined: fits.JoinedMessage(p, j),
		}
	}
	return out, nil
}

func readFinding(b *variant.Bench, typ *puzzle.Type, f storage.Finding) (variant.Sequence, error) {
	turns, err := notation.ParseTurns(b.Puzzle, f.Text)
	if err != nil {
		return variant.Sequence{}, err
	}
	change, err := goal.ParseChange(typ, f.Change)
	if err != nil {
		return variant.Sequence{}, err
	}
	return b.Read(turns, change)
}
