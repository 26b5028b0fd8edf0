package storage_test

import (
	"context"
	"fmt"
	"maps"
	"os"
	"testing"

	"pgregory.net/rapid"

	"turnwright/storage"
)

// leaseModel is what a search's units should be after any sequence of calls.
type leaseModel struct {
	number uint64
	state  storage.State
	units  map[[2]int]*unitModel // by length and index
}

type unitModel struct {
	epoch  uint64         // of the last grant
	worker string         // who has it
	failed map[string]int // by worker
	lost   int
	aside  bool
	done   bool
}

const (
	modelLengths = 2
	modelUnits   = 3
)

// Random grants, reports, failures, losses, pauses and deletions, with crashes in between:
// the store says what the model says, epochs only rise, and a unit counts once.
func TestLeasesAreTheirModel(t *testing.T) {
	base := t.TempDir()
	rapid.Check(t, func(t *rapid.T) {
		dir, err := os.MkdirTemp(base, "")
		must(t, err)
		h := &leaseHarness{harness: harness{dir: dir}, risen: map[[2]int]uint64{}}
		h.open(t)
		defer func() { h.store.Close() }()
		h.create(t)
		t.Repeat(map[string]func(*rapid.T){
			"grant":        h.grant,
			"grant more":   h.grant,
			"report":       h.report,
			"report again": h.report,
			"fail":         h.fail,
			"lose":         h.lose,
			"return":       h.giveBack,
			"pause":        h.pause,
			"replace":      h.replace,
			"crash":        h.crash,
			"":             h.check,
		})
	})
}

type leaseHarness struct {
	harness
	leaseModel
	risen map[[2]int]uint64 // the highest epoch so far of a unit of that place, of any search
	old   []uint64          // epochs that were given at all
}

func (h *leaseHarness) create(t *rapid.T) {
	ctx := context.Background()
	s, err := h.store.CreateSearch(ctx, storage.Request{}, "a", storage.Spec{Max: modelLengths})
	must(t, err)
	for _, to := range []storage.State{storage.Preparing, storage.Running} {
		_, err := h.store.Move(ctx, storage.Request{}, "a", to, storage.Detail{})
		must(t, err)
	}
	h.leaseModel = leaseModel{number: s.Number, state: storage.Running, units: map[[2]int]*unitModel{}}
	for length := 1; length <= modelLengths; length++ {
		_, err := h.store.BeginLength(ctx, "a", storage.LengthPlan{Length: length, Words: "1", Units: modelUnits, Leaves: 10 * modelUnits})
		must(t, err)
		for index := range modelUnits {
			h.units[[2]int{length, index}] = &unitModel{failed: map[string]int{}}
		}
	}
}

func (h *leaseHarness) unit(t *rapid.T) (at [2]int, u *unitModel) {
	at = [2]int{rapid.IntRange(1, modelLengths).Draw(t, "length"), rapid.IntRange(0, modelUnits-1).Draw(t, "index")}
	return at, h.units[at]
}

// epoch draws one: mostly that of the last grant.
func (h *leaseHarness) epoch(t *rapid.T, u *unitModel) uint64 {
	if len(h.old) > 0 && rapid.IntRange(0, 3).Draw(t, "late") == 0 {
		return rapid.SampledFrom(h.old).Draw(t, "epoch")
	}
	return u.epoch
}

// worker draws one: mostly who has the unit.
func (h *leaseHarness) worker(t *rapid.T, u *unitModel) string {
	worker := rapid.SampledFrom([]string{"hall", "attic"}).Draw(t, "worker")
	if u.worker != "" && rapid.IntRange(0, 3).Draw(t, "thief") > 0 {
		return u.worker
	}
	return worker
}

func (h *leaseHarness) grant(t *rapid.T) {
	at, u := h.unit(t)
	worker := rapid.SampledFrom([]string{"hall", "attic"}).Draw(t, "worker")
	l, err := h.store.GrantUnit(context.Background(), "a", at[0], at[1], worker)
	switch {
	case h.state != storage.Running:
		wants(t, err, storage.ErrState)
	case u.done:
		wants(t, err, storage.ErrUnitDone)
	case u.aside:
		wants(t, err, storage.ErrUnitAside)
	default:
		must(t, err)
		if l.Epoch <= h.risen[at] {
			t.Fatalf("epoch %d of %v came after %d", l.Epoch, at, h.risen[at])
		}
		h.risen[at] = l.Epoch
		h.old = append(h.old, l.Epoch)
		u.epoch, u.worker = l.Epoch, worker
	}
}

func (h *leaseHarness) report(t *rapid.T) {
	at, u := h.unit(t)
	epoch := h.epoch(t, u)
	wrong := rapid.IntRange(0, 7).Draw(t, "wrong") == 0
	worker := h.worker(t, u)
	report := storage.Unit{Length: at[0], Index: at[1], Leaves: 10, Epoch: epoch, Worker: worker}
	for i := range rapid.IntRange(1, 2).Draw(t, "found") { // of the second only the wrong report has it
		if i == 0 || wrong {
			report.Found = append(report.Found, storage.Finding{
				ID: fmt.Sprintf("c%d-%d-%d", at[0], at[1], i), Size: 2, Length: at[0], Text: fmt.Sprint(at, i),
			})
		}
	}
	wrong = len(report.Found) > 1
	if !u.done && wrong {
		t.Skip("the first report is right")
	}
	got, err := h.store.CommitUnit(context.Background(), "a", report)
	switch {
	case epoch != 0 && epoch>>32 != h.number:
		wants(t, err, storage.ErrStale)
	case u.done && wrong:
		wants(t, err, storage.ErrUnitMismatch)
	case u.done:
		must(t, err)
		if !got.Repeated {
			t.Fatalf("%v was done twice", at)
		}
	case epoch != u.epoch, u.worker != "" && worker != u.worker:
		wants(t, err, storage.ErrStale)
	case h.state != storage.Running && h.state != storage.Paused:
		wants(t, err, storage.ErrState)
	default:
		must(t, err)
		if got.Repeated {
			t.Fatalf("%v was not done yet", at)
		}
		u.done, u.worker = true, ""
	}
}

// end ends a lease, of a worker or of whoever has it, and tells whether it was one.
func (h *leaseHarness) end(t *rapid.T, any bool, call func(at [2]int, worker string, epoch uint64) error) (*unitModel, bool) {
	at, u := h.unit(t)
	epoch := h.epoch(t, u)
	worker := h.worker(t, u)
	err := call(at, worker, epoch)
	if u.done || epoch != u.epoch || u.worker == "" || !any && worker != u.worker {
		wants(t, err, storage.ErrStale)
		return u, false
	}
	must(t, err)
	u.worker = ""
	return u, true
}

func (h *leaseHarness) fail(t *rapid.T) {
	by := ""
	u, was := h.end(t, false, func(at [2]int, worker string, epoch uint64) error {
		by = worker
		_, err := h.store.FailUnit(context.Background(), "a", at[0], at[1], worker, epoch, "a bug")
		return err
	})
	if was {
		u.failed[by]++
		all := u.failed["hall"] + u.failed["attic"]
		u.aside = u.aside || all >= storage.MaxLosses || len(u.failed) > 1 && all >= storage.MaxFailures
	}
}

func (h *leaseHarness) lose(t *rapid.T) {
	u, was := h.end(t, true, func(at [2]int, _ string, epoch uint64) error {
		_, err := h.store.LoseUnit(context.Background(), "a", at[0], at[1], epoch)
		return err
	})
	if was {
		u.lost++
		u.aside = u.aside || u.lost >= storage.MaxLosses
	}
}

func (h *leaseHarness) giveBack(t *rapid.T) {
	h.end(t, false, func(at [2]int, worker string, epoch uint64) error {
		return h.store.ReturnUnit(context.Background(), "a", at[0], at[1], worker, epoch)
	})
}

// pause pauses the search, or has it go on.
func (h *leaseHarness) pause(t *rapid.T) {
	to := []storage.State{storage.Paused}
	if h.state == storage.Paused {
		to = []storage.State{storage.Queued, storage.Preparing, storage.Running}
	}
	for _, to := range to {
		_, err := h.store.Move(context.Background(), storage.Request{}, "a", to, storage.Detail{})
		must(t, err)
		h.state = to
	}
}

// replace puts another search in the place of the one there is.
func (h *leaseHarness) replace(t *rapid.T) {
	if rapid.IntRange(0, 3).Draw(t, "really") > 0 {
		t.Skip("seldom")
	}
	_, err := h.store.Move(context.Background(), storage.Request{}, "a", storage.Cancelled, storage.Detail{})
	must(t, err)
	must(t, h.store.DeleteSearch(context.Background(), storage.Request{}, "a"))
	h.create(t)
}

func (h *leaseHarness) check(t *rapid.T) {
	ctx := context.Background()
	got, err := h.store.Search(ctx, "a")
	must(t, err)
	found, proven := 0, 0
	for length := 1; length <= modelLengths; length++ {
		done := map[int]bool{}
		want := map[int]string{}
		for index := range modelUnits {
			u := h.units[[2]int{length, index}]
			switch {
			case u.done:
				done[index] = true
			case u.epoch != 0:
				want[index] = fmt.Sprint(u.epoch, u.worker, u.failed["hall"]+u.failed["attic"], u.lost, u.aside)
			}
		}
		found += len(done)
		if len(done) == modelUnits && proven == length-1 {
			proven++
		}
		l := got.Lengths[length-1]
		same(t, fmt.Sprint(l.Done, l.Covered, l.Classes, l.Cycles), fmt.Sprint(len(done), 10*len(done), len(done), 2*len(done)))
		in, err := h.store.DoneUnits(ctx, "a", length)
		must(t, err)
		if !maps.Equal(in, done) {
			t.Fatalf("units %v of length %d are done, want %v", in, length, done)
		}
		leases, err := h.store.Leases(ctx, "a", length)
		must(t, err)
		are := map[int]string{}
		for index, l := range leases {
			are[index] = fmt.Sprint(l.Epoch, l.Worker, len(l.Failed), l.Lost, l.Aside)
		}
		same(t, are, want)
	}
	same(t, fmt.Sprint(got.State, got.Proven, got.Findings), fmt.Sprint(h.state, proven, found))
	page, err := h.store.Findings(ctx, "a", storage.FindingScan{Until: storage.AnyEvent, Limit: 100})
	must(t, err)
	for _, f := range page {
		var length, index int
		_, err := fmt.Sscanf(f.ID, "c%d-%d-0", &length, &index)
		must(t, err)
		if !h.units[[2]int{length, index}].done {
			t.Fatalf("%s is of a unit that is not done", f.ID)
		}
	}
	same(t, len(page), found)
}
