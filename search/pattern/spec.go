package pattern

import (
	"cmp"
	"crypto/sha256"
	"errors"
	"fmt"
	"slices"

	"turnwright/search/word"
)

// Spec says what a table holds: the distances of positions of a few pieces from
// those in which all of them are where they are wanted. Make it with [NewSpec].
type Spec struct {
	Alphabet *word.Alphabet
	Wants    []Want // by piece

	layout *Layout
}

// formatVersion changes whenever the same spec makes other bytes.
const formatVersion = 1

// MaxEntries is the most positions that a table can have.
const MaxEntries = 1 << 40

// NewSpec makes a spec. It fails where the pieces have more than 64 places or
// 2⁴⁰ positions, where a piece is named twice, or where one can never be
// anywhere that it is wanted.
func NewSpec(a *word.Alphabet, wants []Want) (Spec, error) { return newSpec(newOrbits(a), wants) }

func newSpec(o *orbits, wants []Want) (Spec, error) {
	a := o.alphabet
	wants = slices.Clone(wants)
	slices.SortFunc(wants, func(x, y Want) int { return cmp.Compare(x.Piece, y.Piece) })
	if len(wants) == 0 {
		return Spec{}, errors.New("a pattern table needs a piece")
	}
	if err := check(a.Puzzle, wants); err != nil {
		return Spec{}, err
	}
	l, err := newLayout(o, wants)
	if err != nil {
		return Spec{}, err
	}
	if l.entries() > MaxEntries {
		return Spec{}, fmt.Errorf("a pattern table of %d pieces would have more than %d positions", len(wants), uint64(MaxEntries))
	}
	for i, w := range l.Wants {
		if !slices.ContainsFunc(w.Slots, func(s int) bool { return l.cells[l.base[i]+s].bit != 0 }) {
			return Spec{}, fmt.Errorf("piece %d can never be where it is wanted", w.Piece)
		}
	}
	return Spec{Alphabet: a, Wants: wants, layout: l}, nil
}

// Layout is how the table numbers positions.
func (s Spec) Layout() *Layout { return s.layout }

// Key identifies the table, for a cache: equal keys, equal bytes.
func (s Spec) Key() string {
	p := s.Alphabet.Puzzle
	h := sha256.New()
	fmt.Fprintf(h, "pattern %d\n%s %v\n%s %v\n%v\n", formatVersion, p.Def.Solid, p.Def.Axes,
		s.Alphabet.Metric, s.Alphabet.Letters, s.Wants)
	return fmt.Sprintf("pattern-%s-%s-%d-%x", p.Name, s.Alphabet.Metric, len(s.Wants), h.Sum(nil)[:8])
}

// Entries is the number of positions that the table tells apart, whether turns
// lead there or not.
func (s Spec) Entries() uint64 { return s.layout.entries() }

// Bytes is the memory that the table takes, and about the size of its bytes on disk.
func (s Spec) Bytes() uint64 { return 8 * words(s.Entries()) }
