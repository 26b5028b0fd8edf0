package remote

import (
	"cmp"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"time"

	"golang.org/x/sys/unix"

	"turnwright/storage"
)

// cache is a directory with copies of tables. Workers of a host may share it: each locks what it
// uses, and holds the directory's lock while it takes a table or makes room. Locks are
// flocks, so they end with the process. The time of a file is that of its last use.
type cache struct {
	dir   string
	limit int64 // bytes that all may have beside those in use; 0 for a part of the disk
	log   *slog.Logger
}

// Names of files that are the cache's to remove: tables, as the server calls them, and copies under way.
var (
	tableID    = regexp.MustCompile(`^t[0-9a-f]{32}$`)
	unfinished = regexp.MustCompile(`^new-[0-9]+$`)
)

// spare is how many bytes of disk stay free.
const spare = 512 << 20

// open gives the copy of a table, which stays while the file is open; nil if there is none.
func (c cache) open(id string, size int64) (file *os.File, err error) {
	err = c.locked(func() error {
		file, err = c.take(id, size)
		return err
	})
	return file, err
}

// take is open for who holds the directory's lock.
func (c cache) take(id string, size int64) (*os.File, error) {
	file, err := os.Open(filepath.Join(c.dir, id))
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	info, err := file.Stat()
	if err == nil && info.Size() == size {
		if err = errors.Join(flock(file, unix.LOCK_SH), touch(file)); err == nil {
			return file, nil
		}
	}
	return nil, errors.Join(err, file.Close())
}

// begin makes a file for a copy of so many bytes, and room for it.
func (c cache) begin(size int64) (file *os.File, err error) {
	err = c.locked(func() error {
		if err := c.room(size); err != nil {
			return err
		}
		if file, err = os.CreateTemp(c.dir, "new-*"); err != nil {
			return err
		}
		// It takes its room now, so that other workers see it.
		if err = errors.Join(flock(file, unix.LOCK_SH), file.Truncate(size)); err != nil {
			return errors.Join(err, c.drop(file))
		}
		return nil
	})
	return file, err
}

// finish gives a copy that is whole its name, unless another worker was faster, and opens it.
func (c cache) finish(file *os.File, id string, size int64) (kept *os.File, err error) {
	err = c.locked(func() error {
		if kept, err = c.take(id, size); kept != nil || err != nil {
			return errors.Join(err, c.drop(file))
		}
		if err := os.Rename(file.Name(), filepath.Join(c.dir, id)); err != nil {
			return errors.Join(err, c.drop(file))
		}
		kept, err = c.take(id, size)
		return errors.Join(err, file.Close())
	})
	return kept, err
}

// drop removes a file that somebody has open, and closes it.
func (c cache) drop(file *os.File) error { return errors.Join(os.Remove(file.Name()), file.Close()) }

// leave ends the use of a table, and notes when that was.
func (c cache) leave(file *os.File) {
	if err := errors.Join(touch(file), file.Close()); err != nil {
		c.log.Debug("the use of a table was not noted", "table", filepath.Base(file.Name()), "error", err)
	}
}

func touch(file *os.File) error { return os.Chtimes(file.Name(), time.Now(), time.Now()) }

// trim brings the directory to its size, if it is there.
func (c cache) trim() error {
	if _, err := os.Stat(c.dir); errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	return c.locked(func() error { return c.room(0) })
}

// room removes what killed workers left of copies, and then tables, those first that were not
// used for longest, until one of so many bytes has room beside the others. What is in use
// stays. The caller holds the directory's lock.
func (c cache) room(size int64) error {
	files, total, err := c.list()
	if err != nil {
		return err
	}
	for i := 0; ; i++ {
		free, err := storage.FreeBytes(c.dir)
		if err != nil {
			return err
		}
		most := cmp.Or(c.limit, storage.DefaultTables(free, total))
		enough := int64(free) >= size+spare
		switch {
		case i < len(files) && (total+size > most || !enough || unfinished.MatchString(files[i].Name())):
			gone, err := c.remove(files[i].Name())
			if err != nil {
				return err
			}
			if gone {
				total -= files[i].Size()
			}
		case size > 0 && !enough:
			return fmt.Errorf("the table has %d MiB, and %s has %d MiB free: make room there, or name another place with --cache", size>>20, c.dir, free>>20)
		default:
			return nil
		}
	}
}

// list gives the files that may make room, in the order in which they do, and how many bytes they have.
func (c cache) list() (files []fs.FileInfo, total int64, err error) {
	entries, err := os.ReadDir(c.dir)
	if err != nil {
		return nil, 0, err
	}
	for _, e := range entries {
		if !e.Type().IsRegular() || !tableID.MatchString(e.Name()) && !unfinished.MatchString(e.Name()) {
			continue
		}
		info, err := e.Info()
		if err != nil {
			return nil, 0, err
		}
		files = append(files, info)
		total += info.Size()
	}
	slices.SortStableFunc(files, func(a, b fs.FileInfo) int {
		return cmp.Or(strings.Compare(a.Name()[:1], b.Name()[:1]), a.ModTime().Compare(b.ModTime())) // new-… before t…
	})
	return files, total, nil
}

// remove removes a file unless a worker uses it.
func (c cache) remove(name string) (gone bool, err error) {
	file, err := os.OpenFile(filepath.Join(c.dir, name), os.O_RDWR, 0)
	if err != nil {
		return false, err
	}
	if err := flock(file, unix.LOCK_EX|unix.LOCK_NB); err != nil {
		if errors.Is(err, unix.EWOULDBLOCK) {
			err = nil
		}
		return false, errors.Join(err, file.Close())
	}
	c.log.Info("a table makes room for others", "table", name)
	return true, c.drop(file)
}

// locked works while nobody else takes a table, or makes room.
func (c cache) locked(work func() error) error {
	lock, err := os.OpenFile(filepath.Join(c.dir, "lock"), os.O_RDWR|os.O_CREATE, 0o600)
	if err != nil {
		return err
	}
	defer lock.Close() //nolint:errcheck // nothing was written
	if err := flock(lock, unix.LOCK_EX); err != nil {
		return err
	}
	return work()
}

func flock(file *os.File, how int) error {
	for {
		err := unix.Flock(int(file.Fd()), how)
		if err == nil {
			return nil
		}
		if !errors.Is(err, unix.EINTR) {
			return fmt.Errorf("lock %s, or name another place with --cache: %w", file.Name(), err)
		}
	}
}
