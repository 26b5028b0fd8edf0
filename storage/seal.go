package storage

import (
	"crypto/aes"
	"crypto/cipher"
	"crypto/hmac"
	"crypto/rand"
	"crypto/sha256"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
)

// sealFile holds the secret that rounds are sealed with. It is beside the database,
// so that no backup has it.
const sealFile = "seal"

const sealSize = 32 // bytes of the secret, of keys, and AES-256's

// sealer seals what nobody may read while a round is not over: its seed and
// scrambles, and its sheets. Each round has a key of its own, which follows from the
// secret of the directory and the salt of the round. When the round closes the key
// goes into its record, and what was sealed can be read by whoever has the record.
type sealer struct{ secret []byte }

// openSeal reads the secret of a directory, or makes one.
func openSeal(dir string) (sealer, error) {
	path := filepath.Join(dir, sealFile)
	secret, err := os.ReadFile(path)
	if err == nil && len(secret) != sealSize {
		err = fmt.Errorf("%s has %d bytes, not %d: put the right one there, or move it away if no round is under way", path, len(secret), sealSize)
	}
	if err == nil || !errors.Is(err, fs.ErrNotExist) {
		return sealer{secret}, err
	}
	secret = make([]byte, sealSize)
	rand.Read(secret) // never fails
	made := path + ".new"
	if err := os.WriteFile(made, secret, 0o600); err != nil {
		return sealer{}, fmt.Errorf("make the seal: %w", err)
	}
	if err := errors.Join(syncPath(made), os.Rename(made, path), syncPath(dir)); err != nil {
		return sealer{}, fmt.Errorf("make the seal: %w", err)
	}
	return sealer{secret}, nil
}

// key is that of the round with the salt.
func (s sealer) key(salt []byte) []byte {
	h := hmac.New(sha256.New, s.secret)
	h.Write(salt)
	return h.Sum(nil)
}

// keyMark tells whether a key is the right one, and nothing else about it.
func keyMark(key []byte) []byte {
	sum := sha256.Sum256(append([]byte("turnwright round key\n"), key...))
	return sum[:8]
}

// keyOf is the key of a round; [ErrSealMissing] where it can't be known here.
func (s sealer) keyOf(r *Round) ([]byte, error) {
	key := r.Key
	if len(key) == 0 {
		key = s.key(r.Salt)
	}
	if len(key) != sealSize || !hmac.Equal(keyMark(key), r.Mark) {
		return nil, fmt.Errorf("round %q: %w", r.ID, ErrSealMissing)
	}
	return key, nil
}

// encrypt seals a record for one place in the database, and fills it up to so many
// bytes first, so that its size does not tell what is in it.
func encrypt(key, place []byte, record any, size int) ([]byte, error) {
	data, err := json.Marshal(record)
	if err != nil {
		return nil, fmt.Errorf("record %q: %w", place, err)
	}
	plain := binary.BigEndian.AppendUint32(make([]byte, 0, max(size, 4+len(data))), uint32(len(data)))
	plain = append(plain, data...)
	if size > 0 && len(plain) > size {
		return nil, fmt.Errorf("%w: record of %d bytes where %d are the most", ErrTooBig, len(plain), size)
	}
	return encryptBytes(key, place, plain[:max(size, len(plain))])
}

func encryptBytes(key, place, plain []byte) ([]byte, error) {
	gcm, err := gcmOf(key)
	if err != nil {
		return nil, err
	}
	return gcm.Seal(nil, nil, plain, place), nil
}

// decrypt reads what encrypt made for that place.
func decrypt[T any](key, place, sealed []byte) (T, error) {
	var record T
	plain, err := decryptBytes(key, place, sealed)
	if err != nil {
		return record, err
	}
	if len(plain) < 4 || uint64(binary.BigEndian.Uint32(plain)) > uint64(len(plain)-4) {
		return record, fmt.Errorf("record %q: what is in the seal is cut off", place)
	}
	if err := json.Unmarshal(plain[4:4+binary.BigEndian.Uint32(plain)], &record); err != nil {
		return record, fmt.Errorf("record %q: %w", place, err)
	}
	return record, nil
}

func decryptBytes(key, place, sealed []byte) ([]byte, error) {
	gcm, err := gcmOf(key)
	if err != nil {
		return nil, err
	}
	plain, err := gcm.Open(nil, nil, sealed, place)
	if err != nil {
		return nil, fmt.Errorf("record %q: the seal does not fit", place)
	}
	return plain, nil
}

// gcmOf is AES-256-GCM with a random nonce for each message, NIST SP 800-38D: far
// from the 2³² messages that one key is good for.
func gcmOf(key []byte) (cipher.AEAD, error) {
	block, err := aes.NewCipher(key)
	if err != nil {
		return nil, err
	}
	return cipher.NewGCMWithRandomNonce(block)
}
