package main

import (
	"context"
	"errors"
	"net"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	v1 "turnwright/api/turnwright/v1"
	"turnwright/server/fail"
)

// fake is a server with invented answers: what these tests are about is how the
// command asks and how it prints, not whether the answers are true.
type fake struct {
	v1.UnimplementedPuzzleServiceServer
	v1.UnimplementedEffectServiceServer
	v1.UnimplementedSearchServiceServer
	v1.UnimplementedFindingServiceServer
	v1.UnimplementedCoverageServiceServer
	v1.UnimplementedFitServiceServer
	v1.UnimplementedInsertionServiceServer
	v1.UnimplementedCommutatorServiceServer
	v1.UnimplementedMemberServiceServer
	v1.UnimplementedRoundServiceServer
	v1.UnimplementedStatusServiceServer
	v1.UnimplementedStudyServiceServer

	address string

	mu       sync.Mutex
	searches map[string]*v1.Search
	findings map[string][]*v1.Finding
	asked    []proto.Message // calls that change something, without their request ids, and some others
	watched  chan struct{}   // closed when someone streams searches/slow
	ended    chan struct{}   // closed when searches/slow is cancelled
}

func startFake(t *testing.T) *fake {
	f := &fake{
		searches: map[string]*v1.Search{}, findings: map[string][]*v1.Finding{},
		watched: make(chan struct{}), ended: make(chan struct{}),
	}
	for _, s := range inventedSearches() {
		f.searches[s.GetName()] = s
	}
	f.findings["searches/done"] = inventedFindings()
	f.findings["searches/slow"] = inventedFindings()[:1]
	f.findings["searches/solved"] = inventedSolutions()
	f.findings["searches/formed"] = inventedFindings()
	f.findings["searches/shortened"] = inventedShorter()
	f.findings["searches/home"] = []*v1.Finding{{Name: "searches/home/findings/best", Place: 1, Revision: 1, ClassCycles: 1, Lengths: &v1.Lengths{}}}

	between := proto.CloneOf(f.searches["searches/done"])
	between.Name, between.Before, between.After = "searches/between", "b a'", "c"
	f.searches[between.GetName()] = between
	for i, finding := range inventedFindings() {
		finding.Joined = &v1.Joined{Sequence: "a^2 b a' c^2", Length: int32(4 + 2*i), Net: int32(1 + 2*i)}
		f.findings[between.GetName()] = append(f.findings[between.GetName()], finding)
	}

	listener, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	f.address = listener.Addr().String()
	server := grpc.NewServer(grpc.WaitForHandlers(true))
	v1.RegisterPuzzleServiceServer(server, f)
	v1.RegisterEffectServiceServer(server, f)
	v1.RegisterSearchServiceServer(server, f)
	v1.RegisterFindingServiceServer(server, f)
	v1.RegisterCoverageServiceServer(server, f)
	v1.RegisterFitServiceServer(server, f)
	v1.RegisterInsertionServiceServer(server, f)
	v1.RegisterStudyServiceServer(server, f)
	v1.RegisterCommutatorServiceServer(server, f)
	v1.RegisterMemberServiceServer(server, f)
	v1.RegisterRoundServiceServer(server, f)
	v1.RegisterStatusServiceServer(server, f)
	served := make(chan error, 1)
	go func() { served <- server.Serve(listener) }()
	t.Cleanup(func() {
		server.Stop()
		if err := <-served; !errors.Is(err, grpc.ErrServerStopped) { // it may be stopped before it is under way
			require.NoError(t, err)
		}
	})
	return f
}

// record keeps a request that changes something. Each must have a request id,
// and the ids differ, so they are left out.
func (f *fake) record(request interface {
	proto.Message
	GetRequestId() string
}) error {
	if request.GetRequestId() == "" {
		return status.Error(codes.InvalidArgument, "request_id is missing")
	}
	kept := proto.Clone(request)
	m := kept.ProtoReflect()
	m.Clear(m.Descriptor().Fields().ByName("request_id"))
	f.mu.Lock()
	defer f.mu.Unlock()
	f.asked = append(f.asked, kept)
	return nil
}

func (f *fake) search(name string) (*v1.Search, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	s, ok := f.searches[name]
	if !ok {
		return nil, refused(codes.NotFound, "SEARCH_NOT_FOUND", "there is no search %q", name)
	}
	return proto.CloneOf(s), nil
}

func refused(code codes.Code, reason, format string, args ...any) error {
	st, err := status.Newf(code, format, args...).WithDetails(&errdetails.ErrorInfo{Domain: "turnwright", Reason: reason})
	if err != nil {
		return err
	}
	return st.Err()
}

func (f *fake) ListPuzzles(_ context.Context, r *v1.ListPuzzlesRequest) (*v1.ListPuzzlesResponse, error) {
	if r.GetPageToken() == "" { // one on each page
		return &v1.ListPuzzlesResponse{Puzzles: []*v1.Puzzle{inventedPuzzle("brick", "")}, NextPageToken: "2"}, nil
	}
	return &v1.ListPuzzlesResponse{Puzzles: []*v1.Puzzle{inventedPuzzle("slab", "")}}, nil
}

func (f *fake) GetPuzzle(_ context.Context, r *v1.GetPuzzleRequest) (*v1.GetPuzzleResponse, error) {
	if r.GetName() != "puzzles/brick" && r.GetName() != "puzzles/slab" {
		return nil, refused(codes.NotFound, "PUZZLE_NOT_FOUND", "there is no puzzle %q", r.GetName())
	}
	return &v1.GetPuzzleResponse{Puzzle: inventedPuzzle(strings.TrimPrefix(r.GetName(), "puzzles/"), "name: brick\nsolid: cube\n")}, nil
}

func (f *fake) DefinePuzzle(_ context.Context, r *v1.DefinePuzzleRequest) (*v1.DefinePuzzleResponse, error) {
	if err := f.record(r); err != nil {
		return nil, err
	}
	if !strings.Contains(r.GetDefinition(), "name: slab") {
		return nil, refused(codes.InvalidArgument, "PUZZLE_REFUSED", "line 1: unknown solid %q", "prism")
	}
	return &v1.DefinePuzzleResponse{Puzzle: inventedPuzzle("slab", r.GetDefinition())}, nil
}

func (f *fake) DescribeSequence(_ context.Context, r *v1.DescribeSequenceRequest) (*v1.DescribeSequenceResponse, error) {
	if r.GetPuzzle() != "puzzles/brick" && r.GetPuzzle() != "puzzles/slab" {
		return nil, refused(codes.NotFound, "PUZZLE_NOT_FOUND", "there is no puzzle %q", r.GetPuzzle())
	}
	if strings.Contains(r.GetSequence(), "?") {
		return nil, refused(codes.InvalidArgument, "SEQUENCE_REFUSED", "line 1, column 3: %q is not an axis", "?")
	}
	return &v1.DescribeSequenceResponse{Effect: &v1.Effect{
		Sequence: r.GetSequence(), Lengths: &v1.Lengths{Obtm: 6, Stm: 4, Qtm: 8, Etm: 4},
		Order: "123456789012345678901", Rotation: "all.a", Repeats: "12",
		Types: []*v1.TypeEffect{
			{Type: "edge", Moved: 3, Order: "3", Cycles: inventedCycles()[:1]},
			{Type: "wedge", Moved: 4, Order: "6", Cycles: inventedCycles()[1:]},
			{Type: "plate", Order: "1"},
		},
	}}, nil
}

func (f *fake) ExplainSequence(_ context.Context, r *v1.ExplainSequenceRequest) (*v1.ExplainSequenceResponse, error) {
	if r.GetPuzzle() != "puzzles/brick" {
		return nil, refused(codes.NotFound, "PUZZLE_NOT_FOUND", "there is no puzzle %q", r.GetPuzzle())
	}
	e := inventedExplanation()
	if r.GetSequence() == "a b c" {
		e = &v1.Explanation{Text: r.GetSequence(), Words: "3 turns", Plain: true, Written: 3, Length: 3}
	}
	return &v1.ExplainSequenceResponse{Explanation: e}, nil
}

func (f *fake) CreateSearch(_ context.Context, r *v1.CreateSearchRequest) (*v1.CreateSearchResponse, error) {
	if r.GetValidateOnly() && r.GetSearch().GetStudy() != nil {
		return &v1.CreateSearchResponse{Search: r.GetSearch(), Estimate: &v1.Estimate{Units: 2880, TableWords: 16600000, TableBytes: 160 << 20}}, nil
	}
	if r.GetValidateOnly() && r.GetSearch().GetStructure() != nil {
		return &v1.CreateSearchResponse{Search: r.GetSearch(), Estimate: &v1.Estimate{Units: 40, Pairs: 1234567890, TableBytes: 3 << 20}}, nil
	}
	if r.GetValidateOnly() {
		return &v1.CreateSearchResponse{Search: r.GetSearch(), Estimate: &v1.Estimate{
			Lengths: []*v1.LengthEstimate{
				{Length: 1, Words: "18", Leaves: 1, Units: 1},
				{Length: 2, Words: "12345678901234567890123", Leaves: 1234567, Units: 40},
			},
			Units: 41, Leaves: 1234568, TableWords: 16600000, TableBytes: 300 << 20, Duration: durationpb.New(90 * time.Minute),
		}}, nil
	}
	if err := f.record(r); err != nil {
		return nil, err
	}
	if p := r.GetSearch().GetPosition(); p != nil {
		return f.createPosition(p)
	}
	if given := r.GetSearch().GetStudy(); given != nil {
		return f.createStudy(given)
	}
	if form := r.GetSearch().GetStructure(); form != nil {
		if form.GetFirstLength() > 12 {
			return nil, fail.Field("search.structure.first_length", "%d: use 1 to 12", form.GetFirstLength())
		}
		s, err := f.search(map[bool]string{true: "searches/formed", false: "searches/unformed"}[r.GetSearch().GetGoal().GetCycle() == "edge"])
		return &v1.CreateSearchResponse{Search: s}, err
	}
	if r.GetSearch().GetBefore() != "" {
		s, err := f.search("searches/between")
		return &v1.CreateSearchResponse{Search: s}, err
	}
	switch r.GetSearch().GetGoal().GetCycle() {
	case "edge": // each type of piece stands for a search that ends in its own way
		s, err := f.search("searches/done")
		return &v1.CreateSearchResponse{Search: s}, err
	case "wedge":
		s, err := f.search("searches/none")
		return &v1.CreateSearchResponse{Search: s}, err
	case "plate":
		s, err := f.search("searches/slow")
		return &v1.CreateSearchResponse{Search: s}, err
	case "rod":
		s, err := f.search("searches/broken")
		return &v1.CreateSearchResponse{Search: s}, err
	}
	return nil, refused(codes.InvalidArgument, "GOAL_REFUSED", "brick has no pieces of type %q: it has edge, wedge, plate, rod", r.GetSearch().GetGoal().GetCycle())
}

// createPosition takes a position; each scramble stands for a search that ends in its own way.
func (f *fake) createPosition(p *v1.Position) (*v1.CreateSearchResponse, error) {
	name, ok := map[string]string{"[a,b]": "solved", "a": "home", "": "far"}[p.GetScramble()]
	if !ok {
		return nil, refused(codes.InvalidArgument, "SEQUENCE_REFUSED", "line 1, column 1: %q is not an axis", p.GetScramble())
	}
	s, err := f.search("searches/" + name)
	return &v1.CreateSearchResponse{Search: s}, err
}

// createStudy takes a solution; each stands for a search that ends in its own way.
func (f *fake) createStudy(given *v1.Study) (*v1.CreateSearchResponse, error) {
	name, ok := map[string]string{"a b c a'": "shortened", "a": "unshortened"}[given.GetSolution()]
	switch {
	case given.GetShortenTime().AsDuration() > 72*time.Hour:
		return nil, fail.Field("search.study.shorten_time", "%v: use 1s to 72h", given.GetShortenTime().AsDuration())
	case !ok:
		return nil, refused(codes.InvalidArgument, "SOLUTION_REFUSED", "the solution does not solve the scramble: it leaves 3 edges wrong")
	}
	s, err := f.search("searches/" + name)
	return &v1.CreateSearchResponse{Search: s}, err
}

func (f *fake) PauseSearch(_ context.Context, r *v1.PauseSearchRequest) (*v1.PauseSearchResponse, error) {
	if err := f.record(r); err != nil {
		return nil, err
	}
	s, err := f.search(r.GetName())
	if err != nil {
		return nil, err
	}
	if ended(s) {
		return nil, refused(codes.FailedPrecondition, "SEARCH_ENDED", "search %q is done: can't pause", r.GetName())
	}
	s.State, s.Progress = v1.SearchState_SEARCH_STATE_PAUSED, &v1.Progress{}
	return &v1.PauseSearchResponse{Search: s}, nil
}

func (f *fake) ResumeSearch(_ context.Context, r *v1.ResumeSearchRequest) (*v1.ResumeSearchResponse, error) {
	if err := f.record(r); err != nil {
		return nil, err
	}
	s, err := f.search(r.GetName())
	if err != nil {
		return nil, err
	}
	s.State = v1.SearchState_SEARCH_STATE_QUEUED
	return &v1.ResumeSearchResponse{Search: s}, nil
}

func (f *fake) GetSearch(_ context.Context, r *v1.GetSearchRequest) (*v1.GetSearchResponse, error) {
	s, err := f.search(r.GetName())
	return &v1.GetSearchResponse{Search: s}, err
}

func (f *fake) ListSearches(_ context.Context, r *v1.ListSearchesRequest) (*v1.ListSearchesResponse, error) {
	all := inventedSearches()
	if r.GetOwner() == "members/me" {
		for i, owner := range []string{"anna", "local"} {
			all[i].Owner = "members/" + owner
		}
		return &v1.ListSearchesResponse{Searches: all[:2]}, nil
	}
	if r.GetPageToken() == "" {
		return &v1.ListSearchesResponse{Searches: all[:1], NextPageToken: "more"}, nil
	}
	return &v1.ListSearchesResponse{Searches: all[1:]}, nil
}

func (f *fake) CancelSearch(_ context.Context, r *v1.CancelSearchRequest) (*v1.CancelSearchResponse, error) {
	if err := f.record(r); err != nil {
		return nil, err
	}
	s, err := f.search(r.GetName())
	if err != nil {
		return nil, err
	}
	if r.GetName() == "searches/slow" {
		s.State, s.Progress = v1.SearchState_SEARCH_STATE_CANCELLED, &v1.Progress{}
		f.mu.Lock()
		f.searches[r.GetName()] = s
		f.mu.Unlock()
		close(f.ended)
	}
	return &v1.CancelSearchResponse{Search: s}, nil
}

func (f *fake) DeleteSearch(_ context.Context, r *v1.DeleteSearchRequest) (*v1.DeleteSearchResponse, error) {
	if err := f.record(r); err != nil {
		return nil, err
	}
	if _, err := f.search(r.GetName()); err != nil {
		return nil, err
	}
	return &v1.DeleteSearchResponse{}, nil
}

func (f *fake) ListFindings(_ context.Context, r *v1.ListFindingsRequest) (*v1.ListFindingsResponse, error) {
	return &v1.ListFindingsResponse{Findings: f.findings[r.GetParent()]}, nil
}

func (f *fake) StreamFindings(r *v1.StreamFindingsRequest, stream grpc.ServerStreamingServer[v1.StreamFindingsResponse]) error {
	s, err := f.search(r.GetParent())
	if err != nil {
		return err
	}
	events := []*v1.StreamFindingsResponse{{Cursor: "0", Event: &v1.StreamFindingsResponse_Heartbeat{Heartbeat: &v1.Heartbeat{}}}}
	for _, finding := range f.findings[r.GetParent()] {
		events = append(events, &v1.StreamFindingsResponse{Cursor: "1", Event: &v1.StreamFindingsResponse_Finding{Finding: finding}})
	}
	events = append(events, &v1.StreamFindingsResponse{Cursor: "2", Event: &v1.StreamFindingsResponse_Search{Search: s}})
	for _, event := range events {
		if err := stream.Send(event); err != nil {
			return err
		}
	}
	if r.GetParent() == "searches/slow" {
		close(f.watched)
		select {
		case <-f.ended:
		case <-stream.Context().Done():
			return stream.Context().Err()
		}
	}
	return nil
}

func inventedPuzzle(name, definition string) *v1.Puzzle {
	p := &v1.Puzzle{
		Name: "puzzles/" + name, Title: "A block of invented pieces", Solid: "cube", Builtin: name == "brick",
		PieceTypes: []*v1.PieceType{
			{Name: "plate", Pieces: 1, Slots: 1, Orientations: 1, StickersPerPiece: 1},
			{Name: "edge", Pieces: 4, Slots: 8, Orientations: 2, StickersPerPiece: 2},
		},
		Axes: []*v1.Axis{
			{Name: "a", Opposite: "b", Steps: 4, Layers: 3, ReferenceLayer: 2},
			{Name: "b", Opposite: "a", Steps: 4, Layers: 3, ReferenceLayer: 2},
			{Name: "c", Steps: 3, Layers: 2, ReferenceLayer: 2},
		},
		Faces: []string{"top", "bottom"}, StickerCount: 9, SymmetryCount: 48, RotationCount: 24, Definition: definition,
	}
	if name == "brick" {
		p.Aliases = []string{"block", "bar"}
	}
	if definition != "" {
		p.PieceTypes[0].SlotLabels = []string{"p"}
		p.PieceTypes[1].SlotLabels = []string{"ab", "ba", "bc", "cb", "cd", "dc", "da", "ad"}
	}
	return p
}

func inventedCycles() []*v1.Cycle {
	return []*v1.Cycle{
		{Length: 3, Slots: []int32{0, 2, 5}, Labels: []string{"ab", "bc", "dc"}, Twist: 1, Text: "(ab bc dc)"},
		{Length: 2, Slots: []int32{0, 1}, Labels: []string{"u", "v"}, Twist: 1, Text: "(u v)"},
		{Length: 1, Slots: []int32{4}, Labels: []string{"w"}, Twist: 3, TwistLabel: "w2", Text: "(w)³"},
	}
}

// IsolatePieces answers for the part a with all kinds of meetings.
func (f *fake) IsolatePieces(_ context.Context, r *v1.IsolatePiecesRequest) (*v1.IsolatePiecesResponse, error) {
	f.note(r)
	if r.GetPart() == "?" {
		return nil, fail.Refused(v1.ErrorReason_ERROR_REASON_SEQUENCE_REFUSED, "part", errors.New("line 1, column 1: no axis"))
	}
	if r.GetPart() == "c" {
		return &v1.IsolatePiecesResponse{Part: "c", Tried: 12}, nil
	}
	return &v1.IsolatePiecesResponse{
		Part: r.GetPart(), Tried: 12, Isolating: 2, Wanted: 1, LeftOut: 1,
		Meetings: []*v1.Meeting{
			{
				Part: "b", Length: 1, Isolates: true, Shared: []*v1.PieceSet{{Type: "edge", Labels: []string{"ab"}}},
				Moved: []*v1.PieceCount{{Type: "edge", Pieces: 3}}, Cycles: inventedCycles()[:1], Commutator: inventedCommutators()[0],
			},
			{
				Part: "2.b c", Length: 2,
				Shared: []*v1.PieceSet{{Type: "edge", Labels: []string{"ab", "bc", "cd"}}, {Type: "wedge", Labels: []string{"u", "v"}}},
				Moved:  []*v1.PieceCount{{Type: "edge", Pieces: 6}, {Type: "wedge", Pieces: 1}},
				Cycles: []*v1.Cycle{inventedCycles()[0], inventedCycles()[0]},
			},
			{Part: "c", Length: 1},
		},
	}, nil
}

func (f *fake) ListCommutators(_ context.Context, r *v1.ListCommutatorsRequest) (*v1.ListCommutatorsResponse, error) {
	f.note(r)
	switch r.GetGoal().GetCycle() {
	case "edge":
		return &v1.ListCommutatorsResponse{
			Commutators: inventedCommutators(), Classes: 2, ClassesTotal: 3, Pairs: 12345, LeftOut: 7,
			Cells: []*v1.CommutatorCell{
				{FirstLength: 1, SecondLength: 1, Commutators: 48, Classes: 1, LeastLength: 4},
				{FirstLength: 2, SecondLength: 1, Commutators: 1234, Classes: 2, LeastLength: 5},
			},
		}, nil
	case "wedge":
		return &v1.ListCommutatorsResponse{Pairs: 1, Cells: []*v1.CommutatorCell{{FirstLength: 1, SecondLength: 1}}}, nil
	}
	return nil, fail.Field("first_length", "99: use 1 to 12")
}

// note keeps a request that changes nothing.
func (f *fake) note(request proto.Message) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.asked = append(f.asked, proto.Clone(request))
}

func inventedCommutators() []*v1.Commutator {
	return []*v1.Commutator{
		{
			Text: "[a, b]", Words: "1-1 commutator", Sequence: "a b a' b'", Length: 4, Lengths: &v1.Lengths{Obtm: 4, Stm: 4, Qtm: 4, Etm: 4},
			Axes: 2, PartsLength: 2, Class: 2, ClassCycles: 60, Cycles: inventedCycles()[:1],
		},
		{
			Text: "[a c, b]", Words: "2-1 commutator", Sequence: "a c b c' a' b'", Length: 6, Lengths: &v1.Lengths{Obtm: 6, Stm: 6, Qtm: 6, Etm: 6},
			Axes: 3, PartsLength: 3, Cycles: inventedCycles()[1:],
		},
	}
}

func inventedExplanation() *v1.Explanation {
	return &v1.Explanation{Text: "[a, b]", Words: "1-1 commutator", Written: 2, Length: 4, Brackets: 1}
}

// inventedShorter are solutions that a study found.
func inventedShorter() []*v1.Finding {
	return []*v1.Finding{
		{Name: "searches/shortened/findings/r9", Sequence: "b c", Length: 2, Axes: 2, Place: 1, Revision: 2, ClassCycles: 1,
			Lengths: &v1.Lengths{Obtm: 2, Stm: 2, Qtm: 2, Etm: 2}, Shortening: &v1.Shortening{Saved: 2, By: "inverse", Round: 9}},
		{Name: "searches/shortened/findings/r1", Sequence: "b c a^2", Length: 3, Axes: 3, Place: 1, Revision: 1, ClassCycles: 1,
			Lengths: &v1.Lengths{Obtm: 3, Stm: 3, Qtm: 4, Etm: 3}, Shortening: &v1.Shortening{Saved: 1, By: "stretches", Round: 1}},
	}
}

func inventedFindings() []*v1.Finding {
	return []*v1.Finding{
		{
			Name: "searches/done/findings/c2", Class: 2, ClassesTotal: 3, ClassCycles: 60,
			Sequence: "a b a' b'", Length: 4, Lengths: &v1.Lengths{Obtm: 4, Stm: 4, Qtm: 4, Etm: 4},
			Axes: 2, Cycle: inventedCycles()[0], Parts: inventedCycles()[:1], Revision: 2,
			Explanation: inventedExplanation(),
		},
		{
			Name: "searches/done/findings/c1", Class: 1, ClassesTotal: 3, ClassCycles: 120,
			Sequence: "2.a b^2 2.a' b^2 c", Length: 5, Lengths: &v1.Lengths{Obtm: 7, Stm: 5, Qtm: 9, Etm: 5},
			Axes: 3, Cycle: inventedCycles()[0], Parts: inventedCycles()[:1], Revision: 1, Rotation: "all.c",
		},
	}
}

func inventedSolutions() []*v1.Finding {
	return []*v1.Finding{
		{
			Name: "searches/solved/findings/best", Place: 1, Revision: 1, ClassCycles: 1,
			Sequence: "b a b' a'", Length: 4, Lengths: &v1.Lengths{Obtm: 4, Stm: 4, Qtm: 4, Etm: 4}, Axes: 2, Rotation: "all.c",
		},
		{
			Name: "searches/solved/findings/best-2", Place: 2, Revision: 3, ClassCycles: 1,
			Sequence: "c b c' b'", Length: 4, Lengths: &v1.Lengths{Obtm: 4, Stm: 4, Qtm: 4, Etm: 4}, Axes: 2,
		},
	}
}

func inventedSearches() []*v1.Search {
	at := func(minute int) *timestamppb.Timestamp {
		return timestamppb.New(time.Date(2024, 2, 29, 12, minute, 0, 0, time.UTC))
	}
	kept := func(cycle string) *v1.Goal {
		return &v1.Goal{Puzzle: "puzzles/brick", Cycle: cycle, Core: v1.Core_CORE_KEPT}
	}
	goal := func(cycle string) *v1.Goal { return &v1.Goal{Puzzle: "puzzles/brick", Cycle: cycle} }
	return []*v1.Search{
		{
			Name: "searches/done", Goal: kept("edge"), Metric: v1.Metric_METRIC_STM, MaxLength: 5,
			State: v1.SearchState_SEARCH_STATE_DONE, ProvenLength: 5,
			Lengths: []*v1.LengthResult{
				{Length: 1, Words: "18", Leaves: 1}, {Length: 2, Words: "243", Leaves: 1}, {Length: 3, Words: "3240", Leaves: 18},
				{Length: 4, Classes: 1, Cycles: 60, Words: "43254", Leaves: 243},
				{Length: 5, Classes: 1, Cycles: 120, Words: "12345678901234567890123", Leaves: 3240},
			},
			ClassesTotal: 3, CyclesTotal: 220,
			Tables:     &v1.TableSummary{Tables: 1, Words: 16600000, Bytes: 300 << 20, Elapsed: durationpb.New(300 * time.Millisecond), FromCache: true},
			CreateTime: at(0), StartTime: at(1), EndTime: at(2),
		},
		{
			Name: "searches/none", Goal: &v1.Goal{Puzzle: "puzzles/brick", Cycle: "wedge", Ignore: []string{"edge", "plate"},
				Pins: []*v1.Pin{{From: "u", To: "v"}, {From: "v", To: "w"}}},
			Metric: v1.Metric_METRIC_OBTM, MaxLength: 2,
			State: v1.SearchState_SEARCH_STATE_DONE, ProvenLength: 2,
			Lengths:      []*v1.LengthResult{{Length: 1, Words: "18", Leaves: 1}, {Length: 2, Words: "243", Leaves: 1}},
			ClassesTotal: 1, CyclesTotal: 1,
			Tables:     &v1.TableSummary{Tables: 4, Words: 900, Bytes: 9000, Elapsed: durationpb.New(12 * time.Second)},
			CreateTime: at(3), StartTime: at(3), EndTime: at(4),
		},
		{
			Name: "searches/slow", Goal: goal("plate"), Metric: v1.Metric_METRIC_QTM, MaxLength: 20,
			State: v1.SearchState_SEARCH_STATE_RUNNING, ProvenLength: 3,
			Lengths: []*v1.LengthResult{
				{Length: 1, Words: "18", Leaves: 1}, {Length: 2, Words: "243", Leaves: 1}, {Length: 3, Words: "3240", Leaves: 18},
			},
			Progress:     &v1.Progress{Phase: v1.Phase_PHASE_SEARCHING, Length: 4, LeavesCovered: 121, LeavesPredicted: 243},
			ClassesTotal: 3, CyclesTotal: 220, // without tables, so that no note of them races with a signal
			CreateTime: at(5), StartTime: at(6),
		},
		{
			Name: "searches/broken", Goal: goal("rod"), Metric: v1.Metric_METRIC_ETM, MaxLength: 9,
			State: v1.SearchState_SEARCH_STATE_FAILED, Error: "unit 7 of length 4 failed on three workers",
			CreateTime: at(7), StartTime: at(8), EndTime: at(9),
		},
		{
			Name: "searches/solved", Position: &v1.Position{Puzzle: "puzzles/brick", Scramble: "[a,b]"},
			Metric: v1.Metric_METRIC_OBTM, MaxLength: 9, SequencesPerClass: 2,
			State: v1.SearchState_SEARCH_STATE_DONE, ProvenLength: 3, Nodes: 1234567,
			Lengths: []*v1.LengthResult{
				{Length: 1, Words: "18"}, {Length: 2, Words: "243"}, {Length: 3, Words: "3240", Nodes: 81},
			},
			Tables: &v1.TableSummary{Tables: 3, Entries: 173335680, Bytes: 86667840, MeanDistance: 8.764,
				Bound: 3, Elapsed: durationpb.New(4200 * time.Millisecond)},
			CreateTime: at(10), StartTime: at(11), EndTime: at(12),
		},
		{
			Name: "searches/home", Position: &v1.Position{Puzzle: "puzzles/brick", Scramble: "a", Ignore: []string{"edge", "plate"}, All: true},
			Metric: v1.Metric_METRIC_STM, MaxLength: 9, State: v1.SearchState_SEARCH_STATE_DONE,
			CreateTime: at(13), StartTime: at(14), EndTime: at(14),
		},
		{
			Name: "searches/far", Position: &v1.Position{Puzzle: "puzzles/brick", ByColour: true,
				Pins: []*v1.PiecePin{{Piece: "u", At: "v"}, {Piece: "v", At: "u"}}},
			Metric: v1.Metric_METRIC_STM, MaxLength: 1, SequencesPerClass: 1, State: v1.SearchState_SEARCH_STATE_DONE, ProvenLength: 1,
			Lengths: []*v1.LengthResult{{Length: 1, Words: "18", Nodes: 3}}, Nodes: 3,
			Tables: &v1.TableSummary{Tables: 1, Entries: 900, Bytes: 456, MeanDistance: 2, Bound: 2, FromCache: true,
				Elapsed: durationpb.New(time.Millisecond)},
			CreateTime: at(15), StartTime: at(15), EndTime: at(15),
		},
		{
			Name: "searches/formed", Goal: goal("edge"), Structure: &v1.Structure{FirstLength: 4, SecondLength: 1, ThirdLength: 1, SetupLength: 2},
			Metric: v1.Metric_METRIC_STM, MaxLength: 26, State: v1.SearchState_SEARCH_STATE_DONE,
			Pairs: 1234567, PairsTotal: 1234567, FindingsTotal: 2, ClassesTotal: 3, CyclesTotal: 220,
			CreateTime: at(16), StartTime: at(16), EndTime: at(17),
		},
		{
			Name: "searches/unformed", Goal: goal("wedge"), Structure: &v1.Structure{FirstLength: 2, SecondLength: 1},
			Metric: v1.Metric_METRIC_STM, MaxLength: 6, State: v1.SearchState_SEARCH_STATE_CANCELLED,
			Pairs: 1234, PairsTotal: 1234567, ClassesTotal: 3, CyclesTotal: 220,
			CreateTime: at(18), StartTime: at(18), EndTime: at(19),
		},
		{
			Name: "searches/shortened", Metric: v1.Metric_METRIC_OBTM, State: v1.SearchState_SEARCH_STATE_DONE, FindingsTotal: 2,
			Study: &v1.Study{Puzzle: "puzzles/brick", Scramble: "b a'", Solution: "a b c a'", ShortenTime: durationpb.New(8 * time.Hour),
				Seed: 3, Length: 4, UnitsTotal: 2880, UnitsDone: 2880},
			Tables:     &v1.TableSummary{Tables: 1, Words: 16600000, Bytes: 160 << 20, Elapsed: durationpb.New(2 * time.Second)},
			CreateTime: at(20), StartTime: at(20), EndTime: at(21),
		},
		{
			Name: "searches/unshortened", Metric: v1.Metric_METRIC_OBTM, State: v1.SearchState_SEARCH_STATE_CANCELLED,
			CancelReason: v1.CancelReason_CANCEL_REASON_STOP_TIME,
			Study: &v1.Study{Puzzle: "puzzles/brick", Solution: "a", ShortenTime: durationpb.New(time.Hour),
				Length: 1, UnitsTotal: 360, UnitsDone: 12},
			CreateTime: at(22), StartTime: at(22), EndTime: at(23),
		},
	}
}
