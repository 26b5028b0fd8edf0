package storage_test

import (
	"bytes"
	"context"
	"errors"
	"io"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"

	"github.com/dgraph-io/badger/v4"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"turnwright/storage"
)

// noise is n bytes that nothing compresses.
func noise(n int) []byte {
	data := make([]byte, n)
	r := rand.New(rand.NewPCG(1, uint64(n)))
	for i := range data {
		data[i] = byte(r.Uint32())
	}
	return data
}

func writes(data []byte) func(io.Writer) error {
	return func(w io.Writer) error {
		_, err := io.Copy(w, bytes.NewReader(data))
		return err
	}
}

func load(s *storage.Store, key string) ([]byte, error) {
	var data []byte
	err := s.LoadTable(context.Background(), key, func(r io.Reader) (err error) {
		data, err = io.ReadAll(r)
		return err
	})
	return data, err
}

func TestTablesComeBackAsTheyWent(t *testing.T) {
	dir := t.TempDir()
	s := open(t, dir)
	sizes := []int{0, 1, 512<<10 - 1, 512 << 10, 512<<10 + 1, 3 << 20}
	for _, n := range sizes {
		require.NoError(t, s.PutTable(t.Context(), string(rune('a'+n%7)), writes(noise(n))))
		got, err := load(s, string(rune('a'+n%7)))
		require.NoError(t, err)
		assert.True(t, bytes.Equal(noise(n), got), "%d bytes", n)
	}
	require.NoError(t, s.PutTable(t.Context(), "kept", writes(noise(1000))))
	require.NoError(t, s.PutTable(t.Context(), "kept", writes(noise(2000))))
	require.NoError(t, s.Close())

	s = open(t, dir)
	defer s.Close()
	got, err := load(s, "kept")
	require.NoError(t, err)
	assert.Equal(t, noise(2000), got, "the later one, over a restart")
	require.NoError(t, s.DropTable(t.Context(), "kept"))
	require.NoError(t, s.DropTable(t.Context(), "kept"))
	_, err = load(s, "kept")
	assert.ErrorIs(t, err, storage.ErrMiss)
}

func TestATableThatWasNotFinishedIsNotThere(t *testing.T) {
	s := fresh(t)
	broken := errors.New("out of words")
	err := s.PutTable(t.Context(), "k", func(w io.Writer) error {
		_, err := w.Write(noise(2 << 20))
		return errors.Join(err, broken)
	})
	require.ErrorIs(t, err, broken)
	_, err = load(s, "k")
	assert.ErrorIs(t, err, storage.ErrMiss)
}

func TestAnErrorOfTheReaderIsItsOwn(t *testing.T) {
	s := fresh(t)
	require.NoError(t, s.PutTable(t.Context(), "k", writes(noise(100))))
	refused := errors.New("another format")
	err := s.LoadTable(t.Context(), "k", func(io.Reader) error { return refused })
	assert.Equal(t, refused, err)
	_, err = load(s, "k")
	assert.NoError(t, err, "the table stays")
}

// Each case changes what is stored behind the back of the package.
func TestADamagedTableIsAMiss(t *testing.T) {
	flip := func(prefix string, nth, at int) func(*badger.Txn) error {
		return func(txn *badger.Txn) error {
			return onKey(txn, prefix, nth, func(key, value []byte) error {
				value[at] ^= 1
				return txn.Set(key, value)
			})
		}
	}
	swap := func(txn *badger.Txn) error {
		return onKey(txn, "c/", 0, func(a, first []byte) error {
			return onKey(txn, "c/", 1, func(b, second []byte) error {
				return errors.Join(txn.Set(a, second), txn.Set(b, first))
			})
		})
	}
	for name, damage := range map[string]func(*badger.Txn) error{
		"a bit in a chunk":          flip("c/", 1, 5000),
		"a bit in a checksum":       flip("c/", 2, 3),
		"a bit in the manifest":     flip("t/", 0, 20),
		"two sound chunks, swapped": swap,
		"a missing chunk": func(txn *badger.Txn) error {
			return onKey(txn, "c/", 1, func(key, _ []byte) error { return txn.Delete(key) })
		},
		"a chunk cut short": func(txn *badger.Txn) error {
			return onKey(txn, "c/", 1, func(key, value []byte) error { return txn.Set(key, value[:4]) })
		},
	} {
		t.Run(name, func(t *testing.T) {
			dir := t.TempDir()
			s := open(t, dir)
			require.NoError(t, s.PutTable(t.Context(), "k", writes(noise(2<<20))))
			require.NoError(t, s.Close())
			db, err := badger.Open(badger.DefaultOptions(filepath.Join(dir, "tables")).WithLogger(nil))
			require.NoError(t, err)
			require.NoError(t, db.Update(damage))
			require.NoError(t, db.Close())

			s = open(t, dir)
			defer s.Close()
			_, err = load(s, "k")
			require.ErrorIs(t, err, storage.ErrMiss)
			assert.ErrorContains(t, err, "damaged")
			_, err = load(s, "k")
			require.ErrorIs(t, err, storage.ErrMiss)
			assert.NotContains(t, err.Error(), "damaged", "it is gone")

			require.NoError(t, s.PutTable(t.Context(), "k", writes(noise(2<<20))))
			got, err := load(s, "k")
			require.NoError(t, err)
			assert.True(t, bytes.Equal(noise(2<<20), got))
		})
	}
}

func onKey(txn *badger.Txn, prefix string, nth int, do func(key, value []byte) error) error {
	opt := badger.DefaultIteratorOptions
	opt.Prefix = []byte(prefix)
	it := txn.NewIterator(opt)
	defer it.Close()
	for it.Rewind(); it.Valid(); it.Next() {
		if nth == 0 {
			value, err := it.Item().ValueCopy(nil)
			if err != nil {
				return err
			}
			return do(it.Item().KeyCopy(nil), value)
		}
		nth--
	}
	return errors.New("no such key")
}

// Bits that flip in the files themselves, anywhere: whatever Badger makes of
// them, the table is whole or missing, and can be made again.
func TestFlippedBitsInTheFilesAreFound(t *testing.T) {
	data := noise(4 << 20)
	dir := t.TempDir()
	s := open(t, dir)
	require.NoError(t, s.PutTable(t.Context(), "k", writes(data)))
	require.NoError(t, s.Close())
	files, err := filepath.Glob(filepath.Join(dir, "tables", "*.sst"))
	require.NoError(t, err)
	require.NotEmpty(t, files)
	size := len(read(t, files[0]))
	misses := 0
	for _, at := range []int{10, 1000, size / 2, size - 2000, size - 100, size - 1} {
		damaged := afterCrash(t, dir)
		path := filepath.Join(damaged, "tables", filepath.Base(files[0]))
		content := read(t, path)
		content[at] ^= 0x10
		require.NoError(t, os.WriteFile(path, content, 0o600))

		s := open(t, damaged)
		got, err := load(s, "k")
		if err != nil {
			require.ErrorIs(t, err, storage.ErrMiss, "byte %d", at)
			misses++
		} else {
			require.True(t, bytes.Equal(data, got), "byte %d", at)
		}
		require.NoError(t, s.PutTable(t.Context(), "k", writes(data)), "byte %d", at)
		got, err = load(s, "k")
		require.NoError(t, err, "byte %d", at)
		require.True(t, bytes.Equal(data, got))
		require.NoError(t, s.Close())
	}
	assert.GreaterOrEqual(t, misses, 3)
}

func read(t *testing.T, path string) []byte {
	t.Helper()
	data, err := os.ReadFile(path)
	require.NoError(t, err)
	return data
}
