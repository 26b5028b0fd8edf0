package rounds

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"
	"unicode/utf8"

	"google.golang.org/grpc/codes"

	v1 "turnwright/api/turnwright/v1"
	"turnwright/server/access"
	"turnwright/server/fail"
	"turnwright/storage"
)

// UpdateRound changes a round.
func (s *Service) UpdateRound(ctx context.Context, req *v1.UpdateRoundRequest) (*v1.UpdateRoundResponse, error) {
	now := s.opt.Now()
	name := req.GetRound().GetName()
	id, err := roundID("round.name", name)
	if err != nil {
		return nil, err
	}
	r, err := request(ctx, "UpdateRound", req)
	if err != nil {
		return nil, err
	}
	fields := req.GetUpdateMask().GetPaths()
	if len(fields) == 0 {
		return nil, fail.Field("update_mask", "is required: say which of %s to change", strings.Join(all, ", "))
	}
	for _, field := range fields {
		if !slices.Contains(all, field) {
			return nil, fail.Field("update_mask", "%q can't be changed: only %s can", field, strings.Join(all, ", "))
		}
	}
	if err := checkReason(req.GetReason(), false); err != nil {
		return nil, err
	}
	more, err := s.more(ctx, id, req, fields, now)
	if err != nil {
		return nil, err
	}
	caller := access.From(ctx).ID
	round, err := s.store.ChangeRound(ctx, r, id, now, func(r *storage.Round, secret *storage.RoundSecret) error {
		was := *r
		was.Members = slices.Clone(r.Members)
		if err := s.fill(ctx, r, req.GetRound(), fields, now); err != nil {
			return err
		}
		if was.State == storage.RoundOpen {
			return changeOpen(&was, r, req.GetReason(), caller, now)
		}
		if len(more) > len(secret.Scrambles) {
			secret.Scrambles = more
		}
		if r.Attempts > len(secret.Scrambles) {
			return fail.With(codes.Aborted, v1.ErrorReason_ERROR_REASON_FIELD_INVALID, "the round was changed in between: try again")
		}
		return nil
	})
	if err != nil {
		return nil, explain(name, err)
	}
	access.Audit(ctx, "change round", roundName(id), strings.Join(fields, ", "))
	m, err := s.full(ctx, round)
	if err != nil {
		return nil, err
	}
	return &v1.UpdateRoundResponse{Round: m}, nil
}

// more makes the scrambles that a change asks for, if it does. They follow from the seed
// and the way, so it does not matter what else is changed meanwhile.
func (s *Service) more(ctx context.Context, id string, req *v1.UpdateRoundRequest, fields []string, now time.Time) ([]string, error) {
	if !slices.Contains(fields, "attempts") && !slices.Contains(fields, "format") {
		return nil, nil
	}
	round, secret, err := s.store.RoundSecret(ctx, id, now)
	if err != nil {
		return nil, explain(roundName(id), err)
	}
	if err := s.fill(ctx, &round, req.GetRound(), fields, now); err != nil {
		return nil, err
	}
	if round.State != storage.RoundAnnounced || round.Attempts <= len(secret.Scrambles) {
		return nil, nil
	}
	p, err := s.library.Build(round.Definition)
	if err != nil {
		return nil, err
	}
	scrambles, _, err := s.scrambles(ctx, p, &round, secret.Seed)
	return scrambles, err
}

// changeOpen holds the change of an open round against what may be changed, and puts it on
// record.
func changeOpen(was, r *storage.Round, reason, by string, now time.Time) error {
	if err := checkReason(reason, true); err != nil {
		return err
	}
	started := func(field string) error {
		return fail.Precondition(v1.ErrorReason_ERROR_REASON_ROUND_STARTED, roundName(r.ID),
			fmt.Sprintf("round %q has opened: %s can't be changed any more", r.ID, field))
	}
	for field, changed := range map[string]bool{
		"the metric": was.Metric != r.Metric, "the format": was.Format != r.Format, "the number of attempts": was.Attempts != r.Attempts,
		"the time when it opens": !was.Opens.Equal(r.Opens), "the time limit": was.Limit != r.Limit,
		"the greatest length": was.MaxLength != r.MaxLength, "what an entry may contain": was.Notation != r.Notation,
	} {
		if changed {
			return started(field)
		}
	}
	note := func(format string, args ...any) {
		r.Changes = append(r.Changes, storage.RoundChange{Time: now.UTC().Round(0), Member: by, Change: fmt.Sprintf(format, args...), Reason: reason})
	}
	if was.Title != r.Title {
		note("title: %q → %q", was.Title, r.Title)
	}
	if !was.Closes.Equal(r.Closes) {
		note("close_time: %s → %s", was.Closes.UTC().Format(time.RFC3339), r.Closes.UTC().Format(time.RFC3339))
	}
	if slices.Equal(was.Members, r.Members) {
		return nil
	}
	if len(r.Members) == 0 {
		note("members: everybody may take part")
		return nil
	}
	for _, id := range was.Members {
		if !slices.Contains(r.Members, id) {
			return started(memberName(id) + " takes part, which")
		}
	}
	if len(was.Members) == 0 {
		return started("that everybody may take part")
	}
	note("members: %d → %d", len(was.Members), len(r.Members))
	return nil
}

// CloseRound closes a round, or calls it off.
func (s *Service) CloseRound(ctx context.Context, req *v1.CloseRoundRequest) (*v1.CloseRoundResponse, error) {
	id, err := roundID("name", req.GetName())
	if err != nil {
		return nil, err
	}
	r, err := request(ctx, "CloseRound", req)
	if err != nil {
		return nil, err
	}
	if err := checkReason(req.GetReason(), true); err != nil {
		return nil, err
	}
	to, change, act := storage.RoundClosed, "closed early", "close round"
	if req.GetCallOff() {
		to, change, act = storage.RoundCalledOff, "called off", "call round off"
	}
	why := storage.RoundChange{Member: access.From(ctx).ID, Change: change, Reason: req.GetReason()}
	round, err := s.store.EndRound(ctx, r, id, s.opt.Now(), to, why)
	if err != nil {
		return nil, explain(req.GetName(), err)
	}
	access.Audit(ctx, act, roundName(id), req.GetReason())
	m, err := s.full(ctx, round)
	if err != nil {
		return nil, err
	}
	return &v1.CloseRoundResponse{Round: m}, nil
}

func checkReason(reason string, required bool) error {
	n := utf8.RuneCountInString(reason)
	if required && strings.TrimSpace(reason) == "" {
		return fail.Field("reason", "is required: it is shown to everybody")
	}
	if n > maxReason {
		return fail.Field("reason", "it has %d characters, at most %d are allowed", n, maxReason)
	}
	return nil
}
