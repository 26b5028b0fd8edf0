package schedule_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"turnwright/server/schedule"
	"turnwright/server/schedule/conform"
	"turnwright/storage"
)

func TestTheQueueIsADispatcher(t *testing.T) {
	conform.Dispatcher(t, func(*testing.T) (schedule.Dispatcher, func()) { return schedule.NewQueue(), func() {} })
}

func TestTheUnrulyOneIsADispatcher(t *testing.T) {
	seed := uint64(0)
	conform.Dispatcher(t, func(*testing.T) (schedule.Dispatcher, func()) {
		seed++
		return conform.NewUnruly(seed), func() {}
	})
}

// The queue gives each hint once, in the order in which they came.
func TestTheQueueKeepsOrder(t *testing.T) {
	q := schedule.NewQueue()
	for i := range 3 {
		q.Offer(schedule.Unit{Search: "night", Index: i})
	}
	for i := range 3 {
		u, ok := q.Take("night")
		require.True(t, ok)
		assert.Equal(t, i, u.Index)
	}
	_, ok := q.Take("night")
	assert.False(t, ok)
}

// Whatever a dispatcher may do, the end is the same.
func TestWhateverADispatcherDoesTheEndIsTheSame(t *testing.T) {
	want := schedule.TellWith(t, schedule.NewQueue())
	seeds := uint64(3)
	if testing.Short() {
		seeds = 1
	}
	for seed := range seeds {
		assert.Equal(t, want, schedule.TellWith(t, conform.NewUnruly(seed)))
	}
}

func TestTheStoreIsALedger(t *testing.T) {
	conform.Ledger(t, func(t *testing.T) conform.Host {
		h := &host{t: t, dir: t.TempDir()}
		h.open()
		t.Cleanup(func() { require.NoError(t, h.store.Close()) })
		return conform.Host{Ledger: h.store, Begin: h.begin, End: h.end, Move: h.move, Search: h.search, Reopen: h.reopen}
	})
}

// host is a store around which the ledger's tests are done.
type host struct {
	t     *testing.T
	dir   string
	store *storage.Store
}

func (h *host) open() {
	s, err := storage.Open(storage.Options{Dir: h.dir, Free: func(string) (uint64, error) { return 1 << 40, nil }})
	require.NoError(h.t, err)
	h.store = s
}

func (h *host) begin(id string, units int) {
	ctx := h.t.Context()
	_, err := h.store.CreateSearch(ctx, storage.Request{}, id, storage.Spec{Max: 1})
	require.NoError(h.t, err)
	h.move(id, storage.Preparing)
	h.move(id, storage.Running)
	_, err = h.store.BeginLength(ctx, id, storage.LengthPlan{Length: 1, Words: "1", Leaves: 10 * uint64(units), Units: units})
	require.NoError(h.t, err)
}

func (h *host) move(id string, to storage.State) {
	_, err := h.store.Move(h.t.Context(), storage.Request{}, id, to, storage.Detail{})
	require.NoError(h.t, err)
}

func (h *host) end(id string) {
	h.move(id, storage.Cancelled)
	require.NoError(h.t, h.store.DeleteSearch(h.t.Context(), storage.Request{}, id))
}

func (h *host) search(id string) storage.Search {
	s, err := h.store.Search(h.t.Context(), id)
	require.NoError(h.t, err)
	return s
}

func (h *host) reopen() schedule.Ledger {
	require.NoError(h.t, h.store.Close())
	h.open()
	return h.store
}
