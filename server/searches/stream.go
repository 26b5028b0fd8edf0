package searches

import (
	"context"
	"errors"
	"fmt"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	v1 "turnwright/api/turnwright/v1"
	"turnwright/server/fail"
	"turnwright/server/joins"
	"turnwright/storage"
)

// Times of a stream.
const (
	progressEvery  = time.Second
	heartbeatAfter = 15 * time.Second
	batch          = 200 // findings read from the store at once; none is open while they are sent
)

// place is where a stream is. First it replays, in rank order, what had come by
// event Until; then it follows the events after that. Each finding has one
// event, that of its latest revision, so it is sent in one of the two parts.
type place struct {
	Until  uint64       `json:"u"`           // events up to here are replayed
	Rank   storage.Rank `json:"r,omitempty"` // last one replayed
	Joined *joins.Place `json:"j,omitempty"` // the same, of a search with moves
	Live   bool         `json:"l,omitempty"` // the replay is over
	Events uint64       `json:"e,omitempty"` // last event followed
}

// StreamFindings sends what is there and what comes.
func (f *Findings) StreamFindings(req *v1.StreamFindingsRequest, out grpc.ServerStreamingServer[v1.StreamFindingsResponse]) error {
	ctx := out.Context()
	search, err := f.searches.find(ctx, "parent", req.GetParent())
	if err != nil {
		return err
	}
	s := &stream{
		f: f, ctx: ctx, out: out, id: search.ID, number: search.Number, query: fmt.Sprintf("stream %d", search.Number),
		at: place{Until: search.Events},
	}
	if req.GetCursor() != "" {
		if err := f.searches.pages.Unseal(req.GetCursor(), s.query, &s.at); err != nil {
			return fail.Refused(v1.ErrorReason_ERROR_REASON_CURSOR_INVALID, "cursor",
				errors.New("the cursor is not one of this search: begin without one"))
		}
	}
	if s.w, err = f.writer(search); err != nil {
		return err
	}
	if between(search) {
		if s.w.ranked, err = f.ranked(ctx, search); err != nil {
			return err
		}
	}
	return s.run()
}

type stream struct {
	f      *Findings
	ctx    context.Context
	out    grpc.ServerStreamingServer[v1.StreamFindingsResponse]
	id     string
	number uint64 // an id can come back, a number can not
	query  string
	w      *writer
	at     place
	told   *v1.Search // the search as it was last sent
}

func (s *stream) run() error {
	changed, end := s.f.searches.runner.Watch(s.id)
	defer end()
	progress := time.NewTicker(progressEvery)
	defer progress.Stop()
	heartbeat := time.NewTimer(heartbeatAfter)
	defer heartbeat.Stop()
	if err := s.replay(); err != nil {
		return err
	}
	for {
		// The state is read before the events: what an ended search has found
		// has then surely come.
		search, err := s.f.searches.store.Search(s.ctx, s.id)
		if errors.Is(err, storage.ErrNotFound) || err == nil && search.Number != s.number { // another one of that id
			return fail.NoSuch(v1.ErrorReason_ERROR_REASON_SEARCH_NOT_FOUND, "search", "searches/"+s.id)
		}
		if err != nil {
			return err
		}
		sent, err := s.follow()
		if err != nil {
			return err
		}
		if search.State.Ended() {
			return s.send(&v1.StreamFindingsResponse{Event: &v1.StreamFindingsResponse_Search{Search: s.f.searches.message(search)}})
		}
		if m := s.f.searches.message(search); !proto.Equal(m, s.told) {
			s.told = m
			sent = true
			if err := s.send(&v1.StreamFindingsResponse{Event: &v1.StreamFindingsResponse_Search{Search: m}}); err != nil {
				return err
			}
		}
		if sent {
			heartbeat.Reset(heartbeatAfter)
		}
		select {
		case <-changed:
		case <-progress.C:
		case now := <-heartbeat.C:
			heartbeat.Reset(heartbeatAfter)
			err := s.send(&v1.StreamFindingsResponse{Event: &v1.StreamFindingsResponse_Heartbeat{
				Heartbeat: &v1.Heartbeat{Time: timestamppb.New(now)},
			}})
			if err != nil {
				return err
			}
		case <-s.f.stopping:
			return s.f.out.ErrStopping
		case <-s.ctx.Done():
			return s.ctx.Err()
		}
	}
}

// replay sends what is there, in the order of the store or, between moves, by net length.
func (s *stream) replay() error {
	if s.w.ranked != nil && !s.at.Live {
		for _, j := range s.w.ranked.Until(s.at.Until) {
			at := j.Place()
			if s.at.Joined != nil && at.Compare(*s.at.Joined) <= 0 {
				continue
			}
			s.at.Joined = &at
			m, err := s.w.joined(j)
			if err == nil {
				err = s.send(&v1.StreamFindingsResponse{Event: &v1.StreamFindingsResponse_Finding{Finding: m}})
			}
			if err != nil {
				return err
			}
		}
		s.at = place{Live: true, Events: s.at.Until}
	}
	for !s.at.Live {
		scan := storage.FindingScan{After: s.at.Rank, Until: s.at.Until, Limit: batch}
		found, err := s.f.searches.store.Findings(s.ctx, s.id, scan)
		if err != nil {
			return err
		}
		for i := range found {
			s.at.Rank = found[i].Rank()
			if err := s.finding(found[i]); err != nil {
				return err
			}
		}
		if len(found) < batch {
			s.at = place{Live: true, Events: s.at.Until}
		}
	}
	return nil
}

// follow sends what came since.
func (s *stream) follow() (sent bool, err error) {
	for {
		found, err := s.f.searches.store.Events(s.ctx, s.id, s.at.Events, batch)
		if err != nil {
			return sent, err
		}
		for _, f := range found {
			s.at.Events = f.Event
			if err := s.finding(f); err != nil {
				return sent, err
			}
			sent = true
		}
		if len(found) < batch {
			return sent, nil
		}
	}
}

func (s *stream) finding(f storage.Finding) error {
	m, err := s.w.message(f)
	if err != nil {
		return err
	}
	return s.send(&v1.StreamFindingsResponse{Event: &v1.StreamFindingsResponse_Finding{Finding: m}})
}

// send sends an event with the cursor from which the stream goes on after it.
func (s *stream) send(m *v1.StreamFindingsResponse) error {
	m.Cursor = s.f.searches.pages.Seal(s.query, s.at)
	return s.f.out.Send(s.ctx, func() error { return s.out.Send(m) })
}
