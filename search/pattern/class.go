package pattern

import (
	"fmt"
	"math"
	"math/bits"
	"slices"
)

// class is one piece, or several that stand for one another.
type class struct {
	orbit  orbit
	wants  []Want
	digits uint64 // ways to put them into the places that the classes before leave free
}

// classes sorts wants into classes, those of one piece first.
func (o *orbits) classes(wants []Want) ([]class, error) {
	var out []class
	index := map[string]int{}
	for _, w := range wants {
		orb, err := o.of(w.Piece)
		if err != nil {
			return nil, err
		}
		key := fmt.Sprint(orb.group, w.Slots)
		if orb.twists > 1 {
			key = fmt.Sprint("piece ", w.Piece)
		}
		i, ok := index[key]
		if !ok {
			i = len(out)
			index[key] = i
			out = append(out, class{orbit: orb})
		}
		out[i].wants = append(out[i].wants, w)
	}
	slices.SortStableFunc(out, func(x, y class) int { return min(len(x.wants), 2) - min(len(y.wants), 2) })
	taken := map[string]int{}
	for i, c := range out {
		group := c.orbit.group
		out[i].digits = choose(len(c.orbit.places)-taken[group], len(c.wants))
		taken[group] += len(c.wants)
	}
	return out, nil
}

// entries is the number of positions of some pieces; math.MaxUint64 stands for
// that and more, and for what one table can't number.
func (o *orbits) entries(wants []Want) uint64 {
	classes, err := o.classes(wants)
	if err != nil {
		return math.MaxUint64
	}
	if _, err := placeGroups(classes); err != nil {
		return math.MaxUint64
	}
	n := uint64(1)
	for _, c := range classes {
		n = times(n, c.digits)
		for range c.wants {
			n = times(n, uint64(c.orbit.twists))
		}
	}
	return n
}

// placeGroups gives each group of places its bits.
func placeGroups(classes []class) (map[string]uint64, error) {
	groups := map[string]uint64{}
	total := 0
	for _, c := range classes {
		n := len(c.orbit.places)
		if _, ok := groups[c.orbit.group]; ok {
			continue
		}
		if total+n > maxPlaces {
			return nil, fmt.Errorf("the pieces have more than %d places: a pattern table takes no more", maxPlaces)
		}
		groups[c.orbit.group] = (1<<n - 1) << total
		total += n
	}
	return groups, nil
}

// choose is the number of ways to choose k of n, math.MaxUint64 for that and more.
func choose(n, k int) uint64 {
	if k > n {
		return 0
	}
	c := uint64(1)
	for i := 1; i <= k; i++ {
		hi, lo := bits.Mul64(c, uint64(n-k+i))
		if hi >= uint64(i) {
			return math.MaxUint64
		}
		c, _ = bits.Div64(hi, lo, uint64(i))
	}
	return c
}

func times(x, y uint64) uint64 {
	hi, lo := bits.Mul64(x, y)
	if hi != 0 {
		return math.MaxUint64
	}
	return lo
}
