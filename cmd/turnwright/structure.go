package main

import (
	"fmt"
	"slices"
	"strings"

	"github.com/dustin/go-humanize"
	"github.com/spf13/cobra"

	turnwrightv1 "turnwright/api/turnwright/v1"
)

// How searches among commutators and conjugates are put, for people and for programs.

const aboutParts = `
With --parts only commutators [X, Y] of parts up to these lengths are tried, with a
third length [[X, Y], Z] too, and with --setup also [S: ...] of each. That is for classes
that need more turns than all sequences can be tried for: on large puzzles beyond 10
or 12. It reaches further in less time, but proves nothing: other sequences may be
shorter. Let X be the longest part.`

// parts are the flags that say which sequences are tried.
type parts struct {
	lengths []int
	setup   int32
}

func (p *parts) register(cmd *cobra.Command) {
	flags := cmd.Flags()
	flags.IntSliceVar(&p.lengths, "parts", nil, "try only commutators of parts X, Y and maybe Z up to these `lengths`, such as 4,1 or 4,1,1;\nnothing is proven then")
	flags.Int32Var(&p.setup, "setup", 0, "with --parts: also with setups up to this `length`")
}

// structure puts them to the API; nil where all sequences are to be tried.
func (p *parts) structure() (*turnwrightv1.Structure, error) {
	switch n := len(p.lengths); {
	case n == 0 && p.setup != 0:
		return nil, usageError{fmt.Errorf("--setup %d: goes with --parts", p.setup)}
	case n == 0:
		return nil, nil
	case n != 2 && n != 3:
		return nil, usageError{fmt.Errorf("--parts: must be two lengths or three, of X, Y and Z, not %d", n)}
	case n == 3 && p.lengths[2] == 0:
		return nil, usageError{fmt.Errorf("--parts: leave the third length out where [[X, Y], Z] is not wanted")}
	}
	s := &turnwrightv1.Structure{FirstLength: limited(p.lengths[0]), SecondLength: limited(p.lengths[1]), SetupLength: p.setup}
	if len(p.lengths) == 3 {
		s.ThirdLength = limited(p.lengths[2])
	}
	return s, nil
}

// limited keeps what no part is as long as from becoming what one is.
func limited(length int) int32 { return int32(min(max(length, -1), 1000)) }

// lengthsOf are the greatest lengths of the parts, as --parts has them.
func lengthsOf(s *turnwrightv1.Structure) []int32 {
	lengths := []int32{s.GetFirstLength(), s.GetSecondLength()}
	if s.GetThirdLength() > 0 {
		lengths = append(lengths, s.GetThirdLength())
	}
	return lengths
}

// partsWord is a structure in short: 4-1, 4-1-1.
func partsWord(s *turnwrightv1.Structure) string {
	return strings.Trim(strings.ReplaceAll(fmt.Sprint(lengthsOf(s)), " ", "-"), "[]")
}

// structureText says which sequences are tried.
func structureText(s *turnwrightv1.Structure) string {
	text := fmt.Sprintf("[X, Y] of parts up to %d and %d", s.GetFirstLength(), s.GetSecondLength())
	if s.GetThirdLength() > 0 {
		text = fmt.Sprintf("[X, Y] and [[X, Y], Z] of parts up to %d, %d and %d", s.GetFirstLength(), s.GetSecondLength(), s.GetThirdLength())
	}
	if s.GetSetupLength() > 0 {
		text += fmt.Sprintf(", with setups up to %d", s.GetSetupLength())
	}
	return text
}

// triedText is what was tried, and what follows from it.
func triedText(s *turnwrightv1.Search, found bool) string {
	tried := humanize.Comma(int64(s.GetPairs()))
	switch {
	case s.GetPairs() == 0:
		return "Nothing was tried: no unit was finished."
	case s.GetPairs() < s.GetPairsTotal():
		tried = fmt.Sprintf("%s of %s", tried, humanize.Comma(int64(s.GetPairsTotal())))
	default:
		tried = "all " + tried
	}
	if !found {
		return fmt.Sprintf("Tried: %s pairs of parts; none meets the goal. Sequences that are not so made may.", tried)
	}
	return fmt.Sprintf("Tried: %s pairs of parts. Sequences that are not so made may be shorter.", tried)
}

// byLengthText counts the classes by the length of the best that was found for them.
func byLengthText(findings []*turnwrightv1.Finding) string {
	classes, cycles := map[int32]int{}, map[int32]int64{}
	var lengths []int32
	for _, f := range findings {
		n := f.GetLength()
		if classes[n] == 0 {
			lengths = append(lengths, n)
		}
		classes[n]++
		cycles[n] += f.GetClassCycles()
	}
	slices.Sort(lengths)
	var rows [][]any
	for _, n := range lengths {
		rows = append(rows, []any{n, classes[n], humanize.Comma(cycles[n])})
	}
	return columns([]string{">length", ">classes", ">cycles"}, rows)
}

// pairsBarText is barText for a structure.
func pairsBarText(p *turnwrightv1.Progress, width int) string {
	facts := []string{fmt.Sprintf("%s of %s pairs of parts", short(p.GetPairsTried()), short(p.GetPairsPredicted()))}
	if rate := p.GetPairsPerSecond(); rate > 0 {
		facts = append(facts, short(uint64(rate))+"/s")
	}
	if p.GetRemaining() != nil {
		facts = append(facts, durationText(p.GetRemaining().AsDuration())+" left")
	}
	return fit(barLine("trying", p.GetPairsTried(), p.GetPairsPredicted(), facts), width)
}

func structuredEstimateText(e *turnwrightv1.Estimate) string {
	return fmt.Sprintf("%s of parts, in %s; setups are tried for what they find.\nParts that are kept: %s.\n",
		plural(int64(e.GetPairs()), "pair", "pairs"), plural(e.GetUnits(), "unit", "units"), humanize.IBytes(uint64(e.GetTableBytes())))
}

type structureForm struct {
	Parts []int32 `json:"parts"` // greatest lengths of X, Y and maybe Z
	Setup int32   `json:"setup"`
}

func structureJSON(s *turnwrightv1.Structure) *structureForm {
	if s == nil {
		return nil
	}
	return &structureForm{Parts: lengthsOf(s), Setup: s.GetSetupLength()}
}
