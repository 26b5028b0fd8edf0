package main

import (
	"context"
	"fmt"

	"turnwright/api/client"
	turnwrightv1 "turnwright/api/turnwright/v1"
)

// tracker tells people on standard error how a search is coming on: a line for
// each thing that happened and, on a terminal, a bar below them.
type tracker struct {
	app    *app
	drawn  bool
	tables bool  // the tables were reported
	taken  bool  // that an equal search had the answer was
	proven int32 // finished lengths up to here were reported
}

// track tells people how a search is coming on, until it has ended or ctx ends.
func (a *app) track(ctx context.Context, c *client.Client, name string) error {
	t := &tracker{app: a}
	defer t.clear()
	return c.Follow(ctx, name, "", func(event *turnwrightv1.StreamFindingsResponse) error {
		if search := event.GetSearch(); search != nil {
			t.update(search)
		}
		return nil
	})
}

// update reports what is new about the search.
func (t *tracker) update(search *turnwrightv1.Search) {
	t.clear()
	if tables := search.GetTables(); tables != nil && !t.tables {
		t.tables = true
		t.app.note("%s", tablesText(tables))
	}
	if search.GetAdopted() && !t.taken {
		t.taken = true
		t.app.note("an equal search had found some of this, or all: that is taken over")
	}
	for _, length := range search.GetLengths() {
		if length.GetLength() > t.proven && length.GetClasses() > 0 {
			t.app.note("length %d: %s first reached", length.GetLength(), plural(int64(length.GetClasses()), "class", "classes"))
		}
	}
	t.proven = max(t.proven, search.GetProvenLength())
	if t.app.width != nil && !ended(search) {
		fmt.Fprint(t.app.stderr, barText(search, t.app.width()))
		t.drawn = true
	}
}

// clear removes the bar, so that other lines can be written.
func (t *tracker) clear() {
	if t.drawn {
		fmt.Fprint(t.app.stderr, "\r\x1b[K")
		t.drawn = false
	}
}

func ended(search *turnwrightv1.Search) bool {
	switch search.GetState() {
	case turnwrightv1.SearchState_SEARCH_STATE_DONE,
		turnwrightv1.SearchState_SEARCH_STATE_CANCELLED,
		turnwrightv1.SearchState_SEARCH_STATE_FAILED:
		return true
	}
	return false
}
