package searches

import (
	"context"
	"fmt"

	v1 "turnwright/api/turnwright/v1"
	"turnwright/search/deepen"
	"turnwright/search/notation"
	"turnwright/server/fail"
	"turnwright/server/fits"
	"turnwright/server/joins"
	"turnwright/storage"
)

// Searches that carry the moves before and after what they look for. The search itself is
// the same; its findings are written in the form that costs least between the moves, and
// ranked by that.

// between tells whether a search has moves.
func between(s storage.Search) bool { return s.Spec.Before != "" || s.Spec.After != "" }

// readMoves checks the moves of a search, and writes them out.
func readMoves(q deepen.Question, spec *storage.Spec) error {
	for _, side := range []struct {
		field string
		moves *string
	}{{"search.before", &spec.Before}, {"search.after", &spec.After}} {
		if *side.moves == "" {
			continue
		}
		if !q.Goal.Shape.ThreeCycle() {
			return fail.Field(side.field, "only 3-cycles are ranked between moves: leave it out, or ask for another shape")
		}
		turns, err := fits.ReadMoves(q.Puzzle, side.field, *side.moves)
		if err != nil {
			return err
		}
		*side.moves = notation.Print(q.Puzzle, turns)
	}
	return nil
}

// ranked gives the findings of a search between its moves.
func (f *Findings) ranked(ctx context.Context, search storage.Search) (*joins.Ranked, error) {
	r, err := f.joins.Get(ctx, search, "parent", search.Spec.Before, search.Spec.After)
	return r, Explain("searches/"+search.ID, err)
}

// listBetween gives findings by net length.
func (f *Findings) listBetween(ctx context.Context, req *v1.ListFindingsRequest, search storage.Search, size int) (*v1.ListFindingsResponse, error) {
	query := fmt.Sprintf("findings between %d", search.Number)
	from := 0
	if err := f.searches.pages.Open(req.GetPageToken(), query, &from); err != nil {
		return nil, err
	}
	w, err := f.writer(search)
	if err != nil {
		return nil, err
	}
	if w.ranked, err = f.ranked(ctx, search); err != nil {
		return nil, err
	}
	page, more, err := w.ranked.Page(ctx, from, size)
	if err != nil {
		return nil, err
	}
	out := &v1.ListFindingsResponse{}
	if more {
		out.NextPageToken = f.searches.pages.Seal(query, from+size)
	}
	for _, j := range page {
		m, err := w.joined(j)
		if err != nil {
			return nil, err
		}
		out.Findings = append(out.Findings, m)
	}
	return out, nil
}

// joined writes a finding in the form that goes between the moves.
func (w *writer) joined(j joins.Joined) (*v1.Finding, error) {
	f := j.Finding
	f.Text = w.ranked.Bench.Text(j.Sequence)
	f.Change = j.Sequence.Cycle.Change(w.typ).String()
	m, err := w.alone(f)
	if err != nil {
		return nil, err
	}
	m.Joined = w.ranked.Message(j)
	return m, nil
}
