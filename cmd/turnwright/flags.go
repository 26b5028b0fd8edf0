package main

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/dustin/go-humanize"
)

// choice is a flag that takes one of a few words. The first is the default.
type choice struct {
	value *string
	words []string
}

func newChoice(value *string, words ...string) choice {
	*value = words[0]
	return choice{value, words}
}

func (c choice) String() string {
	if c.value == nil {
		return ""
	}
	return *c.value
}

func (c choice) Type() string { return strings.Join(c.words, "|") }

func (c choice) Set(word string) error {
	if !slices.Contains(c.words, strings.ToLower(word)) {
		return fmt.Errorf("must be one of %s", strings.Join(c.words, ", "))
	}
	*c.value = strings.ToLower(word)
	return nil
}

// size is a flag for an amount of memory, such as 512MiB.
type size int64

func (s size) String() string {
	if s == 0 {
		return "" // no default to show
	}
	return strings.ReplaceAll(humanize.IBytes(uint64(s)), " ", "")
}

func (size) Type() string { return "size" }

func (s *size) Set(text string) error {
	bytes, err := humanize.ParseBytes(text)
	if err != nil || bytes > math.MaxInt64 || bytes == 0 {
		return fmt.Errorf("must be an amount of memory, such as 512MiB or 2GB")
	}
	*s = size(bytes)
	return nil
}
