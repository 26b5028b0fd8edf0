package goal

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"turnwright/search/puzzle"
)

// Shape says what is to be done to the pieces of the wanted type: the lengths of
// the cycles they make, as group theory writes a cycle type, or only how many
// may move. The zero Shape is a 3-cycle.
type Shape struct {
	parts []part // longest first; nil is a 3-cycle
	most  int    // above 0: at most so many pieces move, in whatever way
}

// part is one cycle.
type part struct {
	length  int
	twisted bool // pieces do not come back as they were; always so where length is 1
}

// MaxMoved is the most pieces that a shape may move.
const MaxMoved = 8

// ParseShape reads a shape: cycle lengths joined by "+", such as "3", "2+2" or
// "5"; a "~" after a length asks for a twist left over, so "1~+1~" is two
// pieces twisted in place; "<=4" is at most four pieces moved in whatever way.
func ParseShape(text string) (Shape, error) {
	refuse := func() (Shape, error) {
		return Shape{}, fmt.Errorf("shape %.40q: use cycle lengths such as 3, 5, 2+2 or 1~+1~ (~ leaves a twist), or <=4 for at most four pieces moved", text)
	}
	clean := strings.ReplaceAll(text, " ", "")
	if clean == "" || clean == "3" {
		return Shape{}, nil
	}
	if number, ok := strings.CutPrefix(clean, "<="); ok {
		n, err := strconv.Atoi(number)
		if err != nil || n < 1 || n > MaxMoved {
			return Shape{}, fmt.Errorf("shape %.40q: at most 1 to %d pieces can be asked for", text, MaxMoved)
		}
		return Shape{most: n}, nil
	}
	var s Shape
	for _, word := range strings.Split(clean, "+") {
		number, twisted := strings.CutSuffix(word, "~")
		n, err := strconv.Atoi(number)
		if err != nil || n < 1 || n == 1 && !twisted {
			return refuse()
		}
		s.parts = append(s.parts, part{n, twisted})
	}
	if s.Moved() > MaxMoved {
		return Shape{}, fmt.Errorf("shape %.40q moves %d pieces, at most %d can be asked for", text, s.Moved(), MaxMoved)
	}
	if slices.Equal(s.parts, []part{{3, false}}) { // written in another way, such as 03
		return Shape{}, nil
	}
	slices.SortFunc(s.parts, comparePart)
	return s, nil
}

func comparePart(a, b part) int {
	if a.length != b.length {
		return b.length - a.length
	}
	return strings.Compare(fmt.Sprint(b.twisted), fmt.Sprint(a.twisted))
}

// String writes a shape as ParseShape reads it.
func (s Shape) String() string {
	if s.most > 0 {
		return fmt.Sprintf("<=%d", s.most)
	}
	if s.parts == nil {
		return "3"
	}
	var words []string
	for _, p := range s.parts {
		word := strconv.Itoa(p.length)
		if p.twisted {
			word += "~"
		}
		words = append(words, word)
	}
	return strings.Join(words, "+")
}

// ThreeCycle tells whether the shape is a 3-cycle without a twist.
func (s Shape) ThreeCycle() bool { return s.parts == nil && s.most == 0 }

// Moved is the most pieces that it moves.
func (s Shape) Moved() int {
	if s.most > 0 {
		return s.most
	}
	if s.parts == nil {
		return 3
	}
	sum := 0
	for _, p := range s.parts {
		sum += p.length
	}
	return sum
}

// twists tells whether it leaves a twist.
func (s Shape) twists() bool {
	return slices.ContainsFunc(s.parts, func(p part) bool { return p.twisted })
}

// Is tells whether a change has the shape.
func (s Shape) Is(t *puzzle.Type, c Change) bool {
	if s.most > 0 {
		return len(c) > 0 && len(c) <= s.most
	}
	if s.parts == nil {
		return len(c) == 3 && slices.Equal(partsOf(t, c), []part{{3, false}})
	}
	return len(c) == s.Moved() && slices.Equal(partsOf(t, c), s.parts)
}

func partsOf(t *puzzle.Type, c Change) []part {
	var out []part
	for _, cycle := range c.Cycles(t) {
		last := cycle[len(cycle)-1]
		out = append(out, part{len(cycle), c.After(t, last) != cycle[0]})
	}
	slices.SortFunc(out, comparePart)
	return out
}

// Step says that what is in slot From goes to slot To.
type Step struct{ From, To int }

// Change is what is done to the pieces of one type: a step for each piece that
// moves or twists. In normal form each From is the home slot of its place, and
// they ascend.
type Change []Step

// Cycles writes a change in normal form as cycles of slots: where the first
// piece of each is after being moved no times, once, twice, ... A piece
// twisted in place is a cycle of one.
func (c Change) Cycles(t *puzzle.Type) [][]int {
	seen := map[int]bool{} // places
	var out [][]int
	for _, step := range c {
		if seen[t.Place[step.From]] {
			continue
		}
		var cycle []int
		for slot := step.From; !seen[t.Place[slot]]; slot = c.After(t, slot) {
			seen[t.Place[slot]] = true
			cycle = append(cycle, slot)
		}
		out = append(out, cycle)
	}
	return out
}

// After is where a change takes a slot, of any orientation.
func (c Change) After(t *puzzle.Type, slot int) int {
	for _, step := range c {
		if t.Place[step.From] == t.Place[slot] {
			return Turned(t, step.From, step.To, slot)
		}
	}
	return slot
}

// Turned is the slot that a piece in the given slot goes to, if a piece at the
// same place in slot from goes to slot to.
func Turned(t *puzzle.Type, from, to, slot int) int {
	if slot == from {
		return to
	}
	// The k-th sticker of one way to tell the motion is the first of the other.
	k := slices.Index(t.Slots[from], t.Slots[slot][0])
	first := t.Slots[to][k]
	for s := to; s >= 0 && t.Place[s] == t.Place[to]; s-- {
		if t.Slots[s][0] == first {
			return s
		}
	}
	for s := to; s < len(t.Slots) && t.Place[s] == t.Place[to]; s++ {
		if t.Slots[s][0] == first {
			return s
		}
	}
	return -1
}

// Normal brings a change into normal form.
func (c Change) Normal(t *puzzle.Type) Change {
	out := make(Change, 0, len(c))
	for _, step := range c {
		home := step.From
		for home > 0 && t.Place[home-1] == t.Place[home] {
			home--
		}
		out = append(out, Step{home, Turned(t, step.From, step.To, home)})
	}
	slices.SortFunc(out, func(a, b Step) int { return a.From - b.From })
	return out
}

// Inverse is the change that undoes c, in normal form.
func (c Change) Inverse(t *puzzle.Type) Change {
	out := make(Change, len(c))
	for i, step := range c {
		out[i] = Step{step.To, step.From}
	}
	return out.Normal(t)
}

// Change writes a 3-cycle as a change in normal form.
func (c Cycle) Change(t *puzzle.Type) Change {
	return Change{{c[0], c[1]}, {c[1], c[2]}, {c[2], c[0]}}.Normal(t)
}

// String writes a change as "from>to" for each step, by slot numbers.
func (c Change) String() string {
	var words []string
	for _, step := range c {
		words = append(words, fmt.Sprintf("%d>%d", step.From, step.To))
	}
	return strings.Join(words, " ")
}

// ParseChange reads what String wrote of a change of the type.
func ParseChange(t *puzzle.Type, text string) (Change, error) {
	var c Change
	for _, word := range strings.Fields(text) {
		from, to, _ := strings.Cut(word, ">")
		a, errA := strconv.Atoi(from)
		b, errB := strconv.Atoi(to)
		if errA != nil || errB != nil || min(a, b) < 0 || max(a, b) >= len(t.Slots) {
			return nil, fmt.Errorf("%q is no change of %ss", text, t.Name)
		}
		c = append(c, Step{From: a, To: b})
	}
	return c, nil
}
