package storage

import (
	"bufio"
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"sync"
)

// SharedTable is a table as a file that several processes of the host map into memory.
// It is never changed; who has it open or mapped keeps it, even when its name is gone.
type SharedTable struct {
	ID     string // names these very bytes
	Path   string
	Size   int64
	Digest string // SHA-256 of the bytes, hexadecimal
}

// sharedTables keeps the files. They are copies of what is in the cache, made when
// a worker first asks, and do not outlive the process.
type sharedTables struct {
	dir string

	mu    sync.Mutex
	files map[string]SharedTable // by key
}

func newSharedTables(dir string) (*sharedTables, error) {
	if err := os.RemoveAll(dir); err != nil { // what a process left that was killed
		return nil, fmt.Errorf("clear the shared tables: %w", err)
	}
	if err := os.Mkdir(dir, 0o700); err != nil {
		return nil, fmt.Errorf("make a place for shared tables: %w", err)
	}
	return &sharedTables{dir: dir, files: map[string]SharedTable{}}, nil
}

// ShareTable gives the file of a table, written out of the cache where that is still
// to be done. [ErrMiss] where the table is not in the cache.
func (s *Store) ShareTable(ctx context.Context, key string) (SharedTable, error) {
	t := s.shared
	t.mu.Lock() // held while a file is written: who asks for the same waits anyway
	defer t.mu.Unlock()
	if f, ok := t.files[key]; ok {
		return f, nil
	}
	f, err := t.write(key, s.disk, func(w io.Writer) error {
		return s.LoadTable(ctx, key, func(r io.Reader) error {
			_, err := io.Copy(w, r)
			return err
		})
	})
	if err != nil {
		return f, fmt.Errorf("share table %q: %w", key, err)
	}
	t.files[key] = f
	return f, nil
}

// SharedTable gives the file of that id, if there is one still.
func (s *Store) SharedTable(id string) (SharedTable, error) {
	s.shared.mu.Lock()
	defer s.shared.mu.Unlock()
	for _, f := range s.shared.files {
		if f.ID == id {
			return f, nil
		}
	}
	return SharedTable{}, fmt.Errorf("shared table %q: %w", id, ErrMiss)
}

// unshare removes a table's file.
func (t *sharedTables) unshare(key string) error {
	t.mu.Lock()
	defer t.mu.Unlock()
	f, ok := t.files[key]
	if !ok {
		return nil
	}
	delete(t.files, key)
	return os.Remove(f.Path)
}

func (t *sharedTables) write(key string, d *disk, load func(io.Writer) error) (f SharedTable, err error) {
	file, err := os.CreateTemp(t.dir, "new-*")
	if err != nil {
		return f, err
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, os.Remove(file.Name()))
		}
	}()
	w := &sharedWriter{to: bufio.NewWriterSize(file, 1<<20), disk: d}
	digest := sha256.New()
	err = load(io.MultiWriter(w, digest))
	if err == nil {
		err = w.to.Flush()
	}
	if err = errors.Join(err, file.Close()); err != nil {
		return f, err
	}
	sum := fmt.Sprintf("%x", digest.Sum(nil))
	// Named by the key too: of two tables with the same bytes one may go and the other stay.
	id := fmt.Sprintf("t%x", sha256.Sum256([]byte(key+"\n"+sum)))[:33]
	f = SharedTable{ID: id, Path: filepath.Join(t.dir, id), Size: w.size, Digest: sum}
	return f, os.Rename(file.Name(), f.Path)
}

// sharedWriter asks for disk space as it goes.
type sharedWriter struct {
	to      *bufio.Writer
	disk    *disk
	size    int64
	checked int64
}

func (w *sharedWriter) Write(p []byte) (int, error) {
	if w.size >= w.checked {
		if err := w.disk.check(cached); err != nil {
			return 0, err
		}
		w.checked = w.size + 16<<20
	}
	n, err := w.to.Write(p)
	w.size += int64(n)
	return n, err
}

func (t *sharedTables) close() error { return os.RemoveAll(t.dir) }
