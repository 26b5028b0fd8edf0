package access

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"log/slog"
	"net/netip"
	"strings"
	"sync"
	"time"

	"golang.org/x/time/rate"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"

	v1 "turnwright/api/turnwright/v1"
	"turnwright/server/fail"
	"turnwright/storage"
)

// Store is what the guard needs of storage.
type Store interface {
	TokenByHash(ctx context.Context, hash [32]byte) (storage.Token, storage.Member, error)
	TokenUsed(ctx context.Context, hash [32]byte) error
	Audit(ctx context.Context, e storage.AuditEntry) error
}

// Options say whom a guard lets in, and how much they may do. Zero values take the
// defaults.
type Options struct {
	RequireTokens bool // also over loopback

	MaxSearches int     // of one member that wait or work at once; 1,000 by default
	MaxMemory   int64   // bytes for tables that a search of a member may use; the server's own limit by default
	Rate        float64 // calls of one caller in a second; 50 by default. Workers may call twenty times as often, strangers a tenth
}

func (o Options) withDefaults() Options {
	if o.MaxSearches == 0 {
		o.MaxSearches = 1000
	}
	if o.Rate == 0 {
		o.Rate = 50
	}
	return o
}

// How often what is not in a hurry is looked at.
const (
	noteUse = 10 * time.Minute // that a token was used is written down so often
	recheck = 30 * time.Second // whether a stream's token still counts
	burst   = 10               // seconds of calls that may come at once
)

// Guard lets calls in.
type Guard struct {
	store Store
	opt   Options
	log   *slog.Logger
	rates rates
}

// NewGuard makes a guard.
func NewGuard(store Store, opt Options, log *slog.Logger) *Guard {
	return &Guard{store: store, opt: opt.withDefaults(), log: log}
}

// Unary is the interceptor for calls with one answer.
func (g *Guard) Unary(ctx context.Context, req any, info *grpc.UnaryServerInfo, handler grpc.UnaryHandler) (any, error) {
	ctx, err := g.admit(ctx, info.FullMethod)
	if err != nil {
		return nil, err
	}
	return handler(ctx, req)
}

// Stream is the interceptor for streams. A stream whose token stops counting ends
// with the next message, at most half a minute later.
func (g *Guard) Stream(srv any, s grpc.ServerStream, info *grpc.StreamServerInfo, handler grpc.StreamHandler) error {
	ctx, err := g.admit(s.Context(), info.FullMethod)
	if err != nil {
		return err
	}
	return handler(srv, &stream{ServerStream: s, ctx: ctx, guard: g, checked: time.Now()})
}

// admit finds out who calls and whether they may.
func (g *Guard) admit(ctx context.Context, method string) (context.Context, error) {
	caller, err := g.identify(ctx)
	if delay := g.delay(ctx, caller); delay > 0 {
		return nil, fail.TooOften(delay)
	}
	if err != nil {
		return nil, err
	}
	switch rule := table[method]; {
	case rule.allows(caller.Role):
		return context.WithValue(ctx, callKey{}, call{caller, trail{g.store, g.log}}), nil
	case caller.Role == Nobody:
		return nil, fail.With(codes.Unauthenticated, v1.ErrorReason_ERROR_REASON_TOKEN_MISSING,
			"a token is needed here: ask an organiser for one, and send it with each call")
	}
	g.log.Info("a call is not allowed", "method", method, "who", caller.ID, "role", caller.Role.String())
	return nil, NotAllowed(caller, "this call")
}

// NotAllowed is the error for what the caller's role does not allow.
func NotAllowed(c Caller, what string) error {
	return fail.With(codes.PermissionDenied, v1.ErrorReason_ERROR_REASON_NOT_ALLOWED,
		fmt.Sprintf("%s is not for the role %q: ask an organiser", what, c.Role), "role", c.Role.String())
}

// identify finds out who calls. Where that fails, the caller is nobody.
func (g *Guard) identify(ctx context.Context) (Caller, error) {
	switch said := metadata.ValueFromIncomingContext(ctx, "authorization"); len(said) {
	case 0:
		if addr, ok := FromPeer(ctx); ok && addr.IsLoopback() && !g.opt.RequireTokens {
			return Caller{ID: LocalID, Role: Local}, nil
		}
		return Caller{}, nil
	case 1:
		return g.bearer(ctx, said[0])
	}
	return Caller{}, refused("more than one token came with the call")
}

// maxHeader bounds what is hashed.
const maxHeader = 256

func (g *Guard) bearer(ctx context.Context, header string) (Caller, error) {
	scheme, token, ok := strings.Cut(header, " ")
	if !ok || !strings.EqualFold(scheme, "bearer") || len(header) > maxHeader {
		return Caller{}, refused("the authorization is not of the form \"Bearer TOKEN\"")
	}
	hash := Hash(strings.TrimSpace(token))
	t, m, err := g.store.TokenByHash(ctx, hash)
	if errors.Is(err, storage.ErrNotFound) {
		return Caller{}, refused("the token is none of this server's, or was revoked: ask an organiser for another")
	}
	if err != nil {
		return Caller{}, err
	}
	now := time.Now()
	if !now.Before(t.Expires) {
		return Caller{}, refused(fmt.Sprintf("the token expired on %s: ask an organiser for another", t.Expires.Format(time.DateOnly)))
	}
	if now.Sub(t.Used) >= noteUse {
		if err := g.store.TokenUsed(ctx, hash); err != nil {
			g.log.Warn("the use of a token could not be noted", "who", m.ID, "error", err)
		}
	}
	c := Caller{ID: m.ID, Role: roles[m.Role], Token: t.ID, Expires: t.Expires}
	if c.Role == Member {
		c.MaxSearches, c.MaxMemory = g.opt.MaxSearches, g.opt.MaxMemory
	}
	return c, nil
}

func refused(message string) error {
	return fail.With(codes.Unauthenticated, v1.ErrorReason_ERROR_REASON_TOKEN_REFUSED, message)
}

// Hash is what is kept of a token. Tokens are random, so a fast hash does.
func Hash(token string) [32]byte { return sha256.Sum256([]byte(token)) }

// delay is how long the caller should have waited. Strangers, and those whose token
// is refused, are told apart by where they call from.
func (g *Guard) delay(ctx context.Context, c Caller) time.Duration {
	who, limit := "m/"+c.ID, g.opt.Rate
	switch c.Role {
	case Local:
		return 0
	case Worker:
		limit *= 20
	case Nobody:
		addr, _ := FromPeer(ctx)
		who, limit = "a/"+neighbourhood(addr), limit/10
	}
	return g.rates.wait(who, rate.Limit(limit), max(1, int(burst*limit)))
}

// neighbourhood is what one stranger can hold: an address, or a whole /64.
func neighbourhood(addr netip.Addr) string {
	if addr.Is6() {
		if p, err := addr.Prefix(64); err == nil {
			return p.String()
		}
	}
	return addr.String()
}

// stream is a stream with the caller in its context.
type stream struct {
	grpc.ServerStream
	ctx   context.Context
	guard *Guard

	mu      sync.Mutex
	checked time.Time
}

func (s *stream) Context() context.Context { return s.ctx }

func (s *stream) SendMsg(m any) error {
	if err := s.check(); err != nil {
		return err
	}
	return s.ServerStream.SendMsg(m)
}

func (s *stream) RecvMsg(m any) error {
	if err := s.ServerStream.RecvMsg(m); err != nil {
		return err
	}
	return s.check()
}

// check asks now and then whether the caller is still who they were.
func (s *stream) check() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if time.Since(s.checked) < recheck {
		return nil
	}
	if _, err := s.guard.identify(s.ctx); err != nil {
		return err
	}
	s.checked = time.Now()
	return nil
}
