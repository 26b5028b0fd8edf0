package main

import (
	"bytes"
	"os"
	"path/filepath"
	"testing"

	"github.com/dgraph-io/badger/v4"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"turnwright/storage/storagetest"
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
	status, _, stderr = run("backup", "--to", files, "--data", data)
	assert.Equal(t, exitUsage, status)
	assert.Contains(t, stderr, "it is no file")
	status, _, stderr = run("backup", "--to", filepath.Join(files, "nowhere", "b"), "--data", data)
	assert.Equal(t, exitUsage, status, stderr)
	left, err := filepath.Glob(filepath.Join(files, "*.part-*"))
	require.NoError(t, err)
	assert.Empty(t, left)
}

func TestCheckOnTheWholeWay(t *testing.T) {
	data := storagetest.Unpack(t, "../../testdata/storage/schema-1.tar.gz")
	status, stdout, stderr := turnwright(t.Context(), "check", "--data", data)
	require.Equal(t, exitOK, status, stderr)
	assert.Equal(t, "Checked 5 searches, 39 findings, 0 tables: all is right.\n", stdout)

	db, err := badger.Open(badger.DefaultOptions(filepath.Join(data, "state")).WithLogger(nil))
	require.NoError(t, err)
	require.NoError(t, db.Update(func(txn *badger.Txn) error { return txn.Delete([]byte("n/night")) }))
	require.NoError(t, db.Close())
	status, stdout, stderr = turnwright(t.Context(), "check", "--data", data)
	assert.Equal(t, exitOther, status)
	assert.Equal(t, "search night: it is not found by its name\nChecked 5 searches, 22 findings, 0 tables: 1 problem.\n", stdout)
	assert.Contains(t, stderr, "1 problem is left")
	status, stdout, stderr = turnwright(t.Context(), "check", "--data", data, "--repair", "--output", "json")
	require.Equal(t, exitOK, status, stderr)
	lines := objects(t, stdout)
	assert.Equal(t, map[string]any{"at": "search night", "what": "it is not found by its name", "repaired": true}, lines[0]["problem"])
	assert.EqualValues(t, 1, lines[1]["check"].(map[string]any)["repaired"])

	status, _, stderr = turnwright(t.Context(), "check", "--repair")
	assert.Equal(t, exitUsage, status)
	assert.Contains(t, stderr, "name its directory with --data")
	status, _, _ = turnwright(t.Context(), "check", "--data", filepath.Join(data, "nowhere"))
	assert.Equal(t, exitUsage, status)
}
