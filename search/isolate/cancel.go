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

// turn is how far one layer of a line turns.
type turn struct{ line, layer, amount int }

func (b *Bench) commute(t, u turn) bool {
	return t.line == u.line || b.commuting[b.layer[t.line]+t.layer][b.layer[u.line]+u.layer]
}

// cancel merges what is on one line, past what commutes with it. Layer by layer, a
// turn goes to the left as far as it can: to a turn of its own layer, with which it
// becomes one, or nothing. (Reduced words of graph products: E. R. Green, 1990.)
// Then turns of one line go together, the later to the earlier, where nothing
// is in the way.
func (b *Bench) cancel(word []puzzle.Syllable) []puzzle.Syllable {
	if b.commuting == nil {
		return b.p.Merge(word)
	}
	var turns []turn
	for _, s := range word {
		for layer, amount := range s.Amounts {
			if amount != 0 {
				turns = b.reduce(turns, turn{s.Line, layer, amount})
			}
		}
	}
	var out []puzzle.Syllable
	for _, t := range turns {
		out = b.gather(out, t)
	}
	return out
}

// reduce puts a turn at the end of a reduced word.
func (b *Bench) reduce(word []turn, t turn) []turn {
	for i := len(word) - 1; i >= 0 && b.commute(word[i], t); i-- {
		if word[i].line != t.line || word[i].layer != t.layer {
			continue
		}
		word[i].amount = (word[i].amount + t.amount) % b.p.Lines[t.line].Steps
		if word[i].amount == 0 {
			word = slices.Delete(word, i, i+1)
		}
		return word
	}
	return append(word, t)
}

// gather puts a turn to the last syllable of its line that it can reach, or at the end.
func (b *Bench) gather(word []puzzle.Syllable, t turn) []puzzle.Syllable {
	for i := len(word) - 1; i >= 0; i-- {
		s := word[i]
		if s.Line == t.line {
			s.Amounts[t.layer] = (s.Amounts[t.layer] + t.amount) % b.p.Lines[t.line].Steps
			return word
		}
		blocked := false
		for layer, amount := range s.Amounts {
			blocked = blocked || amount != 0 && !b.commute(turn{s.Line, layer, amount}, t)
		}
		if blocked {
			break
		}
	}
	s := puzzle.Syllable{Line: t.line, Amounts: make([]int, b.p.Lines[t.line].Layers)}
	s.Amounts[t.layer] = t.amount
	return append(word, s)
}

// finish writes turns after cancelling and merging, up to a rotation of the whole,
// with what they cost and how many lines they turn about.
func (b *Bench) finish(turns []puzzle.Turn) (out []puzzle.Turn, length, axes int) {
	word, _ := b.p.ToFrame(turns)
	word = b.cancel(word)
	for _, s := range word {
		length += b.p.SyllableCost(b.metric, s)
	}
	out, _ = b.p.FromFrame(b.metric, word)
	return out, length, linesOf(word)
}

// linesOf counts the distinct lines of a word.
func linesOf(word []puzzle.Syllable) int {
	n := 0
	for i, s := range word {
		if !slices.ContainsFunc(word[:i], func(before puzzle.Syllable) bool { return before.Line == s.Line }) {
			n++
		}
	}
	return n
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
