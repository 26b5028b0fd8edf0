package shelf

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"sync"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"turnwright/server/engine"
)

// depot is where tables come from in these tests; each takes a second.
type depot struct {
	mu      sync.Mutex
	fetched map[string]int
	freed   map[string]int
	fail    func(key string) error
}

func newDepot() *depot {
	return &depot{fetched: map[string]int{}, freed: map[string]int{}, fail: func(string) error { return nil }}
}

func (d *depot) fetch(ctx context.Context, t engine.Table, _ Watch) (engine.Content, bool, func(), error) {
	d.mu.Lock()
	d.fetched[t.Key]++
	d.mu.Unlock()
	select {
	case <-time.After(time.Second):
	case <-ctx.Done():
		return nil, false, nil, ctx.Err()
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	if err := d.fail(t.Key); err != nil {
		return nil, false, nil, err
	}
	return content{}, false, func() {
		d.mu.Lock()
		defer d.mu.Unlock()
		d.freed[t.Key]++
	}, nil
}

// times tells how often a table was fetched.
func (d *depot) times(key string) int {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.fetched[key]
}

// users tells how many use a table that is here.
func (s *Shelf) users(key string) int {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.items[key].users
}

type content struct{ engine.Content }

type silent struct{}

func (silent) Loading()       {}
func (silent) Building()      {}
func (silent) Entries(uint64) {}

func table(key string) engine.Table { return engine.Table{Key: key, Bytes: 10} }

func TestATableIsFetchedOnceForAll(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := newDepot()
		s := New(d.fetch, 100)
		var fresh atomic.Int64
		for range 10 {
			go func() {
				c, cached, release, err := s.Take(t.Context(), table("a"), silent{})
				require.NoError(t, err)
				assert.NotNil(t, c)
				if !cached {
					fresh.Add(1)
				}
				time.Sleep(time.Second)
				release()
				release() // once is enough
			}()
		}
		time.Sleep(1500 * time.Millisecond)
		assert.EqualValues(t, 10, s.Bytes())
		assert.Equal(t, 10, s.users("a"))
		time.Sleep(time.Second)
		assert.Equal(t, 0, s.users("a"))
		assert.Equal(t, 1, d.times("a"))
		assert.EqualValues(t, 1, fresh.Load())
		assert.Empty(t, d.freed)
	})
}

// Where there are more than the limit, those that nobody uses go, those first that
// have not been used longest; what is in use stays, whatever the limit says.
func TestUnusedTablesMakeRoom(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := newDepot()
		s := New(d.fetch, 30)
		take := func(key string) func() {
			_, _, release, err := s.Take(t.Context(), table(key), silent{})
			require.NoError(t, err)
			return release
		}
		a := take("a")
		take("b")()
		take("c")()
		take("b")() // later than c
		d4 := take("d")
		assert.Equal(t, map[string]int{"c": 1}, d.freed)
		e, f := take("e"), take("f")
		assert.Equal(t, map[string]int{"c": 1, "b": 1}, d.freed)
		assert.EqualValues(t, 40, s.Bytes(), "all four are in use")
		d4()
		assert.Equal(t, map[string]int{"c": 1, "b": 1, "d": 1}, d.freed)
		a()
		e()
		f()
		assert.EqualValues(t, 30, s.Bytes())
		assert.True(t, s.Has([]engine.Table{table("a"), table("e")}))
		assert.False(t, s.Has([]engine.Table{table("a"), table("b")}))
		s.Clear()
		assert.Zero(t, s.Bytes())
		assert.Equal(t, map[string]int{"a": 1, "b": 1, "c": 1, "d": 1, "e": 1, "f": 1}, d.freed)
		take("a")()
		assert.EqualValues(t, 10, s.Bytes(), "the limit is as before")
	})
}

// Who fetches and gives up leaves the others to do it.
func TestWhoWaitsFetchesWhereTheFirstGaveUp(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := newDepot()
		s := New(d.fetch, 100)
		ctx, cancel := context.WithCancel(t.Context())
		var done atomic.Int64
		go func() {
			_, _, _, err := s.Take(ctx, table("a"), silent{})
			assert.ErrorIs(t, err, context.Canceled)
			done.Add(1)
		}()
		synctest.Wait()
		for range 3 {
			go func() {
				_, _, release, err := s.Take(t.Context(), table("a"), silent{})
				require.NoError(t, err)
				release()
				done.Add(1)
			}()
		}
		synctest.Wait()
		waiting, giveUp := context.WithCancel(t.Context())
		go func() {
			_, _, _, err := s.Take(waiting, table("a"), silent{})
			assert.ErrorIs(t, err, context.Canceled)
			done.Add(1)
		}()
		synctest.Wait()
		giveUp()
		synctest.Wait()
		assert.EqualValues(t, 1, done.Load(), "who only waits may go")
		cancel()
		time.Sleep(3 * time.Second)
		assert.EqualValues(t, 5, done.Load())
		assert.Equal(t, 2, d.times("a"))
		assert.Equal(t, 0, s.users("a"))
	})
}

// A table that can't be fetched is no table, and takes no room.
func TestAFetchThatFails(t *testing.T) {
	for _, how := range []string{"an error", "a panic"} {
		synctest.Test(t, func(t *testing.T) {
			d := newDepot()
			failing := errors.New("no such table")
			d.fail = func(string) error {
				if how == "a panic" {
					panic(failing)
				}
				return failing
			}
			s := New(d.fetch, 100)
			var failed atomic.Int64
			for range 3 {
				go func() {
					_, _, _, err := s.Take(t.Context(), table("a"), silent{})
					assert.ErrorContains(t, err, "no such table")
					failed.Add(1)
				}()
			}
			time.Sleep(5 * time.Second)
			assert.EqualValues(t, 3, failed.Load())
			assert.Equal(t, 3, d.times("a"), "each for itself")
			assert.Zero(t, s.Bytes())
			assert.False(t, s.Has([]engine.Table{table("a")}))
			d.mu.Lock()
			d.fail = func(string) error { return nil }
			d.mu.Unlock()
			_, _, release, err := s.Take(t.Context(), table("a"), silent{})
			require.NoError(t, err)
			release()
		})
	}
}

func TestMappedTables(t *testing.T) {
	dir := t.TempDir()
	write := func(name, text string) string {
		path := filepath.Join(dir, name)
		require.NoError(t, os.WriteFile(path, []byte(text), 0o600))
		return path
	}
	readable := engine.Table{Map: func(data []byte) (engine.Content, error) {
		if string(data) != "a table" {
			return nil, fmt.Errorf("%q is no table", data)
		}
		return content{}, nil
	}}
	path := write("good", "a table")
	c, free, err := Mapped(readable, path)
	require.NoError(t, err)
	assert.NotNil(t, c)
	require.NoError(t, os.Remove(path), "its name may go")
	free()
	_, _, err = Mapped(readable, write("bad", "another thing"))
	require.ErrorContains(t, err, "is no table")
	_, _, err = Mapped(readable, write("empty", ""))
	require.ErrorContains(t, err, "it is empty")
	_, _, err = Mapped(readable, filepath.Join(dir, "missing"))
	require.ErrorIs(t, err, os.ErrNotExist)
}
