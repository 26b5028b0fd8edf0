package storage

import (
	"context"
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"fmt"
	"hash"
	"io"

	"github.com/dgraph-io/badger/v4"
)

// chunkSize is the payload of a chunk. It stays below the size from which Badger
// keeps values apart, where only a later compaction would free them.
const chunkSize = 512 << 10

// chunkWriter cuts a stream into sealed chunks of one generation.
type chunkWriter struct {
	ctx        context.Context
	cache      *tableCache
	generation uint64
	buf        []byte // 8 bytes for the checksum, then data
	size       int64
	chunks     int
	digest     hash.Hash
}

func newChunkWriter(ctx context.Context, c *tableCache, generation uint64) *chunkWriter {
	return &chunkWriter{ctx: ctx, cache: c, generation: generation, buf: make([]byte, 8, 8+chunkSize), digest: sha256.New()}
}

func (w *chunkWriter) Write(p []byte) (n int, err error) {
	for n < len(p) {
		room := min(8+chunkSize-len(w.buf), len(p)-n)
		w.buf = append(w.buf, p[n:n+room]...)
		n += room
		if len(w.buf) == 8+chunkSize {
			if err := w.flush(); err != nil {
				return n, err
			}
		}
	}
	return n, nil
}

// flush writes one chunk in a transaction of its own.
func (w *chunkWriter) flush() error {
	if err := w.ctx.Err(); err != nil {
		return err
	}
	if err := w.cache.disk.check(cached); err != nil {
		return err
	}
	if _, err := w.cache.fits(w.size + int64(len(w.buf)-8)); err != nil {
		return err
	}
	sealed := seal(w.buf[:8], w.buf[8:])
	key := chunkKey(w.generation, w.chunks)
	// The transaction keeps no reference once it is committed, so buf is free again.
	if err := w.cache.db.Update(func(txn *badger.Txn) error { return txn.Set(key, sealed) }); err != nil {
		return fmt.Errorf("chunk %d: %w", w.chunks, err)
	}
	w.digest.Write(sealed[:8])
	w.size += int64(len(sealed) - 8)
	w.chunks++
	w.buf = w.buf[:8]
	return nil
}

// finish writes the last, shorter chunk.
func (w *chunkWriter) finish() error {
	if len(w.buf) == 8 {
		return nil
	}
	return w.flush()
}

func (w *chunkWriter) manifest(key string) manifest {
	return manifest{
		Format: tableFormat, Key: key, Generation: w.generation,
		Size: w.size, Chunks: w.chunks, Digest: fmt.Sprintf("%x", w.digest.Sum(nil)),
		Created: now(),
	}
}

// chunkReader gives the chunks of a table as one stream. Each chunk is checked
// before a byte of it is given away, and no transaction is open in between.
type chunkReader struct {
	ctx    context.Context
	db     *badger.DB
	m      manifest
	buf    []byte // of the chunk
	rest   []byte // not yet read part of buf
	size   int64
	chunk  int
	digest hash.Hash
	damage error // why the table can't be trusted
}

func newChunkReader(ctx context.Context, db *badger.DB, m manifest) *chunkReader {
	return &chunkReader{ctx: ctx, db: db, m: m, digest: sha256.New()}
}

func (r *chunkReader) Read(p []byte) (int, error) {
	if r.damage != nil {
		return 0, r.damage
	}
	for len(r.rest) == 0 {
		if r.chunk == r.m.Chunks {
			return 0, r.end()
		}
		if err := r.fetch(); err != nil {
			return 0, err
		}
	}
	n := copy(p, r.rest)
	r.rest = r.rest[n:]
	return n, nil
}

func (r *chunkReader) fetch() error {
	if err := r.ctx.Err(); err != nil {
		return err
	}
	err := r.db.View(func(txn *badger.Txn) error {
		item, err := txn.Get(chunkKey(r.m.Generation, r.chunk))
		if errors.Is(err, badger.ErrKeyNotFound) {
			return fmt.Errorf("%w: missing", errDamaged)
		}
		if err != nil {
			return err
		}
		r.buf, err = item.ValueCopy(r.buf)
		return err
	})
	if err == nil {
		var sum uint64
		if r.rest, sum, err = unseal(r.buf); err == nil {
			r.digest.Write(binary.LittleEndian.AppendUint64(nil, sum))
			r.size += int64(len(r.rest))
			r.chunk++
			return nil
		}
	}
	err = fmt.Errorf("chunk %d of %d: %w", r.chunk, r.m.Chunks, err)
	if errors.Is(err, errDamaged) {
		r.damage = err
	}
	return err
}

// end compares the whole with the manifest.
func (r *chunkReader) end() error {
	if r.size != r.m.Size || fmt.Sprintf("%x", r.digest.Sum(nil)) != r.m.Digest {
		r.damage = fmt.Errorf("%w: the chunks are not those of the manifest", errDamaged)
		return r.damage
	}
	return io.EOF
}

// finish reads what the caller left, so that the end is checked too.
func (r *chunkReader) finish() error {
	_, err := io.Copy(io.Discard, r)
	return err
}
