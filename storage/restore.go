package storage

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"

	"github.com/dgraph-io/badger/v4"
	"github.com/dgraph-io/badger/v4/pb"
)

// restoring is where a backup is unpacked in the data directory. It is there
// while that goes on, or when it was broken off.
const restoring = "restoring"

// Restore makes a data directory of a backup. The directory must be empty or not
// be there; what was kept appears in it as a whole or not at all. The options are
// those that it will be opened with. [ErrBackup] and [ErrSchema] as
// [CheckBackup], [ErrExists] where something is in the directory.
//
// Page tokens and cursors that were given out before are refused afterwards: what
// was found since the backup was made is not there, and numbers of events will
// be given a second time.
func Restore(ctx context.Context, from io.ReadSeeker, opt Options) (info BackupInfo, err error) {
	opt = opt.withDefaults()
	if _, err := CheckBackup(ctx, from); err != nil { // before anything is written
		return info, err
	}
	if _, err := from.Seek(0, io.SeekStart); err != nil {
		return info, err
	}
	if err := os.MkdirAll(opt.Dir, 0o700); err != nil {
		return info, fmt.Errorf("make the data directory: %w", err)
	}
	lock, err := lockDir(opt.Dir)
	if err != nil {
		return info, err
	}
	defer func() { err = errors.Join(err, lock.release()) }()
	if err := mustBeEmpty(opt.Dir); err != nil {
		return info, err
	}
	made := filepath.Join(opt.Dir, restoring)
	if err := os.RemoveAll(made); err != nil { // of an earlier try
		return info, err
	}
	if err := os.Mkdir(made, 0o700); err != nil {
		return info, err
	}
	info, err = restoreInto(ctx, made, from, opt)
	if err == nil {
		err = os.Rename(filepath.Join(made, "state"), filepath.Join(opt.Dir, "state"))
	}
	return info, errors.Join(err, syncPath(opt.Dir), os.RemoveAll(made))
}

// mustBeEmpty lets pass what a broken restore or a file system puts there.
func mustBeEmpty(dir string) error {
	files, err := os.ReadDir(dir)
	if err != nil {
		return err
	}
	for _, f := range files {
		if name := f.Name(); !slices.Contains([]string{"lock", sealFile, restoring, "lost+found"}, name) {
			return fmt.Errorf("%w: there is %q in %s: restore into an empty directory, or one that is to be made", ErrExists, name, dir)
		}
	}
	return nil
}

// restoreInto fills an empty directory and opens it once, which brings it up to
// date and shows that it can be opened.
func restoreInto(ctx context.Context, dir string, from io.Reader, opt Options) (BackupInfo, error) {
	opt.Dir = dir
	opt.HoldReserve = false // not in here
	info, err := load(ctx, filepath.Join(dir, "state"), from, newDisk(opt), opt)
	if err != nil {
		return info, err
	}
	s, err := Open(opt)
	if err != nil {
		return info, fmt.Errorf("open what was restored: %w", err)
	}
	if err := s.Close(); err != nil {
		return info, err
	}
	return info, syncFiles(filepath.Join(dir, "state"))
}

// load makes a state of the records.
func load(ctx context.Context, dir string, from io.Reader, d *disk, opt Options) (info BackupInfo, err error) {
	if err := d.check(growth); err != nil {
		return info, err
	}
	db, err := badger.Open(stateOptions(dir, opt.Logger).WithSyncWrites(false)) // all is synced at the end
	if err != nil {
		return info, fmt.Errorf("make the state: %w", err)
	}
	defer func() { err = errors.Join(err, db.Close()) }()
	batch := db.NewWriteBatch()
	defer batch.Cancel()
	size := 0
	info, err = readBackup(ctx, from, func(kv *pb.KV) error {
		if size += len(kv.Key) + len(kv.Value); size > frameSize {
			size = 0
			if err := d.check(growth); err != nil {
				return err
			}
		}
		return batch.SetEntry(&badger.Entry{Key: kv.Key, Value: kv.Value, ExpiresAt: kv.ExpiresAt})
	})
	if err == nil {
		err = batch.Flush()
	}
	if err != nil {
		return info, err
	}
	return info, db.Update(renewToken)
}

// syncFiles has the disk hold every file of a directory, and that they are in it.
func syncFiles(dir string) error {
	files, err := os.ReadDir(dir)
	if err != nil {
		return err
	}
	for _, f := range files {
		if err := syncPath(filepath.Join(dir, f.Name())); err != nil {
			return err
		}
	}
	return syncPath(dir)
}

// syncPath is for a file or a directory.
func syncPath(path string) error {
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	return errors.Join(f.Sync(), f.Close())
}
