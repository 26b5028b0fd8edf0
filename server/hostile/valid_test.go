package hostile

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/fieldmaskpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	v1 "turnwright/api/turnwright/v1"
)

// edges asks for 3-cycles of edges of the 3x3x3 with corners left free.
func edges(length int32) *v1.Search {
	return &v1.Search{
		Goal:      &v1.Goal{Puzzle: "puzzles/3x3x3", Cycle: "edge", Ignore: []string{"corner"}},
		Metric:    v1.Metric_METRIC_OBTM,
		MaxLength: length,
	}
}

// small is a puzzle of few positions, for rounds: to write scrambles the server makes a
// table of all of them, which takes half a minute on others under the race detector.
const small = "puzzles/centre-cut-octahedron"

// furnish gives the server something to ask about: searches/edges has ended,
// searches/night waits, members/anna is there, rounds/running is open, rounds/ended closed.
func (x *target) furnish(t testing.TB) {
	t.Helper()
	ctx := t.Context()
	_, err := x.Searches.CreateSearch(ctx, &v1.CreateSearchRequest{Search: edges(5), SearchId: "edges", RequestId: "edges"})
	require.NoError(t, err)
	require.Eventually(t, func() bool {
		s, err := x.Searches.GetSearch(ctx, &v1.GetSearchRequest{Name: "searches/edges"})
		return err == nil && s.GetSearch().GetState() == v1.SearchState_SEARCH_STATE_DONE
	}, patience, 10*time.Millisecond)
	_, err = x.Searches.CreateSearch(ctx, &v1.CreateSearchRequest{Search: edges(12), SearchId: "night", RequestId: "night"})
	require.NoError(t, err)
	_, err = x.Searches.PauseSearch(ctx, &v1.PauseSearchRequest{Name: "searches/night", RequestId: "night-2"})
	require.NoError(t, err)
	_, err = x.Members.CreateMember(ctx, &v1.CreateMemberRequest{Member: &v1.Member{Role: v1.Role_ROLE_MEMBER}, MemberId: "anna", RequestId: "anna"})
	require.NoError(t, err)
	for _, name := range []string{"running", "ended"} {
		_, err := x.rounds.CreateRound(ctx, &v1.CreateRoundRequest{RoundId: name, RequestId: name, Round: &v1.Round{
			Puzzle: small, Attempts: 2, CloseTime: timestamppb.New(time.Now().Add(time.Hour))}})
		require.NoError(t, err)
		round := "rounds/" + name
		_, err = x.rounds.ShowScramble(ctx, &v1.ShowScrambleRequest{Round: round, Attempt: 1, RequestId: name + "-look"})
		require.NoError(t, err)
		_, err = x.rounds.SubmitEntry(ctx, &v1.SubmitEntryRequest{Round: round, Entry: &v1.Entry{Attempt: 1, Solution: "a1 b1 a2"}, RequestId: name + "-enter"})
		require.NoError(t, err)
	}
	_, err = x.rounds.CloseRound(ctx, &v1.CloseRoundRequest{Name: "rounds/ended", Reason: "over", RequestId: "ended-close"})
	require.NoError(t, err)
}

// valid has, for each call of the API, requests that are as they should be, if perhaps
// too late.
func valid(request string) map[string][]proto.Message {
	goal := &v1.Goal{Puzzle: "puzzles/3x3x3", Cycle: "corner", Protect: []string{"edge"}}
	covered := &v1.CoverageGoal{Puzzle: "puzzles/3x3x3", Cycle: "edge", Ignore: []string{"corner"}, Metric: v1.Metric_METRIC_OBTM}
	worker := &v1.Worker{Name: "workers/mill", Instance: "one", Version: "v1", Host: "here", Slots: 2}
	unit := &v1.UnitRef{Search: "searches/edges", Length: 5, Index: 0, Epoch: 1<<20 + 1}
	scene := &v1.Scene{Right: 30, Up: 20, Arrows: []string{"corner"}, Pale: []string{"edge"}}
	later := timestamppb.New(time.Now().Add(time.Hour))
	pins := []*v1.Pin{{From: "UF", To: "UR"}}
	between := edges(5)
	between.Before, between.After, between.Priority, between.StopTime = "F2 R", "D B2", 2, later
	between.CoreBudget, between.SequencesPerClass, between.Slack = durationpb.New(time.Hour), 3, 1
	pinned := edges(5)
	pinned.Goal.Pins, pinned.Goal.Axes, pinned.MemoryBytes = pins, []string{"U", "R"}, 1<<20
	shaped := &v1.Search{Goal: &v1.Goal{Puzzle: "puzzles/2x2x2", Cycle: "corner", Shape: "1~+1~"}, MaxLength: 6}
	built := &v1.Search{
		Goal:      &v1.Goal{Puzzle: "puzzles/3x3x3", Cycle: "corner"},
		Structure: &v1.Structure{FirstLength: 3, SecondLength: 1, SetupLength: 1},
	}
	position := &v1.Search{
		Position:  &v1.Position{Puzzle: "puzzles/2x2x2", Scramble: "R U R' U' F2", All: true},
		Metric:    v1.Metric_METRIC_QTM,
		MaxLength: 10,
	}
	parts := &v1.Search{
		Position:  &v1.Position{Puzzle: "puzzles/3x3x3", Pins: []*v1.PiecePin{{Piece: "UF", At: "UR"}, {Piece: "UR", At: "UF"}}, Ignore: []string{"corner"}, ByColour: true},
		MaxLength: 6,
	}
	shorter := &v1.Search{Study: &v1.Study{
		Puzzle: "puzzles/2x2x2", Scramble: "R U F2 R'", Solution: "[R, U] [U, R] R F2 U' R' // back", ShortenTime: durationpb.New(time.Second), Seed: 7,
	}, Metric: v1.Metric_METRIC_OBTM}
	create := func(s *v1.Search) proto.Message { return &v1.CreateSearchRequest{Search: s, RequestId: request} }
	name, id := "searches/night", request
	round := "rounds/running"
	announced := &v1.Round{Puzzle: small, Attempts: 2, CloseTime: later}
	return map[string][]proto.Message{
		"PuzzleService/ListPuzzles": {&v1.ListPuzzlesRequest{PageSize: 3}},
		"PuzzleService/GetPuzzle":   {&v1.GetPuzzleRequest{Name: "puzzles/skewb"}},
		"PuzzleService/DefinePuzzle": {&v1.DefinePuzzleRequest{
			Definition: "name: lantern\nsolid: cube\naxes:\n  - {at: faces, only: [U, D], cuts: ['1/3']}\n", RequestId: id}},

		"EffectService/DescribeSequence": {&v1.DescribeSequenceRequest{Puzzle: "puzzles/3x3x3", Sequence: "[R U R', D]"}},
		"EffectService/ExplainSequence":  {&v1.ExplainSequenceRequest{Puzzle: "puzzles/3x3x3", Sequence: "U R' D' R U' R' D R"}},
		"DrawService/DrawPuzzle":         {&v1.DrawPuzzleRequest{Puzzle: "puzzles/3x3x3", Sequence: "R U", Scene: scene, Width: 300, Title: "Two turns"}},
		"DrawService/DrawSheet": {&v1.DrawSheetRequest{
			Puzzle: "puzzles/3x3x3", Scene: scene, Entries: []*v1.SheetEntry{{Sequence: "R U", Text: "two"}, {Sequence: "[R, U]"}}}},
		"DrawService/GetModel":              {&v1.GetModelRequest{Puzzle: "puzzles/3x3x3"}},
		"DrawService/TraceSequence":         {&v1.TraceSequenceRequest{Puzzle: "puzzles/3x3x3", Sequence: "[R U R', D]", Arrows: []string{"corner"}}},
		"CommutatorService/IsolatePieces":   {&v1.IsolatePiecesRequest{Goal: goal, Part: "R' D' R", MaxLength: 1, Limit: 5}},
		"CommutatorService/ListCommutators": {&v1.ListCommutatorsRequest{Goal: goal, FirstLength: 2, SecondLength: 1, BestOnly: true}},

		"SearchService/CreateSearch": {create(edges(5)), create(between), create(pinned), create(shaped), create(built), create(position), create(parts), create(shorter),
			&v1.CreateSearchRequest{Search: edges(9), ValidateOnly: true}},
		"SearchService/GetSearch":        {&v1.GetSearchRequest{Name: name}},
		"SearchService/ListSearches":     {&v1.ListSearchesRequest{PageSize: 2, Owner: "members/anna"}},
		"SearchService/CancelSearch":     {&v1.CancelSearchRequest{Name: "searches/edges", RequestId: id}},
		"SearchService/PauseSearch":      {&v1.PauseSearchRequest{Name: name, RequestId: id}},
		"SearchService/ResumeSearch":     {&v1.ResumeSearchRequest{Name: "searches/edges", RequestId: id}},
		"SearchService/RescheduleSearch": {&v1.RescheduleSearchRequest{Name: name, RequestId: id, Priority: proto.Int32(3), StopTime: later, CoreBudget: durationpb.New(time.Hour)}},
		"SearchService/DeleteSearch":     {&v1.DeleteSearchRequest{Name: name, RequestId: id}},

		"FindingService/ListFindings":      {&v1.ListFindingsRequest{Parent: "searches/edges", PageSize: 2}},
		"FindingService/StreamFindings":    {&v1.StreamFindingsRequest{Parent: "searches/edges"}},
		"CoverageService/GetCoverage":      {&v1.GetCoverageRequest{Goal: covered}},
		"CoverageService/ListCoverageRows": {&v1.ListCoverageRowsRequest{Goal: covered, PageSize: 3}},
		"FitService/FitSequences": {
			&v1.FitSequencesRequest{Goal: covered, Pins: pins, Limit: 3, Before: "F", After: "R2"},
			&v1.FitSequencesRequest{Goal: &v1.CoverageGoal{Puzzle: "puzzles/3x3x3", Cycle: "corner"}, Sequences: []string{"[R' D' R, U']"}, Places: []string{"UFR", "DBL", "ULB"}},
		},
		"InsertionService/InsertSequences": {&v1.InsertSequencesRequest{
			Puzzle: "puzzles/3x3x3", Scramble: "R U R' U'", Solution: "U R", Insertions: 1, Cycles: []string{"edge"}, Limit: 3, Beam: 10}},
		"StudyService/StudySolution": {&v1.StudySolutionRequest{Puzzle: "puzzles/3x3x3", Scramble: "R U R' U'", Solution: "U R U' // all\n R'", ShortenTime: durationpb.New(10 * time.Millisecond)}},
		"StudyService/ShowBaseline":  {&v1.ShowBaselineRequest{Puzzle: "puzzles/2x2x2", Scramble: "R U R' U'", ShortenTime: durationpb.New(10 * time.Millisecond)}},
		"StudyService/CompareSolutions": {
			&v1.CompareSolutionsRequest{Puzzle: "puzzles/2x2x2", Scramble: "R U R'", ProveTime: durationpb.New(10 * time.Millisecond),
				Solutions: []*v1.SolutionToCompare{{Name: "one", Solution: "R U' R'", Explanation: "[R: U'] // all"}, {Solution: "R U // a\n U2 R' // b"}}},
			&v1.CompareSolutionsRequest{Round: "rounds/ended", Attempt: 1, Members: []string{"members/me"}, Solutions: []*v1.SolutionToCompare{{Solution: "R U"}}},
		},
		"InsertionService/JoinFindings": {&v1.JoinFindingsRequest{Parent: "searches/edges", Before: "F2 R", After: "D", PageSize: 3}},

		"WorkerService/LeaseUnit":     {&v1.LeaseUnitRequest{Worker: worker, ShortOnly: true}},
		"WorkerService/SendHeartbeat": {&v1.SendHeartbeatRequest{Worker: worker, Units: []*v1.HeldUnit{{Unit: unit, Covered: 7}}}},
		"WorkerService/ReportUnit": {&v1.ReportUnitRequest{
			Worker: worker, Unit: unit, Covered: 7, Took: durationpb.New(time.Second),
			Found: []*v1.FoundSequence{{Sequence: "R2 U' R2 U R2", Change: "1>2", Structure: "[R, U]"}}}},
		"WorkerService/FailUnit":    {&v1.FailUnitRequest{Worker: worker, Unit: unit, Cause: "no room"}},
		"WorkerService/ReturnUnit":  {&v1.ReturnUnitRequest{Worker: worker, Unit: unit}},
		"WorkerService/LocateTable": {&v1.LocateTableRequest{Unit: unit, Key: "near"}},
		"WorkerService/ReadTable":   {&v1.ReadTableRequest{Id: "t0123456789abcdef0123456789abcdef"}},
		"WorkerService/ListWorkers": {&v1.ListWorkersRequest{PageSize: 2}},
		"WorkerService/DrainWorker": {&v1.DrainWorkerRequest{Name: "workers/mill", RequestId: id}},

		"StatusService/GetStatus":      {&v1.GetStatusRequest{}},
		"AdministrationService/Backup": {&v1.BackupRequest{}},
		"AdministrationService/Check":  {&v1.CheckRequest{}},

		"MemberService/GetCaller":        {&v1.GetCallerRequest{}},
		"MemberService/CreateMember":     {&v1.CreateMemberRequest{Member: &v1.Member{Role: v1.Role_ROLE_WORKER}, MemberId: fmt.Sprintf("m%s", id), RequestId: id}},
		"MemberService/GetMember":        {&v1.GetMemberRequest{Name: "members/anna"}},
		"MemberService/ListMembers":      {&v1.ListMembersRequest{PageSize: 2}},
		"MemberService/DeleteMember":     {&v1.DeleteMemberRequest{Name: "members/m7", RequestId: id}},
		"MemberService/CreateToken":      {&v1.CreateTokenRequest{Parent: "members/anna", Token: &v1.Token{ExpireTime: later}, RequestId: id}},
		"MemberService/ListTokens":       {&v1.ListTokensRequest{Parent: "members/anna", PageSize: 2}},
		"MemberService/RevokeToken":      {&v1.RevokeTokenRequest{Name: "members/anna/tokens/t1", RequestId: id}},
		"MemberService/ListAuditEntries": {&v1.ListAuditEntriesRequest{PageSize: 2}},

		"RoundService/CreateRound": {
			&v1.CreateRoundRequest{Round: announced, RequestId: id},
			&v1.CreateRoundRequest{RequestId: id, Round: &v1.Round{
				Title: "Spring", Puzzle: small, Format: v1.RoundFormat_ROUND_FORMAT_MEAN, OpenTime: later, CloseTime: timestamppb.New(later.AsTime().Add(time.Hour)),
				TimeLimit: durationpb.New(time.Minute), MaxLength: 80, Content: v1.EntryContent_ENTRY_CONTENT_NOTATION, Members: []string{"members/anna"}}}},
		"RoundService/GetRound":   {&v1.GetRoundRequest{Name: round}},
		"RoundService/ListRounds": {&v1.ListRoundsRequest{PageSize: 2}},
		"RoundService/UpdateRound": {&v1.UpdateRoundRequest{
			Round: &v1.Round{Name: round, Title: "Open for longer", CloseTime: timestamppb.New(later.AsTime().Add(time.Hour))}, RequestId: id,
			UpdateMask: &fieldmaskpb.FieldMask{Paths: []string{"title", "close_time"}}, Reason: "many asked for it"}},
		"RoundService/CloseRound":   {&v1.CloseRoundRequest{Name: "rounds/ended", Reason: "all have handed in", RequestId: id}},
		"RoundService/ShowScramble": {&v1.ShowScrambleRequest{Round: round, Attempt: 1, RequestId: id}},
		"RoundService/SubmitEntry": {
			&v1.SubmitEntryRequest{Round: round, Entry: &v1.Entry{Attempt: 1, Solution: "a1 b1 a1' b1'", Explanation: "a // guess"}, RequestId: id},
			&v1.SubmitEntryRequest{Round: round, Entry: &v1.Entry{Attempt: 1, Solution: "a1 b2 a3'"}, ValidateOnly: true}},
		"RoundService/GetEntry":          {&v1.GetEntryRequest{Name: "rounds/ended/entries/local-1"}},
		"RoundService/ListEntries":       {&v1.ListEntriesRequest{Parent: "rounds/ended", PageSize: 2}},
		"RoundService/CorrectEntry":      {&v1.CorrectEntryRequest{Name: "rounds/ended/entries/local-1", Solution: "a1 b1", Reason: "a slip of the pen", RequestId: id}},
		"RoundService/GetStandings":      {&v1.GetStandingsRequest{Round: "rounds/ended"}},
		"RoundService/ListRecords":       {&v1.ListRecordsRequest{Puzzle: small, Member: "members/me", PageSize: 2}},
		"RoundService/VerifyRound":       {&v1.VerifyRoundRequest{Name: "rounds/ended"}},
		"RoundService/ListScrambleViews": {&v1.ListScrambleViewsRequest{Parent: "rounds/ended", PageSize: 2}},
	}
}
