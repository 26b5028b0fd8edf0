// Package table holds what a search looks up: the near table, every canonical
// word up to a length, found by where the word takes a few tracked pieces.
//
// The one idea: two words that take every protected piece to the same slot have
// the same key, so that one followed by the other's inverse leaves them alone.
// A key is the exclusive or of one random number for each (tracked piece, slot),
// and so needs no more than a look-up and an exclusive or for each piece.
//
//	spec := table.Spec{Alphabet: a, Tracked: pieces, Depth: 4}
//	near, err := table.Build(ctx, spec, runtime.NumCPU(), nil)
//	for rank := range near.Find(key, 4) { ... } // words of cost 4 with that key
//
// It does not decide what to track or how deep; package deepen plans that.
package table

import (
	"turnwright/search/word"
)

// Tracker turns the slots of a few pieces into keys. A state of the tracked
// pieces is a vector of rows, one for each piece: row r stands for one piece in
// one slot. It is shared by all goroutines and never changed.
type Tracker struct {
	Alphabet *word.Alphabet
	Pieces   []int // indices into Puzzle.Pieces

	Start []uint16   // rows when solved
	moves [][]uint16 // moves[letter][row]: the row after the letter
	value []uint64   // value[row]: the random number of a row

	// after[row*stride+i] is value[moves[ByCost[i]][row]]: what a piece adds to
	// the key after one more letter, letters in the order of ByCost. One more row, of zeros, pads the pieces
	// to a multiple of lanes.
	after  []uint64
	stride int
}

// lanes is how many rows the inner loop takes at once. It keeps as many
// pointers as fit the registers.
const lanes = 5

// NewTracker prepares to track the given pieces.
func NewTracker(a *word.Alphabet, pieces []int) *Tracker {
	p := a.Puzzle
	t := &Tracker{Alphabet: a, Pieces: pieces, stride: len(a.Letters)}
	base := make([]int, len(pieces)) // first row of each piece
	rows := 0
	for i, piece := range pieces {
		base[i] = rows
		rows += len(p.Types[p.Pieces[piece].Type].Slots)
	}
	t.value = make([]uint64, rows+1)
	for i, piece := range pieces {
		slots := len(p.Types[p.Pieces[piece].Type].Slots)
		for s := range slots {
			t.value[base[i]+s] = random(uint64(piece)<<16 | uint64(s))
		}
		t.Start = append(t.Start, uint16(base[i]+p.Pieces[piece].Home))
	}
	for letter := range a.Letters {
		row := make([]uint16, rows+1)
		row[rows] = uint16(rows)
		for i, piece := range pieces {
			typ := p.Pieces[piece].Type
			for s, to := range SlotMoves(a, typ, letter) {
				row[base[i]+s] = uint16(base[i]) + to
			}
		}
		t.moves = append(t.moves, row)
	}
	t.after = make([]uint64, (rows+1)*t.stride)
	for r := range rows {
		for i, letter := range a.ByCost {
			t.after[r*t.stride+i] = t.value[t.moves[letter][r]]
		}
	}
	for len(t.Start)%lanes != 0 || len(t.Start) == 0 {
		t.Start = append(t.Start, uint16(rows))
	}
	return t
}

// Move writes to dst the rows after a letter.
func (t *Tracker) Move(dst, src []uint16, letter int) {
	moves := t.moves[letter]
	for i, r := range src {
		dst[i] = moves[r]
	}
}

// Key is the key of a state.
func (t *Tracker) Key(state []uint16) uint64 {
	k := uint64(0)
	for _, r := range state {
		k ^= t.value[r]
	}
	return k
}

// Children writes to dst the keys of state after each of the letters
// ByCost[first] to ByCost[first+len(dst)-1]. This is the hot loop of every search: it reads len(dst)
// numbers in a row for each tracked piece, and nothing depends on what it just
// computed, so that the processor runs many letters at once.
func (t *Tracker) Children(dst []uint64, state []uint16, first int) {
	n := len(dst)
	for i := 0; i+lanes <= len(state); i += lanes {
		a := t.after[int(state[i])*t.stride+first:][:n]
		b := t.after[int(state[i+1])*t.stride+first:][:n]
		c := t.after[int(state[i+2])*t.stride+first:][:n]
		d := t.after[int(state[i+3])*t.stride+first:][:n]
		e := t.after[int(state[i+4])*t.stride+first:][:n]
		if i == 0 {
			for j := range dst {
				dst[j] = a[j] ^ b[j] ^ c[j] ^ d[j] ^ e[j]
			}
			continue
		}
		for j := range dst {
			dst[j] ^= a[j] ^ b[j] ^ c[j] ^ d[j] ^ e[j]
		}
	}
}

// SlotMoves is where a letter takes each slot of a type.
func SlotMoves(a *word.Alphabet, typ, letter int) []uint16 {
	p := a.Puzzle
	perm := p.SyllablePerm(a.Letters[letter].Syllable)
	t := &p.Types[typ]
	index := make(map[[4]uint16]uint16, len(t.Slots)) // the first four stickers tell slots apart
	name := func(slot []uint16, perm []uint16) (k [4]uint16) {
		for i, x := range slot[:min(4, len(slot))] {
			k[i] = perm[x] + 1
		}
		return k
	}
	idle := p.Identity()
	for s, slot := range t.Slots {
		index[name(slot, idle)] = uint16(s)
	}
	out := make([]uint16, len(t.Slots))
	for s, slot := range t.Slots {
		out[s] = index[name(slot, perm)]
	}
	return out
}

// random is a fixed random number for x (splitmix64: G. L. Steele, D. Lea,
// C. H. Flood, 2014). Tables on disk depend on it.
func random(x uint64) uint64 {
	x += 0x9e3779b97f4a7c15
	x = (x ^ x>>30) * 0xbf58476d1ce4e5b9
	x = (x ^ x>>27) * 0x94d049bb133111eb
	return x ^ x>>31
}
