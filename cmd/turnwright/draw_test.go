package main

import (
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Pictures come from the whole way: command, client, server and the definition that
// it has.
func TestDraw(t *testing.T) {
	data := t.TempDir()
	for name, args := range map[string][]string{
		"draw-net":   {"--puzzle", "pyraminx", "--as", "net"},
		"draw-view":  {"--puzzle", "2x2x2", "R U R' U'", "R' F R2 U' R' U' R U R' F'", "--mark", "UFL"},
		"draw-state": {"--puzzle", "skewb", "a1 b2", "--arrows", "none", "--far", "turned", "--from", "a1", "--turn", "10,-5", "--width", "600"},
		"draw-sheet": {"--puzzle", "2x2x2", "--sheet", "--metric", "qtm", "--title", "Two <swaps>", "[R, U]", "R2 U' R2 U2 R2 U' R2 // swaps & twists"},
		"draw-model": {"--puzzle", "2x2x2", "--as", "model", "R U"},
		"draw-json":  {"--puzzle", "2x2x2", "--from", "U", "--output", "json"},
	} {
		t.Run(name, func(t *testing.T) {
			status, stdout, stderr := turnwright(t.Context(), append([]string{"draw", "--data", data}, args...)...)
			require.Equal(t, exitOK, status, stderr)
			golden(t, name, fmt.Sprintf("$ turnwright draw %q\n%s--- standard error\n%s", args, stdout, stderr))
		})
	}
}

func TestDrawToAFile(t *testing.T) {
	data := t.TempDir()
	path := filepath.Join(t.TempDir(), "own picture.svg")
	own := filepath.Join(t.TempDir(), "lantern.yaml")
	require.NoError(t, os.WriteFile(own, []byte("name: lantern\ntitle: A <lantern> & more\nsolid: cube\naxes: [{at: faces, only: [U, D], cuts: [\"1/3\"]}]\n"), 0o600))
	args := []string{"draw", "--puzzle", own, "U", "--data", data}

	status, stdout, stderr := turnwright(t.Context(), append(args, "--to", path)...)
	require.Equal(t, exitOK, status, stderr)
	assert.Empty(t, stdout)
	assert.Equal(t, "wrote "+path+"\n", stderr)
	got, err := os.ReadFile(path)
	require.NoError(t, err)
	assert.Contains(t, string(got), "<title>A &lt;lantern&gt; &amp; more</title>")

	status, stdout, _ = turnwright(t.Context(), append(args, "--to", "-")...)
	assert.Equal(t, exitOK, status)
	assert.Equal(t, string(got), stdout)

	path = strings.TrimSuffix(path, ".svg") + ".PDF"
	status, _, stderr = turnwright(t.Context(), append(args, "--to", path)...)
	require.Equal(t, exitOK, status, stderr)
	got, err = os.ReadFile(path)
	require.NoError(t, err)
	assert.Regexp(t, `^%PDF-1\.`, string(got))
}

// What the help shows works.
func TestExamplesOfDraw(t *testing.T) {
	data := t.TempDir()
	t.Chdir(t.TempDir())
	quoted := regexp.MustCompile(`"[^"]*"|\S+`)
	examples := strings.Split((&app{}).drawCommand().Example, "\n")
	require.NotEmpty(t, examples)
	for _, line := range examples {
		var args []string
		for _, word := range quoted.FindAllString(line, -1) {
			args = append(args, strings.Trim(word, `"`))
		}
		status, _, stderr := turnwright(t.Context(), append(args[1:], "--data", data)...)
		assert.Equal(t, exitOK, status, "%s: %s", line, stderr)
		assert.FileExists(t, args[len(args)-1])
	}
}

// With few arrows they are drawn; with many the state after is shown, unless they are
// asked for.
func TestDrawChoosesArrows(t *testing.T) {
	data := t.TempDir()
	for _, c := range []struct {
		sequence string
		flags    []string
		arrows   bool
	}{
		{"R U R' U'", nil, true},
		{"R U R' U'", []string{"--arrows", "none"}, false},
		{"R U2 F' L D B2 R U2 F' L D B2", nil, false},
		{"R U2 F' L D B2 R U2 F' L D B2", []string{"--arrows", "all"}, true},
		{"", nil, false},
	} {
		status, stdout, stderr := turnwright(t.Context(), append([]string{"draw", "--data", data, "--puzzle", "5x5x5", c.sequence}, c.flags...)...)
		require.Equal(t, exitOK, status, stderr)
		assert.Equal(t, c.arrows, strings.Contains(stdout, ` of 2`) || strings.Contains(stdout, "a cycle of"), c)
	}
}

func TestBadDrawings(t *testing.T) {
	data := t.TempDir()
	seven := "1 2 3 4 5 6 7"
	for _, c := range []struct {
		status     int
		args, want string
	}{
		{exitNotFound, "--puzzle pebble", "pebble"},
		{exitUsage, "", "puzzle"},
		{exitUsage, "--puzzle 3x3x3 R Q", "line 1, column 3"},
		{exitUsage, "--puzzle 3x3x3 --as cube", "view, net"},
		{exitUsage, "--puzzle 3x3x3 --width 99", "must be 100 to 4000"},
		{exitUsage, "--puzzle 3x3x3 --width 4001", "must be 100 to 4000"},
		{exitUsage, "--puzzle 3x3x3 --width -1", "must be 100 to 4000"},
		{exitUsage, "--puzzle 3x3x3 --turn 1,2,3,4", "at most three"},
		{exitUsage, "--puzzle 3x3x3 --turn up", "turn"},
		{exitUsage, "--puzzle 3x3x3 --turn NaN", "use -360 to 360"},
		{exitUsage, "--puzzle 3x3x3 --turn 1000", "use -360 to 360"},
		{exitUsage, "--puzzle 3x3x3 --from Q", "no axis"},
		{exitUsage, "--puzzle 3x3x3 --as net --from U", "about a view"},
		{exitUsage, "--puzzle 3x3x3 --as net --far mirror", "about a view"},
		{exitUsage, "--puzzle 3x3x3 --as model --to x.svg", "leave out --sheet"},
		{exitUsage, "--puzzle 3x3x3 --to x.PNG", "ends with .svg or .pdf"},
		{exitUsage, "--puzzle 3x3x3 --arrows wing", "no pieces of type"},
		{exitUsage, "--puzzle 3x3x3 --pale wing", "no pieces of type"},
		{exitUsage, "--puzzle 3x3x3 --highlight wing", "no pieces of type"},
		{exitUsage, "--puzzle 3x3x3 --mark UD", "no such slot"},
		{exitUsage, "--puzzle 3x3x3 --mark edge:UFR", "no such slot"},
		{exitUsage, "--puzzle 3x3x3 --sheet", "give 1 to 6"},
		{exitUsage, "--puzzle 3x3x3 --sheet " + seven, "give 1 to 6"},
		{exitUsage, "--puzzle 3x3x3 --sheet R Q", "sequence 2"},
		{exitUsage, "--puzzle 3x3x3 --sheet --width 500 R", "none of the others can be"},
		{exitUsage, "--puzzle 3x3x3 --to /nowhere/at/all.svg", "--to"},
		{exitUsage, "--puzzle 3x3x3 --to x.svg --output json", "leave out --to"},
	} {
		t.Run(c.args, func(t *testing.T) {
			status, stdout, stderr := turnwright(t.Context(), append([]string{"draw", "--data", data}, strings.Fields(c.args)...)...)
			assert.Equal(t, c.status, status, stderr)
			assert.Empty(t, stdout)
			assert.Contains(t, stderr, c.want)
			assert.NotContains(t, stderr, "rpc error")
		})
	}
}
