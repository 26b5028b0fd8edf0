package storage

import (
	"encoding/binary"
	"errors"
	"fmt"
	"time"

	"github.com/dgraph-io/badger/v4"
)

// noteEvery is how old a note of a table's last use gets while the table is used.
const noteEvery = time.Hour

// mostTables is the default limit of the cache, where a quarter of the disk is more.
const mostTables = 64 << 30

func useKey(key string) []byte { return []byte("u/" + key) }

func setUse(txn *badger.Txn, key string, at time.Time) error {
	return txn.Set(useKey(key), binary.BigEndian.AppendUint64(nil, uint64(at.Unix())))
}

// lastUse is when a table was used, or made where nothing tells: it is a hint, and
// nothing else depends on it.
func lastUse(txn *badger.Txn, m manifest) time.Time {
	used := m.Created
	item, err := txn.Get(useKey(m.Key))
	if err != nil {
		return used
	}
	_ = item.Value(func(data []byte) error {
		if len(data) == 8 {
			used = time.Unix(int64(binary.BigEndian.Uint64(data)), 0).UTC()
		}
		return nil
	})
	return used
}

// TableUse tells how many bytes of how many tables are kept, and how many may be.
func (s *Store) TableUse() (bytes, limit int64, tables int) {
	c := s.tables
	c.mu.Lock()
	defer c.mu.Unlock()
	total, _ := c.total()
	limit, err := c.most(total)
	if err != nil {
		limit = total // the disk can't be asked
	}
	return total, limit, len(c.tables)
}

// total is the size of all tables, and of those that are being read. The caller
// holds mu.
func (c *tableCache) total() (all, read int64) {
	for _, t := range c.tables {
		all += t.size
		if t.readers > 0 {
			read += t.size
		}
	}
	return all, read
}

// most is how many bytes all tables may have, if they take so many now.
func (c *tableCache) most(now int64) (int64, error) {
	if c.limit > 0 {
		return c.limit, nil
	}
	free, err := c.disk.ask()
	return DefaultTables(free, now), err
}

// DefaultTables is how many bytes tables may have on a disk where so many are free, and so many
// are theirs already: a quarter, at most 64 GiB.
func DefaultTables(free uint64, theirs int64) int64 {
	return int64(min((free+uint64(theirs))/4, mostTables))
}

// fits tells whether a table of so many bytes can have room, and how many bytes the
// others may then have. [ErrNoRoom] where it can't.
func (c *tableCache) fits(bytes int64) (others int64, err error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	all, read := c.total()
	most, err := c.most(all + bytes)
	if err != nil {
		return 0, err
	}
	if read+bytes > most {
		return 0, fmt.Errorf("%w: %d MiB and more beside %d MiB that are being read, all tables may have %d MiB",
			ErrNoRoom, bytes>>20, read>>20, most>>20)
	}
	return most - bytes, nil
}

// room drops tables until one of so many bytes has room beside the others, those
// first that were not used for longest, and none that is being read. The caller
// holds changes.
func (c *tableCache) room(bytes int64) error {
	for {
		others, err := c.fits(bytes)
		if err != nil {
			return err
		}
		c.mu.Lock()
		all, _ := c.total()
		victim := c.oldest()
		c.mu.Unlock()
		if all <= others || victim == "" {
			return nil
		}
		c.log.Info("a table makes room for others", "table", victim)
		if err := c.evict(victim); err != nil {
			return fmt.Errorf("make room: %w", err)
		}
	}
}

// oldest is the table that was not used for longest, of those that nobody reads.
// The caller holds mu.
func (c *tableCache) oldest() string {
	oldest := ""
	for key, t := range c.tables {
		if t.readers > 0 {
			continue
		}
		if o := c.tables[oldest]; o == nil || t.used.Before(o.used) || t.used.Equal(o.used) && t.generation < o.generation {
			oldest = key
		}
	}
	return oldest
}

// evict removes a table unless someone began to read it.
func (c *tableCache) evict(key string) error {
	c.mu.Lock()
	if t := c.tables[key]; t == nil || t.readers > 0 {
		c.mu.Unlock()
		return nil
	}
	delete(c.tables, key) // from here on nobody begins to read it
	c.evicted = append(c.evicted, key)
	c.mu.Unlock()
	return c.remove(key)
}

// unshareEvicted removes the files of tables that made room. That waits for one
// that is being written, which may wait for the right to drop a table: so the
// caller doesn't hold that.
func (s *Store) unshareEvicted() error {
	s.tables.mu.Lock()
	keys := s.tables.evicted
	s.tables.evicted = nil
	s.tables.mu.Unlock()
	var errs []error
	for _, key := range keys {
		errs = append(errs, s.shared.unshare(key))
	}
	return errors.Join(errs...)
}
