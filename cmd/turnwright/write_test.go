package main

import (
	"errors"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestAFileThatCantBeWrittenStays(t *testing.T) {
	dir := t.TempDir()
	file, link := filepath.Join(dir, "c.svg"), filepath.Join(dir, "link.svg")
	require.NoError(t, os.Symlink(file, link))
	require.NoError(t, writeFile("--to", file, []byte("the first")))
	require.NoError(t, writeFile("--to", link, []byte("the second")))
	holds := func(want string) {
		t.Helper()
		text, err := os.ReadFile(file)
		require.NoError(t, err)
		assert.Equal(t, want, string(text))
	}
	holds("the second")
	require.NoError(t, os.Mkdir(file+".part", 0o700))
	var wrong usageError
	require.ErrorAs(t, writeFile("--to", file, []byte("the third")), &wrong)
	holds("the second")

	full := "/dev/full" // Linux: a device that has no room
	if _, err := os.Stat(full); err != nil {
		t.Skip(err)
	}
	err := writeFile("--to", full, []byte("a picture"))
	require.ErrorContains(t, err, "no space left")
	assert.False(t, errors.As(err, &wrong), "the command line was right")
	info, err := os.Stat(full)
	require.NoError(t, err)
	assert.NotZero(t, info.Mode()&os.ModeDevice)
}
