package remote

import (
	"context"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	v1 "turnwright/api/turnwright/v1"
	"turnwright/server/work"
)

const tableSize = 40

// named is what a server calls the table of that letter, a hexadecimal digit.
func named(letter string) string { return "t" + strings.Repeat(letter, 32) }

// copies is a cache for a hundred bytes, with tables of forty.
type copies struct {
	cache
	t *testing.T
}

func newCopies(t *testing.T, dir string) copies {
	return copies{cache{dir: dir, limit: 100, log: slog.New(slog.DiscardHandler)}, t}
}

// use copies a table if it is not there, and has it in use.
func (c copies) use(letter string) *os.File {
	c.t.Helper()
	kept, err := c.open(named(letter), tableSize)
	require.NoError(c.t, err)
	if kept == nil {
		kept = c.finished(letter, c.begun())
	}
	return kept
}

func (c copies) begun() *os.File {
	c.t.Helper()
	file, err := c.begin(tableSize)
	require.NoError(c.t, err)
	return file
}

func (c copies) finished(letter string, file *os.File) *os.File {
	c.t.Helper()
	kept, err := c.finish(file, named(letter), tableSize)
	require.NoError(c.t, err)
	require.NotNil(c.t, kept)
	return kept
}

// used has a table in use, and then not any more since so many hours.
func (c copies) used(letter string, hours int) {
	c.t.Helper()
	kept := c.use(letter)
	c.leave(kept)
	at := time.Now().Add(-time.Duration(hours) * time.Hour)
	require.NoError(c.t, os.Chtimes(kept.Name(), at, at))
}

// holds is which tables there are, and other files by their names.
func (c copies) holds(want ...string) {
	c.t.Helper()
	entries, err := os.ReadDir(c.dir)
	require.NoError(c.t, err)
	there := []string{}
	for _, e := range entries {
		switch {
		case e.Name() == "lock":
		case tableID.MatchString(e.Name()):
			there = append(there, e.Name()[1:2])
		default:
			there = append(there, e.Name())
		}
	}
	assert.ElementsMatch(c.t, want, there)
}

func TestTablesThatWereNotUsedForLongestMakeRoom(t *testing.T) {
	c := newCopies(t, t.TempDir())
	c.used("a", 3)
	c.used("b", 4)
	c.used("c", 1)
	c.holds("a", "c")
	c.used("a", 0)
	c.used("d", 0)
	c.holds("a", "d")
	// Its last use is when that ended.
	a := c.use("a")
	require.NoError(t, os.Chtimes(a.Name(), time.Time{}, time.Now().Add(-9*time.Hour)))
	c.used("d", 2)
	c.leave(a)
	c.used("e", 0)
	c.holds("a", "e")
}

// What a worker uses stays, whoever wants room and however much there is, until it is killed
// or leaves it.
func TestWhatIsInUseStays(t *testing.T) {
	dir := t.TempDir()
	one, other := newCopies(t, dir), newCopies(t, dir)
	a, b, new := one.use("a"), one.use("b"), one.begun()
	c := other.use("c")
	other.holds("a", "b", "c", filepath.Base(new.Name()))
	require.NoError(t, new.Close()) // as if it were killed at it
	other.leave(other.use("d"))
	other.holds("a", "b", "c", "d")
	one.leave(a)
	other.leave(other.use("e"))
	other.holds("b", "c", "e")
	one.leave(b)
	other.leave(c)
	one.limit = 1
	require.NoError(t, one.trim())
	one.holds()

	one.limit = 1000
	require.NoError(t, one.begun().Close())
	require.NoError(t, one.trim())
	one.holds() // nobody finishes a copy of a worker that was killed
}

// Of two workers that copy the same table one is faster, and both use that copy.
func TestATableIsThereOnce(t *testing.T) {
	dir := t.TempDir()
	one, other := newCopies(t, dir), newCopies(t, dir)
	first, second := one.begun(), other.begun()
	a, same := one.finished("a", first), other.finished("a", second)
	defer a.Close()
	defer same.Close()
	x, err := a.Stat()
	require.NoError(t, err)
	y, err := same.Stat()
	require.NoError(t, err)
	assert.True(t, os.SameFile(x, y))
	one.holds("a")
}

// A directory may have other things in it, and it need not be there.
func TestOnlyTablesAreRemoved(t *testing.T) {
	c := newCopies(t, t.TempDir())
	for _, name := range []string{"notes", "t1", "new-year", named("a") + ".old"} {
		require.NoError(t, os.WriteFile(filepath.Join(c.dir, name), make([]byte, 1000), 0o600))
	}
	require.NoError(t, os.Mkdir(filepath.Join(c.dir, named("b")), 0o700))
	require.NoError(t, os.WriteFile(filepath.Join(c.dir, named("c")), nil, 0o600)) // cut off
	c.limit = 1
	require.NoError(t, c.trim())
	c.used("d", 0)
	c.used("e", 0)
	c.holds("notes", "t1", "new-year", named("a")+".old", "b", "e")
	c.dir = filepath.Join(c.dir, "nowhere")
	require.NoError(t, c.trim())
	assert.NoDirExists(t, c.dir)
}

// A worker leaves a table to the cache when it takes it out of its memory.
func TestAWorkerKeepsItsCacheSmall(t *testing.T) {
	const text = "a table of some length"
	d := &desk{pieces: [][]byte{[]byte(text)}}
	w := newWorker(d, t.TempDir())
	w.cache.limit = int64(len(text))
	c := copies{w.cache, t}
	fetch := func(letter string) (free func()) {
		t.Helper()
		d.located = &v1.LocateTableResponse{Id: named(letter), Size: int64(len(text)), Digest: digest(text), Host: "there"}
		ctx := context.WithValue(t.Context(), unitKey{}, work.ID{Search: "night", Length: 1, Epoch: 1})
		_, _, free, err := w.fetch(ctx, units{}.Tables()[0], nil)
		require.NoError(t, err, fmt.Sprint("table ", letter))
		return free
	}
	a := fetch("a")
	b := fetch("b")
	c.holds("a", "b")
	a()
	b()
	fetch("c")()
	c.holds("c")
}

func TestAWorkerThatStartsBringsItsCacheToItsSize(t *testing.T) {
	c := newCopies(t, t.TempDir())
	c.used("a", 2)
	c.used("b", 1)
	ctx, stop := context.WithCancel(t.Context())
	stop()
	require.NoError(t, run(ctx, Options{Client: &desk{}, Slots: 1, Cache: c.dir, TableCache: tableSize, Logger: c.log}, nil))
	c.holds("b")
}
