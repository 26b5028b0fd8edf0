package puzzle

import (
	"fmt"
	"slices"
	"strings"

	"turnwright/search/solid"
)

// label names every slot by the layers that hold its place, and its orientation
// by the faces of one sticker, or of two where one does not tell. On cubes with
// letter names, the faces of all stickers do instead, as people write it.
func (b *builder) label() error {
	for i := range b.p.Types {
		t := &b.p.Types[i]
		telling := b.telling(t)
		for _, slot := range t.Slots {
			holding, outermost := b.holding(int(slot[0]))
			if b.p.LetterNames && outermost && len(holding) == len(slot) {
				t.Labels = append(t.Labels, strings.Join(b.facesOf(slot), ""))
				continue
			}
			label := strings.Join(holding, "-")
			if label == "" {
				label = "core"
			}
			if len(telling) > 0 {
				var at []uint16
				for _, k := range telling {
					at = append(at, slot[k])
				}
				label += "@" + strings.Join(b.facesOf(at), "-")
			}
			t.Labels = append(t.Labels, label)
		}
	}
	return nil
}

// holding names the layers that hold a sticker, all but those that reach over
// the centre: the axis for an outermost layer, with its number in front for
// another. It tells, too, whether all of them are outermost.
func (b *builder) holding(sticker int) (layers []string, outermost bool) {
	outermost = true
	for i, a := range b.p.Axes {
		cuts := b.cutsFrom(i)
		k := b.layer(a.Line, sticker)
		if a.Far {
			k = len(cuts) - k
		}
		ownSide := k < len(cuts) && cuts[k] > -solid.Epsilon
		otherSide := k > 0 && cuts[k-1] < solid.Epsilon
		switch {
		case ownSide && k == 0:
			layers = append(layers, a.Name)
		case ownSide, otherSide && a.Opposite < 0: // no other axis names it
			layers = append(layers, fmt.Sprintf("%d.%s", k+1, a.Name))
			outermost = false
		}
	}
	return layers, outermost
}

func (b *builder) facesOf(stickers []uint16) []string {
	var out []string
	for _, x := range stickers {
		out = append(out, b.p.Faces[b.p.Stickers[x].Face])
	}
	return out
}

// telling lists the stickers of a type's pieces whose faces tell all orientations
// at a place apart: none, one or two, as a rotation that keeps two faces, not
// opposite ones, keeps all.
func (b *builder) telling(t *Type) []int {
	n := len(t.Slots[0])
	options := [][]int{{}}
	for i := range n {
		options = append(options, []int{i})
	}
	for i := range n {
		for j := range i {
			options = append(options, []int{j, i})
		}
	}
	i := slices.IndexFunc(options, func(stickers []int) bool {
		seen := map[string]bool{}
		for s, slot := range t.Slots {
			key := fmt.Sprint(t.Place[s])
			for _, k := range stickers {
				key += fmt.Sprint(" ", b.p.Stickers[slot[k]].Face)
			}
			if seen[key] {
				return false
			}
			seen[key] = true
		}
		return true
	})
	return options[i]
}
