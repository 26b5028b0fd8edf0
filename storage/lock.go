package storage

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"golang.org/x/sys/unix"
)

// dirLock is the right to use a data directory. It is an flock, so the kernel
// gives it up when the process dies, however it dies.
type dirLock struct{ file *os.File }

func lockDir(dir string) (*dirLock, error) {
	path := filepath.Join(dir, "lock")
	file, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE, 0o600)
	if err != nil {
		return nil, fmt.Errorf("lock the data directory: %w", err)
	}
	err = unix.Flock(int(file.Fd()), unix.LOCK_EX|unix.LOCK_NB)
	if errors.Is(err, unix.EWOULDBLOCK) {
		owner, _ := io.ReadAll(io.LimitReader(file, 32))
		return nil, errors.Join(
			fmt.Errorf("%w: %s is held by process %s", ErrLocked, dir, strings.TrimSpace(string(owner))),
			file.Close())
	}
	if err != nil {
		return nil, errors.Join(fmt.Errorf("lock %s: %w", path, err), file.Close())
	}
	// The number only helps people; the lock itself is the kernel's.
	if err := file.Truncate(0); err == nil {
		_, _ = file.WriteAt(fmt.Appendf(nil, "%d\n", os.Getpid()), 0)
	}
	return &dirLock{file}, nil
}

// release leaves the file in place: removing it would let two processes hold
// locks on two files of the same name.
func (l *dirLock) release() error { return l.file.Close() }
