package pattern

import (
	"fmt"
	"slices"

	"turnwright/search/puzzle"
	"turnwright/search/table"
	"turnwright/search/word"
)

// orbit is where one piece can get to in the frame, by turns of an alphabet.
type orbit struct {
	group  string // names the places; pieces with the same group share them
	places []int  // of the type, ascending
	twists int    // at each place

	// By slot of the type: the position of its place in places, or -1 if the piece
	// never gets there, and its twist.
	place, twist []int
}

// orbits finds the orbits of pieces. It keeps what it has worked out.
type orbits struct {
	alphabet *word.Alphabet
	moves    map[int][][]uint16 // by type: moves[letter][slot]
	known    map[int]orbit      // by piece
}

func newOrbits(a *word.Alphabet) *orbits {
	return &orbits{a, map[int][][]uint16{}, map[int]orbit{}}
}

// Moves lists where each letter takes each slot of a type: moves[letter][slot].
func Moves(a *word.Alphabet, typ int) [][]uint16 { return newOrbits(a).movesOf(typ) }

// movesOf lists where each letter takes each slot of a type.
func (o *orbits) movesOf(typ int) [][]uint16 {
	moves, ok := o.moves[typ]
	if !ok {
		for letter := range o.alphabet.Letters {
			moves = append(moves, table.SlotMoves(o.alphabet, typ, letter))
		}
		o.moves[typ] = moves
	}
	return moves
}

// of is the orbit of a piece.
func (o *orbits) of(piece int) (orbit, error) {
	if orb, ok := o.known[piece]; ok {
		return orb, nil
	}
	orb, err := o.find(piece)
	if err == nil {
		o.known[piece] = orb
	}
	return orb, err
}

func (o *orbits) find(piece int) (orbit, error) {
	p := o.alphabet.Puzzle
	typ := p.Pieces[piece].Type
	t, moves, home := &p.Types[typ], o.movesOf(typ), p.Pieces[piece].Home
	slots := reached(moves, home)
	out := orbit{place: make([]int, len(t.Slots)), twist: make([]int, len(t.Slots))}
	for _, s := range slots {
		out.places = append(out.places, t.Place[s])
	}
	slices.Sort(out.places)
	out.places = slices.Compact(out.places)
	out.twists = len(slots) / len(out.places)
	out.group = fmt.Sprintf("%d %v", typ, out.places)
	twist := twister(t, moves, home, out.twists)
	if twist == nil {
		return orbit{}, fmt.Errorf("the twists of piece %s do not add up", t.Labels[home])
	}
	for s := range out.place {
		out.place[s] = -1
	}
	for _, s := range slots { // the first slot met at a place is the one without a twist
		for k := 0; out.place[s] < 0; k++ {
			out.place[s], out.twist[s] = slices.Index(out.places, t.Place[s]), k
			s = twist[s]
		}
	}
	return out, nil
}

// reached lists the slots that letters lead to from one, in the order they are met.
func reached(moves [][]uint16, from int) []int {
	slots := []int{from}
	known := map[int]bool{from: true}
	for i := 0; i < len(slots); i++ {
		for _, m := range moves {
			if to := int(m[slots[i]]); !known[to] {
				known[to] = true
				slots = append(slots, to)
			}
		}
	}
	return slots
}

// twister is a map of slots to slots of the same place that goes through all of
// them and that turns do not notice: a turn after it is it after the turn. A
// piece in its place can only be rotated about one axis, so there is one.
func twister(t *puzzle.Type, moves [][]uint16, home, twists int) map[int]int {
next:
	for to := range t.Slots {
		if t.Place[to] != t.Place[home] {
			continue
		}
		twist := map[int]int{home: to}
		met := []int{home}
		for i := 0; i < len(met); i++ {
			s := met[i]
			for _, m := range moves {
				x, y := int(m[s]), int(m[twist[s]])
				switch known, ok := twist[x]; {
				case !ok:
					twist[x] = y
					met = append(met, x)
				case known != y:
					continue next
				}
			}
		}
		order := 1
		for s := to; s != home; order++ {
			var ok bool
			if s, ok = twist[s]; !ok {
				continue next // a slot that the piece never gets to
			}
		}
		if order == twists {
			return twist
		}
	}
	return nil
}
