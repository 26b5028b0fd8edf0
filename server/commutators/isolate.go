package commutators

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"

	v1 "turnwright/api/turnwright/v1"
	"turnwright/search/isolate"
	"turnwright/search/notation"
	"turnwright/server/effects"
	"turnwright/server/fail"
)

// IsolatePieces tells what a part isolates, with each short part.
func (s *Service) IsolatePieces(ctx context.Context, req *v1.IsolatePiecesRequest) (*v1.IsolatePiecesResponse, error) {
	limit, err := readLimit(req.GetLimit())
	if err != nil {
		return nil, err
	}
	m, err := readLength("max_length", req.GetMaxLength(), 1, maxY)
	if err != nil {
		return nil, err
	}
	if _, ok := v1.MeetingFilter_name[int32(req.GetFilter())]; !ok {
		return nil, fail.Field("filter", "%d is no filter", int32(req.GetFilter()))
	}
	q, err := s.question(ctx, req.GetGoal(), req.GetMetric())
	if err != nil {
		return nil, err
	}
	x, err := notation.ParseTurns(q.p, req.GetPart())
	switch {
	case err != nil:
	case len(x) == 0:
		err = errors.New("a part of no turns isolates nothing")
	case len(x) > maxPart:
		err = fmt.Errorf("%d turns, a part may have %d", len(x), maxPart)
	}
	if err != nil {
		return nil, effects.Refusal("part", err)
	}
	done, err := s.turn(ctx)
	if err != nil {
		return nil, err
	}
	defer done()
	b, err := q.bench()
	if err != nil {
		return nil, err
	}
	meetings, err := b.With(x, m)
	if err != nil {
		return nil, fail.Field("max_length", "%w", err)
	}
	out := &v1.IsolatePiecesResponse{Part: notation.Print(q.p, x)}
	var kept []isolate.Meeting
	let := 0
	for meeting := range meetings {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		out.Tried++
		wanted := meeting.Candidate != nil
		if meeting.Isolates {
			out.Isolating++
		}
		if wanted {
			out.Wanted++
		}
		switch req.GetFilter() {
		case v1.MeetingFilter_MEETING_FILTER_WANTED:
			if !wanted {
				continue
			}
		case v1.MeetingFilter_MEETING_FILTER_ISOLATING:
			if !wanted && !meeting.Isolates {
				continue
			}
		}
		let++
		if kept = append(kept, meeting); len(kept) >= 2*limit {
			slices.SortStableFunc(kept, compare)
			kept = slices.Delete(kept, limit, len(kept))
		}
	}
	slices.SortStableFunc(kept, compare)
	out.Meetings = fitting(kept[:min(limit, len(kept))], func(m isolate.Meeting) *v1.Meeting { return q.meeting(b, m) })
	out.LeftOut = int32(let - len(out.Meetings))
	return out, nil
}

// compare puts what is wanted first, then what isolates, then what moves less.
func compare(x, y isolate.Meeting) int {
	if x.Candidate != nil && y.Candidate != nil {
		switch {
		case x.Candidate.Before(*y.Candidate):
			return -1
		case y.Candidate.Before(*x.Candidate):
			return 1
		}
		return 0
	}
	first := func(x, y bool) int {
		switch {
		case x && !y:
			return -1
		case y && !x:
			return 1
		}
		return 0
	}
	return cmp.Or(first(x.Candidate != nil, y.Candidate != nil), first(x.Isolates, y.Isolates),
		cmp.Compare(sum(x.Moved), sum(y.Moved)), cmp.Compare(x.Cost, y.Cost))
}

func sum(counts []int) int {
	n := 0
	for _, c := range counts {
		n += c
	}
	return n
}

// meeting writes a meeting as the API has it.
func (q *question) meeting(b *isolate.Bench, m isolate.Meeting) *v1.Meeting {
	out := &v1.Meeting{
		Part: m.Text, Length: int32(m.Cost), Isolates: m.Isolates,
		Cycles: effects.ChangeMessages(&q.p.Types[q.goal.Cycle], m.Change),
	}
	slices.SortStableFunc(out.Cycles, func(x, y *v1.Cycle) int { return cmp.Compare(y.GetLength(), x.GetLength()) })
	for i := range q.p.Types {
		t := &q.p.Types[i]
		if pieces := m.Shared[i].Pieces(); len(pieces) > 0 {
			out.Shared = append(out.Shared, &v1.PieceSet{Type: t.Name, Labels: named(q.p, t, pieces)})
		}
		if m.Moved[i] > 0 {
			out.Moved = append(out.Moved, &v1.PieceCount{Type: t.Name, Pieces: int32(m.Moved[i])})
		}
	}
	if m.Candidate != nil {
		out.Commutator = q.commutator(b, *m.Candidate)
	}
	return out
}
