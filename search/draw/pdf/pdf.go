// Package pdf writes pictures as PDF, a page each.
//
// The one idea is that of package svg: a picture is plain data, so this package decides
// nothing, and the same picture gives the same bytes every time: no clock, no names
// made up, objects in one order.
//
//	err := pdf.WritePage(w, sheet)
//
// Text is set in the Go fonts (Bigelow & Holmes, 2016), of which the letters that are used
// go into the file. They have Latin, Greek and Cyrillic letters; what they have not is
// written as a question mark.
package pdf

import (
	"fmt"
	"io"
	"slices"
	"strings"
	"sync"
	"time"
	"unicode"

	"github.com/go-pdf/fpdf"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goitalic"
	"golang.org/x/image/font/gofont/gomono"
	"golang.org/x/image/font/gofont/gomonobold"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/sfnt"

	"turnwright/search/draw"
	"turnwright/search/draw/colour"
)

// Write writes the picture, its lengths taken for pixels of which there are 96 to an inch
// (W3C, CSS Values and Units Module Level 3, 2022).
func Write(w io.Writer, p draw.Picture) error {
	return write(w, []draw.Picture{p}, 25.4/96, true)
}

// WritePage writes the picture as a page whose units are millimetres.
func WritePage(w io.Writer, p draw.Picture) error { return WritePages(w, []draw.Picture{p}) }

// WritePages writes pictures, at least one, as the pages of one document, which has the
// title of the first. Their units are millimetres.
func WritePages(w io.Writer, ps []draw.Picture) error { return write(w, ps, 1, true) }

// write writes pictures whose unit is so many millimetres.
func write(w io.Writer, ps []draw.Picture, unit float64, compressed bool) error {
	doc := fpdf.NewCustom(&fpdf.InitType{UnitStr: "mm", Size: paper(ps[0], unit)})
	doc.SetCompression(compressed)
	doc.SetCatalogSort(true)
	epoch := time.Unix(0, 0).UTC()
	doc.SetCreationDate(epoch)
	doc.SetModificationDate(epoch)
	doc.SetTitle(shown(ps[0].Title), true)
	doc.SetSubject(shown(ps[0].Text), true)
	doc.SetProducer("turnwright", true)
	doc.SetMargins(0, 0, 0)
	doc.SetAutoPageBreak(false, 0)
	doc.SetLineCapStyle("round")
	doc.SetLineJoinStyle("round")
	for i := range fonts() {
		f := &fonts()[i]
		used := func(l draw.Label) bool { return fontOf(l) == f }
		if slices.ContainsFunc(ps, func(p draw.Picture) bool { return slices.ContainsFunc(p.Labels, used) }) {
			doc.AddUTF8FontFromBytes(f.family, f.style, f.data)
		}
	}
	for _, p := range ps {
		doc.AddPageFormat("P", paper(p, unit))
		e := encoder{doc, unit}
		e.lines(p.Behind)
		e.polygons(p.Polygons)
		e.lines(p.Lines)
		e.marks(p.Marks)
		e.arrows(p.Arrows)
		if err := e.labels(p.Labels); err != nil {
			return err
		}
	}
	if err := doc.Output(w); err != nil {
		return fmt.Errorf("write a page: %w", err)
	}
	return nil
}

// paper is as large as the picture.
func paper(p draw.Picture, unit float64) fpdf.SizeType {
	return fpdf.SizeType{Wd: unit * p.Width, Ht: unit * p.Height}
}

// encoder draws with lengths of the picture.
type encoder struct {
	doc  *fpdf.Fpdf
	unit float64 // in millimetres
}

// at is a length or a place as it is written, rounded as in every other format.
func (e encoder) at(x float64) float64 { return draw.Round(x) * e.unit }

func (e encoder) stroke(c colour.Colour, weight float64, d draw.Dash) {
	e.doc.SetDrawColor(int(c[0]), int(c[1]), int(c[2]))
	e.doc.SetLineWidth(e.at(weight))
	dash := []float64{}
	for _, x := range d {
		dash = append(dash, e.at(x))
	}
	e.doc.SetDashPattern(dash, 0)
}

func (e encoder) fill(c colour.Colour) { e.doc.SetFillColor(int(c[0]), int(c[1]), int(c[2])) }

// path draws a closed path: "D" for its edge, "DF" filled too.
func (e encoder) path(ps []draw.Point, style string) {
	var points []fpdf.PointType
	for _, p := range ps {
		points = append(points, fpdf.PointType{X: e.at(p[0]), Y: e.at(p[1])})
	}
	e.doc.Polygon(points, style)
}

func (e encoder) lines(ls []draw.Line) {
	for _, l := range ls {
		e.stroke(colour.Ink, l.Weight, l.Dash)
		e.doc.Line(e.at(l.From[0]), e.at(l.From[1]), e.at(l.To[0]), e.at(l.To[1]))
	}
}

func (e encoder) polygons(ps []draw.Polygon) {
	for _, p := range ps {
		e.stroke(p.Edge, p.Weight, nil)
		style := "D"
		if p.Fill != nil {
			e.fill(*p.Fill)
			style = "DF"
		}
		e.path(p.Points, style)
	}
}

// marks draws a white ring under a dark one, to be seen on any colour.
func (e encoder) marks(ms []draw.Mark) {
	for _, m := range ms {
		for _, ring := range []struct {
			c      colour.Colour
			weight float64
		}{{colour.White, 2.4 * m.Weight}, {colour.Ink, m.Weight}} {
			e.stroke(ring.c, ring.weight, nil)
			e.doc.Circle(e.at(m.At[0]), e.at(m.At[1]), e.at(m.Radius), "D")
		}
	}
}

// arrows draws the white rims of all arrows before the arrows, so that no rim cuts
// another arrow.
func (e encoder) arrows(as []draw.Arrow) {
	if len(as) == 0 {
		return
	}
	e.doc.SetAlpha(0.85, "Normal")
	for _, a := range as {
		e.stroke(colour.White, 2.6*a.Weight, nil)
		e.curve(a)
		if len(a.Head) > 0 {
			e.path(a.Head, "D")
		}
	}
	e.doc.SetAlpha(1, "Normal")
	for _, a := range as {
		e.stroke(colour.Ink, a.Weight, a.Dash)
		e.curve(a)
		if len(a.Head) == 0 {
			continue
		}
		e.stroke(colour.Ink, a.Weight/2, nil)
		e.fill(colour.Ink)
		if a.Hollow {
			e.fill(colour.White)
		}
		e.path(a.Head, "DF")
	}
}

func (e encoder) curve(a draw.Arrow) {
	e.doc.Curve(e.at(a.From[0]), e.at(a.From[1]), e.at(a.Via[0]), e.at(a.Via[1]), e.at(a.To[0]), e.at(a.To[1]), "D")
}

func (e encoder) labels(ls []draw.Label) error {
	const fillText, strokeText = 0, 2 // PDF's modes of text: filled, and filled with an edge
	for _, l := range ls {
		f := fontOf(l)
		text, err := f.has(shown(l.Text))
		if err != nil {
			return err
		}
		e.doc.SetFont(f.family, f.style, 12)
		e.doc.SetFontUnitSize(e.at(l.Size))
		x, y := e.at(l.At[0]), e.at(l.At[1])
		if !l.Start {
			x -= e.doc.GetStringWidth(text) / 2
		}
		if l.Halo {
			e.stroke(colour.White, l.Size/5, nil)
			e.doc.SetTextColor(255, 255, 255)
			e.doc.SetTextRenderingMode(strokeText)
			e.doc.Text(x, y, text)
			e.doc.SetTextRenderingMode(fillText)
		}
		e.doc.SetTextColor(int(colour.Ink[0]), int(colour.Ink[1]), int(colour.Ink[2]))
		e.doc.Text(x, y, text)
	}
	return nil
}

// missing stands for a letter that can't be written.
const missing = '?'

// shown is text without what can't be seen, such as marks that turn the direction of
// writing about, and without letters beyond 16 bits, which the library doesn't write.
func shown(s string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case !unicode.IsPrint(r):
			return ' '
		case r > 0xffff:
			return missing
		}
		return r
	}, s)
}

// font is a font as it goes into files.
type font struct {
	family, style string
	data          []byte
	glyphs        *sfnt.Font
}

// fonts parses the fonts once.
var fonts = sync.OnceValue(func() []font {
	out := []font{
		{"sans", "", goregular.TTF, nil}, {"sans", "B", gobold.TTF, nil}, {"sans", "I", goitalic.TTF, nil},
		{"mono", "", gomono.TTF, nil}, {"mono", "B", gomonobold.TTF, nil},
	}
	for i := range out {
		var err error
		if out[i].glyphs, err = sfnt.Parse(out[i].data); err != nil {
			panic(err) // the fonts are part of the program
		}
	}
	return out
})

// fontOf is the font of a label.
func fontOf(l draw.Label) *font {
	family, style := "sans", ""
	if l.Fixed {
		family = "mono"
	}
	switch {
	case l.Bold:
		style = "B"
	case l.Slanted && !l.Fixed:
		style = "I"
	}
	all := fonts()
	return &all[slices.IndexFunc(all, func(f font) bool { return f.family == family && f.style == style })]
}

// has puts a sign in the place of what the font has no letter for.
func (f *font) has(text string) (string, error) {
	var buf sfnt.Buffer
	var failed error
	out := strings.Map(func(r rune) rune {
		i, err := f.glyphs.GlyphIndex(&buf, r)
		if err != nil {
			failed = err
		}
		if i == 0 {
			return missing
		}
		return r
	}, text)
	return out, failed
}
