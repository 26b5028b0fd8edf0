package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/durationpb"

	v1 "turnwright/api/turnwright/v1"
)

// requestText is a request in JSON whose spaces don't change from run to run.
func requestText(t *testing.T, request proto.Message) string {
	data, err := protojson.Marshal(request)
	require.NoError(t, err)
	var b bytes.Buffer
	require.NoError(t, json.Indent(&b, data, "", "  "))
	return fmt.Sprintf("%s %s\n", request.ProtoReflect().Descriptor().Name(), b.String())
}

func TestFindCancelsItsSearchAndPrintsWhatWasProven(t *testing.T) {
	for _, output := range []string{"text", "json"} {
		t.Run(output, func(t *testing.T) {
			f := startFake(t)
			ctx, interrupt := context.WithCancel(t.Context())
			go func() {
				<-f.watched
				interrupt()
			}()
			status, stdout, stderr := turnwright(ctx, "find", "--puzzle", "brick", "--cycle", "plate", "--max", "20", "--output", output, "--server", f.address)
			assert.Equal(t, exitCancelled, status)
			require.Len(t, f.asked, 2)
			assert.Equal(t, "searches/slow", f.asked[1].(*v1.CancelSearchRequest).GetName())
			golden(t, "find-interrupted-"+output, fmt.Sprintf("%s--- standard error\n%s", stdout, stderr))
		})
	}
}

func TestWatchEndsWithoutTheSearch(t *testing.T) {
	f := startFake(t)
	ctx, interrupt := context.WithCancel(t.Context())
	go func() {
		<-f.watched
		interrupt()
	}()
	status, _, stderr := turnwright(ctx, "watch", "slow", "--server", f.address)
	assert.Equal(t, exitCancelled, status)
	assert.Contains(t, stderr, "the search goes on")
	assert.Empty(t, f.asked, "watching changes nothing")
}

func TestBadCommandLines(t *testing.T) {
	for _, args := range []string{
		"nonsense",
		"find",
		"find --puzzle brick --cycle edge",
		"find --puzzle brick --cycle edge --max many",
		"find --puzzle brick --cycle edge --max 9999999999",
		"find --puzzle brick --cycle edge --max 5 --metric turns",
		"find --puzzle brick --cycle edge --max 5 --memory lots",
		"find --puzzle brick --cycle edge --max 5 --memory 0",
		"find --puzzle brick --cycle edge --max 5 --memory 99999999999TB",
		"find --puzzle brick --cycle edge --max 5 --workers 0",
		"solve --puzzle brick --scramble a --max 9 --workers 0",
		"find --puzzle brick --cycle edge --max 5 --output xml",
		"find --puzzle brick --cycle edge --max 5 extra",
		"find --puzzle brick --cycle edge --max 5 --server 127.0.0.1:1 --data x",
		"find --puzzle brick --cycle edge --max 5 --server 127.0.0.1:1 --workers 1",
		"find --puzzle brick --cycle edge --max 5 --server 192.0.2.1:7431",
		"find --puzzle brick --cycle edge --max 5 --server nowhere",
		"solve --puzzle brick --max 9",
		"solve --puzzle brick --scramble a",
		"solve --scramble a --max 9",
		"solve --puzzle brick --scramble a --max 9 --all --each 2",
		"solve --puzzle brick --pin a --max 9",
		"submit solve --puzzle brick --max 9",
		"submit study --puzzle brick",
		"submit study --solution a",
		"submit study --puzzle brick --solution a --shorten long",
		"submit study --puzzle brick --solution a --cycle edge",
		"submit study --puzzle brick --solution @nowhere.txt",
		"pause",
		"resume a b",
		"effect --puzzle brick",
		"effect a",
		"explain --puzzle brick",
		"explain a",
		"isolate --puzzle brick --cycle edge",
		"isolate --puzzle brick --part a",
		"isolate --puzzle brick --cycle edge --part a extra",
		"isolate --puzzle brick --cycle edge --part a --show none",
		"commutators --puzzle brick",
		"commutators --cycle edge",
		"commutators --puzzle brick --cycle edge --first many",
		"explain --puzzle brick --metric turns a",
		"puzzle",
		"puzzle a b",
		"watch",
		"cancel",
		"serve --listen 192.0.2.1:7431",
		"serve --listen :7431",
		"serve --listen localhost",
		"serve --server 127.0.0.1:7431",
	} {
		t.Run(args, func(t *testing.T) {
			status, stdout, stderr := turnwright(t.Context(), strings.Fields(args)...)
			assert.Equal(t, exitUsage, status)
			assert.Empty(t, stdout)
			assert.Regexp(t, `^turnwright: .+\n$`, stderr, "one line that says what is wrong")
		})
	}
}

// Who asked for a night reads in the morning why it ended, and what not to believe.
func TestWhatPeopleMustKnow(t *testing.T) {
	s := &v1.Search{
		Name: "searches/night", Goal: &v1.Goal{Puzzle: "puzzles/brick", Cycle: "edge"}, Metric: v1.Metric_METRIC_STM,
		State: v1.SearchState_SEARCH_STATE_CANCELLED, CancelReason: v1.CancelReason_CANCEL_REASON_STOP_TIME,
		Alarms: []string{"unit 3 of length 9 was set aside"},
	}
	assert.Regexp(t, `night +cancelled \(stop-at\), ALARM +brick`, searchesText([]*v1.Search{s}))
	assert.EqualError(t, outcome(s), "the search was cancelled, as --stop-at wished")
	assert.Equal(t, exitCancelled, exitCode(outcome(s)))
	form := summaryJSON(s)
	assert.Equal(t, "stop-at", form.Cancelled)
	assert.Equal(t, s.GetAlarms(), form.Alarms)

	var out strings.Builder
	require.NoError(t, (&app{stdout: &out}).printResult(s, nil))
	assert.Contains(t, out.String(), "ALARM: unit 3 of length 9 was set aside\n")

	s.CancelReason, s.Alarms = v1.CancelReason_CANCEL_REASON_USER, nil
	assert.Regexp(t, `night +cancelled +brick`, searchesText([]*v1.Search{s}))
	assert.EqualError(t, outcome(s), "the search was cancelled")
	s.CancelReason = v1.CancelReason_CANCEL_REASON_CORE_BUDGET
	assert.EqualError(t, outcome(s), "the search was cancelled, as --core-budget wished")
}

func TestWrongUsageTellsTheUsage(t *testing.T) {
	_, _, stderr := turnwright(t.Context(), "watch")
	assert.Contains(t, stderr, "; the usage is: turnwright watch SEARCH [flags]\n")
}

func TestUnknownVerbs(t *testing.T) {
	for verb, want := range map[string]string{
		"finnd":  "turnwright: there is no verb \"finnd\": is it find?\n",
		"widget": "turnwright: there is no verb \"widget\": \"turnwright help\" lists what there is\n",
	} {
		status, _, stderr := turnwright(t.Context(), verb)
		assert.Equal(t, exitUsage, status)
		assert.Equal(t, want, stderr)
	}
}

func TestNoServer(t *testing.T) {
	f := startFake(t)
	status, _, stderr := turnwright(t.Context(), "searches", "--server", "127.0.0.1:1")
	assert.Equal(t, exitOther, status)
	assert.Contains(t, stderr, "no server answers at 127.0.0.1:1")
	assert.Empty(t, f.asked)
}

func TestHelpTellsTheExitStatuses(t *testing.T) {
	for _, args := range [][]string{{}, {"--help"}, {"find", "--help"}} {
		status, stdout, _ := turnwright(t.Context(), args...)
		assert.Equal(t, exitOK, status)
		assert.Contains(t, stdout, exitStatus)
	}
}

func TestBar(t *testing.T) {
	running := func(p *v1.Progress) *v1.Search {
		return &v1.Search{State: v1.SearchState_SEARCH_STATE_RUNNING, Progress: p}
	}
	for _, c := range []struct {
		search *v1.Search
		width  int
		want   string
	}{
		{&v1.Search{State: v1.SearchState_SEARCH_STATE_QUEUED}, 80, "queued"},
		{running(&v1.Progress{Phase: v1.Phase_PHASE_BUILDING_TABLES, TableWordsDone: 4200000, TableWordsTotal: 16600000}), 80,
			"building the table  ━━━━━━╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌  25 %  4.2 M of 16.6 M words"},
		{running(&v1.Progress{Phase: v1.Phase_PHASE_LOADING_TABLES}), 80,
			"loading the table  ╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌   0 %  0 of 0 words"},
		{running(&v1.Progress{Phase: v1.Phase_PHASE_SEARCHING, Length: 10, LeavesCovered: 561000000, LeavesPredicted: 561000000,
			LeavesPerSecond: 98.7e6, Remaining: durationpb.New(0)}), 120,
			"length 10  ━━━━━━━━━━━━━━━━━━━━━━━━ 100 %  561 M of 561 M words, 98.7 M/s, 0.0 s left"},
		{running(&v1.Progress{Phase: v1.Phase_PHASE_SEARCHING, Length: 11, LeavesCovered: 1, LeavesPredicted: 34e9,
			LeavesPerSecond: 98.7e6, Remaining: durationpb.New(345 * time.Second)}), 60,
			"length 11  ╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌   0 %  1 of 34 G words,"},
		{&v1.Search{Position: &v1.Position{}, Progress: &v1.Progress{Phase: v1.Phase_PHASE_SEARCHING, Length: 16, Nodes: 1234567890,
			NodesPerSecond: 21.3e6, UnitsDone: 36, UnitsTotal: 144}}, 120,
			"length 16  ━━━━━━╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌  25 %  1.2 G words looked at, 21.3 M/s"},
		{&v1.Search{Position: &v1.Position{}, Progress: &v1.Progress{Phase: v1.Phase_PHASE_BUILDING_TABLES, TableWordsTotal: 4}}, 80,
			"building the table  ╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌   0 %  0 of 4 positions"},
		{&v1.Search{Study: &v1.Study{}, Progress: &v1.Progress{Phase: v1.Phase_PHASE_SEARCHING, UnitsDone: 720, UnitsTotal: 2880,
			Remaining: durationpb.New(3 * time.Hour)}}, 120,
			"shortening  ━━━━━━╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌  25 %  720 of 2,880 units, 3 h left"},
		{&v1.Search{Structure: &v1.Structure{}, Progress: &v1.Progress{Phase: v1.Phase_PHASE_SEARCHING, PairsTried: 202_000_000,
			PairsPredicted: 807_000_000, PairsPerSecond: 21.3e6, Remaining: durationpb.New(28 * time.Second)}}, 120,
			"trying  ━━━━━━╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌  25 %  202 M of 807 M pairs of parts, 21.3 M/s, 28 s left"},
	} {
		got := barText(c.search, c.width)
		assert.Equal(t, c.want, got)
		assert.Less(t, len([]rune(got)), c.width, "a full line would wrap")
	}
}

func TestTrackerKeepsTheBarBelowTheNotes(t *testing.T) {
	var stderr bytes.Buffer
	track := &tracker{app: &app{stderr: &stderr, width: func() int { return 40 }}}
	all := inventedSearches()
	done, slow := all[0], all[2]
	track.update(slow)
	track.update(slow)
	track.update(done)
	track.update(done)
	bar := barText(slow, 40)
	assert.Equal(t, bar+"\r\x1b[K"+bar+"\r\x1b[K"+
		"table: loaded 16.6 M words from the cache in 0.3 s, 300 MiB\n"+
		"length 4: 1 class first reached\n"+
		"length 5: 1 class first reached\n", stderr.String())
}

func TestResultTextMarksWhatIsNotProven(t *testing.T) {
	search := inventedSearches()[0]
	for proven, marked := range map[int32]bool{2: true, 3: true, 4: false, 5: false} { // the findings have lengths 4 and 5
		search.ProvenLength = proven
		text := resultText(search, inventedFindings())
		assert.Equal(t, marked, strings.Contains(text, "Not proven: "), text)
		if marked {
			assert.Contains(t, text, fmt.Sprintf("length %d and more", proven+2))
		}
	}
}

func TestDurationText(t *testing.T) {
	for d, want := range map[time.Duration]string{
		0:                      "0.0 s",
		340 * time.Millisecond: "0.3 s",
		12 * time.Second:       "12 s",
		99 * time.Second:       "99 s",
		100 * time.Second:      "2 min",
		99 * time.Minute:       "99 min",
		5 * time.Hour:          "5 h",
		240 * time.Hour:        "10 days",
	} {
		assert.Equal(t, want, durationText(d))
	}
}
