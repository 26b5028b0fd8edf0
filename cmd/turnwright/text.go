package main

import (
	"errors"
	"fmt"
	"io"
	"strings"

	"github.com/jedib0t/go-pretty/v6/table"
	"github.com/jedib0t/go-pretty/v6/text"

	"turnwright/api/client"
	turnwrightv1 "turnwright/api/turnwright/v1"
)

// What people read: plain columns, which survive being piped and copied.

func (a *app) printText(text string) error {
	_, err := io.WriteString(a.stdout, text)
	return err
}

// columns lays out rows below a heading. Columns whose heading begins with ">"
// are numbers and set to the right.
func columns(heading []string, rows [][]any) string {
	w := table.NewWriter()
	w.SetStyle(table.Style{
		Box:     table.BoxStyle{PaddingRight: "  ", MiddleVertical: ""},
		Format:  table.FormatOptions{Header: text.FormatDefault},
		Options: table.OptionsNoBordersAndSeparators,
	})
	var configs []table.ColumnConfig
	var header table.Row
	for i, name := range heading {
		config := table.ColumnConfig{Number: i + 1}
		if number, ok := strings.CutPrefix(name, ">"); ok {
			name, config.Align, config.AlignHeader = number, text.AlignRight, text.AlignRight
		}
		header = append(header, name)
		configs = append(configs, config)
	}
	w.AppendHeader(header)
	w.SetColumnConfigs(configs)
	w.SuppressTrailingSpaces()
	for _, row := range rows {
		w.AppendRow(row)
	}
	return w.Render() + "\n"
}

// resultText is a search with its findings, and its proof or what it tried.
func resultText(s *turnwrightv1.Search, findings []*turnwrightv1.Finding) string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s\n", goalText(s, client.ID(s.GetGoal().GetPuzzle())))
	list := findingsText
	if s.GetBefore() != "" || s.GetAfter() != "" {
		b.WriteString(betweenText(s.GetBefore(), s.GetAfter()))
		list = joinedText
	}
	fmt.Fprintln(&b)
	var shortest, longest int32
	for _, f := range findings {
		longest = max(longest, f.GetLength())
		if shortest == 0 || f.GetLength() < shortest {
			shortest = f.GetLength()
		}
	}
	if len(findings) > 0 {
		fmt.Fprintf(&b, "%s\n", list(findings))
	}
	if s.GetStructure() != nil {
		fmt.Fprintf(&b, "%s\n", triedText(s, len(findings) > 0))
	} else {
		fmt.Fprintf(&b, "%s\n%s", proofText(s, shortest), coreText(s.GetGoal().GetCore()))
	}
	classes := 0
	for _, f := range findings {
		if f.GetPlace() <= 1 {
			classes++
		}
	}
	if s.GetClassesTotal() > 0 {
		fmt.Fprintf(&b, "Reached: %d of %s.\n", classes, plural(int64(s.GetClassesTotal()), "class", "classes"))
	} else {
		fmt.Fprintf(&b, "Reached: %s.\n", plural(int64(classes), "class", "classes"))
	}
	if s.GetStructure() != nil {
		if len(findings) > 0 {
			fmt.Fprintf(&b, "\n%s", byLengthText(findings))
		}
		return b.String()
	}
	if longest > s.GetProvenLength()+1 {
		fmt.Fprintf(&b, "Not proven: sequences of length %d and more are the best so far, shorter ones may exist.\n", s.GetProvenLength()+2)
	}
	if len(s.GetLengths()) > 0 {
		fmt.Fprintf(&b, "\n%s", lengthsText(s.GetLengths()))
	}
	return b.String()
}

func findingsText(findings []*turnwrightv1.Finding) string {
	var rows [][]any
	for i, f := range findings {
		rows = append(rows, []any{
			i + 1, f.GetLength(), classText(f), f.GetClassCycles(),
			sequenceText(f), partsText(f), readingText(f.GetExplanation()),
		})
	}
	return columns([]string{">rank", ">length", ">class", ">cycles", "sequence", "cycle", "reads as"}, rows)
}

// sequenceText is the finding's sequence, with the rotation that it leaves over.
func sequenceText(f *turnwrightv1.Finding) string {
	if f.GetSequence() == "" {
		return "(no turns)"
	}
	if f.GetRotation() == "" {
		return f.GetSequence()
	}
	return fmt.Sprintf("%s (turned %s)", f.GetSequence(), f.GetRotation())
}

// readingText is how a sequence reads, if it has any structure.
func readingText(e *turnwrightv1.Explanation) string {
	if e == nil || e.GetPlain() {
		return ""
	}
	return e.GetText()
}

func lengthsText(lengths []*turnwrightv1.LengthResult) string {
	var rows [][]any
	for _, l := range lengths {
		rows = append(rows, []any{l.GetLength(), l.GetClasses(), grouped(fmt.Sprint(l.GetCycles())), grouped(l.GetWords())})
	}
	return columns([]string{">length", ">classes first reached", ">cycles", ">words covered"}, rows)
}

// each hands on what a stream gives, in turn, until it ends or use fails.
func each[M any](recv func() (M, error), use func(M) error) error {
	for {
		m, err := recv()
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return err
		}
		if err := use(m); err != nil {
			return err
		}
	}
}
