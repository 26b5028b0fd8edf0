package rounds

import (
	"errors"
	"fmt"
	"strings"

	v1 "turnwright/api/turnwright/v1"
	"turnwright/search/effect"
	"turnwright/search/notation"
	"turnwright/search/puzzle"
	"turnwright/storage"
)

// Letter judges solutions to the letter: by WCA articles 10, 12 and E2 where the round is
// on a cube and takes plain moves alone, and after their manner elsewhere.
type Letter struct{}

// maxPlaces bounds the places that a verdict lists of one type.
const maxPlaces = 60

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
	rule := func(article string) string {
		if p.LetterNames && !r.Notation {
			return article
		}
		return ""
	}
	turns, err := readSolution(p, r, solution)
	if err != nil {
		dnf := &storage.DNF{Reason: dnfName(v1.DnfReason_DNF_REASON_NOTATION), Rule: rule("E2c4"), Text: err.Error()}
		var at *notation.Error
		if errors.As(err, &at) {
			dnf.Line, dnf.Column = at.Line, at.Column
		}
		return storage.Verdict{DNF: dnf}, nil
	}
	v := storage.Verdict{Lengths: map[string]int{}}
	for _, m := range puzzle.Metrics() {
		v.Lengths[m.String()] = notation.Length(p, m, turns)
	}
	both := append(append([]puzzle.Turn{}, start...), turns...)
	switch length := v.Lengths[puzzle.ETM.String()]; {
	case !Solved(p, p.Apply(both)):
		v.DNF = left(p, both)
		v.DNF.Rule = rule("E2c5")
	case r.MaxLength > 0 && length > r.MaxLength:
		v.DNF = &storage.DNF{
			Reason: dnfName(v1.DnfReason_DNF_REASON_TOO_LONG), Rule: rule("E2d1"),
			Text: fmt.Sprintf("it has %d turns (ETM), at most %d count", length, r.MaxLength),
		}
	default:
		v.Length = v.Lengths[metric.String()]
	}
	return v, nil
}

// readSolution reads what the round says that an entry may be written with.
func readSolution(p *puzzle.Puzzle, r storage.Round, solution string) ([]puzzle.Turn, error) {
	if strings.TrimSpace(solution) == "" {
		return nil, errors.New("nothing is written")
	}
	switch {
	case r.Notation:
		return notation.ParseTurns(p, solution)
	case p.LetterNames:
		return notation.Strict12a(p, solution)
	}
	seq, err := notation.Parse(p, solution)
	if err != nil {
		return nil, err
	}
	for _, node := range seq.Items {
		if node.Group != nil {
			return nil, errors.New("it has brackets or groups: write plain moves")
		}
	}
	return seq.Expand()
}

// Solved tells whether a position looks solved, however the whole is held (WCA Regulation
// 10c): each face has one colour, and the colours lie as a rotation of the whole has them.
func Solved(p *puzzle.Puzzle, position puzzle.Perm) bool {
rotations:
	for _, rotation := range p.Symmetries[:p.Rotations] {
		for x, to := range position {
			if p.Stickers[to].Face != p.Stickers[rotation.Stickers[x]].Face {
				continue rotations
			}
		}
		return true
	}
	return false
}

// left says which pieces are not solved, with the rotation of the whole taken off.
func left(p *puzzle.Puzzle, turns []puzzle.Turn) *storage.DNF {
	dnf := &storage.DNF{Reason: dnfName(v1.DnfReason_DNF_REASON_NOT_SOLVED)}
	var says []string
	for _, t := range effect.Describe(p, turns).Types {
		if t.Moved == 0 {
			continue
		}
		l := storage.PiecesLeft{Type: t.Type, Count: t.Moved}
		for _, cycle := range append(t.Cycles, t.Twisted...) {
			l.Places = append(l.Places, cycle.Labels...)
		}
		l.Places = l.Places[:min(maxPlaces, len(l.Places))]
		dnf.Left = append(dnf.Left, l)
		says = append(says, fmt.Sprintf("%d of type %s", t.Moved, t.Type))
	}
	dnf.Text = "the puzzle is not solved: " + strings.Join(says, ", ") + " are left"
	return dnf
}
