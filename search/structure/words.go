package structure

import (
	"fmt"
	"strings"

	"turnwright/search/notation"
	"turnwright/search/puzzle"
)

// Words says what kind of sequence a tree is, with the lengths of its parts after
// cancelling and merging: "3-1 commutator with a 2-turn setup".
func Words(p *puzzle.Puzzle, m puzzle.Metric, seq notation.Sequence) string {
	w := wording{p, m}
	return w.items(seq.Items)
}

type wording struct {
	p *puzzle.Puzzle
	m puzzle.Metric
}

// items joins the kinds of what comes one after another.
func (w wording) items(nodes []notation.Node) string {
	var out []string
	var loose []notation.Node
	flush := func() {
		if len(loose) > 0 {
			out = append(out, turnsOf(w.length(loose)))
			loose = nil
		}
	}
	for _, n := range nodes {
		if n.Group == nil {
			loose = append(loose, n)
			continue
		}
		flush()
		out = append(out, w.group(n.Group))
	}
	if flush(); len(out) == 0 {
		return turnsOf(0)
	}
	return strings.Join(out, ", then ")
}

func (w wording) group(g *notation.Group) string {
	var text string
	switch g.Form {
	case notation.Commutator:
		text = fmt.Sprintf("%d-%d commutator", w.length(g.A), w.length(g.B))
		var inner []string
		for i, part := range [][]notation.Node{g.A, g.B} {
			if kind, ok := w.kind(part); ok {
				inner = append(inner, fmt.Sprintf("whose %s part is a %s", []string{"first", "second"}[i], kind))
			}
		}
		if len(inner) > 0 {
			text += " " + strings.Join(inner, " and ")
		}
	case notation.Conjugate:
		inner, comma := w.items(g.B), ""
		if strings.Contains(inner, "whose") {
			comma = ","
		}
		text = fmt.Sprintf("%s%s with a %d-turn setup", inner, comma, w.length(g.A))
	default:
		text = w.items(g.A)
	}
	switch g.Power {
	case 1:
		return text
	case -1:
		return "inverse of a " + text
	}
	return fmt.Sprintf("%s, %d times", text, g.Power)
}

// kind tells of a part that is one bracket.
func (w wording) kind(nodes []notation.Node) (string, bool) {
	if len(nodes) != 1 || nodes[0].Group == nil {
		return "", false
	}
	if g := nodes[0].Group; g.Form == notation.Conjugate {
		if _, ok := w.kind(g.B); !ok {
			return fmt.Sprintf("conjugate of %s", w.items(g.B)), true
		}
	}
	return w.group(nodes[0].Group), true
}

// length is that of nodes written out, after cancelling and merging.
func (w wording) length(nodes []notation.Node) int {
	turns, err := notation.Sequence{Puzzle: w.p, Items: nodes}.Expand()
	if err != nil {
		return 0 // the tree that it is part of would not have been parsed
	}
	word, _ := w.p.ToFrame(turns)
	sum := 0
	for _, s := range word {
		sum += w.p.SyllableCost(w.m, s)
	}
	return sum
}

func turnsOf(n int) string {
	if n == 1 {
		return "1 turn"
	}
	return fmt.Sprintf("%d turns", n)
}

func isPlain(seq notation.Sequence) bool {
	for _, n := range seq.Items {
		if n.Group != nil {
			return false
		}
	}
	return true
}

// measure adds up what is written in a tree: the length of its turns, each counted once, its
// brackets, and the length of its setups.
func (r *Reading) measure(p *puzzle.Puzzle, m puzzle.Metric, nodes []notation.Node) {
	for _, n := range nodes {
		if n.Group == nil {
			r.Written += p.Cost(m, n.Turn)
			continue
		}
		r.Brackets++
		before := r.Written
		r.measure(p, m, n.Group.A)
		if n.Group.Form == notation.Conjugate {
			r.Setup += r.Written - before
		}
		r.measure(p, m, n.Group.B)
	}
}
