package hostile

import (
	"context"
	"fmt"
	"log/slog"
	"maps"
	"math"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/durationpb"

	v1 "turnwright/api/turnwright/v1"
	"turnwright/server/puzzles"
	"turnwright/server/remote"
)

// liar is a worker's connection that puts something else into the first message of
// the first report of each unit.
type liar struct {
	v1.WorkerServiceClient
	lie func(*v1.ReportUnitRequest) bool // whether it told one

	mu   sync.Mutex
	told map[string]bool // by unit
	said []error
}

func (l *liar) ReportUnit(ctx context.Context, opts ...grpc.CallOption) (grpc.ClientStreamingClient[v1.ReportUnitRequest, v1.ReportUnitResponse], error) {
	stream, err := l.WorkerServiceClient.ReportUnit(ctx, opts...)
	return &lyingStream{ClientStreamingClient: stream, call: ctx, liar: l}, err
}

type lyingStream struct {
	grpc.ClientStreamingClient[v1.ReportUnitRequest, v1.ReportUnitResponse]
	call  context.Context // stays, when that of the stream has ended
	liar  *liar
	truth *v1.ReportUnitRequest // what a lie was told instead of
}

func (s *lyingStream) Send(m *v1.ReportUnitRequest) error {
	l := s.liar
	l.mu.Lock()
	unit := fmt.Sprint(m.GetUnit().GetLength(), m.GetUnit().GetIndex())
	if m.GetUnit() != nil && !l.told[unit] {
		changed := proto.CloneOf(m)
		if l.lie(changed) {
			l.told[unit], s.truth, m = true, m, changed
		}
	}
	l.mu.Unlock()
	return s.ClientStreamingClient.Send(m)
}

func (s *lyingStream) CloseAndRecv() (*v1.ReportUnitResponse, error) {
	answer, err := s.ClientStreamingClient.CloseAndRecv()
	if s.truth != nil {
		s.liar.mu.Lock()
		s.liar.said = append(s.liar.said, err)
		s.liar.mu.Unlock()
		// Where the lie was of no unit that it has, it still has one: or all would wait for
		// the lease to end.
		_, _ = s.liar.ReturnUnit(s.call, &v1.ReturnUnitRequest{Worker: s.truth.GetWorker(), Unit: s.truth.GetUnit()})
	}
	return answer, err
}

// work has a worker do the searches until the one of this name has ended.
func (x *target) work(t *testing.T, client v1.WorkerServiceClient, search string) *v1.Search {
	t.Helper()
	ctx, stop := context.WithCancel(t.Context())
	var working sync.WaitGroup
	working.Go(func() {
		assert.NoError(t, remote.Run(ctx, remote.Options{
			Client: client, Puzzles: puzzles.NewLibrary(nil), Name: "w-" + strings.TrimPrefix(search, "searches/"), Version: "v1", Slots: 2,
			Memory: 16 << 20, Cache: t.TempDir(), Logger: slog.New(slog.DiscardHandler),
		}))
	})
	defer working.Wait()
	defer stop()
	var last *v1.Search
	require.Eventually(t, func() bool {
		got, err := x.Searches.GetSearch(ctx, &v1.GetSearchRequest{Name: search})
		last = got.GetSearch()
		return err == nil && last.GetEndTime() != nil
	}, patience, 10*time.Millisecond, search)
	return last
}

func (x *target) found(t *testing.T, search string) []string {
	t.Helper()
	list, err := x.Findings.ListFindings(t.Context(), &v1.ListFindingsRequest{Parent: search, PageSize: 1000})
	require.NoError(t, err)
	var out []string
	for _, f := range list.GetFindings() {
		out = append(out, fmt.Sprint(f.GetClass(), f.GetLength(), f.GetSequence(), f.GetCycle().GetText()))
	}
	return out
}

// lies are what a report can say that is not so. Each tells whether it has found
// something in the report to lie about.
var lies = map[string]func(*v1.ReportUnitRequest) bool{
	"more than there is":   func(r *v1.ReportUnitRequest) bool { r.Covered++; return true },
	"less than there is":   func(r *v1.ReportUnitRequest) bool { r.Covered--; return true },
	"no end of it":         func(r *v1.ReportUnitRequest) bool { r.Covered = math.MaxUint64; return true },
	"that it ended early":  func(r *v1.ReportUnitRequest) bool { r.Short = true; return true },
	"a time below nothing": func(r *v1.ReportUnitRequest) bool { r.Took = durationpb.New(-1); return true },
	"a time of ages":       func(r *v1.ReportUnitRequest) bool { r.Took = durationpb.New(math.MaxInt64); return true },
	"what does nothing":    add("R R'", ""),
	"what does other":      add("R U", ""),
	"what is no sequence":  add("R U (", ""),
	"what is far too long": add("((R)^300)^300", ""),
	"nothing":              add("", ""),
	"another change":       alter(func(f *v1.FoundSequence) { f.Change += "x" }),
	"another end":          alter(func(f *v1.FoundSequence) { f.Sequence += " R" }),
	"a comment":            alter(func(f *v1.FoundSequence) { f.Sequence += " // mine" }),
	"a long comment":       alter(func(f *v1.FoundSequence) { f.Sequence += " // " + strings.Repeat("x", 10_000) }),
	"many blanks":          alter(func(f *v1.FoundSequence) { f.Sequence = strings.ReplaceAll(f.Sequence, " ", strings.Repeat(" ", 2000)) }),
	"a detour":             alter(func(f *v1.FoundSequence) { f.Sequence = "R4 " + f.Sequence }),
	"what is longer": alter(func(f *v1.FoundSequence) {
		f.Sequence = f.Sequence + " " + f.Sequence + " " + f.Sequence + " " + f.Sequence
	}),
	"too much at once": func(r *v1.ReportUnitRequest) bool {
		r.Found = make([]*v1.FoundSequence, 1001)
		return true
	},
	"the next epoch": func(r *v1.ReportUnitRequest) bool { r.Unit.Epoch++; return true },
	"no epoch":       func(r *v1.ReportUnitRequest) bool { r.Unit.Epoch = 0; return true },
	"the last epoch": func(r *v1.ReportUnitRequest) bool { r.Unit.Epoch = math.MaxUint64; return true },
	"another length": func(r *v1.ReportUnitRequest) bool { r.Unit.Length++; return true },
	"an alias":       func(r *v1.ReportUnitRequest) bool { r.Unit.Length += 1 << 16; return true },
	"all lengths":    func(r *v1.ReportUnitRequest) bool { r.Unit.Length = math.MaxInt32; return true },
	"beyond the plan": func(r *v1.ReportUnitRequest) bool {
		r.Unit.Length = 40
		return true
	},
	"another unit":   func(r *v1.ReportUnitRequest) bool { r.Unit.Index += 1000; return true },
	"the last unit":  func(r *v1.ReportUnitRequest) bool { r.Unit.Index = math.MaxInt32; return true },
	"another search": func(r *v1.ReportUnitRequest) bool { r.Unit.Search = "searches/other"; return true },
}

func add(sequence, change string) func(*v1.ReportUnitRequest) bool {
	return func(r *v1.ReportUnitRequest) bool {
		r.Found = append(r.Found, &v1.FoundSequence{Sequence: sequence, Change: change})
		return true
	}
}

func alter(change func(*v1.FoundSequence)) func(*v1.ReportUnitRequest) bool {
	return func(r *v1.ReportUnitRequest) bool {
		if len(r.GetFound()) == 0 {
			return false
		}
		change(r.GetFound()[0])
		return true
	}
}

// Whatever a worker says that is not so, it is refused, and what the search comes to
// in the end is what it comes to undisturbed.
func TestWorkersThatLie(t *testing.T) {
	x := serve(t, -1)
	ctx := t.Context()
	create := func(id string) string {
		_, err := x.Searches.CreateSearch(ctx, &v1.CreateSearchRequest{Search: edges(5), SearchId: id, RequestId: "create-" + id})
		require.NoError(t, err)
		return "searches/" + id
	}
	remove := func(name string) {
		_, err := x.Searches.DeleteSearch(ctx, &v1.DeleteSearchRequest{Name: name, RequestId: "delete-" + strings.TrimPrefix(name, "searches/")})
		require.NoError(t, err)
	}
	honest := create("honest")
	want := x.work(t, x.Workers, honest)
	require.Equal(t, v1.SearchState_SEARCH_STATE_DONE, want.GetState(), "%s %v", want.GetError(), want.GetAlarms())
	found := x.found(t, honest)
	require.NotEmpty(t, found)
	remove(honest) // or the others take over what it proved
	for n, what := range slices.Sorted(maps.Keys(lies)) {
		lie := lies[what]
		if testing.Short() && n%8 != 0 {
			continue
		}
		name := create(fmt.Sprintf("lie-%d", n))
		l := &liar{WorkerServiceClient: x.Workers, lie: lie, told: map[string]bool{}}
		got := x.work(t, l, name)
		assert.NotEmpty(t, l.said, "%s: no lie was told", what)
		for _, err := range l.said {
			assert.Empty(t, wrong(methods()[0], err), what)
			assert.Contains(t, []codes.Code{codes.InvalidArgument, codes.Aborted}, status.Code(err), "%s: %v", what, err)
		}
		assert.Equal(t, want.GetState(), got.GetState(), "%s: %s", what, got.GetError())
		assert.Equal(t, want.GetLengths(), got.GetLengths(), what)
		assert.Equal(t, want.GetProvenLength(), got.GetProvenLength(), what)
		assert.Equal(t, found, x.found(t, name), what)
		assert.Less(t, got.GetCoreTime().AsDuration(), time.Hour, what)
		remove(name)
	}
	x.alive(t)
	x.settled(t)
}

// A report that has no end, of a unit that nobody has.
func TestReportsWithoutEnd(t *testing.T) {
	x := serve(t, -1)
	worker := &v1.Worker{Name: "workers/mill", Instance: "one", Version: "v1", Slots: 1}
	unit := &v1.UnitRef{Search: "searches/none", Length: 5, Epoch: 7}
	some := func(n, size int) *v1.ReportUnitRequest {
		r := &v1.ReportUnitRequest{}
		for range n {
			r.Found = append(r.Found, &v1.FoundSequence{Sequence: strings.Repeat("R ", size/2)})
		}
		return r
	}
	for what, c := range map[string]struct {
		piece  *v1.ReportUnitRequest
		pieces int
		field  string
	}{
		"as many sequences as there may be": {some(1000, 2), 200, ""},
		"one more":                          {some(1000, 2), 201, "found"},
		"as many pieces as there may be":    {some(0, 0), 9_000, ""},
		"pieces with nothing in them":       {some(0, 0), 10_001, "found"},
		"long sequences":                    {some(1, 1_000_000), 70, "found"},
	} {
		if testing.Short() && c.field == "" {
			continue
		}
		stream, err := x.Workers.ReportUnit(t.Context())
		require.NoError(t, err)
		require.NoError(t, stream.Send(&v1.ReportUnitRequest{Worker: worker, Unit: unit}))
		for range c.pieces {
			if stream.Send(c.piece) != nil {
				break // why is said with the answer
			}
		}
		_, err = stream.CloseAndRecv()
		if c.field == "" {
			assert.Equal(t, codes.Aborted, status.Code(err), "%s: %v", what, err)
			continue
		}
		assert.Equal(t, codes.InvalidArgument, status.Code(err), "%s: %v", what, err)
		assert.ErrorContains(t, err, c.field+": at most", what)
	}
	x.settled(t)
}

// A worker says of units that it has not that it works on them, or can't.
func TestHeartbeatsOfWhatOthersHave(t *testing.T) {
	x := serve(t, -1)
	ctx := t.Context()
	_, err := x.Searches.CreateSearch(ctx, &v1.CreateSearchRequest{Search: edges(5), SearchId: "edges", RequestId: "1"})
	require.NoError(t, err)
	mill := &v1.Worker{Name: "workers/mill", Instance: "one", Version: "v1", Slots: 1}
	thief := &v1.Worker{Name: "workers/thief", Instance: "two", Version: "v1", Slots: 1}
	leased, err := x.Workers.LeaseUnit(ctx, &v1.LeaseUnitRequest{Worker: mill, Wait: durationpb.New(10 * time.Second)})
	require.NoError(t, err)
	unit := leased.GetLease().GetUnit()
	require.NotNil(t, unit)
	held := &v1.HeldUnit{Unit: unit, Covered: math.MaxUint64}
	beat := func(w *v1.Worker, n int) *v1.SendHeartbeatResponse {
		said, err := x.Workers.SendHeartbeat(ctx, &v1.SendHeartbeatRequest{Worker: w, Units: slices.Repeat([]*v1.HeldUnit{held}, n)})
		require.NoError(t, err)
		return said
	}
	assert.Len(t, beat(thief, 3).GetGone(), 3, "it is told to drop them")
	assert.Empty(t, beat(mill, 1000).GetGone())
	for _, r := range []struct {
		what string
		call func() error
	}{
		{"another worker under its name", func() error {
			_, err := x.Workers.SendHeartbeat(ctx, &v1.SendHeartbeatRequest{Worker: &v1.Worker{Name: "workers/mill", Instance: "two", Version: "v1", Slots: 1}})
			return err
		}},
		{"the server's own name", func() error {
			_, err := x.Workers.LeaseUnit(ctx, &v1.LeaseUnitRequest{Worker: &v1.Worker{Name: "workers/server", Instance: "two", Version: "v1", Slots: 1}})
			return err
		}},
		{"another version", func() error {
			_, err := x.Workers.LeaseUnit(ctx, &v1.LeaseUnitRequest{Worker: &v1.Worker{Name: "workers/new", Instance: "two", Version: "v2", Slots: 1}})
			return err
		}},
	} {
		err := r.call()
		assert.Error(t, err, r.what)
		assert.Empty(t, wrong(methods()[0], err), r.what)
	}
	_, err = x.Workers.FailUnit(ctx, &v1.FailUnitRequest{Worker: thief, Unit: unit})
	assert.Equal(t, codes.Aborted, status.Code(err), "it is the mill's: %v", err)
	_, err = x.Workers.ReturnUnit(ctx, &v1.ReturnUnitRequest{Worker: thief, Unit: unit})
	assert.Equal(t, codes.Aborted, status.Code(err), "it is the mill's: %v", err)
	_, err = x.Workers.FailUnit(ctx, &v1.FailUnitRequest{Worker: mill, Unit: unit, Cause: strings.Repeat("é", 500_000)})
	require.NoError(t, err)
	got, err := x.Searches.GetSearch(ctx, &v1.GetSearchRequest{Name: "searches/edges"})
	require.NoError(t, err)
	assert.Contains(t, []v1.SearchState{v1.SearchState_SEARCH_STATE_RUNNING, v1.SearchState_SEARCH_STATE_PREPARING}, got.GetSearch().GetState())
	x.alive(t)
	x.settled(t)
}

// Units of a study go on from the best of the rounds before theirs: not from what others of their own round
// brought, and not from what was refused.
func TestWhatUnitsOfAStudyGoOnFrom(t *testing.T) {
	x := serve(t, -1)
	ctx := t.Context()
	_, err := x.Searches.CreateSearch(ctx, &v1.CreateSearchRequest{SearchId: "night", RequestId: "1", Search: &v1.Search{
		Metric: v1.Metric_METRIC_OBTM, MemoryBytes: 1 << 20,
		Study: &v1.Study{Puzzle: "puzzles/2x2x2", Scramble: "R U F", Solution: "F' U' U U' R' R R'", ShortenTime: durationpb.New(12 * time.Second)},
	}})
	require.NoError(t, err)
	mill := &v1.Worker{Name: "workers/mill", Instance: "one", Version: "v1", Slots: 1}
	lease := func() *v1.Lease {
		t.Helper()
		leased, err := x.Workers.LeaseUnit(ctx, &v1.LeaseUnitRequest{Worker: mill, Wait: durationpb.New(10 * time.Second)})
		require.NoError(t, err)
		require.NotNil(t, leased.GetLease())
		return leased.GetLease()
	}
	report := func(l *v1.Lease, found ...*v1.FoundSequence) error {
		stream, err := x.Workers.ReportUnit(ctx)
		require.NoError(t, err)
		require.NoError(t, stream.Send(&v1.ReportUnitRequest{Worker: mill, Unit: l.GetUnit(), Covered: 15_000_000, Took: durationpb.New(time.Millisecond), Found: found}))
		_, err = stream.CloseAndRecv()
		return err
	}
	shorter := func(text, round string) *v1.FoundSequence {
		return &v1.FoundSequence{Sequence: text, Change: round, Structure: "moving"}
	}
	first := lease()
	assert.Empty(t, first.GetFrom())
	assert.Error(t, report(first, shorter("F' U' R", "1")), "it solves nothing")
	for range 8 {
		l := lease()
		assert.Empty(t, l.GetFrom())
		var found []*v1.FoundSequence
		switch l.GetUnit().GetIndex() {
		case 3:
			found = append(found, shorter("F' U' R' R R'", "1"))
		case 5:
			found = append(found, shorter("F' U' U' U' U2 R'", "1"))
		}
		require.NoError(t, report(l, found...))
	}
	for range 8 {
		l := lease()
		assert.Equal(t, "F' U' R' R R'", l.GetFrom(), "the shortest of the first round")
		var found []*v1.FoundSequence
		if l.GetUnit().GetIndex() == 9 {
			found = append(found, shorter("F' U' R'", "2"))
		}
		require.NoError(t, report(l, found...))
	}
	assert.Equal(t, "F' U' R'", lease().GetFrom())
	list, err := x.Findings.ListFindings(ctx, &v1.ListFindingsRequest{Parent: "searches/night"})
	require.NoError(t, err)
	require.Len(t, list.GetFindings(), 2)
	assert.EqualValues(t, 4, list.GetFindings()[0].GetShortening().GetSaved())
	x.settled(t)
}
