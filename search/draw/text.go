package draw

import (
	"strings"
	"unicode"
)

// wrap breaks text into lines that fit a width, between words where it can. How wide
// letters are depends on the reader's fonts, so they are taken to be rather wide.
func wrap(text string, width, size float64, fixed bool) []string {
	var lines []string
	line := ""
	for _, word := range strings.Fields(text) {
		if line != "" && textWidth(line+" "+word, size, fixed) <= width {
			line += " " + word
			continue
		}
		if line != "" {
			lines = append(lines, line)
		}
		for line = word; textWidth(line, size, fixed) > width; {
			head, tail := split(line, width, size, fixed)
			lines = append(lines, head)
			line = tail
		}
	}
	if line != "" {
		lines = append(lines, line)
	}
	return lines
}

// split cuts off as many letters as fit, but at least one; after a hyphen if there is one.
func split(word string, width, size float64, fixed bool) (head, tail string) {
	total := 0.0
	for i, r := range word {
		total += letterWidth(r, fixed) * size
		if i > 0 && total > width {
			if h := strings.LastIndexByte(word[:i], '-'); h > 0 {
				i = h + 1
			}
			return word[:i], word[i:]
		}
	}
	return word, ""
}

func textWidth(s string, size float64, fixed bool) float64 {
	total := 0.0
	for _, r := range s {
		total += letterWidth(r, fixed)
	}
	return total * size
}

// letterWidth is in times the font's size.
func letterWidth(r rune, fixed bool) float64 {
	switch {
	case r >= 0x1100: // scripts with letters as wide as they are high
		return 1.05
	case fixed:
		return 0.61
	case unicode.IsUpper(r), r == 'm', r == 'w', r == 'M', r == 'W':
		return 0.78
	}
	return 0.56
}

// cut shortens text to so many letters, with a sign that there was more.
func cut(s string, most int) string {
	rs := []rune(s)
	if len(rs) <= most {
		return s
	}
	return string(rs[:most-1]) + "…"
}
