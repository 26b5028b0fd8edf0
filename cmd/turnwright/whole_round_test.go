package main

import (
	"bufio"
	"bytes"
	"context"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"turnwright/search/notation"
	"turnwright/search/puzzle"
)

// A whole round, by the program alone: two members and an organiser with tokens over TLS,
// from announcing to the export of the standings.
func TestARoundOnTheWholeWay(t *testing.T) {
	c := startClub(t, "anna", "bert")
	const round = "lantern-cup"

	// Announced by an organiser alone; nobody sees a scramble before it opens.
	_, stderr := c.run(exitDenied, "anna", "announce", "--puzzle", "2x2x2", "--closes", "3h")
	assert.Contains(t, stderr, `"member"`)
	announced := c.object("olga", "announce", "--puzzle", "2x2x2", "--id", "later", "--opens", "2h", "--closes", "3h", "--json")["round"]
	assert.Equal(t, "announced", announced["state"])
	c.run(exitUsage, "anna", "scramble", "later", "--start")
	_, stderr = c.run(exitUsage, "olga", "scramble", "later", "--start")
	assert.Contains(t, stderr, "later opens")
	opened := c.object("olga", "announce", "--puzzle", "2x2x2", "--id", round, "--title", "Lantern cup", "--attempts", "2",
		"--closes", "3h", "--json")["round"]
	assert.Equal(t, "open", c.object("bert", "round", round, "--json")["round"]["state"])
	commitment := opened["commitment"].(string)
	assert.Len(t, commitment, 64)
	assert.NotContains(t, opened, "seed")

	// Anna sees her scrambles and hands in; what is wrong is told, and may be replaced.
	_, stderr = c.run(exitUsage, "anna", "scramble", round, "--attempt", "1")
	assert.Contains(t, stderr, "say --start")
	_, stderr = c.run(exitUsage, "anna", "enter", round, "--attempt", "1", "R")
	assert.Contains(t, stderr, "scramble")
	scramble := make(map[int]string)
	for n := 1; n <= 2; n++ {
		stdout, stderr := c.run(exitOK, "anna", "scramble", round, "--attempt", fmt.Sprint(n), "--start")
		assert.Regexp(t, `hand in until .*, in \d+ minutes`, stderr)
		scramble[n] = strings.TrimSpace(stdout)
	}
	stdout, _ := c.run(exitOK, "anna", "scramble", round, "--attempt", "1")
	assert.Equal(t, scramble[1], strings.TrimSpace(stdout), "again, and the same")
	best := inverseOf(t, scramble[1])
	stdout, _ = c.run(exitUsage, "anna", "enter", round, "--attempt", "1", "R ? U", "--check")
	assert.Contains(t, stdout, "  R ? U\n    ^\n")
	stdout, _ = c.run(exitOK, "anna", "enter", round, "--attempt", "1", "R")
	assert.Contains(t, stdout, "DNF: ")
	assert.Regexp(t, `(?m)^  corner: [A-Z]{3}`, stdout)
	stdout, _ = c.run(exitOK, "anna", "enter", round, "--attempt", "1", best)
	assert.Regexp(t, `^Solved, \d+ moves \(OBTM\)`, stdout)
	assert.Contains(t, stdout, "2 times now")
	entered := c.object("anna", "entries", round, "--json")["entry"]
	assert.Equal(t, best, entered["solution"])

	// Bert sees none of it, nor does Olga: not the solution, not its length, not that it is
	// there. His own first attempt is no result, and a second move makes the other longer.
	for _, who := range []string{"bert", "olga"} {
		stdout, _ = c.run(exitOK, who, "entries", round)
		assert.Contains(t, stdout, "You have handed in nothing")
		c.run(exitNotFound, who, "entries", round, "anna-1")
		c.run(exitUsage, who, "standings", round)
		c.run(exitUsage, who, "verify", round)
		_, stderr = c.run(exitUsage, who, "compare", "--round", round, "--attempt", "1", "--members", "anna", "R")
		assert.Contains(t, stderr, "sealed")
		for _, look := range [][]string{{"round", round}, {"rounds"}, {"entries", round}, {"records"}} {
			stdout, _ = c.run(exitOK, who, append(look, "--json")...)
			assert.NotContains(t, stdout, best)
			assert.NotContains(t, stdout, "anna-1")
		}
	}
	stdout, _ = c.run(exitOK, "bert", "views", round)
	assert.NotContains(t, stdout, "anna")
	stdout, _ = c.run(exitOK, "olga", "views", round)
	assert.Equal(t, 2, strings.Count(stdout, "the clock began"), stdout)
	stdout, _ = c.run(exitOK, "bert", "scramble", round, "--attempt", "1", "--start")
	assert.Equal(t, scramble[1], strings.TrimSpace(stdout), "everybody has the same")
	c.run(exitOK, "bert", "scramble", round, "--attempt", "2", "--start")
	c.run(exitOK, "bert", "enter", round, "--attempt", "1", "U")
	detour := filepath.Join(t.TempDir(), "detour.txt")
	require.NoError(t, os.WriteFile(detour, []byte("F F' "+inverseOf(t, scramble[2])+"\n"), 0o600))
	c.run(exitOK, "bert", "enter", round, "--attempt", "2", "@"+detour)

	// Closed: everybody sees all of it, and can hold it against the commitment.
	_, stderr = c.run(exitDenied, "bert", "close", round, "--reason", "enough")
	assert.NotEmpty(t, stderr)
	c.run(exitOK, "olga", "amend", round, "--title", "The lantern cup", "--reason", "as it was printed")
	stdout, _ = c.run(exitOK, "olga", "close", round, "--reason", "all have handed in")
	assert.Equal(t, "lantern-cup is closed.\n", stdout)
	c.run(exitUsage, "anna", "enter", round, "--attempt", "1", best)
	stdout, _ = c.run(exitOK, "bert", "entries", round)
	assert.Contains(t, stdout, "anna-1")
	stdout, _ = c.run(exitOK, "bert", "entries", round, "anna-1")
	assert.Contains(t, stdout, "Solution: "+best)
	compared := c.object("bert", "compare", "--round", round, "--attempt", "2", "F "+inverseOf(t, scramble[2]), "--json")["comparison"]
	assert.Equal(t, scramble[2], compared["scramble"])
	side := compared["solutions"].([]any)
	require.Len(t, side, 2, "the given one, and bert's: anna has handed in nothing")
	assert.Equal(t, "rounds/"+round+"/entries/bert-2", side[1].(map[string]any)["entry"])
	stdout, _ = c.run(exitOK, "bert", "standings", round, "--csv")
	rows, err := csv.NewReader(strings.NewReader(stdout)).ReadAll()
	require.NoError(t, err)
	require.Len(t, rows, 3)
	assert.Equal(t, []string{"place", "member", "attempt1", "attempt2", "best", "records"}, rows[0])
	one, two := lengthOf(t, best), lengthOf(t, "F F' "+inverseOf(t, scramble[2]))
	wanted := [][]string{{"anna", fmt.Sprint(one), "DNS", fmt.Sprint(one)}, {"bert", "DNF", fmt.Sprint(two), fmt.Sprint(two)}}
	if two < one {
		slices.Reverse(wanted)
	}
	for i, row := range rows[1:] {
		assert.Equal(t, wanted[i], row[1:5])
	}
	stdout, _ = c.run(exitOK, "anna", "verify", round, "--here", "--commitment", commitment)
	assert.NotContains(t, stdout, "NOT")
	assert.Contains(t, stdout, scramble[2])
	stdout, _ = c.run(exitOK, "anna", "round", round)
	assert.Contains(t, stdout, "as it was printed")

	// A correction moves the standings and the records, and its reason is there to read.
	c.run(exitDenied, "bert", "correct", round, "anna-1", "--dnf", "--reason", "no")
	c.run(exitOK, "olga", "correct", round, "anna-1", "--dnf", "--reason", "WCA Regulation E2e: the inverse scramble")
	stdout, _ = c.run(exitOK, "anna", "entries", round, "anna-1")
	assert.Contains(t, stdout, "by olga, from "+fmt.Sprint(one)+": WCA Regulation E2e")
	for _, line := range objects(t, first(c.run(exitOK, "bert", "standings", round, "--json"))) {
		standing := line["standing"].(map[string]any)
		if standing["member"] == "members/bert" {
			assert.EqualValues(t, 1, standing["place"])
			assert.Contains(t, standing["records"], "club single")
		}
	}
	records := objects(t, first(c.run(exitOK, "anna", "records", "--puzzle", "2x2x2", "--member", "bert", "--standing", "--json")))
	require.Len(t, records, 2, "the club's, and his own")
	for _, line := range records {
		record := line["record"].(map[string]any)
		assert.Equal(t, "members/bert", record["member"])
		assert.EqualValues(t, two, record["result"])
	}
	stdout, _ = c.run(exitOK, "olga", "audit")
	for _, act := range []string{"announce round", "change round", "close round", "correct entry"} {
		assert.Contains(t, stdout, act)
	}
	c.run(exitOK, "olga", "call-off", "later", "--reason", "one round is enough")
	stdout, _ = c.run(exitOK, "anna", "rounds")
	assert.Regexp(t, `later +\S+ +OBTM +one attempt +called off`, stdout)
}

// club is a server with TLS and tokens, and a configuration that names it once for each
// member, by their names.
type club struct{ t *testing.T }

func startClub(t *testing.T, members ...string) club {
	data := t.TempDir()
	c := club{t}
	olga, _ := c.exit(exitOK, "member", "add", "olga", "--role", "organiser", "--data", data)
	out, in := io.Pipe()
	serving, stop := context.WithCancel(t.Context())
	ended := make(chan int, 1)
	go func() {
		a := &app{stdout: in, stderr: io.Discard}
		ended <- a.run(serving, []string{"serve", "--listen", "127.0.0.1:0", "--tls-self-signed", "--require-tokens", "--member-rate", "1000", "--workers", "1", "--memory", "64MiB", "--json", "--data", data})
		_ = in.Close()
	}()
	t.Cleanup(func() {
		stop()
		assert.Equal(t, exitOK, <-ended)
	})
	line, err := bufio.NewReader(out).ReadBytes('\n')
	require.NoError(t, err)
	var hello struct {
		Server struct{ Address, Fingerprint string }
	}
	require.NoError(t, json.Unmarshal(line, &hello))
	config := bytes.NewBufferString("servers:\n")
	add := func(name, token string) {
		fmt.Fprintf(config, "  %s: {address: %q, fingerprint: %q, token: %q}\n", name, hello.Server.Address, hello.Server.Fingerprint, strings.TrimSpace(token))
		configure(t, config.String(), 0o600)
	}
	add("olga", olga)
	for _, name := range members {
		token, _ := c.run(exitOK, "olga", "member", "add", name)
		add(name, token)
	}
	return c
}

// run runs the program as a member.
func (c club) run(want int, who string, args ...string) (stdout, stderr string) {
	c.t.Helper()
	return c.exit(want, append(args, "--server", who)...)
}

func (c club) exit(want int, args ...string) (stdout, stderr string) {
	c.t.Helper()
	status, stdout, stderr := turnwright(c.t.Context(), args...)
	require.Equal(c.t, want, status, "%q: %s%s", args, stdout, stderr)
	return stdout, stderr
}

// object is the one object that the program prints.
func (c club) object(who string, args ...string) map[string]map[string]any {
	c.t.Helper()
	stdout, _ := c.run(exitOK, who, args...)
	var object map[string]map[string]any
	require.NoError(c.t, json.Unmarshal([]byte(stdout), &object), stdout)
	return object
}

func first(text, _ string) string { return text }

func inverseOf(t *testing.T, sequence string) string {
	p, err := puzzle.Find("2x2x2")
	require.NoError(t, err)
	turns, err := notation.ParseTurns(p, sequence)
	require.NoError(t, err)
	return notation.Print(p, notation.Invert(turns))
}

func lengthOf(t *testing.T, sequence string) int {
	p, err := puzzle.Find("2x2x2")
	require.NoError(t, err)
	turns, err := notation.ParseTurns(p, sequence)
	require.NoError(t, err)
	return notation.Length(p, puzzle.OBTM, turns)
}
