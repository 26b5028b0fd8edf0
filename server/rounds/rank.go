package rounds

import (
	"cmp"
	"slices"

	v1 "turnwright/api/turnwright/v1"
	"turnwright/storage"
)

// result is what one member's attempts of a round count for.
type result struct {
	member  string
	lengths map[int]int // by number of the attempt; 0 where it is no result; missing where nothing was handed in
}

// best is the shortest length; 0 where no attempt is a result.
func (r result) best() int {
	best := 0
	for _, length := range r.lengths {
		if length > 0 && (best == 0 || length < best) {
			best = length
		}
	}
	return best
}

// sum is that of three attempts, of which all must be results (WCA Regulation 9f11); 0
// where one is none.
func (r result) sum() int {
	sum := 0
	for n := 1; n <= meanOf; n++ {
		if r.lengths[n] == 0 {
			return 0
		}
		sum += r.lengths[n]
	}
	return sum
}

// hundredths is a hundred times the mean of three, rounded (WCA Regulation 9f10).
func hundredths(sum int) int { return (sum*200 + meanOf) / (2 * meanOf) }

// row is one row of the standings.
type row struct {
	result
	place, best, sum int // sum is 0 where the format has no mean
}

// rank orders results: by the mean (WCA Regulation 9f13) and then the best (9f14), or by
// the best alone; shorter is better (9f12b), no result is worst (9f7), and who does
// equally well shares a place (9f15), by name.
func rank(format string, results []result) []row {
	rows := make([]row, 0, len(results))
	for _, r := range results {
		one := row{result: r, best: r.best()}
		if format == storage.FormatMean {
			one.sum = r.sum()
		}
		rows = append(rows, one)
	}
	better := func(a, b row) int { return cmp.Or(shorter(a.sum, b.sum), shorter(a.best, b.best)) }
	slices.SortFunc(rows, func(a, b row) int { return cmp.Or(better(a, b), cmp.Compare(a.member, b.member)) })
	for i := range rows {
		rows[i].place = i + 1
		if i > 0 && better(rows[i-1], rows[i]) == 0 {
			rows[i].place = rows[i-1].place
		}
	}
	return rows
}

// shorter compares lengths, of which 0 is none.
func shorter(a, b int) int {
	switch {
	case a == b:
		return 0
	case a == 0:
		return 1
	case b == 0:
		return -1
	}
	return cmp.Compare(a, b)
}

// held is a closed round with its results.
type held struct {
	round   storage.Round
	results []result
}

// record is a best result until then.
type record struct {
	round      storage.Round
	member     string
	kind       v1.RecordMark
	hundredths int
	standing   bool
}

func (r record) place() recordPlace { return recordPlace{r.round.Number, r.member, int32(r.kind)} }

// records tells the records of rounds in the order in which they closed. What equals a
// record is one too (common practice, from memory).
func records(history []held) []record {
	type key struct {
		puzzle, metric, member string
		kind                   v1.RecordMark
	}
	best := map[key]int{}
	var out []record
	var keys []key
	for _, h := range history {
		// Rows of one round make records against the rounds before, and the club's with one another.
		found := map[key]int{}
		note := func(member string, kind v1.RecordMark, value int, mine bool) key {
			k := key{puzzle: h.round.Puzzle, metric: h.round.Metric, kind: kind}
			if mine {
				k.member = member
			}
			if value > 0 && (found[k] == 0 || value < found[k]) {
				found[k] = value
			}
			return k
		}
		each := func(do func(member string, kind v1.RecordMark, value int, mine bool)) {
			for _, r := range rank(h.round.Format, h.results) {
				mean := hundredths(r.sum)
				do(r.member, v1.RecordMark_RECORD_MARK_PERSONAL_SINGLE, 100*r.best, true)
				do(r.member, v1.RecordMark_RECORD_MARK_PERSONAL_MEAN, mean, true)
				do(r.member, v1.RecordMark_RECORD_MARK_CLUB_SINGLE, 100*r.best, false)
				do(r.member, v1.RecordMark_RECORD_MARK_CLUB_MEAN, mean, false)
			}
		}
		each(func(member string, kind v1.RecordMark, value int, mine bool) { note(member, kind, value, mine) })
		each(func(member string, kind v1.RecordMark, value int, mine bool) {
			k := note(member, kind, value, mine)
			if value > 0 && value == found[k] && (best[k] == 0 || value <= best[k]) {
				out = append(out, record{round: h.round, member: member, kind: kind, hundredths: value})
				keys = append(keys, k)
			}
		})
		for k, value := range found {
			if best[k] == 0 || value < best[k] {
				best[k] = value
			}
		}
	}
	for i := range out {
		out[i].standing = out[i].hundredths == best[keys[i]]
	}
	return out
}
