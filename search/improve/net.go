package improve

import (
	"context"
	"fmt"
	"slices"

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

// Join puts each sequence between the moves before and after it. What merges or
// cancels across the two joints does so. Where a sequence leaves the whole puzzle rotated
// the moves after it are renamed, so that they turn the same layers of the puzzle as
// they would without it. They rank by net length, equal ones as [variant.Bench.Compare] has
// it.
func Join(ctx context.Context, b *variant.Bench, before, after []puzzle.Turn, sequences []variant.Sequence) ([]Joined, error) {
	if len(before) > MaxTurns || len(after) > MaxTurns || len(sequences) > MaxJoined {
		return nil, fmt.Errorf("at most %d moves on each side and %d sequences are taken", MaxTurns, MaxJoined)
	}
	ls := merger{b}
	alone := ls.length(before) + ls.length(after)
	out := make([]Joined, 0, len(sequences))
	for i, s := range sequences {
		if i%256 == 0 && ctx.Err() != nil {
			return nil, ctx.Err()
		}
		renamed := make([]puzzle.Turn, len(after))
		for j, t := range after {
			renamed[j] = b.Puzzle.Symmetries[s.Rotation].Image(t)
		}
		j := Joined{Sequence: s, Turns: ls.merge(slices.Concat(before, s.Turns, renamed))}
		j.Length = ls.cost(j.Turns)
		j.Net = j.Length - alone
		out = append(out, j)
	}
	slices.SortStableFunc(out, func(x, y Joined) int {
		if x.Net != y.Net {
			return x.Net - y.Net
		}
		return b.Compare(x.Sequence, y.Sequence)
	})
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
