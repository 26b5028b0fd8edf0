package schedule

import (
	"bytes"
	"context"
	"log/slog"
	"testing"

	"github.com/stretchr/testify/assert"

	"turnwright/storage"
)

// oneSearch is a store with one search. What it does not answer panics.
type oneSearch struct {
	Store
	listed storage.Search
	now    func() (storage.Search, error)
	low    func() error
}

func (o *oneSearch) ActiveSearches(context.Context, uint64, int) ([]storage.Search, error) {
	return []storage.Search{o.listed}, nil
}

func (o *oneSearch) Search(context.Context, string) (storage.Search, error) { return o.now() }

func (o *oneSearch) Shares(context.Context, any) error { return storage.ErrNotFound }

func (o *oneSearch) KeepShares(context.Context, any) error { return nil }

func (o *oneSearch) DiskLow() error { return o.low() }

func search(state storage.State) storage.Search {
	return storage.Search{Submission: storage.Submission{ID: "night"}, Progress: storage.Progress{State: state}}
}

// While the disk is low no search is begun: its tables would be made in vain.
func TestNothingBeginsWhileTheDiskIsLow(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	asked := 0
	store := &oneSearch{listed: search(storage.Running), low: func() error {
		asked++
		cancel()
		return storage.ErrDiskLow
	}, now: func() (storage.Search, error) { return search(storage.Running), nil }}
	NewRunner(store, nil, Options{Slots: 1}).Run(ctx)
	assert.Equal(t, 1, asked)
}

// A search that was cancelled after it was listed, and before anyone could know
// that it is under way, is left alone.
func TestASearchThatEndedMeanwhileIsLeftAlone(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	read := 0
	store := &oneSearch{
		listed: search(storage.Running),
		low:    func() error { return nil },
		now: func() (storage.Search, error) {
			if read++; read == 1 {
				cancel()
			}
			return search(storage.Cancelled), nil
		},
	}
	NewRunner(store, nil, Options{Slots: 1}).Run(ctx)
	assert.Equal(t, 2, read, "before it would begin, and to see whether it waits again")
}

// stoppedEarly is a store whose runner is stopped before it has read the accounts.
type stoppedEarly struct {
	oneSearch
	stop context.CancelFunc
	kept bool
}

func (s *stoppedEarly) Shares(ctx context.Context, _ any) error {
	s.stop()
	return ctx.Err()
}

func (s *stoppedEarly) KeepShares(context.Context, any) error {
	s.kept = true
	return nil
}

// A runner that is stopped at once leaves the accounts of members as they are.
func TestAccountsThatWereNotReadAreNotStoredOver(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	var log bytes.Buffer
	store := &stoppedEarly{oneSearch: oneSearch{listed: search(storage.Running)}, stop: cancel}
	NewRunner(store, nil, Options{Slots: 1, Logger: slog.New(slog.NewTextHandler(&log, nil))}).Run(ctx)
	assert.False(t, store.kept)
	assert.Empty(t, log.String())
}
