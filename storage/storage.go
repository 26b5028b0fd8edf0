// Package storage keeps what the service must not lose (user puzzles, searches,
// finished units, findings, proofs, rounds with their entries) and what it would rather not compute
// again (near tables), in Badger, under one directory of one process.
//
// The one idea: keys are written so that their order is the order in which the
// API lists things. Every list, a replay of findings in rank order included, is
// one scan of one prefix, and a cursor is a key. FORMAT.md describes the keys.
//
//	store, err := storage.Open(storage.Options{Dir: dir})
//	search, err := store.CreateSearch(ctx, storage.Request{}, "overnight", spec)
//	done, err := store.CommitUnit(ctx, "overnight", unit)
//	page, err := store.Findings(ctx, "overnight", storage.FindingScan{Until: storage.AnyEvent, Limit: 50})
//
// The state is written with sync on: what a method has returned survives
// kill -9. The tables are a cache: what is damaged there is dropped and
// reported as [ErrMiss]. No transaction is open between two calls.
//
// It does not know what a puzzle, a sequence or a request means, and it does
// not schedule: it refuses what its own rules forbid and leaves the rest to its
// callers.
package storage

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"sync"
	"sync/atomic"

	"github.com/dgraph-io/badger/v4"
	"github.com/dgraph-io/badger/v4/options"
)

// Options say where a [Store] lives and where its limits are. Zero values take
// the defaults.
type Options struct {
	Dir    string       // made where it is missing
	Logger *slog.Logger // Badger's own messages go there at debug and warn

	MaxPuzzles int // user puzzles; 1,000 by default
	MaxActive  int // searches that have not ended; 10,000 by default
	MaxRounds  int // competitions, those that are over too; 1,000 by default
	MaxAudit   int // administrative acts on record; 10,000 by default

	// Reserve is how many bytes of disk stay free; 256 MiB by default. With less
	// than 64 MiB a full disk may leave Badger too little to open.
	Reserve int64
	// HoldReserve makes the reserve a file, so that nobody else takes it. Once made
	// it is heeded by every process that opens the directory.
	HoldReserve bool

	// TableCache is how many bytes of tables are kept; by default a quarter of the
	// disk that is free, or would be without them, and at most 64 GiB. Those that
	// were not used for longest make room for others, when these are whole.
	TableCache int64

	// Free tells how many bytes are free on the disk that holds a path.
	// Tests replace it; by default the operating system is asked.
	Free func(path string) (uint64, error)
}

// Store is an open data directory. Its methods may be called from any goroutine.
type Store struct {
	state  *badger.DB
	tables *tableCache
	shared *sharedTables

	closing sync.Once
	closed  error // what closing it came to
	lock    *dirLock
	disk    *disk
	log     *slog.Logger
	opt     Options
	seal    sealer

	writing chan struct{} // holds one token: the right to write the state
	tally   tally         // guarded by writing, except to read
	sweeper *sweeper
	deleted atomic.Int64   // keys that were swept and may still take disk
	upkeep  sync.WaitGroup // what goes on in the background until rest is called
	rest    context.CancelFunc
}

// Open opens the directory, creating it where it is missing, and goes on with
// deletions that were interrupted. It fails with [ErrLocked] while another
// process has the directory, and with [ErrSchema] when a newer version wrote it;
// what an older one wrote is brought up to date.
func Open(opt Options) (*Store, error) {
	opt = opt.withDefaults()
	if err := os.MkdirAll(opt.Dir, 0o700); err != nil {
		return nil, fmt.Errorf("make the data directory: %w", err)
	}
	lock, err := lockDir(opt.Dir)
	if err != nil {
		return nil, err
	}
	if _, err := os.Stat(filepath.Join(opt.Dir, restoring)); err == nil {
		return nil, errors.Join(
			fmt.Errorf("%w: a backup was being restored in %s and that was broken off: restore it again, or remove what is there", ErrRestoring, opt.Dir),
			lock.release())
	}
	s := &Store{
		lock:    lock,
		disk:    newDisk(opt),
		log:     opt.Logger,
		opt:     opt,
		writing: make(chan struct{}, 1),
	}
	if err := s.open(); err != nil {
		return nil, errors.Join(err, s.Close())
	}
	return s, nil
}

func (o Options) withDefaults() Options {
	if o.Logger == nil {
		o.Logger = slog.New(slog.DiscardHandler)
	}
	if o.MaxPuzzles == 0 {
		o.MaxPuzzles = 1000
	}
	if o.MaxActive == 0 {
		o.MaxActive = 10_000
	}
	if o.MaxRounds == 0 {
		o.MaxRounds = 1000
	}
	if o.MaxAudit == 0 {
		o.MaxAudit = 10_000
	}
	if o.Reserve == 0 {
		o.Reserve = 256 << 20
	}
	if o.Free == nil {
		o.Free = FreeBytes
	}
	return o
}

func (s *Store) open() error {
	if err := s.disk.start(s.opt.HoldReserve); err != nil {
		return err
	}
	if err := s.disk.check(opening); err != nil {
		return err
	}
	state, err := badger.Open(stateOptions(filepath.Join(s.opt.Dir, "state"), s.log))
	if err != nil { // what it gives along with an error is no database
		return fmt.Errorf("open the state: %w", err)
	}
	s.state = state
	if s.seal, err = openSeal(s.opt.Dir); err != nil {
		return err
	}
	if err := s.migrate(context.Background(), migrations); err != nil {
		return err
	}
	if err := s.count(); err != nil {
		return fmt.Errorf("count the searches: %w", err)
	}
	if s.tables, err = openTables(filepath.Join(s.opt.Dir, "tables"), s.disk, s.opt.TableCache, s.log); err != nil {
		return err
	}
	if s.shared, err = newSharedTables(filepath.Join(s.opt.Dir, "shared")); err != nil {
		return err
	}
	s.sweeper = startSweeper(s)
	ctx, cancel := context.WithCancel(context.Background())
	s.rest = cancel
	if s.disk.hold {
		s.upkeep.Go(func() { s.disk.watch(ctx) })
	}
	s.upkeep.Go(func() { s.reclaimer(ctx) })
	return nil
}

// Close waits for what is being written, then closes both databases and gives
// the directory up. The Store can't be used afterwards; to close it again changes nothing.
func (s *Store) Close() error {
	s.closing.Do(func() { s.closed = s.close() })
	return s.closed
}

func (s *Store) close() error {
	var errs []error
	if s.sweeper != nil {
		s.sweeper.stop()
	}
	if s.rest != nil {
		s.rest()
	}
	s.upkeep.Wait()
	if s.shared != nil {
		errs = append(errs, s.shared.close())
	}
	if s.tables != nil {
		errs = append(errs, s.tables.close())
	}
	if s.state != nil {
		s.writing <- struct{}{} // never given back: nothing is written from here on
		errs = append(errs, s.state.Close())
	}
	errs = append(errs, s.lock.release())
	return errors.Join(errs...)
}

// stateOptions ask for durability before speed: the state is small, its values
// are far below the threshold of the value log.
func stateOptions(dir string, log *slog.Logger) badger.Options {
	return badger.DefaultOptions(dir).
		WithSyncWrites(true).
		WithDetectConflicts(false). // one writer at a time, see update
		// Compacting level 0 takes as much disk again as is there, before any is given
		// back. These bound it well below the reserve.
		WithMemTableSize(8 << 20).
		WithNumMemtables(2).
		WithNumLevelZeroTables(2).
		WithNumLevelZeroTablesStall(4).
		WithValueLogFileSize(16 << 20). // hardly used
		WithCompression(options.None).
		WithBlockCacheSize(0). // blocks are mapped and not compressed: the page cache does it
		WithIndexCacheSize(16 << 20).
		WithNumCompactors(2).
		WithChecksumVerificationMode(options.OnTableRead). // damage is found while opening, not as a missing key
		WithMetricsEnabled(false).
		WithLogger(badgerLog{log.With("database", "state")})
}

// view runs fn in a read-only transaction.
func (s *Store) view(ctx context.Context, fn func(txn *badger.Txn) error) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	return s.state.View(fn)
}

// update runs fn in a transaction and commits it, one at a time: writers would
// wait for the same sync anyway, and so they never conflict.
func (s *Store) update(ctx context.Context, why need, fn func(txn *badger.Txn) error) error {
	if err := s.disk.check(why); err != nil {
		return err
	}
	select {
	case s.writing <- struct{}{}:
		defer func() { <-s.writing }()
	case <-ctx.Done():
		return ctx.Err()
	}
	if err := ctx.Err(); err != nil {
		return err
	}
	s.tally.forget()
	if err := s.state.Update(fn); err != nil {
		if errors.Is(err, badger.ErrTxnTooBig) {
			return fmt.Errorf("%w: %w", ErrTooBig, err)
		}
		return err
	}
	s.tally.commit()
	return nil
}
