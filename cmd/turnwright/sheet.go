package main

import (
	"bytes"
	"cmp"
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"strings"

	"turnwright/api/client"
	v1 "turnwright/api/turnwright/v1"
	"turnwright/search/draw"
	"turnwright/search/draw/pdf"
	"turnwright/search/draw/svg"
)

// writeSheet writes a table to print, PDF or SVG by the file's ending.
func (a *app) writeSheet(t draw.Table, file string) error {
	ending := strings.ToLower(filepath.Ext(file))
	if ending != ".pdf" && ending != ".svg" {
		return usageError{errors.New("--sheet: must be a file whose name ends with .pdf or .svg")}
	}
	pages, err := t.Pages()
	var b bytes.Buffer
	switch {
	case err != nil:
		return fmt.Errorf("--sheet: %w; use --csv", err)
	case ending == ".pdf":
		err = pdf.WritePages(&b, pages)
	case len(pages) > 1:
		return usageError{fmt.Errorf("--sheet: it takes %d pages, and SVG has one: use a file whose name ends with .pdf", len(pages))}
	default:
		err = svg.WritePage(&b, pages[0])
	}
	if err != nil {
		return err
	}
	if err := writeFile("--sheet", file, b.Bytes()); err != nil {
		return err
	}
	a.note("wrote %s", file)
	return nil
}

// standingsSheet has the round, its standings and its scrambles. The same round makes the
// same pages, whoever prints them: its times are in UTC.
func standingsSheet(reply *v1.GetStandingsResponse, p *v1.Puzzle) draw.Table {
	r := reply.GetRound()
	const minutes = "2006-01-02 15:04"
	counts := countsText(r)
	known := append(p.GetAliases(), client.ID(p.GetName()))[0]
	t := draw.Table{
		Title: readable(cmp.Or(r.GetTitle(), client.ID(r.GetName()))),
		Above: []string{
			readable(fmt.Sprintf("%s (%s)", cmp.Or(p.GetTitle(), client.ID(p.GetName())), known)),
			fmt.Sprintf("%s%s, lengths in %s; open from %s to %s UTC", strings.ToUpper(counts[:1]), counts[1:], metricText(r.GetMetric()),
				r.GetOpenTime().AsTime().Format(minutes), r.GetCloseTime().AsTime().Format(minutes)),
		},
	}
	heading, rows := standingCells(reply)
	best := slices.Index(heading, "best")
	if r.GetAttempts() == 1 { // the attempt says it
		heading[best-1] = "result"
		heading = slices.Delete(heading, best, best+1)
	}
	for _, name := range heading {
		t.Columns = append(t.Columns, draw.Column{Heading: strings.TrimPrefix(name, "attempt"), Left: name == "member" || name == "records"})
	}
	none := map[string]bool{}
	for i, row := range rows {
		if r.GetAttempts() == 1 {
			row = slices.Delete(row, best, best+1)
		}
		row[len(row)-1] = greatestMarks(reply.GetStandings()[i].GetRecords())
		t.Rows = append(t.Rows, row)
		for _, cell := range row[2:] {
			none[cell] = true
		}
	}
	if none["DNF"] || none["DNS"] {
		text := "DNF: what was handed in is no result. DNS: nothing was handed in."
		if r.GetFormat() == v1.RoundFormat_ROUND_FORMAT_MEAN {
			text += " A mean with either is none."
		}
		t.Below = append(t.Below, text)
	}
	for i, s := range r.GetScrambles() {
		t.Below = append(t.Below, fmt.Sprintf("Scramble %d: %s", i+1, s))
	}
	return t
}

// greatestMarks are records without those that follow from others, as there is little room:
// what is the club's best is also its member's.
func greatestMarks(marks []v1.RecordMark) string {
	var texts []string
	all := markTexts(marks)
	for _, text := range all {
		if what, personal := strings.CutPrefix(text, "personal "); !personal || !slices.Contains(all, "club "+what) {
			texts = append(texts, text)
		}
	}
	return strings.Join(texts, ", ")
}
