package searches

import (
	"cmp"
	"context"
	"errors"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	v1 "turnwright/api/turnwright/v1"
	"turnwright/server/fail"
	"turnwright/server/page"
	"turnwright/server/share"
	"turnwright/storage"
)

var cancelReasons = map[string]v1.CancelReason{
	"":                      v1.CancelReason_CANCEL_REASON_USER,
	storage.EndedByStopTime: v1.CancelReason_CANCEL_REASON_STOP_TIME,
	storage.EndedByBudget:   v1.CancelReason_CANCEL_REASON_CORE_BUDGET,
}

// readWishes reads what a new search says of when and how long it is worked on.
func readWishes(m *v1.Search, now time.Time) (storage.Wishes, error) {
	var w storage.Wishes
	return w, cmp.Or(
		readPriority(&w, "search.priority", m.GetPriority()),
		readStopTime(&w, "search.stop_time", m.GetStopTime(), now),
		readBudget(&w, "search.core_budget", m.GetCoreBudget()),
	)
}

func readPriority(w *storage.Wishes, field string, priority int32) error {
	if priority < share.LeastPriority || priority > share.MostPriority {
		return fail.Field(field, "%d: use %d to %d", priority, share.LeastPriority, share.MostPriority)
	}
	w.Priority = int(priority)
	return nil
}

func readStopTime(w *storage.Wishes, field string, t *timestamppb.Timestamp, now time.Time) error {
	if t == nil {
		return nil
	}
	if err := t.CheckValid(); err != nil {
		return fail.Field(field, "%v", err)
	}
	if !t.AsTime().After(now) {
		return fail.Field(field, "%s is over: here it is %s", t.AsTime().Format(time.RFC3339), now.UTC().Format(time.RFC3339))
	}
	w.StopAt = t.AsTime()
	return nil
}

func readBudget(w *storage.Wishes, field string, d *durationpb.Duration) error {
	if d == nil {
		return nil
	}
	if err := d.CheckValid(); err != nil {
		return fail.Field(field, "%v", err)
	}
	if d.AsDuration() < 0 {
		return fail.Field(field, "%v: must not be negative", d.AsDuration())
	}
	w.CoreBudget = d.AsDuration()
	return nil
}

// tellWishes writes wishes as the API has them.
func tellWishes(out *v1.Search, w storage.Wishes) {
	out.Priority = int32(w.Priority)
	out.StopTime = stamp(w.StopAt)
	if w.CoreBudget > 0 {
		out.CoreBudget = durationpb.New(w.CoreBudget)
	}
}

// RescheduleSearch changes when and how long a search is worked on.
func (s *Service) RescheduleSearch(ctx context.Context, req *v1.RescheduleSearchRequest) (*v1.RescheduleSearchResponse, error) {
	id, err := ReadID("name", req.GetName())
	if err != nil {
		return nil, err
	}
	if req.GetClearStopTime() && req.GetStopTime() != nil {
		return nil, fail.Field("clear_stop_time", "must not be set beside stop_time")
	}
	var w storage.Wishes
	err = cmp.Or(
		readPriority(&w, "priority", req.GetPriority()),
		readStopTime(&w, "stop_time", req.GetStopTime(), time.Now()),
		readBudget(&w, "core_budget", req.GetCoreBudget()),
	)
	if err != nil {
		return nil, err
	}
	named := proto.CloneOf(req)
	named.RequestId = ""
	body, err := proto.MarshalOptions{Deterministic: true}.Marshal(named)
	if err != nil {
		return nil, err
	}
	r, err := page.Request(ctx, req.GetRequestId(), "RescheduleSearch", string(body))
	if err != nil {
		return nil, err
	}
	search, err := s.store.Reschedule(ctx, r, id, func(now *storage.Wishes) {
		if req.Priority != nil {
			now.Priority = w.Priority
		}
		if req.GetStopTime() != nil || req.GetClearStopTime() {
			now.StopAt = w.StopAt
		}
		if req.GetCoreBudget() != nil {
			now.CoreBudget = w.CoreBudget
		}
	})
	if errors.Is(err, storage.ErrState) {
		return nil, fail.Precondition(v1.ErrorReason_ERROR_REASON_SEARCH_ENDED, req.GetName(), err.Error())
	}
	if err != nil {
		return nil, Explain(req.GetName(), err)
	}
	auditOthers(ctx, "reschedule search", search)
	s.runner.Changed(ctx, id)
	return &v1.RescheduleSearchResponse{Search: s.message(search)}, nil
}
