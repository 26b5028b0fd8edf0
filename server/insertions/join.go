package insertions

import (
	"context"
	"fmt"

	v1 "turnwright/api/turnwright/v1"
	"turnwright/server/coverage"
	"turnwright/server/page"
	"turnwright/server/searches"
	"turnwright/storage"
)

// Store is what the service needs of storage.
type Store interface {
	Search(ctx context.Context, id string) (storage.Search, error)
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
	ranked, err := s.joins.Get(ctx, search, "parent", req.GetBefore(), req.GetAfter())
	if err != nil {
		return nil, searches.Explain(req.GetParent(), err)
	}
	joined, more, err := ranked.Page(ctx, from, size)
	if err != nil {
		return nil, err
	}
	out := &v1.JoinFindingsResponse{}
	if more {
		out.NextPageToken = s.pages.Seal(query, from+size)
	}
	texts := make([]string, len(joined))
	typ := &ranked.Bench.Puzzle.Types[ranked.Bench.Goal.Cycle]
	for i, j := range joined {
		texts[i] = ranked.Bench.Text(j.Sequence)
		out.Findings = append(out.Findings, &v1.JoinedFinding{
			Finding: fmt.Sprintf("searches/%s/findings/%s", search.ID, j.Finding.ID), Class: int32(j.Finding.Class),
			Sequence: texts[i], Length: int32(j.Sequence.Length),
			Cycle: coverage.CycleMessage(typ, j.Sequence.Cycle), Joined: ranked.Message(j),
		})
	}
	read, err := s.readings.For(ranked.Bench.Puzzle, ranked.Bench.Metric).Messages(ctx, texts)
	if err != nil {
		return nil, err
	}
	for i, f := range out.Findings {
		f.Explanation = read[i]
	}
	return out, nil
}
