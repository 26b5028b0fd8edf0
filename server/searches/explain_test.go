package searches

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"turnwright/search/notation"
	"turnwright/search/puzzle"
	"turnwright/storage"
)

func TestReadingsAreKept(t *testing.T) {
	p, err := puzzle.Find("3x3x3")
	require.NoError(t, err)
	read := func(e *explanations, search uint64, text string) string {
		turns, err := notation.ParseTurns(p, text)
		require.NoError(t, err)
		out, err := e.of(storage.Search{Submission: storage.Submission{Number: search, Spec: storage.Spec{Metric: "obtm"}}}, p, turns, storage.Finding{Text: text})
		require.NoError(t, err)
		return out.GetText()
	}
	e := &explanations{}
	const text = "U R' D' R U' R' D R"
	assert.Equal(t, "[U, R' D' R]", read(e, 1, text))
	assert.Len(t, e.kept, 1)
	e.kept[explained{1, text, ""}].Text = "kept"
	assert.Equal(t, "kept", read(e, 1, text))
	assert.Equal(t, "[U, R' D' R]", read(e, 2, text), "another search may count in another metric")

	assert.NotEmpty(t, read(e, 1, strings.Repeat("R U ", maxExplained/2)))
	assert.Empty(t, read(e, 1, strings.Repeat("R U ", maxExplained/2)+"R"), "too long")
	assert.Len(t, e.kept, 3)

	for i := len(e.kept); i < maxKept; i++ {
		e.kept[explained{3, fmt.Sprint(i), ""}] = nil
	}
	assert.Equal(t, "kept", read(e, 1, text))
	assert.Equal(t, "[R, U]", read(e, 1, "R U R' U'"))
	assert.Len(t, e.kept, 1, "when there are too many it begins again")
}
