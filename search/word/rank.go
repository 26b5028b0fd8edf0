package word

// Words of one cost are numbered from 0 in the order of their letters in
// ByCost. The number alone rebuilds the word, so a table needs no more than that.

// Unrank appends to dst the letters of word number rank among those of exactly the cost.
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
