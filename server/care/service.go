// Package care looks after what the server keeps.
//
// [Check] holds what is kept against itself, and what findings say against the slow
// evaluator. [Service] is for those who run the server: it sends backups, and checks
// while work goes on. What the files and keys are is the business of package storage.
package care

import (
	"context"
	"errors"
	"io"
	"strings"

	"google.golang.org/grpc"

	v1 "turnwright/api/turnwright/v1"
	"turnwright/server/access"
	"turnwright/server/engine"
	"turnwright/server/sending"
	"turnwright/storage"
)

// Store is what the service needs of storage.
type Store interface {
	Kept
	Backup(ctx context.Context, version string) (io.ReadCloser, error)
}

// Service answers turnwright.v1.AdministrationService.
type Service struct {
	v1.UnimplementedAdministrationServiceServer
	store    Store
	build    engine.Builder
	version  string
	stopping <-chan struct{}

	turn chan struct{} // holds a token while a backup or a check is made
	out  *sending.Sender
}

// NewService makes the service. Calls end when stopping is closed.
func NewService(store Store, build engine.Builder, version string, stopping <-chan struct{}) *Service {
	return &Service{
		store: store, build: build, version: version, stopping: stopping,
		turn: make(chan struct{}, 1), out: sending.New(stopping, "begin again"),
	}
}

// Wait waits for what calls left behind. No call may be under way.
func (s *Service) Wait() { s.out.Wait() }

// pieceSize is the bytes of one message of a backup.
const pieceSize = 256 << 10

// Backup sends a backup in pieces.
func (s *Service) Backup(_ *v1.BackupRequest, out grpc.ServerStreamingServer[v1.BackupResponse]) error {
	ctx, done, err := s.take(out.Context())
	if err != nil {
		return err
	}
	defer done()
	backup, err := s.store.Backup(ctx, s.version)
	if err != nil {
		return cause(ctx, err)
	}
	access.Audit(ctx, "take backup", "", "")
	return errors.Join(s.sendAll(out, backup), backup.Close())
}

func (s *Service) sendAll(out grpc.ServerStreamingServer[v1.BackupResponse], backup io.Reader) error {
	for {
		piece := make([]byte, pieceSize) // a Send that was left behind may still read the one before
		n, err := io.ReadFull(backup, piece)
		if n > 0 {
			if err := send(s, out, &v1.BackupResponse{Piece: piece[:n]}); err != nil {
				return err
			}
		}
		switch {
		case errors.Is(err, io.EOF), errors.Is(err, io.ErrUnexpectedEOF):
			return nil
		case err != nil:
			return err
		}
	}
}

// Check sends problems and a summary.
func (s *Service) Check(_ *v1.CheckRequest, out grpc.ServerStreamingServer[v1.CheckResponse]) error {
	ctx, done, err := s.take(out.Context())
	if err != nil {
		return err
	}
	defer done()
	sum, err := Check(ctx, s.store, s.build, false, func(p storage.Problem) error {
		return send(s, out, &v1.CheckResponse{Event: &v1.CheckResponse_Problem{
			Problem: &v1.CheckProblem{At: text(p.At), What: text(p.What)},
		}})
	})
	if err != nil {
		return cause(ctx, err)
	}
	return send(s, out, &v1.CheckResponse{Event: &v1.CheckResponse_Summary{Summary: &v1.CheckSummary{
		Searches: int64(sum.Searches), Findings: int64(sum.Findings), Tables: int64(sum.Tables), Problems: int64(sum.Problems),
	}}})
}

// text is what the API takes for text, whatever a damaged record holds.
func text(s string) string { return strings.ToValidUTF8(s, "\uFFFD") }

// take waits for the turn of a call, which holds it until it is done. The context
// ends with the call, or when the server stops.
func (s *Service) take(ctx context.Context) (during context.Context, done func(), err error) {
	select {
	case s.turn <- struct{}{}:
	case <-s.stopping:
		return nil, nil, s.out.ErrStopping
	case <-ctx.Done():
		return nil, nil, ctx.Err()
	}
	during, cancel := s.out.During(ctx)
	return during, func() {
		cancel(nil)
		<-s.turn
	}, nil
}

// cause is why the context ended, where the error is that it did.
func cause(ctx context.Context, err error) error {
	if errors.Is(err, context.Canceled) && ctx.Err() != nil {
		return context.Cause(ctx)
	}
	return err
}

func send[Event any](s *Service, out grpc.ServerStreamingServer[Event], event *Event) error {
	return s.out.Send(out.Context(), func() error { return out.Send(event) })
}
