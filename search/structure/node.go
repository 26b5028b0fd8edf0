package structure

import (
	"cmp"
	"strconv"
	"strings"

	"turnwright/search/notation"
)

// node is a reading of a word: plain turns, a commutator or conjugate of two
// readings, or several one after another.
type node struct {
	form  form
	word  word // what it comes to
	a, b  *node
	items []*node

	written  int // what its turns cost as they are written
	weight   int // twice that and what its brackets weigh
	brackets int
	setup    int // what setups cost
	text     string
}

type form uint8

const (
	plain form = iota
	commutator
	conjugate
	sequence
)

// Weights, in half turns. A commutator is worth a bracket wherever it saves a turn; a
// conjugate of plain turns that is part of something else, as R' D' R in
// [R' D' R, U], only where it saves some. And what cancels has to be
// seen: R' D' R U R' D R U' is rather [R' D' R, U] than [[R', D'], U].
const (
	turnWeight    = 2
	bracketWeight = 2
	cancelWeight  = 1 // a turn that cancels when a bracket is written out
	insideWeight  = 4 // a conjugate of plain turns within another bracket or a row
	pieceWeight   = 1 // a bracket in a row
	wholeWeight   = 1 // a rotation of the whole, which costs nothing in most metrics
)

func (s *speller) plainNode(w word) *node {
	n := &node{form: plain, word: w, written: s.cost(w), text: notation.Print(s.p, s.turns(w))}
	n.weight = turnWeight * n.written
	for _, t := range s.turns(w) {
		if t.From == 1 && t.To == s.p.Lines[s.p.Axes[t.Axis].Line].Layers {
			n.weight += wholeWeight
		}
	}
	return n
}

// inside is what a node weighs as part of another.
func (n *node) inside() int {
	if n.form == conjugate && !n.commutes() {
		return n.weight + insideWeight
	}
	return n.weight
}

func (s *speller) bracket(f form, w word, a, b *node) *node {
	n := &node{form: f, word: w, a: a, b: b, written: a.written + b.written, weight: a.inside() + b.inside() + bracketWeight, brackets: a.brackets + b.brackets + 1, setup: a.setup + b.setup}
	mark := ", "
	full := 2*s.cost(a.word) + 2*s.cost(b.word)
	if f == conjugate {
		mark = ": "
		full -= s.cost(b.word)
		n.setup += s.cost(a.word)
	}
	n.weight += cancelWeight * max(full-s.cost(w), 0)
	n.text = "[" + a.text + mark + b.text + "]"
	return n
}

func (s *speller) sequenceNode(w word, items []*node) *node {
	if len(items) == 1 {
		return items[0]
	}
	n := &node{form: sequence, word: w, items: items}
	var texts []string
	for i := 0; i < len(items); {
		item, times := items[i], 1
		for item.brackets > 0 && i+times < len(items) && items[i+times].text == item.text {
			times++
		}
		i += times
		n.written += item.written
		n.weight += item.inside()
		if item.brackets > 0 {
			n.weight += pieceWeight
		}
		n.brackets += item.brackets
		n.setup += item.setup
		text := item.text
		if times > 1 {
			text += "^" + strconv.Itoa(times)
		}
		texts = append(texts, text)
	}
	n.text = strings.Join(texts, " ")
	return n
}

// better is the better of two readings, either of which may be missing: of less
// weight, then of fewer turns as written, fewer brackets, shorter setups, shorter text, then by text.
func better(n, m *node) *node {
	switch {
	case n == nil:
		return m
	case m == nil:
		return n
	}
	if cmp.Or(m.weight-n.weight, m.written-n.written, m.brackets-n.brackets, m.setup-n.setup,
		len(m.text)-len(n.text), cmp.Compare(m.text, n.text)) < 0 {
		return m
	}
	return n
}

// commutes tells whether a conjugate, all setups taken off, is a commutator.
func (n *node) commutes() bool {
	for n.form == conjugate {
		n = n.b
	}
	return n.form == commutator
}

// beats tells whether a row of pieces says more than the whole as one bracket. It does not
// if that has a commutator in it and saves turns.
func (n *node) beats(whole *node, plain int) bool {
	switch {
	case whole.commutes() && whole.written < plain:
		return false
	case n.brackets == 0:
		return n.written <= whole.written
	}
	return n.weight < whole.weight
}
