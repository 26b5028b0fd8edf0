// Package call gives every call an id, so that what a client saw and what the log
// says can be brought together.
//
//	ctx = call.Begin(ctx)
//	log.Error("…", "request", call.ID(ctx))
package call

import (
	"context"
	"crypto/rand"
	"regexp"

	"google.golang.org/grpc/metadata"
)

// Key is the metadata key, and the HTTP header, of ids.
const Key = "x-request-id"

type key struct{}

// wellFormed is what ids of clients must be like: they are copied into logs.
var wellFormed = regexp.MustCompile(`^[A-Za-z0-9._-]{1,64}$`)

// WellFormed tells whether an id of a client can be used.
func WellFormed(id string) bool { return wellFormed.MatchString(id) }

// New makes an id.
func New() string { return rand.Text() }

// Begin gives the call of ctx the id that its metadata bring, or a new one where
// they bring none, several, or one that is not well-formed.
func Begin(ctx context.Context) context.Context {
	id := ""
	if sent := metadata.ValueFromIncomingContext(ctx, Key); len(sent) == 1 && WellFormed(sent[0]) {
		id = sent[0]
	} else {
		id = New()
	}
	return context.WithValue(ctx, key{}, id)
}

// ID is the id of the call; empty outside of one.
func ID(ctx context.Context) string {
	id, _ := ctx.Value(key{}).(string)
	return id
}
