package puzzle

import "slices"

// identity is the permutation of n points that moves none.
func identity(n int) Perm {
	p := make(Perm, n)
	for i := range p {
		p[i] = uint16(i)
	}
	return p
}

// Identity is the permutation of the puzzle's stickers that moves none.
func (p *Puzzle) Identity() Perm { return identity(len(p.Stickers)) }

// Then is p followed by q.
func (p Perm) Then(q Perm) Perm {
	out := make(Perm, len(p))
	for x, y := range p {
		out[x] = q[y]
	}
	return out
}

// Inverse is the permutation that undoes p.
func (p Perm) Inverse() Perm {
	out := make(Perm, len(p))
	for x, y := range p {
		out[y] = uint16(x)
	}
	return out
}

// IsIdentity tells whether p moves nothing.
func (p Perm) IsIdentity() bool {
	for x, y := range p {
		if int(y) != x {
			return false
		}
	}
	return true
}

// TurnPerm is what a turn does to the stickers, as a person sees it: with
// whole-puzzle rotations and centres moving.
func (p *Puzzle) TurnPerm(t Turn) Perm {
	out := p.Identity()
	p.turnInto(out, t)
	return out
}

// Apply is what a sequence of turns does to the stickers.
func (p *Puzzle) Apply(turns []Turn) Perm {
	out := p.Identity()
	for _, t := range turns {
		p.turnInto(out, t)
	}
	return out
}

// turnInto carries out a turn after what state already does.
func (p *Puzzle) turnInto(state Perm, t Turn) {
	line, amounts := p.amounts(t)
	for k, a := range amounts {
		for range a {
			step := p.Lines[line].Step[k]
			for x, y := range state {
				state[x] = step[y]
			}
		}
	}
}

// amounts is a turn as steps of each layer of its line, clockwise from the near end, in 0..Steps-1.
func (p *Puzzle) amounts(t Turn) (line int, amounts []int) {
	ax := p.Axes[t.Axis]
	l := p.Lines[ax.Line]
	amounts = make([]int, l.Layers)
	for k := t.From - 1; k < t.To; k++ {
		if ax.Far {
			amounts[l.Layers-1-k] = mod(-t.Amount, l.Steps)
		} else {
			amounts[k] = mod(t.Amount, l.Steps)
		}
	}
	return ax.Line, amounts
}

// Invert returns the turns that undo a sequence.
func Invert(turns []Turn) []Turn {
	out := slices.Clone(turns)
	slices.Reverse(out)
	for i := range out {
		out[i].Amount = -out[i].Amount
	}
	return out
}

// AxisByName finds an axis.
func (p *Puzzle) AxisByName(name string) (int, bool) {
	i := slices.IndexFunc(p.Axes, func(a Axis) bool { return a.Name == name })
	return i, i >= 0
}

// TypeByName finds a piece type.
func (p *Puzzle) TypeByName(name string) (int, bool) {
	i := slices.IndexFunc(p.Types, func(t Type) bool { return t.Name == name })
	return i, i >= 0
}

// SlotByLabel finds a slot of a type. On cubes with letter names the letters after
// the first may come in any order, as people write both UFR and URF.
func (p *Puzzle) SlotByLabel(t *Type, label string) (int, bool) {
	i := slices.Index(t.Labels, label)
	if i < 0 && label != "" && p.LetterNames {
		want := sortedLetters(label)
		i = slices.IndexFunc(t.Labels, func(l string) bool { return l[0] == label[0] && sortedLetters(l) == want })
	}
	return i, i >= 0
}

func sortedLetters(label string) string {
	letters := []byte(label)
	slices.Sort(letters)
	return string(letters)
}

// SlotImage is the slot that a permutation of stickers takes a slot to, or -1 where
// that is none of the type's.
func (t *Type) SlotImage(slot int, perm Perm) int {
	return slices.IndexFunc(t.Slots, func(to []uint16) bool {
		for i, x := range t.Slots[slot] {
			if perm[x] != to[i] {
				return false
			}
		}
		return true
	})
}
