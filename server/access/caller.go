// Package access says who is calling and what they may do.
//
// The one idea: every call passes a [Guard] before any service sees it. It finds out
// who calls, by the token that came with the call or because it came over loopback;
// holds that against one table of methods and roles; and puts the [Caller] into the
// context. What is not in the table nobody may call.
//
//	guard := access.NewGuard(store, access.Options{}, log)
//	g := grpc.NewServer(grpc.ChainUnaryInterceptor(guard.Unary), grpc.ChainStreamInterceptor(guard.Stream))
//	...
//	caller := access.From(ctx) // in a service
//	access.Audit(ctx, "delete member", "members/anna", "")
//
// Whether a search is the caller's own, the store finds out in the transaction that
// changes it (storage.Request.Only).
package access

import (
	"context"
	"time"

	"turnwright/storage"
)

// Role is what a caller may do.
type Role int

// The roles, as the table of methods names them.
const (
	Nobody    Role = iota // no token, and not over loopback
	Member                // asks, and changes what is theirs
	Organiser             // changes everything
	Worker                // works for the server
	Local                 // over loopback without a token: organiser and worker at once
)

func (r Role) String() string {
	return [...]string{"nobody", "member", "organiser", "worker", "local organiser"}[r]
}

// LocalID is the id of the local organiser. No member can have it.
const LocalID = "local"

var roles = map[storage.Role]Role{
	storage.RoleMember: Member, storage.RoleOrganiser: Organiser, storage.RoleWorker: Worker,
}

// Caller is who made a call.
type Caller struct {
	ID      string // of the member; empty for nobody
	Role    Role
	Token   string    // id of the token that came with the call; empty where none did
	Expires time.Time // when that token does

	MaxSearches int   // of theirs that wait or work at once; 0 for any number
	MaxMemory   int64 // bytes for tables that a search of theirs may use; 0 for as many as the server has
}

// Organises tells whether the caller may change what is another's.
func (c Caller) Organises() bool { return c.Role == Organiser || c.Role == Local }

// call is what the guard knows of a call that it let in.
type call struct {
	caller Caller
	trail  trail
}

type callKey struct{}

// From gives the caller; nobody where no guard let the call in.
func From(ctx context.Context) Caller {
	c, _ := ctx.Value(callKey{}).(call)
	return c.caller
}

// With is a context with that caller, for tests of services by themselves.
func With(ctx context.Context, c Caller) context.Context {
	return context.WithValue(ctx, callKey{}, call{caller: c})
}
