package group_test

import (
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"turnwright/search/group"
	"turnwright/search/puzzle"
)

// GAP (gap-system.org) computes the order of every built-in puzzle's group from
// our generators. Where it is missing the comparison is skipped, unless
// TURNWRIGHT_REQUIRE_GAP=1 says that it must not be. Of its minute of a core, three
// puzzles take all but six seconds. What it says of them is written down for
// TestPublishedOrders, and asked again with TURNWRIGHT_LONG.
func TestOrdersAgainstGAP(t *testing.T) {
	if testing.Short() {
		t.Skip("GAP takes seconds")
	}
	if _, err := exec.LookPath("gap"); err != nil {
		if os.Getenv("TURNWRIGHT_REQUIRE_GAP") == "1" {
			t.Fatal("TURNWRIGHT_REQUIRE_GAP is 1, but there is no gap: ", err)
		}
		t.Skip("no gap to compare with; Debian has it as gap-core")
	}
	long := map[string]bool{"cube-6": true, "cube-7": true, "vertex-cut-dodecahedron": true}
	program := &strings.Builder{}
	orders := map[string]string{}
	for _, def := range puzzle.Builtin() {
		if long[def.Name] && os.Getenv("TURNWRIGHT_LONG") == "" {
			continue
		}
		p := find(t, def.Name)
		steps := frame(p)
		g, err := group.New(steps...)
		require.NoError(t, err)
		orders[p.Name] = g.Order().String()
		fmt.Fprintf(program, "Print(\"[%s]\\n\", Size(Group(%s)), \"\\n\");\n", p.Name, cyclesOf(steps))
	}
	assert.Equal(t, sizes(t, program.String()), orders)
}

// size is what the program prints for a group. GAP may say other things before.
var size = regexp.MustCompile(`(?m)^\[(.+)\]\n(\d+)$`)

// sizes is what GAP finds, by name.
func sizes(t *testing.T, program string) map[string]string {
	file := filepath.Join(t.TempDir(), "sizes.g")
	require.NoError(t, os.WriteFile(file, []byte(program), 0o600))
	gap := exec.CommandContext(t.Context(), "gap", "-q", "-b", file)
	out, err := gap.Output() // there is nothing on its standard input, so that it ends
	require.NoError(t, err)
	out = bytes.ReplaceAll(out, []byte("\\\n"), nil) // where it breaks long lines
	found := map[string]string{}
	for _, m := range size.FindAllSubmatch(out, -1) {
		found[string(m[1])] = string(m[2])
	}
	require.NotEmpty(t, found, "%s", out)
	return found
}

// cyclesOf writes permutations as GAP reads them, points counted from 1.
func cyclesOf(perms []puzzle.Perm) string {
	text := &strings.Builder{}
	for i, p := range perms {
		if i > 0 {
			text.WriteString(",\n")
		}
		seen := make([]bool, len(p))
		for start, to := range p {
			if seen[start] || int(to) == start {
				continue
			}
			separator := "("
			for x := uint16(start); !seen[x]; x = p[x] {
				seen[x] = true
				fmt.Fprintf(text, "%s%d", separator, x+1)
				separator = ","
			}
			text.WriteString(")")
		}
	}
	return text.String()
}
