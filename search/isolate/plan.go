package isolate

import (
	"fmt"
	"math"
	"sync"
	"weak"
)

// Job says which sequences to try: [X, Y] and [S: [X, Y]] and, where Z is not 0,
// [[X, Y], Z] and [S: [[X, Y], Z]], for all parts up to these lengths.
//
// What is reached does not change if X is exchanged with Y, as [Y, X] undoes
// [X, Y]: let X be the longer one, as only one X of each orbit under the
// symmetries that keep the goal is tried.
type Job struct {
	X, Y  int // at least 1
	Z     int // 0 for no commutators of commutators
	Setup int // 0 for no setup
	Max   int // greatest length of what units report; 0 for any
}

// Longest is the greatest length that such a sequence can have.
func (j Job) Longest() int {
	n := 2 * (j.X + j.Y)
	if j.Z > 0 {
		n = 2 * (n + j.Z)
	}
	return n + 2*j.Setup
}

// MaxPart is the greatest length of a part.
const MaxPart = 12

// Plan cuts a job into units. It follows from the bench and the job alone, so that
// every worker has the same.
type Plan struct {
	Job Job

	b        *Bench
	words    *words
	prefixes []prefix
	counts   []uint64 // pairs tried below each prefix
	total    uint64   // of these
	size     uint64   // pairs that a unit has as a rule

	short      short
	ys, zs, ss int // how many of the short parts are parts Y, Z and setups
}

// Unit is a part of a job. It is deterministic, and can be run anywhere, again, and
// in any order.
type Unit struct {
	Index       int
	First, Last int    // beginnings of X, Last not included
	Pairs       uint64 // pairs of parts that it tries, setups aside
}

// Plan prepares a job, however large. It fails where the short parts are too many to
// keep, but makes none of them yet.
func (b *Bench) Plan(j Job) (*Plan, error) {
	for _, part := range []struct {
		name        string
		length, min int
	}{{"X", j.X, 1}, {"Y", j.Y, 1}, {"Z", j.Z, 0}, {"setup", j.Setup, 0}} {
		if part.length < part.min || part.length > MaxPart {
			return nil, fmt.Errorf("length %d of %s: use %d to %d", part.length, part.name, part.min, MaxPart)
		}
	}
	p := &Plan{Job: j, b: b}
	var err error
	if p.words, err = b.words(max(j.X, j.Y, j.Z, j.Setup)); err != nil {
		return nil, err
	}
	for _, list := range []struct {
		words *int
		most  int
		name  string
	}{{&p.ys, j.Y, "Y"}, {&p.zs, j.Z, "Z"}, {&p.ss, j.Setup, "setup"}} {
		if *list.words, err = p.words.listed(list.most); err != nil {
			return nil, fmt.Errorf("%s: %w", list.name, err)
		}
	}
	p.short.most = max(j.Y, j.Z, j.Setup)
	c := counter{p.words, j.X, map[rest]uint64{}}
	each := uint64(p.ys) * uint64(1+p.zs) // pairs for one X
	p.total = times(c.total(), each)
	p.size = max(unitPairs, p.total/mostUnits)
	large := max(1, 4*p.size/each)
	if p.total > MaxTotal {
		large = math.MaxUint64 // nobody is to run it
	}
	p.prefixes = c.prefixes(large)
	for _, prefix := range p.prefixes {
		p.counts = append(p.counts, times(c.count(prefix), each))
	}
	return p, nil
}

// short are the parts Y and Z and setups, by cost. They can take much memory, and are soon
// made: so they are there only as long as someone uses them.
type short struct {
	most int

	mu   sync.Mutex
	made weak.Pointer[[]word]
}

// parts gives them.
func (p *Plan) parts() *[]word {
	p.short.mu.Lock()
	defer p.short.mu.Unlock()
	if list := p.short.made.Value(); list != nil {
		return list
	}
	list := p.words.list(p.short.most)
	p.short.made = weak.Make(&list)
	return &list
}

// Bounds on the cut. A unit takes a second or so where pairs are tried without
// setups; in jobs that are so large that their units would be too many it takes longer.
const (
	unitPairs = 1 << 25
	mostUnits = 1 << 15 // or a few times that
)

// MaxTotal is how many pairs a job should have at most: a week or two of two cores.
const MaxTotal = 1 << 45

// Total is how many pairs of parts the job tries, setups aside; the greatest number
// where there are more.
func (p *Plan) Total() uint64 { return p.total }

// ShortBytes is the memory that the short parts take.
func (p *Plan) ShortBytes() int64 {
	return int64(max(p.ys, p.zs, p.ss)) * int64(p.words.listBytes())
}

// Units cuts the job.
func (p *Plan) Units() []Unit {
	var out []Unit
	for first := 0; first < len(p.prefixes); {
		u := Unit{Index: len(out), First: first, Last: first}
		for u.Last < len(p.prefixes) && (u.Last == first || plus(u.Pairs, p.counts[u.Last]) <= p.size) {
			u.Pairs = plus(u.Pairs, p.counts[u.Last])
			u.Last++
		}
		out = append(out, u)
		first = u.Last
	}
	return out
}

// Pairs is what a unit of any other cut should say.
func (p *Plan) Pairs(u Unit) uint64 {
	n := uint64(0)
	for _, below := range p.counts[u.First:u.Last] {
		n = plus(n, below)
	}
	return n
}

// times and plus stay at the greatest number where the result is greater.
func times(x, y uint64) uint64 {
	if y != 0 && x > math.MaxUint64/y {
		return math.MaxUint64
	}
	return x * y
}

func plus(x, y uint64) uint64 {
	if x > math.MaxUint64-y {
		return math.MaxUint64
	}
	return x + y
}
