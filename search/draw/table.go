package draw

import "fmt"

// Measures of a table in millimetres.
const (
	tableSize  = 3.8 // of its letters, at most
	tableLeast = 1.9 // at least
	tableGap   = 5.0 // between columns, at most
	tableLine  = 1.7 // height of a row, in times the size
)

// Table lays a table out on one page to print, below a title and notes, a paragraph each.
// The columns that left says begin where the column does, the others are centred. Letters
// get smaller to make room; what has too many rows for one page is an error. The picture
// it returns is in millimetres.
func Table(title string, notes, heading []string, left []bool, rows [][]string) (Picture, error) {
	title = cut(title, maxTitle)
	out := Picture{Title: title, Width: pageWidth, Height: pageHeight}
	c := column{out: &out, x: pageMargin, y: pageMargin, wide: pageWidth - 2*pageMargin, bottom: pageHeight / 2}
	c.write(title, 6, style{bold: true})
	for _, note := range notes {
		c.write(cut(note, maxEntryText), 3.6, style{})
	}
	top := c.y + rowGap

	// How wide it is goes by the size of the letters, and so does how high it is.
	all := append([][]string{heading}, rows...)
	wide := make([]float64, len(heading))
	total := 0.0
	for i := range heading {
		for _, row := range all {
			wide[i] = max(wide[i], textWidth(row[i], 1, false))
		}
		wide[i] += tableGap / tableSize
		total += wide[i]
	}
	high := (pageHeight - pageMargin - top) / float64(len(all))
	size := min(tableSize, c.wide/total, high/tableLine)
	if size < tableLeast {
		return Picture{}, fmt.Errorf("a table of %d rows and %d columns does not fit on a page", len(rows), len(heading))
	}
	for n, row := range all {
		x, y := pageMargin, top+(float64(n)+0.7)*tableLine*size
		for i, text := range row {
			at := Point{x, y}
			if !left[i] {
				at[0] += (wide[i]*size - tableGap*size/tableSize) / 2
			}
			if text != "" {
				out.Labels = append(out.Labels, Label{At: at, Text: text, Size: size, Start: left[i], Bold: n == 0})
			}
			x += wide[i] * size
		}
		line := top + float64(n+1)*tableLine*size
		out.Lines = append(out.Lines, Line{From: Point{pageMargin, line}, To: Point{x, line}, Weight: 0.1})
	}
	return out, nil
}
