package improve

import (
	"context"
	"errors"
	"fmt"
	"slices"

	"turnwright/search/catalog"
	"turnwright/search/coverage"
	"turnwright/search/goal"
	"turnwright/search/puzzle"
	"turnwright/search/variant"
)

// Library has sequences by what they do. Once filled it never changes, and any number of
// goroutines may use it.
type Library struct {
	letters *letters
	types   []*known // by piece type; nil where nothing was added
	entries int
}

// known has the sequences for one type.
type known struct {
	catalog *catalog.Catalog
	slotAt  []int // the slot whose first sticker is the given one, or -1
	byCycle map[uint32][]entry
}

// entry is a sequence that makes a cycle and then rotates the whole.
type entry struct {
	word     []letter
	cost     int
	rotation int
}

// MaxEntries bounds the sequences of a library, each image counted.
const MaxEntries = 2_000_000

// NewLibrary makes an empty library.
func NewLibrary(p *puzzle.Puzzle, m puzzle.Metric) (*Library, error) {
	ls, err := newLetters(p, m)
	if err != nil {
		return nil, err
	}
	return &Library{letters: ls, types: make([]*known, len(p.Types))}, nil
}

// Add takes in all sequences that a coverage keeps, turned, mirrored and inverted in
// every way; once for each piece type. The more of them it keeps for a class (see
// [coverage.On]), longer ones too, the more will cancel somewhere. The coverage has to be of the library's puzzle, and its sequences must
// move no piece of any other type: those of a goal that ignores a type may, and
// then Add fails.
func (lib *Library) Add(ctx context.Context, t *coverage.Table) error {
	p, g := lib.letters.p, t.Bench.Goal
	if t.Bench.Puzzle.Name != p.Name {
		return fmt.Errorf("a coverage of %s can't be added to a library of %s", t.Bench.Puzzle.Name, p.Name)
	}
	if lib.types[g.Cycle] != nil {
		return fmt.Errorf("the library has sequences for type %s already", p.Types[g.Cycle].Name)
	}
	pure := goal.Goal{Cycle: g.Cycle}
	for i := range p.Types {
		if i != g.Cycle {
			pure.Protect = append(pure.Protect, i)
		}
	}
	typ := &p.Types[g.Cycle]
	k := &known{catalog: t.Bench.Catalog, byCycle: map[uint32][]entry{}}
	k.slotAt = slices.Repeat([]int{-1}, len(p.Stickers))
	for s, slot := range typ.Slots {
		k.slotAt[slot[0]] = s
	}
	seen := map[string]bool{}
	count := 0
	for _, class := range t.Bench.Catalog.Classes {
		if err := ctx.Err(); err != nil {
			return err
		}
		best, err := t.Best(ctx, class.Index)
		if err != nil {
			return err
		}
		for _, s := range best {
			if err := goal.CheckChange(p, pure, s.Turns, s.Cycle.Change(typ)); err != nil {
				return fmt.Errorf("%q moves pieces of other types, or more: %w", t.Bench.Text(s), err)
			}
			for i := range t.Bench.Symmetries {
				image := t.Bench.Image(s, i)
				for _, v := range []variant.Sequence{image, t.Bench.Inverse(image)} {
					e := lib.entry(v)
					key := fmt.Sprint(e.word)
					if seen[key] {
						continue
					}
					seen[key] = true
					if count++; lib.entries+count > MaxEntries {
						return errors.New("the library is full: keep fewer sequences for each class")
					}
					cycle := t.Bench.Catalog.Key(v.Cycle)
					k.byCycle[cycle] = append(k.byCycle[cycle], e)
				}
			}
		}
	}
	for _, list := range k.byCycle {
		slices.SortFunc(list, func(x, y entry) int {
			if x.cost != y.cost {
				return x.cost - y.cost
			}
			return slices.Compare(x.word, y.word)
		})
	}
	lib.types[g.Cycle] = k
	lib.entries += count
	return nil
}

// Sequences is how many sequences there are, each image counted.
func (lib *Library) Sequences() int { return lib.entries }

func (lib *Library) entry(s variant.Sequence) entry {
	p := lib.letters.p
	word, framed := p.ToFrame(s.Turns)
	letters := lib.letters.spell(word)
	return entry{letters, lib.letters.costOf(letters), p.Compose(s.Rotation, p.Symmetries[framed].Inverse)}
}
