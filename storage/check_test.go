package storage_test

import (
	"context"
	"encoding/binary"
	"encoding/json"
	"errors"
	"path/filepath"
	"strings"
	"testing"

	"github.com/dgraph-io/badger/v4"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"turnwright/storage"
	"turnwright/storage/storagetest"
)

// check gives the problems of a store as lines.
func check(t *testing.T, s *storage.Store, repair bool) (lines []string, left int) {
	t.Helper()
	require.NoError(t, s.Check(t.Context(), repair, func(p storage.Problem) error {
		lines = append(lines, p.At+": "+p.What)
		if !p.Repaired {
			left++
		}
		return nil
	}))
	return lines, left
}

// damaged opens a directory after its database was changed behind its back.
func damaged(t *testing.T, dir, database string, damage func(*badger.Txn) error) *storage.Store {
	t.Helper()
	db, err := badger.Open(badger.DefaultOptions(filepath.Join(dir, database)).WithMemTableSize(8 << 20).WithLogger(nil))
	require.NoError(t, err)
	require.NoError(t, db.Update(damage))
	require.NoError(t, db.Close())
	s := open(t, dir)
	t.Cleanup(func() { require.NoError(t, s.Close()) })
	return s
}

// key is a prefix and the number of a search.
func key(prefix string, number uint64) string {
	return string(binary.BigEndian.AppendUint64([]byte(prefix), number))
}

func gone(prefix string) func(*badger.Txn) error {
	return func(txn *badger.Txn) error {
		return onKey(txn, prefix, 0, func(k, _ []byte) error { return txn.Delete(k) })
	}
}

func with(k, value string) func(*badger.Txn) error {
	return func(txn *badger.Txn) error { return txn.Set([]byte(k), []byte(value)) }
}

// changed changes fields of the first record under a prefix.
func changed(prefix string, change func(record map[string]any)) func(*badger.Txn) error {
	return func(txn *badger.Txn) error {
		return onKey(txn, prefix, 0, func(k, value []byte) error {
			var record map[string]any
			err := json.Unmarshal(value, &record)
			change(record)
			data, _ := json.Marshal(record)
			return errors.Join(err, txn.Set(k, data))
		})
	}
}

func both(damages ...func(*badger.Txn) error) func(*badger.Txn) error {
	return func(txn *badger.Txn) error {
		var errs []error
		for _, d := range damages {
			errs = append(errs, d(txn))
		}
		return errors.Join(errs...)
	}
}

// Everything that follows from other records is damaged on purpose, one thing after
// the other. It is named, and repaired, and then all is as it was.
//
// In the archive search 2 is night, with several findings for each class, 6 is
// running, and 1 was deleted.
func TestWhatIsDamagedIsNamedAndRepaired(t *testing.T) {
	const night, runs = 2, 6
	for name, c := range map[string]struct {
		damage func(*badger.Txn) error
		says   []string // parts of lines, in any order
		left   bool     // some can't be repaired
	}{
		"a search without its name":     {gone("n/night"), []string{"search night: it is not found by its name"}, false},
		"a name of another search":      {with("n/night", "6"), []string{"search night: it is not found by its name"}, false},
		"not found by what it asks":     {gone("q/"), []string{": it is not found by what it asks"}, false},
		"a question of no search":       {with("q/0123456789abcdef\x00\x00\x00\x00\x00\x00\x00\x4d", ""), []string{"question 30313233343536373839616263646566000000000000004d: it leads nowhere"}, false},
		"a name of no search":           {with("n/nobody", "77"), []string{"search nobody: the name leads nowhere"}, false},
		"not listed as active":          {gone(key("a/", runs)), []string{"search running: it is not listed among those that have not ended"}, false},
		"listed as active":              {with(key("a/", night), ""), []string{"search number 2: it is listed among those that have not ended, but it has"}, false},
		"a count of active searches":    {with("m/active", "7"), []string{"the number of searches that have not ended: it is not 2"}, false},
		"no count of active searches":   {gone("m/active"), []string{"the number of searches that have not ended: it is not 2"}, false},
		"a next number that was given":  {with("m/next", "3"), []string{"the number of the next search: it was given already"}, false},
		"a puzzle without its name":     {gone("y/lantern"), []string{`puzzle lantern: it is not found by the name "lantern"`}, false},
		"a puzzle without an alias":     {gone("y/lamp"), []string{`puzzle lantern: it is not found by the name "lamp"`}, false},
		"a name of no puzzle":           {with("y/moon", `"moon"`), []string{"puzzle moon: the name leads nowhere"}, false},
		"a finding without its name":    {gone(key("i/", night)), []string{"search night, finding c1: it is not found by its name"}, false},
		"a finding under another's key": {with(key("i/", night)+"c1", "f/"), []string{"search night, finding c1: it is not found by its name"}, false},
		"a name of no finding":          {with(key("i/", night)+"c77", "f/"), []string{"search night, finding c77: the name leads nowhere"}, false},
		"a finding without its event":   {gone(key("e/", night)), []string{"it is not found by its event"}, false},
		"an event of no finding":        {with(key(key("e/", night), 1000), "f/"), []string{"search night, event 1000: the event leads nowhere"}, false},
		"a counter of findings":         {changed(key("p/", night), func(p map[string]any) { p["findings"] = 1 }), []string{"search night: findings: counted as 1, are"}, false},
		"a counter of units": {changed(key("p/", runs), func(p map[string]any) {
			p["lengths"].([]any)[11].(map[string]any)["done"] = 9
			p["proven"] = 11
		}), []string{"search running: proven lengths: counted as 11, are 12; length 12: units done: counted as 9, are 5"}, false},
		"counters of classes and words": {changed(key("p/", night), func(p map[string]any) {
			l := p["lengths"].([]any)[7].(map[string]any)
			l["classes"], l["cycles"], l["covered"] = 0, 0, 0
			p["events"] = 3
		}), []string{"length 8: covered: counted as 0", "length 8: classes: counted as 0", "length 8: cycles: counted as 0", "events: counted as 3"}, false},
		"a lease of a unit that is done": {with(key("l/", runs)+"\x00\x01\x00\x00\x00\x00", "{}"), []string{"search running, unit 0 of length 1: it is done and has a lease still"}, false},
		"what a search left":             {both(with(key("u/", 99)+"\x00\x01\x00\x00\x00\x00", "{}"), with(key("f/", 99)+"x", "{}")), []string{"search number 99: there are records of it, but not itself"}, false},
		"a key that is cut":              {with("f/zz", "{}"), []string{`key "f/zz": it has no number`}, false},
		"all of them at once": {both(gone("n/night"), gone(key("a/", runs)), gone("m/active"), gone(key("i/", night)), gone(key("e/", night)), gone("y/lamp")),
			[]string{"search night: it is not found", "search running: it is not listed", "it is not 2", "by its name", "by its event", `"lamp"`}, false},
	} {
		t.Run(name, func(t *testing.T) {
			dir := storagetest.Unpack(t, "../testdata/storage/schema-1.tar.gz")
			s := open(t, dir)
			lines, _ := check(t, s, false)
			require.Empty(t, lines, "before it is damaged")
			want := listing(t, s)
			require.NoError(t, s.Close())

			s = damaged(t, dir, "state", c.damage)
			lines, left := check(t, s, false)
			said := strings.Join(lines, "\n")
			for _, part := range c.says {
				assert.Contains(t, said, part)
			}
			assert.Len(t, lines, left, "nothing was repaired")
			again, left := check(t, s, true)
			assert.Equal(t, lines, again)
			assert.Zero(t, left)
			lines, _ = check(t, s, false)
			assert.Empty(t, lines, "after the repair")
			assert.Equal(t, string(want), string(listing(t, s)))
		})
	}
}

// What only a backup can bring back is named, and left as it is.
func TestWhatIsLostIsNamedAndLeft(t *testing.T) {
	for name, c := range map[string]struct {
		damage func(*badger.Txn) error
		says   string
	}{
		"a finding that can't be read": {func(txn *badger.Txn) error {
			return onKey(txn, key("f/", 2), 0, func(k, _ []byte) error { return txn.Set(k, []byte("{")) })
		}, "search night: the finding at"},
		"a finding out of its place": {changed(key("f/", 2), func(f map[string]any) { f["length"] = 3 }), "or is out of its place"},
		"a unit that can't be read":  {with(key("u/", 2)+"\x00\x01\x00\x00\x00\x00", "-"), "search night: the unit at"},
		"a unit of no plan":          {with(key("u/", 2)+"\x00\x63\x00\x00\x00\x07", "{}"), "search night, unit 7 of length 99: there is no such unit in the plan"},
		"no progress":                {gone(key("p/", 2)), "search night: its progress is missing or can't be read"},
		"no submission":              {with(key("s/", ^uint64(2)), "{"), "search number 2: its record can't be read"},
		"a puzzle":                   {with("z/lantern", "{"), "puzzle lantern: its record can't be read"},
	} {
		t.Run(name, func(t *testing.T) {
			s := damaged(t, storagetest.Unpack(t, "../testdata/storage/schema-1.tar.gz"), "state", c.damage)
			first, left := check(t, s, true)
			assert.Contains(t, strings.Join(first, "\n"), c.says)
			assert.Positive(t, left)
			again, left := check(t, s, true)
			assert.Len(t, again, left, "the rest was repaired")
			assert.Contains(t, strings.Join(again, "\n"), c.says)
		})
	}
}

// Two findings under one name, and two with one event.
func TestFindingsThatShareAreToldApart(t *testing.T) {
	dir := storagetest.Unpack(t, "../testdata/storage/schema-1.tar.gz")
	copied := func(change func(f map[string]any) (k string)) func(*badger.Txn) error {
		return func(txn *badger.Txn) error {
			return onKey(txn, key("f/", 2), 0, func(_, value []byte) error {
				var f map[string]any
				err := json.Unmarshal(value, &f)
				k := change(f)
				data, _ := json.Marshal(f)
				return errors.Join(err, txn.Set([]byte(k), data))
			})
		}
	}
	s := damaged(t, dir, "state", both(
		copied(func(f map[string]any) string {
			f["length"], f["text"] = 99, "a1"
			return key("f/", 2) + "\x00\x63" + string(rune(f["axes"].(float64))) + "\x00\x02a1" + f["id"].(string)
		}),
		copied(func(f map[string]any) string {
			f["id"], f["length"], f["text"] = "c77", 98, "a1"
			return key("f/", 2) + "\x00\x62" + string(rune(f["axes"].(float64))) + "\x00\x02a1c77"
		}),
	))
	lines, left := check(t, s, true)
	said := strings.Join(lines, "\n")
	assert.Contains(t, said, "there is a better one of this name")
	assert.Contains(t, said, "finding c77: another finding has its event")
	assert.Contains(t, said, "finding c77: it is not found by its name")
	assert.Zero(t, left)
	lines, _ = check(t, s, false)
	assert.Empty(t, lines)
	f, err := s.Finding(t.Context(), "night", "c77")
	require.NoError(t, err)
	events, err := s.Events(t.Context(), "night", f.Event-1, 10)
	require.NoError(t, err)
	assert.Equal(t, []storage.Finding{f}, events)
}

// A search that took over what an equal one found has no units of its own for that.
func TestWhatWasTakenOverIsSound(t *testing.T) {
	s := open(t, storagetest.Unpack(t, "../testdata/storage/schema-1.tar.gz"))
	defer s.Close()
	ctx := context.Background()
	night, err := s.Search(ctx, "night")
	require.NoError(t, err)
	_, err = s.CreateSearch(ctx, storage.Request{}, "again", night.Spec)
	require.NoError(t, err)
	for _, to := range []storage.State{storage.Preparing, storage.Running} {
		_, err := s.Move(ctx, storage.Request{}, "again", to, storage.Detail{})
		require.NoError(t, err)
	}
	again, err := s.Adopt(ctx, "again", "night")
	require.NoError(t, err)
	require.Equal(t, night.Proven, again.Proven)
	lines, _ := check(t, s, true)
	assert.Empty(t, lines)
	after, err := s.Search(ctx, "again")
	require.NoError(t, err)
	assert.Equal(t, again, after)
}

func TestADamagedTableIsNamedAndDropped(t *testing.T) {
	dir := t.TempDir()
	s := open(t, dir)
	for _, table := range []string{"near", "pattern", "sound"} {
		require.NoError(t, s.PutTable(t.Context(), table, writes(noise(2<<20))))
	}
	lines, _ := check(t, s, false)
	require.Empty(t, lines)
	require.NoError(t, s.Close())
	s = damaged(t, dir, "tables", both(
		func(txn *badger.Txn) error {
			return onKey(txn, "c/", 1, func(k, value []byte) error {
				value[5000] ^= 1
				return txn.Set(k, value)
			})
		},
		func(txn *badger.Txn) error {
			return onKey(txn, "t/pattern", 0, func(k, value []byte) error {
				value[20] ^= 1
				return txn.Set(k, value)
			})
		},
	))
	lines, left := check(t, s, false)
	assert.Equal(t, 2, left)
	assert.Contains(t, lines[0], "table near: chunk 1 of 4: damaged")
	assert.Contains(t, lines[1], "table pattern: manifest: damaged")
	_, left = check(t, s, true)
	assert.Zero(t, left)
	lines, _ = check(t, s, false)
	assert.Empty(t, lines)
	_, err := load(s, "near")
	assert.ErrorIs(t, err, storage.ErrMiss)
	_, err = load(s, "sound")
	assert.NoError(t, err)
}
