package effect

import (
	"encoding/json"
	"flag"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

var update = flag.Bool("update", false, "write the golden files anew")

// The JSON that callers see.
func TestGoldenJSON(t *testing.T) {
	for file, c := range map[string]struct{ puzzle, text string }{
		"rotation-and-twists.json": {"3x3x3", "Rw U"},
		"corner-cycle.json":        {"3x3x3", "R' D' R U' R' D R U"},
		"middle-layer.json":        {"vertex-cut-dodecahedron", "2.a"},
		"nothing.json":             {"2x2x2", "(R U)^0"},
	} {
		got, err := json.MarshalIndent(describe(t, find(t, c.puzzle), c.text), "", "  ")
		require.NoError(t, err)
		got = append(got, '\n')
		path := filepath.Join("..", "..", "testdata", "effect", file)
		if *update {
			require.NoError(t, os.MkdirAll(filepath.Dir(path), 0o755))
			require.NoError(t, os.WriteFile(path, got, 0o644))
		}
		want, err := os.ReadFile(path)
		require.NoError(t, err)
		assert.Equal(t, string(want), string(got), file)
	}
}
