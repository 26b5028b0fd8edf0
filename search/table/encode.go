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
//	4 bytes  zero, where the filter would not begin at a multiple of eight
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
	for _, part := range [][]byte{bytesOf(t.offset), bytesOf(t.entries), make([]byte, t.padding()), bytesOf(t.filter)} {
		if _, err := w.Write(part); err != nil {
			return fmt.Errorf("write near table: %w", err)
		}
	}
	return nil
}

// ErrFormat is what Read returns for bytes that are not a table of the spec.
var ErrFormat = errors.New("not a near table of this kind")

// padding is how many bytes come before the filter.
func (t *Near) padding() int { return 4 * ((len(t.offset) + len(t.entries)) % 2) }

// entriesOf reads the head: how many entries follow.
func entriesOf(spec Spec, head []byte) (uint64, error) {
	size := binary.LittleEndian.Uint64(head[8:])
	share := spec.share()
	if string(head[:7]) != magic || head[7] != formatVersion || size > spec.Words() ||
		binary.LittleEndian.Uint64(head[16:]) != 1<<bucketBits(share) ||
		binary.LittleEndian.Uint64(head[24:]) != 1<<filterBits(share)/64 {
		return 0, ErrFormat
	}
	return size, nil
}

// check tells whether the buckets are in order, so that no look-up leaves the table.
func (t *Near) check() error {
	for b := range len(t.offset) - 1 {
		if t.offset[b] > t.offset[b+1] || int(t.offset[b+1]) > len(t.entries) {
			return ErrFormat
		}
	}
	return nil
}

// Read reads a table that Write wrote for the same spec.
func Read(spec Spec, r io.Reader) (*Near, error) {
	r = bufio.NewReaderSize(r, 1<<20)
	head := make([]byte, headBytes)
	if _, err := io.ReadFull(r, head); err != nil {
		return nil, fmt.Errorf("read near table: %w", err)
	}
	size, err := entriesOf(spec, head)
	if err != nil {
		return nil, fmt.Errorf("read near table: %w", err)
	}
	t, err := empty(spec, size)
	if err != nil {
		return nil, err
	}
	for _, part := range [][]byte{bytesOf(t.offset), bytesOf(t.entries), make([]byte, t.padding()), bytesOf(t.filter)} {
		if _, err := io.ReadFull(r, part); err != nil {
			return nil, fmt.Errorf("read near table: %w", err)
		}
	}
	if err := t.check(); err != nil {
		return nil, fmt.Errorf("read near table: %w", err)
	}
	return t, nil
}

// Map uses a table that Write wrote for the same spec where it is, copying nothing: in a
// file that is mapped into memory, say, and shared by several processes. The bytes
// must begin at a multiple of eight and not change while the table is in use.
func Map(spec Spec, data []byte) (*Near, error) {
	if len(data) < headBytes || uintptr(unsafe.Pointer(unsafe.SliceData(data)))%8 != 0 {
		return nil, fmt.Errorf("map near table: %w", ErrFormat)
	}
	size, err := entriesOf(spec, data)
	if err != nil {
		return nil, fmt.Errorf("map near table: %w", err)
	}
	t, err := frameOf(spec)
	if err != nil {
		return nil, err
	}
	share := spec.share()
	rest := data[headBytes:]
	want := 4*(1<<bucketBits(share)+1) + 4*size + 1<<filterBits(share)/8
	if uint64(len(rest)) != want && uint64(len(rest)) != want+4 {
		return nil, fmt.Errorf("map near table: %w: %d bytes", ErrFormat, len(data))
	}
	t.offset, rest = viewOf[uint32](rest, 1<<bucketBits(share)+1)
	t.entries, rest = viewOf[uint32](rest, int(size))
	if len(rest) < t.padding() || uint64(len(rest)-t.padding()) != 1<<filterBits(share)/8 {
		return nil, fmt.Errorf("map near table: %w: %d bytes", ErrFormat, len(data))
	}
	t.filter, _ = viewOf[uint64](rest[t.padding():], 1<<filterBits(share)/64)
	if err := t.check(); err != nil {
		return nil, fmt.Errorf("map near table: %w", err)
	}
	return t, nil
}

// viewOf views the first bytes as n numbers, and gives the bytes after them.
func viewOf[T uint32 | uint64](data []byte, n int) ([]T, []byte) {
	size := n * int(unsafe.Sizeof(*new(T)))
	return unsafe.Slice((*T)(unsafe.Pointer(unsafe.SliceData(data))), n), data[size:]
}

// bytesOf views numbers as the bytes they are in memory. All platforms that
// this is built for are little-endian; a test says so.
func bytesOf[T uint32 | uint64](xs []T) []byte {
	return unsafe.Slice((*byte)(unsafe.Pointer(unsafe.SliceData(xs))), len(xs)*int(unsafe.Sizeof(*new(T))))
}
