// Package storagetest gives tests the data directories that earlier programs left.
package storagetest

import (
	"archive/tar"
	"bytes"
	"compress/gzip"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"testing"
)

// Unpack unpacks a data directory, made as testdata/storage/make.sh does, into a
// directory that goes with the test, and gives its path.
func Unpack(t testing.TB, archive string) string {
	t.Helper()
	dir := t.TempDir()
	if err := unpack(dir, archive); err != nil {
		t.Fatalf("unpack %s: %v", archive, err)
	}
	return dir
}

func unpack(dir, archive string) error {
	file, err := os.Open(archive)
	if err != nil {
		return err
	}
	defer func() { _ = file.Close() }() // it was only read
	plain, err := gzip.NewReader(file)
	if err != nil {
		return err
	}
	for entries := tar.NewReader(plain); ; {
		entry, err := entries.Next()
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return err
		}
		if !filepath.IsLocal(entry.Name) {
			return fmt.Errorf("entry %q is outside", entry.Name)
		}
		path := filepath.Join(dir, entry.Name)
		if entry.FileInfo().IsDir() {
			err = os.MkdirAll(path, 0o700)
		} else {
			err = writeSparse(path, entries, entry.Size)
		}
		if err != nil {
			return err
		}
	}
}

// writeSparse leaves out what is zero: Badger's files are mostly holes.
func writeSparse(path string, content io.Reader, size int64) error {
	file, err := os.Create(path)
	if err != nil {
		return err
	}
	block, zero := make([]byte, 64<<10), make([]byte, 64<<10)
	for at := int64(0); at < size && err == nil; {
		n := int(min(size-at, int64(len(block))))
		if _, err = io.ReadFull(content, block[:n]); err == nil && !bytes.Equal(block[:n], zero[:n]) {
			_, err = file.WriteAt(block[:n], at)
		}
		at += int64(n)
	}
	return errors.Join(err, file.Truncate(size), file.Close())
}
