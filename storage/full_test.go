package storage_test

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/sys/unix"

	"turnwright/storage"
)

const mb = 1 << 20

// These sizes leave Badger's own files room in the reserve.
const (
	fullReserve = 64 * mb
	fullDisk    = 320 * mb
)

// On a disk that fills up, writes are refused before Badger is harmed; what was
// acknowledged is there after a death in that state, and after every byte of the
// disk was taken by others; and all goes on when there is room again.
func TestAFullDiskHarmsNothing(t *testing.T) {
	if testing.Short() {
		t.Skip("takes a tmpfs and some seconds")
	}
	mount := t.TempDir()
	if err := unix.Mount("tmpfs", mount, "tmpfs", 0, fmt.Sprintf("size=%d", fullDisk)); err != nil {
		t.Skipf("a small tmpfs can't be mounted here (%v): this test needs root, as CI has", err)
	}
	t.Cleanup(func() { require.NoError(t, unix.Unmount(mount, 0)) })
	dir := filepath.Join(mount, "data")
	ballast := filepath.Join(mount, "ballast")
	require.NoError(t, os.WriteFile(ballast, make([]byte, 120*mb), 0o600))

	acked := filling(t, dir, "fill")
	require.Greater(t, acked, 20, "the disk was full before anything was written")
	assert.NoFileExists(t, filepath.Join(dir, "reserve"), "it was given up")

	// Others take all that is left: the reserve was spent, so it can't open.
	all := fill(t, filepath.Join(mount, "all"))
	_, err := storage.Open(storage.Options{Dir: dir, Reserve: fullReserve})
	require.ErrorIs(t, err, storage.ErrDiskLow)
	require.NoError(t, os.Remove(all))
	assert.Equal(t, acked, filling(t, dir, "look"))

	// There is room again: it goes on.
	require.NoError(t, os.Remove(ballast))
	require.NoError(t, os.RemoveAll(filepath.Join(mount, "rest")))
	more := filling(t, dir, "one")
	assert.Equal(t, acked+1, more)
	assert.FileExists(t, filepath.Join(dir, "reserve"), "it is taken again")

	// Others take all while the reserve is held and nobody runs: it opens on that.
	all = fill(t, filepath.Join(mount, "all"))
	assert.Equal(t, more, filling(t, dir, "look"))
	require.NoError(t, os.Remove(all))
}

// fill writes a file until nothing is free.
func fill(t *testing.T, path string) string {
	t.Helper()
	file, err := os.Create(path)
	require.NoError(t, err)
	_, err = io.Copy(file, neverEnding{})
	require.ErrorIs(t, err, unix.ENOSPC)
	require.NoError(t, file.Close())
	return path
}

type neverEnding struct{}

func (neverEnding) Read(p []byte) (int, error) { return len(p), nil }

// filling runs what TestFillingChild does in a process of its own, kills it when it
// has said what it has to say, and gives the number of units that it acknowledged.
func filling(t *testing.T, dir, what string) (units int) {
	t.Helper()
	cmd := exec.Command(os.Args[0], "-test.run=^TestFillingChild$", "-test.v")
	cmd.Env = append(os.Environ(), "TURNWRIGHT_FILL="+what, "TURNWRIGHT_FILL_DIR="+dir)
	out, err := cmd.StdoutPipe()
	require.NoError(t, err)
	cmd.Stderr = cmd.Stdout
	require.NoError(t, cmd.Start())
	var said []string
	for lines := bufio.NewScanner(out); lines.Scan(); {
		said = append(said, lines.Text())
		switch line := lines.Text(); {
		case strings.HasPrefix(line, "unit "):
			_, err := fmt.Sscanf(line, "unit %d", &units)
			require.NoError(t, err)
			units++
		case line == "over":
			require.NoError(t, cmd.Process.Kill())
			_ = cmd.Wait() // "signal: killed"
			return units
		}
	}
	t.Fatalf("%s ended by itself: %v\n%s", what, cmd.Wait(), strings.Join(said, "\n"))
	return 0
}

// unitOf is a unit that is made again from its index.
func unitOf(index int) storage.Unit {
	r := rand.New(rand.NewPCG(1, uint64(index)))
	u := storage.Unit{Length: 1, Index: index, Leaves: 10}
	for i := range 200 {
		text := fmt.Sprintf("%0600x", r.Uint64())
		u.Found = append(u.Found, storage.Finding{ID: fmt.Sprintf("c%d-%d", index, i), Class: 1, Size: 6, Text: text, Length: 1, Axes: 3})
	}
	return u
}

func TestFillingChild(t *testing.T) {
	what, dir := os.Getenv("TURNWRIGHT_FILL"), os.Getenv("TURNWRIGHT_FILL_DIR")
	if what == "" {
		t.Skip("is a part of TestAFullDiskHarmsNothing")
	}
	ctx := context.Background()
	s, err := storage.Open(storage.Options{Dir: dir, Reserve: fullReserve, HoldReserve: true})
	require.NoError(t, err)
	if what == "fill" {
		require.FileExists(t, filepath.Join(dir, "reserve"))
		running(t, s, "night", 1_000_000)
		for i := range 50 {
			running(t, s, fmt.Sprint("other-", i), 1)
		}
	}
	done, err := s.DoneUnits(ctx, "night", 1)
	require.NoError(t, err)
	for i := range len(done) { // what was acknowledged before is there
		require.True(t, done[i])
		for _, f := range unitOf(i).Found {
			kept, err := s.Finding(ctx, "night", f.ID)
			require.NoError(t, err)
			require.Equal(t, f.Text, kept.Text)
		}
		fmt.Printf("unit %d\n", i)
	}
	for i := len(done); what == "fill" || what == "one" && i == len(done); i++ {
		_, err := s.CommitUnit(ctx, "night", unitOf(i))
		if errors.Is(err, storage.ErrDiskLow) {
			break
		}
		require.NoError(t, err)
		fmt.Printf("unit %d\n", i)
	}
	if what == "fill" { // the disk is low: nothing new, but ends and deletions
		_, err := s.CreateSearch(ctx, storage.Request{}, "new", storage.Spec{})
		require.ErrorIs(t, err, storage.ErrDiskLow)
		require.ErrorIs(t, s.PutTable(ctx, "t", writes(noise(mb))), storage.ErrDiskLow)
		_, err = s.Backup(ctx, "v")
		require.ErrorIs(t, err, storage.ErrDiskLow)
		for i := range 50 {
			id := fmt.Sprint("other-", i)
			_, err := s.Move(ctx, storage.Request{}, id, storage.Cancelled, storage.Detail{})
			require.NoError(t, err)
			require.NoError(t, s.DeleteSearch(ctx, storage.Request{}, id))
		}
		page, err := s.Searches(ctx, 0, 100)
		require.NoError(t, err)
		require.Len(t, page, 1)
	}
	fmt.Println("over")
	select {} // until it is killed
}
