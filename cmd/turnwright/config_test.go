package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"turnwright/api/client"
)

// What is configured and kept on the host that runs the tests must not matter to them.
func TestMain(m *testing.M) {
	dir, err := os.MkdirTemp("", "turnwright-config-")
	if err != nil {
		panic(err)
	}
	for name, value := range map[string]string{"XDG_CONFIG_HOME": dir, "XDG_DATA_HOME": dir, "TURNWRIGHT_SERVER": "", "TURNWRIGHT_TOKEN": ""} {
		if err := os.Setenv(name, value); err != nil {
			panic(err)
		}
	}
	status := m.Run()
	_ = os.RemoveAll(dir) // the system clears what is left
	os.Exit(status)
}

// configure writes a configuration file and gives its directory.
func configure(t *testing.T, text string, mode os.FileMode) string {
	t.Helper()
	home := t.TempDir()
	t.Setenv("XDG_CONFIG_HOME", home)
	dir := filepath.Join(home, "turnwright")
	require.NoError(t, os.Mkdir(dir, 0o700))
	require.NoError(t, os.WriteFile(filepath.Join(dir, "config.yaml"), []byte(text), mode))
	return dir
}

const twoServers = `default: club
servers:
  club: {address: "club.example.org:7431", token_file: club.token, fingerprint: "00"}
  attic: {address: "127.0.0.1:9", token: turnwright-ATTIC, ca: /etc/attic.pem}
`

func TestWhichServerIsMeant(t *testing.T) {
	for _, c := range []struct {
		what               string
		flag, server, auth string
		ca                 string
		want               client.Server
	}{
		{"nothing said", "", "", "", "", client.Server{Address: "club.example.org:7431", Token: "turnwright-CLUB", Fingerprint: "00"}},
		{"the environment", "", "attic", "", "", client.Server{Address: "127.0.0.1:9", Token: "turnwright-ATTIC", CA: "/etc/attic.pem"}},
		{"the flag", "club", "attic", "", "", client.Server{Address: "club.example.org:7431", Token: "turnwright-CLUB", Fingerprint: "00"}},
		{"an address", "192.0.2.1:7", "attic", "", "", client.Server{Address: "192.0.2.1:7"}},
		{"an address in the environment", "", "[::1]:7", "", "", client.Server{Address: "[::1]:7"}},
		{"a token in the environment", "192.0.2.1:7", "", "turnwright-ENV", "", client.Server{Address: "192.0.2.1:7", Token: "turnwright-ENV"}},
		{"another certificate", "club", "", "", "mine.pem", client.Server{Address: "club.example.org:7431", Token: "turnwright-CLUB", CA: "mine.pem"}},
	} {
		t.Run(c.what, func(t *testing.T) {
			dir := configure(t, twoServers, 0o600)
			require.NoError(t, os.WriteFile(filepath.Join(dir, "club.token"), []byte("turnwright-CLUB\n"), 0o600))
			t.Setenv("TURNWRIGHT_SERVER", c.server)
			t.Setenv("TURNWRIGHT_TOKEN", c.auth)
			r := remote{named: c.flag, ca: c.ca}
			got, err := r.server()
			require.NoError(t, err)
			assert.Equal(t, c.want, got)
		})
	}
	var r remote
	got, err := r.server()
	require.NoError(t, err)
	assert.Equal(t, client.Server{Address: defaultAddress}, got, "without a configuration")
}

func TestConfigurationsThatAreRefused(t *testing.T) {
	for _, c := range []struct {
		what, text string
		mode       os.FileMode
		message    string
	}{
		{"a token that others can read", twoServers, 0o640, "others can read it: chmod 600"},
		{"an unknown field", "servers: {a: {address: 'x:1', tokn: y}}", 0o600, "config.yaml: line 1: field tokn is not known here\n"},
		{"no address", "servers: {a: {token: y}}", 0o600, `server "a" has no address`},
		{"two tokens", "servers: {a: {address: 'x:1', token: y, token_file: z}}", 0o600, "both token and token_file"},
		{"a name like an address", "servers: {'a:1': {address: 'x:1'}}", 0o600, "use letters"},
		{"a default that is not there", "default: b\nservers: {a: {address: 'x:1'}}", 0o600, `the default "b"`},
		{"a name that is not there", "servers: {a: {address: 'x:1'}, c: {address: 'x:1'}}", 0o644, "which has a, c"},
		{"no YAML", "{", 0o600, "config.yaml"},
		{"a book", "# " + strings.Repeat("x", maxConfig), 0o600, "more than"},
		{"a token file that is not there", "servers: {b: {address: 'x:1', token_file: nowhere}}", 0o600, "read the token"},
	} {
		t.Run(c.what, func(t *testing.T) {
			configure(t, c.text, c.mode)
			status, _, stderr := turnwright(t.Context(), "searches", "--server", "b")
			assert.Equal(t, exitUsage, status)
			assert.Contains(t, stderr, c.message)
		})
	}
	t.Run("a token file that others can read", func(t *testing.T) {
		dir := configure(t, twoServers, 0o600)
		require.NoError(t, os.WriteFile(filepath.Join(dir, "club.token"), []byte("x"), 0o644))
		status, _, stderr := turnwright(t.Context(), "searches")
		assert.Equal(t, exitUsage, status)
		assert.Contains(t, stderr, "club.token is a token and others can read it")
	})
	t.Run("without a token others may read it", func(t *testing.T) {
		f := startFake(t)
		configure(t, "servers: {a: {address: '"+f.address+"'}}", 0o644)
		status, _, stderr := turnwright(t.Context(), "searches", "--server", "a")
		assert.Equal(t, exitOK, status, stderr)
	})
	t.Run("an empty one says nothing", func(t *testing.T) {
		f := startFake(t)
		configure(t, "", 0o644)
		status, _, stderr := turnwright(t.Context(), "searches", "--server", f.address)
		assert.Equal(t, exitOK, status, stderr)
	})
}

func TestCompletion(t *testing.T) {
	f := startFake(t)
	configure(t, "servers: {attic: {address: '"+f.address+"'}, club: {address: 'x:1'}}", 0o600)
	t.Setenv("TURNWRIGHT_SERVER", "attic")
	for _, c := range []struct {
		args      []string
		want, not string
	}{
		{[]string{"watch", ""}, "done\tdone", ""},
		{[]string{"cancel", "do"}, "done\tdone", ""},
		{[]string{"cancel", "x"}, "", "done"},
		{[]string{"watch", "done", ""}, "", "done"},
		{[]string{"searches", "--server", "c"}, "club", "attic"},
		{[]string{"find", "--puzzle", "vertex-cut-d"}, "vertex-cut-dodecahedron", "cube"},
		{[]string{"puzzle", "meg"}, "megaminx", "cube"},
		{[]string{"find", "--metric", ""}, "obtm", "attic"},
		{[]string{"member", "add", "x", "--role", "o"}, "organiser", "worker"},
	} {
		status, stdout, stderr := turnwright(t.Context(), append([]string{"__complete"}, c.args...)...)
		assert.Equal(t, exitOK, status, stderr)
		assert.Contains(t, stdout, c.want, c.args)
		if c.not != "" {
			assert.NotContains(t, stdout, c.not, c.args)
		}
	}
	for _, shell := range []string{"bash", "zsh", "fish", "powershell"} {
		status, stdout, _ := turnwright(t.Context(), "completion", shell)
		assert.Equal(t, exitOK, status)
		assert.Contains(t, stdout, "turnwright")
	}
}
