// Package care looks after what the server keeps.
//
// [Service] is for those who run the server, and sends backups. What the files
// and keys are is the business of package storage.
package care

import (
	"context"
	"errors"
	"io"
	"sync"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"

	v1 "turnwright/api/turnwright/v1"
	"turnwright/server/access"
	"turnwright/server/fail"
)

// Store is what the service needs of storage.
type Store interface {
	Backup(ctx context.Context, version string) (io.ReadCloser, error)
}

// Service answers turnwright.v1.AdministrationService.
type Service struct {
	v1.UnimplementedAdministrationServiceServer
	store    Store
	version  string
	stopping <-chan struct{}

	turn    chan struct{}  // holds a token while a backup is made
	sending sync.WaitGroup // pieces that may still be on their way
}

// NewService makes the service. Backups end when stopping is closed.
func NewService(store Store, version string, stopping <-chan struct{}) *Service {
	return &Service{store: store, version: version, stopping: stopping, turn: make(chan struct{}, 1)}
}

// Wait waits for what calls left behind. No call may be under way.
func (s *Service) Wait() { s.sending.Wait() }

const (
	pieceSize = 256 << 10        // bytes
	patience  = 30 * time.Second // for a client to take one piece
)

// Backup sends a backup in pieces.
func (s *Service) Backup(_ *v1.BackupRequest, out grpc.ServerStreamingServer[v1.BackupResponse]) error {
	ctx := out.Context()
	select {
	case s.turn <- struct{}{}:
		defer func() { <-s.turn }()
	case <-s.stopping:
		return errStopping
	case <-ctx.Done():
		return ctx.Err()
	}
	backup, err := s.store.Backup(ctx, s.version)
	if err != nil {
		return err
	}
	access.Audit(ctx, "take backup", "", "")
	return errors.Join(s.sendAll(out, backup), backup.Close())
}

func (s *Service) sendAll(out grpc.ServerStreamingServer[v1.BackupResponse], backup io.Reader) error {
	for {
		piece := make([]byte, pieceSize) // a Send that was left behind may still read the one before
		n, err := io.ReadFull(backup, piece)
		if n > 0 {
			if err := s.send(out, piece[:n]); err != nil {
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

// send gives the client time to take a piece, and no more. A Send that is left
// behind ends when the call does.
func (s *Service) send(out grpc.ServerStreamingServer[v1.BackupResponse], piece []byte) error {
	sent := make(chan error, 1)
	s.sending.Go(func() { sent <- out.Send(&v1.BackupResponse{Piece: piece}) })
	slow := time.NewTimer(patience)
	defer slow.Stop()
	select {
	case err := <-sent:
		return err
	case <-slow.C:
		return errSlow
	case <-s.stopping:
		return errStopping
	case <-out.Context().Done():
		return out.Context().Err()
	}
}

// How a backup ends before its end.
var (
	errStopping = fail.With(codes.Unavailable, v1.ErrorReason_ERROR_REASON_STOPPING,
		"the server is stopping: begin again when it is back")
	errSlow = fail.With(codes.Aborted, v1.ErrorReason_ERROR_REASON_SLOW_READER,
		"the backup was not read in time: begin again")
)
