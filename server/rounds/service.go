// Package rounds serves competitions: rounds with scrambles, entries, standings and
// records.
//
// The one idea: what somebody handed in is sealed until the round closes, and where a
// round is in its life is in the store, moved on by whoever looks. So there is no
// goroutine and no timer here, and a test sets the clock. Who may see an entry is said in
// one place, storage.Round.Shows; the store asks it before it gives anything out, and
// what it does not give out can't be told here.
//
//	s := rounds.NewService(store, library, pages, rounds.Options{Scrambler: …})
//	v1.RegisterRoundServiceServer(g, s)
//
// It judges no solution itself: search/entry does. Ranks and records are worked out from
// plain data when someone asks (rank.go).
package rounds

import (
	"context"
	"crypto/rand"
	"encoding/hex"
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync"
	"time"
	"unicode/utf8"

	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	v1 "turnwright/api/turnwright/v1"
	"turnwright/search/notation"
	"turnwright/search/puzzle"
	"turnwright/search/scramble"
	"turnwright/server/access"
	"turnwright/server/fail"
	"turnwright/server/page"
	"turnwright/server/read"
	"turnwright/storage"
)

// Store is what the service needs of storage. Each call is told the time.
type Store interface {
	CreateRound(ctx context.Context, r storage.Request, round storage.Round, secret storage.RoundSecret, at time.Time) (storage.Round, error)
	Round(ctx context.Context, id string, at time.Time) (storage.Round, error)
	Rounds(ctx context.Context, before uint64, limit int, at time.Time) ([]storage.Round, error)
	RoundSecret(ctx context.Context, id string, at time.Time) (storage.Round, storage.RoundSecret, error)
	ChangeRound(ctx context.Context, r storage.Request, id string, at time.Time, change func(*storage.Round, *storage.RoundSecret) error) (storage.Round, error)
	EndRound(ctx context.Context, r storage.Request, id string, at time.Time, to storage.RoundState, why storage.RoundChange) (storage.Round, error)

	ShowScramble(ctx context.Context, r storage.Request, id, member string, attempt int, at time.Time) (storage.Round, storage.Sheet, string, error)
	Attempt(ctx context.Context, id, member string, attempt int, at time.Time) (storage.Round, storage.Sheet, string, error)
	SubmitEntry(ctx context.Context, r storage.Request, id, member string, attempt int, e storage.Entry, at time.Time) (storage.Sheet, error)
	Entry(ctx context.Context, id, member string, attempt int, reader string, at time.Time) (storage.Round, storage.Sheet, error)
	Entries(ctx context.Context, id, reader string, after storage.EntryPlace, limit int, at time.Time) (storage.Round, []storage.Sheet, error)
	CorrectEntry(ctx context.Context, r storage.Request, id, member string, attempt int, c storage.Correction, v storage.Verdict, at time.Time) (storage.Sheet, error)
	Views(ctx context.Context, id, member string, after uint64, limit int, at time.Time) ([]storage.View, error)

	Member(ctx context.Context, id string) (storage.Member, error)
}

// Library finds puzzles by their resource names, and builds them.
type Library interface {
	Find(ctx context.Context, name string) (*puzzle.Puzzle, error)
	Build(definition string) (*puzzle.Puzzle, error)
}

// Scrambler makes scrambles. It is deterministic: in the same way, as package scramble numbers
// them, the same seed, in hexadecimal digits, makes the same scrambles for the same round; more
// attempts only add to them.
type Scrambler interface {
	// Scrambles makes one for each attempt, and says in words how. The error wraps
	// [scramble.ErrWay] where there is no such way.
	Scrambles(ctx context.Context, p *puzzle.Puzzle, way int, seed, round string, attempts int) (scrambles []string, method string, err error)
	// Commit binds to a seed and a way, and does not tell the seed.
	Commit(seed string, way int) string
}

// Judge says what a solution counts for. An error is the server's fault: what is wrong
// with the solution is in the verdict.
type Judge interface {
	Judge(p *puzzle.Puzzle, r storage.Round, scramble, solution string) (storage.Verdict, error)
}

// Options say what a service works with.
type Options struct {
	Scrambler Scrambler
	Judge     Judge
	Now       func() time.Time // time.Now where nil
}

// Service answers turnwright.v1.RoundService.
type Service struct {
	v1.UnimplementedRoundServiceServer
	store   Store
	library Library
	pages   *page.Tokens
	opt     Options

	scrambling chan struct{} // holds a token for scrambles that are being made: that takes up to seconds of a core

	mu   sync.Mutex
	kept map[uint64]counted // by the round's number
}

// NewService makes the service.
func NewService(store Store, library Library, pages *page.Tokens, opt Options) *Service {
	if opt.Now == nil {
		opt.Now = time.Now
	}
	return &Service{
		store: store, library: library, pages: pages, opt: opt,
		scrambling: make(chan struct{}, 1), kept: map[uint64]counted{},
	}
}

// Bounds of a round.
const (
	maxTitle    = 200 // characters
	maxReason   = 500 // characters
	maxAttempts = 5
	meanOf      = 3
	maxLength   = 10_000
	maxMembers  = 1000

	defaultLimit = time.Hour // WCA Regulation E2b
	minLimit     = time.Minute
	maxLimit     = 7 * 24 * time.Hour
	longest      = 366 * 24 * time.Hour // until it opens, and from then until it closes

	scramblePatience = 2 * time.Minute
)

// CreateRound announces a round.
func (s *Service) CreateRound(ctx context.Context, req *v1.CreateRoundRequest) (*v1.CreateRoundResponse, error) {
	now := s.opt.Now()
	r, err := request(ctx, "CreateRound", req)
	if err != nil {
		return nil, err
	}
	id := req.GetRoundId()
	if id == "" {
		id = "r" + strings.ToLower(rand.Text()[:11])
	}
	if !read.IsID(id) {
		return nil, fail.Field("round_id", "%q: use lower-case letters, digits and hyphens, a letter first, no hyphen last, at most 63", id)
	}
	round := storage.Round{ID: id, Limit: defaultLimit, Opens: now}
	if err := s.fill(ctx, &round, req.GetRound(), all, now); err != nil {
		return nil, err
	}
	p, err := s.library.Find(ctx, req.GetRound().GetPuzzle())
	if err != nil {
		return nil, err
	}
	round.Puzzle, round.Definition = p.Name, p.Def.YAML()
	seed := make([]byte, 32)
	rand.Read(seed) // never fails
	secret := storage.RoundSecret{Seed: hex.EncodeToString(seed)}
	round.Way = scramble.Newest
	round.Commitment = s.opt.Scrambler.Commit(secret.Seed, round.Way)
	if secret.Scrambles, round.Method, err = s.scrambles(ctx, p, &round, secret.Seed); err != nil {
		return nil, err
	}
	kept, err := s.store.CreateRound(ctx, r, round, secret, now)
	if errors.Is(err, storage.ErrExists) {
		return nil, fail.With(codes.AlreadyExists, v1.ErrorReason_ERROR_REASON_ROUND_EXISTS,
			fmt.Sprintf("another round is called %q", id), "name", roundName(id))
	}
	if err != nil {
		return nil, explain(roundName(id), err)
	}
	access.Audit(ctx, "announce round", roundName(kept.ID), "on "+kept.Puzzle)
	return &v1.CreateRoundResponse{Round: s.message(kept, storage.RoundSecret{})}, nil
}

// scrambles makes the scrambles of a round in its way when it is its turn.
func (s *Service) scrambles(ctx context.Context, p *puzzle.Puzzle, r *storage.Round, seed string) ([]string, string, error) {
	ctx, done := context.WithTimeout(ctx, scramblePatience)
	defer done()
	select {
	case s.scrambling <- struct{}{}:
		defer func() { <-s.scrambling }()
	case <-ctx.Done():
		return nil, "", ctx.Err()
	}
	made, method, err := s.opt.Scrambler.Scrambles(ctx, p, r.Way, seed, r.ID, r.Attempts)
	switch {
	case errors.Is(err, scramble.ErrWay):
		return nil, "", fail.Precondition(v1.ErrorReason_ERROR_REASON_SCRAMBLE_WAY_UNKNOWN, roundName(r.ID), fmt.Sprintf("round %q: %v", r.ID, err))
	case err != nil && ctx.Err() == nil:
		return nil, "", fail.Field("round.puzzle", "%s can't be scrambled: %w", p.Name, err)
	}
	return made, method, err
}

// all are the fields of a round that its organiser says.
var all = []string{"title", "metric", "format", "attempts", "open_time", "close_time", "time_limit", "max_length", "content", "members"}

// fill takes fields of a message, and holds all of the round against its bounds.
func (s *Service) fill(ctx context.Context, r *storage.Round, m *v1.Round, fields []string, now time.Time) error {
	for _, field := range fields {
		if err := s.take(ctx, r, m, field); err != nil {
			return err
		}
	}
	has := func(field string) bool { return slices.Contains(fields, field) }
	switch {
	case r.Format == storage.FormatMean && r.Attempts == 0:
		r.Attempts = meanOf
	case r.Attempts == 0:
		r.Attempts = 1
	}
	switch {
	case r.Format == storage.FormatMean && r.Attempts != meanOf:
		return fail.Field("round.attempts", "%d: a mean is one of %d (WCA Regulation 9b4a)", r.Attempts, meanOf)
	case r.Attempts < 0 || r.Attempts > maxAttempts:
		return fail.Field("round.attempts", "%d: use 1 to %d", r.Attempts, maxAttempts)
	case has("open_time") && r.Opens.Before(now.Add(-time.Minute)):
		return fail.Field("round.open_time", "%s is in the past", r.Opens.UTC().Format(time.RFC3339))
	case has("open_time") && r.Opens.After(now.Add(longest)):
		return fail.Field("round.open_time", "%s is more than a year from now", r.Opens.UTC().Format(time.RFC3339))
	case has("close_time") && !r.Closes.After(now):
		return fail.Field("round.close_time", "%s is in the past: say when the round closes", r.Closes.UTC().Format(time.RFC3339))
	case !r.Closes.After(r.Opens):
		return fail.Field("round.close_time", "it must be after the round opens, %s", r.Opens.UTC().Format(time.RFC3339))
	case r.Closes.After(r.Opens.Add(longest)):
		return fail.Field("round.close_time", "it must be within a year of the time when the round opens")
	}
	return nil
}

// take takes one field of a message.
func (s *Service) take(ctx context.Context, r *storage.Round, m *v1.Round, field string) error {
	switch field {
	case "title":
		r.Title = m.GetTitle()
		if n := utf8.RuneCountInString(r.Title); n > maxTitle {
			return fail.Field("round.title", "it has %d characters, at most %d are allowed", n, maxTitle)
		}
	case "metric":
		metric := puzzle.OBTM // WCA Regulation E2d
		if said := m.GetMetric(); said != v1.Metric_METRIC_UNSPECIFIED {
			var err error
			if metric, err = read.Metric("round.metric", said); err != nil {
				return err
			}
		}
		r.Metric = metric.String()
	case "format":
		switch m.GetFormat() {
		case v1.RoundFormat_ROUND_FORMAT_UNSPECIFIED, v1.RoundFormat_ROUND_FORMAT_BEST:
			r.Format = storage.FormatBest
		case v1.RoundFormat_ROUND_FORMAT_MEAN:
			r.Format = storage.FormatMean
		default:
			return fail.Field("round.format", "%d is no format", int32(m.GetFormat()))
		}
	case "attempts":
		r.Attempts = int(m.GetAttempts())
	case "open_time", "close_time":
		return takeTime(r, m, field)
	case "time_limit":
		r.Limit = defaultLimit
		if m.GetTimeLimit() != nil {
			r.Limit = m.GetTimeLimit().AsDuration()
		}
		if m.GetTimeLimit() != nil && !m.GetTimeLimit().IsValid() || r.Limit < minLimit || r.Limit > maxLimit {
			return fail.Field("round.time_limit", "use a minute to a week")
		}
	case "max_length":
		if r.MaxLength = int(m.GetMaxLength()); r.MaxLength < 0 || r.MaxLength > maxLength {
			return fail.Field("round.max_length", "%d: use 0 for none, or up to %d", r.MaxLength, maxLength)
		}
	case "content":
		switch m.GetContent() {
		case v1.EntryContent_ENTRY_CONTENT_UNSPECIFIED, v1.EntryContent_ENTRY_CONTENT_PLAIN:
			r.Notation = false
		case v1.EntryContent_ENTRY_CONTENT_NOTATION:
			r.Notation = true
		default:
			return fail.Field("round.content", "%d is no kind of content", int32(m.GetContent()))
		}
	case "members":
		var err error
		r.Members, err = s.members(ctx, m.GetMembers())
		return err
	}
	return nil
}

func takeTime(r *storage.Round, m *v1.Round, field string) error {
	said, to := m.GetOpenTime(), &r.Opens
	if field == "close_time" {
		said, to = m.GetCloseTime(), &r.Closes
		if said == nil {
			return fail.Field("round.close_time", "is required: say when the seals are broken")
		}
	}
	if said == nil {
		return nil // what is there already
	}
	if !said.IsValid() {
		return fail.Field("round."+field, "is no time")
	}
	*to = said.AsTime()
	return nil
}

// members reads who may take part, sorted and each once.
func (s *Service) members(ctx context.Context, names []string) ([]string, error) {
	if len(names) > maxMembers {
		return nil, fail.Field("round.members", "%d members, at most %d are allowed", len(names), maxMembers)
	}
	var ids []string
	for i, name := range names {
		id, err := access.MemberID(ctx, fmt.Sprintf("round.members[%d]", i), name)
		if err != nil {
			return nil, err
		}
		ids = append(ids, id)
	}
	slices.Sort(ids)
	ids = slices.Compact(ids)
	for _, id := range ids {
		if id == access.LocalID {
			continue
		}
		m, err := s.store.Member(ctx, id)
		if errors.Is(err, storage.ErrNotFound) {
			return nil, fail.NoSuch(v1.ErrorReason_ERROR_REASON_MEMBER_NOT_FOUND, "member", memberName(id))
		}
		if err != nil {
			return nil, err
		}
		if m.Role == storage.RoleWorker {
			return nil, fail.Field("round.members", "%s is a worker, which takes part in nothing", memberName(id))
		}
	}
	return ids, nil
}

// GetRound gives one round.
func (s *Service) GetRound(ctx context.Context, req *v1.GetRoundRequest) (*v1.GetRoundResponse, error) {
	id, err := roundID("name", req.GetName())
	if err != nil {
		return nil, err
	}
	m, _, err := s.shown(ctx, id)
	if err != nil {
		return nil, err
	}
	return &v1.GetRoundResponse{Round: m}, nil
}

// shown is a round as it may be shown now: with its seed and scrambles once it has closed.
func (s *Service) shown(ctx context.Context, id string) (*v1.Round, storage.Round, error) {
	now := s.opt.Now()
	r, err := s.store.Round(ctx, id, now)
	if err != nil {
		return nil, r, explain(roundName(id), err)
	}
	m, err := s.full(ctx, r)
	return m, r, err
}

func (s *Service) full(ctx context.Context, r storage.Round) (*v1.Round, error) {
	if r.State != storage.RoundClosed {
		return s.message(r, storage.RoundSecret{}), nil
	}
	_, secret, err := s.store.RoundSecret(ctx, r.ID, s.opt.Now())
	if err != nil {
		return nil, explain(roundName(r.ID), err)
	}
	return s.message(r, secret), nil
}

// ListRounds gives all rounds, the latest first.
func (s *Service) ListRounds(ctx context.Context, req *v1.ListRoundsRequest) (*v1.ListRoundsResponse, error) {
	out := &v1.ListRoundsResponse{}
	return out, page.List(s.pages, req, "rounds", &out.NextPageToken,
		func(before uint64, limit int) ([]storage.Round, error) {
			return s.store.Rounds(ctx, before, limit, s.opt.Now())
		},
		func(r storage.Round) (proto.Message, uint64, error) {
			m, err := s.full(ctx, r)
			out.Rounds = append(out.Rounds, m)
			return m, r.Number, err
		})
}

// ListScrambleViews gives who saw which scramble when.
func (s *Service) ListScrambleViews(ctx context.Context, req *v1.ListScrambleViewsRequest) (*v1.ListScrambleViewsResponse, error) {
	id, err := roundID("parent", req.GetParent())
	if err != nil {
		return nil, err
	}
	of := ""
	if caller := access.From(ctx); !caller.Organises() {
		of = caller.ID
	}
	out := &v1.ListScrambleViewsResponse{}
	err = page.List(s.pages, req, fmt.Sprintf("views of %s for %q", id, of), &out.NextPageToken,
		func(after uint64, limit int) ([]storage.View, error) {
			return s.store.Views(ctx, id, of, after, limit, s.opt.Now())
		},
		func(v storage.View) (proto.Message, uint64, error) {
			m := &v1.ScrambleView{Time: timestamppb.New(v.Time), Member: memberName(v.Member), Attempt: int32(v.Attempt), First: v.First}
			out.Views = append(out.Views, m)
			return m, v.Number, nil
		})
	return out, explain(req.GetParent(), err)
}

// OpenWith gives the name of an open round on the puzzle one of whose scrambles leads to
// the same position as these turns; empty where there is none.
func (s *Service) OpenWith(ctx context.Context, p *puzzle.Puzzle, turns []puzzle.Turn) (string, error) {
	const many = 100
	now, definition := s.opt.Now(), p.Def.YAML()
	for before := uint64(0); ; {
		page, err := s.store.Rounds(ctx, before, many, now)
		if err != nil {
			return "", err
		}
		for _, r := range page {
			before = r.Number
			if r.State != storage.RoundOpen || r.Definition != definition {
				continue
			}
			switch uses, err := s.uses(ctx, r, p, turns); {
			case err != nil:
				return "", err
			case uses:
				return roundName(r.ID), nil
			}
		}
		if len(page) < many {
			return "", nil
		}
	}
}

// uses tells whether a scramble of the round leads to the same position as these turns.
func (s *Service) uses(ctx context.Context, r storage.Round, p *puzzle.Puzzle, turns []puzzle.Turn) (bool, error) {
	_, secret, err := s.store.RoundSecret(ctx, r.ID, s.opt.Now())
	if errors.Is(err, storage.ErrSealMissing) {
		return false, nil // nobody is shown its scrambles either
	}
	if err != nil {
		return false, explain(roundName(r.ID), err)
	}
	for _, text := range secret.Scrambles[:min(r.Attempts, len(secret.Scrambles))] {
		scrambled, err := notation.ParseTurns(p, text)
		if err != nil {
			return false, fmt.Errorf("scramble of round %q: %w", r.ID, err)
		}
		if scramble.Same(p, scrambled, turns) {
			return true, nil
		}
	}
	return false, nil
}

// VerifyRound makes the scrambles of a round again from its seed, in the way that it keeps.
func (s *Service) VerifyRound(ctx context.Context, req *v1.VerifyRoundRequest) (*v1.VerifyRoundResponse, error) {
	id, err := roundID("name", req.GetName())
	if err != nil {
		return nil, err
	}
	r, secret, err := s.closed(ctx, id)
	if err != nil {
		return nil, err
	}
	p, err := s.library.Build(r.Definition)
	if err != nil {
		return nil, err
	}
	made, _, err := s.scrambles(ctx, p, &r, secret.Seed)
	if err != nil {
		return nil, err
	}
	return &v1.VerifyRoundResponse{
		SeedFits:     s.opt.Scrambler.Commit(secret.Seed, r.Way) == r.Commitment,
		Scrambles:    made,
		ScramblesFit: slices.Equal(made, secret.Scrambles[:min(r.Attempts, len(secret.Scrambles))]),
	}, nil
}
