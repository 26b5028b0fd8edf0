package main

import (
	"context"
	"strings"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	v1 "turnwright/api/turnwright/v1"
)

// What the fake server knows of coverage, fits and insertions: invented too.

// hear keeps a request of a kind that changes nothing.
func (f *fake) hear(request proto.Message) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.asked = append(f.asked, proto.Clone(request))
}

func noSequences(cycles string) error {
	st, err := status.Newf(codes.FailedPrecondition, "no search here has found 3-cycles of %s", cycles).
		WithDetails(&errdetails.ErrorInfo{Domain: "turnwright", Reason: "NO_SEQUENCES", Metadata: map[string]string{"cycles": cycles}})
	if err != nil {
		return err
	}
	return st.Err()
}

func (f *fake) GetCoverage(_ context.Context, r *v1.GetCoverageRequest) (*v1.GetCoverageResponse, error) {
	f.hear(r)
	g := proto.CloneOf(r.GetGoal())
	switch g.GetCycle() {
	case "edge":
		g.Protect = []string{"plate"}
		return &v1.GetCoverageResponse{Coverage: &v1.Coverage{
			Goal: g, Searches: 1, Sequences: 12, Classes: 3, Cycles: 1234, Found: 1, BySetup: 1, Missing: 1, Proven: 1,
			ProvenLength: 4, Longest: 9, MeanPerClass: 6.5, MeanPerCycle: 20.0 / 3,
			Lengths: []*v1.CoverageLength{{Classes: 1, Cycles: 4}, {Length: 4, Classes: 1, Cycles: 1200, Proven: 1}, {Length: 9, Classes: 1, Cycles: 30}},
		}}, nil
	case "wedge":
		return &v1.GetCoverageResponse{Coverage: &v1.Coverage{
			Goal: g, Classes: 7, Cycles: 70, Missing: 7, Lengths: []*v1.CoverageLength{{Classes: 7, Cycles: 70}},
		}}, nil
	}
	return nil, refused(codes.InvalidArgument, "GOAL_REFUSED", "brick has no pieces of type %q: it has edge, wedge", g.GetCycle())
}

func (f *fake) ListCoverageRows(_ context.Context, r *v1.ListCoverageRowsRequest) (*v1.ListCoverageRowsResponse, error) {
	cycle := inventedCycles()[0]
	if r.GetPageToken() == "" {
		return &v1.ListCoverageRowsResponse{NextPageToken: "2", Rows: []*v1.CoverageRow{
			{Class: 1, Cycle: cycle, Cycles: 1200, Origin: v1.CoverageOrigin_COVERAGE_ORIGIN_FOUND, Sequence: "a b a' b'", Explanation: inventedExplanation(),
				Length: 4, Proven: true, LeastLength: 4, Axes: 2, Base: "b a b' a'"},
		}}, nil
	}
	return &v1.ListCoverageRowsResponse{Rows: []*v1.CoverageRow{
		{Class: 2, Cycle: cycle, Cycles: 30, Origin: v1.CoverageOrigin_COVERAGE_ORIGIN_SETUP, Sequence: "c 2.a b a b' a c'",
			Length: 9, LeastLength: 5, Axes: 3, Setup: "c 2.a", Base: "b a b' a'"},
		{Class: 3, Cycle: cycle, Cycles: 4, Origin: v1.CoverageOrigin_COVERAGE_ORIGIN_MISSING, LeastLength: 5},
	}}, nil
}

func (f *fake) FitSequences(_ context.Context, r *v1.FitSequencesRequest) (*v1.FitSequencesResponse, error) {
	f.hear(r)
	switch r.GetGoal().GetCycle() {
	case "wedge":
		return nil, noSequences("wedge")
	case "plate":
		return &v1.FitSequencesResponse{Sequences: 1}, nil
	}
	choices := []*v1.FitChoice{
		{Sequence: "a b a' b'", Explanation: inventedExplanation(), Length: 4, Axes: 2, Cycle: inventedCycles()[0], Base: "b a b' a'", Inverted: true},
		{Sequence: "c a b a' b' c'", Length: 6, Axes: 3, Cycle: inventedCycles()[0], Setup: "c", Base: "b a b' a'", Mirrored: true},
	}
	if r.GetBefore()+r.GetAfter() != "" {
		for i, c := range choices {
			c.Joined = &v1.Joined{Sequence: "a^2 b a' b^2", Length: int32(4 + i), Net: int32(2*i - 1)}
		}
	}
	return &v1.FitSequencesResponse{Sequences: int32(max(12, len(r.GetSequences()))), Choices: choices}, nil
}

func (f *fake) InsertSequences(_ context.Context, r *v1.InsertSequencesRequest) (*v1.InsertSequencesResponse, error) {
	f.hear(r)
	switch {
	case r.GetSolution() == "c":
		return nil, noSequences("edge,wedge")
	case strings.Contains(r.GetSolution(), "?"):
		return nil, refused(codes.InvalidArgument, "SEQUENCE_REFUSED", "solution: line 1, column 1: %q is not an axis", "?")
	}
	goal := func(cycle string) *v1.CoverageGoal {
		return &v1.CoverageGoal{Puzzle: "puzzles/brick", Cycle: cycle, Metric: r.GetMetric()}
	}
	return &v1.InsertSequencesResponse{
		Skeleton: "b c", Length: 2, Exact: r.GetBeam() == 0,
		Solutions: []*v1.InsertedSolution{
			{Solution: "b a c a' b", Length: 5, Insertions: []*v1.Insertion{
				{Before: "b", Sequence: "a b a' b'", Explanation: inventedExplanation(), After: "c", Length: 4, Net: 4},
				{Sequence: "b a b' a'", After: "b a b a' b' c", Length: 4, Net: -1},
			}},
			{Solution: "b c a b a b", Length: 6, Insertions: []*v1.Insertion{{Before: "b c", Sequence: "a b a b", Length: 4, Net: 4}}},
		},
		Sources: []*v1.InsertionSource{
			{Goal: goal("edge"), Searches: 2, Sequences: 12, ProvenLength: 9, Classes: 3, SequencesPerClass: 16},
			{Goal: goal("wedge"), Searches: 1, Sequences: 1, Classes: 9, Missing: 8, SequencesPerClass: 1},
		},
	}, nil
}

func (f *fake) ShowBaseline(r *v1.ShowBaselineRequest, stream grpc.ServerStreamingServer[v1.ShowBaselineResponse]) error {
	f.hear(r)
	switch r.GetScramble() {
	case "d":
		return refused(codes.InvalidArgument, "BASELINE_REFUSED", "scramble: there is no baseline: %s", "stage wedge: nothing goes on")
	case "c":
		return refused(codes.FailedPrecondition, "ROUND_SEALED", "%s is open, and this is its scramble: ask again when it has closed", "rounds/lantern-cup")
	}
	if r.GetScramble() == "x" {
		return stream.Send(&v1.ShowBaselineResponse{Baseline: &v1.Baseline{}})
	}
	if r.GetScramble() == "b" {
		return stream.Send(&v1.ShowBaselineResponse{Baseline: &v1.Baseline{
			Solution: "b'", Length: 1, Lengths: &v1.Lengths{Obtm: 1, Stm: 1, Qtm: 1, Etm: 1}, Stages: []*v1.BaselineStage{{Name: "all", Added: 1}},
		}})
	}
	answers := []*v1.Baseline{{
		Solution: "b b c a c' a'", Length: 6, Lengths: &v1.Lengths{Obtm: 6, Stm: 6, Qtm: 7, Etm: 6},
		Stages: []*v1.BaselineStage{{Name: "edge", Added: 7}, {Name: "wedge", Added: -1}},
	}}
	if r.GetShortenTime() != nil && r.GetMetric() != v1.Metric_METRIC_ETM {
		answers = append(answers, &v1.Baseline{
			Solution: "b c a", Length: 3, Lengths: &v1.Lengths{Obtm: 3, Stm: 3, Qtm: 3, Etm: 3},
			Stages: []*v1.BaselineStage{{Name: "edge", Added: 3}, {Name: "wedge"}},
		})
	}
	for _, b := range answers {
		if err := stream.Send(&v1.ShowBaselineResponse{Baseline: b}); err != nil {
			return err
		}
	}
	return nil
}

func (f *fake) StudySolution(r *v1.StudySolutionRequest, stream grpc.ServerStreamingServer[v1.StudySolutionResponse]) error {
	f.hear(r)
	if r.GetShortenTime().GetSeconds() > 300 {
		return refused(codes.InvalidArgument, "FIELD_INVALID", "shorten_time: 1h0m0s: use 0s to %v", "5m0s")
	}
	answers := []*v1.StudySolutionResponse{{Analysis: &v1.Analysis{
		Solution: "b b c a", Turns: 4, Lengths: &v1.Lengths{Obtm: 4, Stm: 4, Qtm: 5, Etm: 4}, Solves: r.GetScramble() != "", MergedLength: 3, ReorderedLength: 2,
		Types: []*v1.TypeFinished{{Type: "edge", After: 3, Length: 3}, {Type: "wedge"}, {Type: "core", After: 4, Length: 4, Left: 2}},
		Stages: []*v1.SolutionStage{
			{Name: "the frame", From: 1, To: 3, Turns: "b b c", Length: 3, Gained: 7, Reading: "[b: c]", Words: "1-turn setup"},
			{Name: "the last of edge", From: 4, To: 4, Turns: "a", Length: 1, Gained: -1},
		},
		Merges: []*v1.SolutionMerge{{From: 1, Turns: "b b", Into: "b^2", Saves: 1}, {From: 3, Turns: "c c'", Saves: 2}},
	}}}
	if r.GetShortenTime() != nil {
		answers = append(answers, &v1.StudySolutionResponse{Shorter: &v1.ShorterSolution{Solution: "b^2 c a", Length: 3, Saved: 1, By: "merging"}},
			&v1.StudySolutionResponse{Shorter: &v1.ShorterSolution{Solution: "c a", Length: 2, Saved: 2, By: "stretches"}})
	}
	for _, m := range answers {
		if err := stream.Send(m); err != nil {
			return err
		}
	}
	return nil
}

func (f *fake) CompareSolutions(r *v1.CompareSolutionsRequest, stream grpc.ServerStreamingServer[v1.CompareSolutionsResponse]) error {
	f.hear(r)
	if r.GetRound() == "rounds/lantern-cup" {
		return refused(codes.FailedPrecondition, "ROUND_SEALED", "round %q has not closed: its entries are sealed until then", "lantern-cup")
	}
	all := &v1.SolutionComparison{Puzzle: "puzzles/brick", Metric: v1.Metric_METRIC_STM, Scramble: "a b c"}
	for i, name := range []string{"anna", "bert", "3", "one whose name is longer than the column"} {
		s := &v1.ComparedSolution{Name: name, Length: int32(4 + i), Analysis: &v1.Analysis{
			Solution: "b b c a", Turns: 4, Lengths: &v1.Lengths{Obtm: 4, Stm: int32(4 + i), Qtm: 5, Etm: 4}, Solves: i != 2,
			Types: []*v1.TypeFinished{{Type: "edge", After: 3, Length: 3}, {Type: "wedge"}, {Type: "core", After: 4, Length: 4, Left: int32(i)}},
			Stages: []*v1.SolutionStage{
				{Name: "the frame", From: 1, To: 3, Turns: "b b c", Length: 3, Gained: 7},
				{Name: "the last of edge, the last of wedge, core: 4", From: 4, To: int32(4 + i), Turns: "a", Length: int32(1 + i), Gained: -1},
			}[:2-i%2],
		}}
		if r.GetRound() != "" {
			s.Entry, all.LeftOut = r.GetRound()+"/entries/"+name+"-1", 2
		}
		all.Solutions = append(all.Solutions, s)
	}
	all.Shared = []*v1.SharedBeginning{
		{First: 1, FirstTo: 3, Second: 2, SecondTo: 2, Turns: "b^2 c", Length: 2},
		{First: 1, FirstTo: 2, Second: 4, SecondTo: 1, Turns: "b^2", Length: 1}, {First: 2, FirstTo: 2, Second: 4, SecondTo: 1, Turns: "b^2", Length: 1},
	}
	answers := []*v1.CompareSolutionsResponse{{Comparison: all}}
	if r.GetProveTime() != nil {
		for _, m := range []*v1.FewestMoves{
			{Goal: v1.FewestGoal_FEWEST_GOAL_BRINGS, Solution: 1, Stage: 1, Length: 2, Turns: "c b", AtLeast: 2, Proven: true},
			{Goal: v1.FewestGoal_FEWEST_GOAL_SAME, Solution: 1, Stage: 1, Length: 3, AtLeast: 2},
			{Goal: v1.FewestGoal_FEWEST_GOAL_SAME, Solution: 1, Stage: 2, Length: 1, AtLeast: 1, Proven: true},
			{Goal: v1.FewestGoal_FEWEST_GOAL_SAME, Solution: 2, Stage: 1, Length: 2, Turns: "b^2 c", AtLeast: 2, Proven: true},
			{Goal: v1.FewestGoal_FEWEST_GOAL_SOLVES, Solution: 1, Length: 4, AtLeast: 2},
			{Goal: v1.FewestGoal_FEWEST_GOAL_SOLVES, Solution: 1, Length: 4, AtLeast: 3},
		} {
			answers = append(answers, &v1.CompareSolutionsResponse{Fewest: m})
		}
	}
	for _, m := range answers {
		if err := stream.Send(m); err != nil {
			return err
		}
	}
	return nil
}

func (f *fake) JoinFindings(_ context.Context, r *v1.JoinFindingsRequest) (*v1.JoinFindingsResponse, error) {
	f.hear(r)
	if r.GetParent() != "searches/done" {
		return &v1.JoinFindingsResponse{}, nil
	}
	all := []*v1.JoinedFinding{
		{Finding: "searches/done/findings/c1", Class: 1, Sequence: "2.a b^2 2.a' b^2 c", Length: 5, Cycle: inventedCycles()[0],
			Joined: &v1.Joined{Sequence: "b^2 c", Length: 2, Net: 0}},
		{Finding: "searches/done/findings/c2", Class: 2, Sequence: "a b a' b'", Explanation: inventedExplanation(), Length: 4, Cycle: inventedCycles()[0],
			Joined: &v1.Joined{Sequence: "a^2 b a'", Length: 3, Net: 1}},
	}
	if r.GetPageToken() == "" { // one on each page
		return &v1.JoinFindingsResponse{Findings: all[:1], NextPageToken: "2"}, nil
	}
	return &v1.JoinFindingsResponse{Findings: all[1:]}, nil
}
