// Package remote is a worker process's side of the API: it leases units from a
// server, does them with package work, and brings them back.
//
//	err := remote.Run(ctx, remote.Options{Client: client, Name: "hall-3", Slots: 4, ...})
//
// A worker keeps nothing: when it is killed, its units go to others. When the
// server can't be reached it goes on with what it has, and reports when it can.
package remote

import (
	"context"
	"crypto/rand"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/types/known/durationpb"

	v1 "turnwright/api/turnwright/v1"
	"turnwright/server/engine"
	"turnwright/server/shelf"
	"turnwright/server/work"
	"turnwright/storage"
)

// Options say how a worker runs.
type Options struct {
	Client  v1.WorkerServiceClient
	Puzzles engine.Builder
	Name    string // the last part of its name in the API
	Version string // of the program
	Host    string // boot id
	Slots   int    // units at once
	Memory  int64  // bytes of tables that stay mapped while nobody uses them
	Logger  *slog.Logger

	Cache      string // directory for tables that are not on this host
	TableCache int64  // bytes that they may have there beside those in use; 0 for a quarter of the disk, at most 64 GiB
}

// Times of a worker.
const (
	beatEvery  = 500 * time.Millisecond
	askFor     = 15 * time.Second // that one question for a unit waits
	retryPause = time.Second

	// For so long the name may still be that of a process which was killed.
	namePatience = 10 * time.Second
	reportUntil  = 10 * time.Minute // a report is tried
)

// ErrRefused is why a worker ends that the server does not want: of another version,
// under a name that is taken, or without the right to work.
var ErrRefused = errors.New("the server refuses this worker")

// Run works until ctx ends, or the server has it drained: then it finishes what it
// has and returns nil. [ErrRefused] with the server's words where it is not wanted.
func Run(ctx context.Context, opt Options) error {
	return run(ctx, opt, func(s storage.Spec) (engine.Engine, error) { return engine.New(opt.Puzzles, s) })
}

func run(ctx context.Context, opt Options, build func(storage.Spec) (engine.Engine, error)) error {
	w := &worker{opt: opt, me: &v1.Worker{
		Name: "workers/" + opt.Name, Instance: rand.Text(), Version: opt.Version, Host: opt.Host, Slots: int32(opt.Slots),
	}, began: time.Now(), held: map[work.ID]*held{}}
	w.cache = cache{opt.Cache, opt.TableCache, opt.Logger}
	if err := w.cache.trim(); err != nil {
		opt.Logger.Warn("the directory for tables could not be brought to its size", "directory", opt.Cache, "error", err)
	}
	w.shelf = shelf.New(w.fetch, opt.Memory)
	w.engines = engine.NewKept(build)
	ctx, w.refuse = context.WithCancelCause(ctx)
	defer w.refuse(nil)
	slots, drain := context.WithCancel(ctx) // while slots take units
	w.drain = drain
	defer drain()
	beat, stopBeat := context.WithCancel(context.WithoutCancel(ctx)) // while slots may have units
	var beating sync.WaitGroup
	beating.Go(func() { w.beat(beat) })
	work.Run(slots, source{w}, kit{w}, opt.Slots, opt.Logger)
	stopBeat()
	beating.Wait()
	w.shelf.Clear()
	if cause := context.Cause(ctx); errors.Is(cause, ErrRefused) {
		return cause
	}
	return nil
}

type worker struct {
	opt     Options
	me      *v1.Worker
	cache   cache
	shelf   *shelf.Shelf
	engines *engine.Kept
	refuse  context.CancelCauseFunc
	drain   context.CancelFunc
	short   atomic.Bool // units of short questions wait

	mu       sync.Mutex
	began    time.Time
	known    atomic.Bool // the server has taken it
	held     map[work.ID]*held
	draining bool
}

type held struct {
	covered uint64 // since the last heartbeat
	stop    context.CancelFunc
}

// beat says, as long as ctx lasts, that the worker is at its units.
func (w *worker) beat(ctx context.Context) {
	tick := time.NewTicker(beatEvery)
	defer tick.Stop()
	for {
		select {
		case <-tick.C:
		case <-ctx.Done():
			return
		}
		req := &v1.SendHeartbeatRequest{Worker: w.me}
		w.mu.Lock()
		for id, h := range w.held {
			req.Units = append(req.Units, &v1.HeldUnit{Unit: id.Message(), Covered: h.covered})
			h.covered = 0
		}
		w.mu.Unlock()
		call, cancel := context.WithTimeout(ctx, 5*time.Second)
		resp, err := w.opt.Client.SendHeartbeat(call, req)
		cancel()
		if err != nil {
			w.look(err)
			continue
		}
		w.short.Store(resp.GetShortWaits())
		if resp.GetDrain() {
			w.stopTaking()
		}
		w.mu.Lock()
		for _, u := range resp.GetGone() {
			if h := w.held[unitID(u)]; h != nil {
				h.stop()
			}
		}
		w.mu.Unlock()
	}
}

// stopTaking has the slots finish what they have, and take nothing more.
func (w *worker) stopTaking() {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.draining = true
	if len(w.held) == 0 {
		w.drain()
	}
}

// look ends the worker where the server will never take it.
func (w *worker) look(err error) {
	switch status.Code(err) {
	case codes.AlreadyExists:
		if !w.known.Load() && time.Since(w.began) < namePatience {
			return // the one before, which was killed, will soon be taken for gone
		}
		w.refuse(fmt.Errorf("%w: %w", ErrRefused, err))
	case codes.FailedPrecondition, codes.PermissionDenied, codes.Unauthenticated, codes.InvalidArgument, codes.Unimplemented:
		w.refuse(fmt.Errorf("%w: %w", ErrRefused, err))
	}
}

// source is where units come from.
type source struct{ *worker }

func (s source) Lease(ctx context.Context, _ int) (*work.Lease, error) {
	s.mu.Lock()
	draining := s.draining
	s.mu.Unlock()
	if draining { // others may still be at theirs
		select {
		case <-ctx.Done():
		case <-time.After(beatEvery):
		}
		return nil, nil
	}
	return s.ask(ctx, false, askFor)
}

func (s source) Urgent(ctx context.Context, _ int) *work.Lease {
	if !s.short.Load() {
		return nil
	}
	l, err := s.ask(ctx, true, 0)
	if l == nil || err != nil {
		s.short.Store(false) // until the next heartbeat
	}
	return l
}

func (s source) ask(ctx context.Context, short bool, wait time.Duration) (*work.Lease, error) {
	call, cancel := context.WithTimeout(ctx, wait+10*time.Second)
	defer cancel()
	resp, err := s.opt.Client.LeaseUnit(call, &v1.LeaseUnitRequest{Worker: s.me, ShortOnly: short, Wait: durationpb.New(wait), Tables: s.shelf.Keys(mostTables)})
	if err != nil {
		s.look(err)
		return nil, err
	}
	s.known.Store(true)
	if resp.GetDrain() {
		s.stopTaking()
	}
	if resp.GetLease() == nil {
		return nil, nil
	}
	l := &work.Lease{ID: unitID(resp.GetLease().GetUnit()), Short: resp.GetLease().GetShort(), From: resp.GetLease().GetFrom(), Watch: silent{}}
	if err := json.Unmarshal(resp.GetLease().GetSpec(), &l.Spec); err != nil {
		return nil, fmt.Errorf("the server's lease can't be read: %w", err)
	}
	var stop context.CancelFunc
	l.Context, stop = context.WithCancel(context.WithoutCancel(ctx))
	s.mu.Lock()
	s.held[l.ID] = &held{stop: stop}
	s.mu.Unlock()
	return l, nil
}

// silent is told of tables that are fetched.
type silent struct{}

func (silent) Loading()       {}
func (silent) Building()      {}
func (silent) Entries(uint64) {}

func (s source) Covered(l *work.Lease, n uint64) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if h := s.held[l.ID]; h != nil {
		h.covered += n
	}
}

// release forgets a unit that was brought back, or is of no use.
func (s source) release(l *work.Lease) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if h := s.held[l.ID]; h != nil {
		h.stop()
		delete(s.held, l.ID)
	}
	if s.draining && len(s.held) == 0 {
		s.drain()
	}
}

func (s source) Report(ctx context.Context, l *work.Lease, r engine.Report, took time.Duration) error {
	defer s.release(l)
	return s.insist(ctx, l, func(ctx context.Context) error {
		stream, err := s.opt.Client.ReportUnit(ctx)
		if err != nil {
			return err
		}
		req := &v1.ReportUnitRequest{
			Worker: s.me, Unit: l.Message(), Covered: r.Covered, Short: r.Short, Took: durationpb.New(took),
		}
		for rest := r.Found; ; {
			n, size := 0, 0
			for n < len(rest) && n < mostInPiece && size < mostBytes {
				size += len(rest[n].Text) + len(rest[n].Change)
				req.Found = append(req.Found, &v1.FoundSequence{Sequence: rest[n].Text, Change: rest[n].Change, Structure: rest[n].Structure})
				n++
			}
			if err := stream.Send(req); err != nil && !errors.Is(err, io.EOF) { // the cause comes with the answer
				return err
			}
			if rest = rest[n:]; len(rest) == 0 {
				break
			}
			req = &v1.ReportUnitRequest{}
		}
		_, err = stream.CloseAndRecv()
		return err
	})
}

// mostTables is how many tables the server is told of.
const mostTables = 1000

// Bounds of one piece of a report.
const (
	mostInPiece = 1000
	mostBytes   = 256 << 10
)

func (s source) Fail(ctx context.Context, l *work.Lease, why error) error {
	defer s.release(l)
	return s.insist(ctx, l, func(ctx context.Context) error {
		_, err := s.opt.Client.FailUnit(ctx, &v1.FailUnitRequest{Worker: s.me, Unit: l.Message(), Cause: first(why.Error(), 2000)})
		return err
	})
}

// first cuts a text where it is too long, and leaves out what is none: it could not be sent.
func first(text string, n int) string { return strings.ToValidUTF8(text[:min(len(text), n)], "") }

func (s source) Return(ctx context.Context, l *work.Lease) error {
	defer s.release(l) // also where the server said that it may go: its ledger still has it with this worker
	_, err := s.opt.Client.ReturnUnit(ctx, &v1.ReturnUnitRequest{Worker: s.me, Unit: l.Message()})
	return err
}

// insist makes a call until the server answers, the unit is of no use any more, or
// it has been too long. Its heartbeats go on meanwhile.
func (s source) insist(ctx context.Context, l *work.Lease, call func(context.Context) error) error {
	ctx, cancel := context.WithTimeout(ctx, reportUntil)
	defer cancel()
	defer context.AfterFunc(l.Context, cancel)()
	for {
		err := call(ctx)
		switch status.Code(err) {
		case codes.Unavailable, codes.DeadlineExceeded, codes.ResourceExhausted:
		default:
			return err
		}
		s.opt.Logger.Warn("a unit can't be brought back yet", "unit", l.ID, "error", err)
		select {
		case <-time.After(retryPause):
		case <-ctx.Done():
			return err
		}
	}
}

// kit is what units are done with.
type kit struct{ *worker }

func (k kit) Engine(_ context.Context, l *work.Lease) (engine.Engine, error) {
	return k.engines.Of(l.Spec)
}

func (k kit) Table(ctx context.Context, l *work.Lease, t engine.Table) (engine.Content, func(), error) {
	c, _, release, err := k.shelf.Take(context.WithValue(ctx, unitKey{}, l.ID), t, l.Watch)
	return c, release, err
}

type unitKey struct{}

// fetch maps a table: the server's own file where it is on this host, a copy otherwise.
func (w *worker) fetch(ctx context.Context, t engine.Table, _ shelf.Watch) (engine.Content, bool, func(), error) {
	id := ctx.Value(unitKey{}).(work.ID)
	at, err := w.opt.Client.LocateTable(ctx, &v1.LocateTableRequest{Unit: id.Message(), Key: t.Key})
	if err != nil {
		return nil, false, nil, err
	}
	if at.GetHost() == w.opt.Host && at.GetHost() != "" {
		c, free, err := shelf.Mapped(t, at.GetPath())
		if err == nil {
			return c, true, free, nil
		}
		w.opt.Logger.Warn("the server's copy of a table can't be shared; this worker makes its own", "table", t.Key, "error", err)
	}
	kept, err := w.copyTable(ctx, at)
	if err != nil {
		return nil, false, nil, err
	}
	c, free, err := shelf.Mapped(t, kept.Name())
	if err != nil { // the next time it is copied again
		return nil, false, nil, errors.Join(err, w.cache.drop(kept))
	}
	return c, true, func() { free(); w.cache.leave(kept) }, nil
}

func unitID(m *v1.UnitRef) work.ID {
	search := m.GetSearch()
	if len(search) > len("searches/") {
		search = search[len("searches/"):]
	}
	return work.ID{Search: search, Length: int(m.GetLength()), Index: int(m.GetIndex()), Epoch: m.GetEpoch()}
}
