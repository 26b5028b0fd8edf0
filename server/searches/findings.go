package searches

import (
	"context"
	"errors"
	"fmt"

	v1 "turnwright/api/turnwright/v1"
	"turnwright/search/effect"
	"turnwright/search/goal"
	"turnwright/search/notation"
	"turnwright/search/puzzle"
	"turnwright/search/solve"
	"turnwright/server/effects"
	"turnwright/server/engine"
	"turnwright/server/joins"
	"turnwright/server/page"
	"turnwright/server/readings"
	"turnwright/server/sending"
	"turnwright/storage"
)

// Findings answers turnwright.v1.FindingService.
type Findings struct {
	v1.UnimplementedFindingServiceServer
	searches *Service
	stopping <-chan struct{} // closed when the server begins to stop
	out      *sending.Sender
	readings *readings.Readings
	joins    *joins.Joins
}

// NewFindings makes the service. Streams end when stopping is closed.
func NewFindings(s *Service, r *readings.Readings, j *joins.Joins, stopping <-chan struct{}) *Findings {
	return &Findings{
		searches: s, readings: r, joins: j, stopping: stopping, out: sending.New(stopping, "go on with the last cursor"),
	}
}

// Wait returns when nothing is being sent any more. The calls must have ended.
func (f *Findings) Wait() { f.out.Wait() }

// ListFindings gives findings in rank order.
func (f *Findings) ListFindings(ctx context.Context, req *v1.ListFindingsRequest) (*v1.ListFindingsResponse, error) {
	size, err := page.Size(req.GetPageSize())
	if err != nil {
		return nil, err
	}
	search, err := f.searches.find(ctx, "parent", req.GetParent())
	if err != nil {
		return nil, err
	}
	if between(search) {
		return f.listBetween(ctx, req, search, size)
	}
	query := fmt.Sprintf("findings %d", search.Number)
	var after spot
	if err := f.searches.pages.Open(req.GetPageToken(), query, &after); err != nil {
		return nil, err
	}
	w, err := f.writer(search)
	if err != nil {
		return nil, err
	}
	found, err := f.page(ctx, w, after, size+1)
	if err != nil {
		return nil, err
	}
	out := &v1.ListFindingsResponse{}
	if len(found) > size {
		found = found[:size]
		last, err := w.spot(found[size-1])
		if err != nil {
			return nil, err
		}
		out.NextPageToken = f.searches.pages.Seal(query, last)
	}
	out.Findings, err = w.messages(ctx, found)
	return out, err
}

// writer writes the findings of one search as the API has them.
type writer struct {
	search storage.Search
	p      *puzzle.Puzzle
	typ    *puzzle.Type   // whose pieces are cycled; nil for a position or a study
	asked  solve.Question // of a position
	reads  readings.Reader
	ranked *joins.Ranked // findings between moves; nil for a search without
}

func (f *Findings) writer(search storage.Search) (*writer, error) {
	p, err := f.searches.library.Build(search.Spec.Definition)
	if err != nil {
		return nil, err
	}
	metric, err := puzzle.ParseMetric(search.Spec.Metric)
	if err != nil {
		return nil, err
	}
	w := &writer{search: search, p: p, reads: f.readings.For(p, metric)}
	if search.Spec.Study != nil {
		return w, nil
	}
	if search.Spec.Position != nil {
		w.asked, err = engine.PositionQuestion(f.searches.library, search.Spec)
		return w, err
	}
	t, ok := p.TypeByName(search.Spec.Cycle)
	if !ok {
		return nil, errors.New("the search's piece type is not in its puzzle")
	}
	w.typ = &p.Types[t]
	return w, nil
}

func (w *writer) message(f storage.Finding) (*v1.Finding, error) {
	if w.ranked == nil {
		return w.alone(f)
	}
	j, err := w.ranked.Join(f)
	if err != nil {
		return nil, err
	}
	return w.joined(j)
}

// alone writes a finding as it is.
func (w *writer) alone(f storage.Finding) (*v1.Finding, error) {
	var turns []puzzle.Turn
	if f.Text != "" { // nothing to do is no sequence that could be read
		var err error
		if turns, err = notation.ParseTurns(w.p, f.Text); err != nil {
			return nil, fmt.Errorf("stored sequence %q: %w", f.Text, err)
		}
	}
	given := w.search.Spec.Study
	made := f.Structure
	if given != nil { // it says how, and not of which parts
		made = ""
	}
	reading, err := w.reads.ReadAs(f.Text, made)
	if err != nil {
		return nil, fmt.Errorf("stored sequence: %w", err)
	}
	e := effect.Describe(w.p, turns)
	out := &v1.Finding{
		Name:  fmt.Sprintf("searches/%s/findings/%s", w.search.ID, f.ID),
		Class: int32(f.Class), ClassesTotal: int32(w.search.Spec.Classes), ClassCycles: f.Size,
		Sequence: f.Text, Length: int32(f.Length), Lengths: effects.Lengths(e.Lengths), Axes: int32(f.Axes),
		Place: int32(max(1, f.Place)), Revision: int32(f.Revision), Rotation: e.Rotation,
		Explanation: effects.ReadingMessage(reading),
	}
	if given != nil {
		out.Class, out.Rotation = 0, ""
		out.Shortening = &v1.Shortening{Saved: int32(given.Length - f.Length), By: f.Structure, Round: int32(f.Class)}
		return out, nil
	}
	if w.typ == nil {
		held, err := solve.Held(w.asked, solve.Solution{Turns: turns, Text: f.Text})
		out.Rotation = effect.RotationText(w.p, held)
		return out, err
	}
	change, err := goal.ParseChange(w.typ, f.Change)
	if err != nil {
		return nil, fmt.Errorf("stored finding %s: %w", f.ID, err)
	}
	parts := effects.ChangeMessages(w.typ, change)
	if len(parts) == 0 {
		return nil, fmt.Errorf("stored sequence %q does nothing", f.Text)
	}
	out.Cycle, out.Parts = parts[0], parts
	return out, nil
}

// messages writes findings as the API has them, in their order.
func (w *writer) messages(ctx context.Context, found []storage.Finding) ([]*v1.Finding, error) {
	texts := make([]string, len(found))
	for i := range found {
		texts[i] = found[i].Text
	}
	if _, err := w.reads.ReadAll(ctx, texts); err != nil { // on all cores, and kept
		return nil, err
	}
	out := make([]*v1.Finding, len(found))
	for i := range found {
		var err error
		if out[i], err = w.message(found[i]); err != nil {
			return nil, err
		}
	}
	return out, nil
}
