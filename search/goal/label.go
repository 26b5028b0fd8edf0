package goal

import (
	"fmt"
	"strings"

	"turnwright/search/puzzle"
)

// Slot finds a slot of a type by its label. On cubes with letter names those after the
// first letter may come in any order, as people write both UFR and URF.
func Slot(p *puzzle.Puzzle, t *puzzle.Type, label string) (int, error) {
	if s := slotOf(p, t, label); s >= 0 {
		return s, nil
	}
	return 0, fmt.Errorf("%s has no slot %q of type %s; slots are named like %s",
		p.Name, label, t.Name, strings.Join(t.Labels[:min(3, len(t.Labels))], ", "))
}
