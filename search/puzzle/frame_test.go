package puzzle_test

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"turnwright/search/puzzle"
)

func drawTurns(t *rapid.T, p *puzzle.Puzzle) []puzzle.Turn {
	draw := func(label string, n int) int { return rapid.IntRange(0, n-1).Draw(t, label) }
	return randomTurns(p, draw, rapid.IntRange(0, 8).Draw(t, "turns"))
}

func perm(p *puzzle.Puzzle, word []puzzle.Syllable) puzzle.Perm {
	out := p.Identity()
	for _, s := range word {
		out = out.Then(p.SyllablePerm(s))
	}
	return out
}

func sameSyllable(a, b puzzle.Syllable) bool {
	return a.Line == b.Line && slices.Equal(a.Amounts, b.Amounts)
}

// Turns, the syllables they come to, and the turns that those come to in every
// metric all do the same, up to the rotations that are handed back with them.
func TestFrame(t *testing.T) {
	forBuiltins(t, func(t *testing.T, p *puzzle.Puzzle) {
		rapid.Check(t, func(t *rapid.T) { checkFrame(t, p, drawTurns(t, p)) })
	})
}

// So it is with the frame held by any piece, which then rests.
func TestFrameHeldByAnyPiece(t *testing.T) {
	forBuiltins(t, func(t *testing.T, p *puzzle.Puzzle) {
		rapid.Check(t, func(t *rapid.T) {
			piece := rapid.IntRange(0, len(p.Pieces)-1).Draw(t, "piece")
			held := p.HeldBy(piece)
			assert.Equal(t, piece, held.Anchor)
			turns := drawTurns(t, p)
			checkFrame(t, held, turns)
			word, _ := held.ToFrame(turns)
			done := perm(held, word)
			lies := func(l puzzle.Line) bool { // off the line, so that its layers tell where it is
				return slices.ContainsFunc(l.Step, func(step puzzle.Perm) bool {
					return int(step[p.Pieces[piece].Stickers[0]]) != p.Pieces[piece].Stickers[0]
				})
			}
			if !slices.ContainsFunc(p.Lines, func(l puzzle.Line) bool { return !lies(l) }) {
				for _, x := range p.Pieces[piece].Stickers {
					assert.EqualValues(t, x, done[x])
				}
			}
		})
	})
}

func checkFrame(t *rapid.T, p *puzzle.Puzzle, turns []puzzle.Turn) {
	word, rotation := p.ToFrame(turns)
	assertSamePerm(t, p.Apply(turns), perm(p, word).Then(p.Symmetries[rotation].Stickers))
	for i, s := range word {
		assert.Zero(t, s.Amounts[p.Lines[s.Line].Reference], "the reference layer rests")
		assert.False(t, p.SyllablePerm(s).IsIdentity(), "no syllable is idle")
		assert.False(t, i > 0 && word[i-1].Line == s.Line, "neighbours on one line are one")
	}
	for _, m := range puzzle.Metrics() {
		back, left := p.FromFrame(m, word)
		assertSamePerm(t, perm(p, word).Then(p.Symmetries[left].Stickers), p.Apply(back))
		assert.LessOrEqual(t, cost(p, m, back), cost(p, m, turns), "%s", m)
		sum := 0
		for _, s := range word {
			sum += p.SyllableCost(m, s)
		}
		assert.Equal(t, sum, cost(p, m, back), "%s", m)
		for _, turn := range back {
			assert.Equal(t, p.Tidy(turn), turn)
		}
		again, _ := p.ToFrame(back)
		assert.True(t, slices.EqualFunc(word, again, sameSyllable), "there and back")
	}
}

// In OBTM every turn counts 1, as WCA Regulation 12a can write only outer blocks.
func TestOBTMNeedsOuterBlocksOnly(t *testing.T) {
	forBuiltins(t, func(t *testing.T, p *puzzle.Puzzle) {
		for _, s := range p.Syllables(0) { // the lines of a built-in puzzle are alike
			turns, _ := p.FromFrame(puzzle.OBTM, []puzzle.Syllable{s})
			for _, turn := range turns {
				outer := turn.From == 1 || turn.To == p.Lines[0].Layers // there may be no axis opposite
				require.True(t, outer, "%v for %v", turn, s)
			}
			require.Len(t, turns, p.SyllableCost(puzzle.OBTM, s))
		}
	})
}

func TestTidy(t *testing.T) {
	forBuiltins(t, func(t *testing.T, p *puzzle.Puzzle) {
		rapid.Check(t, func(t *rapid.T) {
			for _, turn := range drawTurns(t, p) {
				tidy := p.Tidy(turn)
				assertSamePerm(t, p.TurnPerm(turn), p.TurnPerm(tidy))
				assert.Equal(t, tidy, p.Tidy(tidy), "tidying twice is tidying once")
				for _, m := range puzzle.Metrics() {
					assert.Equal(t, p.Cost(m, turn), p.Cost(m, tidy))
				}
				steps := p.Lines[p.Axes[tidy.Axis].Line].Steps
				assert.True(t, -steps < 2*tidy.Amount && 2*tidy.Amount <= steps, "the shorter way round")
			}
		})
	})
}

func TestTidyCases(t *testing.T) {
	p, err := puzzle.Find("4x4x4")
	require.NoError(t, err)
	for _, c := range []struct {
		name string
		turn puzzle.Turn
		want puzzle.Turn
	}{
		{"an outer layer from the other side", on(p, "U", 4, 4, 1), on(p, "D", 1, 1, -1)},
		{"a block from the other side", on(p, "U", 2, 4, 1), on(p, "D", 1, 3, -1)},
		{"an inner layer from the far axis", on(p, "D", 2, 2, 1), on(p, "U", 3, 3, -1)},
		{"the whole from the far axis", on(p, "L", 1, 4, 1), on(p, "R", 1, 4, -1)},
		{"three quarters", on(p, "D", 1, 1, 3), on(p, "D", 1, 1, -1)},
		{"half a turn the other way", on(p, "F", 1, 2, -2), on(p, "F", 1, 2, 2)},
		{"a full circle", on(p, "F", 1, 2, 4), on(p, "F", 1, 2, 0)},
	} {
		assert.Equal(t, c.want, p.Tidy(c.turn), c.name)
	}
}

// on is a turn by the axis's name.
func on(p *puzzle.Puzzle, axis string, from, to, amount int) puzzle.Turn {
	i, ok := p.AxisByName(axis)
	if !ok {
		panic("no axis " + axis)
	}
	return puzzle.Turn{Axis: i, From: from, To: to, Amount: amount}
}

func TestSyllables(t *testing.T) {
	forBuiltins(t, func(t *testing.T, p *puzzle.Puzzle) {
		for line, l := range p.Lines {
			want := 1
			for range l.Layers - 1 {
				want *= l.Steps
			}
			seen := map[string]bool{}
			syllables := p.Syllables(line)
			for _, s := range syllables {
				seen[string(bytesOf(s.Amounts))] = true
				require.Zero(t, s.Amounts[l.Reference])
			}
			require.Len(t, syllables, want-1)
			require.Len(t, seen, want-1)
		}
	})
}

func bytesOf(xs []int) []byte {
	out := make([]byte, len(xs))
	for i, x := range xs {
		out[i] = byte(x)
	}
	return out
}

// Merging changes nothing that a word does.
func TestMerge(t *testing.T) {
	forBuiltins(t, func(t *testing.T, p *puzzle.Puzzle) {
		rapid.Check(t, func(t *rapid.T) {
			var word, given []puzzle.Syllable
			for range rapid.IntRange(0, 10).Draw(t, "syllables") {
				s := rapid.SampledFrom(p.Syllables(rapid.IntRange(0, min(1, len(p.Lines)-1)).Draw(t, "line"))).Draw(t, "syllable")
				word = append(word, s)
				given = append(given, puzzle.Syllable{Line: s.Line, Amounts: slices.Clone(s.Amounts)})
			}
			merged := p.Merge(word)
			assertSamePerm(t, perm(p, word), perm(p, merged))
			assert.Equal(t, given, word, "the argument stays as it is")
			for i, s := range merged {
				assert.False(t, i > 0 && merged[i-1].Line == s.Line)
				assert.False(t, p.SyllablePerm(s).IsIdentity())
			}
		})
	})
}

// Where a cut goes through the centre, some piece stays where it is in the frame,
// so that a whole-puzzle rotation can't hide in a word.
func TestAnchor(t *testing.T) {
	brick := cube("{at: faces, only: [U, D], cuts: [1/3]}", "{at: faces, only: [F, R, B, L], steps: 2, cuts: [through centre]}")
	both := cube("{at: faces, cuts: [0]}", "{at: vertices, cuts: [through centre]}")
	for _, name := range []string{"cube-2", "cube-4", "cube-6", "centre-cut-vertex-cube", "centre-cut-octahedron", "centre-cut-dodecahedron", brick, both} {
		p, err := puzzle.Find(name)
		if err != nil {
			p, err = build(name)
		}
		require.NoError(t, err)
		rests := func(piece puzzle.Piece) bool {
			for _, l := range p.Lines {
				for k, step := range l.Step {
					if x := piece.Stickers[0]; k != l.Reference && int(step[x]) != x {
						return false
					}
				}
			}
			return true
		}
		assert.True(t, slices.ContainsFunc(p.Pieces, rests), name)
		for line, l := range p.Lines {
			if l.Layers != 2 {
				continue
			}
			for _, s := range p.Syllables(line) {
				_, rotation := p.FromFrame(puzzle.STM, []puzzle.Syllable{s})
				assert.Zero(t, rotation, "%s: turning the layer that moves needs no rotation", name)
			}
		}
	}
}
