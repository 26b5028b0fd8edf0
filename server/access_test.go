package server_test

import (
	"bytes"
	"context"
	"crypto/tls"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"slices"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"
	reflectionv1 "google.golang.org/grpc/reflection/grpc_reflection_v1"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"

	"turnwright/api/client"
	v1 "turnwright/api/turnwright/v1"
	"turnwright/server"
	"turnwright/server/access"
	"turnwright/server/certificate"
)

// club is a server that takes TLS and tokens, with a client for each role.
type club struct {
	address     string
	fingerprint string
	secrets     map[string]string // by member
	log         *lines            // what the server logs, all of it
	as          map[string]*client.Client
}

// lines is a log that may be read while it is written.
type lines struct {
	mu   sync.Mutex
	text bytes.Buffer
}

func (l *lines) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.text.Write(p)
}

func (l *lines) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.text.String()
}

// who are the clients of a club. Nobody has no token, a stranger one that was revoked.
var who = []string{"nobody", "stranger", "anna", "bert", "olga", "mill"}

// startClub makes members on loopback, then serves the directory with TLS and tokens.
func startClub(t *testing.T, permit access.Options) *club {
	t.Helper()
	ctx := t.Context()
	dir := t.TempDir()
	c := &club{log: &lines{}, secrets: map[string]string{"nobody": ""}, as: map[string]*client.Client{}}

	local := start(t, dir)
	members := v1.NewMemberServiceClient(local.conn)
	for _, m := range []struct {
		id   string
		role v1.Role
	}{
		{"anna", v1.Role_ROLE_MEMBER}, {"bert", v1.Role_ROLE_MEMBER}, {"olga", v1.Role_ROLE_ORGANISER},
		{"mill", v1.Role_ROLE_WORKER}, {"stranger", v1.Role_ROLE_ORGANISER},
	} {
		_, err := members.CreateMember(ctx, &v1.CreateMemberRequest{Member: &v1.Member{Role: m.role}, MemberId: m.id, RequestId: "create-" + m.id})
		require.NoError(t, err)
		token, err := members.CreateToken(ctx, &v1.CreateTokenRequest{Parent: "members/" + m.id, RequestId: "token-" + m.id})
		require.NoError(t, err)
		require.GreaterOrEqual(t, len(token.GetSecret()), 26, "128 bits and more in base 32")
		c.secrets[m.id] = token.GetSecret()
		if m.id == "stranger" {
			_, err := members.RevokeToken(ctx, &v1.RevokeTokenRequest{Name: token.GetToken().GetName(), RequestId: "revoke"})
			require.NoError(t, err)
		}
	}
	local.stop()

	cert, err := certificate.SelfSigned(t.TempDir())
	require.NoError(t, err)
	c.fingerprint = certificate.Fingerprint(cert)
	permit.RequireTokens = true
	s, err := server.New(server.Options{
		DataDir: dir, Workers: 1, Memory: 64 << 20, Access: permit,
		Logger: slog.New(slog.NewTextHandler(c.log, &slog.HandlerOptions{Level: slog.LevelDebug})),
		TLS:    &tls.Config{Certificates: []tls.Certificate{cert}},
	})
	require.NoError(t, err)
	lis, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	serving, stop := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- s.Serve(serving, lis) }()
	c.address = lis.Addr().String()
	t.Cleanup(func() {
		for _, one := range c.as {
			require.NoError(t, one.Close())
		}
		stop()
		require.NoError(t, <-done)
		require.NoError(t, s.Close())
	})
	for _, id := range who {
		c.as[id], err = client.Open(client.Server{Address: c.address, Token: c.secrets[id], Fingerprint: c.fingerprint})
		require.NoError(t, err)
	}
	return c
}

const (
	unauthenticated = codes.Unauthenticated
	denied          = codes.PermissionDenied
	bad             = codes.InvalidArgument
	none            = codes.NotFound
)

// Who may make which call, by what comes of it when it asks nothing: U for
// UNAUTHENTICATED, P for PERMISSION_DENIED, + for being let in; for nobody, a
// stranger, a member, an organiser and a worker.
var mayCall = map[string]string{
	"turnwright.v1.PuzzleService/ListPuzzles":  "UU++P",
	"turnwright.v1.PuzzleService/GetPuzzle":    "UU++P",
	"turnwright.v1.PuzzleService/DefinePuzzle": "UU++P",

	"turnwright.v1.EffectService/DescribeSequence":    "UU++P",
	"turnwright.v1.EffectService/ExplainSequence":     "UU++P",
	"turnwright.v1.DrawService/DrawPuzzle":            "UU++P",
	"turnwright.v1.DrawService/DrawSheet":             "UU++P",
	"turnwright.v1.DrawService/GetModel":              "UU++P",
	"turnwright.v1.DrawService/TraceSequence":         "UU++P",
	"turnwright.v1.CommutatorService/IsolatePieces":   "UU++P",
	"turnwright.v1.CommutatorService/ListCommutators": "UU++P",

	"turnwright.v1.SearchService/CreateSearch":     "UU++P",
	"turnwright.v1.SearchService/GetSearch":        "UU++P",
	"turnwright.v1.SearchService/ListSearches":     "UU++P",
	"turnwright.v1.SearchService/CancelSearch":     "UU++P",
	"turnwright.v1.SearchService/PauseSearch":      "UU++P",
	"turnwright.v1.SearchService/ResumeSearch":     "UU++P",
	"turnwright.v1.SearchService/RescheduleSearch": "UU++P",
	"turnwright.v1.SearchService/DeleteSearch":     "UU++P",

	"turnwright.v1.FindingService/ListFindings":      "UU++P",
	"turnwright.v1.FindingService/StreamFindings":    "UU++P",
	"turnwright.v1.CoverageService/GetCoverage":      "UU++P",
	"turnwright.v1.CoverageService/ListCoverageRows": "UU++P",
	"turnwright.v1.FitService/FitSequences":          "UU++P",
	"turnwright.v1.InsertionService/InsertSequences": "UU++P",
	"turnwright.v1.InsertionService/JoinFindings":    "UU++P",
	"turnwright.v1.StudyService/StudySolution":       "UU++P",
	"turnwright.v1.StudyService/ShowBaseline":        "UU++P",
	"turnwright.v1.StudyService/CompareSolutions":    "UU++P",

	"turnwright.v1.WorkerService/LeaseUnit":     "UUPP+",
	"turnwright.v1.WorkerService/SendHeartbeat": "UUPP+",
	"turnwright.v1.WorkerService/ReportUnit":    "UUPP+",
	"turnwright.v1.WorkerService/FailUnit":      "UUPP+",
	"turnwright.v1.WorkerService/ReturnUnit":    "UUPP+",
	"turnwright.v1.WorkerService/LocateTable":   "UUPP+",
	"turnwright.v1.WorkerService/ReadTable":     "UUPP+",
	"turnwright.v1.WorkerService/ListWorkers":   "UU++P",
	"turnwright.v1.WorkerService/DrainWorker":   "UUP+P",

	"turnwright.v1.StatusService/GetStatus":      "UU++P",
	"turnwright.v1.AdministrationService/Backup": "UUP+P",
	"turnwright.v1.AdministrationService/Check":  "UUP+P",

	"turnwright.v1.MemberService/GetCaller":        "UU+++",
	"turnwright.v1.MemberService/CreateMember":     "UUP+P",
	"turnwright.v1.MemberService/GetMember":        "UUP+P",
	"turnwright.v1.MemberService/ListMembers":      "UUP+P",
	"turnwright.v1.MemberService/DeleteMember":     "UUP+P",
	"turnwright.v1.MemberService/CreateToken":      "UUP+P",
	"turnwright.v1.MemberService/ListTokens":       "UU+++",
	"turnwright.v1.MemberService/RevokeToken":      "UU+++",
	"turnwright.v1.MemberService/ListAuditEntries": "UUP+P",

	"turnwright.v1.RoundService/CreateRound":       "UUP+P",
	"turnwright.v1.RoundService/GetRound":          "UU++P",
	"turnwright.v1.RoundService/ListRounds":        "UU++P",
	"turnwright.v1.RoundService/UpdateRound":       "UUP+P",
	"turnwright.v1.RoundService/CloseRound":        "UUP+P",
	"turnwright.v1.RoundService/ShowScramble":      "UU++P",
	"turnwright.v1.RoundService/SubmitEntry":       "UU++P",
	"turnwright.v1.RoundService/GetEntry":          "UU++P",
	"turnwright.v1.RoundService/ListEntries":       "UU++P",
	"turnwright.v1.RoundService/CorrectEntry":      "UUP+P",
	"turnwright.v1.RoundService/GetStandings":      "UU++P",
	"turnwright.v1.RoundService/ListRecords":       "UU++P",
	"turnwright.v1.RoundService/VerifyRound":       "UU++P",
	"turnwright.v1.RoundService/ListScrambleViews": "UU++P",

	"grpc.health.v1.Health/Check": "+U+++",
	"grpc.health.v1.Health/List":  "+U+++",
	"grpc.health.v1.Health/Watch": "+U+++",

	"grpc.reflection.v1.ServerReflection/ServerReflectionInfo":      "UU++P",
	"grpc.reflection.v1alpha.ServerReflection/ServerReflectionInfo": "UU++P",
}

// Every call that the server has registered, by every role.
func TestEveryCallByEveryRole(t *testing.T) {
	c := startClub(t, access.Options{Rate: 1e6})
	methods := c.methods(t)
	for method := range mayCall {
		assert.Contains(t, methods, method, "there is no such call any more")
	}
	for name, method := range methods {
		want := mayCall[name]
		if !assert.Len(t, want, 5, "say in mayCall who may call %s", name) {
			continue
		}
		for i, id := range []string{"nobody", "stranger", "anna", "olga", "mill"} {
			got := "+"
			switch code := c.ask(t, id, name, method); code {
			case unauthenticated:
				got = "U"
			case denied:
				got = "P"
			case codes.Unimplemented, codes.Internal, codes.Unknown:
				t.Errorf("%s by %s: %v", name, id, code)
			}
			assert.Equal(t, want[i:i+1], got, "%s by %s", name, id)
		}
	}
}

// methods lists the calls that the server has, by name.
func (c *club) methods(t *testing.T) map[string]protoreflect.MethodDescriptor {
	t.Helper()
	conn := c.dial(t, "olga")
	info, err := reflectionv1.NewServerReflectionClient(conn).ServerReflectionInfo(t.Context())
	require.NoError(t, err)
	require.NoError(t, info.Send(&reflectionv1.ServerReflectionRequest{
		MessageRequest: &reflectionv1.ServerReflectionRequest_ListServices{ListServices: "*"},
	}))
	reply, err := info.Recv()
	require.NoError(t, err)
	require.NoError(t, info.CloseSend())
	_, err = info.Recv()
	require.Error(t, err)
	all := map[string]protoreflect.MethodDescriptor{}
	for _, service := range reply.GetListServicesResponse().GetService() {
		d, err := protoregistry.GlobalFiles.FindDescriptorByName(protoreflect.FullName(service.GetName()))
		require.NoError(t, err)
		for methods, i := d.(protoreflect.ServiceDescriptor).Methods(), 0; i < methods.Len(); i++ {
			all[fmt.Sprintf("%s/%s", service.GetName(), methods.Get(i).Name())] = methods.Get(i)
		}
	}
	return all
}

// dial is a bare connection, for calls that no stub has.
func (c *club) dial(t *testing.T, id string) *grpc.ClientConn {
	t.Helper()
	options, err := client.Server{Address: c.address, Token: c.secrets[id], Fingerprint: c.fingerprint}.Credentials()
	require.NoError(t, err)
	conn, err := grpc.NewClient(c.address, options...)
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, conn.Close()) })
	return conn
}

// ask makes a call with an empty request and gives the code of its first answer.
func (c *club) ask(t *testing.T, id, name string, method protoreflect.MethodDescriptor) codes.Code {
	t.Helper()
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	message := func(d protoreflect.MessageDescriptor) proto.Message {
		kind, err := protoregistry.GlobalTypes.FindMessageByName(d.FullName())
		require.NoError(t, err)
		return kind.New().Interface()
	}
	conn := c.dial(t, id)
	in, out := message(method.Input()), message(method.Output())
	if !method.IsStreamingClient() && !method.IsStreamingServer() {
		return status.Code(conn.Invoke(ctx, "/"+name, in, out))
	}
	stream, err := conn.NewStream(ctx, &grpc.StreamDesc{ClientStreams: method.IsStreamingClient(), ServerStreams: true}, "/"+name)
	require.NoError(t, err)
	_ = stream.SendMsg(in) // what it says is what RecvMsg says
	_ = stream.CloseSend()
	return status.Code(stream.RecvMsg(out))
}

// What is another member's.
func TestMembersChangeOnlyWhatIsTheirs(t *testing.T) {
	c := startClub(t, access.Options{Rate: 1e6})
	ctx := t.Context()
	const ghost = "searches/ghost"
	n := 0
	request := func() string { n++; return fmt.Sprint("request-", n) }
	asking := "" // who makes the call that a search is created for
	search := func(owner string, ended bool) string {
		if asking == "nobody" || asking == "stranger" || asking == "mill" {
			return ghost // they are refused before anybody looks whether it is there
		}
		created, err := c.as[owner].Searches.CreateSearch(ctx, &v1.CreateSearchRequest{Search: edges(9), RequestId: request()})
		require.NoError(t, err)
		assert.Equal(t, "members/"+owner, created.GetSearch().GetOwner())
		name := created.GetSearch().GetName()
		if ended {
			_, err := c.as[owner].Searches.CancelSearch(ctx, &v1.CancelSearchRequest{Name: name, RequestId: request()})
			require.NoError(t, err)
		}
		return name
	}
	tokens, err := c.as["olga"].Members.ListTokens(ctx, &v1.ListTokensRequest{Parent: "members/anna"})
	require.NoError(t, err)
	annas := tokens.GetTokens()[0].GetName()
	type by map[string]codes.Code
	all := func(code codes.Code) by {
		out := by{}
		for _, id := range who[2:] {
			out[id] = code
		}
		return out
	}
	for _, row := range []struct {
		what  string
		codes by // the others' are the same for all: who has no token is UNAUTHENTICATED, workers are denied
		call  func(c *client.Client) error
	}{
		{"get a search", by{"anna": 0, "bert": 0, "olga": 0}, func(c *client.Client) error {
			_, err := c.Searches.GetSearch(ctx, &v1.GetSearchRequest{Name: search("anna", true)})
			return err
		}},
		{"cancel", by{"anna": 0, "bert": denied, "olga": 0}, func(c *client.Client) error {
			_, err := c.Searches.CancelSearch(ctx, &v1.CancelSearchRequest{Name: search("anna", false), RequestId: request()})
			return unlessEnded(err)
		}},
		{"cancel what has ended", by{"anna": 0, "bert": denied, "olga": 0}, func(c *client.Client) error {
			_, err := c.Searches.CancelSearch(ctx, &v1.CancelSearchRequest{Name: search("anna", true), RequestId: request()})
			return err
		}},
		{"cancel an organiser's", by{"anna": denied, "bert": denied, "olga": 0}, func(c *client.Client) error {
			_, err := c.Searches.CancelSearch(ctx, &v1.CancelSearchRequest{Name: search("olga", false), RequestId: request()})
			return err
		}},
		{"cancel what is not there", by{"anna": none, "bert": none, "olga": none}, func(c *client.Client) error {
			_, err := c.Searches.CancelSearch(ctx, &v1.CancelSearchRequest{Name: ghost, RequestId: request()})
			return err
		}},
		{"pause", by{"anna": 0, "bert": denied, "olga": 0}, func(c *client.Client) error {
			_, err := c.Searches.PauseSearch(ctx, &v1.PauseSearchRequest{Name: search("anna", false), RequestId: request()})
			return unlessEnded(err)
		}},
		{"resume", by{"anna": 0, "bert": denied, "olga": 0}, func(c *client.Client) error {
			_, err := c.Searches.ResumeSearch(ctx, &v1.ResumeSearchRequest{Name: search("anna", false), RequestId: request()})
			return unlessEnded(err)
		}},
		{"reschedule", by{"anna": 0, "bert": denied, "olga": 0}, func(c *client.Client) error {
			_, err := c.Searches.RescheduleSearch(ctx, &v1.RescheduleSearchRequest{Name: search("anna", false), Priority: proto.Int32(3), RequestId: request()})
			return unlessEnded(err)
		}},
		{"delete", by{"anna": 0, "bert": denied, "olga": 0}, func(c *client.Client) error {
			_, err := c.Searches.DeleteSearch(ctx, &v1.DeleteSearchRequest{Name: search("anna", true), RequestId: request()})
			return err
		}},
		{"list tokens", by{"anna": 0, "bert": denied, "olga": 0}, func(c *client.Client) error {
			_, err := c.Members.ListTokens(ctx, &v1.ListTokensRequest{Parent: "members/anna"})
			return err
		}},
		{"list tokens of a member that is not there", by{"anna": denied, "bert": denied, "olga": none}, func(c *client.Client) error {
			_, err := c.Members.ListTokens(ctx, &v1.ListTokensRequest{Parent: "members/ghost"})
			return err
		}},
		{"list one's own tokens", by{"anna": 0, "bert": 0, "olga": 0, "mill": 0}, func(c *client.Client) error {
			_, err := c.Members.ListTokens(ctx, &v1.ListTokensRequest{Parent: "members/me"})
			return err
		}},
		{"revoke a token that is not there", by{"anna": none, "bert": denied, "olga": none}, func(c *client.Client) error {
			_, err := c.Members.RevokeToken(ctx, &v1.RevokeTokenRequest{Name: "members/anna/tokens/ghost", RequestId: request()})
			return err
		}},
		{"revoke a token of no form", all(bad), func(c *client.Client) error {
			_, err := c.Members.RevokeToken(ctx, &v1.RevokeTokenRequest{Name: annas + "/more", RequestId: request()})
			return err
		}},
		{"get a member that is not there", by{"anna": denied, "bert": denied, "olga": none}, func(c *client.Client) error {
			_, err := c.Members.GetMember(ctx, &v1.GetMemberRequest{Name: "members/ghost"})
			return err
		}},
		{"forge a page token", by{"anna": bad, "bert": bad, "olga": bad}, func(c *client.Client) error {
			_, err := c.Searches.ListSearches(ctx, &v1.ListSearchesRequest{PageToken: strings.Repeat("A", 40)})
			return err
		}},
		{"forge a page token of the audit log", by{"anna": denied, "bert": denied, "olga": bad}, func(c *client.Client) error {
			_, err := c.Members.ListAuditEntries(ctx, &v1.ListAuditEntriesRequest{PageToken: strings.Repeat("A", 40)})
			return err
		}},
		{"ask for the searches of no member", by{"anna": bad, "bert": bad, "olga": bad}, func(c *client.Client) error {
			_, err := c.Searches.ListSearches(ctx, &v1.ListSearchesRequest{Owner: "anna"})
			return err
		}},
		{"become an organiser", by{"anna": denied, "bert": denied, "olga": bad}, func(c *client.Client) error {
			_, err := c.Members.CreateMember(ctx, &v1.CreateMemberRequest{Member: &v1.Member{Role: v1.Role_ROLE_ORGANISER}, MemberId: "local", RequestId: request()})
			return err
		}},
		{"take a member's name", by{"anna": denied, "bert": denied, "olga": codes.AlreadyExists}, func(c *client.Client) error {
			_, err := c.Members.CreateMember(ctx, &v1.CreateMemberRequest{Member: &v1.Member{Role: v1.Role_ROLE_MEMBER}, MemberId: "anna", RequestId: request()})
			return err
		}},
		{"make a token for oneself", by{"anna": denied, "bert": denied, "olga": 0}, func(c *client.Client) error {
			_, err := c.Members.CreateToken(ctx, &v1.CreateTokenRequest{Parent: "members/me", RequestId: request()})
			return err
		}},
		{"revoke a token", by{"bert": denied, "olga": 0}, func(c *client.Client) error {
			_, err := c.Members.RevokeToken(ctx, &v1.RevokeTokenRequest{Name: annas, RequestId: request()})
			return err
		}},
		{"come in with a token that was revoked just now", by{"anna": unauthenticated, "bert": 0, "olga": 0, "mill": 0}, func(c *client.Client) error {
			_, err := c.Members.GetCaller(ctx, &v1.GetCallerRequest{})
			return err
		}},
	} {
		for _, id := range who {
			want, said := row.codes[id]
			switch {
			case id == "nobody" || id == "stranger":
				want = unauthenticated
			case !said && id == "mill":
				want = denied
			case !said:
				continue
			}
			asking = id
			assert.Equal(t, want, status.Code(row.call(c.as[id])), "%s: %s", id, row.what)
		}
	}
	acts, err := client.Collect(c.as["olga"].AllAuditEntries(ctx))
	require.NoError(t, err)
	var texts []string
	for _, a := range acts {
		assert.Contains(t, []string{"members/local", "members/olga"}, a.GetMember(), "what is one's own, or was refused, is no administrative act")
		texts = append(texts, fmt.Sprint(a.GetMember(), " ", a.GetAct(), " ", a.GetTarget(), " ", a.GetDetails()))
	}
	slices.Reverse(texts)
	text := strings.Join(texts, "\n")
	for _, want := range []string{
		"members/local create member members/anna as member",
		"members/local create token members/anna/tokens/",
		"members/olga cancel search searches/",
		"members/olga delete search searches/",
		"members/olga revoke token " + annas,
	} {
		assert.Contains(t, text, want)
	}
	for _, secret := range c.secrets {
		if secret != "" {
			assert.NotContains(t, text, secret)
		}
	}
}

// unlessEnded is the error, but for a search that came to its end meanwhile: then its
// caller was let in.
func unlessEnded(err error) error {
	if status.Code(err) == codes.FailedPrecondition {
		return nil
	}
	return err
}

func TestWhatMembersSeeOfOneAnother(t *testing.T) {
	c := startClub(t, access.Options{Rate: 1e6, MaxSearches: 2, MaxMemory: 1 << 20})
	ctx := t.Context()
	create := func(id, name string, memory int64) error {
		s := edges(9)
		s.MemoryBytes = memory
		_, err := c.as[id].Searches.CreateSearch(ctx, &v1.CreateSearchRequest{Search: s, SearchId: name, RequestId: "same"})
		return err
	}
	require.NoError(t, create("anna", "anna-1", 0))
	require.NoError(t, create("bert", "bert-1", 0), "request ids of two members do not meet")
	got, err := c.as["bert"].Searches.GetSearch(ctx, &v1.GetSearchRequest{Name: "searches/anna-1"})
	require.NoError(t, err)
	assert.EqualValues(t, 1<<20, got.GetSearch().GetMemoryBytes(), "the most that a member may use")
	assertRefused(t, create("anna", "big", 1<<21), codes.ResourceExhausted, "MEMORY_LIMIT", "allows 1048576")
	another := func(id, name string) error {
		_, err := c.as[id].Searches.CreateSearch(ctx, &v1.CreateSearchRequest{Search: edges(9), SearchId: name, RequestId: name})
		return err
	}
	require.NoError(t, another("anna", "anna-2"))
	assertRefused(t, another("anna", "anna-3"), codes.ResourceExhausted, "QUEUE_FULL", "2 searches of one member")
	for i := range 3 {
		require.NoError(t, another("olga", fmt.Sprint("olga-", i)), "an organiser has no limit of their own")
	}

	names := func(id, owner string, size int32, token string) (out []string, next string) {
		page, err := c.as[id].Searches.ListSearches(ctx, &v1.ListSearchesRequest{Owner: owner, PageSize: size, PageToken: token})
		require.NoError(t, err)
		for _, s := range page.GetSearches() {
			out = append(out, client.ID(s.GetName()))
		}
		return out, page.GetNextPageToken()
	}
	all, _ := names("bert", "", 0, "")
	assert.Len(t, all, 6)
	mine, next := names("anna", "members/me", 1, "")
	assert.Equal(t, []string{"anna-2"}, mine)
	mine, _ = names("anna", "members/anna", 1, next)
	assert.Equal(t, []string{"anna-1"}, mine)
	_, err = c.as["anna"].Searches.ListSearches(ctx, &v1.ListSearchesRequest{Owner: "members/bert", PageToken: next})
	assertRefused(t, err, bad, "PAGE_TOKEN_INVALID", "page token")

	me, err := c.as["mill"].Members.GetCaller(ctx, &v1.GetCallerRequest{})
	require.NoError(t, err)
	assert.Equal(t, "members/mill", me.GetMember())
	assert.Equal(t, v1.Role_ROLE_WORKER, me.GetRole())
	assert.True(t, strings.HasPrefix(me.GetToken(), "members/mill/tokens/"))

	// A repeat of a request for a token does not show it again.
	ask := &v1.CreateTokenRequest{Parent: "members/bert", RequestId: "bert-again"}
	first, err := c.as["olga"].Members.CreateToken(ctx, ask)
	require.NoError(t, err)
	again, err := c.as["olga"].Members.CreateToken(ctx, ask)
	require.NoError(t, err)
	assert.Empty(t, again.GetSecret())
	assert.Equal(t, first.GetToken().GetName(), again.GetToken().GetName())

	_, err = c.as["olga"].Members.DeleteMember(ctx, &v1.DeleteMemberRequest{Name: "members/olga", RequestId: "delete-olga"})
	assertRefused(t, err, codes.PermissionDenied, "NOT_ALLOWED", "ask another one")

	// A deleted member is out at once; the searches stay.
	_, err = c.as["olga"].Members.DeleteMember(ctx, &v1.DeleteMemberRequest{Name: "members/bert", RequestId: "delete-bert"})
	require.NoError(t, err)
	_, err = c.as["bert"].Members.GetCaller(ctx, &v1.GetCallerRequest{})
	assertRefused(t, err, unauthenticated, "TOKEN_REFUSED", "revoked")
	bert, _ := names("anna", "members/bert", 0, "")
	assert.Equal(t, []string{"bert-1"}, bert)
	_, err = c.as["olga"].Members.CreateMember(ctx, &v1.CreateMemberRequest{Member: &v1.Member{Role: v1.Role_ROLE_MEMBER}, MemberId: "bert", RequestId: "bert-2"})
	assertRefused(t, err, codes.AlreadyExists, "MEMBER_EXISTS", "or was")
}

func TestClientsKnowTheServerByItsCertificate(t *testing.T) {
	c := startClub(t, access.Options{})
	for _, s := range []client.Server{
		{Fingerprint: strings.Repeat("0", 64)},
		{}, // not encrypted
	} {
		s.Address, s.Token = c.address, c.secrets["anna"]
		wrong, err := client.Open(s)
		require.NoError(t, err)
		ctx, cancel := context.WithCancel(t.Context())
		_, err = wrong.Members.GetCaller(ctx, &v1.GetCallerRequest{})
		assert.Equal(t, codes.Unavailable, status.Code(err))
		cancel()
		require.NoError(t, wrong.Close())
	}
	// A second token beside the first is refused, not chosen from.
	ctx := metadata.AppendToOutgoingContext(t.Context(), "authorization", "Bearer "+c.secrets["olga"])
	_, err := c.as["anna"].Members.ListMembers(ctx, &v1.ListMembersRequest{})
	assert.Equal(t, unauthenticated, status.Code(err))
	// Only the gateway says where a call came from.
	ctx = metadata.AppendToOutgoingContext(t.Context(), "turnwright-remote", "http 127.0.0.1:1")
	_, err = c.as["nobody"].Members.ListMembers(ctx, &v1.ListMembersRequest{})
	assert.Equal(t, unauthenticated, status.Code(err))
}

// The same as JSON over HTTP: the token is the same header, and a caller over loopback
// is not taken for the gateway.
func TestTokensCountOverHTTPToo(t *testing.T) {
	c := startClub(t, access.Options{Rate: 1e6})
	transport := &http.Transport{TLSClientConfig: &tls.Config{InsecureSkipVerify: true}}
	defer transport.CloseIdleConnections()
	for _, row := range []struct {
		path string
		want map[string]int // by who asks
	}{
		{"/v1/searches", map[string]int{"nobody": 401, "stranger": 401, "anna": 200, "olga": 200, "mill": 403}},
		{"/v1/members", map[string]int{"nobody": 401, "stranger": 401, "anna": 403, "olga": 200, "mill": 403}},
		{"/v1/caller", map[string]int{"nobody": 401, "stranger": 401, "anna": 200, "olga": 200, "mill": 200}},
		{"/v1/members/anna/tokens", map[string]int{"nobody": 401, "anna": 200, "bert": 403, "olga": 200}},
		{"/metrics", map[string]int{"nobody": 401, "stranger": 401, "anna": 200, "mill": 403}},
		{"/healthz", map[string]int{"nobody": 200}},
	} {
		for id, want := range row.want {
			req, err := http.NewRequestWithContext(t.Context(), http.MethodGet, "https://"+c.address+row.path, nil)
			require.NoError(t, err)
			req.Header.Set("Turnwright-Remote", "http 127.0.0.1:1")
			req.Header.Set("X-Forwarded-For", "127.0.0.1")
			if c.secrets[id] != "" {
				req.Header.Set("Authorization", "Bearer "+c.secrets[id])
			}
			reply, err := (&http.Client{Transport: transport}).Do(req)
			require.NoError(t, err)
			require.NoError(t, reply.Body.Close())
			assert.Equal(t, want, reply.StatusCode, "%s by %s", row.path, id)
		}
	}
}

// elsewhere is a listener that seems to be reached from another host.
type elsewhere struct{ net.Listener }

func (elsewhere) Addr() net.Addr { return &net.TCPAddr{IP: net.IPv4(192, 0, 2, 1), Port: 7431} }

func TestOtherAddressesTakeBothTLSAndTokens(t *testing.T) {
	cert, err := certificate.SelfSigned(t.TempDir())
	require.NoError(t, err)
	dir := t.TempDir()
	serve := func(tls *tls.Config, required bool, wrap func(net.Listener) net.Listener) error {
		s, err := server.New(server.Options{DataDir: dir, Workers: 1, TLS: tls, Access: access.Options{RequireTokens: required}})
		require.NoError(t, err)
		lis, err := net.Listen("tcp", "127.0.0.1:0")
		require.NoError(t, err)
		ended, cancel := context.WithCancel(context.Background())
		if tls != nil && required { // only the last one gets far enough
			cancel()
		}
		defer cancel()
		err = s.Serve(ended, wrap(lis))
		require.NoError(t, s.Close())
		return err
	}
	out := func(l net.Listener) net.Listener { return elsewhere{l} }
	in := func(l net.Listener) net.Listener { return l }
	config := &tls.Config{Certificates: []tls.Certificate{cert}}
	assert.ErrorContains(t, serve(nil, false, out), "TLS certificate")
	assert.ErrorContains(t, serve(config, false, out), "no member has a token")
	assert.ErrorContains(t, serve(nil, true, in), "no member has a token")

	r := start(t, dir)
	members := v1.NewMemberServiceClient(r.conn)
	_, err = members.CreateMember(t.Context(), &v1.CreateMemberRequest{Member: &v1.Member{Role: v1.Role_ROLE_ORGANISER}, MemberId: "olga", RequestId: "1"})
	require.NoError(t, err)
	_, err = members.CreateToken(t.Context(), &v1.CreateTokenRequest{Parent: "members/olga", RequestId: "2"})
	require.NoError(t, err)
	r.stop()
	assert.ErrorContains(t, serve(nil, true, out), "TLS certificate")
	assert.NoError(t, serve(config, true, out))
}
