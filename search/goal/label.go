package goal

import (
	"fmt"
	"strings"

	"turnwright/search/puzzle"
)

// Slot finds a slot of a type by its label, as [puzzle.Puzzle.SlotByLabel] does. Its
// error is for the person who asked.
func Slot(p *puzzle.Puzzle, t *puzzle.Type, label string) (int, error) {
	if s, ok := p.SlotByLabel(t, label); ok {
		return s, nil
	}
	return 0, fmt.Errorf("%s has no slot %q of type %s; slots are named like %s",
		p.Name, label, t.Name, strings.Join(t.Labels[:min(3, len(t.Labels))], ", "))
}
