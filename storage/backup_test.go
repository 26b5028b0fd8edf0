package storage_test

import (
	"bytes"
	"context"
	"crypto/sha256"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"turnwright/storage"
	"turnwright/storage/storagetest"
)

func backup(t testing.TB, s *storage.Store) []byte {
	t.Helper()
	r, err := s.Backup(t.Context(), "v1")
	require.NoError(t, err)
	data, err := io.ReadAll(r)
	require.NoError(t, err)
	require.NoError(t, r.Close())
	return data
}

func restore(t testing.TB, dir string, data []byte) (storage.BackupInfo, error) {
	t.Helper()
	return storage.Restore(t.Context(), bytes.NewReader(data), storage.Options{Dir: dir, Free: plenty})
}

// filled is a store with many records of every kind, more than one part of a backup.
func filled(t testing.TB) *storage.Store {
	t.Helper()
	s := open(t, storagetest.Unpack(t, "../testdata/storage/schema-1.tar.gz"))
	t.Cleanup(func() { require.NoError(t, s.Close()) })
	running(t, s, "large", 4)
	for unit := range 4 {
		u := storage.Unit{Length: 1, Index: unit, Leaves: 10}
		for i := range 1000 {
			id := fmt.Sprintf("c%d", 1+unit*1000+i)
			u.Found = append(u.Found, storage.Finding{ID: id, Class: i, Size: 6, Text: "a b c " + id, Length: 1, Axes: 3})
		}
		_, err := s.CommitUnit(t.Context(), "large", u)
		require.NoError(t, err)
	}
	return s
}

func TestABackupHasAllAndCanBeRestored(t *testing.T) {
	s := filled(t)
	want := listing(t, s)
	data := backup(t, s)
	info, err := storage.CheckBackup(t.Context(), bytes.NewReader(data))
	require.NoError(t, err)
	assert.Equal(t, storage.Schema, info.Schema)
	assert.Equal(t, "v1", info.Version)
	assert.Greater(t, info.Records, 3*4000)

	// What is done to the store afterwards is not in it.
	_, err = s.Move(t.Context(), storage.Request{}, "running", storage.Cancelled, storage.Detail{})
	require.NoError(t, err)

	dir := filepath.Join(t.TempDir(), "deep", "down")
	restored, err := restore(t, dir, data)
	require.NoError(t, err)
	assert.Equal(t, info, restored)
	again := open(t, dir)
	defer again.Close()
	assert.Equal(t, string(want), string(listing(t, again)))

	// It is a store of its own, and whole: it can be written, and backed up.
	before, err := s.TokenKey()
	require.NoError(t, err)
	after, err := again.TokenKey()
	require.NoError(t, err)
	assert.NotEqual(t, before, after, "cursors of the one are none of the other")
	created, err := again.CreateSearch(t.Context(), storage.Request{}, "next", storage.Spec{})
	require.NoError(t, err)
	large, err := again.Search(t.Context(), "large")
	require.NoError(t, err)
	assert.Equal(t, large.Number+1, created.Number)
	_, err = restore(t, t.TempDir(), backup(t, again))
	assert.NoError(t, err)
}

// Answers to requests live on for as long as they would have.
func TestARestoredStoreKnowsRepeatedRequests(t *testing.T) {
	s := fresh(t)
	r := storage.Request{ID: "req-1", Digest: [32]byte{1}}
	first, err := s.CreateSearch(t.Context(), r, "night", storage.Spec{Max: 9})
	require.NoError(t, err)
	dir := t.TempDir()
	_, err = restore(t, dir, backup(t, s))
	require.NoError(t, err)
	again := open(t, dir)
	defer again.Close()
	repeated, err := again.CreateSearch(t.Context(), r, "night", storage.Spec{Max: 9})
	require.NoError(t, err)
	assert.Equal(t, first, repeated)
}

// One bit changed, one byte less or more, anywhere: it is refused, and nothing is made.
func TestADamagedBackupIsRefused(t *testing.T) {
	s := fresh(t)
	running(t, s, "night", 2)
	data := backup(t, s)
	refused := func(damaged []byte, what string) {
		_, err := storage.CheckBackup(t.Context(), bytes.NewReader(damaged))
		require.Error(t, err, what)
		dir := filepath.Join(t.TempDir(), "new")
		_, err = restore(t, dir, damaged)
		require.Error(t, err, what)
		require.NoDirExists(t, dir, what)
	}
	for at := 0; at < len(data); at += 1 + len(data)/300 {
		flipped := bytes.Clone(data)
		flipped[at] ^= 0x10
		refused(flipped, fmt.Sprintf("byte %d changed", at))
		refused(data[:at], fmt.Sprintf("cut off after %d bytes", at))
	}
	refused(append(bytes.Clone(data), 0), "one byte more")
	_, err := storage.CheckBackup(t.Context(), bytes.NewReader(data[:len(data)-1]))
	assert.ErrorIs(t, err, storage.ErrBackup)
	assert.ErrorContains(t, err, "it was cut off")
}

func FuzzCheckBackup(f *testing.F) {
	f.Add([]byte("turnwright backup\n"))
	s, err := storage.Open(storage.Options{Dir: f.TempDir(), Free: plenty})
	require.NoError(f, err)
	f.Add(backup(f, s))
	require.NoError(f, s.Close())
	f.Fuzz(func(t *testing.T, data []byte) {
		_, _ = storage.CheckBackup(context.Background(), bytes.NewReader(data))
	})
}

func TestOnlyAnEmptyDirectoryIsRestoredInto(t *testing.T) {
	s := fresh(t)
	data := backup(t, s)
	dir := t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(dir, "mine"), nil, 0o600))
	_, err := restore(t, dir, data)
	require.ErrorIs(t, err, storage.ErrExists)
	require.ErrorContains(t, err, "mine")
	require.NoError(t, os.Remove(filepath.Join(dir, "mine")))
	_, err = restore(t, dir, data)
	require.NoError(t, err)
	_, err = restore(t, dir, data)
	require.ErrorIs(t, err, storage.ErrExists)
	busy := open(t, dir)
	defer busy.Close()
	_, err = restore(t, dir, data)
	require.ErrorIs(t, err, storage.ErrLocked)
}

// A restore that died is not taken for an empty store, and can be done again.
func TestARestoreThatDiedIsNoStore(t *testing.T) {
	s := fresh(t)
	running(t, s, "night", 2)
	data := backup(t, s)
	dir := t.TempDir()
	require.NoError(t, os.MkdirAll(filepath.Join(dir, "restoring", "state"), 0o700))
	_, err := storage.Open(storage.Options{Dir: dir, Free: plenty})
	require.ErrorIs(t, err, storage.ErrRestoring)
	_, err = restore(t, dir, data)
	require.NoError(t, err)
	again := open(t, dir)
	defer again.Close()
	_, err = again.Search(t.Context(), "night")
	assert.NoError(t, err)
}

func TestABackupOfALaterSchemaIsRefused(t *testing.T) {
	body := backup(t, fresh(t))
	body = body[:len(body)-sha256.Size]
	now, later := fmt.Sprintf(`"schema":%d`, storage.Schema), fmt.Sprintf(`"schema":%d`, storage.Schema+1)
	body = bytes.Replace(body, []byte(now), []byte(later), 1)
	digest := sha256.Sum256(body)
	_, err := restore(t, t.TempDir(), append(body, digest[:]...))
	require.ErrorIs(t, err, storage.ErrSchema)
	assert.ErrorContains(t, err, fmt.Sprintf("schema %d", storage.Schema+1))
}
