package storage

import (
	"maps"
	"os"
	"path/filepath"
	"sync"
	"syscall"

	"github.com/dgraph-io/badger/v4"
)

// Figures are what a store can tell of itself at any time, at little cost.
type Figures struct {
	Searches map[State]int // how many are in which state; those that are deleted don't count
	Schema   int

	// Bytes on the disk: the tree of keys and small values with its log, and the log
	// of large ones.
	StateTree, StateLog   int64
	TablesTree, TablesLog int64

	Free    int64 // bytes that are free on the disk; -1 where the system doesn't say
	Reserve int64 // bytes that stay free
	Low     bool  // new work is refused for want of disk space
}

// Figures tells how the store is.
func (s *Store) Figures() Figures {
	f := Figures{Searches: s.tally.read(), Schema: Schema, Free: -1, Reserve: s.opt.Reserve, Low: s.DiskLow() != nil}
	f.StateTree, f.StateLog = onDisk(s.state.Opts().Dir)
	f.TablesTree, f.TablesLog = onDisk(s.tables.db.Opts().Dir)
	if free, err := s.disk.free(s.opt.Dir); err == nil {
		f.Free = int64(free)
	}
	return f
}

// onDisk tells how much of the disk the files of a database take. Badger knows only
// while it counts everything else as well, and then counts what its logs may grow to.
func onDisk(dir string) (tree, log int64) {
	entries, err := os.ReadDir(dir)
	if err != nil {
		return 0, 0
	}
	for _, entry := range entries {
		var sum *int64
		switch filepath.Ext(entry.Name()) {
		case ".sst", ".mem":
			sum = &tree
		case ".vlog":
			sum = &log
		default:
			continue
		}
		info, err := entry.Info()
		if err != nil {
			continue // it was removed in between
		}
		if stat, ok := info.Sys().(*syscall.Stat_t); ok {
			*sum += stat.Blocks * 512
		}
	}
	return tree, log
}

// tally counts searches by state, so that nobody has to read them all to know.
// What a transaction changes is noted in it, and counts once it is committed. Only
// who has the right to write the state may note, commit and forget.
type tally struct {
	noted []change

	mu sync.Mutex
	n  map[State]int
}

type change struct {
	state State
	by    int
}

func (t *tally) note(s State, by int) { t.noted = append(t.noted, change{s, by}) }

func (t *tally) forget() { t.noted = t.noted[:0] }

func (t *tally) commit() {
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.n == nil {
		t.n = map[State]int{}
	}
	for _, c := range t.noted {
		if t.n[c.state] += c.by; t.n[c.state] == 0 {
			delete(t.n, c.state)
		}
	}
	t.forget()
}

func (t *tally) read() map[State]int {
	t.mu.Lock()
	defer t.mu.Unlock()
	return maps.Clone(t.n)
}

// count reads all searches once, when the store opens.
func (s *Store) count() error {
	s.tally.forget()
	err := s.state.View(func(txn *badger.Txn) error {
		return scan(txn, []byte(prefixSearch), nil, false, func(item *badger.Item) (bool, error) {
			number := ^numberOf(item.Key())
			progress, err := get[struct {
				State State `json:"state"`
			}](txn, progressKey(number))
			if err == nil { // what is damaged is for who checks the store
				s.tally.note(progress.State, 1)
			}
			return true, nil
		})
	})
	if err != nil {
		return err
	}
	s.tally.commit()
	return nil
}
