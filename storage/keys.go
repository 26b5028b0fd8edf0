package storage

import (
	"encoding/binary"
	"fmt"
	"math"
)

// Keys begin with a letter and a slash; numbers are big-endian, so that the
// order of the keys is the order of the numbers. FORMAT.md lists them.
//
// All that belongs to a search hangs on its number, not on its id: an id can
// come back after a deletion, a number can't.

const (
	prefixSearch  = "s/"
	prefixActive  = "a/"
	prefixDeleted = "d/"
	prefixPuzzle  = "z/"
	prefixMember  = "b/"
	prefixToken   = "k/"
	prefixAudit   = "o/"
	prefixRound   = "v/"
	prefixSecret  = "c/" // of rounds; sealed
	prefixSheet   = "x/" // sealed
	prefixView    = "t/"

	keySchema = "m/schema"
	keyNext   = "m/next"   // the number of the next search
	keyActive = "m/active" // how many searches have not ended
	keyToken  = "m/token"
	keyAudit  = "m/audit"  // the number of the last audit entry
	keyRounds = "m/rounds" // the number of the last round
)

// MaxText bounds the text of a finding, in bytes.
const MaxText = 4096

func be(prefix string, n uint64) []byte { return binary.BigEndian.AppendUint64([]byte(prefix), n) }

// searchKey counts down, so that the latest search comes first.
func searchKey(n uint64) []byte   { return be(prefixSearch, ^n) }
func progressKey(n uint64) []byte { return be("p/", n) }
func activeKey(n uint64) []byte   { return be(prefixActive, n) }
func deletedKey(n uint64) []byte  { return be(prefixDeleted, n) }

func searchIDKey(id string) []byte    { return []byte("n/" + id) }
func requestKey(r Request) []byte     { return []byte("r/" + path(r.By, r.ID)) }
func puzzleKey(name string) []byte    { return []byte(prefixPuzzle + name) }
func puzzleNameKey(any string) []byte { return []byte("y/" + any) }

// ownedKey counts down like searchKey.
func ownedPrefix(owner string) []byte        { return []byte("j/" + owner + "/") }
func ownedKey(owner string, n uint64) []byte { return be(string(ownedPrefix(owner)), ^n) }
func waitingKey(owner string) []byte         { return []byte("g/" + owner) }

func memberKey(id string) []byte        { return []byte(prefixMember + id) }
func tokensPrefix(member string) []byte { return []byte(prefixToken + member + "/") }
func tokenKey(member, id string) []byte { return []byte(prefixToken + path(member, id)) }
func tokenHashKey(hash [32]byte) []byte { return append([]byte("h/"), hash[:]...) }
func auditKey(n uint64) []byte          { return be(prefixAudit, ^n) }

// roundKey counts down like searchKey.
func roundKey(n uint64) []byte      { return be(prefixRound, ^n) }
func roundIDKey(id string) []byte   { return []byte("w/" + id) }
func secretKey(n uint64) []byte     { return be(prefixSecret, n) }
func viewPrefix(n uint64) []byte    { return be(prefixView, n) }
func viewKey(n, view uint64) []byte { return binary.BigEndian.AppendUint64(viewPrefix(n), view) }
func sheetPrefix(n uint64) []byte   { return be(prefixSheet, n) }

// sheetsOf ends a member's id with a zero, so that no other begins with it.
func sheetsOf(n uint64, member string) []byte { return append(append(sheetPrefix(n), member...), 0) }

func sheetKey(n uint64, member string, attempt int) []byte {
	return append(sheetsOf(n, member), byte(attempt))
}

// path joins what may be empty and an id. Ids have no slash.
func path(of, id string) string {
	if of == "" {
		return id
	}
	return of + "/" + id
}

func unitPrefix(n uint64, length int) []byte {
	return binary.BigEndian.AppendUint16(be("u/", n), uint16(length))
}

func unitKey(n uint64, length, index int) []byte {
	return binary.BigEndian.AppendUint32(unitPrefix(n, length), uint32(index))
}

func findingPrefix(n uint64) []byte { return be("f/", n) }

// findingKey holds the rank:
//
//	f/ search:8 length:2 axes:1 len(text):2 text id
func findingKey(n uint64, f *Finding) []byte {
	k := findingPrefix(n)
	k = binary.BigEndian.AppendUint16(k, uint16(f.Length))
	k = append(k, byte(f.Axes))
	k = binary.BigEndian.AppendUint16(k, uint16(len(f.Text)))
	k = append(k, f.Text...)
	return append(k, f.ID...)
}

func findingIDKey(n uint64, id string) []byte { return append(be("i/", n), id...) }

func eventPrefix(n uint64) []byte { return be("e/", n) }

func eventKey(n, event uint64) []byte {
	return binary.BigEndian.AppendUint64(eventPrefix(n), event)
}

// searchPrefixes are the keys that a deleted search leaves to the sweeper.
func searchPrefixes(n uint64) [][]byte {
	return [][]byte{progressKey(n), be("u/", n), be("l/", n), be("f/", n), be("i/", n), be("e/", n)}
}

// checkFinding refuses what would not fit its key.
func checkFinding(f *Finding) error {
	switch {
	case f.ID == "" || len(f.ID) > 64:
		return fmt.Errorf("%w: finding with an id of %d bytes", ErrTooBig, len(f.ID))
	case f.Length < 0 || f.Length > math.MaxUint16, f.Axes < 0 || f.Axes > math.MaxUint8:
		return fmt.Errorf("%w: finding %s with length %d about %d axes", ErrTooBig, f.ID, f.Length, f.Axes)
	case len(f.Text) > MaxText, len(f.Structure) > MaxText:
		return fmt.Errorf("%w: finding %s with %d bytes of text, %d of structure", ErrTooBig, f.ID, len(f.Text), len(f.Structure))
	}
	return nil
}

// numberOf reads the search's number from a key that begins with it; 0, which is
// none, from a key that is too short.
func numberOf(key []byte) uint64 {
	if len(key) < 10 {
		return 0
	}
	return binary.BigEndian.Uint64(key[2:])
}

// ownedNumber reads the search's number from a key of the j/ kind.
func ownedNumber(key []byte) uint64 { return ^binary.BigEndian.Uint64(key[len(key)-8:]) }

// unitIndex reads the unit's index from its key.
func unitIndex(key []byte) int { return int(binary.BigEndian.Uint32(key[len(key)-4:])) }

// unitLength reads the unit's length from its key.
func unitLength(key []byte) int { return int(binary.BigEndian.Uint16(key[10:])) }

// eventOf reads the event's number from its key; 0, which is none, from a key of
// another length.
func eventOf(key []byte) uint64 {
	if len(key) != 18 {
		return 0
	}
	return binary.BigEndian.Uint64(key[10:])
}
