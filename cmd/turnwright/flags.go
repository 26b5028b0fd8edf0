package main

import (
	"fmt"
	"math"
	"slices"
	"strconv"
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

// count is a flag for how many units a process does at once. Not given, it is one
// for each core; 0 is none.
type count struct {
	given bool
	n     int
	least int // 1 where nobody else does units
}

func (c count) String() string {
	if !c.given {
		return "" // no default to show
	}
	return strconv.Itoa(c.n)
}

func (count) Type() string { return "number" }

func (c *count) Set(text string) error {
	n, err := strconv.Atoi(text)
	if err != nil || n < c.least || n > maxSlots {
		return fmt.Errorf("must be a number from %d to %d", c.least, maxSlots)
	}
	c.given, c.n = true, n
	return nil
}

// maxSlots bounds what a slip of the finger can do.
const maxSlots = 4096

// option is the count as server.Options has it.
func (c count) option() int {
	if c.given && c.n == 0 {
		return -1
	}
	return c.n
}

// size is a flag for an amount of memory or disk, such as 512MiB.
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
		return fmt.Errorf("must be an amount, such as 512MiB or 2GB")
	}
	*s = size(bytes)
	return nil
}
