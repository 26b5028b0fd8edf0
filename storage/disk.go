package storage

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"sync"
	"time"

	"golang.org/x/sys/unix"
)

// need says how much a write matters when the disk runs out.
type need int

const (
	growth  need = iota // new work, new findings
	release             // ends or deletes something
	cached              // a table, or what only stays for a moment
	opening             // what Badger writes while it opens and closes
)

// disk refuses writes while there still is space. Badger writes through memory
// maps, where a full disk is no error but a signal that ends the process.
//
// The reserve is what growth has to leave. Where it is held it is a file, so that
// nobody else can take it either. When the disk is nearly full the file gives its
// space up: what ends or deletes something can still be written then, the next
// start can open, and growth waits until there is room for the file again.
type disk struct {
	dir     string
	reserve int64
	free    func(path string) (uint64, error)
	log     *slog.Logger

	mu    sync.Mutex
	hold  bool // the reserve is to be a file
	spent bool // its space was given up
}

func newDisk(opt Options) *disk {
	return &disk{dir: opt.Dir, reserve: opt.Reserve, free: opt.Free, log: opt.Logger}
}

// reserveFile is the name of the file that holds the reserve.
const reserveFile = "reserve"

func (d *disk) path() string { return filepath.Join(d.dir, reserveFile) }

// wants is how much must be free for a write, in bytes.
func (d *disk) wants(why need) uint64 {
	r := uint64(d.reserve)
	switch {
	case why == cached:
		return 2 * r
	case why == growth && !d.hold:
		return r
	case why == opening:
		return r / 4
	}
	return r / 2 // held, the other half of what growth leaves is in the file
}

func (d *disk) check(why need) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	free, err := d.settle()
	if err != nil {
		return err
	}
	if d.spent && (why == growth || why == cached) {
		return fmt.Errorf("%w: %d MiB free in %s, and what was held back is given up: new work is taken when %d MiB are free",
			ErrDiskLow, free>>20, d.dir, d.regain()>>20)
	}
	if want := d.wants(why); free < want {
		return fmt.Errorf("%w: %d MiB free in %s, %d MiB wanted", ErrDiskLow, free>>20, d.dir, want>>20)
	}
	return nil
}

// regain is how much must be free before the reserve is taken again. It is more
// than is free right after it was given up.
func (d *disk) regain() uint64 { return 2 * uint64(d.reserve) }

// settle gives the reserve up or takes it again, as free space has it, and tells
// what is free then. The caller holds mu.
func (d *disk) settle() (uint64, error) {
	free, err := d.ask()
	switch {
	case err != nil || !d.hold:
		return free, err
	case !d.spent && free < d.wants(growth):
		if err := os.Remove(d.path()); err != nil && !errors.Is(err, os.ErrNotExist) {
			return free, fmt.Errorf("give the reserve up: %w", err)
		}
		d.spent = true
		d.log.Warn("the disk is nearly full: the reserve is given up, nothing new is taken", "free", free)
	case d.spent && free >= d.regain():
		if err := allocate(d.path(), d.reserve); err != nil {
			d.log.Warn("the reserve can't be taken again yet", "error", err)
			return free, nil
		}
		d.spent = false
		d.log.Info("the disk has room: the reserve is taken", "free", free)
	default:
		return free, nil
	}
	return d.ask()
}

func (d *disk) ask() (uint64, error) {
	free, err := d.free(d.dir)
	if err != nil {
		return 0, fmt.Errorf("ask for free disk space: %w", err)
	}
	return free, nil
}

// start finds the reserve that an earlier process left, or takes it where it is to
// be held. Where the file system can't hold space back there is none.
func (d *disk) start(hold bool) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	stat, err := os.Stat(d.path())
	if err != nil && !errors.Is(err, os.ErrNotExist) {
		return fmt.Errorf("find the reserve: %w", err)
	}
	whole := err == nil && stat.Size() == d.reserve
	if err == nil && !whole { // of another size, or cut off
		if err := os.Remove(d.path()); err != nil {
			return fmt.Errorf("remove the reserve: %w", err)
		}
	}
	d.hold = hold || whole
	d.spent = d.hold && !whole // settle takes it
	free, err := d.settle()
	if err != nil || !d.spent {
		return err
	}
	// On a small disk it need not be free twice the first time.
	if free >= uint64(d.reserve)+d.wants(growth) {
		err := allocate(d.path(), d.reserve)
		if errors.Is(err, unix.EOPNOTSUPP) {
			d.log.Warn("this file system can't hold space back: the disk is only watched", "error", err)
			d.hold = false
		}
		d.spent = err != nil && d.hold
	}
	return nil
}

// allocate makes a file that has its blocks.
func allocate(path string, size int64) error {
	file, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE|os.O_TRUNC, 0o600)
	if err != nil {
		return err
	}
	err = errors.Join(unix.Fallocate(int(file.Fd()), 0, 0, size), file.Close())
	if err != nil {
		return errors.Join(fmt.Errorf("allocate %s: %w", path, err), os.Remove(path))
	}
	return nil
}

// watchEvery is how often the disk is looked at while nothing is written: a
// compaction that is under way takes less meanwhile than growth leaves.
const watchEvery = 250 * time.Millisecond

// watch gives the reserve up in time when others fill the disk, until ctx ends.
func (d *disk) watch(ctx context.Context) {
	every(ctx, watchEvery, func() {
		d.mu.Lock()
		defer d.mu.Unlock()
		if _, err := d.settle(); err != nil {
			d.log.Warn("the disk can't be looked at", "error", err)
		}
	})
}

// FreeBytes tells how many bytes are free on the disk that holds a path.
func FreeBytes(path string) (uint64, error) {
	var s unix.Statfs_t
	if err := unix.Statfs(path, &s); err != nil {
		return 0, err
	}
	return s.Bavail * uint64(s.Bsize), nil
}

// DiskLow tells whether new work would be refused for want of disk space.
func (s *Store) DiskLow() error { return s.disk.check(growth) }
