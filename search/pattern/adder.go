package pattern

// adder adds twists: numbers digit by digit, each digit modulo its own radix,
// without a carry. Numbers are split into a low and a high half, so that two
// small tables do for all sums.
type adder struct {
	low, high uint64 // how many numbers each half has
	lows      []uint32
	highs     []uint32 // times low
}

func newAdder(radix []uint64) *adder {
	total := uint64(1)
	for _, r := range radix {
		total *= r
	}
	a := &adder{low: 1}
	n := 0
	for n < len(radix) && a.low*a.low < total {
		a.low *= radix[n]
		n++
	}
	a.high = total / a.low
	a.lows = sums(radix[:n], a.low, 1)
	a.highs = sums(radix[n:], a.high, a.low)
	return a
}

// sums lists x+y for all x and y below total, times factor.
func sums(radix []uint64, total, factor uint64) []uint32 {
	out := make([]uint32, total*total)
	for x := range total {
		for y := range total {
			sum, weight, restX, restY := uint64(0), uint64(1), x, y
			for _, r := range radix {
				sum += (restX + restY) % r * weight
				restX, restY, weight = restX/r, restY/r, weight*r
			}
			out[x*total+y] = uint32(sum * factor)
		}
	}
	return out
}

// split is a number cut in two.
type split struct{ low, high uint32 }

func (a *adder) split(x uint64) split {
	high := x / a.low
	return split{uint32(x - high*a.low), uint32(high)}
}

// addition is an adder with one of the numbers fixed.
type addition struct{ lows, highs []uint32 }

func (a *adder) by(y uint64) addition {
	low, high := y%a.low, y/a.low
	return addition{a.lows[low*a.low:][:a.low], a.highs[high*a.high:][:a.high]}
}

// of is the sum of x and the fixed number.
func (s addition) of(x split) uint64 { return uint64(s.highs[x.high] + s.lows[x.low]) }
