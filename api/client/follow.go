package client

import (
	"context"
	"errors"
	"fmt"
	"io"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	turnwrightv1 "turnwright/api/turnwright/v1"
)

// maxBroken is how often in a row a stream may break without an event between.
// With the pauses below that is about two minutes: time for a server to restart.
const maxBroken = 30

// Follow gives every event of the search to handle, from the one after the
// cursor on, until the search has ended and all its findings were sent; then it
// returns nil. An empty cursor means from the beginning.
//
// When the stream breaks, Follow goes on with the cursor of the last event that
// was handled without an error, so handle sees each finding once for each of its
// revisions. It gives up with the stream's error when the server stays away for
// about two minutes, and at once on an error that trying again can't cure or
// that handle returns.
func (c *Client) Follow(ctx context.Context, search, cursor string, handle func(*turnwrightv1.StreamFindingsResponse) error) error {
	for broken := 0; ; broken++ {
		heard, err := c.stream(ctx, search, &cursor, handle)
		var own handleError
		switch {
		case err == nil:
			return nil
		case errors.As(err, &own):
			return own.error
		case ctx.Err() != nil:
			return fmt.Errorf("follow %s: %w", search, ctx.Err())
		case !canResume(err):
			return err
		case heard: // not always anything new: the cursor may be the same
			broken = 0
		case broken == maxBroken:
			return fmt.Errorf("the server stays away: %w", err)
		}
		_ = sleep(ctx, min(100*time.Millisecond<<min(broken, 10), 5*time.Second)) // the next try tells of ctx
	}
}

// stream reads one stream to its end and moves the cursor along. It tells whether
// anything came.
func (c *Client) stream(ctx context.Context, search string, cursor *string, handle func(*turnwrightv1.StreamFindingsResponse) error) (heard bool, err error) {
	ctx, stop := context.WithCancel(ctx)
	defer stop() // frees the stream when handle fails
	events, err := c.Findings.StreamFindings(ctx, &turnwrightv1.StreamFindingsRequest{Parent: search, Cursor: *cursor})
	if err != nil {
		return false, err
	}
	for {
		event, err := events.Recv()
		if errors.Is(err, io.EOF) {
			return heard, nil
		}
		if err != nil {
			return heard, err
		}
		heard = true
		if err := handle(event); err != nil {
			return heard, handleError{err}
		}
		if event.GetCursor() != "" {
			*cursor = event.GetCursor()
		}
	}
}

// handleError keeps an error of the caller's own apart from those of the stream.
type handleError struct{ error }

func canResume(err error) bool {
	code := status.Code(err)
	return code == codes.Unavailable || code == codes.Aborted
}
