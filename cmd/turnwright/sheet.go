package main

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"turnwright/api/client"
	v1 "turnwright/api/turnwright/v1"
	"turnwright/search/draw"
	"turnwright/search/draw/pdf"
	"turnwright/search/draw/svg"
)

// writeSheet writes the standings as a page to print, PDF or SVG by the file's ending.
func (a *app) writeSheet(reply *v1.GetStandingsResponse, file string) error {
	write := pdf.WritePage
	switch strings.ToLower(filepath.Ext(file)) {
	case ".pdf":
	case ".svg":
		write = svg.WritePage
	default:
		return usageError{errors.New("--sheet: must be a file whose name ends with .pdf or .svg")}
	}
	page, err := standingsSheet(reply)
	if err != nil {
		return fmt.Errorf("--sheet: %w; use --csv", err)
	}
	var b bytes.Buffer
	if err := write(&b, page); err != nil {
		return err
	}
	if err := os.WriteFile(file, b.Bytes(), 0o666); err != nil {
		return usageError{fmt.Errorf("--sheet: %w", err)}
	}
	a.note("wrote %s", file)
	return nil
}

// standingsSheet is a page with the round, its scrambles and its standings. The same round
// makes the same page, whoever prints it: its times are in UTC.
func standingsSheet(reply *v1.GetStandingsResponse) (draw.Picture, error) {
	r := reply.GetRound()
	title := r.GetTitle()
	if title == "" {
		title = client.ID(r.GetName())
	}
	notes := []string{
		fmt.Sprintf("%s, %s, lengths in %s", client.ID(r.GetPuzzle()), countsText(r), metricText(r.GetMetric())),
		fmt.Sprintf("%s to %s", timeText(r.GetOpenTime()), timeText(r.GetCloseTime())),
	}
	for i, s := range r.GetScrambles() {
		notes = append(notes, fmt.Sprintf("Scramble %d: %s", i+1, s))
	}
	heading, rows := standingCells(reply)
	left := make([]bool, len(heading))
	for i, name := range heading {
		left[i] = name == "member" || name == "records"
		heading[i] = strings.TrimPrefix(name, "attempt")
	}
	return draw.Table(readable(title), notes, heading, left, rows)
}
