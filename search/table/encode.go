package table

import (
	"bufio"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"unsafe"
)

// The bytes of a near table, little-endian:
//
//	8 bytes  magic "TWNEAR\x00" and the version
//	8 bytes  number of entries
//	8 bytes  number of buckets
//	8 bytes  number of words of the filter
//	4 bytes  a bucket: its offset, and one more at the end
//	4 bytes  an entry
//	8 bytes  a word of the filter
const (
	magic     = "TWNEAR\x00"
	headBytes = 32
)

// Write writes the table. Storage adds checksums.
func (t *Near) Write(w io.Writer) error {
	head := make([]byte, headBytes)
	copy(head, magic)
	head[7] = formatVersion
	binary.LittleEndian.PutUint64(head[8:], uint64(len(t.entries)))
	binary.LittleEndian.PutUint64(head[16:], uint64(len(t.offset)-1))
	binary.LittleEndian.PutUint64(head[24:], uint64(len(t.filter)))
	if _, err := w.Write(head); err != nil {
		return fmt.Errorf("write near table: %w", err)
	}
	for _, part := range [][]byte{bytesOf(t.offset), bytesOf(t.entries), bytesOf(t.filter)} {
		if _, err := w.Write(part); err != nil {
			return fmt.Errorf("write near table: %w", err)
		}
	}
	return nil
}

// ErrFormat is what Read returns for bytes that are not a table of the spec.
var ErrFormat = errors.New("not a near table of this kind")

// Read reads a table that Write wrote for the same spec.
func Read(spec Spec, r io.Reader) (*Near, error) {
	r = bufio.NewReaderSize(r, 1<<20)
	head := make([]byte, headBytes)
	if _, err := io.ReadFull(r, head); err != nil {
		return nil, fmt.Errorf("read near table: %w", err)
	}
	size := binary.LittleEndian.Uint64(head[8:])
	if string(head[:7]) != magic || head[7] != formatVersion || size > spec.Words() {
		return nil, fmt.Errorf("read near table: %w", ErrFormat)
	}
	t, err := empty(spec, size)
	if err != nil {
		return nil, err
	}
	if binary.LittleEndian.Uint64(head[16:]) != uint64(len(t.offset)-1) ||
		binary.LittleEndian.Uint64(head[24:]) != uint64(len(t.filter)) {
		return nil, fmt.Errorf("read near table: %w", ErrFormat)
	}
	for _, part := range [][]byte{bytesOf(t.offset), bytesOf(t.entries), bytesOf(t.filter)} {
		if _, err := io.ReadFull(r, part); err != nil {
			return nil, fmt.Errorf("read near table: %w", err)
		}
	}
	for b := range len(t.offset) - 1 {
		if t.offset[b] > t.offset[b+1] || int(t.offset[b+1]) > len(t.entries) {
			return nil, fmt.Errorf("read near table: %w", ErrFormat)
		}
	}
	return t, nil
}

// bytesOf views numbers as the bytes they are in memory. All platforms that
// this is built for are little-endian; a test says so.
func bytesOf[T uint32 | uint64](xs []T) []byte {
	return unsafe.Slice((*byte)(unsafe.Pointer(unsafe.SliceData(xs))), len(xs)*int(unsafe.Sizeof(*new(T))))
}
