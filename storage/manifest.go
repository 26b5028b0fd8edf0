package storage

import (
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"github.com/cespare/xxhash/v2"
)

// maxTableKey bounds the key of a table, in bytes.
const maxTableKey = 1024

// tableFormat is the version of the manifest and the chunks.
const tableFormat = 1

var errDamaged = errors.New("damaged")

// manifest says what a table consists of. It is stored as JSON behind its own
// checksum, like a chunk.
type manifest struct {
	Format     int       `json:"format"`
	Key        string    `json:"key"`
	Generation uint64    `json:"generation"`
	Size       int64     `json:"size"`   // bytes
	Chunks     int       `json:"chunks"` // each of chunkSize but the last
	Digest     string    `json:"digest"` // SHA-256 over the checksums of the chunks in order, hexadecimal
	Created    time.Time `json:"created"`
}

func manifestKey(key string) []byte        { return []byte("t/" + key) }
func chunkPrefix(generation uint64) []byte { return be("c/", generation) }

func chunkKey(generation uint64, index int) []byte {
	return binary.BigEndian.AppendUint32(chunkPrefix(generation), uint32(index))
}

func (m manifest) encode() []byte {
	data, _ := json.Marshal(m) // plain fields can always be encoded
	return seal(make([]byte, 8, 8+len(data)), data)
}

func decodeManifest(sealed []byte) (manifest, error) {
	var m manifest
	data, _, err := unseal(sealed)
	if err != nil {
		return m, fmt.Errorf("manifest: %w", err)
	}
	if err := json.Unmarshal(data, &m); err != nil {
		return m, fmt.Errorf("manifest: %w: %w", errDamaged, err)
	}
	if m.Format != tableFormat {
		return m, fmt.Errorf("manifest: %w: format %d, this program knows %d", errDamaged, m.Format, tableFormat)
	}
	return m, nil
}

// A sealed value is drawn
//
//	xxhash64 of the data: 8, little-endian | data

// seal appends data to head, whose first 8 bytes it fills.
func seal(head, data []byte) []byte {
	sealed := append(head, data...)
	binary.LittleEndian.PutUint64(sealed, xxhash.Sum64(sealed[8:]))
	return sealed
}

func unseal(sealed []byte) (data []byte, sum uint64, err error) {
	if len(sealed) < 8 {
		return nil, 0, fmt.Errorf("%w: %d bytes", errDamaged, len(sealed))
	}
	data, sum = sealed[8:], binary.LittleEndian.Uint64(sealed)
	if xxhash.Sum64(data) != sum {
		return nil, 0, fmt.Errorf("%w: the checksum does not fit", errDamaged)
	}
	return data, sum, nil
}
