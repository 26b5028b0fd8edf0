package pattern

import (
	"context"
	"sync"
	"sync/atomic"
)

// Build makes the table with the given number of goroutines: level by level, a
// sweep over all positions for each distance. progress, if not nil, is called
// after each sweep with positions found of positions numbered; only at the very
// end are the two the same, as some positions can't be reached. Build stops soon
// after ctx ends. It takes the memory of the table and no more.
//
// A sweep pushes from what was found before to what is still unset, or, once less
// is unset, pulls: it asks each of those whether a turn leads back to what was found.
func Build(ctx context.Context, spec Spec, workers int, progress func(done, total uint64)) (*Table, error) {
	t := empty(spec)
	l := t.Layout
	rows := make([]uint16, len(l.Wants))
	l.eachWanted(rows, 0, func() {
		if index := l.Index(rows); t.At(index) == Beyond {
			t.set(index, 0)
			t.found[0]++
		}
	})
	most := 0 // cost of a letter
	for _, letter := range spec.Alphabet.Letters {
		most = max(most, letter.Cost)
	}
	done, empties := t.found[0], 0
	adder := newAdder(l.radix)
	for level := 1; level <= farthest && empties < most; level++ {
		from := uint64(0) // positions that a push would start from
		for _, n := range t.found[max(0, level-most):level] {
			from += n
		}
		pull := spec.Entries()-done < from
		n, err := t.sweep(ctx, level, most, workers, adder, pull)
		if err != nil {
			return nil, err
		}
		t.found[level] = n
		done += n
		empties++
		if n > 0 {
			empties = 0
		}
		if progress != nil {
			progress(done, spec.Entries())
		}
	}
	if progress != nil {
		progress(spec.Entries(), spec.Entries())
	}
	return t, ctx.Err()
}

// eachWanted shows every position in which all pieces are where they are wanted,
// those of a set in the order of their places only.
func (l *Layout) eachWanted(rows []uint16, piece int, visit func()) {
	if piece == len(rows) {
		visit()
		return
	}
	for _, s := range l.Wants[piece].Slots {
		row := l.base[piece] + s
		bit := l.cells[row].bit
		fits := bit != 0
		for i, r := range rows[:piece] {
			other := l.cells[r].bit
			fits = fits && other != bit && (other < bit || !l.together(i, piece))
		}
		if fits {
			rows[piece] = uint16(row)
			l.eachWanted(rows, piece+1, visit)
		}
	}
}

// together tells whether two pieces are in one set.
func (l *Layout) together(i, j int) bool {
	for _, s := range l.sets {
		if s.first <= i && j < s.first+s.size {
			return true
		}
	}
	return false
}

// set sets an entry that is unset, and tells whether it was.
func (t *Table) set(index uint64, distance int) bool {
	shift := index % 16 * 4
	old := atomic.AndUint64(&t.entries[index/16], ^(uint64(Beyond^distance) << shift))
	return old>>shift&15 == Beyond
}

// now is At while others set entries.
func (t *Table) now(index uint64) int {
	return int(atomic.LoadUint64(&t.entries[index/16]) >> (index % 16 * 4) & 15)
}

// jobEntries is about how many entries a goroutine takes at a time.
const jobEntries = 1 << 14

// sweep finds the entries at one distance and tells how many they are.
func (t *Table) sweep(ctx context.Context, level, most, workers int, adder *adder, pull bool) (uint64, error) {
	l := t.Layout
	step := max(1, jobEntries/l.twists)
	var at, found atomic.Uint64
	var wg sync.WaitGroup
	for range max(workers, 1) {
		wg.Go(func() {
			s := newSweeper(t, adder, level, most)
			for ctx.Err() == nil {
				first := at.Add(step) - step
				if first >= l.arrangements {
					break
				}
				for a := first; a < min(first+step, l.arrangements); a++ {
					if pull {
						s.pull(a)
					} else {
						s.push(a)
					}
				}
			}
			found.Add(s.found)
		})
	}
	wg.Wait()
	return found.Load(), ctx.Err()
}

// sweeper sweeps for one goroutine. All positions of an arrangement are a block
// of entries, and a letter takes block to block: what it does to the arrangement
// is worked out once, and every twist only has the same amount added.
type sweeper struct {
	t       *Table
	adder   *adder
	level   int
	most    int // cost of a letter
	letters []int
	costs   []int
	rows    []uint16
	after   []uint64 // by letter: where the position without twists goes
	twists  []split  // those of the block that matter
	from    []int    // and their distances
	found   uint64
}

func newSweeper(t *Table, adder *adder, level, most int) *sweeper {
	s := &sweeper{t: t, adder: adder, level: level, most: most, rows: make([]uint16, len(t.Layout.Wants))}
	for i, letter := range t.Spec.Alphabet.Letters {
		s.letters = append(s.letters, i)
		s.costs = append(s.costs, letter.Cost)
	}
	s.after = make([]uint64, len(s.letters))
	return s
}

// choose collects the twists of a block whose entries are lo to hi, and finds
// where letters take the block if there are any.
func (s *sweeper) choose(arrangement uint64, lo, hi int) bool {
	base := arrangement * s.t.Layout.twists
	end := base + s.t.Layout.twists
	s.twists, s.from = s.twists[:0], s.from[:0]
	for i := base; i < end; {
		next := min(i/16*16+16, end)
		word := atomic.LoadUint64(&s.t.entries[i/16])
		if word == ^uint64(0) && hi < Beyond {
			i = next // none is set
			continue
		}
		for word >>= i % 16 * 4; i < next; i, word = i+1, word>>4 {
			if d := int(word & 15); lo <= d && d <= hi {
				s.twists = append(s.twists, s.adder.split(i-base))
				s.from = append(s.from, d)
			}
		}
	}
	if len(s.twists) == 0 {
		return false
	}
	s.t.Layout.untwisted(s.rows, arrangement)
	s.t.Layout.After(s.after, s.rows, s.letters)
	return true
}

// push sets what one letter takes the entries of a block to.
func (s *sweeper) push(arrangement uint64) {
	if !s.choose(arrangement, s.level-s.most, s.level-1) {
		return
	}
	for letter, to := range s.after {
		add := to % s.t.Layout.twists
		to -= add
		sum := s.adder.by(add)
		for i, x := range s.twists {
			if s.from[i]+s.costs[letter] != s.level {
				continue
			}
			if index := to + sum.of(x); s.t.now(index) == Beyond && s.t.set(index, s.level) {
				s.found++
			}
		}
	}
}

// pull sets the unset entries of a block that one letter takes to what was found:
// the letter that undoes it costs the same.
func (s *sweeper) pull(arrangement uint64) {
	if !s.choose(arrangement, Beyond, Beyond) {
		return
	}
	base := arrangement * s.t.Layout.twists
	for letter, to := range s.after {
		add := to % s.t.Layout.twists
		to -= add
		sum := s.adder.by(add)
		left := s.twists[:0]
		for _, x := range s.twists {
			if s.t.now(to+sum.of(x))+s.costs[letter] != s.level {
				left = append(left, x)
				continue
			}
			s.t.set(base+uint64(x.high)*s.adder.low+uint64(x.low), s.level)
			s.found++
		}
		s.twists = left
	}
}
