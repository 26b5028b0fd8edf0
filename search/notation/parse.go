package notation

import (
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"turnwright/search/puzzle"
)

// Parse reads a sequence for the puzzle, within [DefaultLimits]. Its error is an [*Error].
func Parse(p *puzzle.Puzzle, text string) (Sequence, error) { return DefaultLimits.Parse(p, text) }

// ParseTurns reads a sequence and writes its groups out.
func ParseTurns(p *puzzle.Puzzle, text string) ([]puzzle.Turn, error) {
	seq, err := Parse(p, text)
	if err != nil {
		return nil, err
	}
	return seq.Expand()
}

// Parse is [Parse] with limits of one's own.
func (l Limits) Parse(p *puzzle.Puzzle, text string) (Sequence, error) {
	ps, err := l.parser(p, text)
	if err != nil {
		return Sequence{}, err
	}
	items, _, err := ps.items(0)
	if err != nil {
		return Sequence{}, err
	}
	if ps.pos < len(text) {
		return Sequence{}, ps.stray()
	}
	return Sequence{Puzzle: p, Items: items}, nil
}

// parser reads one text by recursive descent. Its position is always at the
// start of a character.
type parser struct {
	p      *puzzle.Puzzle
	limits Limits
	text   string
	pos    int
}

// parser checks what can be checked of the text as a whole.
func (l Limits) parser(p *puzzle.Puzzle, text string) (*parser, error) {
	if len(text) > l.Bytes {
		return nil, errorAt(text, 0, "the text has %d bytes, which is more than %d: split it", len(text), l.Bytes)
	}
	for i, r := range text {
		if r == utf8.RuneError && !strings.HasPrefix(text[i:], string(utf8.RuneError)) {
			return nil, errorAt(text, i, "the text is not UTF-8 here: save it as UTF-8")
		}
	}
	return &parser{p: p, limits: l, text: text}, nil
}

func (ps *parser) errorAt(offset int, format string, args ...any) *Error {
	return errorAt(ps.text, offset, format, args...)
}

// items reads turns and groups up to a closing mark or the end, and counts the
// turns that they come to.
func (ps *parser) items(depth int) (nodes []Node, turns int, err error) {
	for {
		ps.skipSpace()
		start := ps.pos
		var n Node
		count := 1
		switch c := ps.peek(); {
		case c == end || strings.IndexByte(")],:", c) >= 0:
			return nodes, turns, nil
		case c == '(' || c == '[':
			n.Group, count, err = ps.group(depth + 1)
		default:
			n.Turn, err = ps.turn(ps.word(), start)
		}
		if err != nil {
			return nil, 0, err
		}
		nodes = append(nodes, n)
		turns += count
		if turns > ps.limits.Turns {
			return nil, 0, ps.errorAt(start, "from here on the sequence has more than %d turns once it is written out: shorten it or lower an exponent", ps.limits.Turns)
		}
	}
}

// group reads a bracket with its exponent.
func (ps *parser) group(depth int) (g *Group, turns int, err error) {
	start := ps.pos
	if depth > ps.limits.Depth {
		return nil, 0, ps.errorAt(start, "groups nest more than %d deep here: write the inner ones out", ps.limits.Depth)
	}
	g = &Group{}
	var a, b int
	open := ps.next()
	if g.A, a, err = ps.part(depth); err != nil {
		return nil, 0, err
	}
	if open == '[' {
		if g.Form, err = ps.middle(start); err != nil {
			return nil, 0, err
		}
		if g.B, b, err = ps.part(depth); err != nil {
			return nil, 0, err
		}
	}
	if err := ps.close(open, start); err != nil {
		return nil, 0, err
	}
	if g.Power, err = ps.groupPower(); err != nil {
		return nil, 0, err
	}
	return g, ps.limits.countGroup(g, a, b), nil
}

// part reads what stands between the marks of a group. It is never empty.
func (ps *parser) part(depth int) ([]Node, int, error) {
	nodes, turns, err := ps.items(depth)
	if err == nil && len(nodes) == 0 {
		err = ps.errorAt(ps.pos, "there is nothing here: write a turn, or take the brackets away")
	}
	return nodes, turns, err
}

// middle reads the mark between the two parts of a square bracket.
func (ps *parser) middle(start int) (Form, error) {
	switch ps.peek() {
	case ',':
		ps.next()
		return Commutator, nil
	case ':':
		ps.next()
		return Conjugate, nil
	case end:
		return 0, ps.errorAt(start, "this [ is never closed: write [A, B] or [A: B]")
	}
	return 0, ps.errorAt(ps.pos, "a square bracket has two parts: write [A, B] for A B A' B', or [A: B] for A B A'")
}

// close reads the mark that closes a group.
func (ps *parser) close(open byte, start int) error {
	want := map[byte]byte{'(': ')', '[': ']'}[open]
	switch c := ps.peek(); {
	case c == want:
		ps.next()
		return nil
	case c == end:
		return ps.errorAt(start, "this %c is never closed: add a %c", open, want)
	case open == '[' && c != ')':
		return ps.errorAt(ps.pos, "a square bracket has only two parts: nest one in the other, as in [A, [B, C]]")
	case open == '(' && c != ']':
		return ps.errorAt(ps.pos, "%q belongs between the parts of a square bracket: write [A, B] or [A: B]", c)
	default:
		return ps.errorAt(ps.pos, "%q does not close the %c before it: write %c", c, open, want)
	}
}

// stray explains a mark that no group was waiting for.
func (ps *parser) stray() error {
	switch c := ps.peek(); c {
	case ')', ']':
		return ps.errorAt(ps.pos, "nothing was opened that this %c could close: take it away", c)
	default:
		return ps.errorAt(ps.pos, "%q belongs between the parts of a square bracket: write [A, B] or [A: B]", c)
	}
}

// groupPower reads the exponent that may follow a group at once.
func (ps *parser) groupPower() (int, error) {
	start := ps.pos
	word := ps.word()
	if word == "" {
		return 1, nil
	}
	base, exponent := cutExponent(word)
	switch {
	case base == "":
		return ps.exponent(exponent, start)
	case strings.Trim(base, "0123456789") == "":
		return 0, ps.errorAt(start, "the exponent of a group has a ^ before it: write ^%s", base)
	default:
		return 0, ps.errorAt(start, "put a space between the group and %q", word)
	}
}

// cutExponent splits a word before its exponent.
func cutExponent(word string) (base, exponent string) {
	if i := strings.IndexAny(word, "'’^"); i >= 0 {
		return word[:i], word[i:]
	}
	return word, ""
}

// exponent reads an exponent that starts at the offset; none is 1.
func (ps *parser) exponent(s string, offset int) (int, error) {
	switch s {
	case "":
		return 1, nil
	case "'", "’":
		return -1, nil
	}
	digits, isPower := strings.CutPrefix(s, "^")
	digits, negative := strings.CutPrefix(digits, "-")
	if !isPower || digits == "" || strings.Trim(digits, "0123456789") != "" {
		return 0, ps.errorAt(offset, "%q is no exponent: write ' for the inverse, or ^ and one whole number, as in ^2 or ^-2", s)
	}
	n, err := strconv.Atoi(digits)
	if err != nil || n > ps.limits.Turns {
		return 0, ps.errorAt(offset, "the exponent is beyond %d: lower it", ps.limits.Turns)
	}
	if negative {
		n = -n
	}
	return n, nil
}

// skipSpace passes over white space and comments.
func (ps *parser) skipSpace() {
	for {
		rest := strings.TrimLeftFunc(ps.text[ps.pos:], unicode.IsSpace)
		ps.pos = len(ps.text) - len(rest)
		if !strings.HasPrefix(rest, "//") {
			return
		}
		if n := strings.IndexByte(rest, '\n'); n >= 0 {
			ps.pos += n
		} else {
			ps.pos = len(ps.text)
		}
	}
}

// word takes everything up to white space, a mark of a group, or a comment.
func (ps *parser) word() string {
	start := ps.pos
	for i, r := range ps.text[start:] {
		ps.pos = start + i
		if unicode.IsSpace(r) || strings.ContainsRune("()[],:", r) || strings.HasPrefix(ps.text[ps.pos:], "//") {
			return ps.text[start:ps.pos]
		}
	}
	ps.pos = len(ps.text)
	return ps.text[start:]
}

// end stands for the end of the text. No UTF-8 has this byte.
const end = 0xFF

// peek is the byte at the position. The marks of the grammar are single bytes;
// of other characters it is of no consequence which byte it is.
func (ps *parser) peek() byte {
	if ps.pos == len(ps.text) {
		return end
	}
	return ps.text[ps.pos]
}

// next takes a mark.
func (ps *parser) next() byte {
	c := ps.peek()
	ps.pos++
	return c
}
