package main

import (
	"context"
	"fmt"
	"strings"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	v1 "turnwright/api/turnwright/v1"
)

// evening is when the invented rounds are looked at, in the zone of whoever looks.
var evening = time.Date(2026, 11, 28, 19, 30, 0, 0, time.FixedZone("CET", 3600))

func fromEvening(d time.Duration) *timestamppb.Timestamp { return timestamppb.New(evening.Add(d)) }

// inventedRounds are one of each state, the latest first.
func inventedRounds() []*v1.Round {
	announced := &v1.Round{
		Name: "rounds/spring", Puzzle: "puzzles/slab", Metric: v1.Metric_METRIC_STM, Format: v1.RoundFormat_ROUND_FORMAT_BEST, Attempts: 2,
		OpenTime: fromEvening(12 * 24 * time.Hour), CloseTime: fromEvening(19 * 24 * time.Hour), TimeLimit: durationpb.New(2 * time.Hour),
		Content: v1.EntryContent_ENTRY_CONTENT_NOTATION, Members: []string{"members/anna", "members/bert"}, Owner: "members/olga",
		State: v1.RoundState_ROUND_STATE_ANNOUNCED, Commitment: strings.Repeat("5c", 32), ScrambleMethod: "a random state, solved by stages", ScrambleWay: 2,
		CreateTime: fromEvening(-time.Hour),
	}
	open := &v1.Round{
		Name: "rounds/lantern-cup", Title: "Lantern cup", Puzzle: "puzzles/brick", Metric: v1.Metric_METRIC_OBTM,
		Format: v1.RoundFormat_ROUND_FORMAT_MEAN, Attempts: 3, OpenTime: fromEvening(-30 * time.Minute),
		CloseTime: fromEvening(24*time.Hour + 30*time.Minute), TimeLimit: durationpb.New(time.Hour), MaxLength: 80,
		Content: v1.EntryContent_ENTRY_CONTENT_PLAIN, Owner: "members/olga", State: v1.RoundState_ROUND_STATE_OPEN,
		Commitment: strings.Repeat("a7", 32), ScrambleMethod: "a random state, solved in two steps", ScrambleWay: 1, CreateTime: fromEvening(-48 * time.Hour),
		Changes: []*v1.RoundChange{{
			Time: fromEvening(-10 * time.Minute), Member: "members/olga", Change: "close_time: an hour later", Reason: "the hall opened late",
		}},
	}
	seed := strings.Repeat("01", 32)
	closed := proto.CloneOf(open)
	closed.Name, closed.Title, closed.State = "rounds/harvest", "Harvest evening", v1.RoundState_ROUND_STATE_CLOSED
	closed.Seed, closed.Commitment = seed, commitmentOf(seed, 1)
	closed.Scrambles = []string{"a b c", "b c a", "c a b"}
	closed.Changes = nil
	off := proto.CloneOf(open)
	off.Name, off.Title, off.State, off.Changes = "rounds/rained-off", "", v1.RoundState_ROUND_STATE_CALLED_OFF, nil
	short := proto.CloneOf(open)
	short.Name, short.Title, short.Attempts, short.Format = "rounds/sprint", "", 1, v1.RoundFormat_ROUND_FORMAT_BEST
	short.CloseTime, short.Changes = fromEvening(40*time.Minute), nil
	forged := proto.CloneOf(closed)
	forged.Name, forged.Commitment = "rounds/forged", strings.Repeat("00", 32)
	old := proto.CloneOf(closed) // from before ways had numbers
	old.Name, old.Commitment, old.ScrambleWay = "rounds/first", commitmentOf(seed, 0), 0
	return []*v1.Round{announced, open, short, closed, forged, off, old}
}

// inventedEntries are what others see once a round has closed; of an open round only the
// first is there.
func inventedEntries(round string) []*v1.Entry {
	return []*v1.Entry{
		{
			Name: round + "/entries/anna-1", Member: "members/anna", Attempt: 1, Solution: "c' b' a'", Explanation: "backwards",
			Verdict:  &v1.Verdict{Length: 3, Lengths: &v1.Lengths{Obtm: 3, Stm: 3, Qtm: 3, Etm: 3}, Warnings: []string{"it begins like the inverse scramble"}},
			ShowTime: fromEvening(-25 * time.Minute), UpdateTime: fromEvening(-5 * time.Minute), Revision: 2,
		},
		{
			Name: round + "/entries/bert-1", Member: "members/bert", Attempt: 1, Solution: "c' b'\na?",
			Verdict: &v1.Verdict{Dnf: &v1.Dnf{
				Reason: v1.DnfReason_DNF_REASON_CORRECTED, Text: "derived from the scramble",
			}},
			ShowTime: fromEvening(-25 * time.Minute), UpdateTime: fromEvening(-6 * time.Minute), Revision: 1,
			Corrections: []*v1.Correction{{
				Time: fromEvening(-time.Minute), Member: "members/olga", Reason: "derived from the scramble", Before: &v1.Verdict{Length: 4}, Solution: "c' b' a",
			}},
		},
	}
}

func (f *fake) round(name string) (*v1.Round, error) {
	for _, r := range inventedRounds() {
		if r.GetName() == name {
			return r, nil
		}
	}
	return nil, refused(codes.NotFound, "ROUND_NOT_FOUND", "there is no round %q", name)
}

func (f *fake) ListRounds(_ context.Context, r *v1.ListRoundsRequest) (*v1.ListRoundsResponse, error) {
	all := inventedRounds()
	if r.GetPageToken() == "" {
		return &v1.ListRoundsResponse{Rounds: all[:2], NextPageToken: "2"}, nil
	}
	return &v1.ListRoundsResponse{Rounds: all[2:]}, nil
}

func (f *fake) GetRound(_ context.Context, r *v1.GetRoundRequest) (*v1.GetRoundResponse, error) {
	round, err := f.round(r.GetName())
	return &v1.GetRoundResponse{Round: round}, err
}

func (f *fake) CreateRound(_ context.Context, r *v1.CreateRoundRequest) (*v1.CreateRoundResponse, error) {
	if err := f.record(r); err != nil {
		return nil, err
	}
	if r.GetRound().GetAttempts() > 5 {
		return nil, refused(codes.InvalidArgument, "FIELD_INVALID", "round.attempts: %d: use 1 to 5", r.GetRound().GetAttempts())
	}
	round := inventedRounds()[0]
	round.Name = "rounds/" + r.GetRoundId()
	return &v1.CreateRoundResponse{Round: round}, nil
}

func (f *fake) UpdateRound(_ context.Context, r *v1.UpdateRoundRequest) (*v1.UpdateRoundResponse, error) {
	if err := f.record(r); err != nil {
		return nil, err
	}
	round, err := f.round(r.GetRound().GetName())
	return &v1.UpdateRoundResponse{Round: round}, err
}

func (f *fake) CloseRound(_ context.Context, r *v1.CloseRoundRequest) (*v1.CloseRoundResponse, error) {
	if err := f.record(r); err != nil {
		return nil, err
	}
	round, err := f.round(r.GetName())
	if err != nil {
		return nil, err
	}
	if round.GetState() == v1.RoundState_ROUND_STATE_CLOSED {
		return nil, refused(codes.FailedPrecondition, "ROUND_OVER", "round %q has closed", "harvest")
	}
	round.State = v1.RoundState_ROUND_STATE_CLOSED
	if r.GetCallOff() {
		round.State = v1.RoundState_ROUND_STATE_CALLED_OFF
	}
	return &v1.CloseRoundResponse{Round: round}, nil
}

func (f *fake) ShowScramble(_ context.Context, r *v1.ShowScrambleRequest) (*v1.ShowScrambleResponse, error) {
	if err := f.record(r); err != nil {
		return nil, err
	}
	attempt := &v1.Attempt{Round: r.GetRound(), Number: r.GetAttempt(), Scramble: "a b c"}
	switch {
	case r.GetRound() == "rounds/spring":
		return nil, refused(codes.FailedPrecondition, "ROUND_NOT_OPEN", "round %q has not opened", "spring")
	case r.GetRound() == "rounds/harvest":
	case r.GetAttempt() == 2: // whose time is over
		attempt.ShowTime, attempt.Deadline = fromEvening(-61*time.Minute), fromEvening(-time.Minute)
	default:
		attempt.ShowTime, attempt.Deadline = fromEvening(0), fromEvening(time.Hour)
	}
	return &v1.ShowScrambleResponse{Attempt: attempt}, nil
}

func (f *fake) SubmitEntry(_ context.Context, r *v1.SubmitEntryRequest) (*v1.SubmitEntryResponse, error) {
	if !r.GetValidateOnly() {
		if err := f.record(r); err != nil {
			return nil, err
		}
	}
	e := proto.CloneOf(r.GetEntry())
	if e.GetAttempt() == 2 {
		return nil, refused(codes.FailedPrecondition, "TIME_OVER", "the time for this attempt was over at 18:29")
	}
	e.Name, e.Member, e.ShowTime = r.GetRound()+"/entries/anna-1", "members/anna", fromEvening(-25*time.Minute)
	if !r.GetValidateOnly() {
		e.UpdateTime, e.Revision = fromEvening(0), e.GetAttempt()
	}
	e.Verdict = &v1.Verdict{Lengths: &v1.Lengths{Obtm: 3, Stm: 3, Qtm: 4, Etm: 3}}
	switch line, column := placeOf(e.GetSolution(), "?"); {
	case line > 0:
		e.Verdict = &v1.Verdict{Dnf: &v1.Dnf{
			Reason: v1.DnfReason_DNF_REASON_NOTATION, Rule: "E2c5", Text: `"?" is no move`, Line: line, Column: column,
		}}
	case e.GetSolution() == "a":
		e.Verdict.Dnf = &v1.Dnf{Reason: v1.DnfReason_DNF_REASON_NOT_SOLVED, Rule: "WCA E2c", Text: "the puzzle is not solved: 5 pieces are left", Left: []*v1.PiecesLeft{
			{Type: "edge", Count: 2, Places: []string{"ab", "bc"}}, {Type: "plate", Count: 3, Places: []string{"a", "b"}},
		}}
	default:
		e.Verdict.Length = 3
		e.Verdict.Warnings = []string{"it begins like the inverse scramble (WCA Regulation E2e)"}
	}
	return &v1.SubmitEntryResponse{Entry: e}, nil
}

// placeOf is the line and column of something in a text; 0 where it is not there.
func placeOf(text, part string) (line, column int32) {
	before, _, found := strings.Cut(text, part)
	if !found {
		return 0, 0
	}
	return int32(strings.Count(before, "\n") + 1), int32(len([]rune(before[strings.LastIndexByte(before, '\n')+1:])) + 1)
}

func (f *fake) ListEntries(_ context.Context, r *v1.ListEntriesRequest) (*v1.ListEntriesResponse, error) {
	round, err := f.round(r.GetParent())
	if err != nil {
		return nil, err
	}
	entries := inventedEntries(r.GetParent())
	switch {
	case round.GetState() != v1.RoundState_ROUND_STATE_CLOSED && round.GetName() != "rounds/lantern-cup":
		return &v1.ListEntriesResponse{}, nil
	case round.GetState() != v1.RoundState_ROUND_STATE_CLOSED:
		return &v1.ListEntriesResponse{Entries: entries[:1]}, nil
	case r.GetPageToken() == "":
		return &v1.ListEntriesResponse{Entries: entries[:1], NextPageToken: "2"}, nil
	}
	return &v1.ListEntriesResponse{Entries: entries[1:]}, nil
}

func (f *fake) GetEntry(_ context.Context, r *v1.GetEntryRequest) (*v1.GetEntryResponse, error) {
	for _, e := range inventedEntries("rounds/harvest") {
		if e.GetName() == r.GetName() {
			return &v1.GetEntryResponse{Entry: e}, nil
		}
	}
	return nil, refused(codes.NotFound, "ENTRY_NOT_FOUND", "there is no entry %q that you may see", r.GetName())
}

func (f *fake) CorrectEntry(_ context.Context, r *v1.CorrectEntryRequest) (*v1.CorrectEntryResponse, error) {
	if err := f.record(r); err != nil {
		return nil, err
	}
	return &v1.CorrectEntryResponse{Entry: inventedEntries("rounds/harvest")[1]}, nil
}

func (f *fake) GetStandings(_ context.Context, r *v1.GetStandingsRequest) (*v1.GetStandingsResponse, error) {
	round, err := f.round(r.GetRound())
	if err != nil {
		return nil, err
	}
	if round.GetState() != v1.RoundState_ROUND_STATE_CLOSED {
		return nil, refused(codes.FailedPrecondition, "ROUND_SEALED", "round %q has not closed", "lantern-cup")
	}
	entry := func(member string, n, length int32) *v1.AttemptResult {
		return &v1.AttemptResult{Length: length, Dnf: length == 0, Entry: round.GetName() + "/entries/" + member + "-" + fmt.Sprint(n)}
	}
	return &v1.GetStandingsResponse{Round: round, Standings: []*v1.Standing{
		{
			Place: 1, Member: "members/anna", Attempts: []*v1.AttemptResult{entry("anna", 1, 25), entry("anna", 2, 27), entry("anna", 3, 24)},
			Best: 24, MeanHundredths: 2533, Records: []v1.RecordMark{v1.RecordMark_RECORD_MARK_CLUB_MEAN, v1.RecordMark_RECORD_MARK_PERSONAL_SINGLE},
		},
		{Place: 2, Member: "members/bert", Attempts: []*v1.AttemptResult{entry("bert", 1, 0), entry("bert", 2, 31), {}}, Best: 31},
		{Place: 3, Member: "members/dora", Attempts: []*v1.AttemptResult{entry("dora", 1, 0), {}, {}}},
	}}, nil
}

func (f *fake) ListRecords(_ context.Context, r *v1.ListRecordsRequest) (*v1.ListRecordsResponse, error) {
	if r.GetPageToken() == "" {
		f.mu.Lock()
		f.asked = append(f.asked, proto.CloneOf(r))
		f.mu.Unlock()
		if r.GetPuzzle() == "puzzles/slab" {
			return &v1.ListRecordsResponse{}, nil
		}
		return &v1.ListRecordsResponse{NextPageToken: "2", Records: []*v1.Record{{
			Puzzle: "puzzles/brick", Metric: v1.Metric_METRIC_OBTM, Kind: v1.RecordMark_RECORD_MARK_CLUB_MEAN, Member: "members/anna",
			Round: "rounds/harvest", Hundredths: 2533, Time: fromEvening(-time.Hour), Standing: true,
		}}}, nil
	}
	return &v1.ListRecordsResponse{Records: []*v1.Record{{
		Puzzle: "puzzles/brick", Metric: v1.Metric_METRIC_OBTM, Kind: v1.RecordMark_RECORD_MARK_PERSONAL_SINGLE, Member: "members/bert",
		Round: "rounds/harvest", Hundredths: 3100, Time: fromEvening(-365 * 24 * time.Hour),
	}}}, nil
}

func (f *fake) VerifyRound(_ context.Context, r *v1.VerifyRoundRequest) (*v1.VerifyRoundResponse, error) {
	round, err := f.round(r.GetName())
	if err != nil {
		return nil, err
	}
	if r.GetName() == "rounds/forged" || r.GetName() == "rounds/first" { // the server says that all is well with the seed
		return &v1.VerifyRoundResponse{SeedFits: true, Scrambles: []string{"a b c", "b c a", "c a a"}}, nil
	}
	return &v1.VerifyRoundResponse{SeedFits: true, ScramblesFit: true, Scrambles: round.GetScrambles()}, nil
}

func (f *fake) ListScrambleViews(_ context.Context, r *v1.ListScrambleViewsRequest) (*v1.ListScrambleViewsResponse, error) {
	if r.GetParent() != "rounds/lantern-cup" {
		return &v1.ListScrambleViewsResponse{}, nil
	}
	if r.GetPageToken() == "" {
		return &v1.ListScrambleViewsResponse{NextPageToken: "2", Views: []*v1.ScrambleView{
			{Time: fromEvening(-61 * time.Minute), Member: "members/anna", Attempt: 2, First: true},
			{Time: fromEvening(-26 * time.Minute), Member: "members/bert", Attempt: 3, First: true},
			{Time: fromEvening(-25 * time.Minute), Member: "members/anna", Attempt: 1, First: true},
		}}, nil
	}
	return &v1.ListScrambleViewsResponse{Views: []*v1.ScrambleView{{Time: fromEvening(-20 * time.Minute), Member: "members/anna", Attempt: 1}}}, nil
}
