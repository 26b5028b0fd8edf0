// Package client is the Go client of a turnwright server: the command uses it,
// and other programs may.
//
// The one idea: generated stubs already say what the API can do, so this package
// only adds what every caller would otherwise write again: a connection with
// sound settings, a stream that survives broken connections ([Client.Follow]),
// lists that turn their own pages ([Client.AllFindings]), and errors that people can read
// ([Explain], [Reason]).
//
//	c, err := client.Dial("127.0.0.1:7431")
//	c, err := client.Open(client.Server{Address: "club.example.org:7431", Token: token, Fingerprint: print})
//	...
//	defer c.Close()
//	reply, err := c.Puzzles.GetPuzzle(ctx, &turnwrightv1.GetPuzzleRequest{Name: "puzzles/3x3x3"})
//
// It does not hide the generated types, and it knows nothing of how searches are
// done.
package client

import (
	"crypto/rand"
	"fmt"
	"strings"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/backoff"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/keepalive"

	turnwrightv1 "turnwright/api/turnwright/v1"
)

// Client is a connection to a server, with a stub for each service. Any number
// of goroutines may share it.
type Client struct {
	Puzzles     turnwrightv1.PuzzleServiceClient
	Effects     turnwrightv1.EffectServiceClient
	Drawings    turnwrightv1.DrawServiceClient
	Commutators turnwrightv1.CommutatorServiceClient
	Searches    turnwrightv1.SearchServiceClient
	Findings    turnwrightv1.FindingServiceClient
	Coverage    turnwrightv1.CoverageServiceClient
	Fits        turnwrightv1.FitServiceClient
	Insertions  turnwrightv1.InsertionServiceClient
	Studies     turnwrightv1.StudyServiceClient
	Workers     turnwrightv1.WorkerServiceClient
	Members     turnwrightv1.MemberServiceClient
	Rounds      turnwrightv1.RoundServiceClient
	Status      turnwrightv1.StatusServiceClient

	Administration turnwrightv1.AdministrationServiceClient

	conn *grpc.ClientConn
}

// Calls that the server can't take at the moment are made again by gRPC itself,
// and only these. That is safe for calls that change something too, since they
// carry a request id.
const serviceConfig = `{
  "methodConfig": [{
    "name": [{}],
    "retryPolicy": {
      "maxAttempts": 4,
      "initialBackoff": "0.1s",
      "maxBackoff": "2s",
      "backoffMultiplier": 3,
      "retryableStatusCodes": ["UNAVAILABLE"]
    }
  }]
}`

// Dial prepares a connection to a server on this host that needs no token. It
// connects with the first call. The connection is not encrypted, so only a
// loopback address is accepted.
func Dial(address string, options ...grpc.DialOption) (*Client, error) {
	return Open(Server{Address: address}, options...)
}

func connect(target string, options ...grpc.DialOption) (*Client, error) {
	all := append([]grpc.DialOption{
		grpc.WithTransportCredentials(insecure.NewCredentials()),
		grpc.WithDefaultServiceConfig(serviceConfig),
		grpc.WithKeepaliveParams(keepalive.ClientParameters{
			Time: 30 * time.Second, Timeout: 10 * time.Second, PermitWithoutStream: true,
		}),
		// The default waits up to two minutes for a server that came back long since.
		grpc.WithConnectParams(grpc.ConnectParams{
			Backoff:           backoff.Config{BaseDelay: 100 * time.Millisecond, Multiplier: 1.6, Jitter: 0.2, MaxDelay: 5 * time.Second},
			MinConnectTimeout: 5 * time.Second,
		}),
	}, options...)
	conn, err := grpc.NewClient(target, all...)
	if err != nil {
		return nil, fmt.Errorf("connect to %s: %w", target, err)
	}
	return &Client{
		Puzzles:     turnwrightv1.NewPuzzleServiceClient(conn),
		Effects:     turnwrightv1.NewEffectServiceClient(conn),
		Drawings:    turnwrightv1.NewDrawServiceClient(conn),
		Commutators: turnwrightv1.NewCommutatorServiceClient(conn),
		Searches:    turnwrightv1.NewSearchServiceClient(conn),
		Findings:    turnwrightv1.NewFindingServiceClient(conn),
		Coverage:    turnwrightv1.NewCoverageServiceClient(conn),
		Fits:        turnwrightv1.NewFitServiceClient(conn),
		Insertions:  turnwrightv1.NewInsertionServiceClient(conn),
		Studies:     turnwrightv1.NewStudyServiceClient(conn),
		Workers:     turnwrightv1.NewWorkerServiceClient(conn),
		Members:     turnwrightv1.NewMemberServiceClient(conn),
		Rounds:      turnwrightv1.NewRoundServiceClient(conn),
		Status:      turnwrightv1.NewStatusServiceClient(conn),

		Administration: turnwrightv1.NewAdministrationServiceClient(conn),

		conn: conn,
	}, nil
}

// Close ends the connection. Calls that are under way fail.
func (c *Client) Close() error { return c.conn.Close() }

// NewRequestID makes a fresh id for a call that changes something. Send a call
// again with the id that it had the first time.
func NewRequestID() string { return rand.Text() }

// PuzzleName is the resource name of the puzzle with that name or alias.
func PuzzleName(id string) string { return resourceName("puzzles/", id) }

// SearchName is the resource name of the search with that id. Resource names
// are left as they are.
func SearchName(id string) string { return resourceName("searches/", id) }

// MemberName is the resource name of the member with that id.
func MemberName(id string) string { return resourceName("members/", id) }

// RoundName is the resource name of the round with that id.
func RoundName(id string) string { return resourceName("rounds/", id) }

// EntryName is the resource name of an entry of a round, by their ids. Resource names are
// left as they are.
func EntryName(round, entry string) string {
	if strings.HasPrefix(entry, "rounds/") {
		return entry
	}
	return RoundName(round) + "/entries/" + entry
}

// ID is the last part of a resource name.
func ID(name string) string { return name[strings.LastIndexByte(name, '/')+1:] }

func resourceName(collection, id string) string {
	if strings.HasPrefix(id, collection) {
		return id
	}
	return collection + id
}
