package scramble

import (
	"crypto/rand"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	mathrand "math/rand/v2"
	"strings"
)

// Seed is what all scrambles of a round follow from. It stays secret until the
// round is over.
type Seed [32]byte

// NewSeed is a seed from the system's source of randomness.
func NewSeed() Seed {
	var s Seed
	_, _ = rand.Read(s[:]) // never fails: it ends the program instead
	return s
}

// ParseSeed reads a seed as String writes it: 64 hexadecimal digits. Digits in
// upper case and white space around them are accepted.
func ParseSeed(text string) (Seed, error) {
	var s Seed
	text = strings.TrimSpace(text)
	if len(text) != 2*len(s) {
		return s, fmt.Errorf("a seed has %d hexadecimal digits, not %d characters", 2*len(s), len(text))
	}
	if i := strings.IndexFunc(text, func(r rune) bool { return !strings.ContainsRune("0123456789abcdefABCDEF", r) }); i >= 0 {
		return s, fmt.Errorf("character %d of the seed is no hexadecimal digit: give it as 0-9 and a-f", i+1)
	}
	_, err := hex.Decode(s[:], []byte(text))
	return s, err
}

// String writes the seed as 64 hexadecimal digits in lower case.
func (s Seed) String() string { return hex.EncodeToString(s[:]) }

// Commit is what is published about a seed before a round: the SHA-256, as 64
// hexadecimal digits, of the line that [Committed] writes. A shell tells the same:
//
//	echo turnwright seed "$SEED" way "$WAY" | sha256sum
func Commit(s Seed, way int) string {
	sum := sha256.Sum256([]byte(Committed(s, way) + "\n"))
	return hex.EncodeToString(sum[:])
}

// Committed is the line that binds to a seed, with its digits in lower case, and to the way
// that scrambles are made in from it: with another way the same seed makes others, so who
// may still choose the way may choose the scrambles. It is the same for all ways, known
// ones or not, but for [Unnumbered], where it ends with the digits.
func Committed(s Seed, way int) string {
	if way == Unnumbered {
		return "turnwright seed " + s.String()
	}
	return fmt.Sprintf("turnwright seed %s way %d", s, way)
}

// Key is the key of the stream that the scramble of a puzzle for a purpose is
// drawn from, the n-th of them: the SHA-256 of five lines,
//
//	printf 'turnwright scramble\n%s\n%s\n%d\n%s\n' "$SEED" "$PUZZLE" "$N" "$PURPOSE" | sha256sum
//
// with the seed's digits in lower case and the puzzle's own name (cube-3, not an
// alias). The purpose comes last, so no two sets of these make the same text.
func (s Seed) Key(puzzle, purpose string, n int) [32]byte {
	return sha256.Sum256(fmt.Appendf(nil, "turnwright scramble\n%s\n%s\n%d\n%s\n", s, puzzle, n, purpose))
}

// Stream is the random numbers that a scramble is made from: ChaCha8 as in
// math/rand/v2 (and so in the C2SP specification chacha8rand), with Key as its key.
func (s Seed) Stream(puzzle, purpose string, n int) *mathrand.Rand {
	return mathrand.New(mathrand.NewChaCha8(s.Key(puzzle, purpose, n)))
}
