package notation

import (
	"strconv"
	"strings"

	"turnwright/search/puzzle"
)

// String writes the tree. Parsing the text again gives an equal tree.
func (s Sequence) String() string {
	var b strings.Builder
	writeNodes(&b, s.Puzzle, s.Items)
	return b.String()
}

// Print writes the turns in their canonical spelling, with one space between
// them. On cubes about their faces that is WCA 12a for every turn that 12a has.
func Print(p *puzzle.Puzzle, turns []puzzle.Turn) string {
	var b strings.Builder
	for i, t := range turns {
		if i > 0 {
			b.WriteByte(' ')
		}
		writeTurn(&b, p, Canonical(p, t))
	}
	return b.String()
}

func writeNodes(b *strings.Builder, p *puzzle.Puzzle, nodes []Node) {
	for i, n := range nodes {
		if i > 0 {
			b.WriteByte(' ')
		}
		if n.Group == nil {
			writeTurn(b, p, n.Turn)
		} else {
			writeGroup(b, p, n.Group)
		}
	}
}

func writeGroup(b *strings.Builder, p *puzzle.Puzzle, g *Group) {
	marks := [...][3]string{Plain: {"(", "", ")"}, Commutator: {"[", ", ", "]"}, Conjugate: {"[", ": ", "]"}}[g.Form]
	b.WriteString(marks[0])
	writeNodes(b, p, g.A)
	b.WriteString(marks[1])
	writeNodes(b, p, g.B)
	b.WriteString(marks[2])
	b.WriteString(exponent(g.Power))
}

func exponent(n int) string {
	switch n {
	case 1:
		return ""
	case -1:
		return "'"
	}
	return "^" + strconv.Itoa(n)
}

func writeTurn(b *strings.Builder, p *puzzle.Puzzle, t puzzle.Turn) {
	amount := normal(t.Amount, steps(p, t))
	name := p.Axes[t.Axis].Name
	if !p.LetterNames {
		b.WriteString(blockPrefix(t, layers(p, t)) + name + exponent(amount))
		return
	}
	b.WriteString(letterBlock(name, t, layers(p, t)))
	if quarters := amount * 4 / steps(p, t); quarters == 2 {
		b.WriteByte('2')
	} else {
		b.WriteString(exponent(quarters))
	}
}

// blockPrefix names the layers of a turn: nothing for the first one.
func blockPrefix(t puzzle.Turn, layers int) string {
	switch {
	case t.From == 1 && t.To == layers:
		return "all."
	case t.From == 1 && t.To == 1:
		return ""
	case t.From == t.To:
		return strconv.Itoa(t.From) + "."
	}
	return strconv.Itoa(t.From) + "-" + strconv.Itoa(t.To) + "."
}

// letterBlock names the block of a turn after WCA 12a where it can.
func letterBlock(letter string, t puzzle.Turn, layers int) string {
	switch whole := t.From == 1 && t.To == layers; {
	case whole && rotationOf[letter] != "":
		return rotationOf[letter]
	case whole || t.From > 1 || t.To == 1:
		return blockPrefix(t, layers) + letter
	case t.To == 2:
		return letter + "w"
	}
	return strconv.Itoa(t.To) + letter + "w"
}

// The rotations of WCA 12a4 and the faces that they follow.
var (
	rotationOf = map[string]string{"R": "x", "U": "y", "F": "z"}
	faceOf     = map[byte]string{'x': "R", 'y': "U", 'z': "F"}
)
