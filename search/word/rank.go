package word

import "sort"

// Words of one cost are numbered from 0 in the order of their letters in
// ByCost. The number alone rebuilds the word, so a table needs no more than that.

// Ranking turns words of up to some cost into numbers and back.
type Ranking struct {
	a *Alphabet
	// below[cost][state][i]: words of the cost that may follow in the state and
	// begin with one of the letters ByCost[0] to ByCost[i-1].
	below [][][]uint64
}

// Ranking prepares for words of cost up to most.
func (a *Alphabet) Ranking(most int) *Ranking {
	r := &Ranking{a: a, below: make([][][]uint64, most+1)}
	for cost := 1; cost <= most; cost++ {
		for s := range a.forbid {
			row := make([]uint64, len(a.ByCost)+1)
			for i, letter := range a.ByCost {
				row[i+1] = row[i]
				l := &a.Letters[letter]
				if to := a.next[s][l.Family]; to >= 0 && l.Cost <= cost {
					row[i+1] += a.counts[cost-l.Cost][to]
				}
			}
			r.below[cost] = append(r.below[cost], row)
		}
	}
	return r
}

// Word appends to dst the letters of word number rank among those of exactly the cost.
func (r *Ranking) Word(dst []int, cost int, rank uint64) []int {
	s := r.a.Start()
	for cost > 0 {
		row := r.below[cost][s]
		i := sort.Search(len(row), func(i int) bool { return row[i] > rank }) - 1
		letter := r.a.ByCost[i]
		dst = append(dst, letter)
		rank -= row[i]
		cost -= r.a.Letters[letter].Cost
		s = r.a.Next(s, letter)
	}
	return dst
}

// Unrank appends to dst the letters of word number rank among those of exactly
// the cost. It is Ranking.Word without the preparation, for a few words.
func (a *Alphabet) Unrank(dst []int, cost int, rank uint64) []int {
	s := a.Start()
	for cost > 0 {
		for _, i := range a.ByCost {
			l := &a.Letters[i]
			to := a.next[s][l.Family]
			if to < 0 || l.Cost > cost {
				continue
			}
			below := a.counts[cost-l.Cost][to]
			if rank < below {
				dst = append(dst, i)
				cost, s = cost-l.Cost, to
				break
			}
			rank -= below
		}
	}
	return dst
}

// Rank is the number of a canonical word among those of its cost.
func (a *Alphabet) Rank(letters []int) uint64 {
	cost := a.Cost(letters)
	s, rank := a.Start(), uint64(0)
	for _, letter := range letters {
		for _, i := range a.ByCost {
			if i == letter {
				break
			}
			l := &a.Letters[i]
			if to := a.next[s][l.Family]; to >= 0 && l.Cost <= cost {
				rank += a.counts[cost-l.Cost][to]
			}
		}
		cost -= a.Letters[letter].Cost
		s = a.Next(s, letter)
	}
	return rank
}

// Cost is the sum of the letters' costs.
func (a *Alphabet) Cost(letters []int) int {
	sum := 0
	for _, i := range letters {
		sum += a.Letters[i].Cost
	}
	return sum
}
