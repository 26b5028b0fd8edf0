// Package variant makes other sequences out of one that is known: turned with the
// puzzle, mirrored, inverted, begun at another of its turns, set up by turns before
// it that are undone after it.
//
// The one idea: what such a sequence does follows from what the first one does, by
// a few look-ups and without carrying anything out. A sequence makes a cycle and
// may leave the whole puzzle rotated; both are kept beside it, and both are carried
// along:
//
//	T   does the cycle c, then the rotation r
//	Tˢ  does cˢ, then s⁻¹ r s     its turns as a symmetry s carries them
//	T⁻¹ as r⁻¹ carries it does c⁻¹, then r⁻¹
//	A T (A⁻¹ as r carries it) does A c A⁻¹, then r     the turns after T are about
//	                              other axes of the room, and the same ones of the puzzle
//
//	b, err := variant.NewBench(p, g, puzzle.STM)
//	s, err := b.Read(turns, nil)   // carried out by the slow judge
//	i := b.Image(s, b.Symmetries[3])
//	j := b.SetUp(s, setup)         // what merges or cancels is merged and cancelled
//
// It doesn't say which of them is wanted: packages coverage, fit and improve do.
package variant
