package study

import (
	"fmt"
	"math/bits"
	"slices"
	"strings"

	"turnwright/search/effect"
	"turnwright/search/notation"
	"turnwright/search/puzzle"
	"turnwright/search/structure"
)

// Analysis tells where the moves of a solution went, in plain data. Turns are counted from 1
// as they are written out; "after 0" is before the first.
type Analysis struct {
	Solution      string         `json:"solution"` // written out
	Turns         int            `json:"turns"`
	Length        int            `json:"length"`  // as written, under the metric
	Lengths       effect.Lengths `json:"lengths"` // as written, under every metric
	Solves        bool           `json:"solves"`
	Types         []TypeDone     `json:"types"` // in the order of the puzzle's types
	Stages        []Stage        `json:"stages"`
	Cancellations Cancellations  `json:"cancellations"`
}

// TypeDone says when a piece type was finished.
type TypeDone struct {
	Type  string `json:"type"`
	After int    `json:"after"` // the last turn of the stage, or 0, from whose end on it is done at the end of every stage
	Cost  int    `json:"cost"`  // length up to there
	Left  int    `json:"left"`  // pieces that the solution leaves wrong; 0 if it solves
}

// Stage is a stretch of a solution.
type Stage struct {
	Name     string   `json:"name"`    // the solver's, or what was finished
	Written  bool     `json:"written"` // the name is the solver's
	From     int      `json:"from"`    // its first turn
	To       int      `json:"to"`      // its last turn
	Turns    string   `json:"turns"`
	Cost     int      `json:"cost"`
	Finished []string `json:"finished"` // types that are done at its end, and at the end of every later stage, and none of it left wrong
	Gained   []Gain   `json:"gained"`   // pieces that are at home at its end and were not before it
	Reading  string   `json:"reading"`  // as commutators and conjugates, where it has such a structure
	Words    string   `json:"words"`    // the same in words
}

// Gain counts pieces.
type Gain struct {
	Type   string `json:"type"`
	Pieces int    `json:"pieces"`
}

// Cancellations tell what merges or cancels.
type Cancellations struct {
	Written   int            `json:"written"`   // length as written, with all brackets written out
	Neighbour int            `json:"neighbour"` // length after merging neighbours about one line
	Reordered int            `json:"reordered"` // length after merging what meets when turns that commute change places
	Places    []Cancellation `json:"places"`    // where neighbours merge
}

// Cancellation is a run of turns about one line that come to less.
type Cancellation struct {
	From  int    `json:"from"` // its first turn
	Turns string `json:"turns"`
	Into  string `json:"into"` // empty if nothing is left
	Saves int    `json:"saves"`
}

// maxRead is the longest stretch that is read as commutators and conjugates.
const maxRead = 30

// Analyse tells what can be told at once.
func (s *Study) Analyse() (Analysis, error) {
	p, m := s.Puzzle, s.Metric
	out := Analysis{
		Solution: notation.Print(p, s.Turns), Turns: len(s.Turns), Length: notation.Length(p, m, s.Turns),
		Lengths: effect.Describe(p, s.Turns).Lengths, Solves: s.Solves,
	}
	home := s.homes()
	cuts, left := s.cuts(home), s.left()
	done := home.typesDone(p, cuts)
	for i, t := range p.Types {
		out.Types = append(out.Types, TypeDone{
			Type: t.Name, After: done[i], Cost: notation.Length(p, m, s.Turns[:done[i]]), Left: left[i],
		})
	}
	from := 0
	for _, c := range cuts {
		out.Stages = append(out.Stages, s.stage(home, done, left, from, c.to, c.name))
		from = c.to
	}
	var err error
	out.Cancellations, err = s.cancellations()
	return out, err
}

// set is a set of pieces, as bits.
type set []uint64

func (a set) has(i int) bool { return a[i/64]>>(i%64)&1 != 0 }

func (a set) len() int {
	n := 0
	for _, x := range a {
		n += bits.OnesCount64(x)
	}
	return n
}

// within tells whether b has all that a has.
func (a set) within(b set) bool {
	for i, x := range a {
		if x&^b[i] != 0 {
			return false
		}
	}
	return true
}

// homes say after each turn, 0 first, which pieces are as they are at the end, up to the
// rotation of the whole that makes most of them so; and which types are.
type homes struct {
	pieces []set
	types  []set
}

func (s *Study) homes() homes {
	p := s.Puzzle
	var out homes
	at := slices.Clone(s.start)
	for n := 0; n <= len(s.Turns); n++ {
		if n > 0 {
			at = at.Then(p.TurnPerm(s.Turns[n-1]))
		}
		var best set
		types := make(set, (len(p.Types)+63)/64)
		for _, sym := range p.Symmetries[:p.Rotations] {
			pieces := make(set, (len(p.Pieces)+63)/64)
			left := make([]int, len(p.Types))
			for i, piece := range p.Pieces {
				if slices.ContainsFunc(piece.Stickers, func(x int) bool { return sym.Stickers[at[x]] != s.end[x] }) {
					left[piece.Type]++
					continue
				}
				pieces[i/64] |= 1 << (i % 64)
			}
			for t, n := range left {
				if n == 0 {
					types[t/64] |= 1 << (t % 64)
				}
			}
			if best == nil || pieces.len() > best.len() {
				best = pieces
			}
		}
		out.pieces = append(out.pieces, best)
		out.types = append(out.types, types)
	}
	return out
}

// typesDone tells for each type after which turn, 0 or the last one of a stage, it is as it is at
// the end, and is so again at the end of each later stage: a later stage may disturb it for a while.
func (h homes) typesDone(p *puzzle.Puzzle, cuts []cut) []int {
	out := make([]int, len(p.Types))
	for t := range out {
		i := len(cuts) - 1
		out[t] = cuts[i].to
		for ; i >= 0 && h.types[cuts[i].to].has(t); i-- {
			out[t] = cuts[i].to
		}
		if i < 0 && h.types[0].has(t) {
			out[t] = 0
		}
	}
	return out
}

// left counts the pieces of each type that the solution leaves wrong, with the whole held so
// that fewest are: none where it looks solved, as pieces that look alike may have changed places.
func (s *Study) left() []int {
	p := s.Puzzle
	if s.Solves {
		return make([]int, len(p.Types))
	}
	var best []int
	fewest := len(p.Pieces) + 1
	for _, sym := range p.Symmetries[:p.Rotations] {
		all, byType := 0, make([]int, len(p.Types))
		for _, piece := range p.Pieces {
			if slices.ContainsFunc(piece.Stickers, func(x int) bool { return sym.Stickers[x] != s.end[x] }) {
				all++
				byType[piece.Type]++
			}
		}
		if all < fewest {
			fewest, best = all, byType
		}
	}
	return best
}

// cut is the end of a stage.
type cut struct {
	to   int
	name string
}

// cuts are where stages end: where the solver says so or, where no comment does, where pieces
// came home that stay there. As many cuts as can be are taken such that at each all pieces that are home
// at the one before are home again; only those where more are home than ever before, and the next
// turn brings no more home.
func (s *Study) cuts(h homes) []cut {
	n := len(s.Turns)
	if len(s.names) > 0 {
		var out []cut
		at := 0
		for _, x := range append(slices.Clone(s.names), named{from: n, to: n}) {
			if x.from > at {
				out = append(out, cut{x.from, ""})
			}
			if x.to > x.from {
				out = append(out, cut{x.to, x.name})
			}
			at = x.to
		}
		return out
	}
	var at []int // where a stage may end
	record := h.pieces[0].len()
	for i := 1; i < n; i++ {
		here := h.pieces[i].len()
		if here > record && here >= h.pieces[i+1].len() {
			at = append(at, i)
		}
		record = max(record, here)
	}
	at = append(at, n)
	most := make([]int, len(at)) // stages up to here
	from := make([]int, len(at))
	for i, x := range at {
		most[i], from[i] = 1, -1
		for j, y := range at[:i] {
			if most[j] >= most[i] && h.pieces[y].within(h.pieces[x]) && h.pieces[y].len() < h.pieces[x].len() {
				most[i], from[i] = most[j]+1, j
			}
		}
	}
	var out []cut
	for i := len(at) - 1; i >= 0; i = from[i] {
		out = append(out, cut{to: at[i]})
	}
	slices.Reverse(out)
	return out
}

// stage describes the turns from one place to another.
func (s *Study) stage(h homes, done, left []int, from, to int, name string) Stage {
	p, m := s.Puzzle, s.Metric
	turns := s.Turns[from:to]
	out := Stage{
		Name: name, Written: name != "", From: from + 1, To: to,
		Turns: notation.Print(p, turns), Cost: notation.Length(p, m, turns),
	}
	var words []string
	for i, t := range p.Types {
		gained := 0
		for _, piece := range t.Pieces {
			if h.pieces[to].has(piece) && !h.pieces[from].has(piece) {
				gained++
			}
		}
		if gained > 0 {
			out.Gained = append(out.Gained, Gain{t.Name, gained})
		}
		switch {
		case left[i] == 0 && done[i] > from && done[i] <= to: // what stays wrong is never finished
			out.Finished = append(out.Finished, t.Name)
			words = append(words, "the last of "+t.Name)
		case gained > 0:
			words = append(words, fmt.Sprintf("%s: %d", t.Name, gained))
		}
	}
	if out.Name == "" {
		out.Name = strings.Join(words, ", ")
	}
	if len(turns) > 0 && len(turns) <= maxRead {
		if r, err := structure.Read(p, m, turns); err == nil && !r.Plain {
			out.Reading, out.Words = r.Text, r.Words
		}
	}
	return out
}

// cancellations finds what merges.
func (s *Study) cancellations() (Cancellations, error) {
	p, m := s.Puzzle, s.Metric
	line := func(t puzzle.Turn) int { return p.Axes[t.Axis].Line }
	out := Cancellations{Written: notation.Length(p, m, s.Turns)}
	out.Neighbour = notation.Length(p, m, notation.Simplify(p, s.Turns))
	for i := 0; i < len(s.Turns); {
		j := i + 1
		for j < len(s.Turns) && line(s.Turns[j]) == line(s.Turns[i]) {
			j++
		}
		run := s.Turns[i:j]
		into := notation.Simplify(p, run)
		if saves := notation.Length(p, m, run) - notation.Length(p, m, into); saves > 0 {
			out.Places = append(out.Places, Cancellation{i + 1, notation.Print(p, run), notation.Print(p, into), saves})
		}
		i = j
	}
	ls, err := newLetters(p, m)
	if err != nil { // too many turns for an alphabet: what commutes isn't told
		out.Reordered = out.Neighbour
		return out, nil
	}
	w, err := ls.spell(s.Turns, s.held)
	if err != nil {
		return out, err
	}
	out.Reordered = min(out.Neighbour, notation.Length(p, m, ls.turns(ls.reduce(nil, w), s.held)))
	return out, nil
}
