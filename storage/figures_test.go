package storage_test

import (
	"io"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// What is kept takes room, and the figures say how much.
func TestFiguresTellWhatIsKept(t *testing.T) {
	dir := t.TempDir()
	s := open(t, dir)
	before := s.Figures()
	require.NoError(t, s.PutTable(t.Context(), "near", func(w io.Writer) error {
		_, err := w.Write(make([]byte, 2<<20))
		return err
	}))
	require.NoError(t, s.Close()) // writes the table out of memory
	s = open(t, dir)
	f := s.Figures()
	assert.GreaterOrEqual(t, f.TablesTree, before.TablesTree+1<<20)

	later := filepath.Join(dir, "state", "later.sst")
	require.NoError(t, os.WriteFile(later, make([]byte, 1<<20), 0o600))
	assert.GreaterOrEqual(t, s.Figures().StateTree, f.StateTree+1<<20)
	require.NoError(t, os.Remove(later))
	require.NoError(t, s.Close())
	assert.Less(t, f.StateLog+f.TablesLog, int64(1<<20), "not what the logs may grow to")
}
