package storage

import (
	"fmt"

	"golang.org/x/sys/unix"
)

// need says how much a write matters when the disk runs out.
type need int

const (
	growth  need = iota // new work, new findings: needs the whole reserve
	release             // ends or deletes something: may use half of the reserve
	cached              // a table: leaves twice the reserve
)

// disk refuses writes while there still is space. Badger writes through memory
// maps, where a full disk is no error but a signal that ends the process.
type disk struct {
	dir     string
	reserve int64
	free    func(path string) (uint64, error)
}

func (d *disk) check(why need) error {
	free, err := d.free(d.dir)
	if err != nil {
		return fmt.Errorf("ask for free disk space: %w", err)
	}
	want := uint64(d.reserve)
	switch why {
	case release:
		want /= 2
	case cached:
		want *= 2
	}
	if free < want {
		return fmt.Errorf("%w: %d MiB free in %s, %d MiB wanted", ErrDiskLow, free>>20, d.dir, want>>20)
	}
	return nil
}

func freeBytes(path string) (uint64, error) {
	var s unix.Statfs_t
	if err := unix.Statfs(path, &s); err != nil {
		return 0, err
	}
	return s.Bavail * uint64(s.Bsize), nil
}

// DiskLow tells whether new work would be refused for want of disk space.
func (s *Store) DiskLow() error { return s.disk.check(growth) }
