package access

import (
	"context"
	"fmt"
	"log/slog"
	"net"
	"net/netip"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/peer"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"

	v1 "turnwright/api/turnwright/v1"
	"turnwright/storage"
)

// A new call must get a row before anybody can make it, and rows must not outlive
// their calls.
func TestEveryCallHasARow(t *testing.T) {
	var all []string
	for _, name := range []protoreflect.FullName{"turnwright.v1", "grpc.health.v1", "grpc.reflection.v1", "grpc.reflection.v1alpha"} {
		protoregistry.GlobalFiles.RangeFilesByPackage(name, func(file protoreflect.FileDescriptor) bool {
			for i := range file.Services().Len() {
				service := file.Services().Get(i)
				for j := range service.Methods().Len() {
					all = append(all, fmt.Sprintf("/%s/%s", service.FullName(), service.Methods().Get(j).Name()))
				}
			}
			return true
		})
	}
	require.Contains(t, all, v1.SearchService_CancelSearch_FullMethodName)
	for _, method := range all {
		assert.NotZero(t, table[method], "%s has no row in the table", method)
	}
	for method := range table {
		assert.Contains(t, all, method, "there is no such call")
	}
}

func from(ctx context.Context, address net.Addr, pairs ...string) context.Context {
	ctx = peer.NewContext(ctx, &peer.Peer{Addr: address})
	return metadata.NewIncomingContext(ctx, metadata.Pairs(pairs...))
}

func tcp(text string) net.Addr { return net.TCPAddrFromAddrPort(netip.MustParseAddrPort(text)) }

func TestFromPeer(t *testing.T) {
	for _, c := range []struct {
		what  string
		addr  net.Addr
		pairs []string
		want  string // none where empty
	}{
		{"a connection", tcp("192.0.2.7:5000"), nil, "192.0.2.7"},
		{"IPv4 in IPv6", tcp("[::ffff:127.0.0.1]:5000"), nil, "127.0.0.1"},
		{"IPv6", tcp("[2001:db8::1]:5000"), nil, "2001:db8::1"},
		{"with a zone", tcp("[fe80::1%eth0]:5000"), nil, "fe80::1"},
		{"a socket named like an address", &net.UnixAddr{Name: "127.0.0.1:1", Net: "unix"}, nil, ""},
	} {
		t.Run(c.what, func(t *testing.T) {
			got, ok := FromPeer(from(t.Context(), c.addr, c.pairs...))
			require.Equal(t, c.want != "", ok)
			if ok {
				assert.Equal(t, c.want, got.String())
			}
		})
	}
	_, ok := FromPeer(t.Context())
	assert.False(t, ok)
}

// fakeStore knows one token for each role, and one that has expired.
type fakeStore struct {
	tokens map[[32]byte]storage.Token
	roles  map[string]storage.Role
	used   int
	acts   []storage.AuditEntry
}

func newStore() *fakeStore {
	s := &fakeStore{tokens: map[[32]byte]storage.Token{}, roles: map[string]storage.Role{
		"anna": storage.RoleMember, "olga": storage.RoleOrganiser, "work": storage.RoleWorker,
	}}
	for id := range s.roles {
		s.tokens[Hash("of-"+id)] = storage.Token{ID: "t", Member: id, Expires: time.Now().Add(time.Hour)}
	}
	s.tokens[Hash("old")] = storage.Token{ID: "t", Member: "anna", Expires: time.Now()}
	return s
}

func (s *fakeStore) TokenByHash(_ context.Context, hash [32]byte) (storage.Token, storage.Member, error) {
	t, ok := s.tokens[hash]
	if !ok {
		return t, storage.Member{}, storage.ErrNotFound
	}
	return t, storage.Member{ID: t.Member, Role: s.roles[t.Member]}, nil
}

func (s *fakeStore) TokenUsed(_ context.Context, hash [32]byte) error {
	s.used++
	t := s.tokens[hash]
	t.Used = time.Now()
	s.tokens[hash] = t
	return nil
}

func (s *fakeStore) Audit(_ context.Context, e storage.AuditEntry) error {
	s.acts = append(s.acts, e)
	return nil
}

func reason(err error) string {
	for _, d := range status.Convert(err).Details() {
		if info, ok := d.(*errdetails.ErrorInfo); ok {
			return info.GetReason()
		}
	}
	return ""
}

func TestWhoIsLetIn(t *testing.T) {
	const (
		list   = v1.SearchService_ListSearches_FullMethodName
		create = v1.MemberService_CreateMember_FullMethodName
		who    = v1.MemberService_GetCaller_FullMethodName
		health = "/grpc.health.v1.Health/Check"
	)
	here, there := tcp("127.0.0.1:9"), tcp("192.0.2.7:9")
	bearer := func(token string) []string { return []string{"authorization", "Bearer " + token} }
	for _, c := range []struct {
		what    string
		require bool
		addr    net.Addr
		pairs   []string
		method  string
		role    Role   // where it is let in
		reason  string // where it is not
	}{
		{"loopback", false, here, nil, create, Local, ""},
		{"loopback where tokens are required", true, here, nil, create, 0, "TOKEN_MISSING"},
		{"elsewhere", false, there, nil, list, 0, "TOKEN_MISSING"},
		{"elsewhere, asking for health", true, there, nil, health, Nobody, ""},
		{"a member", false, there, bearer("of-anna"), list, Member, ""},
		{"the scheme in other letters", false, there, []string{"authorization", "bearer of-anna"}, list, Member, ""},
		{"a member over loopback is no organiser", false, here, bearer("of-anna"), create, 0, "NOT_ALLOWED"},
		{"an organiser", true, there, bearer("of-olga"), create, Organiser, ""},
		{"a worker", false, there, bearer("of-work"), who, Worker, ""},
		{"a worker that asks", false, there, bearer("of-work"), list, 0, "NOT_ALLOWED"},
		{"a wrong token, also over loopback", false, here, bearer("of-annb"), list, 0, "TOKEN_REFUSED"},
		{"a wrong token, also for health", false, here, bearer("of-annb"), health, 0, "TOKEN_REFUSED"},
		{"an expired token", false, there, bearer("old"), list, 0, "TOKEN_REFUSED"},
		{"no token", false, here, bearer(""), list, 0, "TOKEN_REFUSED"},
		{"another scheme", false, here, []string{"authorization", "Basic of-anna"}, list, 0, "TOKEN_REFUSED"},
		{"no scheme", false, here, []string{"authorization", "of-anna"}, list, 0, "TOKEN_REFUSED"},
		{"two tokens", false, here, append(bearer("of-anna"), bearer("of-olga")...), list, 0, "TOKEN_REFUSED"},
		{"a token like a book", false, here, bearer(fmt.Sprintf("%09999d", 0)), list, 0, "TOKEN_REFUSED"},
		{"a call without a row", false, here, nil, "/turnwright.v1.SearchService/Unheard", 0, "NOT_ALLOWED"},
		{"a call without a row by an organiser", false, here, bearer("of-olga"), "/turnwright.v1.SearchService/Unheard", 0, "NOT_ALLOWED"},
	} {
		t.Run(c.what, func(t *testing.T) {
			g := NewGuard(newStore(), Options{RequireTokens: c.require}, slog.New(slog.DiscardHandler))
			var got Caller
			called := false
			_, err := g.Unary(from(t.Context(), c.addr, c.pairs...), nil, &grpc.UnaryServerInfo{FullMethod: c.method},
				func(ctx context.Context, _ any) (any, error) {
					called, got = true, From(ctx)
					return nil, nil
				})
			assert.Equal(t, c.reason, reason(err))
			assert.Equal(t, c.reason == "", called)
			assert.Equal(t, c.role, got.Role)
			assert.Equal(t, c.role == Member, got.MaxSearches > 0, "only members have a limit")
		})
	}
}

// Whatever comes as authorization, it lets in whom the token belongs to, or nobody.
func FuzzAuthorization(f *testing.F) {
	for _, seed := range []string{"Bearer of-anna", "bearer  of-olga ", "Bearer old", "Bearer", "Basic x", "\x00", "Bearer of-anna,of-olga"} {
		f.Add(seed)
	}
	store := newStore()
	f.Fuzz(func(t *testing.T, header string) {
		g := NewGuard(store, Options{}, slog.New(slog.DiscardHandler))
		c, err := g.identify(from(t.Context(), tcp("127.0.0.1:9"), "authorization", header))
		_, token, _ := strings.Cut(header, " ")
		owner, ok := strings.CutPrefix(strings.TrimSpace(token), "of-")
		if err == nil && (!ok || owner != c.ID || store.roles[owner] == "") {
			t.Fatalf("%q lets in %q", header, c.ID)
		}
	})
}

func TestCallsOfOneCallerAreLimited(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		g := NewGuard(newStore(), Options{Rate: 2}, slog.New(slog.DiscardHandler))
		call := func(address, token string) error {
			var pairs []string
			if token != "" {
				pairs = []string{"authorization", "Bearer " + token}
			}
			_, err := g.admit(from(t.Context(), tcp(address), pairs...), v1.MemberService_GetCaller_FullMethodName)
			return err
		}
		const here, there, next = "127.0.0.1:1", "[2001:db8::1]:1", "[2001:db8::2]:1"
		for range 20 {
			require.NoError(t, call(there, "of-anna"))
		}
		err := call(here, "of-anna")
		assert.Equal(t, codes.ResourceExhausted, status.Code(err))
		assert.Equal(t, "RATE_LIMITED", reason(err))
		delay := status.Convert(err).Details()[1].(*errdetails.RetryInfo).GetRetryDelay().AsDuration()
		assert.Equal(t, 500*time.Millisecond, delay)
		require.NoError(t, call(there, "of-olga"), "others go on")
		time.Sleep(delay)
		require.NoError(t, call(there, "of-anna"))
		assert.Equal(t, "RATE_LIMITED", reason(call(there, "of-anna")))

		for range 2 {
			assert.Equal(t, "TOKEN_REFUSED", reason(call(there, "guess")))
		}
		assert.Equal(t, "RATE_LIMITED", reason(call(next, "another guess")), "a stranger has a whole /64")
		assert.Equal(t, "TOKEN_REFUSED", reason(call("[2001:db8:0:1::1]:1", "guess")))
		for range 100 {
			require.NoError(t, call(here, ""), "the local organiser has no limit")
		}
	})
}

func TestRatesRememberABoundedNumber(t *testing.T) {
	var r rates
	for i := range 5 * maxRates {
		r.wait(fmt.Sprint(i), 1, 1)
		if i%100 == 0 {
			// Who calls all the time is not forgotten.
			assert.Equal(t, i > 0, r.wait("busy", 0.0001, 1) > 0)
		}
	}
	assert.LessOrEqual(t, len(r.now)+len(r.old), 2*maxRates)
}

// fakeStream takes whatever is sent.
type fakeStream struct {
	grpc.ServerStream
	ctx  context.Context
	sent int
}

func (s *fakeStream) Context() context.Context { return s.ctx }
func (s *fakeStream) SendMsg(any) error        { s.sent++; return nil }
func (s *fakeStream) RecvMsg(any) error        { return nil }

func TestAStreamEndsWithItsToken(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		store := newStore()
		g := NewGuard(store, Options{}, slog.New(slog.DiscardHandler))
		under := &fakeStream{ctx: from(t.Context(), tcp("192.0.2.7:9"), "authorization", "Bearer of-anna")}
		err := g.Stream(nil, under, &grpc.StreamServerInfo{FullMethod: v1.FindingService_StreamFindings_FullMethodName},
			func(_ any, s grpc.ServerStream) error {
				assert.Equal(t, "anna", From(s.Context()).ID)
				time.Sleep(time.Minute)
				require.NoError(t, s.SendMsg(nil))
				delete(store.tokens, Hash("of-anna"))
				require.NoError(t, s.SendMsg(nil), "it was looked at just now")
				time.Sleep(recheck)
				assert.Equal(t, "TOKEN_REFUSED", reason(s.RecvMsg(nil)))
				return s.SendMsg(nil)
			})
		assert.Equal(t, "TOKEN_REFUSED", reason(err))
		assert.Equal(t, 2, under.sent)
	})
}

func TestTheUseOfATokenIsNotedNowAndThen(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		store := newStore()
		g := NewGuard(store, Options{}, slog.New(slog.DiscardHandler))
		for range 100 {
			_, err := g.admit(from(t.Context(), tcp("192.0.2.7:9"), "authorization", "Bearer of-anna"), v1.MemberService_GetCaller_FullMethodName)
			require.NoError(t, err)
			time.Sleep(12 * time.Second) // twenty minutes in all
		}
		assert.Equal(t, 2, store.used)
	})
}

func TestAudit(t *testing.T) {
	store := newStore()
	g := NewGuard(store, Options{}, slog.New(slog.DiscardHandler))
	ctx, err := g.admit(from(t.Context(), tcp("127.0.0.1:1")), v1.MemberService_DeleteMember_FullMethodName)
	require.NoError(t, err)
	gone, cancel := context.WithCancel(ctx)
	cancel()
	Audit(gone, "delete member", "members/anna", "why not")
	Audit(t.Context(), "nobody knows who", "", "")
	assert.Equal(t, []storage.AuditEntry{{Who: "local", Act: "delete member", Target: "members/anna", Details: "why not"}}, store.acts)
}

func TestIDs(t *testing.T) {
	for id, fine := range map[string]bool{
		"anna": true, "a": true, "anna-2": true, "me": false, "local": false, "": false, "Anna": false, "2": false, "a-": false, "a/b": false, "ä": false,
	} {
		assert.Equal(t, fine, ValidID(id), id)
	}
	ctx := With(t.Context(), Caller{ID: "anna"})
	for name, want := range map[string]string{
		"members/bert": "bert", "members/me": "anna", "members/local": "local", "members/": "", "bert": "", "members/a/tokens/b": "",
	} {
		got, err := MemberID(ctx, "name", name)
		assert.Equal(t, want, got, name)
		assert.Equal(t, want == "", err != nil, name)
	}
	for name, want := range map[string][]string{
		"members/me/tokens/x1": {"anna", "x1"}, "members/bert/tokens/x1": {"bert", "x1"},
		"members/bert/tokens/": nil, "members/bert/tokens/X": nil, "members//tokens/x": nil, "members/bert": nil,
	} {
		member, token, err := TokenID(ctx, "name", name)
		if want == nil {
			assert.Error(t, err, name)
			continue
		}
		assert.True(t, slices.Equal(want, []string{member, token}), name)
	}
}
