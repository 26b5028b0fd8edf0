// Package workers serves units of work to worker processes, and tells who works.
package workers

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	v1 "turnwright/api/turnwright/v1"
	"turnwright/search/deepen"
	"turnwright/server/access"
	"turnwright/server/engine"
	"turnwright/server/fail"
	"turnwright/server/page"
	"turnwright/server/read"
	"turnwright/server/schedule"
	"turnwright/server/work"
	"turnwright/storage"
)

// Runner is what the service needs of the scheduler.
type Runner interface {
	Attend(w schedule.Worker) (drain bool, err error)
	Drain(name string) (schedule.Attendance, bool)
	Workers() []schedule.Attendance
	Lease(ctx context.Context, t schedule.Taker) (*work.Lease, error)
	TryLease(ctx context.Context, t schedule.Taker) (*work.Lease, error)
	Beat(worker string, held []schedule.Held) (gone []work.ID)
	ShortWaits() bool
	Report(ctx context.Context, worker string, id work.ID, report engine.Report, took time.Duration) error
	Fail(ctx context.Context, worker string, id work.ID, why error) error
	Return(ctx context.Context, worker string, id work.ID) error
	Locate(ctx context.Context, search, key string) (storage.SharedTable, error)
}

// Store is what the service needs of storage.
type Store interface {
	SharedTable(id string) (storage.SharedTable, error)
}

// Service answers turnwright.v1.WorkerService.
type Service struct {
	v1.UnimplementedWorkerServiceServer
	runner   Runner
	store    Store
	pages    *page.Tokens
	version  string
	host     string
	stopping <-chan struct{}
}

// NewService makes the service. Calls that wait end when stopping is closed.
func NewService(runner Runner, store Store, pages *page.Tokens, version, host string, stopping <-chan struct{}) *Service {
	return &Service{runner: runner, store: store, pages: pages, version: version, host: host, stopping: stopping}
}

// Bounds of requests.
const (
	maxWait   = 20 * time.Second
	maxSlots  = 4096
	maxText   = 200 // bytes of what a worker says of itself
	maxHeld   = 4096
	maxTables = 1000
	maxPiece  = 1000    // sequences in one piece of a report
	maxFound  = 200_000 // in all pieces
	maxBytes  = 64 << 20
	maxPieces = 10_000
	maxTook   = 30 * 24 * time.Hour
	maxCause  = 2000 // bytes of why a unit failed; the rest is dropped
	pieceSize = 256 << 10
)

// attend takes note of the worker that calls.
func (s *Service) attend(m *v1.Worker) (name string, drain bool, err error) {
	name, ok := strings.CutPrefix(m.GetName(), "workers/")
	switch {
	case !ok || !read.IsID(name):
		return "", false, fail.Field("worker.name", "%q: use workers/ and lower-case letters, digits and hyphens, a letter first, no hyphen last, at most 63", m.GetName())
	case m.GetInstance() == "" || len(m.GetInstance()) > maxText:
		return "", false, fail.Field("worker.instance", "is required, at most %d bytes", maxText)
	case len(m.GetHost()) > maxText || len(m.GetVersion()) > maxText:
		return "", false, fail.Field("worker", "host and version: at most %d bytes", maxText)
	case m.GetSlots() < 1 || m.GetSlots() > maxSlots:
		return "", false, fail.Field("worker.slots", "%d: use 1 to %d", m.GetSlots(), maxSlots)
	case m.GetVersion() != s.version:
		return "", false, fail.With(codes.FailedPrecondition, v1.ErrorReason_ERROR_REASON_WORKER_VERSION,
			fmt.Sprintf("this worker is version %s, the server is %s: both must be the same program, or what is proven would be in doubt", m.GetVersion(), s.version),
			"worker", m.GetVersion(), "server", s.version)
	}
	drain, err = s.runner.Attend(schedule.Worker{
		Name: name, Instance: m.GetInstance(), Version: m.GetVersion(), Host: m.GetHost(), Slots: int(m.GetSlots()),
	})
	switch {
	case errors.Is(err, schedule.ErrNameTaken):
		err = fail.With(codes.AlreadyExists, v1.ErrorReason_ERROR_REASON_WORKER_EXISTS, m.GetName()+": "+err.Error(), "name", m.GetName())
	case errors.Is(err, schedule.ErrTooMany):
		err = fail.With(codes.ResourceExhausted, v1.ErrorReason_ERROR_REASON_QUEUE_FULL, err.Error())
	}
	return name, drain, err
}

// LeaseUnit gives the worker a unit.
func (s *Service) LeaseUnit(ctx context.Context, req *v1.LeaseUnitRequest) (*v1.LeaseUnitResponse, error) {
	name, drain, err := s.attend(req.GetWorker())
	if err != nil {
		return nil, err
	}
	wait := req.GetWait().AsDuration()
	if wait < 0 || wait > maxWait {
		return nil, fail.Field("wait", "%v: use 0 to %v", wait, maxWait)
	}
	if drain {
		return &v1.LeaseUnitResponse{Drain: true}, nil
	}
	if n := len(req.GetTables()); n > maxTables {
		return nil, fail.Field("tables", "%d keys: at most %d", n, maxTables)
	}
	taker := schedule.Taker{
		Worker: name, Short: req.GetShortOnly(),
		Elsewhere: req.GetWorker().GetHost() == "" || req.GetWorker().GetHost() != s.host, Tables: req.GetTables(),
	}
	var l *work.Lease
	if wait == 0 {
		l, err = s.runner.TryLease(ctx, taker)
	} else {
		l, err = s.wait(ctx, taker, wait)
	}
	if err != nil || l == nil {
		return &v1.LeaseUnitResponse{}, err
	}
	spec, err := json.Marshal(l.Spec)
	if err != nil {
		return nil, err
	}
	if ctx.Err() != nil { // nobody is there to take it
		_ = s.runner.Return(context.WithoutCancel(ctx), name, l.ID) // or it will be missed
		return nil, ctx.Err()
	}
	return &v1.LeaseUnitResponse{Lease: &v1.Lease{Unit: l.Message(), Spec: spec, Time: durationpb.New(l.Time), Short: l.Short, From: l.From}}, nil
}

// wait waits for a unit; it gives none where the time is over.
func (s *Service) wait(ctx context.Context, t schedule.Taker, wait time.Duration) (*work.Lease, error) {
	waiting, cancel := context.WithTimeout(ctx, wait)
	defer cancel()
	done := make(chan struct{})
	defer close(done)
	go func() { // ends with this call
		select {
		case <-s.stopping:
			cancel()
		case <-done:
		}
	}()
	l, err := s.runner.Lease(waiting, t)
	select {
	case <-s.stopping:
		if l == nil {
			return nil, stopped()
		}
	default:
	}
	if l == nil && waiting.Err() != nil && ctx.Err() == nil {
		return nil, nil
	}
	return l, err
}

func stopped() error {
	return fail.With(codes.Unavailable, v1.ErrorReason_ERROR_REASON_STOPPING, "the server is stopping: try again")
}

// SendHeartbeat renews what a worker has.
func (s *Service) SendHeartbeat(_ context.Context, req *v1.SendHeartbeatRequest) (*v1.SendHeartbeatResponse, error) {
	if len(req.GetUnits()) > maxHeld {
		return nil, fail.Field("units", "%d units: at most %d", len(req.GetUnits()), maxHeld)
	}
	name, drain, err := s.attend(req.GetWorker())
	if err != nil {
		return nil, err
	}
	held := make([]schedule.Held, 0, len(req.GetUnits()))
	for _, u := range req.GetUnits() {
		id, err := readUnit("units.unit", u.GetUnit())
		if err != nil {
			return nil, err
		}
		held = append(held, schedule.Held{ID: id, Covered: u.GetCovered()})
	}
	out := &v1.SendHeartbeatResponse{Drain: drain, ShortWaits: s.runner.ShortWaits()}
	for _, id := range s.runner.Beat(name, held) {
		out.Gone = append(out.Gone, id.Message())
	}
	return out, nil
}

// ReportUnit takes a report.
func (s *Service) ReportUnit(in grpc.ClientStreamingServer[v1.ReportUnitRequest, v1.ReportUnitResponse]) error {
	first, err := in.Recv()
	if errors.Is(err, io.EOF) {
		return fail.Field("worker", "is required: a report has one message at least")
	}
	if err != nil {
		return err
	}
	name, id, err := s.theirs(first.GetWorker(), first.GetUnit())
	if err != nil {
		return err
	}
	took := first.GetTook().AsDuration()
	if took < 0 || took > maxTook {
		return fail.Field("took", "%v: use 0 to %v", took, maxTook)
	}
	report := engine.Report{Length: id.Length, Index: id.Index, Covered: first.GetCovered(), Short: first.GetShort()}
	pieces, size := 0, 0
	for piece := first; ; {
		if pieces, size = pieces+1, size+proto.Size(piece); pieces > maxPieces || size > maxBytes {
			return fail.Field("found", "at most %d pieces, and %d bytes in all", maxPieces, maxBytes)
		}
		if len(piece.GetFound()) > maxPiece || len(report.Found)+len(piece.GetFound()) > maxFound {
			return fail.Field("found", "at most %d sequences in a piece, and %d in all", maxPiece, maxFound)
		}
		for _, f := range piece.GetFound() {
			report.Found = append(report.Found, engine.Found{Text: f.GetSequence(), Change: f.GetChange(), Structure: f.GetStructure()})
		}
		if piece, err = in.Recv(); errors.Is(err, io.EOF) {
			break
		} else if err != nil {
			return err
		}
	}
	if err := s.runner.Report(in.Context(), name, id, report, took); err != nil {
		return explain(err)
	}
	return in.SendAndClose(&v1.ReportUnitResponse{})
}

// theirs takes note of the worker that calls, and reads which unit it is about.
func (s *Service) theirs(worker *v1.Worker, unit *v1.UnitRef) (name string, id work.ID, err error) {
	if name, _, err = s.attend(worker); err == nil {
		id, err = readUnit("unit", unit)
	}
	return name, id, err
}

// FailUnit notes a failure.
func (s *Service) FailUnit(ctx context.Context, req *v1.FailUnitRequest) (*v1.FailUnitResponse, error) {
	name, id, err := s.theirs(req.GetWorker(), req.GetUnit())
	if err != nil {
		return nil, err
	}
	cause := req.GetCause()
	cause = strings.ToValidUTF8(cause[:min(len(cause), maxCause)], "") // alarms and logs repeat it
	if err := s.runner.Fail(ctx, name, id, errors.New(cause)); err != nil {
		return nil, explain(err)
	}
	return &v1.FailUnitResponse{}, nil
}

// ReturnUnit takes a unit back.
func (s *Service) ReturnUnit(ctx context.Context, req *v1.ReturnUnitRequest) (*v1.ReturnUnitResponse, error) {
	name, id, err := s.theirs(req.GetWorker(), req.GetUnit())
	if err != nil {
		return nil, err
	}
	if err := s.runner.Return(ctx, name, id); err != nil {
		return nil, explain(err)
	}
	return &v1.ReturnUnitResponse{}, nil
}

// explain gives an error of the runner the status that the API says.
func explain(err error) error {
	switch {
	case errors.Is(err, schedule.ErrRefused):
		return fail.Refused(v1.ErrorReason_ERROR_REASON_REPORT_REFUSED, "found", err)
	case errors.Is(err, storage.ErrStale), errors.Is(err, storage.ErrState), errors.Is(err, storage.ErrNotFound), errors.Is(err, storage.ErrUnitMismatch):
		return fail.With(codes.Aborted, v1.ErrorReason_ERROR_REASON_LEASE_OVER, err.Error())
	}
	return err
}

// LocateTable tells where a table is.
func (s *Service) LocateTable(ctx context.Context, req *v1.LocateTableRequest) (*v1.LocateTableResponse, error) {
	id, err := readUnit("unit", req.GetUnit())
	if err != nil {
		return nil, err
	}
	f, err := s.runner.Locate(ctx, id.Search, req.GetKey())
	if errors.Is(err, storage.ErrMiss) || errors.Is(err, storage.ErrDiskLow) || errors.Is(err, storage.ErrNotFound) {
		return nil, fail.With(codes.Unavailable, v1.ErrorReason_ERROR_REASON_TABLE_MISSING, err.Error(), "key", req.GetKey())
	}
	if err != nil {
		return nil, err
	}
	return &v1.LocateTableResponse{Id: f.ID, Size: f.Size, Digest: f.Digest, Host: s.host, Path: f.Path}, nil
}

// ReadTable sends a table.
func (s *Service) ReadTable(req *v1.ReadTableRequest, out grpc.ServerStreamingServer[v1.ReadTableResponse]) error {
	missing := func(err error) error {
		return fail.With(codes.Unavailable, v1.ErrorReason_ERROR_REASON_TABLE_MISSING, err.Error(), "key", req.GetId())
	}
	f, err := s.store.SharedTable(req.GetId())
	if err != nil {
		return missing(err)
	}
	if req.GetOffset() < 0 || req.GetOffset() > f.Size {
		return fail.Field("offset", "%d: use 0 to %d", req.GetOffset(), f.Size)
	}
	file, err := os.Open(f.Path)
	if err != nil {
		return missing(err)
	}
	defer file.Close() //nolint:errcheck // it was only read
	buf := make([]byte, pieceSize)
	for at := req.GetOffset(); at < f.Size; {
		select {
		case <-s.stopping:
			return stopped()
		default:
		}
		n, err := file.ReadAt(buf, at)
		if err != nil && !errors.Is(err, io.EOF) {
			return err
		}
		if err := out.Send(&v1.ReadTableResponse{Data: buf[:n]}); err != nil {
			return err
		}
		at += int64(n)
	}
	return nil
}

// ListWorkers gives one page of the workers.
func (s *Service) ListWorkers(_ context.Context, req *v1.ListWorkersRequest) (*v1.ListWorkersResponse, error) {
	size, err := page.Size(req.GetPageSize())
	if err != nil {
		return nil, err
	}
	first := 0
	if err := s.pages.Open(req.GetPageToken(), "workers", &first); err != nil {
		return nil, err
	}
	all := s.runner.Workers()
	first = min(first, len(all))
	last := min(first+size, len(all))
	out := &v1.ListWorkersResponse{}
	for _, a := range all[first:last] {
		out.Workers = append(out.Workers, message(a))
	}
	if last < len(all) {
		out.NextPageToken = s.pages.Seal("workers", last)
	}
	return out, nil
}

// DrainWorker has a worker end.
func (s *Service) DrainWorker(ctx context.Context, req *v1.DrainWorkerRequest) (*v1.DrainWorkerResponse, error) {
	if _, err := page.Request(ctx, req.GetRequestId(), "DrainWorker", req.GetName()); err != nil {
		return nil, err
	}
	name, ok := strings.CutPrefix(req.GetName(), "workers/")
	if !ok || !read.IsID(name) {
		return nil, fail.Field("name", "%q: use workers/NAME", req.GetName())
	}
	a, ok := s.runner.Drain(name)
	if ok {
		access.Audit(ctx, "drain worker", req.GetName(), "")
		return &v1.DrainWorkerResponse{Worker: message(a)}, nil
	}
	for _, a := range s.runner.Workers() {
		if a.Name == name {
			return nil, fail.Precondition(v1.ErrorReason_ERROR_REASON_WORKER_IS_SERVER, req.GetName(),
				"these are the server's own slots: they end with the server; start it with --workers 0 to leave the work to others")
		}
	}
	return nil, fail.NoSuch(v1.ErrorReason_ERROR_REASON_WORKER_NOT_FOUND, "worker", req.GetName())
}

func message(a schedule.Attendance) *v1.Worker {
	out := &v1.Worker{
		Name: "workers/" + a.Name, Instance: a.Instance, Version: a.Version, Host: a.Host, Slots: int32(a.Slots),
		StartedTime: timestamppb.New(a.First), SeenTime: timestamppb.New(a.Seen), Draining: a.Draining,
		UnitsDone: int64(a.Done), CoveredPerCoreSecond: a.Speed,
	}
	for _, id := range a.Units {
		out.Units = append(out.Units, id.Message())
	}
	return out
}

func readUnit(field string, m *v1.UnitRef) (work.ID, error) {
	search, ok := strings.CutPrefix(m.GetSearch(), "searches/")
	if !ok || search == "" || len(search) > 63 {
		return work.ID{}, fail.Field(field+".search", "%q: use searches/NAME", m.GetSearch())
	}
	if m.GetLength() < 1 || m.GetLength() > deepen.MaxLength || m.GetIndex() < 0 || m.GetEpoch() == 0 {
		return work.ID{}, fail.Field(field, "length, index and epoch are those of a lease")
	}
	return work.ID{Search: search, Length: int(m.GetLength()), Index: int(m.GetIndex()), Epoch: m.GetEpoch()}, nil
}
