package schedule

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"turnwright/storage"
)

// NewQueue makes the dispatcher in memory, for its conformance test.
func NewQueue() Dispatcher { return newQueue() }

// TellWith tells of two searches whose hints come from a dispatcher, with slots and
// workers, one of which dies, a pause and a restart. It gives what is known at the end.
func TellWith(t *testing.T, d Dispatcher) (summary string) {
	tell(t, Options{Slots: 1}, func(t *testing.T, n *night) {
		n.stop()
		n.dispatch = d
		n.start()
		first := &fake{lengths: 2, units: 8, unit: time.Second, step: 100 * time.Millisecond, closes: true, cut: func(int) []int { return []int{3, 8} }}
		second := &fake{lengths: 1, units: 8, unit: time.Second, step: 100 * time.Millisecond}
		kill := n.process("hall").works(1)
		defer func() { kill() }()
		n.submit("first", first)
		n.submit("second", second, func(s *storage.Spec) { s.Work.Leaves = 1000 * speed })
		time.Sleep(3500 * time.Millisecond)
		n.move("first", storage.Paused)
		time.Sleep(time.Second)
		n.move("first", storage.Queued)
		time.Sleep(2 * time.Second)
		kill()
		kill = n.process("attic").works(1)
		time.Sleep(2 * time.Second)
		n.restart()
		n.until("first", storage.Done, 5*time.Minute)
		n.until("second", storage.Done, 5*time.Minute)
		n.whole("first", first)
		n.whole("second", second)
		var out strings.Builder
		for _, id := range []string{"first", "second"} {
			found, err := n.store.Findings(t.Context(), id, storage.FindingScan{Until: storage.AnyEvent, Limit: 1000})
			require.NoError(t, err)
			fmt.Fprintf(&out, "%s %+v\n", id, n.search(id).Lengths)
			for _, f := range found {
				fmt.Fprintln(&out, f.ID, f.Text)
			}
		}
		summary = out.String()
	})
	return summary
}
