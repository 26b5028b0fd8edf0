package word

import "math/big"

// Total is the number of canonical words of exactly the cost, of any size. It
// is computed apart from Count, by multiplying out the automaton's transfer
// matrix one letter cost at a time, so that each checks the other.
func (a *Alphabet) Total(cost int) *big.Int {
	// reach[n][s]: words of cost n from the start that end in state s.
	reach := make([][]big.Int, cost+1)
	for n := range reach {
		reach[n] = make([]big.Int, len(a.forbid))
	}
	reach[0][a.Start()].SetInt64(1)
	var term, count big.Int
	for n := 0; n < cost; n++ {
		for s := range a.forbid {
			if reach[n][s].Sign() == 0 {
				continue
			}
			for f, to := range a.next[s] {
				if to < 0 {
					continue
				}
				for c := 1; n+c <= cost && c < len(a.perFam[f]); c++ {
					if k := a.perFam[f][c]; k != 0 {
						term.Mul(&reach[n][s], count.SetUint64(k))
						reach[n+c][to].Add(&reach[n+c][to], &term)
					}
				}
			}
		}
	}
	sum := new(big.Int)
	for s := range a.forbid {
		sum.Add(sum, &reach[cost][s])
	}
	return sum
}
