package rounds

import (
	"fmt"

	v1 "turnwright/api/turnwright/v1"
	"turnwright/search/entry"
	"turnwright/search/notation"
	"turnwright/search/puzzle"
	"turnwright/storage"
)

// Letter judges solutions to the letter, by package entry.
type Letter struct{}

// maxPlaces bounds the places that a verdict lists of one type.
const maxPlaces = 60

var reasons = map[entry.Reason]v1.DnfReason{
	entry.Unreadable: v1.DnfReason_DNF_REASON_NOTATION,
	entry.NotSolved:  v1.DnfReason_DNF_REASON_NOT_SOLVED,
	entry.TooLong:    v1.DnfReason_DNF_REASON_TOO_LONG,
}

// Judge says what a solution counts for.
func (Letter) Judge(p *puzzle.Puzzle, r storage.Round, scramble, solution string) (storage.Verdict, error) {
	start, err := notation.ParseTurns(p, scramble)
	if err != nil {
		return storage.Verdict{}, fmt.Errorf("scramble of round %q: %w", r.ID, err)
	}
	metric, err := puzzle.ParseMetric(r.Metric)
	if err != nil {
		return storage.Verdict{}, fmt.Errorf("round %q: %w", r.ID, err)
	}
	rules := entry.Rules{Puzzle: p, Metric: metric, Scramble: start, Greatest: r.MaxLength, Notation: r.Notation}
	v, err := entry.Check(rules, solution)
	if err != nil {
		return storage.Verdict{}, fmt.Errorf("round %q: %w", r.ID, err)
	}
	out := storage.Verdict{Length: v.Length, Warnings: v.Warnings}
	for m, length := range v.Lengths {
		if out.Lengths == nil {
			out.Lengths = map[string]int{}
		}
		out.Lengths[m.String()] = length
	}
	if v.DNF == nil {
		return out, nil
	}
	out.DNF = &storage.DNF{Reason: dnfName(reasons[v.DNF.Reason]), Rule: v.DNF.Rule, Text: v.DNF.Text, Line: v.DNF.Line, Column: v.DNF.Column}
	for _, l := range v.DNF.Left {
		out.DNF.Left = append(out.DNF.Left, storage.PiecesLeft{Type: l.Type, Count: len(l.Places), Places: l.Places[:min(maxPlaces, len(l.Places))]})
	}
	return out, nil
}
