package puzzle

import "slices"

// The frame. Searches work with the reference layer of every line at rest:
// turning it is the same as turning all other layers of the line back and the
// whole puzzle along. So no search meets a whole-puzzle rotation, and a slice
// turn is one move that turns the layers beside it. ToFrame and FromFrame
// translate between turns as a person does them and syllables.
//
// If the whole has been rotated by ρ, a turn at a place of the room is, to the
// puzzle, the turn that ρ⁻¹ carries it to.

// Syllable is what is done about one line between turns of other lines: the
// amounts of its layers in steps, 0..Steps-1, clockwise as seen from the near
// end, with that of the reference layer 0.
type Syllable struct {
	Line    int
	Amounts []int
}

// ToFrame translates turns into syllables, without neighbours on one line, and
// the index of the rotation of the whole puzzle that remains: doing the
// syllables and then the rotation is the same as doing the turns.
func (p *Puzzle) ToFrame(turns []Turn) (word []Syllable, rotation int) {
	for _, t := range turns {
		line, amounts := p.amounts(p.Symmetries[p.Symmetries[rotation].Inverse].Image(t))
		l := p.Lines[line]
		c := amounts[l.Reference]
		for k := range amounts {
			amounts[k] = mod(amounts[k]-c, l.Steps)
		}
		word = p.appendSyllable(word, Syllable{line, amounts})
		rotation = p.compose[p.spin[line][c]][rotation]
	}
	return word, rotation
}

func (p *Puzzle) appendSyllable(word []Syllable, s Syllable) []Syllable {
	if n := len(word); n > 0 && word[n-1].Line == s.Line {
		for k, a := range word[n-1].Amounts {
			s.Amounts[k] = mod(s.Amounts[k]+a, p.Lines[s.Line].Steps)
		}
		word = word[:n-1]
	}
	if !slices.ContainsFunc(s.Amounts, func(a int) bool { return a != 0 }) {
		return word
	}
	return append(word, s)
}

// FromFrame translates syllables into turns as a person does them, cheapest
// under the metric for each syllable, and the rotation of the whole puzzle that
// they leave behind: the turns do what the syllables and then the rotation do.
func (p *Puzzle) FromFrame(m Metric, word []Syllable) (turns []Turn, rotation int) {
	for _, s := range word {
		way, spin := p.way(m, s)
		for _, t := range way {
			turns = append(turns, p.Tidy(p.Symmetries[rotation].Image(t)))
		}
		rotation = p.compose[p.spin[s.Line][spin]][rotation]
	}
	return turns, rotation
}

// SyllableCost is what the cheapest way to do a syllable costs.
func (p *Puzzle) SyllableCost(m Metric, s Syllable) int {
	way, _ := p.way(m, s)
	cost := 0
	for _, t := range way {
		cost += p.Cost(m, t)
	}
	return cost
}

// SyllablePerm is what a syllable does to the stickers.
func (p *Puzzle) SyllablePerm(s Syllable) Perm {
	out := p.Identity()
	for k, a := range s.Amounts {
		for range mod(a, p.Lines[s.Line].Steps) {
			out = out.Then(p.Lines[s.Line].Step[k])
		}
	}
	return out
}

// Syllables lists every syllable of a line but the idle one, in a fixed order.
func (p *Puzzle) Syllables(line int) []Syllable {
	l := p.Lines[line]
	total := 1
	for range l.Layers - 1 {
		total *= l.Steps
	}
	out := make([]Syllable, 0, total-1)
	for code := 1; code < total; code++ {
		amounts := make([]int, l.Layers)
		rest := code
		for k := range amounts {
			if k != l.Reference {
				amounts[k] = rest % l.Steps
				rest /= l.Steps
			}
		}
		out = append(out, Syllable{line, amounts})
	}
	return out
}

// Tidy writes a turn as a person would: an outer block from the axis at whose
// end it is, any other from the near axis, the amount the shorter way round.
func (p *Puzzle) Tidy(t Turn) Turn {
	ax := p.Axes[t.Axis]
	l := p.Lines[ax.Line]
	swap := t.To == l.Layers && t.From > 1 || // it ends at the other side
		ax.Far && (t.From > 1 || t.To == l.Layers) // inner and whole turns go by the near axis
	if swap && ax.Opposite >= 0 {
		t = Turn{Axis: ax.Opposite, From: l.Layers + 1 - t.To, To: l.Layers + 1 - t.From, Amount: -t.Amount}
	}
	t.Amount = mod(t.Amount, l.Steps)
	if t.Amount > l.Steps/2 {
		t.Amount -= l.Steps
	}
	return t
}

// SyllableImage is what a symmetry carries a syllable to. It fails where the
// symmetry does not carry the line's reference layer to a reference layer.
func (p *Puzzle) SyllableImage(symmetry int, s Syllable) (Syllable, bool) {
	sym := &p.Symmetries[symmetry]
	near := p.nearAxis(s.Line)
	to := p.Axes[sym.Axes[near]]
	l := p.Lines[to.Line]
	out := Syllable{to.Line, make([]int, l.Layers)}
	ref := p.Lines[s.Line].Reference
	if to.Far {
		ref = l.Layers - 1 - ref
	}
	if ref != l.Reference {
		return Syllable{}, false
	}
	for k, a := range s.Amounts {
		if sym.Reflection != to.Far { // each of them turns the sense round
			a = -a
		}
		if to.Far {
			k = l.Layers - 1 - k
		}
		out.Amounts[k] = mod(a, l.Steps)
	}
	return out, true
}

// nearAxis is the axis at a line's near end.
func (p *Puzzle) nearAxis(line int) int {
	return slices.IndexFunc(p.Axes, func(a Axis) bool { return a.Line == line && !a.Far })
}

// Merge joins neighbouring syllables of one line and drops idle ones.
func (p *Puzzle) Merge(word []Syllable) []Syllable {
	var out []Syllable
	for _, s := range word {
		out = p.appendSyllable(out, Syllable{s.Line, slices.Clone(s.Amounts)})
	}
	return out
}
