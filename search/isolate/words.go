package isolate

import (
	"fmt"
	"slices"

	"turnwright/search/puzzle"
)

// A word is a sequence of letters without neighbours on one line. Lines that
// commute are not written in one order only: images of words are words that way.

// words walks the words over an alphabet.
type words struct {
	b *Bench
	alphabet
	parts []part // by letter
}

func (b *Bench) words(most int) (*words, error) {
	a, err := b.alphabet(most)
	if err != nil {
		return nil, err
	}
	w := &words{b: b, alphabet: *a}
	for _, l := range a.letters {
		perm := b.slotPerm(b.p.Apply(l.turns))
		part := part{perm, inverse(perm), make([]uint64, len(b.wantBits))}
		b.support(part.support, perm)
		w.parts = append(w.parts, part)
	}
	return w, nil
}

// prefix is the beginning of words.
type prefix struct {
	letters []int
	cost    int
	images  [][]int // of the alphabet, those that keep the letters
	whole   bool    // only the word itself, not what begins with it
}

// orbit is how many words are images of one that begins with the prefix, as the first of them.
func (w *words) orbit(images [][]int) uint64 { return uint64(len(w.images) / len(images)) }

// line is the line of the last letter, or -1.
func (w *words) line(letters []int) int {
	if len(letters) == 0 {
		return -1
	}
	return w.letters[letters[len(letters)-1]].line
}

// next yields the letters that may follow, one for each orbit under the images
// that keep what is there: so, of the images of a word, only the first is walked.
func (w *words) next(p prefix, most int, yield func(prefix) bool) bool {
	line := w.line(p.letters)
	for i, l := range w.letters {
		if l.cost > most-p.cost {
			break
		}
		if l.line == line || !least(p.images, i) {
			continue
		}
		q := prefix{letters: append(p.letters, i), cost: p.cost + l.cost, images: keeping(p.images, i)}
		if !yield(q) {
			return false
		}
	}
	return true
}

func least(images [][]int, letter int) bool {
	for _, row := range images {
		if row[letter] < letter {
			return false
		}
	}
	return true
}

func keeping(images [][]int, letter int) [][]int {
	if len(images) == 1 {
		return images
	}
	var out [][]int
	for _, row := range images {
		if row[letter] == letter {
			out = append(out, row)
		}
	}
	return out
}

// counter counts the words up to a cost. What may follow a beginning depends on the
// last line, the cost that is left and the images that keep the beginning, and these
// are few.
type counter struct {
	*words
	most  int
	known map[rest]uint64
}

// rest is what may follow a beginning.
type rest struct {
	line, left int
	images     string // empty where the idle one alone is left
}

// prefixes lists beginnings that the words are cut by, in order: every first letter as
// a word of its own, the first two letters and, as long as more than so many words
// have these in common, the same again with one letter more.
func (c *counter) prefixes(large uint64) []prefix {
	var out []prefix
	var cut func(p prefix) bool
	cut = func(p prefix) bool {
		p.letters = slices.Clone(p.letters)
		if len(p.letters) > 1 && c.count(p) <= large {
			out = append(out, p)
			return true
		}
		alone := p
		alone.whole = true
		out = append(out, alone)
		return c.next(p, c.most, cut)
	}
	c.next(prefix{images: c.images}, c.most, cut)
	return out
}

// total is the number of words, one for each orbit.
func (c *counter) total() uint64 {
	n := uint64(0)
	c.next(prefix{images: c.images}, c.most, func(p prefix) bool {
		n = plus(n, c.count(p))
		return true
	})
	return n
}

// count is the number of words, one for each orbit, that begin with the prefix.
func (c *counter) count(p prefix) uint64 {
	if p.whole || p.cost > c.most {
		return 1
	}
	key := rest{line: c.line(p.letters), left: c.most - p.cost}
	if len(p.images) > 1 {
		key.images = fmt.Sprint(c.numbers(p.images))
	}
	if n, ok := c.known[key]; ok {
		return n
	}
	n := uint64(1)
	if len(p.images) == 1 {
		n = c.counted(key.line, key.left)
	} else {
		c.next(p, c.most, func(q prefix) bool {
			n = plus(n, c.count(q))
			return true
		})
	}
	c.known[key] = n
	return n
}

// numbers tells which of the alphabet's images some are, in their order.
func (w *words) numbers(images [][]int) []int {
	var out []int
	i := 0
	for _, row := range images {
		for &w.images[i][0] != &row[0] {
			i++
		}
		out = append(out, i)
	}
	return out
}

// counted is the number of words up to a cost that may follow a letter of the line,
// the empty one included.
func (w *words) counted(line, most int) uint64 {
	perLine := make([][]uint64, len(w.b.p.Lines)) // by line and cost: letters
	for i := range perLine {
		perLine[i] = make([]uint64, most+1)
	}
	for _, l := range w.letters {
		if l.cost <= most {
			perLine[l.line][l.cost]++
		}
	}
	// ends[n][i]: words of cost n that end on line i
	ends := make([][]uint64, most+1)
	sum := uint64(1)
	for n := range ends {
		ends[n] = make([]uint64, len(perLine))
		for i := range perLine {
			for c := 1; c <= n; c++ {
				before := uint64(0)
				if c == n && i != line {
					before = 1
				}
				for j := range perLine {
					if j != i {
						before = plus(before, ends[n-c][j])
					}
				}
				ends[n][i] = plus(ends[n][i], times(before, perLine[i][c]))
			}
			sum = plus(sum, ends[n][i])
		}
	}
	return sum
}

// walk visits every word that begins with the prefix and costs at most so much, one
// for each orbit, with what it does. What it gives is good until it returns.
func (w *words) walk(p prefix, most int, visit func(p prefix, x *part) bool) bool {
	stack := make([]part, most+1) // by letters
	for i := range stack {
		stack[i] = w.b.newPart()
	}
	first := &stack[len(p.letters)]
	w.do(first, p.letters)
	letters := make([]int, len(p.letters), most+1)
	copy(letters, p.letters)
	p.letters = letters
	var grow func(p prefix) bool
	grow = func(p prefix) bool {
		depth := len(p.letters)
		if !visit(p, &stack[depth]) {
			return false
		}
		if p.whole {
			return true
		}
		return w.next(p, most, func(q prefix) bool {
			x, l, y := &stack[depth], &w.parts[q.letters[depth]], &stack[depth+1]
			then(y.to, x.to, l.to)
			then(y.from, l.from, x.from)
			w.b.support(y.support, y.to)
			return grow(q)
		})
	}
	return grow(p)
}

// do works out what letters do, one after another.
func (w *words) do(out *part, letters []int) {
	for s := range out.to {
		out.to[s] = uint16(s)
	}
	for _, i := range letters {
		for s, to := range out.to {
			out.to[s] = w.parts[i].to[to]
		}
	}
	for s, to := range out.to {
		out.from[to] = uint16(s)
	}
	w.b.support(out.support, out.to)
}

// turns writes letters as turns.
func (w *words) turns(letters []int) []puzzle.Turn {
	var out []puzzle.Turn
	for _, i := range letters {
		out = append(out, w.letters[i].turns...)
	}
	return out
}

// word is a word of a list.
type word struct {
	letters []int
	cost    int
	part
}

// Bounds on the words that are listed, for the short parts.
const (
	maxWords     = 400_000
	maxListBytes = 256 << 20
)

// listed is how many words list lists. It fails where they are too many to keep.
func (w *words) listed(most int) (int, error) {
	n := w.counted(-1, most) - 1
	if n > maxWords || n*uint64(w.listBytes()) > maxListBytes {
		return 0, fmt.Errorf("there are %d parts up to length %d: ask for shorter ones", n, most)
	}
	return int(n), nil
}

// listBytes is the memory for one word of a list, as good as.
func (w *words) listBytes() int { return 4 * w.b.slots }

// list lists all words of cost 1 to most, not only one for each orbit, in order of
// cost: so the list for a lower cost is the beginning of it.
func (w *words) list(most int) []word {
	byCost := make([][]word, most+1)
	start := prefix{images: w.images[:1]}
	w.walk(start, most, func(p prefix, x *part) bool {
		if p.cost > 0 {
			y := word{append([]int(nil), p.letters...), p.cost, w.b.newPart()}
			copy(y.to, x.to)
			copy(y.from, x.from)
			copy(y.support, x.support)
			byCost[p.cost] = append(byCost[p.cost], y)
		}
		return true
	})
	var out []word
	for _, list := range byCost {
		out = append(out, list...)
	}
	return out
}
