package main

import (
	"bufio"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"turnwright/api/client"
	v1 "turnwright/api/turnwright/v1"
	"turnwright/storage"
)

// These tests run the whole way: command, client, server, storage, engine.

// object is one line of JSON.
type object map[string]any

func objects(t *testing.T, stdout string) []object {
	var all []object
	for lines := bufio.NewScanner(strings.NewReader(stdout)); lines.Scan(); {
		var o object
		require.NoError(t, json.Unmarshal(lines.Bytes(), &o), lines.Text())
		all = append(all, o)
	}
	return all
}

func TestFindOnTheWholeWay(t *testing.T) {
	data := t.TempDir()
	args := strings.Fields("find --puzzle 3x3x3 --cycle edge --metric obtm --max 6 --memory 64MiB --output json --data " + data)

	status, stdout, stderr := turnwright(t.Context(), args...)
	require.Equal(t, exitOK, status, stderr)
	assert.Contains(t, stderr, "table: built")
	lines := objects(t, stdout)
	require.NotEmpty(t, lines)
	findings, last := lines[:len(lines)-1], lines[len(lines)-1]

	// Three edges take 6 turns, R' L F2 R L' U2, and no fewer: common practice,
	// and held against a breadth-first search in search/deepen.
	require.NotEmpty(t, findings)
	for _, line := range findings {
		finding := line["finding"].(map[string]any)
		assert.EqualValues(t, 6, finding["length"])
		assert.EqualValues(t, true, finding["shortest"])
		checkFinding(t, finding["sequence"].(string), finding["cycle"].(map[string]any)["slots"])
	}

	summary := last["summary"].(map[string]any)
	assert.EqualValues(t, 6, summary["provenLength"])
	// OEIS A333298 from n = 1 on (SIAM Review 56(4), table 5.1).
	words := []float64{18, 243, 3240, 43254, 577368, 7706988}
	lengths := summary["lengths"].([]any)
	require.Len(t, lengths, len(words))
	for i, entry := range lengths {
		length := entry.(map[string]any)
		assert.EqualValues(t, i+1, length["length"])
		assert.EqualValues(t, words[i], length["words"])
		if i+1 < 6 {
			assert.EqualValues(t, 0, length["classes"])
		} else {
			assert.EqualValues(t, len(findings), length["classes"])
		}
	}

	// Again: the same answer, which is there already.
	status, again, stderr := turnwright(t.Context(), args...)
	require.Equal(t, exitOK, status, stderr)
	assert.Contains(t, stderr, "taken over")
	repeated := objects(t, again)
	assert.Equal(t, findings, repeated[:len(repeated)-1])
}

// A search that an earlier run left goes on, behind the one that someone waits for, who is
// told how to be rid of it.
func TestFindBesideWhatWasLeft(t *testing.T) {
	data := filepath.Join(t.TempDir(), "two words")
	a := app{stdout: io.Discard, stderr: io.Discard}
	require.NoError(t, a.withOwnServer(t.Context(), local{data: data}, func(c *client.Client) error {
		_, err := c.Searches.CreateSearch(t.Context(), &v1.CreateSearchRequest{SearchId: "left", RequestId: client.NewRequestID(), Search: &v1.Search{
			Goal: &v1.Goal{Puzzle: "puzzles/3x3x3", Cycle: "edge"}, Metric: v1.Metric_METRIC_OBTM, MaxLength: 20,
		}})
		return err
	}))

	find := strings.Fields("find --puzzle 3x3x3 --cycle corner --metric obtm --max 5 --memory 64MiB --data")
	status, _, stderr := turnwright(t.Context(), append(find, data)...)
	require.Equal(t, exitOK, status, stderr)
	assert.Contains(t, stderr, "searches/left has not ended")
	assert.Contains(t, stderr, fmt.Sprintf("turnwright cancel left --data %q", data))

	status, stdout, stderr := turnwright(t.Context(), "cancel", "left", "--data", data)
	require.Equal(t, exitOK, status, stderr)
	assert.Contains(t, stdout, "searches/left is cancelled")
	status, _, stderr = turnwright(t.Context(), append(find, data)...)
	require.Equal(t, exitOK, status, stderr)
	assert.NotContains(t, stderr, "has not ended")
}

// One of the farthest positions of the 2x2x2: 11 turns in OBTM (OEIS A079761 has
// 2644 of them and none farther).
func TestSolveOnTheWholeWay(t *testing.T) {
	if testing.Short() {
		t.Skip("makes a table of millions of positions")
	}
	const scramble = "F2 U2 R2 U' R2 F R2 F2 R F2 R'"
	data := t.TempDir()
	args := []string{"solve", "--puzzle", "2x2x2", "--scramble", scramble, "--metric", "obtm", "--max", "14", "--data", data}
	status, stdout, stderr := turnwright(t.Context(), args...)
	require.Equal(t, exitOK, status, stderr)
	assert.Contains(t, stderr, "1 table: built 3.6 M positions")
	assert.Contains(t, stdout, "Proven: no solution is shorter than 11 (OBTM).")

	status, stdout, stderr = turnwright(t.Context(), append(args, "--output", "json", "--all")...)
	require.Equal(t, exitOK, status, stderr)
	assert.Contains(t, stderr, "from the cache")
	lines := objects(t, stdout)
	solutions, summary := lines[:len(lines)-1], lines[len(lines)-1]["summary"].(map[string]any)
	assert.EqualValues(t, 11, summary["provenLength"])
	assert.Greater(t, len(solutions), 1)
	for _, line := range solutions {
		solution := line["solution"].(map[string]any)
		assert.EqualValues(t, 11, solution["length"])
		status, stdout, stderr := turnwright(t.Context(), "effect", "--puzzle", "2x2x2", scramble, solution["sequence"].(string), "--output", "json", "--data", data)
		require.Equal(t, exitOK, status, stderr)
		effect := objects(t, stdout)[0]["effect"].(map[string]any)
		assert.Equal(t, solution["rotation"], effect["rotation"])
		assert.EqualValues(t, 1, effect["order"], "all pieces are home")
	}
}

// A scramble shown solved by the real program, in stages and then shorter.
func TestBaselineOnTheWholeWay(t *testing.T) {
	const scramble = "R' U' F L2 D B2 R F' U2 L B D2"
	data := t.TempDir()
	args := []string{"baseline", "--puzzle", "3x3x3", "--scramble", scramble, "--metric", "stm", "--data", data}
	status, stdout, stderr := turnwright(t.Context(), args...)
	require.Equal(t, exitOK, status, stderr)
	assert.Contains(t, stdout, "stage   STM  so far")
	status, stdout, stderr = turnwright(t.Context(), append(args, "--shorten", "1s", "--json")...)
	require.Equal(t, exitOK, status, stderr)
	for _, line := range objects(t, stdout) {
		b := line["baseline"].(map[string]any)
		status, stdout, stderr := turnwright(t.Context(), "effect", "--puzzle", "3x3x3", scramble, b["solution"].(string), "--json", "--data", data)
		require.Equal(t, exitOK, status, stderr)
		assert.EqualValues(t, 1, objects(t, stdout)[0]["effect"].(map[string]any)["order"], "all pieces are home")
		assert.Equal(t, b["lengths"].(map[string]any)["stm"], b["length"])
	}
}

// The examples of the README, with less memory where tables would take long.
func TestSolveAsInTheReadme(t *testing.T) {
	data := t.TempDir()
	run := func(args ...string) (stdout, stderr string) {
		status, stdout, stderr := turnwright(t.Context(), append(args, "--data", data, "--memory", "512KiB")...)
		require.Equal(t, exitOK, status, stderr)
		return stdout, stderr
	}
	stdout, _ := run("solve", "--puzzle", "2x2x2", "--scramble", "R U R' U' F2", "--metric", "qtm", "--max", "14", "--all")
	assert.Contains(t, stdout, "F2 U R U' R'") // the scramble undone
	assert.Contains(t, stdout, "Proven: no solution is shorter than 6 (QTM).")
	stdout, _ = run("solve", "--puzzle", "3x3x3", "--pin", "UF=UR", "--pin", "UR=UB", "--pin", "UB=UF", "--metric", "obtm", "--max", "10")
	assert.Contains(t, stdout, "Proven: no solution is shorter than 9 (OBTM).")

	status, stdout, stderr := turnwright(t.Context(), "solve", "--puzzle", "3x3x3", "--pin", "UF=UR", "--pin", "UR=UF", "--max", "20", "--data", data)
	assert.Equal(t, exitUsage, status)
	assert.Empty(t, stdout)
	assert.Equal(t, "turnwright: no sequence does this, however long: UF to UR and UR to UF, all other pieces at home\n", stderr)
}

// checkFinding asks the effect verb whether the sequence does what the finding
// says.
func checkFinding(t *testing.T, sequence string, slots any) {
	status, stdout, stderr := turnwright(t.Context(), "effect", "--puzzle", "3x3x3", sequence, "--output", "json", "--data", t.TempDir())
	require.Equal(t, exitOK, status, stderr)
	effect := objects(t, stdout)[0]["effect"].(map[string]any)
	assert.EqualValues(t, 6, effect["lengths"].(map[string]any)["obtm"])
	for _, entry := range effect["types"].([]any) {
		typ := entry.(map[string]any)
		if typ["type"] != "edge" {
			assert.Empty(t, typ["cycles"], "%s moves %ss", sequence, typ["type"])
			continue
		}
		cycles := typ["cycles"].([]any)
		require.Len(t, cycles, 1, sequence)
		cycle := cycles[0].(map[string]any)
		assert.EqualValues(t, 3, cycle["length"])
		assert.EqualValues(t, 1, cycle["twist"])
		assert.Equal(t, slots, cycle["slots"])
	}
}

func TestPuzzleOnTheWholeWay(t *testing.T) {
	status, stdout, stderr := turnwright(t.Context(), "puzzle", "3x3x3", "--output", "json", "--data", t.TempDir())
	require.Equal(t, exitOK, status, stderr)
	puzzle := objects(t, stdout)[0]["puzzle"].(map[string]any)
	assert.EqualValues(t, 48, puzzle["symmetries"]) // of a cube: common knowledge
	assert.EqualValues(t, 24, puzzle["rotations"])
	pieces := map[string]any{}
	for _, entry := range puzzle["types"].([]any) {
		typ := entry.(map[string]any)
		pieces[typ["name"].(string)] = typ["pieces"]
	}
	assert.Equal(t, map[string]any{"centre": 6.0, "edge": 12.0, "corner": 8.0}, pieces)
}

func TestBadInputOnTheWholeWay(t *testing.T) {
	data := t.TempDir()
	file := func(definition string) string {
		path := filepath.Join(t.TempDir(), "own.yaml")
		require.NoError(t, os.WriteFile(path, []byte(definition), 0o600))
		return path
	}
	for _, c := range []struct {
		name   string
		status int
		args   []string
	}{
		{"no such puzzle", exitNotFound, []string{"puzzle", "pebble"}},
		{"no such puzzle to search", exitNotFound, []string{"find", "--puzzle", "pebble", "--cycle", "edge", "--max", "3"}},
		{"no such type", exitUsage, []string{"find", "--puzzle", "3x3x3", "--cycle", "wedge", "--max", "3"}},
		{"no such type to ignore", exitUsage, []string{"find", "--puzzle", "3x3x3", "--cycle", "edge", "--ignore", "wedge", "--max", "3"}},
		{"a type protected and ignored", exitUsage, []string{"find", "--puzzle", "3x3x3", "--cycle", "edge", "--protect", "corner", "--ignore", "corner", "--max", "3"}},
		{"no such slot", exitUsage, []string{"find", "--puzzle", "3x3x3", "--cycle", "edge", "--pin", "here=there", "--max", "3"}},
		{"no length", exitUsage, []string{"find", "--puzzle", "3x3x3", "--cycle", "edge", "--max", "0"}},
		{"negative length", exitUsage, []string{"find", "--puzzle", "3x3x3", "--cycle", "edge", "--max", "-1"}},
		{"too great a length", exitUsage, []string{"find", "--puzzle", "3x3x3", "--cycle", "edge", "--max", "1000"}},
		{"a scramble with a mistake", exitUsage, []string{"solve", "--puzzle", "3x3x3", "--scramble", "R Q", "--max", "9"}},
		{"two edges exchanged", exitUsage, []string{"solve", "--puzzle", "3x3x3", "--pin", "UF=UR", "--pin", "UR=UF", "--max", "9"}},
		{"a pin across types", exitUsage, []string{"solve", "--puzzle", "3x3x3", "--pin", "UF=UFR", "--max", "9"}},
		{"a position too far", exitUsage, []string{"solve", "--puzzle", "3x3x3", "--scramble", "R", "--max", "41"}},
		{"a sequence with a mistake", exitUsage, []string{"effect", "--puzzle", "3x3x3", "R Q"}},
		{"a sequence that is not closed", exitUsage, []string{"effect", "--puzzle", "3x3x3", "[R, U"}},
		{"a sequence that is too long", exitUsage, []string{"effect", "--puzzle", "3x3x3", "(((R)^9999)^9999)^9999"}},
		{"unknown solid", exitUsage, []string{"define", file("name: own\nsolid: prism\naxes: [{at: faces, cuts: [1/3]}]\n")}},
		{"unknown field", exitUsage, []string{"define", file("name: own\nsolid: cube\ncolour: red\naxes: [{at: faces, cuts: [1/3]}]\n")}},
		{"depth outside the solid", exitUsage, []string{"define", file("name: own\nsolid: cube\naxes: [{at: faces, cuts: [2]}]\n")}},
		{"no YAML at all", exitUsage, []string{"define", file("\x00{")}},
		{"name of a built-in puzzle", exitUsage, []string{"define", file("name: 3x3x3\nsolid: cube\naxes: [{at: faces, cuts: [1/2]}]\n")}},
	} {
		t.Run(c.name, func(t *testing.T) {
			status, stdout, stderr := turnwright(t.Context(), append(c.args, "--data", data)...)
			assert.Equal(t, c.status, status, stderr)
			assert.Empty(t, stdout)
			assert.NotContains(t, stderr, "rpc error", "people don't read gRPC")
			t.Log(stderr)
		})
	}
}

func TestOwnPuzzleOnTheWholeWay(t *testing.T) {
	data := t.TempDir()
	path := filepath.Join(t.TempDir(), "own.yaml")
	require.NoError(t, os.WriteFile(path, []byte("name: thin-shell\nsolid: cube\naxes:\n  - at: faces\n    cuts: [\"1/2\"]\n"), 0o600))
	status, stdout, stderr := turnwright(t.Context(), "define", path, "--data", data)
	require.Equal(t, exitOK, status, stderr)
	assert.Regexp(t, "^thin-shell\nCube", stdout, "without a title")

	// The next server still has it, and the same file again is fine.
	status, stdout, stderr = turnwright(t.Context(), "puzzles", "--data", data, "--output", "json")
	require.Equal(t, exitOK, status, stderr)
	assert.Contains(t, stdout, `"name":"thin-shell"`)
	status, _, stderr = turnwright(t.Context(), "puzzle", path, "--data", data)
	assert.Equal(t, exitOK, status, stderr)

	// Another depth is another puzzle.
	for _, taken := range []string{"name: thin-shell", "name: thick-shell\naliases: [thicker, thin-shell]"} {
		require.NoError(t, os.WriteFile(path, []byte(taken+"\nsolid: cube\naxes:\n  - at: faces\n    cuts: [0.4]\n"), 0o600))
		status, _, stderr = turnwright(t.Context(), "define", path, "--data", data)
		assert.Equal(t, exitUsage, status)
		assert.Contains(t, stderr, `another puzzle is called "thin-shell", or this one was defined otherwise before: what is kept stays`)
	}
}

func TestDataThatAnotherServerUses(t *testing.T) {
	data := t.TempDir()
	store, err := storage.Open(storage.Options{Dir: data})
	require.NoError(t, err)
	defer store.Close()
	status, stdout, stderr := turnwright(t.Context(), "puzzles", "--data", data)
	assert.Equal(t, exitOther, status)
	assert.Empty(t, stdout)
	assert.Contains(t, stderr, "name the server that uses it with --server")
}
