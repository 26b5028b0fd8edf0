package main

import (
	"fmt"
	"strings"

	"github.com/dustin/go-humanize"

	"turnwright/api/client"
	turnwrightv1 "turnwright/api/turnwright/v1"
)

// How searches for a position are put, for people and for programs.

// positionText is what is wanted in a sentence.
func positionText(s *turnwrightv1.Search) string {
	p := s.GetPosition()
	var b strings.Builder
	fmt.Fprintf(&b, "Shortest solutions of %s", client.ID(p.GetPuzzle()))
	if p.GetScramble() != "" {
		fmt.Fprintf(&b, " after %s", p.GetScramble())
	}
	for i, pin := range p.GetPins() {
		fmt.Fprintf(&b, "%s%s to %s", []string{" with ", ", "}[min(i, 1)], pin.GetPiece(), pin.GetAt())
	}
	if ignored := p.GetIgnore(); len(ignored) > 0 {
		fmt.Fprintf(&b, ", %ss may end anywhere", strings.Join(ignored, "s and "))
	}
	if p.GetByColour() {
		b.WriteString(", those that look alike count as one")
	}
	fmt.Fprintf(&b, "; length up to %d (%s).", s.GetMaxLength(), metricText(s.GetMetric()))
	return b.String()
}

// positionProofText is what the search has proven, given its first solution, if any.
func positionProofText(s *turnwrightv1.Search, first *turnwrightv1.Finding) string {
	metric := metricText(s.GetMetric())
	switch {
	case first != nil && first.GetLength() == 0:
		return "Nothing is to be done: all pieces are where they are wanted."
	case first != nil && first.GetLength() <= s.GetProvenLength()+1:
		return fmt.Sprintf("Proven: no solution is shorter than %d (%s).", first.GetLength(), metric)
	case s.GetProvenLength() > 0:
		return fmt.Sprintf("Proven: there is no solution of length up to %d (%s).", s.GetProvenLength(), metric)
	}
	return "Nothing is proven: no length was finished."
}

// solutionsText is a search for a position with what it found and proved.
func solutionsText(s *turnwrightv1.Search, findings []*turnwrightv1.Finding) string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s\n\n", positionText(s))
	var first *turnwrightv1.Finding
	if len(findings) > 0 {
		first = findings[0]
		var rows [][]any
		for i, f := range findings {
			rows = append(rows, []any{i + 1, f.GetLength(), sequenceText(f)})
		}
		fmt.Fprintf(&b, "%s\n", columns([]string{">rank", ">length", "sequence"}, rows))
	}
	fmt.Fprintf(&b, "%s\n", positionProofText(s, first))
	if t := s.GetTables(); t != nil {
		fmt.Fprintf(&b, "The tables alone tell that no solution is shorter than %d.\n", t.GetBound())
	}
	if s.GetNodes() > 0 {
		fmt.Fprintf(&b, "Looked at %s.\n", plural(int64(s.GetNodes()), "word", "words"))
	}
	if len(s.GetLengths()) > 0 {
		var rows [][]any
		for _, l := range s.GetLengths() {
			rows = append(rows, []any{l.GetLength(), grouped(l.GetWords()), grouped(fmt.Sprint(l.GetNodes()))})
		}
		fmt.Fprintf(&b, "\n%s", columns([]string{">length", ">words covered", ">of them looked at"}, rows))
	}
	return b.String()
}

// positionEstimateText is what is known of a search beforehand: how many words it
// will look at is not.
func positionEstimateText(e *turnwrightv1.Estimate) string {
	var rows [][]any
	for _, l := range e.GetLengths() {
		rows = append(rows, []any{l.GetLength(), grouped(l.GetWords()), l.GetUnits()})
	}
	return columns([]string{">length", ">words", ">units"}, rows) +
		fmt.Sprintf("\nTables: %s positions, %s.\n", short(e.GetTableWords()), humanize.IBytes(uint64(e.GetTableBytes())))
}

// patternsText tells of pattern tables.
func patternsText(t *turnwrightv1.TableSummary) string {
	how, from := "built", ""
	if t.GetFromCache() {
		how, from = "loaded", " from the cache"
	}
	return fmt.Sprintf("%s: %s %s positions%s in %s, %s, mean distance up to %.2f", plural(int64(t.GetTables()), "table", "tables"), how,
		short(t.GetEntries()), from, durationText(t.GetElapsed().AsDuration()), humanize.IBytes(uint64(t.GetBytes())), t.GetMeanDistance())
}

type solutionForm struct {
	Length   int32       `json:"length"`
	Sequence string      `json:"sequence"`
	Lengths  lengthsForm `json:"lengths"`
	Axes     int32       `json:"axes"`
	Rotation string      `json:"rotation"` // with which scramble and solution leave the whole
	Place    int32       `json:"place"`
	Revision int32       `json:"revision"`
	Shortest bool        `json:"shortest"` // proven: every shorter sequence was covered

	Explanation *explanationForm `json:"explanation,omitempty"` // how the sequence reads; missing for long ones
}

func solutionJSON(f *turnwrightv1.Finding, s *turnwrightv1.Search) solutionForm {
	return solutionForm{
		Length: f.GetLength(), Sequence: f.GetSequence(), Lengths: lengthsJSON(f.GetLengths()), Axes: f.GetAxes(),
		Rotation: f.GetRotation(), Place: f.GetPlace(), Revision: f.GetRevision(), Shortest: f.GetLength() <= s.GetProvenLength()+1,
		Explanation: explanationJSON(f.GetExplanation()),
	}
}

type positionForm struct {
	Scramble string `json:"scramble"`
	ByColour bool   `json:"byColour"`
	All      bool   `json:"all"`
}
