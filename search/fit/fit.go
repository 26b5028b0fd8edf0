// Package fit makes sequences that are known serve at other places: two pinned
// places and a free third one, or all three, with orientations.
//
// The one idea: which cycles will do is a filter over all of them, and for each the
// coverage has sequences, up to a symmetry. So every choice is a sequence that is
// known, turned or mirrored, perhaps inverted, begun at another turn or set up.
//
//	one, err := fit.One(p, g, puzzle.OBTM, turns)   // a sequence known by heart
//	choices, err := fit.Fit(ctx, one, fit.Wanted{Pins: pins}, 20)
//
// With a table that holds the findings of a search it is the best of them all. It
// does not look for sequences that follow from none of those that it is given.
package fit

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"

	"turnwright/search/coverage"
	"turnwright/search/goal"
	"turnwright/search/notation"
	"turnwright/search/puzzle"
	"turnwright/search/variant"
)

// Wanted says what the cycle must do.
type Wanted struct {
	// Pins say which piece goes where, with its orientation. One pins two places and
	// leaves the third free; two or three pin all of them.
	Pins []goal.Pin
	// Places are two or three slots whose pieces must be among those cycled, in
	// whatever direction and orientation.
	Places []int
}

// Choice is a sequence that does what is wanted, in plain data.
type Choice struct {
	Sequence string     `json:"sequence"`
	Length   int        `json:"length"` // under the table's metric
	Lines    int        `json:"lines"`  // different lines that it turns about
	Cycle    [3]string  `json:"cycle"`  // what it does: names of slots, each piece goes to the place of the next
	Slots    goal.Cycle `json:"slots"`  // the same as indices into the type's slots
	Setup    string     `json:"setup"`  // what it does first and undoes at its end; empty for nothing
	Base     string     `json:"base"`   // the known sequence that it follows from, as it was given
	Mirrored bool       `json:"mirrored"`
	Inverted bool       `json:"inverted"`

	Known variant.Sequence `json:"-"` // the same for programs, as package improve takes it
}

// MaxChoices is the most choices that can be asked for.
const MaxChoices = 1000

// kept is how many sequences for each class a table for one sequence keeps.
const kept = 8

// One is a table for a single sequence: with all that follows from it.
func One(p *puzzle.Puzzle, g goal.Goal, m puzzle.Metric, turns []puzzle.Turn) (*coverage.Table, error) {
	b, err := variant.NewBench(p, g, m)
	if err != nil {
		return nil, err
	}
	t := coverage.On(b, kept)
	if err := t.Add(turns, nil); err != nil {
		return nil, err
	}
	return t, nil
}

// Fit lists the best choices, up to limit, 1 to MaxChoices. They rank by length, then
// fewer different lines, then the shorter setup, then the shorter text, then the
// text. Each was carried out by the slow judge. There is none where nothing that the table
// knows can be brought to such a cycle.
func Fit(ctx context.Context, t *coverage.Table, w Wanted, limit int) ([]Choice, error) {
	if limit < 1 || limit > MaxChoices {
		return nil, fmt.Errorf("%d choices: ask for 1 to %d", limit, MaxChoices)
	}
	b := t.Bench
	targets, err := targets(b, w)
	if err != nil {
		return nil, err
	}
	// By the length of the best, so that the rest need not be written out.
	least := map[int]int{}
	for _, target := range targets {
		class := b.Catalog.ClassOf(target)
		if _, known := least[class]; known {
			continue
		}
		best, err := t.Best(ctx, class)
		if err != nil {
			return nil, err
		}
		least[class] = none
		if len(best) > 0 {
			least[class] = best[0].Length
		}
	}
	slices.SortStableFunc(targets, func(c, d goal.Cycle) int {
		return cmp.Compare(least[b.Catalog.ClassOf(c)], least[b.Catalog.ClassOf(d)])
	})
	list := ranked{bench: b, limit: limit, texts: map[string]bool{}}
	for i, target := range targets {
		class := b.Catalog.ClassOf(target)
		if least[class] == none || list.full() && least[class] > list.last().Length {
			break
		}
		if i%16 == 0 && ctx.Err() != nil {
			return nil, ctx.Err()
		}
		best, err := t.Best(ctx, class)
		if err != nil {
			return nil, err
		}
		list.addAll(best, target)
	}
	return list.choices(t, w)
}

const none = int(^uint(0) >> 1)

// targets lists the cycles that do what is wanted.
func targets(b *variant.Bench, w Wanted) ([]goal.Cycle, error) {
	slots := b.Puzzle.Types[b.Goal.Cycle].Place
	for _, pin := range w.Pins {
		if min(pin.From, pin.To) < 0 || max(pin.From, pin.To) >= len(slots) {
			return nil, errors.New("a pin is of another type")
		}
	}
	var places []int
	for _, s := range w.Places {
		if s < 0 || s >= len(slots) {
			return nil, errors.New("a place is of another type")
		}
		places = append(places, slots[s])
	}
	slices.Sort(places)
	places = slices.Compact(places)
	switch {
	case len(w.Pins) > 3 || len(places) > 3:
		return nil, errors.New("a 3-cycle has three places")
	case len(w.Pins) == 0 && len(places) < 2:
		return nil, errors.New("say what to fit: a pin, or two places at least")
	}
	var out []goal.Cycle
	for _, key := range b.Catalog.Matching(w.Pins) {
		c := goal.Cycle{int(key >> 20), int(key >> 10 & 1023), int(key & 1023)}
		has := 0
		for _, s := range c {
			if slices.Contains(places, slots[s]) {
				has++
			}
		}
		if has == len(places) {
			out = append(out, c)
		}
	}
	return out, nil
}

// ranked holds the best choices so far.
type ranked struct {
	bench *variant.Bench
	limit int
	list  []variant.Sequence
	texts map[string]bool // of all that were offered
}

func (r *ranked) full() bool             { return len(r.list) == r.limit }
func (r *ranked) last() variant.Sequence { return r.list[len(r.list)-1] }

// addAll adds the images of sequences, and of their inverses, that make the cycle.
func (r *ranked) addAll(known []variant.Sequence, target goal.Cycle) {
	b := r.bench
	for i := range b.Symmetries {
		image := b.Catalog.Image(i, known[0].Cycle) // all make the same
		direct, inverted := image == target, b.Catalog.Inverse(image) == target
		if !direct && !inverted {
			continue
		}
		for _, s := range known {
			if r.full() && s.Length > r.last().Length {
				break
			}
			s = b.Image(s, i)
			if direct {
				r.add(s)
			}
			if inverted {
				r.add(b.Inverse(s))
			}
		}
	}
}

func (r *ranked) add(s variant.Sequence) {
	text := r.bench.Text(s)
	if r.texts[text] {
		return
	}
	r.texts[text] = true
	at, _ := slices.BinarySearchFunc(r.list, s, r.bench.Compare)
	r.list = slices.Insert(r.list, at, s)
	r.list = r.list[:min(len(r.list), r.limit)]
}

// choices verifies and writes out what is there.
func (r *ranked) choices(t *coverage.Table, w Wanted) ([]Choice, error) {
	b := r.bench
	var out []Choice
	for _, s := range r.list {
		if err := b.Verify(s); err != nil {
			return nil, err
		}
		if !b.Catalog.Meets(s.Cycle, w.Pins) {
			return nil, fmt.Errorf("fit: %q does not do what the pins ask", b.Text(s))
		}
		out = append(out, Choice{
			Sequence: b.Text(s), Length: s.Length, Lines: s.Lines,
			Cycle: b.Labels(s.Cycle), Slots: s.Cycle,
			Setup: notation.Print(b.Puzzle, b.Setup(s)), Base: t.Base(s),
			Mirrored: s.Origin.Mirrored, Inverted: s.Origin.Inverted, Known: s,
		})
	}
	return out, nil
}
