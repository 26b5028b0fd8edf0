package coverage

import (
	"context"
	"slices"

	"turnwright/search/goal"
	"turnwright/search/notation"
)

// How tells where the sequence of a class comes from.
type How string

// Where it may come from.
const (
	Found   How = "found"   // one for the class was added, and none is shorter
	BySetup How = "setup"   // it follows from one for another class
	Missing How = "missing" // there is none
)

// Row is what is known of one class, in plain data.
type Row struct {
	Class    int        `json:"class"`    // its number, from 1
	Cycle    [3]string  `json:"cycle"`    // its first member: names of slots, each piece goes to the place of the next
	Slots    goal.Cycle `json:"slots"`    // the same as indices into the type's slots
	Cycles   int        `json:"cycles"`   // directed cycles in the class
	How      How        `json:"how"`      //
	Sequence string     `json:"sequence"` // for that cycle; empty where it is missing
	Length   int        `json:"length"`   // of the sequence, under the table's metric
	Lines    int        `json:"lines"`    // different lines that it turns about
	Proven   bool       `json:"proven"`   // there is no shorter one for the class
	Setup    string     `json:"setup"`    // what it does first and undoes at its end; empty for nothing
	Base     string     `json:"base"`     // the sequence that it follows from, as it was added
	// AtLeast is the length that a sequence for the class has at least, by what was proven.
	AtLeast int `json:"at_least"`
}

// Rows lists all classes in the catalog's order. Each sequence was carried out by
// the slow judge.
func (t *Table) Rows(ctx context.Context) ([]Row, error) {
	if err := t.settle(ctx); err != nil {
		return nil, err
	}
	b := t.Bench
	rows := make([]Row, 0, len(t.classes))
	for i := range t.classes {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		c, of := &t.classes[i], b.Catalog.Classes[i]
		row := Row{Class: of.Index, Cycle: b.Labels(of.Cycle), Slots: of.Cycle, Cycles: of.Size, How: Missing, AtLeast: t.proven + 1}
		if len(c.best) > 0 {
			s := c.best[0]
			if !c.verified {
				if err := b.Verify(s); err != nil {
					return nil, err
				}
				c.verified = true
			}
			row.How, row.Sequence, row.Length, row.Lines = BySetup, c.texts[0], s.Length, s.Lines
			row.Base, row.Setup = t.Base(s), notation.Print(b.Puzzle, b.Setup(s))
			if c.found == s.Length {
				row.How = Found
			}
			// What is shorter was covered, so that a class not reached needs one turn more at least.
			row.Proven = s.Length <= t.proven+1
			row.AtLeast = min(row.AtLeast, s.Length)
		}
		rows = append(rows, row)
	}
	return rows, nil
}

// Summary says how much is covered.
type Summary struct {
	Classes int `json:"classes"`
	Cycles  int `json:"cycles"`  // directed cycles in all
	Found   int `json:"found"`   // classes that a search reached
	BySetup int `json:"setup"`   // classes reached by a setup
	Missing int `json:"missing"` // classes without a sequence
	Proven  int `json:"proven"`  // classes whose sequence is the shortest there is
	// ProvenLength is the length up to which a search has covered everything.
	ProvenLength int `json:"proven_length"`
	Longest      int `json:"longest"`
	// PerClass and PerCycle are the mean lengths over classes, and over cycles, that have a sequence.
	PerClass float64 `json:"per_class"`
	PerCycle float64 `json:"per_cycle"`
	// Lengths counts classes by the length of their sequence; index 0 is those without.
	Lengths []int `json:"lengths"`
}

// Summarize sums rows up; proven is the length of [Table.Proven].
func Summarize(rows []Row, proven int) Summary {
	s := Summary{Classes: len(rows), ProvenLength: proven}
	have, covered := 0, 0
	for _, r := range rows {
		s.Cycles += r.Cycles
		switch r.How {
		case Found:
			s.Found++
		case BySetup:
			s.BySetup++
		default:
			s.Missing++
		}
		if r.Proven {
			s.Proven++
		}
		s.Longest = max(s.Longest, r.Length)
		if r.Length >= len(s.Lengths) {
			s.Lengths = append(s.Lengths, slices.Repeat([]int{0}, r.Length+1-len(s.Lengths))...)
		}
		s.Lengths[r.Length]++
		if r.How != Missing {
			have++
			covered += r.Cycles
			s.PerClass += float64(r.Length)
			s.PerCycle += float64(r.Length) * float64(r.Cycles)
		}
	}
	if have > 0 {
		s.PerClass /= float64(have)
		s.PerCycle /= float64(covered)
	}
	return s
}
