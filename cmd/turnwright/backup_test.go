package main

import (
	"bytes"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestBackupAndRestoreOnTheWholeWay(t *testing.T) {
	data, files := t.TempDir(), t.TempDir()
	run := func(args ...string) (int, string, string) { return turnwright(t.Context(), args...) }
	definition := filepath.Join(files, "own.yaml")
	require.NoError(t, os.WriteFile(definition, []byte("name: own\nsolid: cube\naxes: [{at: faces, cuts: [1/2]}]\n"), 0o600))
	status, _, stderr := run("define", definition, "--data", data)
	require.Equal(t, exitOK, status, stderr)

	file := filepath.Join(files, "night.backup")
	require.NoError(t, os.WriteFile(file, []byte("an older one"), 0o600))
	status, stdout, stderr := run("backup", "--to", file, "--data", data, "--output", "json")
	require.Equal(t, exitOK, status, stderr)
	written := objects(t, stdout)[0]["backup"].(map[string]any)
	whole, err := os.ReadFile(file)
	require.NoError(t, err)
	assert.EqualValues(t, len(whole), written["bytes"])

	restored := filepath.Join(files, "restored")
	for name, damaged := range map[string][]byte{"cut.backup": whole[:len(whole)-1], "changed.backup": bytes.Replace(whole, []byte("cube"), []byte("cubf"), 1)} {
		path := filepath.Join(files, name)
		require.NoError(t, os.WriteFile(path, damaged, 0o600))
		status, _, stderr = run("restore", "--from", path, "--data", restored)
		assert.Equal(t, exitUsage, status)
		assert.Contains(t, stderr, "not a whole backup")
		assert.NoDirExists(t, restored)
	}
	status, stdout, stderr = run("restore", "--from", file, "--data", restored, "--output", "json")
	require.Equal(t, exitOK, status, stderr)
	assert.Equal(t, written["records"], objects(t, stdout)[0]["restored"].(map[string]any)["records"])
	status, stdout, stderr = run("puzzles", "--data", restored)
	require.Equal(t, exitOK, status, stderr)
	assert.Contains(t, stdout, "own")

	status, _, stderr = run("restore", "--from", file, "--data", restored)
	assert.Equal(t, exitUsage, status)
	assert.Contains(t, stderr, "restore into an empty directory")
	status, _, stderr = run("backup", "--to", filepath.Join(files, "nowhere", "b"), "--data", data)
	assert.Equal(t, exitUsage, status, stderr)
	left, err := filepath.Glob(filepath.Join(files, "*.part-*"))
	require.NoError(t, err)
	assert.Empty(t, left)
}
