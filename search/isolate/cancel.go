package isolate

import (
	"slices"

	"turnwright/search/puzzle"
)

// findCommuting finds which layers of different lines commute, as those of
// shallow-cut puzzles may.
func (b *Bench) findCommuting() {
	var steps []puzzle.Perm
	var line []int
	for i, l := range b.p.Lines {
		b.layer = append(b.layer, len(steps))
		for _, step := range l.Step {
			steps = append(steps, step)
			line = append(line, i)
		}
	}
	rows := make([][]bool, len(steps))
	any := false
	for i, x := range steps {
		rows[i] = make([]bool, len(steps))
		for j, y := range steps {
			rows[i][j] = line[i] != line[j] && slices.Equal(x.Then(y), y.Then(x))
			any = any || rows[i][j]
		}
	}
	if any {
		b.commuting = rows
	}
}

// commute tells whether two syllables of different lines commute.
func (b *Bench) commute(s, t puzzle.Syllable) bool {
	for i, x := range s.Amounts {
		for j, y := range t.Amounts {
			if x != 0 && y != 0 && !b.commuting[b.layer[s.Line]+i][b.layer[t.Line]+j] {
				return false
			}
		}
	}
	return true
}

// cancel merges what is on one line, past what commutes with it, until nothing more
// merges.
func (b *Bench) cancel(word []puzzle.Syllable) []puzzle.Syllable {
	word = b.p.Merge(word)
	if b.commuting == nil {
		return word
	}
	for {
		i, j, found := b.mergeable(word)
		if !found {
			return word
		}
		// Bring the later one to the earlier one.
		s := word[j]
		word = slices.Insert(slices.Delete(word, j, j+1), i+1, s)
		word = b.p.Merge(word)
	}
}

// mergeable finds two syllables of one line with nothing between them that keeps
// them apart.
func (b *Bench) mergeable(word []puzzle.Syllable) (i, j int, found bool) {
	for j := range word {
		for i := j - 1; i >= 0; i-- {
			if word[i].Line == word[j].Line {
				return i, j, true
			}
			if !b.commute(word[i], word[j]) {
				break
			}
		}
	}
	return 0, 0, false
}

// finish writes turns after cancelling and merging, up to a rotation of the whole,
// with what they cost and how many lines they turn about.
func (b *Bench) finish(turns []puzzle.Turn) (out []puzzle.Turn, length, axes int) {
	word, _ := b.p.ToFrame(turns)
	word = b.cancel(word)
	seen := make([]bool, len(b.p.Lines))
	for _, s := range word {
		length += b.p.SyllableCost(b.metric, s)
		if !seen[s.Line] {
			seen[s.Line] = true
			axes++
		}
	}
	out, _ = b.p.FromFrame(b.metric, word)
	return out, length, axes
}

// allowed tells whether turns go about axes only that the goal allows.
func (b *Bench) allowed(turns []puzzle.Turn) bool {
	if len(b.goal.Axes) == 0 {
		return true
	}
	word, _ := b.p.ToFrame(turns)
	for _, s := range word {
		for layer, amount := range s.Amounts {
			if amount != 0 && !b.goal.Allows(b.p, s.Line, layer) {
				return false
			}
		}
	}
	return true
}
