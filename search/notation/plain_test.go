package notation

import (
	"errors"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestPlainTurnsTakesTurnsAlone(t *testing.T) {
	p := find(t, "vertex-cut-dodecahedron")
	got, err := PlainTurns(p, " a b3^2\n1-2.b1' all.c1 ")
	require.NoError(t, err)
	assert.Equal(t, turns(t, p, "a b3^2 1-2.b1' all.c1"), got)
	got, err = PlainTurns(p, "")
	require.NoError(t, err)
	assert.Empty(t, got)
	for _, word := range []string{"(a)", "(a", "a)", "[a,b1]", "[a:b1]", "//", "a//", "(a)^2", "e", "b9", "9.a", "b1^"} {
		_, err := PlainTurns(p, "a\nb1 "+word+" b2")
		var at *Error
		if assert.True(t, errors.As(err, &at), "%s: %v", word, err) {
			assert.Equal(t, 2, at.Line, word)
			assert.GreaterOrEqual(t, at.Column, 4, word)
		}
	}
}
