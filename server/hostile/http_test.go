package hostile

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"math/rand/v2"
	"net/http"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/encoding/protojson"

	v1 "turnwright/api/turnwright/v1"
)

// paths are some of the calls over HTTP, each with a valid body where it has one.
var paths = []struct{ method, path, call string }{
	{"POST", "/v1/searches", "SearchService/CreateSearch"},
	{"POST", "/v1/puzzles", "PuzzleService/DefinePuzzle"},
	{"POST", "/v1/puzzles/3x3x3:describe", "EffectService/DescribeSequence"},
	{"POST", "/v1/puzzles/3x3x3:draw", "DrawService/DrawPuzzle"},
	{"POST", "/v1/sequences:fit", "FitService/FitSequences"},
	{"POST", "/v1/units:report", "WorkerService/ReportUnit"},
	{"POST", "/v1/tables:read", "WorkerService/ReadTable"},
	{"POST", "/v1/searches/night:reschedule", "SearchService/RescheduleSearch"},
	{"POST", "/v1/members/anna/tokens", "MemberService/CreateToken"},
	{"GET", "/v1/searches", ""},
	{"GET", "/v1/searches/night/findings:stream", ""},
	{"DELETE", "/v1/searches/nothing", ""},
}

// bodies are what is no request, made of one that is.
func bodies(valid string) []string {
	out := []string{
		"", "{", "}", "[]", "null", "0", `"x"`, "\x00", "\xff\xfe", `{"": 1}`, `{"none": 1}`, `{"x": "\ud800"}`, `{"name": "` + "\xff" + `"}`,
		`{"puzzle": 5}`, `{"search": []}`, `{"search": {"maxLength": "x"}}`, `{"search": {"maxLength": 1e99}}`, `{"search": {"metric": "NONE"}}`,
		`{"search": {"goal": {"pins": [null]}}}`, `{"search": {"search": {}}}`, `{"search": {"maxLength": 99999999999999999999999999}}`,
		strings.Repeat(`{"search":`, 20_000), strings.Repeat("[", 100_000), `{"search": {"goal": ` + strings.Repeat("[", 500_000),
		strings.Repeat(" ", 1<<20), `{"sequence": "` + strings.Repeat("x", 1<<20) + `"}`, `{"sequence": "` + strings.Repeat("(", 500_000) + `"}`,
		valid + valid, valid + "x", strings.Replace(valid, ":", "", 1), strings.ReplaceAll(valid, `"`, "'"), valid[:len(valid)/2],
	}
	rnd := rand.New(rand.NewPCG(7, 7))
	for range 20 {
		b := []byte(valid)
		if len(b) > 0 {
			b[rnd.IntN(len(b))] = byte(rnd.Uint32())
		}
		out = append(out, string(b))
	}
	return out
}

// Over HTTP: what is not JSON, is of the wrong types, or is huge.
func TestWhateverComesOverHTTP(t *testing.T) {
	x := serve(t, 1)
	x.furnish(t)
	transport := &http.Transport{}
	defer transport.CloseIdleConnections()
	ask := func(method, path, body string) {
		t.Helper()
		what := fmt.Sprintf("%s %.80q: %.80q (%d bytes)", method, path, body, len(body))
		req, err := http.NewRequestWithContext(t.Context(), method, "http://"+x.address, bytes.NewReader([]byte(body)))
		require.NoError(t, err)
		req.URL.Opaque = "//" + x.address + path // as it is
		if body != "" {
			req.Header.Set("Content-Type", "application/json")
		}
		resp, err := transport.RoundTrip(req)
		if !assert.NoError(t, err, what) {
			return
		}
		defer resp.Body.Close()
		if resp.StatusCode < 400 {
			return // a stream may go on for ever; unclean paths are sent to clean ones
		}
		read, err := io.ReadAll(io.LimitReader(resp.Body, 1<<20))
		if !assert.NoError(t, err, what) {
			return
		}
		type said struct {
			Code    int
			Details []struct{ Reason, Domain string }
		}
		var answer struct {
			said
			Error said // of a stream
		}
		assert.NotEqual(t, http.StatusInternalServerError, resp.StatusCode, "%s\n%.500s", what, read)
		answer.Error.Code = -1
		err = json.Unmarshal(read, &answer)
		if answer.Error.Code >= 0 {
			answer.said = answer.Error
		}
		if assert.NoError(t, err, "%s\n%.500s", what, read) && assert.NotEmpty(t, answer.Details, "%s\n%.500s", what, read) {
			assert.Equal(t, "turnwright", answer.Details[0].Domain, what)
			assert.Contains(t, v1.ErrorReason_value, "ERROR_REASON_"+answer.Details[0].Reason, what)
		}
	}
	for _, p := range paths {
		body := ""
		if p.call != "" {
			request, err := protojson.Marshal(valid("over-http")[p.call][0])
			require.NoError(t, err)
			body = string(request)
		}
		for _, b := range bodies(body) {
			ask(p.method, p.path, b)
		}
	}
	for _, path := range []string{
		"/v1/searches/%ff", "/v1/searches/%c3%28", "/v1/searches/%00", "/v1/searches/a%2fb", "/v1/searches/..", "/v1/searches/" + strings.Repeat("x", 10_000),
		"/v1/searches?page_size=x", "/v1/searches?page_size=99999999999999", "/v1/searches?page_token=%ff", "/v1/searches?%ff=1", "/v1/searches?none=1",
		"/v1/searches?page_size=1&page_size=2", "/v1/searches?%zz", "/v1/searches?owner.name=x", "/v1/searches?page_size[]=1",
		"/v1/searches/night/findings:stream?cursor=x", "/v1/searches/night/findings:stream?cursor=%ff", "/v1/nothing", "//", "/v1/../v1/searches", "/v1/" + strings.Repeat("a/", 4000),
	} {
		ask("GET", path, "")
		ask("POST", path, "{}")
		ask("DELETE", path, "")
		ask("BREW", path, "")
	}
	x.alive(t)
	transport.CloseIdleConnections()
	x.settled(t)
}
