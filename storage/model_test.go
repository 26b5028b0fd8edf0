package storage_test

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"turnwright/storage"
)

// model is the repository in maps: what it should hold after any sequence of
// calls, computed from scratch wherever the store counts along.
type model struct {
	searches map[string]*modelSearch
	last     uint64
	requests map[string]answer
}

type modelSearch struct {
	number   uint64
	state    storage.State
	plans    []storage.LengthPlan
	units    map[[2]int]storage.Unit
	findings map[string]storage.Finding
	events   uint64
}

type answer struct {
	digest byte
	number uint64
}

const maxActive = 2

func (m *model) active() (n int) {
	for _, s := range m.searches {
		if !s.state.Ended() {
			n++
		}
	}
	return n
}

func better(a, b storage.Finding) int {
	return cmp.Or(
		cmp.Compare(a.Length, b.Length), cmp.Compare(a.Axes, b.Axes),
		cmp.Compare(len(a.Text), len(b.Text)), cmp.Compare(a.Text, b.Text), cmp.Compare(a.ID, b.ID),
		cmp.Compare(len(a.Structure), len(b.Structure)), cmp.Compare(a.Structure, b.Structure),
	)
}

func (s *modelSearch) commit(u storage.Unit) {
	s.units[[2]int{u.Length, u.Index}] = u
	for _, f := range u.Found {
		old, known := s.findings[f.ID]
		if known && better(f, old) >= 0 {
			continue
		}
		s.events++
		f.Revision, f.Event = old.Revision+1, s.events
		s.findings[f.ID] = f
	}
}

// progress is what the store should say, without times.
func (s *modelSearch) progress() storage.Progress {
	p := storage.Progress{State: s.state, Findings: len(s.findings), Events: s.events}
	for _, plan := range s.plans {
		l := storage.Length{LengthPlan: plan}
		for at, u := range s.units {
			if at[0] == plan.Length {
				l.Done++
				l.Covered += u.Leaves
				l.Short = l.Short || u.Short
			}
		}
		for _, f := range s.findings {
			if f.Length == plan.Length {
				l.Classes++
				l.Cycles += f.Size
			}
		}
		if p.Proven == plan.Length-1 && !plan.Unproven && l.Done == l.Units && !l.Short && (l.Open || l.Covered == l.Leaves) {
			p.Proven++
		}
		p.Lengths = append(p.Lengths, l)
	}
	return p
}

func (s *modelSearch) ranked() []storage.Finding {
	return slices.SortedFunc(maps.Values(s.findings), better)
}

func (s *modelSearch) byEvent() []storage.Finding {
	return slices.SortedFunc(maps.Values(s.findings), func(a, b storage.Finding) int { return cmp.Compare(a.Event, b.Event) })
}

// Random operations on the store and on the model, with crashes in between:
// they must say the same after each.
func TestTheStoreIsItsModel(t *testing.T) {
	base := t.TempDir()
	rapid.Check(t, func(t *rapid.T) {
		dir, err := os.MkdirTemp(base, "")
		must(t, err)
		h := &harness{
			model: model{searches: map[string]*modelSearch{}, requests: map[string]answer{}},
			dir:   dir,
		}
		h.open(t)
		defer func() { h.store.Close() }()
		t.Repeat(map[string]func(*rapid.T){
			"create":         h.create,
			"ready":          h.ready,
			"move":           h.move,
			"begin":          h.begin,
			"commit":         h.commit,
			"commit again":   h.commit, // more often than the others
			"commit further": h.commit,
			"delete":         h.delete,
			"crash":          h.crash,
			"":               h.check,
		})
	})
}

type harness struct {
	model
	dir   string
	store *storage.Store
}

func must(t *rapid.T, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

// wants fails unless err is the one that is wanted, nil included.
func wants(t *rapid.T, err, want error) {
	t.Helper()
	if !errors.Is(err, want) {
		t.Fatalf("got %v, want %v", err, want)
	}
}

func (h *harness) open(t *rapid.T) {
	s, err := storage.Open(storage.Options{Dir: h.dir, Free: plenty, MaxActive: maxActive})
	must(t, err)
	h.store = s
}

var ids = rapid.SampledFrom([]string{"a", "b", "c"})

func (h *harness) create(t *rapid.T) {
	id := ids.Draw(t, "id")
	r := storage.Request{
		ID:     rapid.SampledFrom([]string{"", "", "r1", "r2", "r3"}).Draw(t, "request"),
		Digest: [32]byte{rapid.Byte().Draw(t, "digest") % 2},
	}
	got, err := h.store.CreateSearch(context.Background(), r, id, storage.Spec{Puzzle: id})
	before, asked := h.requests[r.ID]
	switch {
	case r.ID != "" && asked && before.digest != r.Digest[0]:
		wants(t, err, storage.ErrRequestReused)
		return
	case r.ID != "" && asked:
		must(t, err)
		if got.Number != before.number {
			t.Fatalf("the repeat got search %d, the first %d", got.Number, before.number)
		}
		return
	case h.searches[id] != nil:
		wants(t, err, storage.ErrExists)
		return
	case h.active() >= maxActive:
		wants(t, err, storage.ErrLimit)
		return
	}
	must(t, err)
	h.last++
	h.searches[id] = &modelSearch{
		number: h.last, state: storage.Queued,
		units: map[[2]int]storage.Unit{}, findings: map[string]storage.Finding{},
	}
	if r.ID != "" {
		h.requests[r.ID] = answer{r.Digest[0], h.last}
	}
}

func (h *harness) move(t *rapid.T) {
	id := ids.Draw(t, "id")
	to := rapid.SampledFrom([]storage.State{
		storage.Preparing, storage.Running, storage.Preparing, storage.Running, // else few get far
		storage.Queued, storage.Paused, storage.Done, storage.Cancelled, storage.Failed,
	}).Draw(t, "to")
	_, err := h.store.Move(context.Background(), storage.Request{}, id, to, storage.Detail{})
	switch s := h.searches[id]; {
	case s == nil:
		wants(t, err, storage.ErrNotFound)
	case s.state.CanBecome(to):
		must(t, err)
		s.state = to
	case to == storage.Cancelled && s.state.Ended():
		must(t, err)
	case to == storage.Paused && s.state == storage.Paused:
		must(t, err)
	case to == storage.Queued && !s.state.Ended():
		must(t, err) // it waits or works already
	default:
		wants(t, err, storage.ErrState)
	}
}

// ready brings a search to where units can be stored: few would get there by chance.
func (h *harness) ready(t *rapid.T) {
	id := ids.Draw(t, "id")
	s := h.searches[id]
	if s == nil || s.state != storage.Queued {
		t.Skip("it is not queued")
	}
	ctx := context.Background()
	for _, to := range []storage.State{storage.Preparing, storage.Running} {
		_, err := h.store.Move(ctx, storage.Request{}, id, to, storage.Detail{})
		must(t, err)
		s.state = to
	}
	for len(s.plans) < 2 {
		plan := storage.LengthPlan{Length: len(s.plans) + 1, Words: "1", Units: 3, Leaves: 30}
		_, err := h.store.BeginLength(ctx, id, plan)
		must(t, err)
		s.plans = append(s.plans, plan)
	}
}

func (h *harness) begin(t *rapid.T) {
	id := ids.Draw(t, "id")
	units := rapid.IntRange(0, 3).Draw(t, "units")
	s := h.searches[id]
	plan := storage.LengthPlan{Length: 1, Words: "1", Units: units, Leaves: uint64(10 * units)}
	if rapid.IntRange(0, 3).Draw(t, "open") == 0 {
		plan.Open, plan.Leaves = true, 0
	}
	plan.Unproven = rapid.IntRange(0, 3).Draw(t, "unproven") == 0
	if s != nil {
		plan.Length = rapid.IntRange(max(1, len(s.plans)), len(s.plans)+2).Draw(t, "length")
	}
	_, err := h.store.BeginLength(context.Background(), id, plan)
	switch {
	case s == nil:
		wants(t, err, storage.ErrNotFound)
	case s.state != storage.Running:
		wants(t, err, storage.ErrState)
	case plan.Length == len(s.plans)+1:
		must(t, err)
		s.plans = append(s.plans, plan)
	case plan.Length == len(s.plans) && s.plans[plan.Length-1] == plan:
		must(t, err)
	case plan.Length == len(s.plans):
		wants(t, err, storage.ErrPlanChanged)
	case err == nil:
		t.Fatal("a length was left out")
	}
}

var found = rapid.Custom(func(t *rapid.T) storage.Finding {
	class := rapid.IntRange(1, 4).Draw(t, "class")
	return storage.Finding{
		ID: fmt.Sprint("c", class), Class: class, Size: int64(10 * class),
		Length: rapid.IntRange(1, 4).Draw(t, "length"),
		Axes:   rapid.IntRange(1, 3).Draw(t, "axes"),
		Text:   rapid.StringMatching(`[ab]{1,3}`).Draw(t, "text"),

		Structure: rapid.SampledFrom([]string{"", "", "[a, b]", "[b, a]", "[a b, a]"}).Draw(t, "structure"),
	}
})

// likely draws a search and a length where a unit has its place, as a rule.
func (h *harness) likely(t *rapid.T) (id string, lengths int) {
	var open []string
	for id, s := range h.searches {
		if s.state == storage.Running && len(s.plans) > 0 {
			open = append(open, id)
		}
	}
	if len(open) == 0 || rapid.IntRange(0, 9).Draw(t, "anywhere") == 0 {
		return ids.Draw(t, "id"), 4
	}
	slices.Sort(open)
	id = rapid.SampledFrom(open).Draw(t, "open")
	return id, len(h.searches[id].plans)
}

func (h *harness) commit(t *rapid.T) {
	id, lengths := h.likely(t)
	u := storage.Unit{
		Length: rapid.IntRange(1, lengths).Draw(t, "of length"),
		Index:  rapid.IntRange(0, 2).Draw(t, "index"),
		Leaves: rapid.SampledFrom([]uint64{10, 10, 10, 10, 10, 10, 10, 9}).Draw(t, "leaves"),
		Short:  rapid.IntRange(0, 9).Draw(t, "short") == 0,
		Found:  rapid.SliceOfN(found, 0, 4).Draw(t, "found"),
	}
	s := h.searches[id]
	if s != nil && rapid.IntRange(0, 4).Draw(t, "repeat") == 0 {
		if old, in := s.units[[2]int{u.Length, u.Index}]; in {
			u = old
		}
	}
	got, err := h.store.CommitUnit(context.Background(), id, u)
	if s == nil {
		wants(t, err, storage.ErrNotFound)
		return
	}
	old, in := s.units[[2]int{u.Length, u.Index}]
	switch {
	case in && sameReport(old, u):
		must(t, err)
		if !got.Repeated || len(got.Changed) > 0 {
			t.Fatalf("a repeated unit changed %v", got)
		}
	case in:
		wants(t, err, storage.ErrUnitMismatch)
	case s.state != storage.Running && s.state != storage.Paused:
		wants(t, err, storage.ErrState)
	case u.Length > len(s.plans) || u.Index >= s.plans[u.Length-1].Units:
		if err == nil {
			t.Fatal("a unit that is not in the plan was taken")
		}
	default:
		must(t, err)
		s.commit(u)
	}
}

func sameReport(a, b storage.Unit) bool {
	order := func(f []storage.Finding) []storage.Finding {
		return slices.SortedFunc(slices.Values(f), better)
	}
	return a.Leaves == b.Leaves && slices.Equal(order(a.Found), order(b.Found))
}

func (h *harness) delete(t *rapid.T) {
	id := ids.Draw(t, "id")
	err := h.store.DeleteSearch(context.Background(), storage.Request{}, id)
	switch s := h.searches[id]; {
	case s == nil:
		wants(t, err, storage.ErrNotFound)
	case !s.state.Ended():
		wants(t, err, storage.ErrState)
	default:
		must(t, err)
		delete(h.searches, id)
	}
}

// crash goes on with a copy of the files as they are at this moment.
func (h *harness) crash(t *rapid.T) {
	crashed := h.dir + "x"
	for { // a copy of files that change meanwhile is of no moment
		before := filesOf(t, h.dir)
		must(t, os.RemoveAll(crashed))
		if err := copyFiles(crashed, h.dir); err == nil && maps.Equal(before, filesOf(t, h.dir)) {
			break
		}
	}
	must(t, h.store.Close())
	h.dir = crashed
	h.open(t)
}

// filesOf tells the sizes of all files in a directory, and when they were changed.
func filesOf(t *rapid.T, dir string) map[string]string {
	files := map[string]string{}
	must(t, filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if errors.Is(err, fs.ErrNotExist) {
			return nil
		}
		if err != nil || d.IsDir() {
			return err
		}
		if info, err := d.Info(); err == nil {
			files[path] = fmt.Sprint(info.Size(), info.ModTime())
		}
		return nil
	}))
	return files
}

func (h *harness) check(t *rapid.T) {
	states := map[storage.State]int{}
	for _, m := range h.searches {
		states[m.state]++
	}
	if counted := h.store.Figures().Searches; !maps.Equal(counted, states) {
		t.Fatalf("the store counts %v, there are %v", counted, states)
	}
	ctx := context.Background()
	var latest, oldest []string
	for id, s := range h.searches {
		got, err := h.store.Search(ctx, id)
		must(t, err)
		same(t, timeless(got.Progress), s.progress())
		latest = append(latest, id)
		if !s.state.Ended() {
			oldest = append(oldest, id)
		}
		h.checkFindings(t, id, s)
	}
	number := func(a, b string) int { return cmp.Compare(h.searches[a].number, h.searches[b].number) }
	slices.SortFunc(oldest, number)
	slices.SortFunc(latest, func(a, b string) int { return number(b, a) })

	same(t, pages(t, func(last *storage.Search) ([]storage.Search, error) {
		return h.store.Searches(ctx, numberOr0(last), 2)
	}), latest)
	same(t, pages(t, func(last *storage.Search) ([]storage.Search, error) {
		return h.store.ActiveSearches(ctx, numberOr0(last), 2)
	}), oldest)
}

func (h *harness) checkFindings(t *rapid.T, id string, s *modelSearch) {
	ctx := context.Background()
	var ranked []storage.Finding
	for q := (storage.FindingScan{Until: storage.AnyEvent, Limit: 2}); ; {
		page, err := h.store.Findings(ctx, id, q)
		must(t, err)
		if len(page) == 0 {
			break
		}
		ranked = append(ranked, page...)
		q.After = page[len(page)-1].Rank()
	}
	same(t, without(ranked), s.ranked())
	events, err := h.store.Events(ctx, id, 0, 1000)
	must(t, err)
	same(t, without(events), s.byEvent())
	for length := range s.plans {
		done, err := h.store.DoneUnits(ctx, id, length+1)
		must(t, err)
		want := map[int]bool{}
		for at := range s.units {
			if at[0] == length+1 {
				want[at[1]] = true
			}
		}
		if !maps.Equal(done, want) {
			t.Fatalf("units %v are done, want %v", done, want)
		}
	}
}

func numberOr0(s *storage.Search) uint64 {
	if s == nil {
		return 0
	}
	return s.Number
}

// pages gives the ids of all pages.
func pages(t *rapid.T, next func(last *storage.Search) ([]storage.Search, error)) (ids []string) {
	var last *storage.Search
	for {
		page, err := next(last)
		must(t, err)
		if len(page) == 0 {
			return ids
		}
		for _, s := range page {
			ids = append(ids, s.ID)
		}
		last = &page[len(page)-1]
	}
}

func same[T any](t *rapid.T, got, want T) {
	t.Helper()
	if g, w := fmt.Sprintf("%+v", got), fmt.Sprintf("%+v", want); g != w {
		t.Fatalf("\n got %s\nwant %s", g, w)
	}
}

func timeless(p storage.Progress) storage.Progress {
	p.Started, p.Ended = time.Time{}, time.Time{}
	return p
}

func without(found []storage.Finding) []storage.Finding {
	for i := range found {
		found[i].Found = time.Time{}
	}
	return found
}
