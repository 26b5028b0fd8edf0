package main

import (
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// What the help shows works.
func TestExamplesOfCommutators(t *testing.T) {
	data := t.TempDir()
	quoted := regexp.MustCompile(`"[^"]*"|\S+`)
	a := &app{}
	for _, examples := range []string{a.explainCommand().Example, a.isolateCommand().Example, a.commutatorsCommand().Example} {
		for line := range strings.SplitSeq(examples, "\n") {
			if strings.Contains(line, "--first 4") && testing.Short() {
				continue // takes seconds under the race detector
			}
			var args []string
			for _, word := range quoted.FindAllString(line, -1) {
				args = append(args, strings.Trim(word, `"`))
			}
			status, stdout, stderr := turnwright(t.Context(), append(args[1:], "--data", data)...)
			assert.Equal(t, exitOK, status, "%s: %s", line, stderr)
			assert.NotEmpty(t, stdout)
		}
	}
}

// What a commutator of isolate is said to do is what effect says of it, and explain
// reads it as what it is.
func TestIsolateOnTheWholeWay(t *testing.T) {
	data := t.TempDir()
	run := func(args ...string) []object {
		status, stdout, stderr := turnwright(t.Context(), append(args, "--puzzle", "3x3x3", "--output", "json", "--data", data)...)
		require.Equal(t, exitOK, status, stderr)
		return objects(t, stdout)
	}
	lines := run("isolate", "--cycle", "corner", "--part", "R' D' R", "--show", "wanted")
	require.Len(t, lines, 4)
	for _, line := range lines[:3] {
		meeting := line["meeting"].(map[string]any)
		commutator := meeting["commutator"].(map[string]any)
		assert.EqualValues(t, 8, commutator["length"])
		explanation := run("explain", commutator["sequence"].(string))[0]["explanation"].(map[string]any)
		assert.Equal(t, commutator["text"], explanation["text"])
		assert.Equal(t, commutator["words"], explanation["words"])
		effect := run("effect", commutator["sequence"].(string))[0]["effect"].(map[string]any)
		for _, entry := range effect["types"].([]any) {
			typ := entry.(map[string]any)
			if typ["type"] != "corner" {
				assert.EqualValues(t, 0, typ["moved"])
				continue
			}
			cycles := typ["cycles"].([]any)
			require.Len(t, cycles, 1)
			assert.ElementsMatch(t, commutator["cycles"].([]any)[0].(map[string]any)["labels"], cycles[0].(map[string]any)["labels"])
		}
	}
	assert.EqualValues(t, 3, lines[3]["isolation"].(map[string]any)["wanted"])
}

func TestBadCommutatorsOnTheWholeWay(t *testing.T) {
	data := t.TempDir()
	for _, c := range []struct {
		status     int
		args, want string
	}{
		{exitNotFound, "explain --puzzle pebble R", "pebble"},
		{exitUsage, "explain --puzzle 3x3x3 R Q", "line 1, column 3"},
		{exitNotFound, "isolate --puzzle pebble --cycle corner --part R", "pebble"},
		{exitUsage, "isolate --puzzle 3x3x3 --cycle wedge --part R", "it has centre"},
		{exitUsage, "isolate --puzzle 3x3x3 --cycle corner --part Q", "line 1, column 1"},
		{exitUsage, "isolate --puzzle 3x3x3 --cycle corner --part R --turns 4", "--turns: 4: use 1 to 3"},
		{exitUsage, "isolate --puzzle 3x3x3 --cycle corner --part R --limit -1", "--limit: -1: use 1 to 5000"},
		{exitUsage, "commutators --puzzle 3x3x3 --cycle corner --first 13", "--first: 13: use 1 to 12"},
		{exitUsage, "commutators --puzzle 3x3x3 --cycle corner --first 12", "pairs of parts"},
		{exitUsage, "commutators --puzzle 3x3x3 --cycle corner --axes Q", "no axis"},
	} {
		t.Run(c.args, func(t *testing.T) {
			status, stdout, stderr := turnwright(t.Context(), append(strings.Fields(c.args), "--data", data)...)
			assert.Equal(t, c.status, status, stderr)
			assert.Empty(t, stdout)
			assert.Contains(t, stderr, c.want)
			assert.NotContains(t, stderr, "rpc error")
		})
	}
}
