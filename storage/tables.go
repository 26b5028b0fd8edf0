package storage

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"sync"
	"time"

	"github.com/dgraph-io/badger/v4"
	"github.com/dgraph-io/badger/v4/options"
)

// tableCache is the database of near tables. A table is cut into chunks of one
// generation; its manifest is written last and names the generation, so a table
// is either whole or not there. Generations that no manifest names are what
// interrupted writes left, and go when the cache is opened.
type tableCache struct {
	db      *badger.DB
	disk    *disk
	log     *slog.Logger
	limit   int64         // bytes that all tables may have; 0 for a quarter of the disk
	changes chan struct{} // holds one token: the right to write or drop
	next    uint64        // the next generation; guarded by changes

	mu     sync.Mutex
	tables map[string]*cachedTable // those that can be loaded, by key

	evicted []string // keys whose shared files are still to go
}

// cachedTable is what is known of a table without reading it.
type cachedTable struct {
	generation uint64
	size       int64     // bytes
	used       time.Time // when it was last written or loaded
	noted      time.Time // used, as the database has it
	readers    int
}

// openTables starts anew where the directory can't be opened: it is a cache.
func openTables(dir string, d *disk, limit int64, log *slog.Logger) (*tableCache, error) {
	db, err := badger.Open(tableOptions(dir, log))
	if err != nil {
		log.Warn("the table cache is damaged and starts empty", "error", err)
		if err := os.RemoveAll(dir); err != nil {
			return nil, fmt.Errorf("remove the damaged table cache: %w", err)
		}
		if db, err = badger.Open(tableOptions(dir, log)); err != nil {
			return nil, fmt.Errorf("open the table cache: %w", err)
		}
	}
	c := &tableCache{db: db, disk: d, limit: limit, log: log, changes: make(chan struct{}, 1), tables: map[string]*cachedTable{}}
	if err := c.clean(); err != nil {
		return nil, errors.Join(fmt.Errorf("clean the table cache: %w", err), db.Close())
	}
	if err := c.room(0); err != nil {
		return nil, errors.Join(fmt.Errorf("bring the table cache to its size: %w", err), db.Close())
	}
	return c, nil
}

// tableOptions fit few large values, written once in order and read in order.
func tableOptions(dir string, log *slog.Logger) badger.Options {
	return badger.DefaultOptions(dir).
		WithSyncWrites(false). // one Sync before and one after the manifest
		WithDetectConflicts(false).
		WithMemTableSize(32 << 20).
		WithNumMemtables(2).
		WithNumLevelZeroTables(3). // as for the state
		WithNumLevelZeroTablesStall(6).
		WithBaseTableSize(32 << 20).
		WithBaseLevelSize(512 << 20).
		WithValueLogFileSize(16 << 20). // not used
		WithCompression(options.None).  // tables look like noise
		WithBlockCacheSize(0).          // each chunk is read once
		WithIndexCacheSize(16 << 20).
		WithNumCompactors(2).
		WithChecksumVerificationMode(options.OnBlockRead). // a damaged block is a missing key, not a panic
		WithMetricsEnabled(false).
		WithLogger(badgerLog{log.With("database", "tables")})
}

func (c *tableCache) close() error { return c.db.Close() }

func (c *tableCache) acquire(ctx context.Context) error {
	select {
	case c.changes <- struct{}{}:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}

func (c *tableCache) giveBack() { <-c.changes }

// clean drops the generations that no manifest names, finds the next number, and
// learns which tables there are.
func (c *tableCache) clean() error {
	all, err := c.generations()
	if err != nil {
		return err
	}
	named, err := c.named()
	if err != nil {
		return err
	}
	for _, g := range all {
		c.next = max(c.next, g+1)
		if !named[g] {
			if err := c.db.DropPrefix(chunkPrefix(g)); err != nil {
				return err
			}
		}
	}
	return nil
}

// generations lists those that have chunks.
func (c *tableCache) generations() ([]uint64, error) {
	var all []uint64
	err := c.db.View(func(txn *badger.Txn) error {
		return scan(txn, []byte("c/"), nil, false, func(item *badger.Item) (bool, error) {
			if g := numberOf(item.Key()); len(all) == 0 || all[len(all)-1] != g {
				all = append(all, g)
			}
			return true, nil
		})
	})
	return all, err
}

// named lists the generations that have a sound manifest, and notes their tables.
// Damaged manifests are left to the next load, which drops them.
func (c *tableCache) named() (map[uint64]bool, error) {
	named := map[uint64]bool{}
	err := c.db.View(func(txn *badger.Txn) error {
		return scan(txn, []byte("t/"), nil, true, func(item *badger.Item) (bool, error) {
			return true, item.Value(func(data []byte) error {
				m, err := decodeManifest(data)
				if err != nil || string(manifestKey(m.Key)) != string(item.Key()) {
					return nil
				}
				used := lastUse(txn, m)
				c.tables[m.Key] = &cachedTable{generation: m.Generation, size: m.Size, used: used, noted: used}
				named[m.Generation] = true
				return nil
			})
		})
	})
	return named, err
}

// PutTable keeps what write writes under key, instead of what is there. The
// table is in the cache when PutTable returns nil, and not at all otherwise.
func (s *Store) PutTable(ctx context.Context, key string, write func(io.Writer) error) error {
	err := s.tables.put(ctx, key, write)
	if err := errors.Join(err, s.unshareEvicted()); err != nil {
		return fmt.Errorf("cache table %q: %w", key, err)
	}
	return nil
}

func (c *tableCache) put(ctx context.Context, key string, write func(io.Writer) error) error {
	if len(key) > maxTableKey {
		return fmt.Errorf("%w: the key has %d bytes", ErrTooBig, len(key))
	}
	if err := c.acquire(ctx); err != nil {
		return err
	}
	defer c.giveBack()
	if err := c.remove(key); err != nil {
		return err
	}
	w := newChunkWriter(ctx, c, c.next)
	c.next++
	err := write(w)
	if err == nil {
		err = w.finish()
	}
	if err == nil { // not before: the others would go in vain if it came to nothing
		err = c.room(w.size)
	}
	if err == nil {
		err = c.name(key, w.manifest(key))
	}
	if err != nil {
		return errors.Join(err, c.db.DropPrefix(chunkPrefix(w.generation)))
	}
	return nil
}

// name makes the chunks a table: first they are on the disk, then the manifest is.
func (c *tableCache) name(key string, m manifest) error {
	if err := c.db.Sync(); err != nil {
		return err
	}
	err := c.db.Update(func(txn *badger.Txn) error {
		return errors.Join(txn.Set(manifestKey(key), m.encode()), setUse(txn, key, m.Created))
	})
	if err != nil {
		return err
	}
	if err := c.db.Sync(); err != nil {
		return err
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	c.tables[key] = &cachedTable{generation: m.Generation, size: m.Size, used: m.Created, noted: m.Created}
	return nil
}

// LoadTable gives the table under key to read. It returns nil only where read
// did and all that was written has arrived: only then may the caller use what it
// read. [ErrMiss] where there is no such table or it is damaged, and then it is
// gone. An error of read itself is returned as it is.
func (s *Store) LoadTable(ctx context.Context, key string, read func(io.Reader) error) error {
	return s.tables.load(ctx, key, read)
}

func (c *tableCache) load(ctx context.Context, key string, read func(io.Reader) error) error {
	m, t, err := c.begin(key)
	if errors.Is(err, errDamaged) {
		return c.dropDamaged(ctx, key, 0, err)
	}
	if err != nil {
		return err
	}
	r := newChunkReader(ctx, c.db, m)
	err = read(r)
	if err == nil {
		err = r.finish()
	}
	c.release(t)
	c.use(key, t)
	if r.damage != nil {
		return c.dropDamaged(ctx, key, m.Generation, r.damage)
	}
	return err
}

// begin finds a table to read; until release it is not dropped to make room.
func (c *tableCache) begin(key string) (manifest, *cachedTable, error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	m, err := c.manifest(key)
	if err != nil {
		return m, nil, err
	}
	t := c.tables[key]
	if t == nil || t.generation != m.Generation { // it is being dropped
		return m, nil, fmt.Errorf("table %q: %w", key, ErrMiss)
	}
	t.readers++
	return m, t, nil
}

func (c *tableCache) release(t *cachedTable) {
	c.mu.Lock()
	defer c.mu.Unlock()
	t.readers--
}

// use notes that a table was used, in the database only now and then: what is
// forgotten in a crash is no more than noteEvery.
func (c *tableCache) use(key string, t *cachedTable) {
	c.mu.Lock()
	used := now()
	t.used = used
	late := used.Sub(t.noted) >= noteEvery && c.tables[key] == t
	if late {
		t.noted = used
	}
	c.mu.Unlock()
	if !late {
		return
	}
	if err := c.db.Update(func(txn *badger.Txn) error { return setUse(txn, key, used) }); err != nil {
		c.log.Debug("the use of a table was not noted", "table", key, "error", err)
	}
}

func (c *tableCache) manifest(key string) (manifest, error) {
	var m manifest
	err := c.db.View(func(txn *badger.Txn) error {
		item, err := txn.Get(manifestKey(key))
		if errors.Is(err, badger.ErrKeyNotFound) {
			return fmt.Errorf("table %q: %w", key, ErrMiss)
		}
		if err != nil {
			return err
		}
		return item.Value(func(data []byte) (err error) {
			m, err = decodeManifest(data)
			return err
		})
	})
	return m, err
}

// dropDamaged drops a table that could not be read, unless another one came in its
// place meanwhile. Generation 0 is that of a manifest that can't be read.
func (c *tableCache) dropDamaged(ctx context.Context, key string, generation uint64, damage error) error {
	c.log.Warn("a cached table is damaged and was dropped", "table", key, "error", damage)
	err := c.acquire(ctx)
	if err == nil {
		if m, bad := c.manifest(key); bad != nil || m.Generation == generation {
			err = c.remove(key)
		}
		c.giveBack()
	}
	if err != nil {
		return fmt.Errorf("drop damaged table %q: %w", key, err)
	}
	return fmt.Errorf("table %q: %w: %w", key, ErrMiss, damage)
}

// DropTable removes a table; nothing happens where there is none.
func (s *Store) DropTable(ctx context.Context, key string) error {
	return errors.Join(s.shared.unshare(key), s.tables.drop(ctx, key))
}

func (c *tableCache) drop(ctx context.Context, key string) error {
	if err := c.acquire(ctx); err != nil {
		return err
	}
	defer c.giveBack()
	return c.remove(key)
}

// remove takes the name away before the chunks. The caller holds changes.
func (c *tableCache) remove(key string) error {
	c.mu.Lock()
	delete(c.tables, key)
	c.mu.Unlock()
	m, err := c.manifest(key)
	if errors.Is(err, ErrMiss) {
		return nil
	}
	if err != nil && !errors.Is(err, errDamaged) {
		return err
	}
	sound := err == nil
	err = c.db.Update(func(txn *badger.Txn) error {
		return errors.Join(txn.Delete(manifestKey(key)), txn.Delete(useKey(key)))
	})
	if err != nil {
		return err
	}
	if !sound { // which chunks were its own is not known any more: open finds them
		return c.db.Sync()
	}
	return c.db.DropPrefix(chunkPrefix(m.Generation))
}
