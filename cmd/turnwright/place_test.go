package main

import (
	"errors"
	"os"
	"path/filepath"
	"testing"

	"github.com/KimMachineGun/automemlimit/memlimit"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A container or a unit of the system may have less than its host.
func TestTheDefaultMemoryFitsTheHostAndTheControlGroup(t *testing.T) {
	const gib = 1 << 30
	host := filepath.Join(t.TempDir(), "meminfo")
	require.NoError(t, os.WriteFile(host, []byte("MemTotal:       33554432 kB\nMemFree:        1048576 kB\nMemAvailable:   16777216 kB\n"), 0o600))
	none := func() (uint64, error) { return 0, memlimit.ErrNoLimit }
	assert.Equal(t, size(8*gib), halfOf(host, none))
	assert.Equal(t, size(8*gib), halfOf(host, func() (uint64, error) { return 0, errors.New("there is no /sys/fs/cgroup") }))
	assert.Equal(t, size(8*gib), halfOf(host, memlimit.Limit(64*gib)))
	assert.Equal(t, size(gib), halfOf(host, memlimit.Limit(2*gib)))
	assert.Equal(t, leastMemory, halfOf(host+"-missing", none))
	assert.Equal(t, leastMemory/2, halfOf(host+"-missing", memlimit.Limit(uint64(leastMemory))))
	assert.Positive(t, halfOfFree())
}
