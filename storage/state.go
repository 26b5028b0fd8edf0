package storage

import "slices"

// State is where a search is in its life:
//
//	            ┌───────────── resume ─────────────┐
//	            ▼                                  │
//	create → QUEUED ──→ PREPARING ──→ RUNNING ──→ PAUSED
//	            │           │            │  │
//	            │           │            │  └──→ DONE
//	            └───────────┴────────────┴─────→ CANCELLED, FAILED
//
// QUEUED and PREPARING can be paused too, and PAUSED can be cancelled. DONE,
// CANCELLED and FAILED are the ends. A search that runs when its process dies is
// found RUNNING at the next start and goes on from its finished units.
type State string

// The states.
const (
	Queued    State = "QUEUED"
	Preparing State = "PREPARING"
	Running   State = "RUNNING"
	Paused    State = "PAUSED"
	Done      State = "DONE"
	Cancelled State = "CANCELLED"
	Failed    State = "FAILED"
)

// States are all states, as a search may come through them.
var States = []State{Queued, Preparing, Running, Paused, Done, Cancelled, Failed}

// transitions is the only place that says which state follows which.
var transitions = map[State][]State{
	Queued:    {Preparing, Paused, Cancelled, Failed},
	Preparing: {Running, Paused, Cancelled, Failed},
	Running:   {Done, Paused, Cancelled, Failed},
	Paused:    {Queued, Cancelled},
}

// Ended tells whether nothing can follow.
func (s State) Ended() bool { return len(transitions[s]) == 0 }

// CanBecome tells whether next may follow.
func (s State) CanBecome(next State) bool { return slices.Contains(transitions[s], next) }

// already tells whether who asks for a state has what they want, or all that can
// still be had of it.
func (s State) already(to State) bool {
	switch to {
	case Cancelled:
		return s.Ended()
	case Paused:
		return s == Paused
	case Queued:
		return s == Queued || s == Preparing || s == Running
	}
	return false
}

// takesUnits tells whether reports of units are still of use: a unit that was
// under way when its search was paused is finished work.
func (s State) takesUnits() bool { return s == Running || s == Paused }

// verb names the way into a state, for messages.
func (s State) verb() string {
	return map[State]string{
		Queued: "resume", Preparing: "prepare", Running: "run", Paused: "pause",
		Done: "finish", Cancelled: "cancel", Failed: "fail",
	}[s]
}
