package main

import (
	"bufio"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A club's evening: an organiser is made, the server goes up with TLS and tokens, a
// member leaves a search with it and comes back with nothing but a configuration.
func TestAClubOnTheWholeWay(t *testing.T) {
	data := t.TempDir()
	run := func(want int, line string) (stdout, stderr string) {
		t.Helper()
		status, stdout, stderr := turnwright(t.Context(), strings.Fields(line)...)
		require.Equal(t, want, status, "%s: %s", line, stderr)
		return stdout, stderr
	}
	_, stderr := run(exitOther, "serve --listen 192.0.2.1:7431 --tls-self-signed --data "+data)
	assert.Contains(t, stderr, "member add NAME --role organiser")
	olga, _ := run(exitOK, "member add olga --role organiser --data "+data)

	out, in := io.Pipe()
	serving, stop := context.WithCancel(t.Context())
	ended := make(chan int, 1)
	go func() {
		a := &app{stdout: in, stderr: io.Discard}
		ended <- a.run(serving, strings.Fields("serve --listen 127.0.0.1:0 --tls-self-signed --require-tokens --workers 1 --memory 64MiB --json --data "+data))
		_ = in.Close()
	}()
	defer func() {
		stop()
		assert.Equal(t, exitOK, <-ended)
	}()
	line, err := bufio.NewReader(out).ReadBytes('\n')
	require.NoError(t, err)
	var hello struct {
		Server struct{ Address, Fingerprint string }
	}
	require.NoError(t, json.Unmarshal(line, &hello))

	dir := configure(t, fmt.Sprintf(`default: club
servers:
  club: {address: "%[1]s", token_file: anna.token, fingerprint: "%[2]s"}
  chair: {address: "%[1]s", token: "%[3]s", ca: "%[4]s"}
  open: {address: "%[1]s", fingerprint: "%[2]s"}
`, hello.Server.Address, hello.Server.Fingerprint, strings.TrimSpace(olga), filepath.Join(data, "tls", "certificate.pem")), 0o600)
	anna, _ := run(exitOK, "member add anna --server chair")
	require.NoError(t, os.WriteFile(filepath.Join(dir, "anna.token"), []byte(anna), 0o600))

	stdout, _ := run(exitOK, "whoami")
	assert.Contains(t, stdout, "members/anna, member")
	stdout, _ = run(exitOK, "submit --puzzle 3x3x3 --cycle edge --ignore corner --metric obtm --max 4 --id night")
	assert.Equal(t, "searches/night\n", stdout)
	stdout, _ = run(exitOK, "watch night")
	assert.Contains(t, stdout, "Proven: every sequence of length up to 4")
	stdout, _ = run(exitOK, "searches --mine --json")
	assert.Contains(t, stdout, `"owner":"members/anna"`)
	stdout, _ = run(exitOK, "findings night --json")
	assert.NotEmpty(t, objects(t, stdout))
	_, stderr = run(exitDenied, "member list")
	assert.Contains(t, stderr, `not for the role "member"`)
	_, stderr = run(exitDenied, "searches --server open")
	assert.Contains(t, stderr, "a token is needed here")
	run(exitOK, "delete night --server chair")
	stdout, _ = run(exitOK, "audit --server chair --limit 1")
	assert.Contains(t, stdout, "delete search  searches/night  of members/anna")
	run(exitOK, "member remove anna --server chair")
	_, stderr = run(exitDenied, "searches")
	assert.Contains(t, stderr, "was revoked")
}
