package rounds

import (
	"fmt"
	"math/big"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"pgregory.net/rapid"

	"turnwright/storage"
)

// of makes a result of lengths by attempt: 0 is no result, -1 was never handed in.
func of(member string, lengths ...int) result {
	r := result{member: member, lengths: map[int]int{}}
	for i, length := range lengths {
		if length >= 0 {
			r.lengths[i+1] = length
		}
	}
	return r
}

// The rules of the WCA Regulations (text of 1 January 2024), each by its number.
func TestRanking(t *testing.T) {
	for _, c := range []struct {
		rule, format string
		results      []result
		want         string // place, member, best and hundredths of the mean
	}{
		{"9f12b: shorter is better", storage.FormatBest, []result{of("anna", 30), of("bert", 28)}, "1 bert 28 0, 2 anna 30 0"},
		{"9b4a: the best of two counts", storage.FormatBest, []result{of("anna", 30, 25), of("bert", 28, 29)}, "1 anna 25 0, 2 bert 28 0"},
		{"9f7: no result is worst", storage.FormatBest, []result{of("anna", 0), of("bert", 99)}, "1 bert 99 0, 2 anna 0 0"},
		{"9f10: the mean of three, rounded to hundredths", storage.FormatMean, []result{of("anna", 24, 25, 25), of("bert", 24, 24, 26)}, "1 anna 24 2467, 1 bert 24 2467"},
		{"9f11: one that is no result makes the mean none", storage.FormatMean, []result{of("anna", 20, 20, 0), of("bert", 40, 40, 40)}, "1 bert 40 4000, 2 anna 20 0"},
		{"9f11: one that was never handed in, too", storage.FormatMean, []result{of("anna", 20, 20, -1), of("bert", 40, 40, 40)}, "1 bert 40 4000, 2 anna 20 0"},
		{"9f13: by the mean", storage.FormatMean, []result{of("anna", 20, 30, 31), of("bert", 26, 27, 27)}, "1 bert 26 2667, 2 anna 20 2700"},
		{"9f14: equal means by the best", storage.FormatMean, []result{of("anna", 26, 27, 28), of("bert", 20, 27, 34)}, "1 bert 20 2700, 2 anna 26 2700"},
		{"9f15: then the same place", storage.FormatMean, []result{of("dora", 50, 50, 50), of("bert", 20, 27, 34), of("anna", 27, 20, 34)}, "1 anna 20 2700, 1 bert 20 2700, 3 dora 50 5000"},
		{"9f14 and 9f15: without a mean by the best", storage.FormatMean, []result{of("anna", 0, 0, 0), of("bert", 30, 0, 0), of("dora", 29, -1, -1)}, "1 dora 29 0, 2 bert 30 0, 3 anna 0 0"},
	} {
		var got []string
		for _, r := range rank(c.format, c.results) {
			got = append(got, fmt.Sprint(r.place, " ", r.member, " ", r.best, " ", hundredths(r.sum)))
		}
		assert.Equal(t, c.want, strings.Join(got, ", "), c.rule)
	}
}

// beats is the slow twin: it compares exact fractions, one attempt at a time.
func beats(format string, a, b result) bool {
	worst := big.NewRat(1_000_000, 1)
	mean := func(r result) *big.Rat {
		sum := new(big.Rat)
		for n := 1; n <= 3; n++ {
			if r.lengths[n] == 0 {
				return worst
			}
			sum.Add(sum, big.NewRat(int64(r.lengths[n]), 3))
		}
		return sum
	}
	best := func(r result) *big.Rat {
		least := worst
		for _, length := range r.lengths {
			if length > 0 && big.NewRat(int64(length), 1).Cmp(least) < 0 {
				least = big.NewRat(int64(length), 1)
			}
		}
		return least
	}
	if format == storage.FormatMean {
		if c := mean(a).Cmp(mean(b)); c != 0 {
			return c < 0
		}
	}
	return best(a).Cmp(best(b)) < 0
}

func TestPlacesAreHowManyAreBetter(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		format := rapid.SampledFrom([]string{storage.FormatBest, storage.FormatMean}).Draw(t, "format")
		var results []result
		for i := range rapid.IntRange(0, 8).Draw(t, "members") {
			results = append(results, of(fmt.Sprint("m", i), rapid.SliceOfN(rapid.SampledFrom([]int{-1, 0, 20, 21, 22}), 3, 3).Draw(t, "lengths")...))
		}
		for _, row := range rank(format, results) {
			place := 1
			for _, other := range results {
				if beats(format, other, row.result) {
					place++
				}
			}
			if place != row.place {
				t.Fatalf("%s is at place %d, and %d are better", row.member, row.place, place-1)
			}
		}
	})
}
