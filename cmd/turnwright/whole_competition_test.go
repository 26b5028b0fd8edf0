package main

import (
	"os/exec"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

// A whole competition by the script that organisers run before their first one: the real
// program serves it, and is killed twice on the way. What has to be there after each kill,
// what has to be sealed, and what the standings have to be, the script says.
func TestACompetitionWhoseServerIsKilledTwice(t *testing.T) {
	if testing.Short() {
		t.Skip("builds the program and starts it again and again")
	}
	program := filepath.Join(t.TempDir(), "turnwright")
	said, err := exec.CommandContext(t.Context(), "go", "build", "-o", program, ".").CombinedOutput()
	require.NoError(t, err, "%s", said)
	said, err = exec.CommandContext(t.Context(), "../../deploy/rehearsal.sh", program, filepath.Join(t.TempDir(), "rehearsal")).CombinedOutput()
	require.NoError(t, err, "%s", said)
	t.Logf("%s", said)
}
