package rounds_test

import (
	"context"
	"crypto/rand"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/fieldmaskpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	v1 "turnwright/api/turnwright/v1"
	"turnwright/search/puzzle"
	"turnwright/search/scramble"
	"turnwright/server/access"
	"turnwright/server/fail"
	"turnwright/server/page"
	"turnwright/server/puzzles"
	"turnwright/server/rounds"
	"turnwright/storage"
)

// plainly scrambles with what can be solved by heart: attempt n takes "R" and n quarter turns
// of U, in the puzzle's notation.
type plainly struct {
	other bool
	ways  []int // that it was asked for
	old   bool  // it knows way 1 no more than a program of before
}

var scrambles = []string{"R U", "R U2", "R U'", "F U", "F U2"}

func (p *plainly) Scrambles(_ context.Context, _ *puzzle.Puzzle, way int, _, _ string, attempts int) ([]string, string, error) {
	p.ways = append(p.ways, way)
	switch {
	case p.old && way > 0:
		return nil, "", fmt.Errorf("%w: number %d", scramble.ErrWay, way)
	case p.other:
		return slices.Repeat([]string{"D"}, attempts), "otherwise", nil
	}
	return slices.Clone(scrambles[:attempts]), "by heart", nil
}

func (p *plainly) Commit(seed string, way int) string {
	return fmt.Sprintf("bound to %s and way %d", seed[:4], way)
}

// hall is a service over a store, with a clock that the test sets.
type hall struct {
	*rounds.Service
	store *storage.Store
	draw  *plainly
	now   time.Time
}

var noon = time.Date(2026, 11, 28, 12, 0, 0, 0, time.UTC)

func open(t *testing.T) *hall {
	t.Helper()
	store, err := storage.Open(storage.Options{Dir: t.TempDir(), Free: func(string) (uint64, error) { return 1 << 40, nil }})
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, store.Close()) })
	for id, role := range map[string]storage.Role{"anna": storage.RoleMember, "bert": storage.RoleMember, "olga": storage.RoleOrganiser, "mill": storage.RoleWorker} {
		_, err := store.CreateMember(t.Context(), storage.Request{}, storage.Member{ID: id, Role: role})
		require.NoError(t, err)
	}
	h := &hall{store: store, now: noon, draw: &plainly{}}
	h.Service = rounds.NewService(store, puzzles.NewLibrary(store), page.NewTokens([]byte("key")), rounds.Options{
		Scrambler: h.draw, Judge: rounds.Letter{}, Now: func() time.Time { return h.now },
	})
	return h
}

// as is a context of a call by a member; olga organises.
func as(t *testing.T, id string) context.Context {
	role := access.Member
	if id == "olga" {
		role = access.Organiser
	}
	return access.With(t.Context(), access.Caller{ID: id, Role: role})
}

// announce makes a round on the 3x3x3 from 13 to 16 o'clock; change may say otherwise.
func (h *hall) announce(t *testing.T, id string, change func(*v1.Round)) *v1.Round {
	t.Helper()
	round := &v1.Round{
		Title: "Spring", Puzzle: "puzzles/3x3x3", Attempts: 2,
		OpenTime: timestamppb.New(h.now.Add(time.Hour)), CloseTime: timestamppb.New(h.now.Add(4 * time.Hour)),
	}
	if change != nil {
		change(round)
	}
	made, err := h.CreateRound(as(t, "olga"), &v1.CreateRoundRequest{Round: round, RoundId: id, RequestId: "make-" + id})
	require.NoError(t, err)
	return made.GetRound()
}

func (h *hall) show(t *testing.T, who, id string, attempt int32) (*v1.Attempt, error) {
	out, err := h.ShowScramble(as(t, who), &v1.ShowScrambleRequest{Round: "rounds/" + id, Attempt: attempt, RequestId: rand.Text()})
	return out.GetAttempt(), err
}

func (h *hall) enter(t *testing.T, who, id string, attempt int32, solution string) (*v1.Entry, error) {
	out, err := h.SubmitEntry(as(t, who), &v1.SubmitEntryRequest{
		Round: "rounds/" + id, Entry: &v1.Entry{Attempt: attempt, Solution: solution, Explanation: "why: " + solution}, RequestId: rand.Text(),
	})
	return out.GetEntry(), err
}

func (h *hall) get(t *testing.T, id string) *v1.Round {
	t.Helper()
	out, err := h.GetRound(as(t, "anna"), &v1.GetRoundRequest{Name: "rounds/" + id})
	require.NoError(t, err)
	return out.GetRound()
}

func TestARoundFromAnnouncingToStandings(t *testing.T) {
	h := open(t)
	r := h.announce(t, "spring", nil)
	assert.Equal(t, "rounds/spring", r.GetName())
	assert.Equal(t, "puzzles/cube-3", r.GetPuzzle())
	assert.Equal(t, v1.Metric_METRIC_OBTM, r.GetMetric(), "WCA E2d")
	assert.Equal(t, time.Hour, r.GetTimeLimit().AsDuration(), "WCA E2b")
	assert.Equal(t, v1.RoundState_ROUND_STATE_ANNOUNCED, r.GetState())
	assert.Equal(t, "members/olga", r.GetOwner())
	assert.NotEmpty(t, r.GetCommitment())
	assert.Empty(t, r.GetSeed())
	assert.Empty(t, r.GetScrambles())
	_, err := h.show(t, "anna", "spring", 1)
	assert.Equal(t, "ROUND_NOT_OPEN", fail.Reason(err))
	opens := r.GetOpenTime().AsTime().Format(time.RFC3339)
	assert.ErrorContains(t, err, "can't show a scramble before "+opens)
	assert.Equal(t, opens, metadata(err)["open_time"])

	h.now = noon.Add(time.Hour)
	assert.Equal(t, v1.RoundState_ROUND_STATE_OPEN, h.get(t, "spring").GetState())
	assert.Empty(t, h.get(t, "spring").GetScrambles())
	_, err = h.enter(t, "anna", "spring", 1, "U' R'")
	assert.Equal(t, "SCRAMBLE_NOT_SHOWN", fail.Reason(err))
	seen, err := h.show(t, "anna", "spring", 1)
	require.NoError(t, err)
	assert.Equal(t, "R U", seen.GetScramble())
	assert.True(t, seen.GetDeadline().AsTime().Equal(h.now.Add(time.Hour)))

	// What is wrong is taken, with the reason, and can be replaced.
	e, err := h.enter(t, "anna", "spring", 1, "R' U'")
	require.NoError(t, err)
	assert.Equal(t, v1.DnfReason_DNF_REASON_NOT_SOLVED, e.GetVerdict().GetDnf().GetReason())
	assert.Equal(t, "E2c5", e.GetVerdict().GetDnf().GetRule())
	assert.NotEmpty(t, e.GetVerdict().GetDnf().GetLeft())
	h.now = h.now.Add(time.Minute)
	e, err = h.enter(t, "anna", "spring", 1, "U' R'")
	require.NoError(t, err)
	assert.Equal(t, int32(2), e.GetVerdict().GetLength())
	assert.Equal(t, int32(2), e.GetRevision())
	assert.Equal(t, "rounds/spring/entries/anna-1", e.GetName())

	// Sealed: bert and olga see nothing, in the words that they would see if there were nothing.
	for _, who := range []string{"bert", "olga"} {
		_, sealed := h.GetEntry(as(t, who), &v1.GetEntryRequest{Name: "rounds/spring/entries/anna-1"})
		_, nothing := h.GetEntry(as(t, who), &v1.GetEntryRequest{Name: "rounds/spring/entries/anna-2"})
		require.Error(t, sealed)
		assert.Equal(t, strings.ReplaceAll(nothing.Error(), "anna-2", "anna-1"), sealed.Error())
		assert.Equal(t, "ENTRY_NOT_FOUND", fail.Reason(sealed))
		list, err := h.ListEntries(as(t, who), &v1.ListEntriesRequest{Parent: "rounds/spring", PageSize: 1})
		require.NoError(t, err)
		assert.Empty(t, list.GetEntries())
		assert.Empty(t, list.GetNextPageToken())
		_, err = h.GetStandings(as(t, who), &v1.GetStandingsRequest{Round: "rounds/spring"})
		assert.Equal(t, "ROUND_SEALED", fail.Reason(err))
		_, err = h.VerifyRound(as(t, who), &v1.VerifyRoundRequest{Name: "rounds/spring"})
		assert.Equal(t, "ROUND_SEALED", fail.Reason(err))
	}
	own, err := h.GetEntry(as(t, "anna"), &v1.GetEntryRequest{Name: "rounds/spring/entries/anna-1"})
	require.NoError(t, err)
	assert.Equal(t, "U' R'", own.GetEntry().GetSolution())
	mine, err := h.ListEntries(as(t, "anna"), &v1.ListEntriesRequest{Parent: "rounds/spring"})
	require.NoError(t, err)
	assert.Len(t, mine.GetEntries(), 1)

	// Looks are on record: each member's own, all for organisers.
	_, err = h.show(t, "bert", "spring", 1)
	require.NoError(t, err)
	_, err = h.show(t, "anna", "spring", 1)
	require.NoError(t, err)
	for who, want := range map[string]string{"anna": "anna1! anna1", "bert": "bert1!", "olga": "anna1! bert1! anna1"} {
		views, err := h.ListScrambleViews(as(t, who), &v1.ListScrambleViewsRequest{Parent: "rounds/spring"})
		require.NoError(t, err)
		var got []string
		for _, v := range views.GetViews() {
			got = append(got, fmt.Sprintf("%s%d%s", strings.TrimPrefix(v.GetMember(), "members/"), v.GetAttempt(), map[bool]string{true: "!"}[v.GetFirst()]))
		}
		assert.Equal(t, want, strings.Join(got, " "), who)
	}

	_, err = h.enter(t, "bert", "spring", 1, "x y U' L'") // held otherwise: WCA 10c
	require.NoError(t, err)

	// Closed: all is shown.
	h.now = noon.Add(4 * time.Hour)
	r = h.get(t, "spring")
	assert.Equal(t, v1.RoundState_ROUND_STATE_CLOSED, r.GetState())
	assert.Equal(t, []string{"R U", "R U2"}, r.GetScrambles())
	assert.Equal(t, int32(scramble.Newest), r.GetScrambleWay())
	assert.Equal(t, h.draw.Commit(r.GetSeed(), scramble.Newest), r.GetCommitment())
	assert.Equal(t, "by heart", r.GetScrambleMethod())
	other, err := h.GetEntry(as(t, "bert"), &v1.GetEntryRequest{Name: "rounds/spring/entries/anna-1"})
	require.NoError(t, err)
	assert.Equal(t, "why: U' R'", other.GetEntry().GetExplanation())
	stand, err := h.GetStandings(as(t, "bert"), &v1.GetStandingsRequest{Round: "rounds/spring"})
	require.NoError(t, err)
	require.Len(t, stand.GetStandings(), 2)
	assert.Equal(t, "members/anna", stand.GetStandings()[0].GetMember())
	assert.Equal(t, int32(2), stand.GetStandings()[0].GetBest())
	assert.Equal(t, "rounds/spring/entries/anna-1", stand.GetStandings()[0].GetAttempts()[0].GetEntry())
	assert.Empty(t, stand.GetStandings()[0].GetAttempts()[1].GetEntry())
	assert.Contains(t, stand.GetStandings()[0].GetRecords(), v1.RecordMark_RECORD_MARK_CLUB_SINGLE)
	late, err := h.show(t, "bert", "spring", 2) // everybody may, and no clock starts
	require.NoError(t, err)
	assert.Equal(t, "R U2", late.GetScramble())
	assert.Nil(t, late.GetDeadline())

	verified, err := h.VerifyRound(as(t, "bert"), &v1.VerifyRoundRequest{Name: "rounds/spring"})
	require.NoError(t, err)
	assert.True(t, verified.GetSeedFits())
	assert.True(t, verified.GetScramblesFit())
	h.draw.other = true
	verified, err = h.VerifyRound(as(t, "bert"), &v1.VerifyRoundRequest{Name: "rounds/spring"})
	require.NoError(t, err)
	assert.False(t, verified.GetScramblesFit())
	assert.Equal(t, []int{scramble.Newest, scramble.Newest, scramble.Newest}, h.draw.ways)
}

// A round keeps the way that its scrambles are made in, if one is kept, and an older program says
// that it can neither add to them nor make them again.
func TestTheWayOfARound(t *testing.T) {
	h := open(t)
	p, err := puzzle.Find("3x3x3")
	require.NoError(t, err)
	_, err = h.store.CreateRound(t.Context(), storage.Request{}, storage.Round{
		ID: "first", Puzzle: p.Name, Definition: p.Def.YAML(), Metric: "OBTM", Format: storage.FormatBest, Attempts: 1,
		Opens: noon, Closes: noon.Add(time.Hour), Limit: time.Hour, Commitment: h.draw.Commit("5eed", 0), Method: "by heart",
	}, storage.RoundSecret{Seed: "5eed", Scrambles: scrambles[:1]}, noon.Add(-time.Hour))
	require.NoError(t, err)
	h.announce(t, "spring", func(r *v1.Round) { r.Attempts = 1 })
	more := func(id string, attempts int32) error {
		_, err := h.UpdateRound(as(t, "olga"), &v1.UpdateRoundRequest{
			Round: &v1.Round{Name: "rounds/" + id, Attempts: attempts}, UpdateMask: &fieldmaskpb.FieldMask{Paths: []string{"attempts"}}, RequestId: rand.Text(),
		})
		return err
	}
	h.now = noon.Add(-time.Minute)
	require.NoError(t, more("first", 2))
	require.NoError(t, more("spring", 2))
	h.draw.old = true
	require.NoError(t, more("first", 3))
	err = more("spring", 3)
	assert.Equal(t, codes.FailedPrecondition, status.Code(err))
	assert.Equal(t, "SCRAMBLE_WAY_UNKNOWN", fail.Reason(err))
	assert.ErrorContains(t, err, `round "spring": unknown way to make scrambles: number 1`)
	assert.Equal(t, int32(2), h.get(t, "spring").GetAttempts())

	h.now = noon.Add(5 * time.Hour)
	verify := func(id string) (*v1.VerifyRoundResponse, error) {
		return h.VerifyRound(as(t, "anna"), &v1.VerifyRoundRequest{Name: "rounds/" + id})
	}
	verified, err := verify("first")
	require.NoError(t, err)
	assert.True(t, verified.GetSeedFits() && verified.GetScramblesFit(), verified)
	assert.Zero(t, h.get(t, "first").GetScrambleWay())
	_, err = verify("spring")
	assert.Equal(t, "SCRAMBLE_WAY_UNKNOWN", fail.Reason(err))
	h.draw.old = false
	verified, err = verify("spring")
	require.NoError(t, err)
	assert.True(t, verified.GetSeedFits() && verified.GetScramblesFit(), verified)
	assert.Equal(t, []int{1, 0, 1, 0, 1, 0, 1, 1}, h.draw.ways)
}

// WCA Regulation E2b: 60 minutes, from the moment that the scramble is shown, by the server's
// clock.
func TestTheTimeOfAnAttempt(t *testing.T) {
	h := open(t)
	h.announce(t, "limit", func(r *v1.Round) { r.OpenTime = nil })
	first, err := h.show(t, "anna", "limit", 1)
	require.NoError(t, err)
	h.now = noon.Add(30 * time.Minute)
	again, err := h.show(t, "anna", "limit", 1)
	require.NoError(t, err)
	assert.Equal(t, first.GetDeadline().AsTime(), again.GetDeadline().AsTime(), "the clock runs once")

	h.now = noon.Add(time.Hour - time.Nanosecond)
	ask := &v1.SubmitEntryRequest{Round: "rounds/limit", Entry: &v1.Entry{Attempt: 1, Solution: "U' R'"}, RequestId: "in-time"}
	taken, err := h.SubmitEntry(as(t, "anna"), ask)
	require.NoError(t, err)
	h.now = noon.Add(time.Hour)
	_, err = h.enter(t, "anna", "limit", 1, "U' R'")
	assert.Equal(t, "TIME_OVER", fail.Reason(err))
	_, err = h.SubmitEntry(as(t, "anna"), &v1.SubmitEntryRequest{Round: "rounds/limit", Entry: &v1.Entry{Attempt: 1, Solution: "U' R'"}, ValidateOnly: true})
	assert.Equal(t, "TIME_OVER", fail.Reason(err))

	// The request that was answered in time gets that answer again, also when the round is over.
	repeat, err := h.SubmitEntry(as(t, "anna"), ask)
	require.NoError(t, err)
	assert.EqualExportedValues(t, taken.GetEntry(), repeat.GetEntry())
	ask.Entry.Solution = "U'  R'"
	_, err = h.SubmitEntry(as(t, "anna"), ask)
	assert.ErrorIs(t, err, storage.ErrRequestReused)
	ask.Entry.Solution = "U' R'"

	// The last attempt ends with the round.
	h.now = noon.Add(3*time.Hour + 30*time.Minute)
	last, err := h.show(t, "anna", "limit", 2)
	require.NoError(t, err)
	assert.True(t, last.GetDeadline().AsTime().Equal(noon.Add(4*time.Hour)))
	h.now = noon.Add(4 * time.Hour)
	_, err = h.enter(t, "anna", "limit", 2, "U2 R'")
	assert.Equal(t, "ROUND_NOT_OPEN", fail.Reason(err))
	_, err = h.SubmitEntry(as(t, "anna"), ask)
	require.NoError(t, err)
}

// metadata is what an error tells programs.
func metadata(err error) map[string]string {
	for _, detail := range status.Convert(err).Details() {
		if info, ok := detail.(*errdetails.ErrorInfo); ok {
			return info.GetMetadata()
		}
	}
	return nil
}

// A round that opens at once is open in the answer already.
func TestARoundThatOpensNow(t *testing.T) {
	h := open(t)
	r := h.announce(t, "now", func(r *v1.Round) { r.OpenTime = nil })
	assert.Equal(t, v1.RoundState_ROUND_STATE_OPEN, r.GetState())
	assert.Empty(t, r.GetScrambles())
	assert.Empty(t, r.GetSeed())
	assert.Equal(t, r, h.announce(t, "now", func(r *v1.Round) { r.OpenTime = nil }), "asked again")
	assert.Equal(t, r, h.get(t, "now"))
	_, err := h.show(t, "anna", "now", 1)
	require.NoError(t, err)
}

// What was opened stays open, and what was closed stays closed, whatever the clock says.
func TestAClockThatJumps(t *testing.T) {
	h := open(t)
	h.announce(t, "jump", nil)
	h.now = noon.Add(90 * time.Minute)
	_, err := h.show(t, "anna", "jump", 1)
	require.NoError(t, err)
	_, err = h.enter(t, "anna", "jump", 1, "U' R'")
	require.NoError(t, err)
	h.now = noon
	assert.Equal(t, v1.RoundState_ROUND_STATE_OPEN, h.get(t, "jump").GetState())
	h.now = noon.Add(5 * time.Hour)
	list, err := h.ListRounds(as(t, "bert"), &v1.ListRoundsRequest{})
	require.NoError(t, err)
	assert.Equal(t, v1.RoundState_ROUND_STATE_CLOSED, list.GetRounds()[0].GetState())
	h.now = noon
	assert.Equal(t, v1.RoundState_ROUND_STATE_CLOSED, h.get(t, "jump").GetState())
	_, err = h.enter(t, "anna", "jump", 1, "U' R'")
	assert.Equal(t, "ROUND_NOT_OPEN", fail.Reason(err))
	_, err = h.GetStandings(as(t, "bert"), &v1.GetStandingsRequest{Round: "rounds/jump"})
	assert.NoError(t, err)

	// A server that slept through all of it closes what nobody saw open.
	h.announce(t, "slept", nil)
	h.now = noon.Add(100 * time.Hour)
	assert.Equal(t, v1.RoundState_ROUND_STATE_CLOSED, h.get(t, "slept").GetState())
}

// Who may do what in each state, by the reason for a refusal.
func TestWhatEachStateAllows(t *testing.T) {
	h := open(t)
	stages := []string{"announced", "open", "closed", "off"}
	for _, id := range stages {
		h.announce(t, id, nil)
	}
	h.now = noon.Add(time.Hour)
	for _, id := range stages[1:] {
		_, err := h.show(t, "anna", id, 1)
		require.NoError(t, err)
		_, err = h.enter(t, "anna", id, 1, "U' R'")
		require.NoError(t, err)
	}
	end := func(id string, off bool) error {
		_, err := h.CloseRound(as(t, "olga"), &v1.CloseRoundRequest{Name: "rounds/" + id, CallOff: off, Reason: "so it is", RequestId: rand.Text()})
		return err
	}
	require.NoError(t, end("closed", false))
	require.NoError(t, end("off", true))
	h.now = noon
	h.announce(t, "announced-2", nil) // the first has opened
	stages[0] = "announced-2"

	for _, row := range []struct {
		what string
		want [4]string // by state: announced, open, closed, called off
		call func(id string) error
	}{
		{"show a scramble", [4]string{"ROUND_NOT_OPEN", "", "", "ROUND_NOT_OPEN"}, func(id string) error { _, err := h.show(t, "bert", id, 1); return err }},
		{"show one that is not there", [4]string{"ROUND_NOT_OPEN", "FIELD_INVALID", "FIELD_INVALID", "ROUND_NOT_OPEN"}, func(id string) error { _, err := h.show(t, "bert", id, 3); return err }},
		{"hand in", [4]string{"ROUND_NOT_OPEN", "", "ROUND_NOT_OPEN", "ROUND_NOT_OPEN"}, func(id string) error { _, err := h.enter(t, "anna", id, 1, "U' R'"); return err }},
		{"see one's own entry", [4]string{"ENTRY_NOT_FOUND", "", "", ""}, func(id string) error {
			_, err := h.GetEntry(as(t, "anna"), &v1.GetEntryRequest{Name: "rounds/" + id + "/entries/anna-1"})
			return err
		}},
		{"see another's entry", [4]string{"ENTRY_NOT_FOUND", "ENTRY_NOT_FOUND", "", "ENTRY_NOT_FOUND"}, func(id string) error {
			_, err := h.GetEntry(as(t, "olga"), &v1.GetEntryRequest{Name: "rounds/" + id + "/entries/anna-1"})
			return err
		}},
		{"see the standings", [4]string{"ROUND_SEALED", "ROUND_SEALED", "", "ROUND_SEALED"}, func(id string) error {
			_, err := h.GetStandings(as(t, "anna"), &v1.GetStandingsRequest{Round: "rounds/" + id})
			return err
		}},
		{"verify", [4]string{"ROUND_SEALED", "ROUND_SEALED", "", "ROUND_SEALED"}, func(id string) error {
			_, err := h.VerifyRound(as(t, "anna"), &v1.VerifyRoundRequest{Name: "rounds/" + id})
			return err
		}},
		{"correct", [4]string{"ROUND_SEALED", "ROUND_SEALED", "", "ROUND_SEALED"}, func(id string) error {
			_, err := h.CorrectEntry(as(t, "olga"), &v1.CorrectEntryRequest{Name: "rounds/" + id + "/entries/anna-1", Dnf: true, Reason: "late", RequestId: rand.Text()})
			return err
		}},
		{"change the time limit", [4]string{"", "ROUND_STARTED", "ROUND_OVER", "ROUND_OVER"}, func(id string) error {
			return h.change(t, id, &v1.Round{TimeLimit: durationpb.New(2 * time.Hour)}, "time_limit")
		}},
		{"change the title", [4]string{"", "", "ROUND_OVER", "ROUND_OVER"}, func(id string) error {
			return h.change(t, id, &v1.Round{Title: "Summer"}, "title")
		}},
		{"close", [4]string{"ROUND_NOT_OPEN", "", "ROUND_OVER", "ROUND_OVER"}, func(id string) error { return end(id, false) }},
		{"call off", [4]string{"", "ROUND_OVER", "ROUND_OVER", "ROUND_OVER"}, func(id string) error { return end(id, true) }}, // the second is closed by now
	} {
		for i, id := range stages {
			assert.Equal(t, row.want[i], fail.Reason(row.call(id)), "%s: %s", id, row.what)
		}
	}
	assert.Equal(t, "ROUND_NOT_FOUND", fail.Reason(end("nowhere", true)))
	_, err := h.show(t, "anna", "nowhere", 1)
	assert.Equal(t, "ROUND_NOT_FOUND", fail.Reason(err))
	_, err = h.GetEntry(as(t, "anna"), &v1.GetEntryRequest{Name: "rounds/nowhere/entries/anna-1"})
	assert.Equal(t, "ROUND_NOT_FOUND", fail.Reason(err))
}

func (h *hall) change(t *testing.T, id string, r *v1.Round, fields ...string) error {
	r.Name = "rounds/" + id
	_, err := h.UpdateRound(as(t, "olga"), &v1.UpdateRoundRequest{
		Round: r, UpdateMask: &fieldmaskpb.FieldMask{Paths: fields}, Reason: "it was asked for", RequestId: rand.Text(),
	})
	return err
}

func TestChangesOfARound(t *testing.T) {
	h := open(t)
	h.announce(t, "spring", nil)
	require.NoError(t, h.change(t, "spring", &v1.Round{Format: v1.RoundFormat_ROUND_FORMAT_MEAN, Attempts: 3}, "format", "attempts"))
	assert.Equal(t, "FIELD_INVALID", fail.Reason(h.change(t, "spring", &v1.Round{Attempts: 2}, "attempts")), "WCA 9b4a")
	assert.Equal(t, "FIELD_INVALID", fail.Reason(h.change(t, "spring", &v1.Round{Puzzle: "puzzles/2x2x2"}, "puzzle")))
	assert.Equal(t, "MEMBER_NOT_FOUND", fail.Reason(h.change(t, "spring", &v1.Round{Members: []string{"members/ghost"}}, "members")))
	assert.Equal(t, "FIELD_INVALID", fail.Reason(h.change(t, "spring", &v1.Round{Members: []string{"members/mill"}}, "members")), "a worker")
	require.NoError(t, h.change(t, "spring", &v1.Round{Members: []string{"members/anna", "members/anna"}}, "members"))
	assert.Empty(t, h.get(t, "spring").GetChanges(), "nothing is on record before it opens")

	h.now = noon.Add(time.Hour)
	third, err := h.show(t, "anna", "spring", 3)
	require.NoError(t, err, "a scramble was made for it")
	assert.Equal(t, scrambles[2], third.GetScramble())
	_, err = h.show(t, "bert", "spring", 1)
	assert.Equal(t, "NOT_ELIGIBLE", fail.Reason(err))
	_, err = h.enter(t, "bert", "spring", 1, "U' R'")
	assert.Equal(t, "NOT_ELIGIBLE", fail.Reason(err))
	assert.Equal(t, "ROUND_STARTED", fail.Reason(h.change(t, "spring", &v1.Round{Members: []string{"members/bert"}}, "members")), "nobody is put out")
	require.NoError(t, h.change(t, "spring", &v1.Round{Members: []string{"members/bert", "members/anna"}}, "members"))
	assert.Equal(t, "FIELD_INVALID", fail.Reason(h.change(t, "spring", &v1.Round{CloseTime: timestamppb.New(noon)}, "close_time")))
	require.NoError(t, h.change(t, "spring", &v1.Round{CloseTime: timestamppb.New(noon.Add(2 * time.Hour))}, "close_time"))
	_, err = h.UpdateRound(as(t, "olga"), &v1.UpdateRoundRequest{
		Round: &v1.Round{Name: "rounds/spring", Title: "x"}, UpdateMask: &fieldmaskpb.FieldMask{Paths: []string{"title"}}, RequestId: "silent",
	})
	assert.Equal(t, "FIELD_INVALID", fail.Reason(err), "a reason is required")
	var said []string
	for _, c := range h.get(t, "spring").GetChanges() {
		said = append(said, c.GetMember()+" "+c.GetChange()+": "+c.GetReason())
	}
	assert.Equal(t, []string{
		"members/olga members: 1 → 2: it was asked for",
		"members/olga close_time: 2026-11-28T16:00:00Z → 2026-11-28T14:00:00Z: it was asked for",
	}, said)
	h.now = noon.Add(2 * time.Hour)
	assert.Equal(t, v1.RoundState_ROUND_STATE_CLOSED, h.get(t, "spring").GetState())
}

func TestWhatCanNotBeAnnounced(t *testing.T) {
	h := open(t)
	for what, change := range map[string]func(*v1.Round){
		"round.attempts":   func(r *v1.Round) { r.Attempts = 6 },
		"WCA Regulation":   func(r *v1.Round) { r.Format = v1.RoundFormat_ROUND_FORMAT_MEAN },
		"round.close_time": func(r *v1.Round) { r.CloseTime = nil },
		"after the round":  func(r *v1.Round) { r.CloseTime = r.GetOpenTime() },
		"within a year":    func(r *v1.Round) { r.CloseTime = timestamppb.New(noon.AddDate(2, 0, 0)) },
		"in the past":      func(r *v1.Round) { r.OpenTime = timestamppb.New(noon.Add(-time.Hour)) },
		"round.time_limit": func(r *v1.Round) { r.TimeLimit = durationpb.New(time.Second) },
		"round.max_length": func(r *v1.Round) { r.MaxLength = -1 },
		"round.title":      func(r *v1.Round) { r.Title = strings.Repeat("é", 201) },
		"round.metric":     func(r *v1.Round) { r.Metric = 99 },
		"round.format":     func(r *v1.Round) { r.Format = 99 },
		"round.content":    func(r *v1.Round) { r.Content = 99 },
		"round.members":    func(r *v1.Round) { r.Members = []string{"anna"} },
		"no puzzle":        func(r *v1.Round) { r.Puzzle = "puzzles/nothing" },
	} {
		r := &v1.Round{Puzzle: "puzzles/3x3x3", Attempts: 1, OpenTime: timestamppb.New(noon.Add(time.Hour)), CloseTime: timestamppb.New(noon.Add(2 * time.Hour))}
		change(r)
		_, err := h.CreateRound(as(t, "olga"), &v1.CreateRoundRequest{Round: r, RequestId: "r"})
		assert.ErrorContains(t, err, what)
	}
	first := h.announce(t, "spring", nil)
	assert.EqualExportedValues(t, first, h.announce(t, "spring", nil), "the same request again")
	_, err := h.CreateRound(as(t, "olga"), &v1.CreateRoundRequest{
		Round: &v1.Round{Puzzle: "puzzles/3x3x3", CloseTime: timestamppb.New(noon.Add(time.Hour))}, RoundId: "spring", RequestId: "another"})
	assert.Equal(t, "ROUND_EXISTS", fail.Reason(err))
	for field, e := range map[string]*v1.Entry{
		"entry.solution":    {Solution: strings.Repeat("R", 10_001)},
		"entry.explanation": {Explanation: strings.Repeat("R", 20_001)},
		"entry.member":      {Member: "members/bert"},
	} {
		_, err := h.SubmitEntry(as(t, "anna"), &v1.SubmitEntryRequest{Round: "rounds/spring", Entry: e, RequestId: "r"})
		assert.ErrorContains(t, err, field)
	}
}

// An entry is as large as it may be, and its sheet still has the size of all others.
func TestTheLargestEntryIsTaken(t *testing.T) {
	h := open(t)
	h.announce(t, "large", func(r *v1.Round) { r.OpenTime = nil })
	_, err := h.show(t, "anna", "large", 1)
	require.NoError(t, err)
	for range 30 { // more than are kept to be repeated
		_, err = h.SubmitEntry(as(t, "anna"), &v1.SubmitEntryRequest{Round: "rounds/large", RequestId: strings.ToLower(rand.Text() + rand.Text()), Entry: &v1.Entry{
			Attempt: 1, Solution: strings.Repeat("\x01", 10_000), Explanation: strings.Repeat("\x02", 20_000),
		}})
		require.NoError(t, err)
	}
}

func TestCorrections(t *testing.T) {
	h := open(t)
	h.announce(t, "spring", func(r *v1.Round) { r.OpenTime = nil })
	for _, who := range []string{"anna", "bert"} {
		_, err := h.show(t, who, "spring", 1)
		require.NoError(t, err)
	}
	_, err := h.enter(t, "anna", "spring", 1, "U’ R’ !")
	require.NoError(t, err)
	_, err = h.enter(t, "bert", "spring", 1, "U U2 R'")
	require.NoError(t, err)
	h.now = noon.Add(5 * time.Hour)
	const name = "rounds/spring/entries/anna-1"
	best := func() (got []string) {
		out, err := h.GetStandings(as(t, "anna"), &v1.GetStandingsRequest{Round: "rounds/spring"})
		require.NoError(t, err)
		for _, s := range out.GetStandings() {
			got = append(got, fmt.Sprint(s.GetPlace(), s.GetMember(), s.GetBest()))
		}
		return got
	}
	assert.Equal(t, []string{"1members/bert3", "2members/anna0"}, best())
	correct := &v1.CorrectEntryRequest{Name: name, Solution: "U' R'", Reason: "a stray sign", RequestId: "first"}
	out, err := h.CorrectEntry(as(t, "olga"), correct)
	require.NoError(t, err)
	assert.Equal(t, "U’ R’ !", out.GetEntry().GetSolution(), "what was handed in stays")
	assert.Equal(t, int32(2), out.GetEntry().GetVerdict().GetLength())
	again, err := h.CorrectEntry(as(t, "olga"), correct)
	require.NoError(t, err)
	assert.Len(t, again.GetEntry().GetCorrections(), 1, "the same request again")
	assert.Equal(t, []string{"1members/anna2", "2members/bert3"}, best())
	_, err = h.CorrectEntry(as(t, "olga"), &v1.CorrectEntryRequest{Name: name, Dnf: true, Reason: "it was handed in on paper", RequestId: "second"})
	require.NoError(t, err)
	seen, err := h.GetEntry(as(t, "bert"), &v1.GetEntryRequest{Name: name})
	require.NoError(t, err)
	assert.Equal(t, v1.DnfReason_DNF_REASON_CORRECTED, seen.GetEntry().GetVerdict().GetDnf().GetReason())
	var before []int32
	for _, c := range seen.GetEntry().GetCorrections() {
		assert.Equal(t, "members/olga", c.GetMember())
		before = append(before, c.GetBefore().GetLength())
	}
	assert.Equal(t, []int32{0, 2}, before)
	assert.Equal(t, []string{"1members/bert3", "2members/anna0"}, best())
	_, err = h.CorrectEntry(as(t, "olga"), &v1.CorrectEntryRequest{Name: "rounds/spring/entries/anna-2", Dnf: true, Reason: "x", RequestId: "third"})
	assert.Equal(t, "ENTRY_NOT_FOUND", fail.Reason(err))
	_, err = h.CorrectEntry(as(t, "olga"), &v1.CorrectEntryRequest{Name: name, Reason: " ", RequestId: "fourth"})
	assert.Equal(t, "FIELD_INVALID", fail.Reason(err))
}

// Records of several rounds, page by page.
func TestRecordsOfRounds(t *testing.T) {
	h := open(t)
	for i, solution := range []string{"U2 U R'", "U2 U R'", "U' R'"} {
		id := fmt.Sprint("r", i)
		h.announce(t, id, func(r *v1.Round) { r.OpenTime, r.CloseTime = nil, timestamppb.New(h.now.Add(time.Hour)) })
		for _, who := range []string{"anna", "bert"} {
			_, err := h.show(t, who, id, 1)
			require.NoError(t, err)
		}
		_, err := h.enter(t, "anna", id, 1, solution)
		require.NoError(t, err)
		_, err = h.enter(t, "bert", id, 1, "U2 U2 "+solution)
		require.NoError(t, err)
		h.now = h.now.Add(time.Hour)
	}
	all := func(req *v1.ListRecordsRequest) (got []string) {
		for {
			out, err := h.ListRecords(as(t, "anna"), req)
			require.NoError(t, err)
			for _, r := range out.GetRecords() {
				kind := strings.TrimPrefix(r.GetKind().String(), "RECORD_MARK_")
				got = append(got, fmt.Sprintf("%s %s %s %d %v", strings.TrimPrefix(r.GetRound(), "rounds/"), strings.TrimPrefix(r.GetMember(), "members/"), kind, r.GetHundredths(), r.GetStanding()))
			}
			if req.PageToken = out.GetNextPageToken(); req.PageToken == "" {
				return got
			}
		}
	}
	want := []string{
		"r2 bert PERSONAL_SINGLE 400 true", "r2 anna CLUB_SINGLE 200 true", "r2 anna PERSONAL_SINGLE 200 true",
		"r1 bert PERSONAL_SINGLE 500 false", "r1 anna CLUB_SINGLE 300 false", "r1 anna PERSONAL_SINGLE 300 false",
		"r0 bert PERSONAL_SINGLE 500 false", "r0 anna CLUB_SINGLE 300 false", "r0 anna PERSONAL_SINGLE 300 false",
	}
	assert.Equal(t, want, all(&v1.ListRecordsRequest{}))
	assert.Equal(t, want, all(&v1.ListRecordsRequest{PageSize: 2}))
	assert.Equal(t, want[:3], all(&v1.ListRecordsRequest{Standing: true, Puzzle: "puzzles/3x3x3"}))
	assert.Equal(t, []string{want[0], want[3], want[6]}, all(&v1.ListRecordsRequest{Member: "members/bert", Metric: v1.Metric_METRIC_OBTM}))
	assert.Empty(t, all(&v1.ListRecordsRequest{Metric: v1.Metric_METRIC_QTM}))
}
