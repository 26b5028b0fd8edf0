package isolate

import (
	"fmt"
	"math"
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
}

// MaxPart is the greatest length of a part.
const MaxPart = 12

// Plan cuts a job into units. It follows from the bench and the job alone, so that
// every worker has the same.
type Plan struct {
	Job Job

	b          *Bench
	words      *words
	prefixes   []prefix
	counts     []uint64 // pairs tried below each prefix
	ys, zs, ss []word
}

// Unit is a part of a job. It is deterministic, and can be run anywhere, again, and
// in any order.
type Unit struct {
	Index       int
	First, Last int    // beginnings of X, Last not included
	Pairs       uint64 // pairs of parts that it tries, setups aside
}

// Plan prepares a job. It fails where the short parts are too many to keep.
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
		words *[]word
		most  int
		name  string
	}{{&p.ys, j.Y, "Y"}, {&p.zs, j.Z, "Z"}, {&p.ss, j.Setup, "setup"}} {
		if *list.words, err = p.words.list(list.most); err != nil {
			return nil, fmt.Errorf("%s: %w", list.name, err)
		}
	}
	p.prefixes = p.words.prefixes(j.X)
	known := map[string]uint64{}
	for _, prefix := range p.prefixes {
		n := p.words.count(prefix, j.X, known)
		p.counts = append(p.counts, times(n, uint64(len(p.ys)*(1+len(p.zs)))))
	}
	return p, nil
}

// unitPairs is the size of a unit: a second or so where pairs are tried without setups.
const unitPairs = 1 << 25

// Units cuts the job.
func (p *Plan) Units() []Unit {
	var out []Unit
	for first := 0; first < len(p.prefixes); {
		u := Unit{Index: len(out), First: first, Last: first}
		for u.Last < len(p.prefixes) && (u.Last == first || plus(u.Pairs, p.counts[u.Last]) <= unitPairs) {
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
