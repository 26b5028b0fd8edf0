package pattern

import (
	"cmp"
	"fmt"
	"slices"

	"turnwright/search/word"
)

// Choose picks tables for the pieces that are wanted somewhere, within a number
// of bytes for all of them together; the same each time. Pieces that never move
// get none.
//
// One table of all pieces is best, if it fits. Otherwise pieces are parted by the
// places that they share, and each part is cut into runs of neighbours as
// long as fit: a few large tables prune more than many small ones. The last run
// of a part overlaps the one before it rather than being shorter, and small
// tables are made into one.
func Choose(a *word.Alphabet, wants []Want, memory int64) ([]Spec, error) {
	if err := check(a.Puzzle, wants); err != nil {
		return nil, err
	}
	o := newOrbits(a)
	parts, err := partsOf(o, wants)
	if err != nil {
		return nil, err
	}
	if len(parts) == 0 {
		return nil, nil
	}
	if whole := slices.Concat(parts...); fits(o, whole, uint64(memory)) {
		spec, err := newSpec(o, whole)
		return []Spec{spec}, err
	}
	// The largest tables may take half as much, a third as much, … until all fit.
	for share := 1; share <= maxShare; share++ {
		specs, err := cut(o, parts, uint64(memory)/uint64(share))
		if err != nil {
			return nil, err
		}
		if specs != nil && total(specs) <= uint64(memory) {
			specs, err = merge(o, specs, uint64(memory))
			slices.SortStableFunc(specs, func(x, y Spec) int { return cmp.Compare(y.Entries(), x.Entries()) })
			return specs, err
		}
	}
	return nil, fmt.Errorf("%d bytes of memory are too few for pattern tables: allow at least 1 MB", memory)
}

// maxShare is how small a part of the memory a table can be made to take.
const maxShare = 256

func total(specs []Spec) uint64 {
	sum := uint64(0)
	for _, s := range specs {
		sum += s.Bytes()
	}
	return sum
}

// partsOf parts pieces that move by the places that they share. Where all pieces
// of those places are there, and have twists, the last one is left out: its
// place follows from the others, and on most puzzles its twist does too.
func partsOf(o *orbits, wants []Want) ([][]Want, error) {
	var parts [][]Want
	var places []int
	index := map[string]int{}
	twisted := map[int]bool{}
	for _, w := range wants {
		orb, err := o.of(w.Piece)
		if err != nil {
			return nil, err
		}
		if len(orb.places)*orb.twists == 1 {
			continue
		}
		i, ok := index[orb.group]
		if !ok {
			i = len(parts)
			index[orb.group] = i
			parts = append(parts, nil)
			places = append(places, len(orb.places))
		}
		parts[i] = append(parts[i], w)
		twisted[i] = twisted[i] || orb.twists > 1
	}
	for i, part := range parts {
		if n := len(part); n == places[i] && n > 1 && twisted[i] {
			parts[i] = part[:n-1]
		}
	}
	return parts, nil
}

// cut cuts each part into runs whose tables take the given bytes at most, or
// returns nil where a single piece takes more.
func cut(o *orbits, parts [][]Want, most uint64) ([]Spec, error) {
	var specs []Spec
	for _, part := range parts {
		part = alikeTogether(part)
		for first := 0; first < len(part); {
			last := longest(o, part, first, most)
			if last == first {
				return nil, nil
			}
			if last == len(part) {
				for first > 0 && fits(o, part[first-1:], most) {
					first--
				}
			}
			spec, err := newSpec(o, part[first:last])
			if err != nil {
				return nil, err
			}
			specs = append(specs, spec)
			first = last
		}
	}
	return specs, nil
}

// merge makes one table of the two smallest as long as the memory allows: it
// tells more than the two of them.
func merge(o *orbits, specs []Spec, memory uint64) ([]Spec, error) {
	specs = slices.Clone(specs)
	for len(specs) > 1 {
		slices.SortStableFunc(specs, func(x, y Spec) int { return cmp.Compare(x.Entries(), y.Entries()) })
		wants := union(specs[0].Wants, specs[1].Wants)
		if !fits(o, wants, memory-total(specs[2:])) {
			break
		}
		spec, err := newSpec(o, wants)
		if err != nil {
			return nil, err
		}
		specs = append(specs[2:], spec)
	}
	return specs, nil
}

func union(x, y []Want) []Want {
	all := append(slices.Clone(x), y...)
	slices.SortStableFunc(all, func(x, y Want) int { return cmp.Compare(x.Piece, y.Piece) })
	return slices.CompactFunc(all, func(x, y Want) bool { return x.Piece == y.Piece })
}

// longest is the end of the longest run from first that fits.
func longest(o *orbits, part []Want, first int, most uint64) int {
	last := first
	for last < len(part) && fits(o, part[first:last+1], most) {
		last++
	}
	return last
}

// alikeTogether puts pieces that are wanted in the same slots side by side, so
// that they become sets.
func alikeTogether(part []Want) []Want {
	part = slices.Clone(part)
	slices.SortStableFunc(part, func(x, y Want) int { return slices.Compare(x.Slots, y.Slots) })
	return part
}

// fits tells whether a table of the pieces takes so many bytes at most.
func fits(o *orbits, wants []Want, most uint64) bool {
	n := o.entries(wants)
	return n <= MaxEntries && 8*words(n) <= most
}
