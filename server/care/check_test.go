package care_test

import (
	"encoding/binary"
	"encoding/json"
	"errors"
	"path/filepath"
	"strings"
	"testing"

	"github.com/dgraph-io/badger/v4"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"turnwright/server/care"
	"turnwright/server/puzzles"
	"turnwright/storage"
	"turnwright/storage/storagetest"
)

// Numbers of searches in the archive.
const (
	night = 2
	home  = 3
)

// checked opens the archive after its records were changed, and checks it twice:
// to name what is wrong, and to repair it.
func checked(t *testing.T, change func(*badger.Txn) error) (said []string, sum care.Summary) {
	t.Helper()
	dir := storagetest.Unpack(t, "../../testdata/storage/schema-1.tar.gz")
	db, err := badger.Open(badger.DefaultOptions(filepath.Join(dir, "state")).WithMemTableSize(8 << 20).WithLogger(nil))
	require.NoError(t, err)
	require.NoError(t, db.Update(change))
	require.NoError(t, db.Close())
	s, err := storage.Open(storage.Options{Dir: dir})
	require.NoError(t, err)
	defer func() { require.NoError(t, s.Close()) }()
	for _, repair := range []bool{false, true} {
		said = nil
		sum, err = care.Check(t.Context(), s, puzzles.NewLibrary(s), repair, func(p storage.Problem) error {
			said = append(said, p.At+": "+p.What)
			return nil
		})
		require.NoError(t, err)
		assert.Len(t, said, sum.Problems)
	}
	return said, sum
}

// first changes fields of the first record under a prefix with the number of a search.
func first(prefix string, search uint64, fields map[string]any) func(*badger.Txn) error {
	return func(txn *badger.Txn) error {
		opt := badger.DefaultIteratorOptions
		opt.Prefix = binary.BigEndian.AppendUint64([]byte(prefix), search)
		it := txn.NewIterator(opt)
		defer it.Close()
		it.Rewind()
		if !it.Valid() {
			return errors.New("there is no such record")
		}
		value, err := it.Item().ValueCopy(nil)
		if err != nil {
			return err
		}
		record := map[string]any{}
		err = json.Unmarshal(value, &record)
		for k, v := range fields {
			record[k] = v
		}
		data, _ := json.Marshal(record)
		return errors.Join(err, txn.Set(it.Item().KeyCopy(nil), data))
	}
}

func TestWhatFindingsSayIsHeldAgainstTheirSequences(t *testing.T) {
	said, sum := checked(t, func(*badger.Txn) error { return nil })
	assert.Empty(t, said)
	assert.Equal(t, care.Summary{Searches: 5, Findings: 39}, sum)

	for name, c := range map[string]struct {
		change func(*badger.Txn) error
		says   string
	}{
		"another change":   {first("f/", night, map[string]any{"change": "0>2 2>4 4>0"}), "it should do"},
		"no change at all": {first("f/", night, map[string]any{"change": "?"}), "can't be read"},
		"another class":    {first("f/", night, map[string]any{"class": 7}), "its class: 7, should be"},
		"another size":     {first("f/", night, map[string]any{"size": 1}), "its cycles in its class: 1, should be"},
		"another solution": {first("f/", home, map[string]any{"size": 2}), "search home, finding w"},
		"a puzzle of nonsense": {func(txn *badger.Txn) error {
			return txn.Set([]byte("z/lantern"), []byte(`{"name":"lantern","aliases":["lamp"],"definition":"solid: lamp"}`))
		}, "puzzle lantern: it can't be built"},
		"a search of nonsense": {first("s/", ^uint64(night), map[string]any{"spec": map[string]any{"definition": "solid: lamp"}}), "search night: what it asks can't be understood"},
		"what can't be read":   {first("f/", night, map[string]any{"class": "x"}), "search night: not all could be looked at"},
	} {
		t.Run(name, func(t *testing.T) {
			said, sum := checked(t, c.change)
			assert.Contains(t, strings.Join(said, "\n"), c.says)
			assert.Positive(t, sum.Problems-sum.Repaired, "none of these can be repaired")
		})
	}
}
