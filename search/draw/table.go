package draw

import "fmt"

// Table is a table to print, with what is said above and below it.
type Table struct {
	Title        string
	Above, Below []string // paragraphs
	Columns      []Column
	Rows         [][]string // a text for each column
}

// Column is a column of a table: its texts begin at its left edge, or are centred.
type Column struct {
	Heading string
	Left    bool
}

// Measures of a table in millimetres.
const (
	tableSize  = 3.8  // of its letters, at most
	tableOne   = 2.6  // at least, where smaller ones would save a second page
	tableLeast = 1.9  // at least
	tableGap   = 5.0  // between columns, at most
	tableCell  = 21.0 // as wide may a cell be in one line, in times the size; longer ones go on in the next
	tableLine  = 1.25 // height of a line, in times the size
	tableRow   = 0.45 // what a row is higher than its lines, in times the size
	noteSize   = 3.6  // of the letters above
	belowSize  = 3.0  // and below
	belowGap   = 1.0  // after a paragraph below
)

// Pages lays the table out on pages to print, in millimetres. Letters get smaller to make
// room, as long as they can be read; what does not fit on a page goes on on the next, below
// the headings again. It is an error where there are more columns than a page is wide.
func (t Table) Pages() ([]Picture, error) {
	b := &book{title: cut(t.Title, maxTitle)}
	b.turn()
	b.paragraph(b.title, 6, style{bold: true})
	for _, text := range t.Above {
		b.paragraph(text, noteSize, style{})
	}
	b.y += rowGap
	g := t.grid()
	size := min(tableSize, b.wide()/g.wide)
	if size < tableLeast {
		return nil, fmt.Errorf("a table of %d columns does not fit on a page", len(t.Columns))
	}
	below := 0.0
	for _, text := range t.Below {
		below += b.height(text, belowSize) + belowGap
	}
	if one := (b.left() - rowGap - below) / g.high; one >= tableOne {
		size = min(size, one)
	}
	head, rows := g.rows[0], g.rows[1:]
	b.row(g, head, size, true)
	for _, r := range rows {
		if b.left() < r.high()*size {
			b.turn()
			b.row(g, head, size, true)
		}
		b.row(g, r, size, false)
	}
	b.y += rowGap
	for _, text := range t.Below {
		if b.left() < b.height(text, belowSize) {
			b.turn()
		}
		b.paragraph(text, belowSize, style{})
		b.y += belowGap
	}
	return b.bound(), nil
}

// grid is a table cut into lines; all lengths are in times the size of its letters.
type grid struct {
	columns    []Column
	each       []float64 // width of each column with the gap after it
	wide, high float64
	rows       []lines // the headings first
}

// lines are the cells of a row, a text for each line.
type lines [][]string

func (l lines) high() float64 {
	n := 1
	for _, cell := range l {
		n = max(n, len(cell))
	}
	return tableRow + tableLine*float64(n)
}

func (t Table) grid() grid {
	g := grid{columns: t.Columns, each: make([]float64, len(t.Columns))}
	var heading []string
	for _, c := range t.Columns {
		heading = append(heading, c.Heading)
	}
	for n, row := range append([][]string{heading}, t.Rows...) {
		letter := 1.0
		if n == 0 {
			letter = 1.15 // bold ones are wider
		}
		var l lines
		for i, text := range row {
			cell := wrap(cut(text, maxTitle), tableCell, letter, false)
			for _, line := range cell {
				g.each[i] = max(g.each[i], textWidth(line, letter, false))
			}
			l = append(l, cell)
		}
		g.rows = append(g.rows, l)
		g.high += l.high()
	}
	for i := range g.each {
		g.each[i] += tableGap / tableSize
		g.wide += g.each[i]
	}
	return g
}

// book is pages that are written from the top down, the last one now.
type book struct {
	title string
	pages []Picture
	y     float64
}

func (b *book) last() *Picture { return &b.pages[len(b.pages)-1] }
func (b *book) wide() float64  { return pageWidth - 2*pageMargin }
func (b *book) left() float64  { return pageHeight - pageMargin - b.y }

// turn begins a page.
func (b *book) turn() {
	b.pages = append(b.pages, Picture{Title: b.title, Width: pageWidth, Height: pageHeight})
	b.y = pageMargin
}

// bound is the pages, numbered where there are several.
func (b *book) bound() []Picture {
	for i := range b.pages {
		if len(b.pages) == 1 {
			break
		}
		text := fmt.Sprintf("%s · page %d of %d", cut(b.title, 80), i+1, len(b.pages))
		b.pages[i].Labels = append(b.pages[i].Labels, Label{At: Point{pageWidth / 2, pageHeight - pageMargin/2}, Text: text, Size: belowSize})
	}
	return b.pages
}

// height is how high a paragraph is, no higher than a page.
func (b *book) height(text string, size float64) float64 {
	n := len(wrap(text, b.wide(), size, false))
	return min(lineSpacing*size*float64(n), pageHeight-2*pageMargin)
}

func (b *book) paragraph(text string, size float64, s style) {
	c := column{out: b.last(), x: pageMargin, y: b.y, wide: b.wide(), bottom: pageHeight - pageMargin}
	c.write(text, size, s)
	b.y = c.y
}

// row writes a row and a line below it.
func (b *book) row(g grid, r lines, size float64, bold bool) {
	page, x := b.last(), pageMargin
	for i, cell := range r {
		at := Point{x, b.y + 0.95*tableLine*size}
		if !g.columns[i].Left {
			at[0] += (g.each[i] - tableGap/tableSize) * size / 2
		}
		for _, text := range cell {
			page.Labels = append(page.Labels, Label{At: at, Text: text, Size: size, Start: g.columns[i].Left, Bold: bold})
			at[1] += tableLine * size
		}
		x += g.each[i] * size
	}
	b.y += r.high() * size
	page.Lines = append(page.Lines, Line{From: Point{pageMargin, b.y}, To: Point{x, b.y}, Weight: 0.1})
}
