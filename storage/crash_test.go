package storage_test

import (
	"errors"
	"io"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
	"golang.org/x/sys/unix"
)

// afterCrash copies the directory of an open store: what a process would find
// if the one that has it open had been killed at this moment.
func afterCrash(t testing.TB, dir string) string {
	t.Helper()
	crashed := t.TempDir()
	require.NoError(t, copyFiles(crashed, dir))
	return crashed
}

// copyFiles leaves holes out: Badger's files are mostly holes.
func copyFiles(to, from string) error {
	for _, sub := range []string{"state", "tables"} {
		if err := os.MkdirAll(filepath.Join(to, sub), 0o700); err != nil {
			return err
		}
		files, err := os.ReadDir(filepath.Join(from, sub))
		if err != nil {
			return err
		}
		for _, f := range files {
			if err := copySparse(filepath.Join(to, sub, f.Name()), filepath.Join(from, sub, f.Name())); err != nil {
				return err
			}
		}
	}
	return nil
}

func copySparse(to, from string) error {
	in, err := os.Open(from)
	if err != nil {
		return err
	}
	defer in.Close()
	info, err := in.Stat()
	if err != nil {
		return err
	}
	out, err := os.Create(to)
	if err != nil {
		return err
	}
	if err := out.Truncate(info.Size()); err != nil {
		return err
	}
	for end := int64(0); ; {
		start, err := in.Seek(end, unix.SEEK_DATA)
		if errors.Is(err, unix.ENXIO) { // no more data
			return out.Close()
		}
		if err != nil {
			return err
		}
		if end, err = in.Seek(start, unix.SEEK_HOLE); err != nil {
			return err
		}
		if _, err := io.Copy(io.NewOffsetWriter(out, start), io.NewSectionReader(in, start, end-start)); err != nil {
			return err
		}
	}
}
