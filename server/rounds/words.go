package rounds

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"math/rand/v2"

	"turnwright/search/notation"
	"turnwright/search/puzzle"
	"turnwright/search/word"
)

// Words scrambles with random canonical words: of the words of one length, that do not
// merge into shorter ones, each letter is drawn from those that may come next.
type Words struct{ Length int }

// Commit is the SHA-256, in hexadecimal digits, of the line "turnwright round seed" and the
// seed's own digits.
func (Words) Commit(seed string) string {
	sum := sha256.Sum256([]byte("turnwright round seed\n" + seed))
	return hex.EncodeToString(sum[:])
}

// Scrambles draws from ChaCha8, keyed by SHA-256 of seed, round and number.
func (w Words) Scrambles(ctx context.Context, p *puzzle.Puzzle, seed, round string, attempts int) ([]string, string, error) {
	alphabet, err := word.New(p, puzzle.STM)
	if err != nil {
		return nil, "", err
	}
	var out []string
	for n := 1; n <= attempts; n++ {
		if err := ctx.Err(); err != nil {
			return nil, "", err
		}
		rnd := rand.New(rand.NewChaCha8(sha256.Sum256(fmt.Appendf(nil, "%s %s %d", seed, round, n))))
		var letters []int
		for state := alphabet.Start(); len(letters) < w.Length; {
			letter := rnd.IntN(len(alphabet.Letters))
			if next := alphabet.Next(state, letter); next >= 0 {
				letters, state = append(letters, letter), next
			}
		}
		turns, _ := p.FromFrame(puzzle.STM, alphabet.Syllables(letters))
		out = append(out, notation.Print(p, turns))
	}
	return out, fmt.Sprintf("random words of %d letters", w.Length), nil
}
