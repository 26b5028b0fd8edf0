package pattern

import (
	"math/bits"
	"slices"
)

// Layout numbers the positions of a few pieces. A position is a vector of rows,
// one for each piece, in an order of the layout's own: a row stands for one piece
// in one slot. It is shared by all goroutines and never changed.
//
// A number is arrangement·twists + twist. Each place of a table is one bit, those
// that pieces share side by side. A piece's digit is how many of its places below
// it are free of the pieces before it; a set of pieces that are wanted in the
// same slots is a combination of free places, numbered by its members from the
// lowest up: C(d₁, 1) + C(d₂, 2) + …
type Layout struct {
	Wants []Want // in the order of the rows

	moves   [][]uint16 // moves[letter][row]
	cells   []cell     // by row
	wanted  []bool     // by row
	base    []int      // first row of each piece
	singles []single   // pieces on their own: the first ones
	sets    []set      // those that stand for one another
	untwist [][]uint16 // by piece and bit: the row at the place without a twist

	choose       [][]uint64 // choose[k][n]: ways to choose k of n
	arrangements uint64
	radix        []uint64 // twists of each piece
	twists       uint64   // their product
}

// cell is what a row adds to the number.
type cell struct {
	bit   uint64 // its place
	below uint64 // the places of its group below it
	twist uint64 // its twist, times the twists of the pieces before
}

type single struct {
	group          uint64 // places
	weight, digits uint64
}

type set struct {
	first, size    int // pieces
	group          uint64
	weight, digits uint64
}

// maxPlaces is the most places, of all groups together, that one table can have.
const maxPlaces = 64

func newLayout(o *orbits, wants []Want) (*Layout, error) {
	a := o.alphabet
	classes, err := o.classes(wants)
	if err != nil {
		return nil, err
	}
	groups, err := placeGroups(classes)
	if err != nil {
		return nil, err
	}
	l := &Layout{twists: 1, arrangements: 1}
	for _, c := range classes {
		group, first, size := groups[c.orbit.group], len(l.Wants), len(c.wants)
		for _, w := range c.wants {
			l.addPiece(o, w, c.orbit, group)
		}
		if size == 1 {
			l.singles = append(l.singles, single{group, l.arrangements, c.digits})
		} else {
			l.sets = append(l.sets, set{first, size, group, l.arrangements, c.digits})
		}
		l.arrangements = times(l.arrangements, c.digits)
	}
	for i := range l.singles {
		l.singles[i].weight = times(l.singles[i].weight, l.twists)
	}
	for i := range l.sets {
		l.sets[i].weight = times(l.sets[i].weight, l.twists)
	}
	for letter := range a.Letters {
		row := make([]uint16, 0, len(l.cells))
		for i, w := range l.Wants {
			for _, to := range o.movesOf(a.Puzzle.Pieces[w.Piece].Type)[letter] {
				row = append(row, uint16(l.base[i])+to)
			}
		}
		l.moves = append(l.moves, row)
	}
	for k := range maxPlaces + 1 {
		row := make([]uint64, maxPlaces+1)
		for n := range row {
			row[n] = choose(n, k)
		}
		l.choose = append(l.choose, row)
	}
	return l, nil
}

// addPiece appends the rows of a piece.
func (l *Layout) addPiece(o *orbits, w Want, orb orbit, group uint64) {
	l.Wants = append(l.Wants, w)
	base := len(l.cells)
	l.base = append(l.base, base)
	shift := bits.TrailingZeros64(group)
	untwist := make([]uint16, maxPlaces)
	for s, place := range orb.place {
		var c cell
		if place >= 0 {
			c.bit = 1 << (shift + place)
			c.below = group & (c.bit - 1)
			c.twist = uint64(orb.twist[s]) * l.twists
			if orb.twist[s] == 0 {
				untwist[shift+place] = uint16(base + s)
			}
		}
		l.cells = append(l.cells, c)
		l.wanted = append(l.wanted, slices.Contains(w.Slots, s))
	}
	l.untwist = append(l.untwist, untwist)
	l.radix = append(l.radix, uint64(orb.twists))
	l.twists = times(l.twists, uint64(orb.twists))
}

// entries is the number of positions that the layout numbers; math.MaxUint64
// stands for that and more.
func (l *Layout) entries() uint64 { return times(l.arrangements, l.twists) }

// Rows writes to dst the rows of pieces in the slots that slot gives, by index into Puzzle.Pieces.
func (l *Layout) Rows(dst []uint16, slot func(piece int) int) {
	for i, w := range l.Wants {
		dst[i] = uint16(l.base[i] + slot(w.Piece))
	}
}

// Move writes to dst the rows after a letter.
func (l *Layout) Move(dst, src []uint16, letter int) {
	moves := l.moves[letter]
	for i, r := range src {
		dst[i] = moves[r]
	}
}

// Wanted tells whether all pieces are where they are wanted.
func (l *Layout) Wanted(rows []uint16) bool {
	for _, r := range rows {
		if !l.wanted[r] {
			return false
		}
	}
	return true
}

// Index is the number of a position.
func (l *Layout) Index(rows []uint16) uint64 {
	var index, used uint64
	for i, s := range l.singles {
		c := &l.cells[rows[i]]
		index += c.twist + s.weight*uint64(bits.OnesCount64(c.below&^used))
		used |= c.bit
	}
	if len(l.sets) > 0 {
		index += l.indexSets(rows, used)
	}
	return index
}

func (l *Layout) indexSets(rows []uint16, used uint64) uint64 {
	index := uint64(0)
	for _, s := range l.sets {
		taken := uint64(0)
		for _, r := range rows[s.first : s.first+s.size] {
			taken |= l.cells[r].bit
		}
		rank := uint64(0)
		free := s.group &^ used
		for k, rest := 1, taken; rest != 0; k, rest = k+1, rest&(rest-1) {
			below := rest&-rest - 1
			rank += l.choose[k][bits.OnesCount64(free&below)]
		}
		index += s.weight * rank
		used |= taken
	}
	return index
}

// After writes to dst the numbers of the positions after each of the letters.
// This is the hot loop of a search.
func (l *Layout) After(dst []uint64, rows []uint16, letters []int) {
	if len(l.sets) > 0 {
		l.afterSets(dst, rows, letters)
		return
	}
	for j, letter := range letters {
		moves := l.moves[letter]
		var index, used uint64
		for i, r := range rows[:len(l.singles)] {
			c := &l.cells[moves[r]]
			index += c.twist + l.singles[i].weight*uint64(bits.OnesCount64(c.below&^used))
			used |= c.bit
		}
		dst[j] = index
	}
}

func (l *Layout) afterSets(dst []uint64, rows []uint16, letters []int) {
	var room [maxPlaces]uint16
	moved := room[:len(rows)]
	for j, letter := range letters {
		l.Move(moved, rows, letter)
		dst[j] = l.Index(moved)
	}
}

// untwisted writes to rows the position of an arrangement in which no piece is twisted.
func (l *Layout) untwisted(rows []uint16, arrangement uint64) {
	var used uint64
	for i, s := range l.singles {
		bit := nth(s.group&^used, int(arrangement%s.digits))
		arrangement /= s.digits
		used |= 1 << bit
		rows[i] = l.untwist[i][bit]
	}
	for _, s := range l.sets {
		rank := arrangement % s.digits
		arrangement /= s.digits
		free := s.group &^ used
		for k := s.size; k > 0; k-- {
			d := k - 1
			for l.choose[k][d+1] <= rank {
				d++
			}
			rank -= l.choose[k][d]
			bit := nth(free, d)
			used |= 1 << bit
			rows[s.first+k-1] = l.untwist[s.first+k-1][bit]
		}
	}
}

// nth is the position of bit number n, from 0, of those that are set.
func nth(set uint64, n int) int {
	for range n {
		set &= set - 1
	}
	return bits.TrailingZeros64(set)
}
