package server_test

import (
	"io"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	"turnwright/api/client"
	v1 "turnwright/api/turnwright/v1"
	"turnwright/search/entry"
	"turnwright/search/puzzle"
	"turnwright/server/access"
	"turnwright/server/fail"
)

// fiveCycles is a solution as one writes it who mends three corners at a time.
const fiveCycles = "[R' D' R, U'] [F: [U', F D F']] // two\n[L D L', U2] [B' U B, D] [R2: [D, R U' R']]"

// manyBrackets is one of the megaminx, where units of so many words take less.
const manyBrackets = "[a b1 a', b2] [b3: [a, c1 b1 c1']] [c2 d c2', b1] [b4' a b4, b5] [d: [c3, b2 c4 b2']] [c5 b1 c5', a']"

// shortening asks for a solution of the 3x3x3 to be shortened for so long.
func shortening(scramble, solution string, d time.Duration) *v1.Search {
	return &v1.Search{
		Metric: v1.Metric_METRIC_OBTM, MemoryBytes: 8 << 20,
		Study: &v1.Study{Puzzle: "puzzles/3x3x3", Scramble: scramble, Solution: solution, ShortenTime: durationpb.New(d)},
	}
}

// checkShortened carries out what a study found after the scramble, by the rules of entries. Where
// there is none, after what the solution undoes.
func checkShortened(t *testing.T, s *v1.Search, found []*v1.Finding) {
	t.Helper()
	p := find(t, strings.TrimPrefix(s.GetStudy().GetPuzzle(), "puzzles/"))
	scramble := puzzle.Invert(turns(t, p, s.GetStudy().GetSolution()))
	if s.GetStudy().GetScramble() != "" {
		scramble = turns(t, p, s.GetStudy().GetScramble())
	}
	for i, f := range found {
		v, err := entry.Check(entry.Rules{Puzzle: p, Metric: puzzle.OBTM, Scramble: scramble}, f.GetSequence())
		require.NoError(t, err)
		require.Nil(t, v.DNF, f.GetSequence())
		assert.EqualValues(t, v.Length, f.GetLength())
		assert.Equal(t, s.GetStudy().GetLength()-f.GetLength(), f.GetShortening().GetSaved())
		assert.NotEmpty(t, f.GetShortening().GetBy())
		assert.Nil(t, f.GetCycle())
		assert.Zero(t, f.GetClass())
		if i > 0 {
			assert.Greater(t, f.GetLength(), found[i-1].GetLength())
			assert.Less(t, f.GetShortening().GetRound(), found[i-1].GetShortening().GetRound(), "later rounds find shorter ones")
		}
	}
}

// What is found is shorter from round to round, and solves the scramble; the search is done when
// its units are, and nothing of it is called a proof.
func TestASolutionIsShortenedOvernight(t *testing.T) {
	if testing.Short() {
		t.Skip("some seconds of two cores")
	}
	r := start(t, t.TempDir())
	asked := shortening("", fiveCycles, 8*time.Second)
	reply, err := r.searches.CreateSearch(t.Context(), &v1.CreateSearchRequest{Search: asked, ValidateOnly: true})
	require.NoError(t, err)
	assert.EqualValues(t, 16, reply.GetEstimate().GetUnits())
	assert.Positive(t, reply.GetEstimate().GetTableBytes())
	assert.EqualValues(t, 8, reply.GetSearch().GetStudy().GetShortenTime().AsDuration().Seconds())

	done := r.finish(t, r.create(t, "night", asked))
	require.Equal(t, v1.SearchState_SEARCH_STATE_DONE, done.GetState())
	assert.Nil(t, done.GetGoal())
	assert.EqualValues(t, 16, done.GetStudy().GetUnitsDone())
	assert.EqualValues(t, 16, done.GetStudy().GetUnitsTotal())
	assert.NotContains(t, done.GetStudy().GetSolution(), "two", "comments are no part of it")
	assert.Positive(t, done.GetTables().GetWords())
	assert.Zero(t, done.GetProvenLength()+done.GetMaxLength()+done.GetSequencesPerClass())
	assert.Zero(t, done.GetPairs()+done.GetPairsTotal()+done.GetNodes())
	assert.Empty(t, done.GetLengths())
	found := r.found(t, "searches/night")
	require.NotEmpty(t, found)
	checkShortened(t, done, found)

	// Coverage, fits and joins of cycles know nothing of it.
	assert.Zero(t, r.cover(t, &v1.CoverageGoal{Puzzle: "puzzles/3x3x3", Cycle: "corner", Metric: v1.Metric_METRIC_OBTM}).GetSearches())
	_, err = r.insertions.JoinFindings(t.Context(), &v1.JoinFindingsRequest{Parent: "searches/night", Before: "F"})
	assert.Equal(t, codes.InvalidArgument, status.Code(err), err)

	// Who asks the same is told the same, and nothing is done again.
	again := r.finish(t, r.create(t, "again", shortening("", fiveCycles, 8*time.Second)))
	assert.True(t, again.GetAdopted())
	assert.Equal(t, len(found), len(r.found(t, "searches/again")))
}

// It can be paused and cancelled, and short questions need not wait for its units.
func TestAnOvernightStudyGivesWay(t *testing.T) {
	if testing.Short() {
		t.Skip("some seconds of two cores")
	}
	r := start(t, t.TempDir())
	name := r.create(t, "night", shortening("", fiveCycles, time.Hour))
	stream, err := r.findings.StreamFindings(t.Context(), &v1.StreamFindingsRequest{Parent: name})
	require.NoError(t, err)
	for {
		event, err := stream.Recv()
		require.NoError(t, err)
		if p := event.GetSearch().GetProgress(); p.GetPhase() == v1.Phase_PHASE_SEARCHING {
			assert.EqualValues(t, 360, p.GetUnitsTotal())
			assert.Zero(t, p.GetLength()+int32(p.GetLeavesCovered()+p.GetLeavesPredicted()+p.GetPairsTried()+p.GetNodes()))
			break
		}
	}
	// While both slots are at units of ten seconds.
	require.Equal(t, v1.SearchState_SEARCH_STATE_DONE, r.finish(t, r.create(t, "short", edges(5))).GetState())
	night, err := r.searches.GetSearch(t.Context(), &v1.GetSearchRequest{Name: name})
	require.NoError(t, err)
	assert.Zero(t, night.GetSearch().GetStudy().GetUnitsDone(), "it was at its first units")

	_, err = r.searches.PauseSearch(t.Context(), &v1.PauseSearchRequest{Name: name, RequestId: "pause"})
	require.NoError(t, err)
	_, err = r.searches.ResumeSearch(t.Context(), &v1.ResumeSearchRequest{Name: name, RequestId: "resume"})
	require.NoError(t, err)
	_, err = r.searches.CancelSearch(t.Context(), &v1.CancelSearchRequest{Name: name, RequestId: "enough"})
	require.NoError(t, err)
	for {
		if _, err := stream.Recv(); err != nil {
			require.ErrorIs(t, err, io.EOF)
			break
		}
	}
}

func TestOvernightStudiesThatAreRefused(t *testing.T) {
	r := start(t, t.TempDir())
	for says, change := range map[string]func(*v1.Search){
		"search.study.puzzle":                func(s *v1.Search) { s.Study.Puzzle = strings.Repeat("x", 1000) },
		"the solution has no turns":          func(s *v1.Search) { s.Study.Solution = "// only words" },
		"it leaves 4 corners, 4 edges wrong": func(s *v1.Search) { s.Study.Scramble, s.Study.Solution = "R U F", "F' U'" },
		"no turns at all do the same":        func(s *v1.Search) { s.Study.Solution = "R R'" },
		"solution: line 2, column 1":         func(s *v1.Search) { s.Study.Solution = "R\nQ" },
		"scramble: line 1":                   func(s *v1.Search) { s.Study.Scramble = "(R" },
		"search.study.solution: it has":      func(s *v1.Search) { s.Study.Solution = strings.Repeat("R ", 60_000) },
		"search.study.scramble: it has":      func(s *v1.Search) { s.Study.Scramble = strings.Repeat("R ", 60_000) },
		"more than 1000 turns":               func(s *v1.Search) { s.Study.Solution = "(R U)^900" },
		"at most 3000 are taken":             func(s *v1.Search) { s.Study.Solution = "(1-2.R' 1-2.U')^499" },
		"search.study.shorten_time: 999ms":   func(s *v1.Search) { s.Study.ShortenTime = durationpb.New(999 * time.Millisecond) },
		"search.study.shorten_time: 73h":     func(s *v1.Search) { s.Study.ShortenTime = durationpb.New(73 * time.Hour) },
		"search.study.shorten_time: -1h":     func(s *v1.Search) { s.Study.ShortenTime = durationpb.New(-time.Hour) },
		"search.study.shorten_time: ":        func(s *v1.Search) { s.Study.ShortenTime = &durationpb.Duration{Seconds: 1 << 62} },
		"search.metric":                      func(s *v1.Search) { s.Metric = 77 },
		"search.max_length: 9":               func(s *v1.Search) { s.MaxLength = 9 },
		"search.sequences_per_class: 2":      func(s *v1.Search) { s.SequencesPerClass = 2 },
		"search.slack: 1":                    func(s *v1.Search) { s.Slack = 1 },
		"search.before":                      func(s *v1.Search) { s.Before = "R" },
		"search.after":                       func(s *v1.Search) { s.After = "R" },
		"beside search.goal, search.positio": func(s *v1.Search) { s.Goal = edges(5).Goal },
		"search.study: must not":             func(s *v1.Search) { s.Structure = &v1.Structure{FirstLength: 2, SecondLength: 1} },
		"does not fit 10 bytes":              func(s *v1.Search) { s.MemoryBytes = 10 },
	} {
		s := shortening("", fiveCycles, time.Minute)
		change(s)
		_, err := r.searches.CreateSearch(t.Context(), &v1.CreateSearchRequest{Search: s, ValidateOnly: true})
		assert.Equal(t, codes.InvalidArgument, status.Code(err), "%s: %v", says, err)
		assert.ErrorContains(t, err, says)
	}
	s := shortening("", fiveCycles, time.Minute)
	s.Study.Puzzle = "puzzles/nowhere"
	_, err := r.searches.CreateSearch(t.Context(), &v1.CreateSearchRequest{Search: s})
	assert.Equal(t, codes.NotFound, status.Code(err), err)
}

// A server that is killed in the middle of a round goes on where it was, and comes to the same end as one that nobody
// disturbed. So does one whose units a worker process does, which is killed as well: what units go on from comes with
// their leases.
func TestAKilledServerShortensAsIfUndisturbed(t *testing.T) {
	if testing.Short() {
		t.Skip("takes half a minute")
	}
	rng := seeded(t)
	search := shortening("", manyBrackets, 12*time.Second)
	search.Study.Puzzle = "puzzles/megaminx"
	comesToTheSameEnd(t, search, 0, 0, 1+rng.Int64N(6), 9+rng.Int64N(6), 17+rng.Int64N(4))
}

func TestAStudyIsTheSameWhoeverDoesItsUnits(t *testing.T) {
	if testing.Short() {
		t.Skip("takes half a minute")
	}
	program := filepath.Join(t.TempDir(), "turnwright")
	built, err := exec.Command("go", "build", "-o", program, "turnwright/cmd/turnwright").CombinedOutput()
	require.NoError(t, err, string(built))
	search := shortening("", manyBrackets, 10*time.Second)
	search.Study.Puzzle = "puzzles/megaminx"
	run := func(helped bool) outcome {
		p := spawn(t, program, t.TempDir())
		defer p.kill(t)
		help := func(name string) *exec.Cmd {
			cmd := exec.Command(program, "work", "--server", p.address, "--name", name, "--workers", "3", "--cache", t.TempDir())
			require.NoError(t, cmd.Start())
			return cmd
		}
		stop := func(cmd *exec.Cmd) {
			require.NoError(t, cmd.Process.Kill())
			_ = cmd.Wait() // "signal: killed"
		}
		created, err := p.c.Searches.CreateSearch(t.Context(), &v1.CreateSearchRequest{Search: search, SearchId: "night", RequestId: client.NewRequestID()})
		require.NoError(t, err)
		name := created.GetSearch().GetName()
		if helped {
			first := help("first")
			p.until(t, name, 0, 5)
			stop(first)
			defer stop(help("second"))
		}
		out := p.outcome(t, p.until(t, name, 0, -1))
		if helped {
			workers, err := p.c.Workers.ListWorkers(t.Context(), &v1.ListWorkersRequest{})
			require.NoError(t, err)
			units := int64(0)
			for _, w := range workers.GetWorkers() {
				if w.GetName() != "workers/server" {
					units += w.GetUnitsDone()
				}
			}
			t.Logf("units of other processes: %d", units)
			assert.Positive(t, units)
		}
		return out
	}
	alone := run(false)
	require.NotEmpty(t, alone.Findings)
	assert.Equal(t, alone, run(true))
}

// All members see a search, so what solves a scramble of an open round is not taken for one, with
// the scramble, without it, or only to be checked; once the round has closed it is.
func TestSolutionsOfOpenRoundsAreNotTakenAsSearches(t *testing.T) {
	c := startClub(t, access.Options{Rate: 1e6})
	ctx := t.Context()
	olga := v1.NewRoundServiceClient(c.dial(t, "olga"))
	conn := c.dial(t, "anna")
	anna, searches := v1.NewRoundServiceClient(conn), v1.NewSearchServiceClient(conn)
	_, err := olga.CreateRound(ctx, &v1.CreateRoundRequest{RoundId: "spring", RequestId: "create", Round: &v1.Round{
		Puzzle: "puzzles/2x2x2", CloseTime: timestamppb.New(time.Now().Add(time.Hour)),
	}})
	require.NoError(t, err)
	shown, err := anna.ShowScramble(ctx, &v1.ShowScrambleRequest{Round: "rounds/spring", Attempt: 1, RequestId: "show"})
	require.NoError(t, err)
	scramble := shown.GetAttempt().GetScramble()
	submit := func(scramble, solution string, only bool) error {
		search := shortening(scramble, solution, time.Second)
		search.Study.Puzzle, search.MemoryBytes = "puzzles/cube-2", 1<<20
		_, err := searches.CreateSearch(ctx, &v1.CreateSearchRequest{Search: search, ValidateOnly: only, RequestId: client.NewRequestID()})
		return err
	}
	for given, only := range map[string]bool{scramble: false, "": false, "U U' " + scramble: true} {
		err := submit(given, "("+scramble+")'", only)
		assert.Equal(t, codes.FailedPrecondition, status.Code(err), "%q: %v", given, err)
		assert.Equal(t, "ROUND_SEALED", fail.Reason(err))
		assert.ErrorContains(t, err, "rounds/spring is open")
	}
	position := &v1.Search{MaxLength: 12, MemoryBytes: 1 << 20, Metric: v1.Metric_METRIC_OBTM, Position: &v1.Position{Puzzle: "puzzles/cube-2", Scramble: scramble}}
	_, err = searches.CreateSearch(ctx, &v1.CreateSearchRequest{Search: position, RequestId: client.NewRequestID()})
	assert.Equal(t, codes.FailedPrecondition, status.Code(err), "%v", err)
	assert.ErrorContains(t, err, "rounds/spring is open")
	listed, err := searches.ListSearches(ctx, &v1.ListSearchesRequest{})
	require.NoError(t, err)
	assert.Empty(t, listed.GetSearches())
	require.NoError(t, submit(scramble+" R", "("+scramble+" R)'", true), "another position")
	_, err = olga.CloseRound(ctx, &v1.CloseRoundRequest{Name: "rounds/spring", Reason: "all have handed in", RequestId: "close"})
	require.NoError(t, err)
	require.NoError(t, submit(scramble, "("+scramble+")'", true))
}
