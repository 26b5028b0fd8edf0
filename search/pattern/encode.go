package pattern

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"unsafe"
)

// The bytes of a pattern table, little-endian:
//
//	  8 bytes  magic "TWPATT\x00" and the version
//	  8 bytes  number of entries
//	120 bytes  numbers of entries at the distances 0 to 14, 8 bytes each
//	  then     the entries, two a byte: that of the even number in the lower four
//	           bits; filled up with 15 to a multiple of 8 bytes
const (
	magic     = "TWPATT\x00"
	headBytes = 16 + 8*(farthest+1)
)

// pieceWords is how many words of entries are converted at a time.
const pieceWords = 1 << 15

// Write writes the table. Storage adds checksums.
func (t *Table) Write(w io.Writer) error {
	head := append([]byte(magic), formatVersion)
	head = binary.LittleEndian.AppendUint64(head, t.Spec.Entries())
	for _, n := range t.found {
		head = binary.LittleEndian.AppendUint64(head, n)
	}
	if _, err := w.Write(head); err != nil {
		return fmt.Errorf("write pattern table: %w", err)
	}
	piece := make([]byte, 0, 8*pieceWords)
	for rest := t.entries; len(rest) > 0; rest = rest[min(pieceWords, len(rest)):] {
		piece = piece[:0]
		for _, word := range rest[:min(pieceWords, len(rest))] {
			piece = binary.LittleEndian.AppendUint64(piece, word)
		}
		if _, err := w.Write(piece); err != nil {
			return fmt.Errorf("write pattern table: %w", err)
		}
	}
	return nil
}

// ErrFormat is what Read returns for bytes that are not a table of the spec.
var ErrFormat = errors.New("not a pattern table of this kind")

// headOf reads the head: what the table says of its entries.
func headOf(spec Spec, head []byte) (found [farthest + 1]uint64, err error) {
	if string(head[:7]) != magic || head[7] != formatVersion || binary.LittleEndian.Uint64(head[8:]) != spec.Entries() {
		return found, ErrFormat
	}
	for d := range found {
		found[d] = binary.LittleEndian.Uint64(head[16+8*d:])
	}
	return found, nil
}

// Read reads a table that Write wrote for the same spec. It counts the entries
// and refuses a table in which there are others than it says.
func Read(spec Spec, r io.Reader) (*Table, error) {
	head := make([]byte, headBytes)
	if _, err := io.ReadFull(r, head); err != nil {
		return nil, fmt.Errorf("read pattern table: %w", err)
	}
	says, err := headOf(spec, head)
	if err != nil {
		return nil, fmt.Errorf("read pattern table: %w", err)
	}
	t := empty(spec)
	t.found = says
	piece := make([]byte, 8*min(pieceWords, len(t.entries)))
	var pairs [256]uint64 // how often each byte is there
	for rest := t.entries; len(rest) > 0; {
		n := min(pieceWords, len(rest))
		if _, err := io.ReadFull(r, piece[:8*n]); err != nil {
			return nil, fmt.Errorf("read pattern table: %w", err)
		}
		for i := range n {
			rest[i] = binary.LittleEndian.Uint64(piece[8*i:])
		}
		for _, b := range piece[:8*n] {
			pairs[b]++
		}
		rest = rest[n:]
	}
	var found [farthest + 2]uint64
	for b, n := range pairs {
		found[b&15] += n
		found[b>>4] += n
	}
	if [farthest + 1]uint64(found[:farthest+1]) != t.found {
		return nil, fmt.Errorf("read pattern table: %w", ErrFormat)
	}
	return t, nil
}

// Map uses a table that Write wrote for the same spec where it is, copying nothing: in a
// file that is mapped into memory, say, and shared by several processes. The bytes
// must begin at a multiple of eight and not change while the table is in use. It
// does not count the entries: who keeps the bytes vouches for them.
func Map(spec Spec, data []byte) (*Table, error) {
	n := words(spec.Entries())
	if uint64(len(data)) != headBytes+8*n || uintptr(unsafe.Pointer(unsafe.SliceData(data)))%8 != 0 {
		return nil, fmt.Errorf("map pattern table: %w: %d bytes", ErrFormat, len(data))
	}
	found, err := headOf(spec, data)
	if err != nil {
		return nil, fmt.Errorf("map pattern table: %w", err)
	}
	entries := unsafe.Slice((*uint64)(unsafe.Pointer(unsafe.SliceData(data[headBytes:]))), n)
	return &Table{Spec: spec, Layout: spec.layout, entries: entries, found: found}, nil
}
