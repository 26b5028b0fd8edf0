// Package searches serves searches and what they find.
package searches

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"strconv"
	"strings"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/durationpb"

	v1 "turnwright/api/turnwright/v1"
	"turnwright/search/deepen"
	"turnwright/search/puzzle"
	"turnwright/server/access"
	"turnwright/server/engine"
	"turnwright/server/fail"
	"turnwright/server/page"
	"turnwright/server/puzzles"
	"turnwright/server/read"
	"turnwright/server/schedule"
	"turnwright/storage"
)

// Store is what the services need of storage.
type Store interface {
	CreateSearch(ctx context.Context, r storage.Request, id string, spec storage.Spec) (storage.Search, error)
	Search(ctx context.Context, id string) (storage.Search, error)
	Searches(ctx context.Context, before uint64, limit int) ([]storage.Search, error)
	SearchesOf(ctx context.Context, owner string, before uint64, limit int) ([]storage.Search, error)
	Move(ctx context.Context, r storage.Request, id string, to storage.State, d storage.Detail) (storage.Search, error)
	Reschedule(ctx context.Context, r storage.Request, id string, change func(*storage.Wishes)) (storage.Search, error)
	DeleteSearch(ctx context.Context, r storage.Request, id string) error
	Findings(ctx context.Context, search string, q storage.FindingScan) ([]storage.Finding, error)
	Events(ctx context.Context, search string, after uint64, limit int) ([]storage.Finding, error)
}

// Runner is what the services need of the scheduler.
type Runner interface {
	Watch(id string) (changed <-chan struct{}, end func())
	Changed(ctx context.Context, id string)
	Progress(id string) schedule.Progress
	Rate() float64
}

// Rounds knows what competitors are at.
type Rounds interface {
	// OpenWith gives the name of an open round one of whose scrambles leads to the same position
	// as these turns; empty where there is none.
	OpenWith(ctx context.Context, p *puzzle.Puzzle, scramble []puzzle.Turn) (string, error)
}

// Service answers turnwright.v1.SearchService.
type Service struct {
	v1.UnimplementedSearchServiceServer
	store   Store
	runner  Runner
	rounds  Rounds
	library *puzzles.Library
	pages   *page.Tokens
	memory  int64 // bytes for tables that a search may use

	planning chan struct{} // holds a token for each plan that is being made
	known    considered
}

// NewService makes the service. memory is the most that a search may use for tables.
func NewService(store Store, runner Runner, competitions Rounds, library *puzzles.Library, pages *page.Tokens, memory int64) *Service {
	return &Service{
		store: store, runner: runner, rounds: competitions, library: library, pages: pages, memory: memory,
		planning: make(chan struct{}, maxPlanning),
	}
}

// Bounds of a request.
const (
	maxSlack = 10

	maxPlanning = 2 // plans that are made at once: one takes up to seconds of a core
)

// CreateSearch checks a search, and queues it unless it is only to be checked.
func (s *Service) CreateSearch(ctx context.Context, req *v1.CreateSearchRequest) (*v1.CreateSearchResponse, error) {
	wishes, err := readWishes(req.GetSearch(), time.Now())
	if err != nil {
		return nil, err
	}
	spec, estimate, err := s.plan(ctx, req.GetSearch())
	if err != nil {
		return nil, err
	}
	spec.Wishes = wishes
	if req.GetValidateOnly() {
		checked := asked(spec)
		tellWishes(checked, wishes)
		return &v1.CreateSearchResponse{Search: checked, Estimate: estimate}, nil
	}
	id := req.GetSearchId()
	if id == "" {
		id = "s" + strings.ToLower(rand.Text()[:11])
	}
	if !read.IsID(id) {
		return nil, fail.Field("search_id", "%q: use lower-case letters, digits and hyphens, a letter first, no hyphen last, at most 63", id)
	}
	body, err := proto.MarshalOptions{Deterministic: true}.Marshal(&v1.CreateSearchRequest{Search: req.GetSearch(), SearchId: req.GetSearchId()})
	if err != nil {
		return nil, err
	}
	r, err := page.Request(ctx, req.GetRequestId(), "CreateSearch", string(body))
	if err != nil {
		return nil, err
	}
	created, err := s.store.CreateSearch(ctx, r, id, spec)
	if errors.Is(err, storage.ErrExists) {
		return nil, fail.With(codes.AlreadyExists, v1.ErrorReason_ERROR_REASON_SEARCH_EXISTS,
			fmt.Sprintf("another search is called %q", id), "name", "searches/"+id)
	}
	if err != nil {
		return nil, err
	}
	s.runner.Changed(ctx, created.ID)
	return &v1.CreateSearchResponse{Search: s.message(created), Estimate: estimate}, nil
}

// turn waits until a plan may be made, and gives what is to be called after that.
func (s *Service) turn(ctx context.Context) (end func(), err error) {
	select {
	case s.planning <- struct{}{}:
		return func() { <-s.planning }, nil
	case <-ctx.Done():
		return nil, ctx.Err()
	}
}

// plan checks everything about a search that a client can say, and estimates what it
// takes.
func (s *Service) plan(ctx context.Context, m *v1.Search) (storage.Spec, *v1.Estimate, error) {
	var spec storage.Spec
	allowed := s.allowed(ctx)
	switch {
	case m.GetGoal() == nil && m.GetPosition() == nil && m.GetStudy() == nil:
		return spec, nil, fail.Field("search.goal", "is required, or search.position, or search.study")
	case m.GetStudy() != nil && (m.GetGoal() != nil || m.GetPosition() != nil || m.GetStructure() != nil):
		return spec, nil, fail.Field("search.study", "must not be set beside search.goal, search.position or search.structure: a search is for one thing")
	case m.GetGoal() != nil && m.GetPosition() != nil:
		return spec, nil, fail.Field("search.position", "must not be set beside search.goal: a search is for one of them")
	case m.GetStructure() != nil && m.GetPosition() != nil:
		return spec, nil, fail.Field("search.structure", "must not be set beside search.position: it says which sequences are tried for a goal")
	case m.GetStructure() == nil && m.GetStudy() == nil && m.GetMaxLength() == 0, m.GetMaxLength() < 0, m.GetMaxLength() > deepen.MaxLength:
		return spec, nil, fail.Field("search.max_length", "%d: use 1 to %d", m.GetMaxLength(), deepen.MaxLength)
	case m.GetMemoryBytes() < 0:
		return spec, nil, fail.Field("search.memory_bytes", "%d: must not be negative", m.GetMemoryBytes())
	case m.GetMemoryBytes() > allowed:
		return spec, nil, fail.With(codes.ResourceExhausted, v1.ErrorReason_ERROR_REASON_MEMORY_LIMIT,
			fmt.Sprintf("%d bytes for tables are asked for, this server allows %d", m.GetMemoryBytes(), allowed),
			"needed", strconv.FormatInt(m.GetMemoryBytes(), 10), "allowed", strconv.FormatInt(allowed, 10))
	case m.GetSequencesPerClass() < 0 || m.GetSequencesPerClass() > deepen.MaxEach:
		return spec, nil, fail.Field("search.sequences_per_class", "%d: use 1 to %d", m.GetSequencesPerClass(), deepen.MaxEach)
	case m.GetSlack() < 0 || m.GetSlack() > maxSlack:
		return spec, nil, fail.Field("search.slack", "%d: use 0 to %d", m.GetSlack(), maxSlack)
	}
	metric, err := read.Metric("search.metric", m.GetMetric())
	if err != nil {
		return spec, nil, err
	}
	spec = storage.Spec{
		Metric: metric.String(), Max: int(m.GetMaxLength()), Memory: m.GetMemoryBytes(),
		Each: int(m.GetSequencesPerClass()), Slack: int(m.GetSlack()), Before: m.GetBefore(), After: m.GetAfter(),
	}
	if m.GetGoal() != nil && m.GetStructure() == nil {
		return s.planGoal(ctx, spec, m.GetGoal())
	}
	end, err := s.turn(ctx)
	if err != nil {
		return spec, nil, err
	}
	defer end()
	switch {
	case m.GetPosition() != nil:
		return s.planPosition(ctx, spec, m.GetPosition())
	case m.GetStudy() != nil:
		return s.planStudy(ctx, spec, m.GetStudy())
	}
	spec, q, err := s.readGoal(ctx, spec, m.GetGoal())
	if err != nil {
		return spec, nil, err
	}
	return s.planStructured(spec, q, m)
}

// allowed is how many bytes for tables a search of the caller may use.
func (s *Service) allowed(ctx context.Context) int64 {
	if most := access.From(ctx).MaxMemory; most > 0 {
		return min(most, s.memory)
	}
	return s.memory
}

// readGoal checks what is particular to a goal.
func (s *Service) readGoal(ctx context.Context, spec storage.Spec, g *v1.Goal) (storage.Spec, deepen.Question, error) {
	var q deepen.Question
	switch {
	case g.GetCycle() == "":
		return spec, q, fail.Field("search.goal.cycle", "is required: the type of the three pieces")
	case v1.Core_name[int32(g.GetCore())] == "":
		return spec, q, fail.Field("search.goal.core", "%d: use CORE_KEPT or CORE_FREE", g.GetCore())
	case len(g.GetPins()) > 3:
		return spec, q, fail.Field("search.goal.pins", "%d pins: a 3-cycle has at most three", len(g.GetPins()))
	}
	names := map[string][]string{
		"protect": g.GetProtect(), "ignore": g.GetIgnore(), "cycle": {g.GetCycle()}, "shape": {g.GetShape()}, "axes": g.GetAxes(),
	}
	if err := checkNames("search.goal.", names); err != nil {
		return spec, q, err
	}
	p, err := s.library.Find(ctx, g.GetPuzzle())
	if err != nil {
		return spec, q, err
	}
	if spec.Memory == 0 {
		spec.Memory = s.allowed(ctx)
	}
	spec.Puzzle, spec.Definition = p.Name, p.Def.YAML()
	spec.Cycle, spec.Shape, spec.Axes, spec.Protect, spec.Ignore = g.GetCycle(), g.GetShape(), g.GetAxes(), g.GetProtect(), g.GetIgnore()
	for _, pin := range g.GetPins() {
		spec.Pins = append(spec.Pins, storage.Pin{From: pin.GetFrom(), To: pin.GetTo()})
	}
	if q, err = engine.Question(s.library, spec); err != nil {
		return spec, q, fail.Refused(v1.ErrorReason_ERROR_REASON_GOAL_REFUSED, "search.goal", err)
	}
	if err := readMoves(q, &spec); err != nil {
		return spec, q, err
	}
	return spec, q, nil
}

// planGoal plans a search for a goal, or knows already what a plan of it says.
func (s *Service) planGoal(ctx context.Context, spec storage.Spec, g *v1.Goal) (storage.Spec, *v1.Estimate, error) {
	spec, q, err := s.readGoal(ctx, spec, g)
	if err != nil {
		return spec, nil, err
	}
	question := struct {
		Spec storage.Spec
		Core v1.Core
	}{spec, g.GetCore()}
	spec, estimate, err := s.known.of(question, func() (storage.Spec, *v1.Estimate, error) {
		end, err := s.turn(ctx)
		if err != nil {
			return spec, nil, err
		}
		defer end()
		return considerGoal(ctx, spec, q, g.GetCore())
	})
	return spec, s.timed(estimate), err
}

// considerGoal makes the plan of a goal, and tells what it says.
func considerGoal(ctx context.Context, spec storage.Spec, q deepen.Question, core v1.Core) (storage.Spec, *v1.Estimate, error) {
	if deepen.HidesCore(q.Puzzle, q.Goal) {
		spec.Core = engine.CoreKept
		if core == v1.Core_CORE_FREE || core == v1.Core_CORE_UNSPECIFIED && len(q.Goal.Ignore) > 0 {
			spec.Core = engine.CoreFree
		}
		q.KeepCore = spec.Core == engine.CoreKept
	}
	plan, err := deepen.NewPlan(q)
	if err != nil {
		return spec, nil, fail.Refused(v1.ErrorReason_ERROR_REASON_GOAL_REFUSED, "search.goal", err)
	}
	classes, cycles := plan.Answers()
	spec.Classes, spec.Cycles = classes, int64(cycles)
	estimate, err := estimate(ctx, plan)
	spec.Work = storage.Work{Leaves: estimate.GetLeaves(), Entries: estimate.GetTableWords()}
	for _, t := range plan.Tables() { // one after another
		spec.Work.Tables = max(spec.Work.Tables, int64(t.Bytes()))
	}
	return spec, estimate, err
}

// checkNames bounds lists of names before anything is looked up.
func checkNames(prefix string, lists map[string][]string) error {
	for field, names := range lists {
		if err := read.Names(prefix+field, names); err != nil {
			return err
		}
	}
	return nil
}

// estimate says what a plan takes.
func estimate(ctx context.Context, plan *deepen.Plan) (*v1.Estimate, error) {
	out := &v1.Estimate{}
	for length := 1; length <= plan.Question.Max; length++ {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		leaves, units := plan.Leaves(length), int64(plan.CountUnits(length))
		out.Lengths = append(out.Lengths, &v1.LengthEstimate{
			Length: int32(length), Words: plan.Words(length).String(), Leaves: leaves, Units: units,
		})
		out.Units += units
		if out.Leaves += leaves; out.Leaves < leaves {
			out.Leaves = ^uint64(0)
		}
	}
	for _, spec := range plan.Tables() {
		out.TableWords += spec.Words() / uint64(max(1, spec.Parts))
		out.TableBytes += int64(spec.Bytes())
	}
	return out, nil
}

// timed adds how long it takes at the rate last measured.
func (s *Service) timed(estimate *v1.Estimate) *v1.Estimate {
	rate := s.runner.Rate()
	if estimate == nil || rate <= 0 {
		return estimate
	}
	total := 0.0
	for _, l := range estimate.GetLengths() {
		total += float64(l.GetLeaves())
	}
	out := proto.CloneOf(estimate)
	out.Duration = durationpb.New(time.Duration(min(total/rate, 1e9) * float64(time.Second)))
	return out
}

// GetSearch gives one search.
func (s *Service) GetSearch(ctx context.Context, req *v1.GetSearchRequest) (*v1.GetSearchResponse, error) {
	search, err := s.find(ctx, "name", req.GetName())
	if err != nil {
		return nil, err
	}
	return &v1.GetSearchResponse{Search: s.message(search)}, nil
}

// find gives the search of a resource name in a field of the request.
func (s *Service) find(ctx context.Context, field, name string) (storage.Search, error) {
	id, err := ReadID(field, name)
	if err != nil {
		return storage.Search{}, err
	}
	search, err := s.store.Search(ctx, id)
	return search, Explain(name, err)
}

// ReadID takes a search's id out of its resource name.
func ReadID(field, name string) (string, error) {
	id, ok := strings.CutPrefix(name, "searches/")
	if !ok || !read.IsID(id) {
		return "", fail.Field(field, "%q: use searches/NAME", clip(name))
	}
	return id, nil
}

// Explain says which search an error of the store is about, where it is not there or
// another's.
func Explain(name string, err error) error {
	switch {
	case errors.Is(err, storage.ErrNotFound):
		return fail.NoSuch(v1.ErrorReason_ERROR_REASON_SEARCH_NOT_FOUND, "search", name)
	case errors.Is(err, storage.ErrNotOwner):
		return fail.With(codes.PermissionDenied, v1.ErrorReason_ERROR_REASON_NOT_OWNER,
			fmt.Sprintf("%s belongs to another member: only they and organisers may change it", name), "name", name)
	}
	return err
}

// clip keeps hostile names out of messages and logs.
func clip(name string) string {
	if len(name) > read.MaxName {
		return name[:read.MaxName] + "…"
	}
	return name
}

// ListSearches gives all searches, or those of one member, the latest first.
func (s *Service) ListSearches(ctx context.Context, req *v1.ListSearchesRequest) (*v1.ListSearchesResponse, error) {
	query, list := "searches", s.store.Searches
	if req.GetOwner() != "" {
		owner, err := access.MemberID(ctx, "owner", req.GetOwner())
		if err != nil {
			return nil, err
		}
		query = "searches of " + owner
		list = func(ctx context.Context, before uint64, limit int) ([]storage.Search, error) {
			return s.store.SearchesOf(ctx, owner, before, limit)
		}
	}
	out := &v1.ListSearchesResponse{}
	return out, page.List(s.pages, req, query, &out.NextPageToken,
		func(before uint64, limit int) ([]storage.Search, error) { return list(ctx, before, limit) },
		func(search storage.Search) (proto.Message, uint64, error) {
			m := s.message(search)
			out.Searches = append(out.Searches, m)
			return m, search.Number, nil
		})
}

// DeleteSearch removes a search that has ended.
func (s *Service) DeleteSearch(ctx context.Context, req *v1.DeleteSearchRequest) (*v1.DeleteSearchResponse, error) {
	r, err := page.Request(ctx, req.GetRequestId(), "DeleteSearch", req.GetName())
	if err != nil {
		return nil, err
	}
	id, err := ReadID("name", req.GetName())
	if err != nil {
		return nil, err
	}
	search, _ := s.store.Search(ctx, id) // it is gone where this is a repeat
	err = s.store.DeleteSearch(ctx, r, id)
	if errors.Is(err, storage.ErrState) {
		return nil, fail.Precondition(v1.ErrorReason_ERROR_REASON_SEARCH_NOT_ENDED, req.GetName(), err.Error()+"; cancel it first")
	}
	if err != nil {
		return nil, Explain(req.GetName(), err)
	}
	auditOthers(ctx, "delete search", search)
	s.runner.Changed(ctx, id) // wakes those who watch it
	return &v1.DeleteSearchResponse{}, nil
}
