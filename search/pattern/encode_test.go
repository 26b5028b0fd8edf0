package pattern_test

import (
	"bytes"
	"context"
	"errors"
	"io"
	"testing"
	"unsafe"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"turnwright/search/pattern"
	"turnwright/search/puzzle"
)

// corners is the spec of a few corners of the 3x3x3.
func corners(t testing.TB, n int) pattern.Spec {
	a := alphabet(t, "cube-3", puzzle.OBTM)
	typ, ok := a.Puzzle.TypeByName("corner")
	require.True(t, ok)
	spec, err := pattern.NewSpec(a, pattern.OfTypes(a.Puzzle, pattern.Solved(a.Puzzle), typ)[:n])
	require.NoError(t, err)
	return spec
}

// aligned copies data to where a mapped file would be: at a multiple of eight.
func aligned(data []byte) []byte {
	words := make([]uint64, len(data)/8+1)
	out := unsafe.Slice((*byte)(unsafe.Pointer(unsafe.SliceData(words))), len(data))
	copy(out, data)
	return out
}

func TestReadWhatWasWritten(t *testing.T) {
	spec := corners(t, 3)
	built, err := pattern.Build(context.Background(), spec, 2, nil)
	require.NoError(t, err)
	var file bytes.Buffer
	require.NoError(t, built.Write(&file))
	require.EqualValues(t, spec.Bytes(), file.Len()-136)

	read, err := pattern.Read(spec, bytes.NewReader(file.Bytes()))
	require.NoError(t, err)
	assert.Equal(t, built.Histogram(), read.Histogram())
	for i := range spec.Entries() {
		require.Equal(t, built.At(i), read.At(i))
	}

	t.Run("mapped", func(t *testing.T) {
		mapped, err := pattern.Map(spec, aligned(file.Bytes()))
		require.NoError(t, err)
		assert.Equal(t, built.Histogram(), mapped.Histogram())
		for i := range spec.Entries() {
			require.Equal(t, built.At(i), mapped.At(i))
		}
		for _, bad := range [][]byte{nil, file.Bytes()[:file.Len()-8], append([]byte("X"), file.Bytes()[1:]...)} {
			_, err := pattern.Map(spec, aligned(bad))
			assert.ErrorIs(t, err, pattern.ErrFormat)
		}
		_, err = pattern.Map(corners(t, 2), aligned(file.Bytes()))
		assert.ErrorIs(t, err, pattern.ErrFormat)
	})
	t.Run("cut short", func(t *testing.T) {
		for _, n := range []int{0, 20, file.Len() - 1} {
			_, err := pattern.Read(spec, bytes.NewReader(file.Bytes()[:n]))
			assert.True(t, errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF), "%v", err)
		}
	})
	t.Run("of other pieces", func(t *testing.T) {
		_, err := pattern.Read(corners(t, 2), bytes.NewReader(file.Bytes()))
		assert.ErrorIs(t, err, pattern.ErrFormat)
	})
	t.Run("changed", func(t *testing.T) {
		for _, at := range []int{0, 7, 8, 16, 200} {
			changed := bytes.Clone(file.Bytes())
			changed[at] ^= 0x11
			_, err := pattern.Read(spec, bytes.NewReader(changed))
			assert.ErrorIs(t, err, pattern.ErrFormat, "byte %d", at)
		}
	})
}

func TestKeysTellSpecsApart(t *testing.T) {
	assert.Equal(t, corners(t, 3).Key(), corners(t, 3).Key())
	assert.NotEqual(t, corners(t, 3).Key(), corners(t, 4).Key())
}
