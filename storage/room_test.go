package storage

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"path/filepath"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"github.com/dgraph-io/badger/v4"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/sys/unix"
)

// table is a table of n chunks that nothing compresses.
func table(seed, n int) func(io.Writer) error {
	return func(w io.Writer) error {
		r := rand.NewChaCha8([32]byte{byte(seed)})
		_, err := io.CopyN(w, r, int64(n)*chunkSize)
		return err
	}
}

func withCache(t *testing.T, dir string, chunks int) *Store {
	t.Helper()
	s, err := Open(Options{
		Dir: dir, TableCache: int64(chunks) * chunkSize,
		Free: func(string) (uint64, error) { return 1 << 40, nil },
	})
	require.NoError(t, err)
	return s
}

func discard(r io.Reader) error { _, err := io.Copy(io.Discard, r); return err }

// cachedKeys loads every table of the list and says which are there, without that
// counting as a use.
func cachedKeys(s *Store) string {
	var out []byte
	for key := 'a'; key <= 'h'; key++ {
		if _, err := s.tables.manifest(string(key)); err == nil {
			out = append(out, byte(key))
		}
	}
	return string(out)
}

func TestTheTableUsedLongestAgoMakesRoom(t *testing.T) {
	synctest.Test(t, func(t *testing.T) { // each step takes a minute
		s := withCache(t, t.TempDir(), 10)
		put := func(key string, chunks int) error {
			time.Sleep(time.Minute)
			return s.PutTable(t.Context(), key, table(int(key[0]), chunks))
		}
		use := func(key string) {
			time.Sleep(time.Minute)
			require.NoError(t, s.LoadTable(t.Context(), key, discard))
		}
		require.NoError(t, put("a", 3))
		require.NoError(t, put("b", 3))
		require.NoError(t, put("c", 3))
		assert.Equal(t, "abc", cachedKeys(s))
		shared, err := s.ShareTable(t.Context(), "b")
		require.NoError(t, err)
		use("a")
		require.NoError(t, put("d", 3))
		assert.Equal(t, "acd", cachedKeys(s))
		assert.NoFileExists(t, shared.Path)
		require.NoError(t, put("e", 7))
		assert.Equal(t, "de", cachedKeys(s))
		require.NoError(t, put("d", 1)) // instead of the one before
		require.NoError(t, put("f", 2))
		assert.Equal(t, "def", cachedKeys(s))
		bytes, limit, tables := s.TableUse()
		assert.Equal(t, []int64{10, 10, 3}, []int64{bytes / chunkSize, limit / chunkSize, int64(tables)})

		// One that is being read stays, and the others go before it.
		err = s.LoadTable(t.Context(), "e", func(r io.Reader) error {
			require.NoError(t, put("g", 3))
			assert.Equal(t, "eg", cachedKeys(s))
			assert.ErrorIs(t, put("h", 4), ErrNoRoom)
			assert.Equal(t, "eg", cachedKeys(s), "none went in vain")
			return discard(r)
		})
		require.NoError(t, err)
		require.NoError(t, put("h", 8))
		assert.Equal(t, "h", cachedKeys(s))
		assert.ErrorIs(t, put("a", 11), ErrNoRoom)
		require.NoError(t, s.Close())
	})
}

// What was used last is known to the next process, and so is a smaller limit.
func TestUsesOutliveAProcess(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		dir := t.TempDir()
		s := withCache(t, dir, 10)
		for _, key := range []string{"a", "b", "c"} {
			require.NoError(t, s.PutTable(t.Context(), key, table(int(key[0]), 3)))
			time.Sleep(time.Minute)
		}
		time.Sleep(noteEvery)
		require.NoError(t, s.LoadTable(t.Context(), "a", discard)) // noted
		time.Sleep(time.Minute)
		require.NoError(t, s.LoadTable(t.Context(), "b", discard)) // noted
		time.Sleep(time.Minute)
		require.NoError(t, s.LoadTable(t.Context(), "a", discard)) // too soon to be noted again
		require.NoError(t, s.Close())
		s = withCache(t, dir, 6)
		assert.Equal(t, "ab", cachedKeys(s))
		require.NoError(t, s.Close())
		s = withCache(t, dir, 3)
		assert.Equal(t, "b", cachedKeys(s))
		require.NoError(t, s.Close())
	})
}

// used is how many bytes of disk a directory takes.
func used(t *testing.T, dir string) (bytes int64) {
	t.Helper()
	require.NoError(t, filepath.Walk(dir, func(path string, _ os.FileInfo, err error) error {
		var s unix.Stat_t
		if err == nil && unix.Stat(path, &s) == nil {
			bytes += s.Blocks * 512
		}
		return nil
	}))
	return bytes
}

// A dropped table gives its disk back.
func TestADroppedTableGivesItsDiskBack(t *testing.T) {
	dir := t.TempDir()
	s := withCache(t, dir, 1000)
	defer s.Close()
	require.NoError(t, s.PutTable(t.Context(), "kept", table(1, 20)))
	require.NoError(t, s.PutTable(t.Context(), "large", table(2, 160)))
	with := used(t, dir)
	require.NoError(t, s.DropTable(t.Context(), "large"))
	without := used(t, dir)
	t.Logf("%d MiB with it, %d MiB without", with>>20, without>>20)
	assert.Greater(t, with-without, int64(60<<20))
	require.NoError(t, s.LoadTable(t.Context(), "kept", discard))
}

// Tables go while the disk is too full for new work, as many as it takes.
func TestTablesGiveWayToNewWork(t *testing.T) {
	var others atomic.Int64
	dir := t.TempDir()
	s, err := Open(Options{Dir: dir, TableCache: 1 << 40, Reserve: 100 * chunkSize, Free: func(string) (uint64, error) {
		return uint64(300*chunkSize - others.Load() - used(t, filepath.Join(dir, "tables"))), nil
	}})
	require.NoError(t, err)
	defer s.Close()
	for _, key := range []string{"a", "b", "c"} {
		require.NoError(t, s.PutTable(t.Context(), key, table(int(key[0]), 20)))
	}
	require.NoError(t, s.DiskLow())
	others.Store(300*chunkSize - used(t, filepath.Join(dir, "tables")) - 70*chunkSize) // 30 too little
	require.ErrorIs(t, s.DiskLow(), ErrDiskLow)
	s.reclaim(t.Context())
	require.NoError(t, s.DiskLow())
	assert.Equal(t, "c", cachedKeys(s))
}

// A deleted search gives its disk back, when the store next looks.
func TestADeletedSearchGivesItsDiskBack(t *testing.T) {
	if testing.Short() {
		t.Skip("writes 24,000 findings")
	}
	dir := t.TempDir()
	s := withCache(t, dir, 1)
	defer s.Close()
	ctx := context.Background()
	_, err := s.CreateSearch(ctx, Request{}, "large", Spec{})
	require.NoError(t, err)
	for _, to := range []State{Preparing, Running} {
		_, err := s.Move(ctx, Request{}, "large", to, Detail{})
		require.NoError(t, err)
	}
	_, err = s.BeginLength(ctx, "large", LengthPlan{Length: 1, Units: 100})
	require.NoError(t, err)
	for i := range 60 {
		u := Unit{Length: 1, Index: i}
		for j := range 400 {
			text := fmt.Sprintf("%d %d %s", i, j, bytes.Repeat([]byte("x"), 300))
			u.Found = append(u.Found, Finding{ID: fmt.Sprint(i, "-", j), Length: 1, Text: text})
		}
		_, err := s.CommitUnit(ctx, "large", u)
		require.NoError(t, err)
	}
	with := used(t, filepath.Join(dir, "state"))
	_, err = s.Move(ctx, Request{}, "large", Cancelled, Detail{})
	require.NoError(t, err)
	require.NoError(t, s.DeleteSearch(ctx, Request{}, "large"))
	require.NoError(t, s.sweep(ctx))
	swept := used(t, filepath.Join(dir, "state"))
	s.reclaim(ctx)
	without := used(t, filepath.Join(dir, "state"))
	t.Logf("%d KiB with it, %d KiB swept, %d KiB reclaimed", with>>10, swept>>10, without>>10)
	require.NoError(t, s.state.View(func(txn *badger.Txn) error {
		return scan(txn, []byte("f/"), nil, false, func(*badger.Item) (bool, error) { return false, io.ErrUnexpectedEOF })
	}))
	assert.Less(t, without, swept*3/4)
}
