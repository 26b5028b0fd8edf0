// Package svg writes pictures as SVG 1.1 (W3C, second edition, 2011).
//
// The one idea: a picture is plain data, so this package decides nothing. The same
// picture gives the same bytes on every machine, numbers have at most two decimals,
// and whatever text a picture carries is escaped.
//
//	err := svg.Write(w, picture)
//
// It writes no scripts, no links and no fonts: a reader's own sans-serif and
// monospace are used.
package svg

import (
	"bufio"
	"encoding/xml"
	"io"
	"strconv"
	"strings"
	"unicode"

	"turnwright/search/draw"
	"turnwright/search/draw/colour"
)

// Write writes the picture. Width and height on a screen are the picture's own
// numbers in pixels; it can be scaled to any size.
func Write(w io.Writer, p draw.Picture) error { return write(w, p, "") }

// WritePage writes the picture as a page whose units are millimetres, so that it
// is printed in that size.
func WritePage(w io.Writer, p draw.Picture) error { return write(w, p, "mm") }

func write(w io.Writer, p draw.Picture, unit string) error {
	e := &encoder{w: bufio.NewWriter(w)}
	width, height := number(p.Width), number(p.Height)
	e.print(`<svg xmlns="http://www.w3.org/2000/svg" width="`, width, unit, `" height="`, height, unit,
		`" viewBox="0 0 `, width, " ", height, `" role="img" font-family="sans-serif" stroke-linejoin="round" stroke-linecap="round">`, "\n")
	e.print("<title>", text(p.Title), "</title>\n")
	if p.Text != "" {
		e.print("<desc>", text(p.Text), "</desc>\n")
	}
	e.print(`<rect width="100%" height="100%" fill="`, colour.White.String(), `"/>`, "\n")
	e.lines(p.Behind)
	e.polygons(p.Polygons)
	e.lines(p.Lines)
	e.marks(p.Marks)
	e.arrows(p.Arrows)
	e.labels(p.Labels)
	e.print("</svg>\n")
	if err := e.w.Flush(); err != nil { // the first error that any write met
		return err
	}
	return nil
}

type encoder struct{ w *bufio.Writer }

func (e *encoder) print(parts ...string) {
	for _, s := range parts {
		_, _ = e.w.WriteString(s) // bufio.Writer keeps its first error for Flush
	}
}

// polygons writes neighbours that look alike as one group.
func (e *encoder) polygons(ps []draw.Polygon) {
	open := ""
	for _, p := range ps {
		fill := "none"
		if p.Fill != nil {
			fill = p.Fill.String()
		}
		group := `<g fill="` + fill + `" stroke="` + p.Edge.String() + `" stroke-width="` + number(p.Weight) + `">`
		if group != open {
			if open != "" {
				e.print("</g>\n")
			}
			e.print(group, "\n")
			open = group
		}
		e.print(`<path d="`, path(p.Points), `"/>`, "\n")
	}
	if open != "" {
		e.print("</g>\n")
	}
}

func (e *encoder) lines(ls []draw.Line) {
	for _, l := range ls {
		e.print(`<path d="`, open(l.From, l.To), `" stroke="`, colour.Ink.String(), `" stroke-width="`, number(l.Weight), `"`, dash(l.Dash), "/>\n")
	}
}

// marks writes a white ring under a dark one, to be seen on any colour.
func (e *encoder) marks(ms []draw.Mark) {
	for _, m := range ms {
		circle := `<circle cx="` + number(m.At[0]) + `" cy="` + number(m.At[1]) + `" r="` + number(m.Radius) + `" fill="none" stroke="`
		e.print(circle, colour.White.String(), `" stroke-width="`, number(2.4*m.Weight), `"/>`, "\n")
		e.print(circle, colour.Ink.String(), `" stroke-width="`, number(m.Weight), `"/>`, "\n")
	}
}

// arrows writes the white rims of all arrows before the arrows, so that no rim cuts
// another arrow.
func (e *encoder) arrows(as []draw.Arrow) {
	if len(as) == 0 {
		return
	}
	e.print(`<g fill="none" stroke="`, colour.White.String(), `" stroke-opacity="0.85">`, "\n")
	for _, a := range as {
		rim := number(2.6 * a.Weight)
		e.print(`<path d="`, curve(a), `" stroke-width="`, rim, `"/>`, "\n")
		if len(a.Head) > 0 {
			e.print(`<path d="`, path(a.Head), `" stroke-width="`, rim, `"/>`, "\n")
		}
	}
	e.print("</g>\n", `<g fill="none" stroke="`, colour.Ink.String(), `">`, "\n")
	for _, a := range as {
		e.print(`<path d="`, curve(a), `" stroke-width="`, number(a.Weight), `"`, dash(a.Dash), "/>\n")
		if len(a.Head) > 0 {
			fill := colour.Ink
			if a.Hollow {
				fill = colour.White
			}
			e.print(`<path d="`, path(a.Head), `" fill="`, fill.String(), `" stroke-width="`, number(a.Weight/2), `"/>`, "\n")
		}
	}
	e.print("</g>\n")
}

func (e *encoder) labels(ls []draw.Label) {
	for _, l := range ls {
		where := `<text x="` + number(l.At[0]) + `" y="` + number(l.At[1]) + `" font-size="` + number(l.Size) + `"`
		if !l.Start {
			where += ` text-anchor="middle"`
		}
		if l.Bold {
			where += ` font-weight="bold"`
		}
		if l.Slanted {
			where += ` font-style="italic"`
		}
		if l.Fixed {
			where += ` font-family="monospace" xml:space="preserve"`
		}
		if l.Halo {
			rim := colour.White.String()
			e.print(where, ` fill="`, rim, `" stroke="`, rim, `" stroke-width="`, number(l.Size/5), `" aria-hidden="true">`, text(l.Text), "</text>\n")
		}
		e.print(where, ` fill="`, colour.Ink.String(), `">`, text(l.Text), "</text>\n")
	}
}

// path is a closed path.
func path(ps []draw.Point) string { return open(ps...) + "Z" }

func open(ps ...draw.Point) string {
	var b strings.Builder
	for i, p := range ps {
		if i == 0 {
			b.WriteString("M")
		} else {
			b.WriteString("L")
		}
		b.WriteString(number(p[0]) + " " + number(p[1]))
	}
	return b.String()
}

func curve(a draw.Arrow) string {
	return open(a.From) + "Q" + number(a.Via[0]) + " " + number(a.Via[1]) + " " + number(a.To[0]) + " " + number(a.To[1])
}

func dash(d draw.Dash) string {
	if len(d) == 0 {
		return ""
	}
	var parts []string
	for _, x := range d {
		parts = append(parts, number(x))
	}
	return ` stroke-dasharray="` + strings.Join(parts, " ") + `"`
}

func number(x float64) string { return strconv.FormatFloat(draw.Round(x), 'f', -1, 64) }

// text is text as XML takes it. What can't be seen, such as marks that turn the
// direction of writing about, becomes a space.
func text(s string) string {
	var b strings.Builder
	shown := strings.Map(func(r rune) rune {
		if !unicode.IsPrint(r) {
			return ' '
		}
		return r
	}, s)
	_ = xml.EscapeText(&b, []byte(shown)) // a strings.Builder takes everything
	return b.String()
}
