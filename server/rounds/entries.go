package rounds

import (
	"context"
	"errors"
	"strconv"
	"strings"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	v1 "turnwright/api/turnwright/v1"
	"turnwright/server/access"
	"turnwright/server/fail"
	"turnwright/server/page"
	"turnwright/storage"
)

// Bounds of an entry, in bytes.
const (
	maxSolution    = 10_000
	maxExplanation = 20_000
)

// ShowScramble shows the caller a scramble, and starts their clock the first time.
func (s *Service) ShowScramble(ctx context.Context, req *v1.ShowScrambleRequest) (*v1.ShowScrambleResponse, error) {
	now := s.opt.Now()
	id, err := roundID("round", req.GetRound())
	if err != nil {
		return nil, err
	}
	r, err := request(ctx, "ShowScramble", req)
	if err != nil {
		return nil, err
	}
	attempt := int(req.GetAttempt())
	out := &v1.Attempt{Round: roundName(id), Number: req.GetAttempt()}
	round, sheet, scramble, err := s.store.ShowScramble(ctx, r, id, access.From(ctx).ID, attempt, now)
	if (errors.Is(err, storage.ErrState) || errors.Is(err, storage.ErrNotEligible)) && round.State == storage.RoundClosed {
		_, secret, err := s.store.RoundSecret(ctx, id, now)
		if err != nil {
			return nil, explain(req.GetRound(), err)
		}
		if attempt < 1 || attempt > min(round.Attempts, len(secret.Scrambles)) {
			return nil, explain(req.GetRound(), storage.ErrNoAttempt)
		}
		out.Scramble = secret.Scrambles[attempt-1]
		return &v1.ShowScrambleResponse{Attempt: out}, nil // everybody may see it, and no clock starts
	}
	if err != nil {
		return nil, explain(req.GetRound(), err)
	}
	out.Scramble, out.ShowTime, out.Deadline = scramble, timestamppb.New(sheet.Shown), timestamppb.New(round.Deadline(sheet.Shown))
	return &v1.ShowScrambleResponse{Attempt: out}, nil
}

// SubmitEntry takes a solution, and says what it counts for.
func (s *Service) SubmitEntry(ctx context.Context, req *v1.SubmitEntryRequest) (*v1.SubmitEntryResponse, error) {
	now := s.opt.Now() // when it came, however long judging takes
	id, err := roundID("round", req.GetRound())
	if err != nil {
		return nil, err
	}
	m, caller := req.GetEntry(), access.From(ctx).ID
	if err := checkEntry(ctx, m); err != nil {
		return nil, err
	}
	var r storage.Request
	if !req.GetValidateOnly() {
		if r, err = request(ctx, "SubmitEntry", req); err != nil {
			return nil, err
		}
	}
	attempt := int(m.GetAttempt())
	e := storage.Entry{Solution: []byte(m.GetSolution()), Explanation: []byte(m.GetExplanation())}
	round, sheet, scramble, err := s.store.Attempt(ctx, id, caller, attempt, now)
	switch {
	case err == nil:
		if e.Verdict, err = s.judge(round, scramble, m.GetSolution()); err != nil {
			return nil, err
		}
	case req.GetValidateOnly() || !errors.Is(err, storage.ErrTimeOver) && !errors.Is(err, storage.ErrState):
		return nil, explain(req.GetRound(), err)
	default: // too late, unless it is a request that was answered before
		if e.Verdict, err = s.verdictThen(ctx, id, caller, attempt, m.GetSolution(), err); err != nil {
			return nil, explain(req.GetRound(), err)
		}
	}
	if req.GetValidateOnly() {
		sheet.Entry = &e
		return &v1.SubmitEntryResponse{Entry: entryMessage(id, sheet, true)}, nil
	}
	sheet, err = s.store.SubmitEntry(ctx, r, id, caller, attempt, e, now)
	if err != nil {
		return nil, explain(req.GetRound(), err)
	}
	return &v1.SubmitEntryResponse{Entry: entryMessage(id, sheet, true)}, nil
}

// verdictThen judges what may have been handed in before the time was over. The store
// takes nothing else then.
func (s *Service) verdictThen(ctx context.Context, id, member string, attempt int, solution string, late error) (storage.Verdict, error) {
	round, secret, err := s.store.RoundSecret(ctx, id, s.opt.Now())
	if err != nil || !round.Takes(member) || attempt < 1 || attempt > min(round.Attempts, len(secret.Scrambles)) {
		return storage.Verdict{}, errors.Join(late, err)
	}
	return s.judge(round, secret.Scrambles[attempt-1], solution)
}

func (s *Service) judge(round storage.Round, scramble, solution string) (storage.Verdict, error) {
	p, err := s.library.Build(round.Definition)
	if err != nil {
		return storage.Verdict{}, err
	}
	return s.opt.Judge.Judge(p, round, scramble, solution)
}

func checkEntry(ctx context.Context, m *v1.Entry) error {
	if n := len(m.GetSolution()); n > maxSolution {
		return fail.Field("entry.solution", "it has %d bytes, at most %d are allowed", n, maxSolution)
	}
	if n := len(m.GetExplanation()); n > maxExplanation {
		return fail.Field("entry.explanation", "it has %d bytes, at most %d are allowed", n, maxExplanation)
	}
	if m.GetMember() == "" {
		return nil
	}
	id, err := access.MemberID(ctx, "entry.member", m.GetMember())
	if err == nil && id != access.From(ctx).ID {
		err = fail.Field("entry.member", "nobody hands in for another: leave it empty")
	}
	return err
}

// GetEntry gives one entry, if the caller may see it.
func (s *Service) GetEntry(ctx context.Context, req *v1.GetEntryRequest) (*v1.GetEntryResponse, error) {
	id, member, attempt, err := entryID("name", req.GetName())
	if err != nil {
		return nil, err
	}
	caller := access.From(ctx)
	_, sheet, err := s.store.Entry(ctx, id, member, attempt, caller.ID, s.opt.Now())
	if err != nil {
		return nil, s.explainEntry(ctx, id, req.GetName(), err)
	}
	return &v1.GetEntryResponse{Entry: entryMessage(id, sheet, warned(caller, member))}, nil
}

// warned tells whether warnings about a member's entry are for the caller.
func warned(caller access.Caller, member string) bool {
	return caller.ID == member || caller.Organises()
}

// ListEntries gives the entries that the caller may see.
func (s *Service) ListEntries(ctx context.Context, req *v1.ListEntriesRequest) (*v1.ListEntriesResponse, error) {
	id, err := roundID("parent", req.GetParent())
	if err != nil {
		return nil, err
	}
	caller := access.From(ctx)
	out := &v1.ListEntriesResponse{}
	err = page.List(s.pages, req, "entries of "+id+" for "+caller.ID, &out.NextPageToken,
		func(after storage.EntryPlace, limit int) ([]storage.Sheet, error) {
			_, sheets, err := s.store.Entries(ctx, id, caller.ID, after, limit, s.opt.Now())
			return sheets, err
		},
		func(sheet storage.Sheet) (proto.Message, storage.EntryPlace, error) {
			m := entryMessage(id, sheet, warned(caller, sheet.Member))
			out.Entries = append(out.Entries, m)
			return m, storage.EntryPlace{Member: sheet.Member, Attempt: sheet.Attempt}, nil
		})
	return out, explain(req.GetParent(), err)
}

// CorrectEntry changes what an entry counts for.
func (s *Service) CorrectEntry(ctx context.Context, req *v1.CorrectEntryRequest) (*v1.CorrectEntryResponse, error) {
	now := s.opt.Now()
	id, member, attempt, err := entryID("name", req.GetName())
	if err != nil {
		return nil, err
	}
	r, err := request(ctx, "CorrectEntry", req)
	if err != nil {
		return nil, err
	}
	if err := checkReason(req.GetReason(), true); err != nil {
		return nil, err
	}
	if req.GetDnf() && req.GetSolution() != "" {
		return nil, fail.Field("solution", "must be empty with dnf")
	}
	if n := len(req.GetSolution()); n > maxSolution {
		return nil, fail.Field("solution", "it has %d bytes, at most %d are allowed", n, maxSolution)
	}
	round, secret, err := s.closed(ctx, id)
	if err != nil {
		return nil, err
	}
	_, sheet, err := s.store.Entry(ctx, id, member, attempt, "", now)
	if err != nil {
		return nil, s.explainEntry(ctx, id, req.GetName(), err)
	}
	c := storage.Correction{Member: access.From(ctx).ID, Reason: req.GetReason(), Solution: req.GetSolution()}
	verdict := storage.Verdict{
		Lengths: sheet.Entry.Verdict.Lengths, Warnings: sheet.Entry.Verdict.Warnings,
		DNF: &storage.DNF{Reason: dnfName(v1.DnfReason_DNF_REASON_CORRECTED), Text: req.GetReason()},
	}
	if !req.GetDnf() {
		solution := req.GetSolution()
		if solution == "" {
			solution = string(sheet.Entry.Solution)
		}
		if verdict, err = s.judge(round, secret.Scrambles[attempt-1], solution); err != nil {
			return nil, err
		}
	}
	sheet, err = s.store.CorrectEntry(ctx, r, id, member, attempt, c, verdict, now)
	if err != nil {
		return nil, s.explainEntry(ctx, id, req.GetName(), err)
	}
	access.Audit(ctx, "correct entry", req.GetName(), req.GetReason())
	return &v1.CorrectEntryResponse{Entry: entryMessage(id, sheet, true)}, nil
}

// closed reads a round that has to have closed.
func (s *Service) closed(ctx context.Context, id string) (storage.Round, storage.RoundSecret, error) {
	round, err := s.store.Round(ctx, id, s.opt.Now())
	if err != nil {
		return round, storage.RoundSecret{}, explain(roundName(id), err)
	}
	if round.State != storage.RoundClosed {
		return round, storage.RoundSecret{}, sealed(round)
	}
	round, secret, err := s.store.RoundSecret(ctx, id, s.opt.Now())
	return round, secret, explain(roundName(id), err)
}

// entryID takes round, member and attempt out of an entry's resource name.
func entryID(field, name string) (round, member string, attempt int, err error) {
	of, entry, _ := strings.Cut(name, "/entries/")
	round, err = roundID(field, of)
	at := strings.LastIndexByte(entry, '-')
	if err == nil && at > 0 {
		member = entry[:at]
		attempt, err = strconv.Atoi(entry[at+1:])
		if err == nil && entryName(round, member, attempt) == name && attempt > 0 && attempt <= maxAttempts {
			return round, member, attempt, nil
		}
	}
	return "", "", 0, fail.Field(field, "use rounds/ROUND/entries/MEMBER-ATTEMPT")
}
