package puzzle

import (
	"fmt"
	"strings"

	"turnwright/search/solid"
)

// label names every slot, each differently within its type.
func (b *builder) label() {
	for i := range b.p.Types {
		t := &b.p.Types[i]
		used := map[string]int{}
		for _, slot := range t.Slots {
			l := b.slotLabel(slot, t.Orientations)
			if used[l]++; used[l] > 1 {
				l = fmt.Sprintf("%s#%d", l, used[l])
			}
			t.Labels = append(t.Labels, l)
		}
	}
}

// slotLabel names a slot by the layers that hold it: the axes in whose outermost
// layer it lies, deeper ones with the layer's number in front. Where a place has
// several orientations, the face of the first sticker follows; on cubes with
// letter names that goes first instead, as people write it.
func (b *builder) slotLabel(slot []uint16, orientations int) string {
	var holding []string
	outermost := true
	for i, a := range b.p.Axes {
		cuts := b.cutsFrom(i)
		k := b.layer(a.Line, int(slot[0]))
		if a.Far {
			k = len(cuts) - k
		}
		// A layer is on the axis's own side where its lower cut is.
		if k == len(cuts) || cuts[k] < -solid.Epsilon {
			continue
		}
		if k == 0 {
			holding = append(holding, a.Name)
		} else {
			holding = append(holding, fmt.Sprintf("%d.%s", k+1, a.Name))
			outermost = false
		}
	}
	if b.p.LetterNames && outermost && len(holding) == len(slot) {
		letters := ""
		for _, x := range slot {
			letters += b.p.Faces[b.p.Stickers[x].Face]
		}
		return letters
	}
	name := strings.Join(holding, "-")
	if name == "" {
		name = "core"
	}
	if orientations > 1 {
		name += "@" + b.p.Faces[b.p.Stickers[slot[0]].Face]
	}
	return name
}
