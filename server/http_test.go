package server_test

import (
	"bufio"
	"bytes"
	"crypto/tls"
	"encoding/json"
	"io"
	"net/http"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"
	"google.golang.org/grpc/metadata"

	v1 "turnwright/api/turnwright/v1"
	"turnwright/server/access"
)

// ask sends a request and reads the answer as JSON, where answer is not nil.
func (r *running) ask(t *testing.T, method, path string, question, answer any) int {
	t.Helper()
	var body io.Reader
	if question != nil {
		text, err := json.Marshal(question)
		require.NoError(t, err)
		body = bytes.NewReader(text)
	}
	req, err := http.NewRequestWithContext(t.Context(), method, "http://"+r.address+path, body)
	require.NoError(t, err)
	req.Close = true
	req.Header.Set("Content-Type", "application/json")
	resp, err := http.DefaultClient.Do(req)
	require.NoError(t, err)
	defer resp.Body.Close()
	read, err := io.ReadAll(resp.Body)
	require.NoError(t, err)
	if text, ok := answer.(*string); ok {
		*text = string(read)
	} else if answer != nil {
		require.NoError(t, json.Unmarshal(read, answer), string(read))
	}
	return resp.StatusCode
}

type object = map[string]any

// A search from its submission to its last finding, with nothing but HTTP, on the
// port where gRPC is.
func TestASearchOverHTTP(t *testing.T) {
	r := start(t, t.TempDir())
	search := object{
		"search": object{
			"goal":      object{"puzzle": "puzzles/3x3x3", "cycle": "edge", "ignore": []string{"corner"}},
			"metric":    "METRIC_OBTM",
			"maxLength": 6,
		},
		"searchId": "street", "requestId": "once",
	}
	var created struct{ Search struct{ Name string } }
	require.Equal(t, http.StatusOK, r.ask(t, "POST", "/v1/searches", search, &created))
	assert.Equal(t, "searches/street", created.Search.Name)

	resp, err := http.Get("http://" + r.address + "/v1/searches/street/findings:stream")
	require.NoError(t, err)
	defer resp.Body.Close()
	var event struct {
		Result struct {
			Search  *struct{ State string }
			Finding *struct{ Name string }
		}
	}
	streamed, state := map[string]bool{}, ""
	for lines := bufio.NewScanner(resp.Body); lines.Scan(); {
		event.Result.Search, event.Result.Finding = nil, nil
		require.NoError(t, json.Unmarshal(lines.Bytes(), &event))
		if event.Result.Finding != nil {
			streamed[event.Result.Finding.Name] = true // better ones come later
		}
		if event.Result.Search != nil {
			state = event.Result.Search.State
		}
	}
	assert.Equal(t, "SEARCH_STATE_DONE", state)
	list, err := r.findings.ListFindings(t.Context(), &v1.ListFindingsRequest{Parent: "searches/street", PageSize: 1000})
	require.NoError(t, err)
	assert.NotEmpty(t, streamed)
	assert.Equal(t, len(list.GetFindings()), len(streamed))

	var effect struct{ Effect struct{ Order string } }
	require.Equal(t, http.StatusOK, r.ask(t, "POST", "/v1/puzzles/3x3x3:describe", object{"sequence": "R U"}, &effect))
	assert.Equal(t, "105", effect.Effect.Order) // common practice

	var refused struct {
		Code    int
		Details []object
	}
	search["search"].(object)["maxLength"] = 41
	require.Equal(t, http.StatusBadRequest, r.ask(t, "POST", "/v1/searches", search, &refused))
	assert.Equal(t, "FIELD_INVALID", refused.Details[0]["reason"])
	assert.Equal(t, "search.max_length", refused.Details[1]["fieldViolations"].([]any)[0].(object)["field"])
	require.Equal(t, http.StatusNotFound, r.ask(t, "GET", "/v1/searches/nowhere", nil, &refused))
	require.Equal(t, http.StatusOK, r.ask(t, "DELETE", "/v1/searches/street?request_id=gone", nil, nil))
}

func TestStatusAndMetricsTellTheSame(t *testing.T) {
	r := start(t, t.TempDir())
	r.finish(t, r.create(t, "edges", edges(6)))
	name := r.create(t, "night", endless())
	_, err := r.searches.PauseSearch(t.Context(), &v1.PauseSearchRequest{Name: name, RequestId: "pause"})
	require.NoError(t, err)

	said, err := v1.NewStatusServiceClient(r.conn).GetStatus(t.Context(), &v1.GetStatusRequest{})
	require.NoError(t, err)
	s := said.GetStatus()
	states := map[v1.SearchState]int64{}
	for _, c := range s.GetSearches() {
		states[c.GetState()] = c.GetSearches()
	}
	assert.Equal(t, map[v1.SearchState]int64{v1.SearchState_SEARCH_STATE_DONE: 1, v1.SearchState_SEARCH_STATE_PAUSED: 1}, states)
	assert.Equal(t, r.address, s.GetAddress())
	assert.EqualValues(t, 2, s.GetWorkers().GetEmbedded())
	// 18 + 243 + 3240 + 43254 + 577368 + 7706988: OEIS A333298
	assert.EqualValues(t, 8331111, s.GetWork().GetWordsCovered())
	assert.NotZero(t, s.GetWork().GetLeaves())
	assert.NotZero(t, s.GetWork().GetUnitsDone())
	assert.Zero(t, s.GetWork().GetUnitsMismatched())
	assert.NotZero(t, s.GetTableCache().GetMisses())
	assert.Positive(t, s.GetMemory().GetProcessBytes())
	assert.Positive(t, s.GetStorage().GetFreeBytes())
	assert.False(t, s.GetStorage().GetLow())

	var text string
	require.Equal(t, http.StatusOK, r.ask(t, "GET", "/metrics", nil, &text))
	for _, line := range []string{
		`turnwright_searches{state="DONE"} 1`,
		`turnwright_searches{state="PAUSED"} 1`,
		`turnwright_searches{state="QUEUED"} 0`,
		`turnwright_slots{worker="server"} 2`,
		`turnwright_words_covered_total 8.331111e+06`,
		`turnwright_units_total{outcome="mismatched"} 0`,
		`turnwright_disk_low 0`,
		`grpc_server_handled_total{grpc_code="OK",grpc_method="PauseSearch",grpc_service="turnwright.v1.SearchService",grpc_type="unary"} 1`,
		`turnwright_table_limit_bytes 6.7108864e+07`,
	} {
		assert.True(t, strings.Contains(text, "\n"+line+"\n"), line)
	}
	for _, name := range []string{"turnwright_storage_bytes", "go_goroutines", "process_resident_memory_bytes", "grpc_server_handling_seconds_bucket"} {
		assert.True(t, strings.Contains(text, "\n"+name), name)
	}
}

func TestHeadersAreBounded(t *testing.T) {
	r := start(t, t.TempDir())
	req, err := http.NewRequestWithContext(t.Context(), "GET", "http://"+r.address+"/healthz", nil)
	require.NoError(t, err)
	req.Close = true
	req.Header.Set("X-Long", strings.Repeat("x", 64<<10))
	resp, err := http.DefaultClient.Do(req)
	require.NoError(t, err)
	defer resp.Body.Close()
	assert.Equal(t, http.StatusRequestHeaderFieldsTooLarge, resp.StatusCode)
}

// Each call has an id: the client's, where it can be used. The answer has it too,
// also where it is an error.
func TestCallsHaveIDs(t *testing.T) {
	r := start(t, t.TempDir())
	for sent, kept := range map[string]bool{"": false, "night-7": true, "a b": false} {
		for _, name := range []string{"puzzles/3x3x3", "puzzles/nowhere"} {
			ctx := t.Context()
			if sent != "" {
				ctx = metadata.AppendToOutgoingContext(ctx, "x-request-id", sent)
			}
			var header metadata.MD
			_, _ = r.puzzles.GetPuzzle(ctx, &v1.GetPuzzleRequest{Name: name}, grpc.Header(&header))
			require.Len(t, header.Get("x-request-id"), 1)
			assert.Equal(t, kept, header.Get("x-request-id")[0] == sent)
			assert.NotEmpty(t, header.Get("x-request-id")[0])
		}
	}
}

// What holds for calls holds for requests: the token goes along, and so does where a
// request comes from.
func TestTokensOverHTTP(t *testing.T) {
	c := startClub(t, access.Options{})
	ask := func(method, path, token string) (int, string) {
		config := &tls.Config{InsecureSkipVerify: true, NextProtos: []string{"h2", "http/1.1"}} // as browsers offer
		transport := &http.Transport{TLSClientConfig: config, DisableKeepAlives: true, ForceAttemptHTTP2: true}
		req, err := http.NewRequestWithContext(t.Context(), method, "https://"+c.address+path, nil)
		require.NoError(t, err)
		if token != "" {
			req.Header.Set("Authorization", "Bearer "+token)
		}
		req.Header.Set("Turnwright-Remote", "https 127.0.0.1:1")
		resp, err := transport.RoundTrip(req)
		require.NoError(t, err)
		defer resp.Body.Close()
		body, err := io.ReadAll(resp.Body)
		require.NoError(t, err)
		return resp.StatusCode, string(body)
	}
	for _, r := range []struct {
		method, path, who string
		code              int
	}{
		{"GET", "/v1/searches", "nobody", http.StatusUnauthorized},
		{"GET", "/v1/searches", "stranger", http.StatusUnauthorized},
		{"GET", "/v1/searches", "anna", http.StatusOK},
		{"GET", "/v1/searches", "mill", http.StatusForbidden},
		{"GET", "/v1/members", "anna", http.StatusForbidden},
		{"GET", "/v1/members", "olga", http.StatusOK},
		{"GET", "/v1/status", "anna", http.StatusOK},
		{"GET", "/metrics", "nobody", http.StatusUnauthorized},
		{"GET", "/metrics", "mill", http.StatusForbidden},
		{"GET", "/metrics", "anna", http.StatusOK},
		{"GET", "/healthz", "nobody", http.StatusOK},
		{"GET", "/readyz", "nobody", http.StatusOK},
		{"GET", "/openapi.json", "nobody", http.StatusOK},
	} {
		code, body := ask(r.method, r.path, c.secrets[r.who])
		assert.Equal(t, r.code, code, "%s asks for %s", r.who, r.path)
		for id, secret := range c.secrets {
			assert.False(t, secret != "" && strings.Contains(body, secret), "the token of %s at %s", id, r.path)
		}
	}
}
