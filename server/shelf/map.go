package shelf

import (
	"fmt"
	"os"

	"golang.org/x/sys/unix"

	"turnwright/server/engine"
)

// Mapped uses a table in the file that it was written to.
func Mapped(t engine.Table, path string) (engine.Content, func(), error) {
	data, free, err := MapFile(path)
	if err != nil {
		return nil, nil, err
	}
	c, err := t.Map(data)
	if err != nil {
		free()
		return nil, nil, err
	}
	return c, free, nil
}

// MapFile maps a file into memory, to be read only. The file must never be
// changed or cut short; its name may go. free ends the mapping: nothing of data may be
// in use any more.
func MapFile(path string) (data []byte, free func(), err error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, nil, err
	}
	defer f.Close() //nolint:errcheck // it was only read
	info, err := f.Stat()
	if err != nil {
		return nil, nil, err
	}
	if info.Size() == 0 {
		return nil, nil, fmt.Errorf("map %s: it is empty", path)
	}
	data, err = unix.Mmap(int(f.Fd()), 0, int(info.Size()), unix.PROT_READ, unix.MAP_SHARED)
	if err != nil {
		return nil, nil, fmt.Errorf("map %s: %w", path, err)
	}
	_ = unix.Madvise(data, unix.MADV_WILLNEED) // a wish: it works without
	return data, func() { _ = unix.Munmap(data) }, nil
}
