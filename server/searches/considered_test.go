package searches

import (
	"errors"
	"fmt"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	v1 "turnwright/api/turnwright/v1"
	"turnwright/storage"
)

func TestWhatIsConsideredIsKept(t *testing.T) {
	var c considered
	found := 0
	ask := func(question string) (storage.Spec, *v1.Estimate) {
		spec, estimate, err := c.of(question, func() (storage.Spec, *v1.Estimate, error) {
			found++
			return storage.Spec{Puzzle: question, Classes: found}, &v1.Estimate{Units: int64(found)}, nil
		})
		require.NoError(t, err)
		assert.Equal(t, question, spec.Puzzle)
		assert.EqualValues(t, spec.Classes, estimate.GetUnits())
		return spec, estimate
	}
	first, estimate := ask("a")
	again, same := ask("a")
	assert.Equal(t, first, again)
	assert.Same(t, estimate, same)
	ask("b")
	assert.Equal(t, 2, found)

	refused := errors.New("refused")
	_, _, err := c.of("c", func() (storage.Spec, *v1.Estimate, error) { return storage.Spec{}, nil, refused })
	assert.Equal(t, refused, err)
	ask("c") // what was refused may not be the next time

	for i := len(c.kept); i < maxConsidered; i++ {
		ask(fmt.Sprint(i))
	}
	ask("one more")
	assert.Len(t, c.kept, 1, "when there are too many it begins again")
}
