package server_test

import (
	"bytes"
	"context"
	"crypto/rand"
	"crypto/tls"
	"encoding/base64"
	"fmt"
	"io"
	"net/http"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"
	"google.golang.org/protobuf/types/known/timestamppb"

	v1 "turnwright/api/turnwright/v1"
	"turnwright/server/access"
	"turnwright/storage"
)

// What anna hands in is unlike anything else that the server could say: the solution has 397
// moves, and both texts have words of their own.
const unusualLength = 397

var (
	unusualSolution    = strings.TrimSpace(strings.Repeat("R L' ", unusualLength/2) + "B2")
	unusualExplanation = "a long way round, marked heliotrope"
)

// telling says what of anna's entry is in something that the server said; nothing where it
// tells nothing.
func telling(said []byte) string {
	for _, marker := range []string{unusualSolution[:40], unusualExplanation, "entries/anna-1"} {
		for _, form := range [][]byte{[]byte(marker), []byte(base64.StdEncoding.EncodeToString([]byte(marker))[:16])} {
			if bytes.Contains(said, form) {
				return marker
			}
		}
	}
	return ""
}

// tellingMessage looks for the length in fields, too.
func tellingMessage(m proto.Message) string {
	found := telling(fmt.Append(nil, m))
	var walk func(m protoreflect.Message)
	walk = func(m protoreflect.Message) {
		m.Range(func(f protoreflect.FieldDescriptor, v protoreflect.Value) bool {
			values := []protoreflect.Value{v}
			if f.IsList() {
				values = nil
				for i := range v.List().Len() {
					values = append(values, v.List().Get(i))
				}
			}
			for _, v := range values {
				switch {
				case f.Message() != nil:
					walk(v.Message())
				case f.Kind() == protoreflect.Int32Kind && v.Int() == unusualLength:
					found = fmt.Sprint(f.FullName(), " is ", unusualLength)
				case f.Kind() == protoreflect.BytesKind:
					if t := telling(v.Bytes()); t != "" {
						found = t
					}
				}
			}
			return true
		})
	}
	walk(m.ProtoReflect())
	return found
}

// requests asks a method for all that could tell of the entry: each name in it is tried.
func requests(method protoreflect.MethodDescriptor) (all []proto.Message) {
	for _, name := range []string{"rounds/spring", "rounds/spring/entries/anna-1", "members/anna"} {
		kind, _ := protoregistry.GlobalTypes.FindMessageByName(method.Input().FullName())
		m := kind.New()
		for i := range m.Descriptor().Fields().Len() {
			switch f := m.Descriptor().Fields().Get(i); {
			case slices.Contains([]string{"name", "parent", "round", "member", "owner"}, string(f.Name())) && f.Kind() == protoreflect.StringKind:
				m.Set(f, protoreflect.ValueOfString(name))
			case f.Name() == "request_id" && method.Parent().Name() == "RoundService": // others might change what is there
				m.Set(f, protoreflect.ValueOfString(rand.Text()))
			case f.Name() == "page_size":
				m.Set(f, protoreflect.ValueOfInt32(1000))
			case f.Name() == "attempt":
				m.Set(f, protoreflect.ValueOfInt32(1))
			case f.Name() == "reason" && method.Name() == "CorrectEntry":
				m.Set(f, protoreflect.ValueOfString("to see what happens"))
			}
		}
		if asked := m.Interface(); !slices.ContainsFunc(all, func(a proto.Message) bool { return method.Parent().Name() != "RoundService" && proto.Equal(a, asked) }) {
			all = append(all, asked)
		}
	}
	return all
}

// answers makes a call and gives all that it answers, and its error as a message.
func (c *club) answers(t *testing.T, conn *grpc.ClientConn, name string, method protoreflect.MethodDescriptor, in proto.Message) (out []proto.Message) {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), 20*time.Second)
	defer cancel()
	kind, err := protoregistry.GlobalTypes.FindMessageByName(method.Output().FullName())
	require.NoError(t, err)
	stream, err := conn.NewStream(ctx, &grpc.StreamDesc{ClientStreams: method.IsStreamingClient(), ServerStreams: true}, "/"+name)
	require.NoError(t, err)
	_ = stream.SendMsg(in) // what it says is what RecvMsg says
	_ = stream.CloseSend()
	for range 1000 {
		answer := kind.New().Interface()
		if err := stream.RecvMsg(answer); err != nil {
			if err != io.EOF {
				out = append(out, status.Convert(err).Proto())
			}
			return out
		}
		out = append(out, answer)
	}
	return out
}

// Another member, an organiser too, learns nothing of an entry while the round is open: not
// from any call, page, log, figure, record of acts, or backup.
func TestAnOpenRoundIsSealed(t *testing.T) {
	c := startClub(t, access.Options{Rate: 1e6})
	ctx := t.Context()
	conns := map[string]*grpc.ClientConn{}
	as := map[string]v1.RoundServiceClient{}
	for _, id := range []string{"anna", "bert", "olga"} {
		conns[id] = c.dial(t, id)
		as[id] = v1.NewRoundServiceClient(conns[id])
	}
	_, err := as["olga"].CreateRound(ctx, &v1.CreateRoundRequest{RoundId: "spring", RequestId: "create", Round: &v1.Round{
		Puzzle: "puzzles/3x3x3", Attempts: 2, CloseTime: timestamppb.New(time.Now().Add(time.Hour)),
	}})
	require.NoError(t, err)
	_, err = as["anna"].ShowScramble(ctx, &v1.ShowScrambleRequest{Round: "rounds/spring", Attempt: 1, RequestId: "show"})
	require.NoError(t, err)
	const calm = "\nnothing was handed in so far\n"
	_, _ = c.log.Write([]byte(calm))
	entered, err := as["anna"].SubmitEntry(ctx, &v1.SubmitEntryRequest{Round: "rounds/spring", RequestId: "enter", Entry: &v1.Entry{
		Attempt: 1, Solution: unusualSolution, Explanation: unusualExplanation,
	}})
	require.NoError(t, err)
	require.Equal(t, int32(unusualLength), entered.GetEntry().GetVerdict().GetLengths().GetObtm())

	// ask calls everything as somebody and gives which calls told of the entry.
	ask := func(who string) (told []string) {
		for name, method := range c.methods(t) {
			if !strings.HasPrefix(name, "turnwright.v1.") {
				continue
			}
			for _, in := range requests(method) {
				for _, out := range c.answers(t, conns[who], name, method, in) {
					// An error may repeat what was asked for, and no more.
					text := tellingMessage(out)
					if text == "entries/anna-1" && strings.Contains(string(out.ProtoReflect().Descriptor().FullName()), "rpc.Status") {
						text = ""
					}
					if text != "" {
						told = append(told, string(method.Name()))
					}
				}
			}
		}
		slices.Sort(told)
		return slices.Compact(told)
	}
	assert.Equal(t, []string{"GetEntry", "ListEntries"}, ask("anna"), "the author sees it: so the test would")
	assert.Empty(t, ask("bert"))
	assert.Empty(t, ask("olga"))

	// Nobody compares what is sealed, its author and organisers neither.
	together := &v1.CompareSolutionsRequest{Round: "rounds/spring", Attempt: 1, Members: []string{"members/anna"}, Solutions: []*v1.SolutionToCompare{{Solution: "R"}}}
	for who, conn := range conns {
		_, _, err := compare(ctx, t, v1.NewStudyServiceClient(conn), together)
		assert.Equal(t, codes.FailedPrecondition, status.Code(err), "%s: %v", who, err)
		assert.Empty(t, telling(fmt.Append(nil, err)))
	}

	// Over HTTP, with the figures.
	get := func(who, path string) (int, []byte) {
		req, err := http.NewRequestWithContext(ctx, http.MethodGet, "https://"+c.address+path, nil)
		require.NoError(t, err)
		req.Header.Set("Authorization", "Bearer "+c.secrets[who])
		transport := &http.Transport{TLSClientConfig: &tls.Config{InsecureSkipVerify: true}, DisableKeepAlives: true}
		reply, err := (&http.Client{Transport: transport}).Do(req)
		require.NoError(t, err)
		body, err := io.ReadAll(reply.Body)
		require.NoError(t, err)
		require.NoError(t, reply.Body.Close())
		return reply.StatusCode, body
	}
	code, body := get("anna", "/v1/rounds/spring/entries/anna-1")
	assert.Equal(t, 200, code)
	assert.NotEmpty(t, telling(body))
	for path, want := range map[string]int{
		"/v1/rounds": 200, "/v1/rounds/spring": 200, "/v1/rounds/spring/entries": 200, "/v1/rounds/spring/entries/anna-1": 404,
		"/v1/rounds/spring/standings": 400, "/v1/rounds/spring/views": 200, "/v1/records": 200, "/v1/status": 200, "/metrics": 200, "/v1/searches": 200,
	} {
		for _, who := range []string{"bert", "olga"} {
			code, body := get(who, path)
			assert.Equal(t, want, code, path)
			if told := telling(body); code == 200 {
				assert.Empty(t, told, "%s as %s", path, who)
			}
			if path == "/metrics" {
				assert.Contains(t, string(body), "RoundService")
				assert.NotContains(t, string(body), "SubmitEntry")
			}
		}
	}
	code, body = get("olga", "/v1/audit")
	assert.Equal(t, 200, code)
	assert.Contains(t, string(body), "announce round")
	assert.Empty(t, telling(body))

	// The log says of the call that handed it in what it says of a look.
	_, log, found := strings.Cut(c.log.String(), calm)
	require.True(t, found)
	_, line, _ := strings.Cut(log, "msg=call ")
	line, _, _ = strings.Cut(line, "\n")
	assert.Contains(t, line, "RoundService/Sealed code=OK")
	assert.NotContains(t, log, "SubmitEntry")
	assert.NotContains(t, log, fmt.Sprint("=", unusualLength, " "))
	assert.Empty(t, telling([]byte(log)))

	// A backup can be restored, and tells nothing either.
	stream, err := c.as["olga"].Administration.Backup(ctx, &v1.BackupRequest{})
	require.NoError(t, err)
	var data []byte
	for {
		part, err := stream.Recv()
		if err == io.EOF {
			break
		}
		require.NoError(t, err)
		data = append(data, part.GetPiece()...)
	}
	assert.Empty(t, telling(data))
	dir := filepath.Join(t.TempDir(), "restored")
	opt := storage.Options{Dir: dir, Free: func(string) (uint64, error) { return 1 << 40, nil }}
	_, err = storage.Restore(ctx, bytes.NewReader(data), opt)
	require.NoError(t, err)
	store, err := storage.Open(opt)
	require.NoError(t, err)
	defer store.Close()
	_, _, err = store.Entry(ctx, "spring", "anna", 1, "anna", time.Now())
	require.ErrorIs(t, err, storage.ErrSealMissing, "not even as its author")

	// When the round has closed, everybody sees it.
	_, err = as["olga"].CloseRound(ctx, &v1.CloseRoundRequest{Name: "rounds/spring", Reason: "all have handed in", RequestId: "close"})
	require.NoError(t, err)
	seen, err := as["bert"].GetEntry(ctx, &v1.GetEntryRequest{Name: "rounds/spring/entries/anna-1"})
	require.NoError(t, err)
	assert.Equal(t, unusualSolution, seen.GetEntry().GetSolution())
	side, _, err := compare(ctx, t, v1.NewStudyServiceClient(conns["bert"]), together)
	require.NoError(t, err)
	assert.Equal(t, int32(unusualLength), side.GetSolutions()[1].GetLength())
	assert.Equal(t, "rounds/spring/entries/anna-1", side.GetSolutions()[1].GetEntry())
	_, err = as["bert"].CorrectEntry(ctx, &v1.CorrectEntryRequest{})
	assert.Equal(t, codes.PermissionDenied, status.Code(err))
	text, err := protojson.Marshal(seen)
	require.NoError(t, err)
	assert.NotEmpty(t, telling(text))
}
