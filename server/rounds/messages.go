package rounds

import (
	"context"
	"errors"
	"strconv"
	"strings"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	v1 "turnwright/api/turnwright/v1"
	"turnwright/search/puzzle"
	"turnwright/server/fail"
	"turnwright/server/page"
	"turnwright/server/read"
	"turnwright/storage"
)

// request checks a request's id and binds it to all else that the message asks.
func request(ctx context.Context, method string, req interface {
	proto.Message
	GetRequestId() string
}) (storage.Request, error) {
	asked := proto.Clone(req).ProtoReflect()
	asked.Clear(asked.Descriptor().Fields().ByName("request_id"))
	body, err := proto.MarshalOptions{Deterministic: true}.Marshal(asked.Interface())
	if err != nil {
		return storage.Request{}, err
	}
	return page.Request(ctx, req.GetRequestId(), method, string(body))
}

func roundName(id string) string  { return "rounds/" + id }
func memberName(id string) string { return "members/" + id }

func entryName(round, member string, attempt int) string {
	return roundName(round) + "/entries/" + member + "-" + strconv.Itoa(attempt)
}

// roundID takes a round's id out of its resource name.
func roundID(field, name string) (string, error) {
	id, ok := strings.CutPrefix(name, "rounds/")
	if !ok || !read.IsID(id) {
		return "", fail.Field(field, "use rounds/NAME")
	}
	return id, nil
}

// sealed is the error for what is not told before a round has closed.
func sealed(r storage.Round) error {
	message := "round " + strconv.Quote(r.ID) + " has not closed: its entries are sealed until then"
	if r.State == storage.RoundCalledOff {
		message = "round " + strconv.Quote(r.ID) + " was called off: its entries stay sealed"
	}
	return fail.Precondition(v1.ErrorReason_ERROR_REASON_ROUND_SEALED, roundName(r.ID), message)
}

// explain says which round an error of the store is about.
func explain(name string, err error) error {
	var state *storage.RoundStateError
	switch {
	case errors.As(err, &state):
		reason := v1.ErrorReason_ERROR_REASON_ROUND_NOT_OPEN
		switch {
		case state.Wanted == "correct an entry":
			reason = v1.ErrorReason_ERROR_REASON_ROUND_SEALED
		case state.Is.Over() && (state.Wanted == "change it" || state.Wanted == "close it" || state.Wanted == "call it off"):
			reason = v1.ErrorReason_ERROR_REASON_ROUND_OVER
		}
		metadata := []string{"state", string(state.Is)}
		if state.Is == storage.RoundAnnounced {
			metadata = append(metadata, "open_time", state.Opens.UTC().Format(time.RFC3339))
		}
		return fail.Precondition(reason, name, err.Error(), metadata...)
	case errors.Is(err, storage.ErrNoAttempt):
		return fail.Field("attempt", "the round has no such attempt: they count from 1")
	case errors.Is(err, storage.ErrNotEligible):
		return fail.With(codes.PermissionDenied, v1.ErrorReason_ERROR_REASON_NOT_ELIGIBLE,
			"you don't take part in this round: ask an organiser", "name", name)
	case errors.Is(err, storage.ErrNotShown):
		return fail.Precondition(v1.ErrorReason_ERROR_REASON_SCRAMBLE_NOT_SHOWN, name, "you have not been shown the scramble of this attempt: ask for it first")
	case errors.Is(err, storage.ErrTimeOver):
		return fail.Precondition(v1.ErrorReason_ERROR_REASON_TIME_OVER, name, err.Error())
	case errors.Is(err, storage.ErrSealMissing):
		return fail.Precondition(v1.ErrorReason_ERROR_REASON_SEAL_MISSING, name, err.Error())
	case errors.Is(err, storage.ErrNotFound):
		return fail.NoSuch(v1.ErrorReason_ERROR_REASON_ROUND_NOT_FOUND, "round", name)
	case errors.Is(err, storage.ErrLimit):
		return fail.With(codes.ResourceExhausted, v1.ErrorReason_ERROR_REASON_ROUND_LIMIT, err.Error())
	}
	return err
}

// explainEntry says whether it is the round or the entry that is not there. What is sealed
// is told in the same words as what is not there.
func (s *Service) explainEntry(ctx context.Context, round, entry string, err error) error {
	if !errors.Is(err, storage.ErrNotFound) {
		return explain(roundName(round), err)
	}
	r, gone := s.store.Round(ctx, round, s.opt.Now())
	if gone != nil {
		return explain(roundName(round), gone)
	}
	text := "there is no entry " + strconv.Quote(entry)
	if r.State != storage.RoundClosed {
		text += " that you may see: until a round has closed everybody sees their own alone"
	}
	return fail.With(codes.NotFound, v1.ErrorReason_ERROR_REASON_ENTRY_NOT_FOUND, text, "name", entry)
}

var states = map[storage.RoundState]v1.RoundState{
	storage.RoundAnnounced: v1.RoundState_ROUND_STATE_ANNOUNCED, storage.RoundOpen: v1.RoundState_ROUND_STATE_OPEN,
	storage.RoundClosed: v1.RoundState_ROUND_STATE_CLOSED, storage.RoundCalledOff: v1.RoundState_ROUND_STATE_CALLED_OFF,
}

// message writes a round. Of what is secret it tells what it is given.
func (s *Service) message(r storage.Round, secret storage.RoundSecret) *v1.Round {
	out := &v1.Round{
		Name: roundName(r.ID), Title: r.Title, Puzzle: "puzzles/" + r.Puzzle, Metric: read.MetricNamed(r.Metric),
		Format: v1.RoundFormat_ROUND_FORMAT_BEST, Attempts: int32(r.Attempts),
		OpenTime: timestamppb.New(r.Opens), CloseTime: timestamppb.New(r.Closes), TimeLimit: durationpb.New(r.Limit),
		MaxLength: int32(r.MaxLength), Content: v1.EntryContent_ENTRY_CONTENT_PLAIN,
		State: states[r.State], Commitment: r.Commitment, ScrambleMethod: r.Method, ScrambleWay: int32(r.Way),
		CreateTime: timestamppb.New(r.Created), Seed: secret.Seed,
		Scrambles: secret.Scrambles[:min(r.Attempts, len(secret.Scrambles))],
	}
	if r.Format == storage.FormatMean {
		out.Format = v1.RoundFormat_ROUND_FORMAT_MEAN
	}
	if r.Notation {
		out.Content = v1.EntryContent_ENTRY_CONTENT_NOTATION
	}
	if r.Owner != "" {
		out.Owner = memberName(r.Owner)
	}
	for _, id := range r.Members {
		out.Members = append(out.Members, memberName(id))
	}
	for _, c := range r.Changes {
		out.Changes = append(out.Changes, &v1.RoundChange{Time: timestamppb.New(c.Time), Member: memberName(c.Member), Change: c.Change, Reason: c.Reason})
	}
	return out
}

// entryMessage writes an entry, with warnings only for those they are for.
func entryMessage(round string, sheet storage.Sheet, warned bool) *v1.Entry {
	e := sheet.Entry
	out := &v1.Entry{
		Name: entryName(round, sheet.Member, sheet.Attempt), Member: memberName(sheet.Member), Attempt: int32(sheet.Attempt),
		Solution: string(e.Solution), Explanation: string(e.Explanation), Verdict: verdictMessage(e.Verdict, warned),
		ShowTime: timestamppb.New(sheet.Shown), Revision: int32(e.Revision),
	}
	if !e.Updated.IsZero() {
		out.UpdateTime = timestamppb.New(e.Updated)
	}
	for _, c := range e.Corrections {
		out.Corrections = append(out.Corrections, &v1.Correction{
			Time: timestamppb.New(c.Time), Member: memberName(c.Member), Reason: c.Reason, Solution: c.Solution, Before: verdictMessage(c.Before, warned),
		})
	}
	return out
}

func verdictMessage(v storage.Verdict, warned bool) *v1.Verdict {
	out := &v1.Verdict{Length: int32(v.Length)}
	if len(v.Lengths) > 0 {
		out.Lengths = &v1.Lengths{
			Obtm: int32(v.Lengths[puzzle.OBTM.String()]), Stm: int32(v.Lengths[puzzle.STM.String()]),
			Qtm: int32(v.Lengths[puzzle.QTM.String()]), Etm: int32(v.Lengths[puzzle.ETM.String()]),
		}
	}
	if warned {
		out.Warnings = v.Warnings
	}
	if d := v.DNF; d != nil {
		out.Dnf = &v1.Dnf{
			Reason: v1.DnfReason(v1.DnfReason_value["DNF_REASON_"+d.Reason]),
			Rule:   d.Rule, Text: d.Text, Line: int32(d.Line), Column: int32(d.Column),
		}
		for _, l := range d.Left {
			out.Dnf.Left = append(out.Dnf.Left, &v1.PiecesLeft{Type: l.Type, Count: int32(l.Count), Places: l.Places})
		}
	}
	return out
}

// dnfName is how a reason is stored.
func dnfName(r v1.DnfReason) string { return strings.TrimPrefix(r.String(), "DNF_REASON_") }
