package storage

import (
	"bufio"
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"hash"
	"io"
	"os"
	"time"

	"github.com/dgraph-io/badger/v4"
	"github.com/dgraph-io/badger/v4/pb"
	"google.golang.org/protobuf/proto"
)

// A backup is all records of the state as they were at one moment, and nothing
// of the tables. FORMAT.md describes the file.

// ErrBackup is for what should be a backup and is none, or was cut off or changed.
var ErrBackup = errors.New("not a whole backup")

const (
	backupMagic  = "turnwright backup\n"
	backupFormat = 1

	frameSize = 256 << 10 // records are gathered up to so many bytes
	maxFrame  = 16 << 20  // no record comes near
)

// BackupInfo is what a backup says of itself.
type BackupInfo struct {
	Format  int       `json:"format"`
	Schema  int       `json:"schema"`
	Created time.Time `json:"created"`
	Version string    `json:"version"` // of the program that made it

	Records int `json:"-"` // counted while reading
}

// Backup gives a backup of the state as it is now, to be read and closed. It is
// gathered in a file without a name beside the state first: so a reader may be
// as slow as it likes, and needs about as much disk as the records take.
// [ErrDiskLow] where there is not enough.
func (s *Store) Backup(ctx context.Context, version string) (io.ReadCloser, error) {
	file, err := os.CreateTemp(s.opt.Dir, "backup-*")
	if err != nil {
		return nil, fmt.Errorf("gather the backup: %w", err)
	}
	if err := os.Remove(file.Name()); err != nil { // it goes when it is closed, whatever happens
		return nil, errors.Join(fmt.Errorf("gather the backup: %w", err), file.Close())
	}
	err = s.state.View(func(txn *badger.Txn) error {
		return s.writeBackup(ctx, txn, version, file)
	})
	if err == nil {
		_, err = file.Seek(0, io.SeekStart)
	}
	if err != nil {
		return nil, errors.Join(fmt.Errorf("gather the backup: %w", err), file.Close())
	}
	return file, nil
}

func (s *Store) writeBackup(ctx context.Context, txn *badger.Txn, version string, to io.Writer) error {
	w := &frameWriter{w: to, digest: sha256.New()}
	schema, err := get[int](txn, []byte(keySchema))
	if err != nil {
		return err
	}
	header, _ := json.Marshal(BackupInfo{Format: backupFormat, Schema: schema, Created: now(), Version: version}) // plain fields
	if err := errors.Join(w.write([]byte(backupMagic)), w.frame(header)); err != nil {
		return err
	}
	batch, size := &pb.KVList{}, 0
	flush := func() error {
		if err := errors.Join(ctx.Err(), s.disk.check(cached)); err != nil {
			return err
		}
		data, err := proto.Marshal(batch)
		if err != nil {
			return err
		}
		batch, size = &pb.KVList{}, 0
		return w.frame(data)
	}
	err = scan(txn, nil, nil, true, func(item *badger.Item) (bool, error) {
		value, err := item.ValueCopy(nil)
		if err == nil {
			value, err = s.reseal(txn, item.Key(), value)
		}
		if err != nil {
			return false, err
		}
		batch.Kv = append(batch.Kv, &pb.KV{Key: item.KeyCopy(nil), Value: value, ExpiresAt: item.ExpiresAt()})
		if size += len(item.Key()) + len(value); size >= frameSize {
			return true, flush()
		}
		return true, nil
	})
	if err == nil && size > 0 {
		err = flush()
	}
	if err == nil {
		err = w.frame(nil)
	}
	if err != nil {
		return err
	}
	_, err = to.Write(w.digest.Sum(nil))
	return err
}

type frameWriter struct {
	w      io.Writer
	digest hash.Hash
}

func (w *frameWriter) write(data []byte) error {
	w.digest.Write(data)
	_, err := w.w.Write(data)
	return err
}

func (w *frameWriter) frame(data []byte) error {
	return errors.Join(w.write(binary.BigEndian.AppendUint32(nil, uint32(len(data)))), w.write(data))
}

// CheckBackup reads a backup to its end and tells what it is. [ErrBackup] where
// it is not as it was written, [ErrSchema] where only a later program knows it.
func CheckBackup(ctx context.Context, from io.Reader) (BackupInfo, error) {
	return readBackup(ctx, from, func(*pb.KV) error { return nil })
}

// readBackup gives the records of a backup. That they are whole is only known
// when it has returned without an error.
func readBackup(ctx context.Context, from io.Reader, each func(*pb.KV) error) (BackupInfo, error) {
	var info BackupInfo
	r := &frameReader{r: bufio.NewReaderSize(from, frameSize), digest: sha256.New()}
	magic, err := r.read(len(backupMagic))
	if err != nil || string(magic) != backupMagic {
		return info, fmt.Errorf("%w: it does not begin like one", ErrBackup)
	}
	header, err := r.frame()
	if err != nil {
		return info, err
	}
	if err := json.Unmarshal(header, &info); err != nil {
		return info, fmt.Errorf("%w: its header: %w", ErrBackup, err)
	}
	if info.Format != backupFormat || info.Schema > Schema {
		return info, fmt.Errorf("%w: the backup has format %d and schema %d, this program knows format %d and schemas up to %d",
			ErrSchema, info.Format, info.Schema, backupFormat, Schema)
	}
	for {
		if err := ctx.Err(); err != nil {
			return info, err
		}
		data, err := r.frame()
		if err != nil {
			return info, err
		}
		if len(data) == 0 {
			return info, r.end()
		}
		var batch pb.KVList
		if err := proto.Unmarshal(data, &batch); err != nil {
			return info, fmt.Errorf("%w: %w", ErrBackup, err)
		}
		for _, kv := range batch.Kv {
			if err := each(kv); err != nil {
				return info, err
			}
			info.Records++
		}
	}
}

type frameReader struct {
	r      *bufio.Reader
	digest hash.Hash
}

func (r *frameReader) read(n int) ([]byte, error) {
	data := make([]byte, n)
	if _, err := io.ReadFull(r.r, data); err != nil {
		if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
			return nil, fmt.Errorf("%w: it was cut off", ErrBackup)
		}
		return nil, err
	}
	r.digest.Write(data)
	return data, nil
}

func (r *frameReader) frame() ([]byte, error) {
	length, err := r.read(4)
	if err != nil {
		return nil, err
	}
	n := binary.BigEndian.Uint32(length)
	if n > maxFrame {
		return nil, fmt.Errorf("%w: a part of %d bytes", ErrBackup, n)
	}
	return r.read(int(n))
}

// end compares the digest and wants nothing after it.
func (r *frameReader) end() error {
	want := r.digest.Sum(nil)
	got, err := r.read(sha256.Size)
	if err != nil {
		return err
	}
	if !bytes.Equal(got, want) {
		return fmt.Errorf("%w: the digest does not fit", ErrBackup)
	}
	if _, err := r.r.ReadByte(); !errors.Is(err, io.EOF) {
		return fmt.Errorf("%w: there is more after its end", ErrBackup)
	}
	return nil
}
