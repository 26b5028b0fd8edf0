package storage

import (
	"maps"
	"sync"

	"github.com/dgraph-io/badger/v4"
)

// Figures are what a store can tell of itself at any time, at no cost.
type Figures struct {
	Searches map[State]int // how many are in which state; those that are deleted don't count
	Schema   int

	// Bytes on the disk: the tree of keys and small values, and the log of large ones.
	StateTree, StateLog   int64
	TablesTree, TablesLog int64

	Free    int64 // bytes that are free on the disk; -1 where the system doesn't say
	Reserve int64 // bytes that stay free
	Low     bool  // new work is refused for want of disk space
}

// Figures tells how the store is. Sizes are up to a minute old.
func (s *Store) Figures() Figures {
	f := Figures{Searches: s.tally.read(), Schema: Schema, Free: -1, Reserve: s.opt.Reserve, Low: s.DiskLow() != nil}
	f.StateTree, f.StateLog = s.state.Size()
	f.TablesTree, f.TablesLog = s.tables.db.Size()
	if free, err := s.disk.free(s.opt.Dir); err == nil {
		f.Free = int64(free)
	}
	return f
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
