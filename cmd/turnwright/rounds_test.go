package main

import (
	"bytes"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	v1 "turnwright/api/turnwright/v1"
	"turnwright/search/draw"
	"turnwright/search/puzzle"
	"turnwright/search/scramble"
	"turnwright/server/rounds"
)

// atEvening runs the command line as if it were the evening of the invented rounds.
func atEvening(t *testing.T, stdin string, args ...string) (status int, stdout, stderr string) {
	var out, notes bytes.Buffer
	a := &app{stdout: &out, stderr: &notes, stdin: strings.NewReader(stdin), clock: func() time.Time { return evening }}
	status = a.run(t.Context(), args)
	return status, out.String(), notes.String()
}

func TestRoundVerbs(t *testing.T) {
	file := filepath.Join(t.TempDir(), "mine.txt")
	require.NoError(t, os.WriteFile(file, []byte("c' b' // back\na'\n"), 0o600))

	for _, c := range []struct {
		name   string
		status int
		args   string // underscores within an argument are spaces
	}{
		{"rounds", exitOK, "rounds"},
		{"rounds-json", exitOK, "rounds --json"},
		{"round-announced", exitOK, "round spring"},
		{"round-open", exitOK, "round lantern-cup"},
		{"round-open-json", exitOK, "round lantern-cup --json"},
		{"round-closed", exitOK, "round rounds/harvest"},
		{"round-closed-json", exitOK, "round harvest --json"},
		{"round-called-off", exitOK, "round rained-off"},
		{"round-not-found", exitNotFound, "round gone"},
		{"announce", exitOK, "announce --puzzle brick --id spring --title Spring_evening --format mean --max 80 --opens 2026-12-10_19:30 --closes 21d --time-limit 90m --members anna,bert"},
		{"announce-json", exitOK, "announce --puzzle brick --id spring --attempts 2 --metric stm --brackets --opens 20:00 --closes 2026-12-24T18:00:00+01:00 --json"},
		{"announce-refused", exitUsage, "announce --puzzle brick --closes 3h --attempts 9"},
		{"announce-no-end", exitUsage, "announce --puzzle brick"},
		{"amend", exitOK, "amend spring --closes 20d --max 0 --brackets=false"},
		{"amend-admit", exitOK, "amend spring --admit dora,anna --reason forgotten"},
		{"amend-admit-everybody", exitUsage, "amend lantern-cup --admit dora --reason forgotten"},
		{"amend-nothing", exitUsage, "amend spring --reason none"},
		{"close", exitOK, "close lantern-cup --reason all_are_done"},
		{"close-over", exitUsage, "close harvest --reason again"},
		{"close-no-reason", exitUsage, "close lantern-cup"},
		{"call-off", exitOK, "call-off lantern-cup --reason rain --json"},
		{"scramble", exitOK, "scramble lantern-cup --attempt 1"},
		{"scramble-json", exitOK, "scramble lantern-cup --attempt 1 --json"},
		{"scramble-unstarted", exitUsage, "scramble lantern-cup --attempt 3"},
		{"scramble-start", exitOK, "scramble lantern-cup --attempt 3 --start"},
		{"scramble-cut", exitUsage, "scramble sprint"},
		{"scramble-time-over", exitOK, "scramble lantern-cup --attempt 2"},
		{"scramble-closed", exitOK, "scramble harvest --attempt 1"},
		{"scramble-early", exitUsage, "scramble spring --attempt 1 --start"},
		{"scramble-which", exitUsage, "scramble lantern-cup"},
		{"scramble-no-such", exitUsage, "scramble lantern-cup --attempt 4"},
		{"enter", exitOK, "enter lantern-cup --attempt 1 c' b' a'"},
		{"enter-json", exitOK, "enter lantern-cup --attempt 1 c'_b'_a' --json"},
		{"enter-again", exitOK, "enter lantern-cup --attempt 3 @FILE --explanation -"},
		{"enter-stdin", exitOK, "enter sprint -"},
		{"enter-wrong-text", exitOK, "enter lantern-cup --attempt 1 a b ? c"},
		{"enter-not-solved", exitOK, "enter lantern-cup --attempt 1 a"},
		{"enter-late", exitUsage, "enter lantern-cup --attempt 2 a"},
		{"enter-nothing", exitUsage, "enter lantern-cup"},
		{"enter-no-file", exitUsage, "enter lantern-cup @nowhere.txt"},
		{"enter-check", exitOK, "enter lantern-cup --attempt 1 c' b' a' --check"},
		{"enter-check-json", exitUsage, "enter lantern-cup --attempt 1 a --check --json"},
		{"enter-check-wrong", exitUsage, "enter lantern-cup --attempt 1 ? --check"},
		{"entries", exitOK, "entries harvest"},
		{"entries-json", exitOK, "entries harvest --json"},
		{"entries-open", exitOK, "entries lantern-cup"},
		{"entries-none", exitOK, "entries sprint"},
		{"entries-one", exitOK, "entries harvest anna-1"},
		{"entries-corrected", exitOK, "entries harvest bert-1"},
		{"entries-sealed", exitNotFound, "entries lantern-cup bert-1"},
		{"correct", exitOK, "correct harvest bert-1 --dnf --reason derived_from_the_scramble"},
		{"correct-solution", exitOK, "correct harvest bert-1 --solution c'_b'_a --reason meant --json"},
		{"correct-how", exitUsage, "correct harvest bert-1 --reason meant"},
		{"standings", exitOK, "standings harvest"},
		{"standings-json", exitOK, "standings harvest --json"},
		{"standings-csv", exitOK, "standings harvest --csv"},
		{"standings-sheet", exitUsage, "standings harvest --sheet harvest.txt"},
		{"standings-sealed", exitUsage, "standings lantern-cup"},
		{"records", exitOK, "records --puzzle brick --metric obtm --standing"},
		{"records-json", exitOK, "records --member me --json"},
		{"records-none", exitOK, "records --puzzle slab"},
		{"views", exitOK, "views lantern-cup"},
		{"views-json", exitOK, "views lantern-cup --json"},
		{"views-none", exitOK, "views spring"},
		{"verify", exitOK, "verify harvest"},
		{"verify-noted", exitOK, "verify harvest --commitment NOTED --json"},
		{"verify-forged", exitOther, "verify forged --commitment 00"},
		{"verify-first", exitOther, "verify first"},
	} {
		t.Run(c.name, func(t *testing.T) {
			f := startFake(t)
			args := strings.Fields(c.args)
			for i, arg := range args {
				args[i] = strings.NewReplacer("_", " ", "FILE", file, "NOTED", commitmentOf(strings.Repeat("01", 32), 1)).Replace(arg)
			}
			status, stdout, stderr := atEvening(t, "from standard input\n", append(args, "--server", f.address)...)
			assert.Equal(t, c.status, status)

			var b strings.Builder
			fmt.Fprintf(&b, "$ turnwright %s\n%s", c.args, stdout)
			fmt.Fprintf(&b, "--- standard error, exit status %d\n%s", status, stderr)
			for _, request := range f.asked {
				fmt.Fprintf(&b, "--- asked\n%s", requestText(t, request))
			}
			golden(t, c.name, b.String())
		})
	}
}

// Nothing starts a clock by mistake: the scramble is not asked for, so the server can't
// show it.
func TestNoClockStartsUnasked(t *testing.T) {
	for args, started := range map[string]bool{
		"scramble lantern-cup --attempt 3":         false,
		"scramble lantern-cup --attempt 3 --json":  false,
		"scramble sprint":                          false,
		"scramble lantern-cup --attempt 3 --start": true,
		"scramble lantern-cup --attempt 1":         true, // again
		"scramble harvest --attempt 3":             true, // no clock runs
		"round lantern-cup":                        false,
		"enter lantern-cup --attempt 1 a --check":  false,
	} {
		f := startFake(t)
		atEvening(t, "", append(strings.Fields(args), "--server", f.address)...)
		asked := false
		for _, request := range f.asked {
			_, shows := request.(*v1.ShowScrambleRequest)
			asked = asked || shows
		}
		assert.Equal(t, started, asked, args)
	}
}

func TestWhatIsHandedInIsText(t *testing.T) {
	f := startFake(t)
	for text, want := range map[string]string{
		strings.Repeat("a", maxWritten+1): "more than 20000 bytes",
		"a\xff":                           "not text in UTF-8",
	} {
		status, _, stderr := atEvening(t, text, "enter", "sprint", "-", "--server", f.address)
		assert.Equal(t, exitUsage, status)
		assert.Contains(t, stderr, want)
	}
	assert.Empty(t, f.asked)
	_, err := (&app{}).readWritten("it", "-")
	assert.ErrorContains(t, err, "no standard input")
	status, _, _ := atEvening(t, strings.Repeat("a", maxWritten), "enter", "sprint", "-", "--server", f.address)
	assert.Equal(t, exitOK, status)
	assert.Len(t, f.asked, 1)
	status, _, stderr := atEvening(t, "R U", "compare", "--puzzle", "2x2x2", "--scramble", "R", "-", "-", "--server", f.address)
	assert.Equal(t, exitUsage, status)
	assert.Contains(t, stderr, "already read as the solution", "what is empty the second time is not taken for a solution")
}

func TestCaretsPointAtTheMistake(t *testing.T) {
	long := strings.Repeat("R ", 50) + "X" + strings.Repeat(" U", 50)
	for _, c := range []struct {
		text         string
		line, column int
		want         string
	}{
		{"R X U", 1, 3, "  R X U\n    ^\n"},
		{"R", 1, 2, "  R\n   ^\n"}, // at the end: something is missing
		{"R", 1, 9, "  R\n   ^\n"},
		{"R\nU é X\nF", 2, 5, "  line 2: U é X\n              ^\n"},
		{"R\tX\r\nU", 1, 3, "  line 1: R X\n            ^\n"},
		{long, 1, 101, "  … " + strings.Repeat("R ", 20) + "X" + strings.Repeat(" U", 14) + "  …\n" + strings.Repeat(" ", 44) + "^\n"},
		{"R", 0, 1, ""},
		{"R", 2, 1, ""},
		{"R", 1, 0, ""},
	} {
		assert.Equal(t, c.want, caretText(c.text, c.line, c.column), "%q %d:%d", c.text, c.line, c.column)
	}
}

func TestHowFarOff(t *testing.T) {
	for d, want := range map[time.Duration]string{
		0:                                  "in 0 seconds",
		100*time.Minute - time.Millisecond: "in 100 minutes",
		time.Second:                        "in 1 second",
		119 * time.Second:                  "in 119 seconds",
		59*time.Minute + 59*time.Second:    "in 59 minutes", // never more than there is
		100 * time.Minute:                  "in 100 minutes",
		3 * time.Hour:                      "in 3 hours",
		25*time.Hour + time.Minute:         "in 25 h 1 min",
		47*time.Hour + 59*time.Minute:      "in 47 h 59 min",
		48 * time.Hour:                     "in 2 days",
		-5 * time.Minute:                   "5 minutes ago",
	} {
		assert.Equal(t, want, offText(d))
	}
}

func TestStandingsOnAPage(t *testing.T) {
	f := startFake(t)
	for _, name := range []string{"harvest.pdf", "harvest.svg"} {
		file := filepath.Join(t.TempDir(), name)
		var pages []string
		for range 2 {
			status, _, stderr := atEvening(t, "", "standings", "harvest", "--sheet", file, "--server", f.address)
			require.Equal(t, exitOK, status, stderr)
			assert.Equal(t, "wrote "+file+"\n", stderr)
			page, err := os.ReadFile(file)
			require.NoError(t, err)
			pages = append(pages, string(page))
		}
		assert.Equal(t, pages[0], pages[1])
		if name == "harvest.svg" {
			for _, part := range []string{"Harvest evening", "Scramble 3: c a b", "25.33", "club mean", "DNS: nothing"} {
				assert.Contains(t, pages[0], part)
			}
		} else {
			assert.True(t, strings.HasPrefix(pages[0], "%PDF-"))
		}
	}
}

// Of one attempt there is one column, and of records what the club does not know by others.
func TestWhatIsOnASheet(t *testing.T) {
	marks := []v1.RecordMark{
		v1.RecordMark_RECORD_MARK_PERSONAL_SINGLE, v1.RecordMark_RECORD_MARK_PERSONAL_MEAN, v1.RecordMark_RECORD_MARK_CLUB_SINGLE,
	}
	reply := &v1.GetStandingsResponse{
		Round: &v1.Round{Name: "rounds/dusk", Puzzle: "puzzles/brick", Attempts: 1, Scrambles: []string{"a b c"}},
		Standings: []*v1.Standing{
			{Place: 1, Member: "members/anna", Attempts: []*v1.AttemptResult{{Entry: "rounds/dusk/entries/anna-1", Length: 9}}, Best: 9, Records: marks},
		},
	}
	sheet := standingsSheet(reply, &v1.Puzzle{Name: "puzzles/brick", Aliases: []string{"1x2x3"}, Title: "A brick"})
	assert.Equal(t, "dusk", sheet.Title)
	assert.Equal(t, "A brick (1x2x3)", sheet.Above[0])
	assert.Equal(t, []draw.Column{{Heading: "place"}, {Heading: "member", Left: true}, {Heading: "result"}, {Heading: "records", Left: true}}, sheet.Columns)
	assert.Equal(t, [][]string{{"1", "anna", "9", "personal mean, club single"}}, sheet.Rows)
	assert.Equal(t, []string{"Scramble 1: a b c"}, sheet.Below)

	a := &app{stdout: io.Discard, stderr: io.Discard}
	for range 100 {
		sheet.Rows = append(sheet.Rows, sheet.Rows[0])
	}
	assert.NoError(t, a.writeSheet(sheet, filepath.Join(t.TempDir(), "dusk.pdf")))
	err := a.writeSheet(sheet, filepath.Join(t.TempDir(), "dusk.svg"))
	assert.ErrorContains(t, err, "it takes 3 pages, and SVG has one")
}

// The round of the guide can be verified, by whoever reads it.
func TestTheGuidesRoundIsAsItSays(t *testing.T) {
	guide, err := os.ReadFile("GUIDE.md")
	require.NoError(t, err)
	field := func(pattern string) string {
		m := regexp.MustCompile(pattern).FindStringSubmatch(string(guide))
		require.NotNil(t, m, pattern)
		return m[1]
	}
	seed := field(`(?m)^  seed +([0-9a-f]{64})$`)
	assert.Equal(t, field(`(?m)^  commitment +([0-9a-f]{64})$`), commitmentOf(seed, scramble.Newest))
	if testing.Short() {
		t.Skip("making a scramble of the 3x3x3 takes seconds")
	}
	p, err := puzzle.Find("3x3x3")
	require.NoError(t, err)
	made, _, err := new(rounds.Drawn).Scrambles(t.Context(), p, scramble.Newest, seed, "lantern-sprint", 1)
	require.NoError(t, err)
	assert.Equal(t, []string{field(`(?m)^  1  (R' U' F .*)$`)}, made)
}

// What members wrote can't order the reader's terminal about.
func TestWhatMembersWroteIsOnlyRead(t *testing.T) {
	e := inventedEntries("rounds/harvest")[0]
	e.Solution, e.Explanation = "a\x1b[2J\rb", "one\r\ntwo\tthree\u202eback é\u0085"
	var out strings.Builder
	require.NoError(t, (&app{stdout: &out}).printEntry(inventedRounds()[3], e))
	assert.Contains(t, out.String(), "Solution: a\ufffd[2J\ufffdb\n")
	assert.Contains(t, out.String(), "\none\ntwo three\ufffdback é\ufffd\n")
}

// A corrected entry is wrong where the corrected text is.
func TestCaretsPointIntoWhatWasJudged(t *testing.T) {
	e := inventedEntries("rounds/harvest")[1]
	e.Corrections[0].Solution = "R ?"
	e.Verdict.Dnf = &v1.Dnf{Text: "no move", Line: 1, Column: 3}
	assert.Equal(t, "DNF: no move\n  R ?\n    ^\n", verdictText(e, "OBTM"))
}

// An hour runs out before the round closes, or the round closes first.
func TestAnAttemptEndsWithItsRound(t *testing.T) {
	round := inventedRounds()[1]
	closes := round.GetCloseTime().AsTime()
	for before, want := range map[time.Duration]time.Duration{2 * time.Hour: time.Hour, time.Hour: time.Hour, 20 * time.Minute: 20 * time.Minute} {
		var f attemptForm
		f.shown(round, closes.Add(-before))
		assert.Equal(t, want, f.end.Sub(f.show), before)
	}
}

func TestNamesOfRoundsAreCompleted(t *testing.T) {
	f := startFake(t)
	for line, want := range map[string]string{
		"__complete round l":              "lantern-cup\topen\n",
		"__complete entries harvest anna": "anna-1\t3\n",
		"__complete correct harvest anna": "anna-1\t3\n",
		"__complete round harvest l":      "",
	} {
		args := strings.Fields(line)
		last := len(args) - 1
		args = append(append(append([]string{}, args[:last]...), "--server", f.address), args[last])
		var out bytes.Buffer
		status := (&app{stdout: &out, stderr: io.Discard}).run(t.Context(), args)
		assert.Equal(t, exitOK, status)
		got, _, _ := strings.Cut(out.String(), ":")
		assert.Equal(t, want, got, line)
	}
}
