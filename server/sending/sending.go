// Package sending gives the client of a stream time to take each message, and no more.
// gRPC itself would wait for ever on a client that keeps the connection and reads
// nothing.
//
//	out := sending.New(stopping, "go on with the last cursor")
//	err := out.Send(ctx, func() error { return stream.Send(m) })
//	...
//	out.Wait() // when no call is under way any more
package sending

import (
	"context"
	"sync"
	"time"

	"google.golang.org/grpc/codes"

	v1 "turnwright/api/turnwright/v1"
	"turnwright/server/fail"
)

// patience is how long a client may take for one message.
const patience = 30 * time.Second

// Sender sends for the streams of one service. Its methods may be called from any
// goroutine.
type Sender struct {
	// ErrStopping is for calls that end as the server stops.
	ErrStopping error

	slow     error
	stopping <-chan struct{}
	left     sync.WaitGroup
}

// New makes a sender. Sending ends when stopping is closed. advice is what a client does
// whose stream ended before its end.
func New(stopping <-chan struct{}, advice string) *Sender {
	return &Sender{
		ErrStopping: fail.With(codes.Unavailable, v1.ErrorReason_ERROR_REASON_STOPPING,
			"the server is stopping: "+advice+" when it is back"),
		slow: fail.With(codes.Aborted, v1.ErrorReason_ERROR_REASON_SLOW_READER,
			"what was sent was not read in time: "+advice),
		stopping: stopping,
	}
}

// Send sends one message. A send that takes too long is left behind and ends when its
// call does: until Wait has returned, the message must not be changed.
func (s *Sender) Send(ctx context.Context, send func() error) error {
	sent := make(chan error, 1)
	s.Go(func() { sent <- send() })
	slow := time.NewTimer(patience)
	defer slow.Stop()
	select {
	case err := <-sent:
		return err
	case <-slow.C:
		return s.slow
	case <-s.stopping:
		return s.ErrStopping
	case <-ctx.Done():
		return ctx.Err()
	}
}

// During gives the context that a call works with. It ends with the call, with cancel, or
// when the server stops; its cause is then ErrStopping.
func (s *Sender) During(ctx context.Context) (during context.Context, cancel context.CancelCauseFunc) {
	during, cancel = context.WithCancelCause(ctx)
	s.Go(func() {
		select {
		case <-s.stopping:
			cancel(s.ErrStopping)
		case <-during.Done():
		}
	})
	return during, cancel
}

// Go has Wait wait for work that ends with its call.
func (s *Sender) Go(work func()) { s.left.Go(work) }

// Wait waits for what calls left behind. No call may be under way.
func (s *Sender) Wait() { s.left.Wait() }
