package engine

import (
	"errors"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"turnwright/storage"
)

// An engine is made once, however many ask at a time; one that could not be made, or
// whose making panicked, is made anew when someone asks again.
func TestEnginesAreMadeOnce(t *testing.T) {
	for _, c := range []struct {
		name  string
		first func() error
	}{
		{"made", func() error { return nil }},
		{"failed", func() error { return errors.New("a bug") }},
		{"panicked", func() error { panic("a bug") }},
	} {
		t.Run(c.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				made := 0
				k := NewKept(func(storage.Spec) (Engine, error) {
					made++
					time.Sleep(time.Second)
					if made == 1 {
						if err := c.first(); err != nil {
							return nil, err
						}
					}
					return &cycles{}, nil
				})
				for range 5 {
					go func() {
						defer func() { _ = recover() }() // as those do who ask
						e, err := k.Of(storage.Spec{Puzzle: "a"})
						assert.Equal(t, err == nil, e != nil)
						assert.Equal(t, err == nil, c.name == "made")
					}()
				}
				synctest.Wait()
				time.Sleep(2 * time.Second)
				assert.Equal(t, 1, made)
				e, err := k.Of(storage.Spec{Puzzle: "a"})
				require.NoError(t, err)
				assert.NotNil(t, e)
			})
		})
	}
}

// Those that were not asked for longest make room.
func TestEnginesAreBounded(t *testing.T) {
	made := 0
	k := NewKept(func(storage.Spec) (Engine, error) {
		made++
		return &cycles{}, nil
	})
	of := func(max int) {
		_, err := k.Of(storage.Spec{Max: max})
		require.NoError(t, err)
	}
	for i := range keptEngines {
		of(i)
	}
	of(0)
	assert.Equal(t, keptEngines, made)
	of(keptEngines) // takes the place of 1
	of(0)
	assert.Equal(t, keptEngines+1, made)
	of(1)
	assert.Equal(t, keptEngines+2, made)
	assert.Len(t, k.kept, keptEngines)
}
