package main

import (
	"encoding/csv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// What one search found serves the verbs after it, by way of its directory.
func TestWhatIsKnownOnTheWholeWay(t *testing.T) {
	data := t.TempDir()
	ask := func(want int, args ...string) (stdout, stderr string) {
		t.Helper()
		status, stdout, stderr := turnwright(t.Context(), append(args, "--data", data)...)
		require.Equal(t, want, status, stderr)
		return stdout, stderr
	}
	goal := []string{"--puzzle", "2x2x2", "--cycle", "corner", "--metric", "obtm"}
	with := func(verb string, more ...string) []string { return append(append([]string{verb}, goal...), more...) }
	const skeleton = "F2 R U' B"
	insert := []string{"insert", "--puzzle", "2x2x2", "--scramble", "R' D' R U' R' D R U (" + skeleton + ")'", "--solution", skeleton, "--output", "json"}

	stdout, _ := ask(exitOK, with("coverage")...)
	assert.Contains(t, stdout, "turnwright find --puzzle cube-2 --cycle corner --metric obtm --max 9")
	_, stderr := ask(exitUsage, insert...)
	assert.Contains(t, stderr, "begin with: turnwright find --puzzle 2x2x2 --cycle corner --metric obtm --max 9")

	stdout, stderr = ask(exitOK, append(insert, "--find", "8")...)
	assert.Contains(t, stderr, "length 8: ")
	inserted := objects(t, stdout)

	stdout, _ = ask(exitOK, with("coverage", "--csv")...)
	rows, err := csv.NewReader(strings.NewReader(stdout)).ReadAll()
	require.NoError(t, err)
	stdout, _ = ask(exitOK, with("coverage", "--output", "json")...)
	lines := objects(t, stdout)
	require.Len(t, lines, len(rows), "a heading above, a summary below")
	summary := lines[len(lines)-1]["coverage"].(map[string]any)
	assert.EqualValues(t, 1008, summary["cycles"], "8·7·6/3 · 3² directed 3-cycles of corners: counted by hand")
	assert.EqualValues(t, 0, summary["missing"])
	for i, line := range lines[:len(lines)-1] {
		row := line["row"].(map[string]any)
		assert.Equal(t, rows[i+1][8], row["sequence"])
		assert.NotEmpty(t, row["sequence"])
	}

	stdout, _ = ask(exitOK, with("fit", "--pin", "UFR=UBR", "--output", "json", "--limit", "3")...)
	assert.Len(t, objects(t, stdout), 3)

	stdout, _ = ask(exitOK, insert...)
	lines = objects(t, stdout)
	assert.Equal(t, inserted, lines, "this time nothing had to be searched")
	best := lines[0]["inserted"].(map[string]any)
	stdout, _ = ask(exitOK, "effect", "--puzzle", "2x2x2", insert[4]+" "+best["solution"].(string), "--output", "json")
	for _, typ := range objects(t, stdout)[0]["effect"].(map[string]any)["types"].([]any) {
		assert.EqualValues(t, 0, typ.(map[string]any)["moved"])
	}
}
