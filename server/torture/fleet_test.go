package torture

import (
	"fmt"
	"math/rand/v2"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"turnwright/api/client"
)

// fleet is a server and its worker processes, all of them the real program.
type fleet struct {
	t        *testing.T
	program  string
	env      []string
	dir      string // data
	address  string
	members  []*member // the server first
	restarts int
}

// member is a place in the fleet: a process that is started again after each kill.
type member struct {
	name  string
	args  []string
	log   string // path; what all its processes said
	alive *alive
}

// alive is one process.
type alive struct {
	cmd   *exec.Cmd
	ended chan error // what it ended with; room for one
}

// build makes the program, and gives its path.
func build(t *testing.T, flags ...string) string {
	t.Helper()
	program := filepath.Join(t.TempDir(), "turnwright")
	args := append([]string{"build", "-o", program}, flags...)
	out, err := exec.Command("go", append(args, "turnwright/cmd/turnwright")...).CombinedOutput()
	require.NoError(t, err, string(out))
	return program
}

// lease is how long a unit stays with a dead worker: short, or most of the time
// would go by with waiting.
const lease = 2 * time.Second

// memory bounds the tables of a process.
const memory = "256MiB"

// newFleet starts a server with so many slots of its own, and worker processes with
// one slot each. All are stopped when the test ends.
func newFleet(t *testing.T, program string, slots, workers int, env ...string) *fleet {
	t.Helper()
	f := &fleet{t: t, program: program, env: env, dir: t.TempDir(), address: freeAddress(t)}
	logs := t.TempDir()
	add := func(name string, args ...string) {
		f.members = append(f.members, &member{name: name, args: args, log: filepath.Join(logs, name+".log")})
	}
	add("server", "serve", "--data", f.dir, "--listen", f.address, "--lease", lease.String(), "--workers", fmt.Sprint(slots),
		"--memory", memory, "--reserve", "64MiB")
	for i := range workers {
		add(fmt.Sprintf("worker-%d", i+1), "work", "--server", f.address, "--workers", "1", "--memory", memory, "--cache", t.TempDir())
	}
	for _, m := range f.members {
		f.start(m)
	}
	t.Cleanup(f.stop)
	return f
}

// freeAddress is an address that a server can listen on again and again: its port is
// none of those that the system gives to whoever connects.
func freeAddress(t *testing.T) string {
	t.Helper()
	for range 100 {
		address := fmt.Sprintf("127.0.0.1:%d", 10_000+rand.IntN(20_000))
		if lis, err := net.Listen("tcp", address); err == nil {
			require.NoError(t, lis.Close())
			return address
		}
	}
	t.Fatal("no port is free")
	return ""
}

func (f *fleet) dial() *client.Client {
	c, err := client.Dial(f.address)
	require.NoError(f.t, err)
	f.t.Cleanup(func() { _ = c.Close() })
	return c
}

func (f *fleet) start(m *member) {
	log, err := os.OpenFile(m.log, os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o600)
	require.NoError(f.t, err)
	defer log.Close()
	a := &alive{cmd: exec.Command(f.program, m.args...), ended: make(chan error, 1)}
	a.cmd.Env = append(os.Environ(), f.env...)
	a.cmd.Stdout, a.cmd.Stderr = log, log
	require.NoError(f.t, a.cmd.Start())
	go func() { a.ended <- a.cmd.Wait() }() // ends with the process, which stop waits for
	m.alive = a
}

// kill is kill -9, and a new start.
func (f *fleet) kill(m *member) {
	select {
	case err := <-m.alive.ended:
		require.NoError(f.t, err, "%s ended by itself:\n%s", m.name, f.said(m))
		f.t.Fatalf("%s ended by itself", m.name)
	default:
	}
	_ = m.alive.cmd.Process.Kill() // it may have ended this moment; the next kill or the end tells
	<-m.alive.ended                //nolint:errcheck // killed
	f.start(m)
	f.restarts++
}

// stop asks all processes to end, the workers first, and waits for them.
func (f *fleet) stop() {
	for i := len(f.members) - 1; i >= 0; i-- {
		m := f.members[i]
		if m.alive == nil {
			continue
		}
		_ = m.alive.cmd.Process.Signal(syscall.SIGTERM)
		if err := <-m.alive.ended; err != nil {
			f.t.Errorf("%s: %v\n%s", m.name, err, f.said(m))
		}
		m.alive = nil
	}
}

// said is the end of what a member's processes said.
func (f *fleet) said(m *member) string {
	text := f.log(m)
	return text[max(0, len(text)-4000):]
}

func (f *fleet) log(m *member) string {
	text, err := os.ReadFile(m.log)
	require.NoError(f.t, err)
	return string(text)
}

// lost is how many units the servers gave to others, as their workers were silent.
func (f *fleet) lost() int {
	return strings.Count(f.log(f.members[0]), "its unit goes to another")
}
