package storage

import (
	"context"
	"log/slog"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/sys/unix"
)

// smallDisk is a disk of which others use some; the reserve file uses what it has.
type smallDisk struct {
	size   int64
	others atomic.Int64
}

func (s *smallDisk) on(dir string, reserve int64) *disk {
	d := &disk{dir: dir, reserve: reserve, log: slog.New(slog.DiscardHandler)}
	d.free = func(string) (uint64, error) { return uint64(max(0, s.size-s.others.Load()-held(d))), nil }
	return d
}

func held(d *disk) int64 {
	var s unix.Stat_t
	if unix.Stat(d.path(), &s) != nil {
		return 0
	}
	return s.Size
}

func TestTheReserveIsGivenUpAndTakenAgain(t *testing.T) {
	const mb = 1 << 20
	small := &smallDisk{size: 100 * mb}
	dir := t.TempDir()
	d := small.on(dir, 8*mb)
	require.NoError(t, d.start(true))
	if held(d) == 0 {
		t.Skip("this file system can't hold space back")
	}
	for _, step := range []struct {
		others int64 // MiB that others use, of 100
		held   int64 // MiB in the reserve afterwards
		ok     []need
	}{
		{0, 8, []need{growth, release, cached, opening}},
		{80, 8, []need{growth, release, opening}},
		{88, 8, []need{growth, release, opening}}, // 4 free
		{89, 0, []need{release, opening}},         // given up: 11 free
		{88, 0, []need{release, opening}},         // no going to and fro
		{96, 0, []need{release, opening}},
		{97, 0, []need{opening}},
		{99, 0, nil},
		{85, 0, []need{release, opening}},
		{84, 8, []need{growth, release, opening}}, // taken again: 8 left
	} {
		small.others.Store(step.others * mb)
		var ok []need
		for _, why := range []need{growth, release, cached, opening} {
			err := d.check(why)
			if err == nil {
				ok = append(ok, why)
			} else {
				require.ErrorIs(t, err, ErrDiskLow)
			}
		}
		assert.Equal(t, step.ok, ok, "others use %d", step.others)
		assert.Equal(t, step.held*mb, held(d), "others use %d", step.others)
	}

	// A process that comes later heeds what it finds, also where it was not asked to,
	// and can open on a disk that is full.
	small.others.Store(92 * mb)
	later := small.on(dir, 8*mb)
	require.NoError(t, later.start(false))
	assert.NoError(t, later.check(opening))
	assert.ErrorIs(t, later.check(growth), ErrDiskLow)
	assert.Zero(t, held(later))
}

// Without a write, too, the reserve is given up when others fill the disk.
func TestTheDiskIsWatched(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		small := &smallDisk{size: 100 << 20}
		d := small.on(t.TempDir(), 1<<20)
		require.NoError(t, d.start(true))
		if held(d) == 0 {
			t.Skip("this file system can't hold space back")
		}
		ctx, cancel := context.WithCancel(t.Context())
		done := make(chan struct{})
		go func() { defer close(done); d.watch(ctx) }()
		small.others.Store(99 << 20)
		time.Sleep(2 * watchEvery)
		synctest.Wait()
		assert.Zero(t, held(d))
		small.others.Store(0)
		time.Sleep(2 * watchEvery)
		synctest.Wait()
		assert.NotZero(t, held(d))
		cancel()
		<-done
	})
}

func TestTheReserveHasItsBlocks(t *testing.T) {
	path := t.TempDir() + "/r"
	err := allocate(path, 1<<20)
	if err != nil {
		assert.NoFileExists(t, path)
		t.Skip(err)
	}
	var s unix.Stat_t
	require.NoError(t, unix.Stat(path, &s))
	assert.GreaterOrEqual(t, s.Blocks*512, int64(1<<20))
}
