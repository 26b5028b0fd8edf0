package storage_test

import (
	"context"
	"fmt"
	"os"
	"testing"

	"pgregory.net/rapid"

	"turnwright/storage"
)

// watcher is a client that reads the findings of a search through cursors, as a
// stream does: first in rank order as of one event, then event by event. What it
// remembers between two reads is its cursor and nothing else.
type watcher struct {
	until  uint64       // the event that the replay goes up to
	after  storage.Rank // where the replay is
	event  uint64       // where the live part is, once the replay is over
	live   bool
	begun  bool
	gotten map[string]int // revisions, by finding; outside the cursor
}

// read gets one page; it tells whether there was anything.
func (w *watcher) read(t *rapid.T, s *storage.Store, limit int) bool {
	ctx := context.Background()
	if !w.begun {
		search, err := s.Search(ctx, "night")
		must(t, err)
		w.until, w.begun = search.Events, true
	}
	if w.live {
		page, err := s.Events(ctx, "night", w.event, limit)
		must(t, err)
		for _, f := range page {
			w.take(t, f)
			w.event = f.Event
		}
		return len(page) > 0
	}
	page, err := s.Findings(ctx, "night", storage.FindingScan{After: w.after, Until: w.until, Limit: limit})
	must(t, err)
	for _, f := range page {
		w.take(t, f)
		w.after = f.Rank()
	}
	if len(page) < limit {
		w.live, w.event = true, w.until
	}
	return true
}

func (w *watcher) take(t *rapid.T, f storage.Finding) {
	if f.Revision <= w.gotten[f.ID] {
		t.Fatalf("finding %s came with revision %d after %d", f.ID, f.Revision, w.gotten[f.ID])
	}
	w.gotten[f.ID] = f.Revision
}

// Whatever is committed between its reads, wherever it stops and goes on, the
// watcher gets no revision twice and in the end has the latest of each finding.
func TestAWatcherGetsEachRevisionOnceAndMissesNoFinding(t *testing.T) {
	base := t.TempDir()
	rapid.Check(t, func(t *rapid.T) {
		dir, err := os.MkdirTemp(base, "")
		must(t, err)
		s, err := storage.Open(storage.Options{Dir: dir, Free: plenty})
		must(t, err)
		defer s.Close()
		ctx := context.Background()
		_, err = s.CreateSearch(ctx, storage.Request{}, "night", storage.Spec{})
		must(t, err)
		for _, to := range []storage.State{storage.Preparing, storage.Running} {
			_, err = s.Move(ctx, storage.Request{}, "night", to, storage.Detail{})
			must(t, err)
		}
		_, err = s.BeginLength(ctx, "night", storage.LengthPlan{Length: 1, Units: 1000})
		must(t, err)

		watchers := []*watcher{}
		units := 0
		t.Repeat(map[string]func(*rapid.T){
			"commit": func(t *rapid.T) {
				u := storage.Unit{Length: 1, Index: units, Found: rapid.SliceOfN(found, 0, 5).Draw(t, "found")}
				units++
				_, err := s.CommitUnit(ctx, "night", u)
				must(t, err)
			},
			"join": func(t *rapid.T) {
				watchers = append(watchers, &watcher{gotten: map[string]int{}})
			},
			"read": func(t *rapid.T) {
				if len(watchers) > 0 {
					w := rapid.SampledFrom(watchers).Draw(t, "watcher")
					w.read(t, s, rapid.IntRange(1, 3).Draw(t, "limit"))
				}
			},
		})
		all, err := s.Findings(ctx, "night", storage.FindingScan{Until: storage.AnyEvent, Limit: 1000})
		must(t, err)
		want := map[string]int{}
		for _, f := range all {
			want[f.ID] = f.Revision
		}
		for _, w := range watchers {
			for w.read(t, s, 2) {
			}
			same(t, fmt.Sprint(w.gotten), fmt.Sprint(want))
		}
	})
}
