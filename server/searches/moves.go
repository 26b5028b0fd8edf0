package searches

import (
	"context"
	"errors"

	v1 "turnwright/api/turnwright/v1"
	"turnwright/server/access"
	"turnwright/server/fail"
	"turnwright/server/page"
	"turnwright/storage"
)

// CancelSearch ends a search.
func (s *Service) CancelSearch(ctx context.Context, req *v1.CancelSearchRequest) (*v1.CancelSearchResponse, error) {
	search, err := s.move(ctx, "CancelSearch", req, storage.Cancelled)
	if err != nil {
		return nil, err
	}
	return &v1.CancelSearchResponse{Search: search}, nil
}

// PauseSearch holds a search.
func (s *Service) PauseSearch(ctx context.Context, req *v1.PauseSearchRequest) (*v1.PauseSearchResponse, error) {
	search, err := s.move(ctx, "PauseSearch", req, storage.Paused)
	if err != nil {
		return nil, err
	}
	return &v1.PauseSearchResponse{Search: search}, nil
}

// ResumeSearch queues a paused search again.
func (s *Service) ResumeSearch(ctx context.Context, req *v1.ResumeSearchRequest) (*v1.ResumeSearchResponse, error) {
	search, err := s.move(ctx, "ResumeSearch", req, storage.Queued)
	if err != nil {
		return nil, err
	}
	return &v1.ResumeSearchResponse{Search: search}, nil
}

// move brings the search that a request names into a state, and tells the runner.
func (s *Service) move(ctx context.Context, method string, req interface {
	GetName() string
	GetRequestId() string
}, to storage.State) (*v1.Search, error) {
	name := req.GetName()
	r, err := page.Request(ctx, req.GetRequestId(), method, name)
	if err != nil {
		return nil, err
	}
	id, err := ReadID("name", name)
	if err != nil {
		return nil, err
	}
	search, err := s.store.Move(ctx, r, id, to, storage.Detail{})
	if errors.Is(err, storage.ErrState) {
		return nil, fail.Precondition(v1.ErrorReason_ERROR_REASON_SEARCH_ENDED, name, err.Error())
	}
	if err != nil {
		return nil, Explain(name, err)
	}
	auditOthers(ctx, verbs[to], search)
	s.runner.Changed(ctx, search.ID)
	return s.message(search), nil
}

// verbs are what the audit log calls the moves.
var verbs = map[storage.State]string{
	storage.Cancelled: "cancel search", storage.Paused: "pause search", storage.Queued: "resume search",
}

// auditOthers puts on record what was done to another member's search.
func auditOthers(ctx context.Context, act string, search storage.Search) {
	if search.ID != "" && search.Owner != access.From(ctx).ID {
		access.Audit(ctx, act, "searches/"+search.ID, ownerText(search))
	}
}

func ownerText(search storage.Search) string {
	if search.Owner == "" {
		return "of nobody known"
	}
	return "of members/" + search.Owner
}
