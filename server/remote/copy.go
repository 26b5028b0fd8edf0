package remote

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"os"

	v1 "turnwright/api/turnwright/v1"
)

// copyTable gives this worker's own copy of a table, read from the server if it is not
// there. It is checked while it is written; what has its name is whole. Who gets it leaves
// it to the cache again.
func (w *worker) copyTable(ctx context.Context, at *v1.LocateTableResponse) (*os.File, error) {
	if !tableID.MatchString(at.GetId()) { // it becomes the name of a file
		return nil, fmt.Errorf("the server calls a table %q", at.GetId())
	}
	if err := os.MkdirAll(w.cache.dir, 0o700); err != nil {
		return nil, err
	}
	if kept, err := w.cache.open(at.GetId(), at.GetSize()); kept != nil || err != nil {
		return kept, err
	}
	file, err := w.cache.begin(at.GetSize())
	if err != nil {
		return nil, err
	}
	err = w.read(ctx, at, file)
	if err == nil {
		err = file.Sync() // a host may die after the renaming and before the data are on disk
	}
	if err != nil {
		return nil, errors.Join(fmt.Errorf("copy table: %w", err), w.cache.drop(file))
	}
	return w.cache.finish(file, at.GetId(), at.GetSize())
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
