package hostile

import (
	"context"
	"encoding/json"
	"net/http"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"
	"google.golang.org/protobuf/types/known/durationpb"

	v1 "turnwright/api/turnwright/v1"
	"turnwright/server/engine"
	"turnwright/server/puzzles"
	"turnwright/storage"
)

// table has the server share a table of searches/night, and gives its id.
func (x *target) table(t *testing.T) string {
	t.Helper()
	ctx := t.Context()
	worker := &v1.Worker{Name: "workers/mill", Instance: "one", Version: "v1", Slots: 1}
	_, err := x.Searches.ResumeSearch(ctx, &v1.ResumeSearchRequest{Name: "searches/night", RequestId: "table"})
	require.NoError(t, err)
	leased, err := x.Workers.LeaseUnit(ctx, &v1.LeaseUnitRequest{Worker: worker, Wait: durationpb.New(10e9)})
	require.NoError(t, err)
	unit := leased.GetLease().GetUnit()
	require.NotNil(t, unit)
	var spec storage.Spec
	require.NoError(t, json.Unmarshal(leased.GetLease().GetSpec(), &spec))
	e, err := engine.New(puzzles.NewLibrary(nil), spec)
	require.NoError(t, err)
	at, err := x.Workers.LocateTable(ctx, &v1.LocateTableRequest{Unit: unit, Key: e.Tables()[0].Key})
	require.NoError(t, err)
	_, err = x.Workers.ReturnUnit(ctx, &v1.ReturnUnitRequest{Worker: worker, Unit: unit})
	require.NoError(t, err)
	_, err = x.Searches.PauseSearch(ctx, &v1.PauseSearchRequest{Name: "searches/night", RequestId: "table-2"})
	require.NoError(t, err)
	return at.GetId()
}

// Streams that are opened and left: before anything is read, after the first message,
// and with all that fits into the connection unread.
func TestStreamsThatAreAbandoned(t *testing.T) {
	x := serve(t, 1)
	x.furnish(t)
	id := x.table(t)
	at, rounds := 250, 8 // streams open at once, and how often
	if testing.Short() {
		at, rounds = 100, 1
	}
	open := map[string]func(context.Context) (interface{ RecvMsg(any) error }, any, error){
		"StreamFindings": func(ctx context.Context) (interface{ RecvMsg(any) error }, any, error) {
			s, err := x.Findings.StreamFindings(ctx, &v1.StreamFindingsRequest{Parent: "searches/night"})
			return s, &v1.StreamFindingsResponse{}, err
		},
		"ReadTable": func(ctx context.Context) (interface{ RecvMsg(any) error }, any, error) {
			s, err := x.Workers.ReadTable(ctx, &v1.ReadTableRequest{Id: id})
			return s, &v1.ReadTableResponse{}, err
		},
		"Backup": func(ctx context.Context) (interface{ RecvMsg(any) error }, any, error) {
			s, err := v1.NewAdministrationServiceClient(x.conn).Backup(ctx, &v1.BackupRequest{})
			return s, &v1.BackupResponse{}, err
		},
		"ReportUnit": func(ctx context.Context) (interface{ RecvMsg(any) error }, any, error) {
			s, err := x.Workers.ReportUnit(ctx)
			return s, nil, err // nothing comes before the last message went
		},
	}
	for name, open := range open {
		for range rounds {
			ctx, leave := context.WithCancel(t.Context())
			for i := range at {
				s, message, err := open(ctx)
				require.NoError(t, err, name)
				if i%3 > 0 && message != nil && (name != "Backup" || i == 1) { // one backup is made at a time
					require.NoError(t, s.RecvMsg(message), name)
				}
			}
			leave()
		}
		x.alive(t)
		x.settled(t)
	}
	// Who does not even cancel, but is gone.
	for range rounds {
		conn, err := grpc.NewClient(x.address, insecureOption)
		require.NoError(t, err)
		for range at {
			_, err := v1.NewFindingServiceClient(conn).StreamFindings(t.Context(), &v1.StreamFindingsRequest{Parent: "searches/night"})
			require.NoError(t, err)
		}
		require.NoError(t, conn.Close())
	}
	x.alive(t)
	x.settled(t)
}

func TestStreamsThatAreAbandonedOverHTTP(t *testing.T) {
	x := serve(t, 1)
	x.furnish(t)
	id := x.table(t)
	x.settled(t)
	at, rounds := 100, 5
	if testing.Short() {
		at, rounds = 30, 1
	}
	for _, r := range []struct{ method, path, body string }{
		{"GET", "/v1/searches/night/findings:stream", ""},
		{"POST", "/v1/tables:read", `{"id": "` + id + `"}`},
		{"GET", "/v1/backup", ""},
	} {
		for range rounds {
			transport := &http.Transport{}
			ctx, leave := context.WithCancel(t.Context())
			for range at {
				req, err := http.NewRequestWithContext(ctx, r.method, "http://"+x.address+r.path, strings.NewReader(r.body))
				require.NoError(t, err)
				if r.body != "" {
					req.Header.Set("Content-Type", "application/json")
				}
				resp, err := transport.RoundTrip(req)
				require.NoError(t, err)
				assert.Equal(t, http.StatusOK, resp.StatusCode, r.path)
				var first [1]byte
				_, err = resp.Body.Read(first[:])
				require.NoError(t, err)
				if r.path == "/v1/backup" { // the next one waits for it
					require.NoError(t, resp.Body.Close())
				}
			}
			leave()
			transport.CloseIdleConnections()
		}
		x.alive(t)
		x.settled(t)
	}
}
