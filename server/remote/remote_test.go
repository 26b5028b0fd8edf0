package remote

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"
	"unicode/utf8"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"

	v1 "turnwright/api/turnwright/v1"
	"turnwright/server/engine"
	"turnwright/server/shelf"
	"turnwright/server/work"
	"turnwright/storage"
)

// desk is a server's side of the API, as far as a test says.
type desk struct {
	v1.WorkerServiceClient

	mu     sync.Mutex
	away   bool
	leases []*v1.Lease // to be had
	drain  bool
	short  bool
	gone   func(*v1.UnitRef) bool
	refuse error // of heartbeats and of questions for units

	said    []string
	held    [][]*v1.HeldUnit
	reports []*v1.ReportUnitRequest

	located *v1.LocateTableResponse
	pieces  [][]byte
	reads   int
}

var unavailable = status.Error(codes.Unavailable, "connection refused")

// enter counts as a call that reached the server.
func (d *desk) enter(ctx context.Context, what string, u *v1.UnitRef) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	switch {
	case ctx.Err() != nil:
		return status.FromContextError(ctx.Err()).Err()
	case d.away:
		return unavailable
	}
	if what != "" {
		d.said = append(d.said, what+" "+strings.TrimPrefix(u.GetSearch(), "searches/"))
	}
	return nil
}

func (d *desk) set(change func()) {
	d.mu.Lock()
	defer d.mu.Unlock()
	change()
}

func (d *desk) LeaseUnit(ctx context.Context, req *v1.LeaseUnitRequest, _ ...grpc.CallOption) (*v1.LeaseUnitResponse, error) {
	if err := d.enter(ctx, "", nil); err != nil {
		return nil, err
	}
	for end := time.Now().Add(req.GetWait().AsDuration()); ; {
		d.mu.Lock()
		refuse, out := d.refuse, &v1.LeaseUnitResponse{Drain: d.drain}
		for i, l := range d.leases {
			if refuse == nil && !d.drain && (!req.GetShortOnly() || l.GetShort()) {
				out.Lease = l
				d.leases = append(d.leases[:i:i], d.leases[i+1:]...)
				break
			}
		}
		d.mu.Unlock()
		if refuse != nil || out.GetDrain() || out.GetLease() != nil || !time.Now().Before(end) {
			return out, refuse
		}
		select {
		case <-time.After(100 * time.Millisecond):
		case <-ctx.Done():
			return nil, status.FromContextError(ctx.Err()).Err()
		}
	}
}

func (d *desk) SendHeartbeat(ctx context.Context, req *v1.SendHeartbeatRequest, _ ...grpc.CallOption) (*v1.SendHeartbeatResponse, error) {
	if err := d.enter(ctx, "", nil); err != nil {
		return nil, err
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	d.held = append(d.held, req.GetUnits())
	out := &v1.SendHeartbeatResponse{Drain: d.drain, ShortWaits: d.short}
	for _, u := range req.GetUnits() {
		if d.gone != nil && d.gone(u.GetUnit()) {
			out.Gone = append(out.Gone, u.GetUnit())
		}
	}
	return out, d.refuse
}

func (d *desk) FailUnit(ctx context.Context, req *v1.FailUnitRequest, _ ...grpc.CallOption) (*v1.FailUnitResponse, error) {
	return &v1.FailUnitResponse{}, d.enter(ctx, "fail", req.GetUnit())
}

func (d *desk) ReturnUnit(ctx context.Context, req *v1.ReturnUnitRequest, _ ...grpc.CallOption) (*v1.ReturnUnitResponse, error) {
	return &v1.ReturnUnitResponse{}, d.enter(ctx, "return", req.GetUnit())
}

func (d *desk) ReportUnit(ctx context.Context, _ ...grpc.CallOption) (grpc.ClientStreamingClient[v1.ReportUnitRequest, v1.ReportUnitResponse], error) {
	return &reporting{desk: d, ctx: ctx}, d.enter(ctx, "", nil)
}

type reporting struct {
	grpc.ClientStream
	desk   *desk
	ctx    context.Context
	pieces []*v1.ReportUnitRequest
}

func (r *reporting) Send(req *v1.ReportUnitRequest) error {
	r.pieces = append(r.pieces, req)
	return nil
}

func (r *reporting) CloseAndRecv() (*v1.ReportUnitResponse, error) {
	if err := r.desk.enter(r.ctx, "report", r.pieces[0].GetUnit()); err != nil {
		return nil, err
	}
	r.desk.set(func() { r.desk.reports = append(r.desk.reports, r.pieces...) })
	return &v1.ReportUnitResponse{}, nil
}

func (d *desk) LocateTable(ctx context.Context, _ *v1.LocateTableRequest, _ ...grpc.CallOption) (*v1.LocateTableResponse, error) {
	err := d.enter(ctx, "", nil)
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.located, err
}

func (d *desk) ReadTable(ctx context.Context, _ *v1.ReadTableRequest, _ ...grpc.CallOption) (grpc.ServerStreamingClient[v1.ReadTableResponse], error) {
	d.set(func() { d.reads++ })
	return &reading{ctx: ctx, pieces: d.pieces}, d.enter(ctx, "", nil)
}

type reading struct {
	ctx    context.Context
	pieces [][]byte
}

func (r *reading) Recv() (*v1.ReadTableResponse, error) {
	if len(r.pieces) == 0 {
		return nil, io.EOF
	}
	p := r.pieces[0]
	r.pieces = r.pieces[1:]
	if p == nil {
		return nil, unavailable
	}
	return &v1.ReadTableResponse{Data: p}, nil
}

func (r *reading) Header() (metadata.MD, error) { return nil, nil }
func (r *reading) Trailer() metadata.MD         { return nil }
func (r *reading) CloseSend() error             { return nil }
func (r *reading) Context() context.Context     { return r.ctx }
func (r *reading) SendMsg(any) error            { return nil }
func (r *reading) RecvMsg(any) error            { return nil }

func (d *desk) offer(search string) {
	spec, _ := json.Marshal(storage.Spec{Puzzle: search})
	d.set(func() {
		d.leases = append(d.leases, &v1.Lease{
			Unit: &v1.UnitRef{Search: "searches/" + search, Length: 1, Epoch: 1}, Spec: spec, Short: search == "short",
		})
	})
}

// units take ten seconds, short ones half of one. Searches that are named "table" want one.
type units struct {
	engine.Engine
	search string
}

func (u units) Tables() []engine.Table {
	return []engine.Table{{Key: "t", Map: func(data []byte) (engine.Content, error) {
		if !strings.HasPrefix(string(data), "a table") {
			return nil, errors.New("it is no table")
		}
		return struct{ engine.Content }{}, nil
	}}}
}

func (u units) Needs(int, int) []int {
	if u.search == "table" {
		return []int{0}
	}
	return nil
}

func (u units) Run(ctx context.Context, w engine.Work) (engine.Report, error) {
	steps, found := 1000, 1
	switch u.search {
	case "short":
		steps = 50
	case "many":
		found = 2500
	case "bug":
		return engine.Report{}, errors.New("x" + strings.Repeat("é", 2000))
	}
	for range steps {
		time.Sleep(10 * time.Millisecond)
		if ctx.Err() != nil {
			return engine.Report{}, ctx.Err()
		}
		w.Progress(1)
	}
	report := engine.Report{Covered: uint64(steps), Found: make([]engine.Found, found)}
	report.Found[0].Text = w.From
	return report, nil
}

// worker is one that works for a desk until it is stopped.
type running struct {
	*desk
	t    *testing.T
	log  logged
	stop context.CancelFunc
	done chan struct{} // closed when it has ended
	err  error         // then
}

// over tells whether it has ended.
func (r *running) over() bool {
	select {
	case <-r.done:
		return true
	default:
		return false
	}
}

// reported is what came in reports.
func (r *running) reported() []*v1.ReportUnitRequest {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.reports
}

// logged keeps what a worker logs.
type logged struct {
	mu   sync.Mutex
	text bytes.Buffer
}

func (l *logged) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.text.Write(p)
}

func (l *logged) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.text.String()
}

// at has a worker work for a server in virtual time.
func at(t *testing.T, story func(t *testing.T, r *running)) {
	cache := t.TempDir()
	synctest.Test(t, func(t *testing.T) {
		r := &running{desk: &desk{}, t: t, done: make(chan struct{})}
		var ctx context.Context
		ctx, r.stop = context.WithCancel(context.Background())
		opt := Options{
			Client: r.desk, Name: "hall", Version: "1", Host: "here", Slots: 1, Memory: 100, Cache: cache,
			Logger: slog.New(slog.NewTextHandler(&r.log, nil)),
		}
		go func() {
			defer close(r.done)
			r.err = run(ctx, opt, func(s storage.Spec) (engine.Engine, error) { return units{search: s.Puzzle}, nil })
		}()
		story(t, r)
		r.stop()
		time.Sleep(10 * time.Second)
		require.True(t, r.over(), "it does not end")
	})
}

// says is what reached the server.
func (r *running) says(want ...string) {
	r.t.Helper()
	synctest.Wait()
	r.mu.Lock()
	defer r.mu.Unlock()
	assert.Equal(r.t, want, r.said)
}

func TestAWorkerDoesUnits(t *testing.T) {
	at(t, func(t *testing.T, r *running) {
		r.offer("night")
		r.offer("many")
		time.Sleep(11 * time.Second)
		r.says("report night")
		assert.Equal(t, "workers/hall", r.reported()[0].GetWorker().GetName())
		assert.EqualValues(t, 1000, r.reported()[0].GetCovered())
		assert.Equal(t, 10*time.Second, r.reported()[0].GetTook().AsDuration())
		covered, beats := uint64(0), 0
		r.set(func() {
			for _, held := range r.held {
				for _, u := range held {
					if u.GetUnit().GetSearch() == "searches/night" {
						covered += u.GetCovered()
						beats++
					}
				}
			}
		})
		assert.InDelta(t, 20, beats, 1, "one each half second")
		assert.InDelta(t, 1000, covered, 51)
		time.Sleep(10 * time.Second)
		r.says("report night", "report many")
		many := r.reported()[1:]
		assert.Equal(t, []int{1000, 1000, 500}, []int{len(many[0].Found), len(many[1].Found), len(many[2].Found)})
		assert.Nil(t, many[1].GetUnit(), "only the first piece says whose it is")
	})
}

// A unit goes on from what the server says.
func TestAUnitGoesOnFromWhatTheLeaseSays(t *testing.T) {
	at(t, func(t *testing.T, r *running) {
		r.offer("night")
		r.set(func() { r.leases[0].From = "R U" })
		time.Sleep(11 * time.Second)
		r.says("report night")
		assert.Equal(t, "R U", r.reported()[0].GetFound()[0].GetSequence())
	})
}

// While the server is away a worker goes on with what it has, and brings it back when it can.
func TestTheServerIsAwayAndComesBack(t *testing.T) {
	at(t, func(t *testing.T, r *running) {
		r.offer("night")
		time.Sleep(5 * time.Second)
		r.set(func() { r.away = true })
		time.Sleep(time.Minute)
		r.says()
		r.set(func() { r.away = false })
		r.offer("next")
		time.Sleep(2 * time.Second)
		r.says("report night")
		assert.Contains(t, r.log.String(), "a unit can't be brought back yet")
		time.Sleep(10 * time.Second)
		r.says("report night", "report next")
	})
	at(t, func(t *testing.T, r *running) { // too long
		r.offer("night")
		time.Sleep(5 * time.Second)
		r.set(func() { r.away = true })
		time.Sleep(reportUntil + 10*time.Second)
		r.set(func() { r.away = false })
		r.offer("next")
		time.Sleep(15 * time.Second)
		r.says("report next")
	})
}

// What the server says is gone is dropped at once.
func TestUnitsThatAreGoneAreDropped(t *testing.T) {
	at(t, func(t *testing.T, r *running) {
		r.offer("night")
		r.offer("next")
		time.Sleep(3 * time.Second)
		r.set(func() { r.gone = func(u *v1.UnitRef) bool { return u.GetSearch() == "searches/night" } })
		time.Sleep(beatEvery + 20*time.Millisecond)
		r.says("return night")
		time.Sleep(10 * time.Second)
		r.says("return night", "report next")
		assert.NotContains(t, r.log.String(), "night")
	})
}

func TestAWorkerIsDrained(t *testing.T) {
	for _, busy := range []bool{true, false} {
		at(t, func(t *testing.T, r *running) {
			if busy {
				r.offer("night")
			}
			time.Sleep(3 * time.Second)
			r.set(func() { r.drain = true })
			r.offer("next")
			time.Sleep(5 * time.Second)
			assert.Equal(t, !busy, r.over())
			time.Sleep(5 * time.Second)
			assert.True(t, r.over())
			require.NoError(t, r.err)
			if busy {
				r.says("report night")
			} else {
				r.says()
			}
		})
	}
}

// A worker that is not wanted ends, and says what the server said.
func TestAWorkerIsRefused(t *testing.T) {
	for _, code := range []codes.Code{codes.FailedPrecondition, codes.AlreadyExists, codes.PermissionDenied, codes.Unauthenticated} {
		at(t, func(t *testing.T, r *running) {
			r.offer("night")
			time.Sleep(3 * time.Second)
			r.set(func() { r.refuse = status.Error(code, "this worker is version 1, the server is 2") })
			time.Sleep(time.Second)
			assert.True(t, r.over())
			require.ErrorIs(t, r.err, ErrRefused)
			assert.Contains(t, r.err.Error(), "the server is 2")
			r.says("return night")
		})
	}
	at(t, func(t *testing.T, r *running) { // the one before had its name, and was killed
		r.set(func() { r.refuse = status.Error(codes.AlreadyExists, "another process has this name") })
		time.Sleep(6 * time.Second)
		assert.False(t, r.over())
		r.set(func() { r.refuse = nil })
		r.offer("night")
		time.Sleep(3 * time.Second)
		assert.False(t, r.over())
	})
	at(t, func(t *testing.T, r *running) { // that is no refusal
		r.set(func() { r.refuse = status.Error(codes.Internal, "a fault") })
		time.Sleep(time.Minute)
		assert.False(t, r.over())
		r.set(func() { r.refuse = nil })
		r.offer("night")
		time.Sleep(12 * time.Second)
		r.says("report night")
	})
}

// Who is told to stop gives back what it has.
func TestAWorkerThatStopsGivesItsUnitsBack(t *testing.T) {
	at(t, func(t *testing.T, r *running) {
		r.offer("night")
		time.Sleep(3 * time.Second)
		r.stop()
		time.Sleep(50 * time.Millisecond)
		assert.True(t, r.over())
		require.NoError(t, r.err)
		r.says("return night")
	})
}

func TestShortQuestionsGoBetween(t *testing.T) {
	at(t, func(t *testing.T, r *running) {
		r.offer("night")
		time.Sleep(3 * time.Second)
		r.offer("short")
		r.set(func() { r.short = true })
		time.Sleep(beatEvery + 600*time.Millisecond)
		r.says("report short")
		time.Sleep(7 * time.Second)
		r.says("report short", "report night")
		assert.Equal(t, 10*time.Second, r.reported()[1].GetTook().AsDuration())
	})
}

// A failure's story is cut to what can be sent.
func TestAFailureCanBeSent(t *testing.T) {
	at(t, func(t *testing.T, r *running) {
		r.offer("bug")
		time.Sleep(time.Second)
		r.says("fail bug")
	})
	cut := first("x"+strings.Repeat("é", 2000), 2000)
	assert.True(t, utf8.ValidString(cut))
	assert.Len(t, cut, 1999)
}

// t1 is what a server may call a table.
const t1 = "t0123456789abcdef0123456789abcdef"

func digest(text string) string { return fmt.Sprintf("%x", sha256.Sum256([]byte(text))) }

// Tables are mapped where they are on this host, and copied where not. What is copied
// is checked, and kept.
func TestTables(t *testing.T) {
	const text = "a table of some length"
	good := &v1.LocateTableResponse{Id: t1, Size: int64(len(text)), Digest: digest(text), Host: "there"}
	for _, c := range []struct {
		name   string
		at     *v1.LocateTableResponse
		pieces []string
		want   string // error
	}{
		{"copied", good, []string{"a table of ", "some length"}, ""},
		{"a wrong digest", good, []string{"a table of ", "same length"}, "digest"},
		{"too long", good, []string{text, "!"}, "more than the 22 bytes"},
		{"too short", good, []string{"a table"}, "what came has 7 bytes"},
		{"broken off", good, []string{"a table", ""}, "connection refused"},
		{"no space", &v1.LocateTableResponse{Id: t1, Size: 1 << 60, Host: "there"}, nil, "make room there, or name another place with --cache"},
		{"a name that leads elsewhere", &v1.LocateTableResponse{Id: "../t1", Size: 22, Host: "there"}, nil, `the server calls a table "../t1"`},
		{"no table", &v1.LocateTableResponse{Id: t1, Size: 5, Digest: digest("other"), Host: "there"}, []string{"other"}, "it is no table"},
		{"another file system", &v1.LocateTableResponse{Id: t1, Size: 22, Digest: digest(text), Host: "here", Path: "/nowhere/t1"}, []string{text}, ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			d := &desk{located: c.at}
			for _, p := range c.pieces {
				piece := []byte(p)
				if p == "" {
					piece = nil
				}
				d.pieces = append(d.pieces, piece)
			}
			w := newWorker(d, t.TempDir())
			for range 2 {
				content, _, free, err := w.fetch(context.WithValue(t.Context(), unitKey{}, work.ID{Search: "night", Length: 1, Epoch: 1}), units{}.Tables()[0], nil)
				left, globErr := filepath.Glob(filepath.Join(w.cache.dir, "[^l]*")) // all but the lock
				require.NoError(t, globErr)
				if c.want != "" {
					require.ErrorContains(t, err, c.want)
					assert.Empty(t, left, "nothing is left")
					continue
				}
				require.NoError(t, err)
				require.NotNil(t, content)
				assert.Equal(t, []string{filepath.Join(w.cache.dir, t1)}, left)
				free()
				assert.Equal(t, 1, d.reads, "it is read once")
			}
		})
	}
	t.Run("on this host", func(t *testing.T) {
		path := filepath.Join(t.TempDir(), "t1")
		require.NoError(t, os.WriteFile(path, []byte(text), 0o600))
		d := &desk{located: &v1.LocateTableResponse{Id: t1, Size: 22, Digest: digest(text), Host: "here", Path: path}}
		w := newWorker(d, filepath.Join(t.TempDir(), "cache"))
		_, _, free, err := w.fetch(context.WithValue(t.Context(), unitKey{}, work.ID{}), units{}.Tables()[0], nil)
		require.NoError(t, err)
		free()
		assert.Zero(t, d.reads)
		assert.NoDirExists(t, w.cache.dir)
	})
}

func newWorker(d *desk, dir string) *worker {
	log := slog.New(slog.DiscardHandler)
	w := &worker{opt: Options{Client: d, Host: "here", Logger: log}, cache: cache{dir: dir, log: log}, held: map[work.ID]*held{}}
	w.shelf = shelf.New(w.fetch, 100)
	return w
}

// A worker that can't get a table gives the unit back and waits a moment.
func TestAWorkerWithoutATable(t *testing.T) {
	at(t, func(t *testing.T, r *running) {
		r.set(func() { r.located = &v1.LocateTableResponse{Id: t1, Size: 1 << 60, Host: "there"} })
		for range 10 {
			r.offer("table")
		}
		time.Sleep(2500 * time.Millisecond)
		r.says("return table", "return table", "return table")
		assert.Contains(t, r.log.String(), "make room there")
	})
}
