package storage

import (
	"errors"
	"fmt"
	"strings"
)

// What a caller can tell apart with [errors.Is]. Messages are for people.
var (
	ErrNotFound      = errors.New("not found")
	ErrExists        = errors.New("already exists")
	ErrState         = errors.New("not possible in this state") // always as a [*StateError]
	ErrRequestReused = errors.New("request id was used for another request")
	ErrLimit         = errors.New("limit reached")
	ErrNotOwner      = errors.New("belongs to another member")
	ErrTooBig        = errors.New("too big to be stored")

	// ErrUnitMismatch: a unit was reported twice with different numbers. Units
	// are deterministic, so one of the two reports is wrong.
	ErrUnitMismatch = errors.New("unit reported twice with different results")
	// ErrPlanChanged: a length was begun twice with different plans, as happens
	// when another version of the engine goes on with a search.
	ErrPlanChanged = errors.New("the plan of this length is not the one it was begun with")

	// ErrUnitDone, ErrUnitAside: a unit can't be granted, as it is done, or was set
	// aside after too many failures.
	ErrUnitDone  = errors.New("unit is done already")
	ErrUnitAside = errors.New("unit was set aside")
	// ErrStale: the unit was granted anew, or given back, since this lease, or it is another's.
	ErrStale = errors.New("the lease is over")

	// ErrNotEligible: the member does not take part in the round.
	ErrNotEligible = errors.New("does not take part")
	// ErrNoAttempt: the round has no attempt of that number.
	ErrNoAttempt = errors.New("no such attempt")
	// ErrNotShown: the member has not been shown the scramble.
	ErrNotShown = errors.New("the scramble was not shown")
	// ErrTimeOver: the time for the attempt is over.
	ErrTimeOver = errors.New("the time is over")
	// ErrSealMissing: what is sealed can't be opened in this directory.
	ErrSealMissing = errors.New("its seal is not here: backups don't hold it; stop the server and copy the file \"seal\" of the directory that the round was made in, or call the round off")

	ErrMiss    = errors.New("table is not in the cache")
	ErrNoRoom  = errors.New("table is larger than the cache may be")
	ErrDiskLow = errors.New("not enough free disk space")
	ErrLocked  = errors.New("data directory is in use")
	ErrSchema  = errors.New("data directory was written by another version")

	// ErrRestoring: the data directory is not whole.
	ErrRestoring = errors.New("data directory is not restored yet")
)

// StateError tells which change of state a search refused.
type StateError struct {
	Search string
	Is     State
	Wanted string // what was asked for, as a verb: "cancel", "store a unit"
}

func (e *StateError) Error() string {
	return fmt.Sprintf("search %q is %s: can't %s", e.Search, strings.ToLower(string(e.Is)), e.Wanted)
}

// Unwrap makes every StateError match [ErrState].
func (e *StateError) Unwrap() error { return ErrState }
