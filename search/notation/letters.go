package notation

import (
	"strconv"
	"strings"

	"turnwright/search/puzzle"
)

// letterTurn reads one word as a turn of a cube about its faces: WCA 12a, and
// with it the layer prefixes and exponents of the general grammar.
func (ps *parser) letterTurn(word string, offset int) (puzzle.Turn, error) {
	m, err := ps.dissect(word, offset)
	if err != nil {
		return puzzle.Turn{}, err
	}
	t, err := ps.block(m, offset)
	if err != nil {
		return puzzle.Turn{}, err
	}
	quarters, err := ps.quarters(m, offset+len(word)-len(m.tail))
	if err != nil {
		return puzzle.Turn{}, err
	}
	// Letters count quarter turns, also where the puzzle allows half turns only.
	n := steps(ps.p, t)
	if quarters*n%4 != 0 {
		return puzzle.Turn{}, ps.errorAt(offset, "this puzzle has no quarter turns: write %s2", strings.TrimSuffix(word, m.tail))
	}
	t.Amount = normal(quarters*n/4, n)
	return t, nil
}

// move is a word taken apart: "3Rw2" has count 3, letter R, wide, and tail 2;
// "1-2.R^-1" has prefix 1-2, letter R, and tail ^-1.
type move struct {
	word      string
	hasPrefix bool
	prefix    string // without its point
	count     string
	letter    byte
	wide      bool
	tail      string // the amount
}

func (ps *parser) dissect(word string, offset int) (move, error) {
	m := move{word: word}
	rest := word
	if before, after, ok := strings.Cut(word, "."); ok {
		m.prefix, rest, m.hasPrefix = before, after, true
	}
	at := offset + len(word) - len(rest)
	digits := len(rest) - len(strings.TrimLeft(rest, "0123456789"))
	m.count, rest = rest[:digits], rest[digits:]
	if rest == "" {
		return m, ps.errorAt(at, "a letter is missing here: the turns are U R F D L B, and x y z for the whole cube")
	}
	m.letter, rest = rest[0], rest[1:]
	if hint := letterHint(m, layersOf(ps.p, m.letter)); hint != "" {
		return m, ps.errorAt(at+digits, "%s", hint)
	}
	m.tail, m.wide = strings.CutPrefix(rest, "w")
	return m, nil
}

// letterHint says what to write instead of a letter that is none of WCA 12a.
func letterHint(m move, n int) string {
	upper := strings.ToUpper(string(m.letter))
	switch m.letter {
	case 'U', 'R', 'F', 'D', 'L', 'B', 'x', 'y', 'z':
		return ""
	case 'X', 'Y', 'Z':
		return string(m.letter) + " is not in WCA 12a: rotations of the whole cube are written small, " + strings.ToLower(upper)
	case 'M', 'E', 'S':
		as := map[byte]string{'M': "L", 'E': "D", 'S': "F"}[m.letter]
		if n%2 == 0 {
			return string(m.letter) + " is not in WCA 12a: name the layer, as in 2." + as
		}
		return string(m.letter) + " is not in WCA 12a: write " + strconv.Itoa((n+1)/2) + "." + as
	case 'u', 'r', 'f', 'd', 'l', 'b':
		if n < 3 {
			return string(m.letter) + " is not in WCA 12a: write " + upper
		}
		return string(m.letter) + " is not in WCA 12a: write " + upper + "w for the outer two layers, or 2." + upper + " for the second alone"
	}
	return strconv.Quote(clip(m.word)) + " is no turn: the turns are U R F D L B, and x y z for the whole cube"
}

// layersOf is the number of layers along the line of a letter's axis; for other
// letters, of the first line. It serves hints only.
func layersOf(p *puzzle.Puzzle, letter byte) int {
	as := map[byte]string{'M': "L", 'E': "D", 'S': "F"}[letter]
	if as == "" {
		as = strings.ToUpper(string(letter))
	}
	if i, ok := p.AxisByName(as); ok {
		return p.Lines[p.Axes[i].Line].Layers
	}
	return p.Lines[0].Layers
}

// block is the turn's axis and layers.
func (ps *parser) block(m move, offset int) (puzzle.Turn, error) {
	face, isRotation := faceOf[m.letter]
	if !isRotation {
		face = string(m.letter)
	}
	i, ok := ps.p.AxisByName(face)
	if !ok {
		return puzzle.Turn{}, ps.errorAt(offset, "this puzzle has no axis %s: it has %s", face, axisNames(ps.p))
	}
	t := puzzle.Turn{Axis: i, From: 1, To: 1}
	n := layers(ps.p, t)
	switch {
	case isRotation && (m.hasPrefix || m.count != "" || m.wide):
		return t, ps.errorAt(offset, "%c turns the whole cube, so it takes no layers: write %c alone", m.letter, m.letter)
	case isRotation:
		t.To = n
	case m.hasPrefix && (m.count != "" || m.wide):
		return t, ps.errorAt(offset, "layers are named either before a point or by w, not both: write 1-2.%s or %sw", face, face)
	case m.hasPrefix:
		var err error
		t.From, t.To, err = ps.layers(m.prefix, n, offset)
		return t, err
	case m.count != "" && !m.wide:
		return t, ps.errorAt(offset, "a number before %s counts the layers of a block: write %s%sw for the outer ones together, or %s.%s for one alone",
			face, clip(m.count), face, clip(m.count), face)
	case m.wide:
		return ps.wide(m, t, n, offset)
	}
	return t, nil
}

// wide is a block of outer layers, after WCA 12a2.
func (ps *parser) wide(m move, t puzzle.Turn, n, offset int) (puzzle.Turn, error) {
	t.To = 2
	if m.count != "" {
		t.To = number(m.count)
	}
	face := string(m.letter)
	switch {
	case n < 3:
		return t, ps.errorAt(offset, "a block of a cube of %d layers is one layer or all of it: write %s", n, face)
	case t.To == 1:
		return t, ps.errorAt(offset, "a block has at least two layers: write %s", face)
	case t.To < 2 || t.To >= n:
		return t, ps.errorAt(offset, "the number before %sw goes from 2 to %d here (WCA 12a2): write all.%s for the whole cube", face, n-1, face)
	}
	return t, nil
}

// quarters reads what follows the letter.
func (ps *parser) quarters(m move, offset int) (int, error) {
	name := strings.TrimSuffix(m.word, m.tail)
	switch m.tail {
	case "2":
		return 2, nil
	case "2'", "'2", "2’", "’2":
		return 0, ps.errorAt(offset, "half a turn is the same both ways: write %s2", name)
	case "1":
		return 0, ps.errorAt(offset, "one quarter is the letter alone: write %s", name)
	case "3":
		return 0, ps.errorAt(offset, "three quarters are one the other way: write %s'", name)
	case "i", "-":
		return 0, ps.errorAt(offset, "the inverse has an apostrophe: write %s'", name)
	}
	if base, _ := cutExponent(m.tail); base != "" {
		return 0, ps.errorAt(offset, "%q may not follow %s: an amount is 2, ' or an exponent such as ^-1, and a space comes before the next turn", clip(m.tail), clip(name))
	}
	return ps.exponent(m.tail, offset)
}
