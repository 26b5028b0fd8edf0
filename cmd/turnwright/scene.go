package main

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"turnwright/search/draw"
	"turnwright/search/effect"
	"turnwright/search/notation"
	"turnwright/search/puzzle"
)

// draw makes the picture, or the sheet, that the flags and arguments ask for.
func (d *drawing) draw(p *puzzle.Puzzle, args []string) (draw.Picture, error) {
	if d.sheet {
		return d.drawSheet(p, args)
	}
	turns, text, err := sequence(p, strings.Join(args, " "))
	if err != nil {
		return draw.Picture{}, err
	}
	if text == "" {
		return d.one(p, turns)
	}
	return d.one(p, turns, shortened(text))
}

// shortened is a sequence as far as a caption has room.
func shortened(text string) string {
	if rs := []rune(text); len(rs) > mostCaption {
		return string(rs[:mostCaption]) + " …"
	}
	return text
}

// one draws one picture; captions are lines under it.
func (d *drawing) one(p *puzzle.Puzzle, turns []puzzle.Turn, captions ...string) (draw.Picture, error) {
	scene, err := d.scene(p, turns)
	if err != nil {
		return draw.Picture{}, err
	}
	scene.Captions = captions
	if d.as == "net" {
		picture, err := draw.Net(p, scene)
		return d.sized(picture), err
	}
	eye := draw.Eye{From: d.from}
	for i, at := range []*float64{&eye.Right, &eye.Up, &eye.Roll} {
		if i < len(d.turn) {
			*at = d.turn[i]
		}
	}
	if d.far != "none" {
		eye.Far = draw.Far(d.far)
	}
	picture, err := draw.View(p, eye, scene)
	return d.sized(picture), err
}

func (d *drawing) sized(p draw.Picture) draw.Picture {
	if d.width == 0 || p.Width == 0 {
		return p
	}
	return p.Resize(float64(d.width))
}

// scene is what there is to see after some turns.
func (d *drawing) scene(p *puzzle.Puzzle, turns []puzzle.Turn) (draw.Scene, error) {
	marked, err := marks(p, d.mark)
	if err != nil {
		return draw.Scene{}, err
	}
	s := draw.Scene{
		Turns: turns, Arrows: d.arrowsFor(p, turns), Pale: d.pale, Highlight: d.highlight,
		Marked: marked, Letters: d.letters, Title: cmp.Or(d.title, p.Title),
	}
	s.Focus = len(s.Arrows) > 0
	s.After = d.state == "after" || d.state == "auto" && len(s.Arrows) == 0
	return s, nil
}

// arrowsFor is the types that have arrows.
func (d *drawing) arrowsFor(p *puzzle.Puzzle, turns []puzzle.Turn) []string {
	if len(d.arrows) > 0 && !slices.Equal(d.arrows, []string{"all"}) {
		if slices.Equal(d.arrows, []string{"none"}) {
			return nil
		}
		return d.arrows
	}
	e := effect.Describe(p, turns)
	if len(d.arrows) == 0 && e.Moved > mostArrows {
		return nil
	}
	var types []string
	for _, t := range e.Types {
		if t.Moved > 0 {
			types = append(types, t.Type)
		}
	}
	return types
}

// marks finds pieces by the labels of their slots. Where labels are letters of faces
// their order does not matter, as a piece is meant and not how it lies.
func marks(p *puzzle.Puzzle, labels []string) ([]int, error) {
	sorted := func(s string) string { return string(slices.Sorted(slices.Values([]byte(s)))) }
	var out []int
	for _, text := range labels {
		typ, label, ok := strings.Cut(text, ":")
		if !ok {
			typ, label = "", text
		}
		found := false
		for _, t := range p.Types {
			slot := slices.IndexFunc(t.Labels, func(l string) bool {
				return l == label || p.LetterNames && sorted(l) == sorted(label)
			})
			if slot < 0 || typ != "" && typ != t.Name {
				continue
			}
			found = true
			out = append(out, t.Pieces[t.Place[slot]])
		}
		if !found {
			return nil, fmt.Errorf("--mark %.70q: %s has no such slot; \"turnwright puzzle %s --labels\" lists them", text, p.Name, p.Name)
		}
	}
	return out, nil
}

// sequence reads a sequence and writes it out as it was meant, without its comments.
func sequence(p *puzzle.Puzzle, text string) ([]puzzle.Turn, string, error) {
	seq, err := notation.Parse(p, text)
	if err != nil {
		return nil, "", err
	}
	turns, err := seq.Expand()
	return turns, seq.String(), err
}

// drawSheet puts each argument on the page, with its comment or else what it does.
func (d *drawing) drawSheet(p *puzzle.Puzzle, args []string) (draw.Picture, error) {
	if len(args) == 0 || len(args) > draw.MaxEntries {
		return draw.Picture{}, fmt.Errorf("%d sequences: give 1 to %d for a sheet, each as one argument", len(args), draw.MaxEntries)
	}
	metric, err := puzzle.ParseMetric(d.metric)
	if err != nil {
		return draw.Picture{}, err
	}
	var entries []draw.Entry
	for i, arg := range args {
		turns, text, err := sequence(p, arg)
		if err != nil {
			return draw.Picture{}, fmt.Errorf("sequence %d: %w", i+1, err)
		}
		picture, err := d.one(p, turns)
		if err != nil {
			return draw.Picture{}, fmt.Errorf("sequence %d: %w", i+1, err)
		}
		_, comment, _ := strings.Cut(arg, "//")
		entries = append(entries, draw.Entry{
			Picture: picture, Sequence: text,
			Length: fmt.Sprintf("%d %s", notation.Length(p, metric, turns), strings.ToUpper(d.metric)),
			Text:   cmp.Or(strings.TrimSpace(comment), does(p, turns)),
		})
	}
	return draw.Sheet(cmp.Or(d.title, p.Title), p.Name, entries)
}

// does says what turns do: such as "corners (UFR UFL DFR); nothing else moves".
func does(p *puzzle.Puzzle, turns []puzzle.Turn) string {
	e := effect.Describe(p, turns)
	var parts []string
	for _, t := range e.Types {
		for _, c := range slices.Concat(t.Cycles, t.Twisted) {
			text := t.Type + " (" + strings.Join(c.Labels, " ") + ")"
			if c.Twist != nil {
				text += " twisted, → " + c.Twist.Label
			}
			parts = append(parts, text)
		}
	}
	if len(parts) == 0 {
		parts = []string{"nothing moves"}
	} else {
		parts = append(parts, "nothing else moves")
	}
	if e.Rotation != "" {
		parts = append(parts, "the whole puzzle is left turned by "+e.Rotation)
	}
	return strings.Join(parts, "; ") + "."
}
