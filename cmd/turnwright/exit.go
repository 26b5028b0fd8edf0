package main

import (
	"context"
	"errors"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
)

// The exit statuses, as the help lists them.
const (
	exitOK        = 0
	exitOther     = 1
	exitUsage     = 2
	exitNotFound  = 3
	exitCancelled = 4
	exitDenied    = 5
)

var (
	errCancelled = errors.New("the search was cancelled")
	errUnwatched = errors.New("no longer watching: the search goes on")
	errUsage     = errors.New("bad input")
)

// usageError is bad input that the command finds out about by itself.
type usageError struct{ error }

func (usageError) Is(target error) bool { return target == errUsage }

func exitCode(err error) int {
	switch {
	case errors.Is(err, errUsage):
		return exitUsage
	case errors.Is(err, errCancelled), errors.Is(err, errUnwatched), errors.Is(err, context.Canceled):
		return exitCancelled
	}
	switch status.Code(err) {
	case codes.OK:
		return exitOK
	case codes.InvalidArgument, codes.AlreadyExists, codes.FailedPrecondition, codes.OutOfRange:
		return exitUsage
	case codes.NotFound:
		return exitNotFound
	case codes.Canceled:
		return exitCancelled
	case codes.Unauthenticated, codes.PermissionDenied:
		return exitDenied
	default:
		return exitOther
	}
}
