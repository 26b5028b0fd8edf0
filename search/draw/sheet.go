package draw

import (
	"fmt"
)

// Entry is one sequence on a sheet.
type Entry struct {
	Picture  Picture
	Sequence string
	Length   string // such as "8 STM"
	Text     string // what there is to say about it
}

// Bounds of a sheet.
const (
	MaxEntries   = 6
	maxTitle     = 200  // letters
	maxEntryText = 2000 // letters of a sequence, or of a text
)

// Measures of a sheet in millimetres: A4, upright (ISO 216).
const (
	pageWidth   = 210.0
	pageHeight  = 297.0
	pageMargin  = 14.0
	pictureWide = 84.0 // at most
	rowGap      = 5.0
	rowHighest  = 88.0
)

// Sheet lays sequences out on one page to print, from the top down: the picture on
// the left; the sequence, its length and its text on the right. The picture it returns
// is in millimetres. What does not fit is cut off, with an ellipsis.
func Sheet(title, note string, entries []Entry) (Picture, error) {
	if len(entries) == 0 || len(entries) > MaxEntries {
		return Picture{}, fmt.Errorf("%d sequences: a sheet has 1 to %d", len(entries), MaxEntries)
	}
	title = cut(title, maxTitle)
	out := Picture{Title: title, Text: cut(note, maxEntryText), Width: pageWidth, Height: pageHeight}
	c := column{out: &out, x: pageMargin, y: pageMargin, wide: pageWidth - 2*pageMargin, bottom: pageMargin + 30}
	c.write(title, 6, style{bold: true})
	c.write(cut(note, maxEntryText), 3.6, style{})
	top := c.y + rowGap
	high := min(rowHighest, (pageHeight-pageMargin-top)/float64(len(entries)))
	for i, e := range entries {
		y := top + float64(i)*high
		out.Lines = append(out.Lines, Line{From: Point{pageMargin, y - rowGap/2}, To: Point{pageWidth - pageMargin, y - rowGap/2}, Weight: 0.2})
		out.entry(e, y, high-rowGap)
	}
	return out, nil
}

// entry lays out one row.
func (p *Picture) entry(e Entry, y, high float64) {
	if e.Picture.Width > 0 && e.Picture.Height > 0 {
		scale := min(pictureWide/e.Picture.Width, high/e.Picture.Height)
		p.Place(e.Picture, Point{pageMargin + (pictureWide-scale*e.Picture.Width)/2, y}, scale)
	}
	left := pageMargin + pictureWide + 6
	c := column{out: p, x: left, y: y, wide: pageWidth - pageMargin - left, bottom: y + high}
	c.write(cut(e.Sequence, maxEntryText), 4.4, style{fixed: true, bold: true})
	c.y++
	c.write(cut(e.Length, maxTitle), 3.8, style{slanted: true})
	c.y++
	c.write(cut(e.Text, maxEntryText), 3.6, style{})
}

// column is text from the top down.
type column struct {
	out    *Picture
	x, y   float64
	wide   float64
	bottom float64
}

type style struct{ bold, slanted, fixed bool }

// lineSpacing is the height of a line of a paragraph, in times the font's size.
const lineSpacing = 1.35

// write writes a paragraph, as far as there is room.
func (c *column) write(text string, size float64, s style) {
	lines := wrap(text, c.wide, size, s.fixed)
	if room := int((c.bottom - c.y) / (lineSpacing * size)); len(lines) > room {
		lines = lines[:max(room, 0)]
		if room > 0 {
			lines[room-1] = "…"
		}
	}
	for _, line := range lines {
		c.out.Labels = append(c.out.Labels, Label{
			At: Point{c.x, c.y + size}, Text: line, Size: size, Start: true, Bold: s.bold, Slanted: s.slanted, Fixed: s.fixed,
		})
		c.y += lineSpacing * size
	}
}
