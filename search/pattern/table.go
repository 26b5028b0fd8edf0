package pattern

// Table is a pattern table. It is never changed once built.
//
// Sixteen entries share 64 bits, that of the lowest number in the lowest four:
// 0 to 14 is a distance, 15 is farther than that or out of reach. So a table
// begins as all ones, and to set an entry is one AND, which can be done from
// several goroutines at once and again without harm.
type Table struct {
	Spec   Spec
	Layout *Layout

	entries []uint64
	found   [farthest + 1]uint64 // entries at each distance
}

const (
	farthest = 14 // the greatest distance that an entry tells
	// Beyond is what At returns for positions that take more than 14 or can't be
	// reached: never more than the distance.
	Beyond = 15
)

// words is the number of 64-bit words that so many entries take.
func words(entries uint64) uint64 { return (entries + 15) / 16 }

func empty(spec Spec) *Table {
	t := &Table{Spec: spec, Layout: spec.layout, entries: make([]uint64, words(spec.Entries()))}
	for i := range t.entries {
		t.entries[i] = ^uint64(0)
	}
	return t
}

// At is the distance of a position by its number, or Beyond.
func (t *Table) At(index uint64) int {
	return int(t.entries[index/16] >> (index % 16 * 4) & 15)
}

// Distance is the distance of a position by its rows, or Beyond.
func (t *Table) Distance(rows []uint16) int { return t.At(t.Layout.Index(rows)) }

// Histogram is the number of positions at each distance, 0 first, as far as
// there are any; distances beyond 14 and what can't be reached are left out. In a
// set that stands for one another, an arrangement counts once.
func (t *Table) Histogram() []uint64 {
	n := len(t.found)
	for n > 0 && t.found[n-1] == 0 {
		n--
	}
	return append([]uint64(nil), t.found[:n]...)
}

// Mean is the mean distance of the positions that the histogram counts.
func (t *Table) Mean() float64 {
	positions, sum := 0.0, 0.0
	for d, n := range t.found {
		positions += float64(n)
		sum += float64(n) * float64(d)
	}
	return sum / positions
}
