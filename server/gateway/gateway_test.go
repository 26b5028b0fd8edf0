package gateway_test

import (
	"bufio"
	"context"
	"encoding/json"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"
	"go.yaml.in/yaml/v3"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/peer"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"
	"google.golang.org/protobuf/types/known/durationpb"

	v1 "turnwright/api/turnwright/v1"
	"turnwright/server/gateway"
	"turnwright/server/port"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// recorder is a gRPC server that remembers calls and refuses most.
type recorder struct {
	v1.UnimplementedFindingServiceServer
	v1.UnimplementedPuzzleServiceServer

	method string
	md     metadata.MD
	caller *peer.Peer
	answer error
	left   chan struct{} // where it is not nil, streams stay open, and tell when their client has left
}

func (r *recorder) note(ctx context.Context, method string) {
	r.method = method
	r.md, _ = metadata.FromIncomingContext(ctx)
	r.caller, _ = peer.FromContext(gateway.Caller(ctx))
}

func (r *recorder) GetPuzzle(_ context.Context, req *v1.GetPuzzleRequest) (*v1.GetPuzzleResponse, error) {
	return &v1.GetPuzzleResponse{Puzzle: &v1.Puzzle{Name: req.GetName()}}, r.answer
}

func (r *recorder) StreamFindings(_ *v1.StreamFindingsRequest, s grpc.ServerStreamingServer[v1.StreamFindingsResponse]) error {
	for _, cursor := range []string{"one", "two"} {
		if err := s.Send(&v1.StreamFindingsResponse{Cursor: cursor}); err != nil {
			return err
		}
	}
	if r.left != nil {
		<-s.Context().Done()
		close(r.left)
	}
	return r.answer
}

// start gives a recorder and the address of its gateway, which is loopback.
func start(t *testing.T) (*recorder, string) {
	r := &recorder{answer: nil}
	pipe := gateway.NewPipe()
	g := grpc.NewServer(
		grpc.Creds(gateway.Credentials(port.Credentials())),
		grpc.UnaryInterceptor(func(ctx context.Context, req any, info *grpc.UnaryServerInfo, next grpc.UnaryHandler) (any, error) {
			r.note(ctx, info.FullMethod)
			return next(ctx, req)
		}),
		grpc.StreamInterceptor(func(srv any, s grpc.ServerStream, info *grpc.StreamServerInfo, next grpc.StreamHandler) error {
			r.note(s.Context(), info.FullMethod)
			return next(srv, s)
		}),
		grpc.UnknownServiceHandler(func(any, grpc.ServerStream) error {
			return status.Error(codes.Unimplemented, "only noted")
		}),
	)
	v1.RegisterFindingServiceServer(g, r)
	v1.RegisterPuzzleServiceServer(g, r)
	served := make(chan error, 1)
	go func() { served <- g.Serve(pipe) }()
	gate, err := gateway.New(pipe, gateway.Pages{
		Metrics: http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { _, _ = io.WriteString(w, "figures") }),
		Ready:   func(context.Context) error { return r.answer },
		People:  http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { _, _ = io.WriteString(w, "a page") }),
	})
	require.NoError(t, err)
	web := httptest.NewServer(gate)
	t.Cleanup(func() {
		web.Close()
		require.NoError(t, gate.Close())
		g.Stop()
		require.NoError(t, <-served)
	})
	return r, web.URL
}

func do(t *testing.T, method, url, body string, headers ...string) (*http.Response, string) {
	t.Helper()
	req, err := http.NewRequestWithContext(t.Context(), method, url, strings.NewReader(body))
	require.NoError(t, err)
	if method == http.MethodPost {
		req.Header.Set("Content-Type", "application/json")
	}
	for i := 0; i < len(headers); i += 2 {
		req.Header.Set(headers[i], headers[i+1])
		if headers[i] == "Host" {
			req.Host = headers[i+1]
		}
	}
	resp, err := http.DefaultTransport.RoundTrip(req)
	require.NoError(t, err)
	read, err := io.ReadAll(resp.Body)
	require.NoError(t, err)
	require.NoError(t, resp.Body.Close())
	return resp, string(read)
}

// Every call of the API has a place in proto/rest.yaml, and is reached there.
func TestEveryCallHasItsPath(t *testing.T) {
	text, err := os.ReadFile("../../proto/rest.yaml")
	require.NoError(t, err)
	var table struct {
		HTTP struct {
			Rules []map[string]string `yaml:"rules"`
		} `yaml:"http"`
	}
	require.NoError(t, yaml.Unmarshal(text, &table))
	rules := map[string]map[string]string{}
	for _, rule := range table.HTTP.Rules {
		assert.NotContains(t, rules, rule["selector"])
		rules[rule["selector"]] = rule
	}
	r, url := start(t)
	variable := regexp.MustCompile(`\{[\w.]+=([^}]*)\}`)
	protoregistry.GlobalFiles.RangeFilesByPackage("turnwright.v1", func(file protoreflect.FileDescriptor) bool {
		for i := range file.Services().Len() {
			methods := file.Services().Get(i).Methods()
			for j := range methods.Len() {
				name := string(methods.Get(j).FullName())
				rule, ok := rules[name]
				if !assert.True(t, ok, "%s has no path in proto/rest.yaml", name) {
					continue
				}
				delete(rules, name)
				for verb, path := range rule {
					if verb == "selector" || verb == "body" {
						continue
					}
					path = strings.ReplaceAll(variable.ReplaceAllString(path, "$1"), "*", "x")
					body := ""
					if verb == "post" {
						body = "{}"
					}
					r.method = ""
					do(t, strings.ToUpper(verb), url+path, body)
					service, method := name[:strings.LastIndexByte(name, '.')], name[strings.LastIndexByte(name, '.')+1:]
					assert.Equal(t, "/"+service+"/"+method, r.method, "%s %s; is it among the gateway's services?", verb, path)
				}
			}
		}
		return true
	})
	assert.Empty(t, rules, "paths of calls that there are not")
}

func TestAStreamIsLines(t *testing.T) {
	r, url := start(t)
	resp, body := do(t, "GET", url+"/v1/searches/x/findings:stream", "")
	assert.Equal(t, "application/x-ndjson", resp.Header.Get("Content-Type"))
	assert.Equal(t, []string{"one", "two"}, cursors(t, body))

	r.answer = status.Error(codes.Aborted, "too slow")
	_, body = do(t, "GET", url+"/v1/searches/x/findings:stream", "")
	lines := strings.Split(strings.TrimSpace(body), "\n")
	require.Len(t, lines, 3)
	var last struct{ Error struct{ Code, Message any } }
	require.NoError(t, json.Unmarshal([]byte(lines[2]), &last))
	assert.EqualValues(t, codes.Aborted, last.Error.Code)
	assert.Equal(t, "too slow", last.Error.Message)
}

func TestAStreamEndsWithItsClient(t *testing.T) {
	r, url := start(t)
	r.left = make(chan struct{})
	resp, err := http.Get(url + "/v1/searches/x/findings:stream")
	require.NoError(t, err)
	_, err = bufio.NewReader(resp.Body).ReadString('\n')
	require.NoError(t, err)
	require.NoError(t, resp.Body.Close())
	<-r.left
}

func cursors(t *testing.T, body string) (out []string) {
	for lines := bufio.NewScanner(strings.NewReader(body)); lines.Scan(); {
		var event struct{ Result struct{ Cursor string } }
		require.NoError(t, json.Unmarshal(lines.Bytes(), &event))
		out = append(out, event.Result.Cursor)
	}
	return out
}

func TestRefusals(t *testing.T) {
	_, url := start(t)
	local := strings.TrimPrefix(url, "http://")
	get, post := "GET", "POST"
	for name, c := range map[string]struct {
		method, path, body string
		headers            []string
		code               int
	}{
		"as it should be":             {get, "/v1/puzzles/x", "", nil, 200},
		"by name":                     {get, "/v1/puzzles/x", "", []string{"Host", "localhost:" + local[strings.LastIndexByte(local, ':')+1:]}, 200},
		"on its own page":             {get, "/v1/puzzles/x", "", []string{"Sec-Fetch-Site", "same-origin", "Origin", url}, 200},
		"typed in":                    {get, "/v1/puzzles/x", "", []string{"Sec-Fetch-Site", "none"}, 200},
		"a link from another site":    {get, "/", "", []string{"Sec-Fetch-Site", "cross-site"}, 200},
		"a part of the page, there":   {get, "/page/app.js", "", []string{"Sec-Fetch-Site", "cross-site"}, 403},
		"a page of another site":      {get, "/v1/puzzles/x", "", []string{"Sec-Fetch-Site", "cross-site"}, 403},
		"of another port":             {get, "/v1/puzzles/x", "", []string{"Sec-Fetch-Site", "same-site"}, 403},
		"in an old browser":           {get, "/v1/puzzles/x", "", []string{"Origin", "http://elsewhere.example"}, 403},
		"of no origin":                {get, "/v1/puzzles/x", "", []string{"Origin", "null"}, 403},
		"a name bent to loopback":     {get, "/v1/puzzles/x", "", []string{"Host", "elsewhere.example"}, 403},
		"a form":                      {post, "/v1/searches", "a=b", []string{"Content-Type", "text/plain"}, 415},
		"a form, as browsers send it": {post, "/v1/searches", "a=b", []string{"Content-Type", "application/x-www-form-urlencoded"}, 415},
		"JSON with a charset":         {post, "/v1/searches", "{}", []string{"Content-Type", "application/json; charset=utf-8"}, 501},
		"no JSON":                     {post, "/v1/searches", "{", nil, 400},
		"a field that is not there":   {post, "/v1/searches", `{"serach": {}}`, nil, 400},
		"too much":                    {post, "/v1/searches", `{"searchId": "` + strings.Repeat("x", gateway.MaxBody) + `"}`, nil, 413},
		"a body where none goes":      {"DELETE", "/v1/searches/x", "{}", nil, 400},
		"no such path":                {get, "/v2/searches", "", nil, 404},
		"another method":              {"PUT", "/v1/searches", "", nil, 405},
		"a method in disguise":        {post, "/v1/searches/x", "{}", []string{"X-HTTP-Method-Override", "DELETE"}, 405},
		"a bad page size":             {get, "/v1/searches?page_size=many", "", nil, 400},
	} {
		resp, body := do(t, c.method, url+c.path, c.body, c.headers...)
		assert.Equal(t, c.code, resp.StatusCode, "%s: %s", name, body)
		assert.NotEmpty(t, resp.Header.Get("X-Request-Id"), name)
		assert.Empty(t, resp.Header.Get("Access-Control-Allow-Origin"), name)
		if c.code == 200 || c.code == 501 {
			continue
		}
		var st struct {
			Code    int
			Message string
			Details []struct{ Reason, Domain string }
		}
		require.NoError(t, json.Unmarshal([]byte(body), &st), "%s: %s", name, body)
		assert.NotZero(t, st.Code, name)
		assert.NotEmpty(t, st.Message, name)
		require.Len(t, st.Details, 1, name)
		assert.Equal(t, "HTTP_REFUSED", st.Details[0].Reason, name)
	}
}

func TestAnErrorKeepsItsDetails(t *testing.T) {
	r, url := start(t)
	limited, err := status.New(codes.ResourceExhausted, "too often").WithDetails(
		&errdetails.ErrorInfo{Reason: "RATE", Domain: "turnwright"},
		&errdetails.RetryInfo{RetryDelay: durationpb.New(1500 * time.Millisecond)})
	require.NoError(t, err)
	r.answer = limited.Err()
	resp, body := do(t, "GET", url+"/v1/puzzles/x", "")
	assert.Equal(t, http.StatusTooManyRequests, resp.StatusCode)
	assert.Equal(t, "2", resp.Header.Get("Retry-After"))
	assert.Contains(t, body, `"reason":"RATE"`)
	assert.Contains(t, body, `"@type":"type.googleapis.com/google.rpc.RetryInfo"`)

	r.answer = status.Error(codes.Unauthenticated, "who are you?")
	resp, _ = do(t, "GET", url+"/v1/puzzles/x", "")
	assert.Equal(t, http.StatusUnauthorized, resp.StatusCode)
	assert.Equal(t, "Bearer", resp.Header.Get("WWW-Authenticate"))
}

// What the gateway says of the caller is believed, what anyone else says is not.
func TestWhoCalls(t *testing.T) {
	r, url := start(t)
	_, _ = do(t, "GET", url+"/v1/puzzles/x", "",
		"Authorization", "Bearer token", "X-Request-Id", "my-id",
		"Turnwright-Remote", "https 192.0.2.1:1", "Grpc-Metadata-Turnwright-Remote", "https 192.0.2.1:1",
		"X-Forwarded-For", "192.0.2.1", "Grpc-Metadata-Authorization", "Bearer other")
	require.NotNil(t, r.caller)
	address, ok := r.caller.Addr.(*net.TCPAddr)
	require.True(t, ok)
	assert.True(t, address.IP.IsLoopback())
	assert.NotEqual(t, "tls", r.caller.AuthInfo.AuthType())
	assert.Equal(t, []string{"Bearer token"}, r.md.Get("authorization"))
	assert.Equal(t, []string{"my-id"}, r.md.Get("x-request-id"))

	direct := metadata.NewIncomingContext(
		peer.NewContext(t.Context(), &peer.Peer{Addr: &net.TCPAddr{IP: net.IPv4(198, 51, 100, 7)}}),
		metadata.Pairs("turnwright-remote", "https 127.0.0.1:1"))
	p, ok := peer.FromContext(gateway.Caller(direct))
	require.True(t, ok)
	assert.Equal(t, "198.51.100.7:0", p.Addr.String())
	assert.Nil(t, p.AuthInfo)
}

func TestARequestOverTLSIsKnownAsSuch(t *testing.T) {
	creds := gateway.Credentials(insecure.NewCredentials())
	pipe := gateway.NewPipe()
	defer pipe.Close()
	go func() {
		if conn, err := pipe.DialContext(t.Context()); err == nil {
			conn.Close()
		}
	}()
	conn, err := pipe.Accept()
	require.NoError(t, err)
	defer conn.Close()
	_, info, err := creds.ServerHandshake(conn)
	require.NoError(t, err)
	for said, want := range map[string]struct {
		address string
		tls     bool
	}{
		"https 192.0.2.9:99": {"192.0.2.9:99", true},
		"http [::1]:5":       {"[::1]:5", false},
		"http @":             {"unknown", false},
		"":                   {"unknown", false},
	} {
		ctx := metadata.NewIncomingContext(
			peer.NewContext(t.Context(), &peer.Peer{Addr: conn.RemoteAddr(), AuthInfo: info}),
			metadata.Pairs("turnwright-remote", said))
		p, ok := peer.FromContext(gateway.Caller(ctx))
		require.True(t, ok)
		assert.Equal(t, want.address, p.Addr.String(), said)
		_, secure := p.AuthInfo.(credentials.TLSInfo)
		assert.Equal(t, want.tls, secure, said)
	}
}

func TestPagesForMachines(t *testing.T) {
	r, url := start(t)
	for path, want := range map[string]string{"/healthz": "ok\n", "/readyz": "ready\n"} {
		resp, body := do(t, "GET", url+path, "")
		assert.Equal(t, http.StatusOK, resp.StatusCode)
		assert.Equal(t, want, body)
	}
	_, body := do(t, "GET", url+"/openapi.json", "")
	var document struct{ Paths map[string]any }
	require.NoError(t, json.Unmarshal([]byte(body), &document))
	assert.Contains(t, document.Paths, "/v1/status")

	// Figures are for those who may see the status: here nobody may.
	resp, body := do(t, "GET", url+"/metrics", "")
	assert.Equal(t, http.StatusNotImplemented, resp.StatusCode)
	assert.NotContains(t, body, "figures")
	assert.Equal(t, v1.StatusService_GetStatus_FullMethodName, r.method)

	r.answer = assert.AnError
	resp, _ = do(t, "GET", url+"/readyz", "")
	assert.Equal(t, http.StatusServiceUnavailable, resp.StatusCode)
}
