package remote

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"regexp"

	v1 "turnwright/api/turnwright/v1"
	"turnwright/storage"
)

// tableID is what the server may call a table: it becomes the name of a file.
var tableID = regexp.MustCompile(`^[a-z0-9-]{1,64}$`)

// copyTable gives this worker's own copy of a table, read from the server if it is not
// there. It is checked while it is written; what has its name is whole.
func (w *worker) copyTable(ctx context.Context, at *v1.LocateTableResponse) (string, error) {
	if !tableID.MatchString(at.GetId()) {
		return "", fmt.Errorf("the server calls a table %q", at.GetId())
	}
	if err := os.MkdirAll(w.opt.Cache, 0o700); err != nil {
		return "", err
	}
	path := filepath.Join(w.opt.Cache, at.GetId())
	if info, err := os.Stat(path); err == nil && info.Size() == at.GetSize() {
		return path, nil
	}
	if err := room(w.opt.Cache, at.GetSize()); err != nil {
		return "", err
	}
	file, err := os.CreateTemp(w.opt.Cache, "new-*")
	if err != nil {
		return "", err
	}
	err = w.read(ctx, at, file)
	if err == nil {
		err = file.Sync() // a host may die after the renaming and before the data are on disk
	}
	if err = errors.Join(err, file.Close()); err == nil {
		err = os.Rename(file.Name(), path)
	}
	if err != nil {
		return "", errors.Join(fmt.Errorf("copy table: %w", err), os.Remove(file.Name()))
	}
	return path, nil
}

// spare is how many bytes of disk stay free.
const spare = 512 << 20

func room(dir string, size int64) error {
	free, err := storage.FreeBytes(dir)
	if err != nil {
		return err
	}
	if int64(free) < size+spare {
		return fmt.Errorf("the table has %d MiB, and %s has %d MiB free: make room there, or name another place with --cache", size>>20, dir, free>>20)
	}
	return nil
}

func (w *worker) read(ctx context.Context, at *v1.LocateTableResponse, file io.Writer) error {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	stream, err := w.opt.Client.ReadTable(ctx, &v1.ReadTableRequest{Id: at.GetId()})
	if err != nil {
		return err
	}
	digest := sha256.New()
	size := int64(0)
	for {
		piece, err := stream.Recv()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return err
		}
		if size += int64(len(piece.GetData())); size > at.GetSize() {
			return fmt.Errorf("the server sends more than the %d bytes that it said", at.GetSize())
		}
		digest.Write(piece.GetData())
		if _, err := file.Write(piece.GetData()); err != nil {
			return err
		}
	}
	if sum := fmt.Sprintf("%x", digest.Sum(nil)); size != at.GetSize() || sum != at.GetDigest() {
		return fmt.Errorf("what came has %d bytes and digest %s, it should be %d and %s", size, sum, at.GetSize(), at.GetDigest())
	}
	return nil
}
