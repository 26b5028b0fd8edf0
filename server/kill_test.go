package server_test

import (
	"bufio"
	"encoding/json"
	"io"
	"math/rand/v2"
	"os/exec"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"turnwright/api/client"
	v1 "turnwright/api/turnwright/v1"
)

// process is the real program, serving in a process of its own.
type process struct {
	cmd     *exec.Cmd
	c       *client.Client
	address string
}

func spawn(t *testing.T, program, dir string) *process {
	t.Helper()
	cmd := exec.Command(program, "serve", "--data", dir, "--listen", "127.0.0.1:0", "--reserve", "16MiB", "--output", "json")
	out, err := cmd.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, cmd.Start())
	line, err := bufio.NewReader(out).ReadBytes('\n')
	require.NoError(t, err)
	var hello struct{ Server struct{ Address string } }
	require.NoError(t, json.Unmarshal(line, &hello))
	c, err := client.Dial(hello.Server.Address)
	require.NoError(t, err)
	return &process{cmd, c, hello.Server.Address}
}

// kill is kill -9.
func (p *process) kill(t *testing.T) {
	t.Helper()
	require.NoError(t, p.c.Close())
	require.NoError(t, p.cmd.Process.Kill())
	_ = p.cmd.Wait() // "signal: killed"
}

// until follows the search until it has ended, or enough units of the length
// that is being searched are done. It returns the search as it was last seen.
func (p *process) until(t *testing.T, name string, length int32, units int64) *v1.Search {
	t.Helper()
	stream, err := p.c.Findings.StreamFindings(t.Context(), &v1.StreamFindingsRequest{Parent: name})
	require.NoError(t, err)
	var last *v1.Search
	for {
		event, err := stream.Recv()
		if err == io.EOF {
			return last
		}
		require.NoError(t, err)
		if s := event.GetSearch(); s != nil {
			last = s
			if g := s.GetProgress(); units >= 0 && g.GetLength() >= length && g.GetUnitsDone() >= units {
				return last
			}
		}
	}
}

type outcome struct {
	Nodes    uint64
	Lengths  []string
	Findings map[string]string
}

func (p *process) outcome(t *testing.T, s *v1.Search) outcome {
	t.Helper()
	return outcomeOf(t, s, p.c.Findings)
}

// outcomeOf is what came of a search that is done, at most a page of findings.
func outcomeOf(t *testing.T, s *v1.Search, findings v1.FindingServiceClient) outcome {
	t.Helper()
	require.Equal(t, v1.SearchState_SEARCH_STATE_DONE, s.GetState())
	out := outcome{Nodes: s.GetNodes(), Findings: map[string]string{}}
	for _, l := range s.GetLengths() {
		out.Lengths = append(out.Lengths, l.String())
	}
	list, err := findings.ListFindings(t.Context(), &v1.ListFindingsRequest{Parent: s.GetName(), PageSize: 1000})
	require.NoError(t, err)
	require.Empty(t, list.GetNextPageToken())
	for _, f := range list.GetFindings() {
		out.Findings[f.GetName()] = f.GetSequence() + " = " + f.GetExplanation().GetText()
	}
	return out
}

// A server that is killed in the middle of a search goes on where it was, and
// comes to the same end as one that nobody disturbed.
func TestAKilledServerComesToTheSameEnd(t *testing.T) {
	if testing.Short() {
		t.Skip("makes a large table")
	}
	rng := seeded(t)
	comesToTheSameEnd(t, triangles(10), 10, 10, 1+rng.Int64N(4), 6+rng.Int64N(4), 11+rng.Int64N(4))
}

// The same for a position. The length of its solution is not finished, yet the
// words that were looked at are the same.
func TestAKilledServerSolvesAsIfUndisturbed(t *testing.T) {
	if testing.Short() {
		t.Skip("takes half a minute")
	}
	rng := seeded(t)
	search := solving("3x3x3", "R2 F' D L' U2 B R D' F2 L U' B2 R'", 14)
	search.MemoryBytes = 2 << 20
	comesToTheSameEnd(t, search, 12, 13, rng.Int64N(2), 3+rng.Int64N(4), 9+rng.Int64N(4))
}

// The same for a structured search: what is kept of each class does not depend on the
// order in which units came in, nor does how it was made.
func TestAKilledServerTriesTheSameStructures(t *testing.T) {
	if testing.Short() {
		t.Skip("takes ten seconds")
	}
	rng := seeded(t)
	search := structured(corners(0), 4, 2, 1, 1)
	search.Metric = v1.Metric_METRIC_STM
	comesToTheSameEnd(t, search, 0, 0, rng.Int64N(2), 1)
}

func seeded(t *testing.T) *rand.Rand {
	seed := rand.Uint64()
	t.Logf("seed %d", seed)
	return rand.New(rand.NewPCG(seed, 2))
}

// comesToTheSameEnd kills the server each time some units of a length are done.
func comesToTheSameEnd(t *testing.T, search *v1.Search, lengths int, length int32, units ...int64) {
	program := filepath.Join(t.TempDir(), "turnwright")
	built, err := exec.Command("go", "build", "-o", program, "turnwright/cmd/turnwright").CombinedOutput()
	require.NoError(t, err, string(built))
	create := func(p *process) string {
		created, err := p.c.Searches.CreateSearch(t.Context(), &v1.CreateSearchRequest{
			Search: search, SearchId: "night", RequestId: client.NewRequestID(),
		})
		require.NoError(t, err)
		return created.GetSearch().GetName()
	}

	calm := spawn(t, program, t.TempDir())
	name := create(calm)
	want := calm.outcome(t, calm.until(t, name, 0, -1))
	calm.kill(t)
	require.Len(t, want.Lengths, lengths)

	dir := t.TempDir()
	p := spawn(t, program, dir)
	create(p)
	kills := 0
	for _, units := range units {
		s := p.until(t, name, length, units)
		if s.GetState() != v1.SearchState_SEARCH_STATE_DONE {
			kills++
		}
		p.kill(t)
		p = spawn(t, program, dir)
		got, err := p.c.Searches.GetSearch(t.Context(), &v1.GetSearchRequest{Name: name})
		require.NoError(t, err)
		assert.GreaterOrEqual(t, got.GetSearch().GetProvenLength(), s.GetProvenLength(), "a proof was lost")
	}
	t.Logf("killed %d times before the end", kills)
	require.Positive(t, kills, "the search was over before anything could be disturbed")
	assert.Equal(t, want, p.outcome(t, p.until(t, name, 0, -1)))
	p.kill(t)
}
