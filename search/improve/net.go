package improve

import (
	"context"
	"fmt"
	"slices"

	"turnwright/search/notation"
	"turnwright/search/puzzle"
	"turnwright/search/variant"
)

// Joined is a sequence between moves.
type Joined struct {
	Sequence variant.Sequence
	Turns    []puzzle.Turn // the moves before, the sequence, and the moves after, merged
	Length   int           // of them
	Net      int           // by how much that is more than the moves before and after have by themselves; may be 0 or less
}

// MaxJoined bounds the sequences of one call of Join.
const MaxJoined = 100_000

// Moves are what sequences are put between. It doesn't change once it is made, so that any
// number of goroutines may use it.
type Moves struct {
	merger
	before, after []puzzle.Turn
	alone         int              // the length of both by themselves
	ends          [2][]puzzle.Turn // the last move before and the first one after, where there are any
	open          bool             // a rotation of the whole is among them, so that lines don't tell what meets
}

// NewMoves takes the moves before and after, at most MaxTurns each.
func NewMoves(b *variant.Bench, before, after []puzzle.Turn) (*Moves, error) {
	if len(before) > MaxTurns || len(after) > MaxTurns {
		return nil, fmt.Errorf("at most %d moves on each side are taken", MaxTurns)
	}
	m := &Moves{merger: merger{b}, before: before, after: after}
	m.alone = m.length(before) + m.length(after)
	if clean := notation.Simplify(b.Puzzle, before); len(clean) > 0 {
		m.ends[0] = clean[len(clean)-1:]
	}
	if clean := notation.Simplify(b.Puzzle, after); len(clean) > 0 {
		m.ends[1] = clean[:1]
	}
	m.open = slices.ContainsFunc(before, m.whole) || slices.ContainsFunc(after, m.whole)
	return m, nil
}

func (m *Moves) line(t puzzle.Turn) int { return m.Puzzle.Axes[t.Axis].Line }

func (m *Moves) whole(t puzzle.Turn) bool {
	return t.From == 1 && t.To == m.Puzzle.Lines[m.line(t)].Layers
}

// Join puts a sequence between the moves. What merges or cancels across the two joints
// does so. Where a sequence leaves the whole puzzle rotated the moves after it are renamed,
// so that they turn the same layers of the puzzle as they would without it.
func (m *Moves) Join(s variant.Sequence) Joined {
	renamed := make([]puzzle.Turn, len(m.after))
	for i, t := range m.after {
		renamed[i] = m.Puzzle.Symmetries[s.Rotation].Image(t)
	}
	j := Joined{Sequence: s, Turns: m.merge(slices.Concat(m.before, s.Turns, renamed))}
	j.Length = m.cost(j.Turns)
	j.Net = j.Length - m.alone
	return j
}

// JoinForm is Join for that form of a sequence, turned, mirrored or inverted, which costs
// least: the sequence itself or, of several that cost less, the one of the shortest text, then
// by text. Only forms that make the same cycle count where same is set.
func (m *Moves) JoinForm(s variant.Sequence, same bool) Joined {
	best, text := m.Join(s), ""
	for i := range m.Symmetries {
		image := m.Image(s, i)
		for _, form := range []variant.Sequence{image, m.Inverse(image)} {
			if same && form.Cycle != s.Cycle || !m.touches(form) {
				continue
			}
			j := m.Join(form)
			if j.Net > best.Net || j.Net == best.Net && text == "" {
				continue
			}
			t := m.Text(form)
			if j.Net < best.Net || len(t) < len(text) || len(t) == len(text) && t < text {
				best, text = j, t
			}
		}
	}
	return best
}

// touches tells whether anything can merge at a joint.
func (m *Moves) touches(s variant.Sequence) bool {
	n := len(s.Turns)
	if n == 0 || m.open {
		return true
	}
	for _, t := range m.ends[0] {
		if m.line(t) == m.line(s.Turns[0]) {
			return true
		}
	}
	for _, t := range m.ends[1] {
		if m.line(m.Puzzle.Symmetries[s.Rotation].Image(t)) == m.line(s.Turns[n-1]) {
			return true
		}
	}
	return false
}

// Compare ranks by net length, equal ones as [variant.Bench.Compare] has it.
func (m *Moves) Compare(x, y Joined) int {
	if x.Net != y.Net {
		return x.Net - y.Net
	}
	return m.Bench.Compare(x.Sequence, y.Sequence)
}

// Join puts each sequence, as it is, between the moves before and after it, and ranks them.
func Join(ctx context.Context, b *variant.Bench, before, after []puzzle.Turn, sequences []variant.Sequence) ([]Joined, error) {
	m, err := NewMoves(b, before, after)
	if err != nil {
		return nil, err
	}
	if len(sequences) > MaxJoined {
		return nil, fmt.Errorf("%d sequences, at most %d are taken", len(sequences), MaxJoined)
	}
	out := make([]Joined, 0, len(sequences))
	for i, s := range sequences {
		if i%256 == 0 && ctx.Err() != nil {
			return nil, ctx.Err()
		}
		out = append(out, m.Join(s))
	}
	slices.SortStableFunc(out, m.Compare)
	return out, nil
}

type merger struct{ *variant.Bench }

// merge writes turns in the cheapest way for each syllable.
func (m merger) merge(turns []puzzle.Turn) []puzzle.Turn {
	word, _ := m.Puzzle.ToFrame(turns)
	out, _ := m.Puzzle.FromFrame(m.Metric, word)
	return out
}

func (m merger) cost(turns []puzzle.Turn) int {
	total := 0
	for _, t := range turns {
		total += m.Puzzle.Cost(m.Metric, t)
	}
	return total
}

func (m merger) length(turns []puzzle.Turn) int { return m.cost(m.merge(turns)) }
