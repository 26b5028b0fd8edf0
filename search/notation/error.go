package notation

import (
	"fmt"
	"strings"
	"unicode/utf8"
)

// Error says what is wrong with a text, where, and what to do about it.
type Error struct {
	Offset int // in bytes, from 0
	Line   int // from 1
	Column int // in characters, from 1
	Msg    string
}

func (e *Error) Error() string {
	return fmt.Sprintf("line %d, column %d: %s", e.Line, e.Column, e.Msg)
}

// errorAt locates offset within text. It counts lines only now, so that reading
// a text without errors need not.
func errorAt(text string, offset int, format string, args ...any) *Error {
	before := text[:offset]
	lineStart := strings.LastIndexByte(before, '\n') + 1
	return &Error{
		Offset: offset,
		Line:   strings.Count(before, "\n") + 1,
		Column: utf8.RuneCountInString(before[lineStart:]) + 1,
		Msg:    fmt.Sprintf(format, args...),
	}
}
