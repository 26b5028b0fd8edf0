package notation

import (
	"fmt"
	"strconv"
	"strings"

	"turnwright/search/puzzle"
)

// turn reads one word, which starts at the offset, as a turn.
func (ps *parser) turn(word string, offset int) (puzzle.Turn, error) {
	if ps.p.LetterNames {
		return ps.letterTurn(word, offset)
	}
	base, exponent := cutExponent(word)
	prefix, name, hasPrefix := strings.Cut(base, ".")
	if !hasPrefix {
		prefix, name = "", base
	}
	at := offset + len(base) - len(name)
	t, err := ps.axis(name, at)
	if err != nil {
		return t, err
	}
	if hasPrefix {
		if t.From, t.To, err = ps.layers(prefix, layers(ps.p, t), offset); err != nil {
			return t, err
		}
	}
	amount, err := ps.exponent(exponent, offset+len(base))
	t.Amount = normal(amount, steps(ps.p, t))
	return t, err
}

// axis is a turn of the first layer of the axis that is so named.
func (ps *parser) axis(name string, offset int) (puzzle.Turn, error) {
	i, ok := ps.p.AxisByName(name)
	if ok {
		return puzzle.Turn{Axis: i, From: 1, To: 1}, nil
	}
	hint := "the axes are " + axisNames(ps.p)
	if name == "" {
		return puzzle.Turn{}, ps.errorAt(offset, "an axis is missing here: %s", hint)
	}
	if lower := strings.ToLower(name); lower != name {
		if _, ok := ps.p.AxisByName(lower); ok {
			hint = "write " + lower
		}
	}
	// b32 and a2 are most likely meant as amounts.
	last := len(name) - 1
	if _, ok := ps.p.AxisByName(name[:last]); ok && isDigit(name[last]) {
		hint = fmt.Sprintf("write %s^%c for the amount; %s", name[:last], name[last], hint)
	}
	return puzzle.Turn{}, ps.errorAt(offset, "there is no axis %q: %s", clip(name), hint)
}

// layers reads a layer prefix without its point.
func (ps *parser) layers(prefix string, count, offset int) (from, to int, err error) {
	if prefix == "all" {
		return 1, count, nil
	}
	first, last, isRange := strings.Cut(prefix, "-")
	if !isRange {
		last = first
	}
	from, to = number(first), number(last)
	switch {
	case from == 0 || to == 0:
		return 0, 0, ps.errorAt(offset, "%q names no layers: write a number, a range such as 1-2, or all, before the point", clip(prefix))
	case from > count || to > count:
		return 0, 0, ps.errorAt(offset, "there is no layer %d: this axis has layers 1 to %d", max(from, to), count)
	case from > to:
		return 0, 0, ps.errorAt(offset, "the layers run backwards: write %d-%d", to, from)
	}
	return from, to, nil
}

// number reads a positive number, and gives 0 for anything else.
func number(s string) int {
	if s == "" || s[0] == '0' || strings.Trim(s, "0123456789") != "" {
		return 0
	}
	const enough = 6 // digits; no puzzle has that many layers
	n, _ := strconv.Atoi(s[:min(len(s), enough)])
	return n
}

func isDigit(c byte) bool { return '0' <= c && c <= '9' }

// axisNames lists the names of the axes for a message.
func axisNames(p *puzzle.Puzzle) string {
	var names []string
	for _, a := range p.Axes {
		names = append(names, a.Name)
	}
	return strings.Join(names, " ")
}

// clip shortens what a message repeats of the text.
func clip(s string) string {
	const most = 20
	if r := []rune(s); len(r) > most {
		return string(r[:most]) + "…"
	}
	return s
}
