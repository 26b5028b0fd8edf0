package main

import (
	"bytes"
	"context"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

var update = flag.Bool("update", false, "write the golden files again")

// golden compares the text with the file of that name in testdata.
func golden(t *testing.T, name, got string) {
	t.Helper()
	path := filepath.Join("testdata", name+".txt")
	if *update {
		require.NoError(t, os.MkdirAll("testdata", 0o755))
		require.NoError(t, os.WriteFile(path, []byte(got), 0o644))
		return
	}
	want, err := os.ReadFile(path)
	require.NoError(t, err, "run the test with -update to write it")
	assert.Equal(t, string(want), got)
}

// turnwright runs the command line and gives its exit status and output.
func turnwright(ctx context.Context, args ...string) (status int, stdout, stderr string) {
	var out, notes bytes.Buffer
	a := &app{stdout: &out, stderr: &notes}
	status = a.run(ctx, args)
	return status, out.String(), notes.String()
}

func TestVerbs(t *testing.T) {
	file := filepath.Join(t.TempDir(), "slab.yaml")
	require.NoError(t, os.WriteFile(file, []byte("name: slab\n"), 0o600))
	bad := filepath.Join(t.TempDir(), "bad.yaml")
	require.NoError(t, os.WriteFile(bad, []byte("solid: prism\n"), 0o600))

	for _, c := range []struct {
		name   string
		status int
		args   string
	}{
		{"find", exitOK, "find --puzzle brick --cycle edge --max 5"},
		{"find-json", exitOK, "find --puzzle brick --cycle edge --max 5 --output json"},
		{"find-between", exitOK, "find --puzzle brick --cycle edge --max 5 --before b --after c"},
		{"find-between-json", exitOK, "find --puzzle brick --cycle edge --max 5 --before b --after c --output json"},
		{"find-nothing", exitOK, "find --puzzle brick --cycle wedge --ignore edge,plate --pin u=v --pin v=w --metric obtm --max 2"},
		{"find-nothing-json", exitOK, "find --puzzle brick --cycle wedge --max 2 --output json"},
		{"find-failed", exitOther, "find --puzzle brick --cycle rod --max 9"},
		{"find-failed-json", exitOther, "find --puzzle brick --cycle rod --max 9 --output json"},
		{"find-no-such-type", exitUsage, "find --puzzle brick --cycle foo --max 9"},
		{"find-bad-pin", exitUsage, "find --puzzle brick --cycle edge --max 9 --pin ab"},
		{"find-in-file", exitOK, "find --puzzle FILE --cycle edge --max 5 --output json"},
		{"find-parts", exitOK, "find --puzzle brick --cycle edge --parts 4,1,1 --setup 2"},
		{"find-parts-json", exitOK, "find --puzzle brick --cycle edge --parts 4,1,1 --setup 2 --output json"},
		{"find-parts-nothing", exitCancelled, "find --puzzle brick --cycle wedge --parts 2,1 --max 6"},
		{"find-parts-refused", exitUsage, "find --puzzle brick --cycle edge --parts 13,1"},
		{"find-bad-parts", exitUsage, "find --puzzle brick --cycle edge --parts 4"},
		{"find-setup-alone", exitUsage, "find --puzzle brick --cycle edge --max 9 --setup 1"},
		{"find-no-length", exitUsage, "find --puzzle brick --cycle edge"},
		{"solve", exitOK, "solve --puzzle brick --scramble [a,b] --max 9 --metric obtm --each 2 --memory 1GiB"},
		{"solve-json", exitOK, "solve --puzzle brick --scramble [a,b] --max 9 --metric obtm --each 2 --output json"},
		{"solve-home", exitOK, "solve --puzzle brick --scramble a --ignore edge,plate --all --max 9"},
		{"solve-home-json", exitOK, "solve --puzzle brick --scramble a --ignore edge,plate --all --max 9 --output json"},
		{"solve-far", exitOK, "solve --puzzle brick --pin u=v --pin v=u --by-colour --max 1"},
		{"solve-bad-scramble", exitUsage, "solve --puzzle brick --scramble ? --max 9"},
		{"solve-in-file", exitOK, "solve --puzzle FILE --scramble [a,b] --max 9 --output json"},
		{"puzzles", exitOK, "puzzles"},
		{"puzzles-json", exitOK, "puzzles --output json"},
		{"puzzle", exitOK, "puzzle brick"},
		{"puzzle-json", exitOK, "puzzle brick --output json"},
		{"puzzle-labels", exitOK, "puzzle brick --labels"},
		{"puzzle-definition", exitOK, "puzzle brick --definition"},
		{"puzzle-definition-json", exitOK, "puzzle brick --definition --json"},
		{"puzzle-not-found", exitNotFound, "puzzle pebble"},
		{"puzzle-file", exitOK, "puzzle FILE"},
		{"define", exitOK, "define FILE"},
		{"define-json", exitOK, "define FILE --output json"},
		{"define-refused", exitUsage, "define BAD"},
		{"define-no-file", exitUsage, "define nowhere.yaml"},
		{"effect", exitOK, "effect --puzzle brick a b a' b'"},
		{"effect-json", exitOK, "effect --puzzle FILE a --output json"},
		{"effect-bad-sequence", exitUsage, "effect --puzzle brick a ?"},
		{"explain", exitOK, "explain --puzzle brick --metric qtm a b a' b'"},
		{"explain-json", exitOK, "explain --puzzle brick --output json a b a' b'"},
		{"explain-plain", exitOK, "explain --puzzle brick a b c"},
		{"explain-not-found", exitNotFound, "explain --puzzle pebble a"},
		{"isolate", exitOK, "isolate --puzzle brick --cycle edge --ignore wedge --part a --turns 2 --show isolating --limit 3"},
		{"isolate-json", exitOK, "isolate --puzzle FILE --cycle edge --part a --metric qtm --output json"},
		{"isolate-nothing", exitOK, "isolate --puzzle brick --cycle edge --part c"},
		{"isolate-bad-part", exitUsage, "isolate --puzzle brick --cycle edge --part ?"},
		{"commutators", exitOK, "commutators --puzzle brick --cycle edge --first 2 --axes a,b --limit 2"},
		{"commutators-json", exitOK, "commutators --puzzle brick --cycle edge --best --second 2 --output json"},
		{"commutators-nothing", exitOK, "commutators --puzzle brick --cycle wedge --shape 2+2"},
		{"commutators-refused", exitUsage, "commutators --puzzle brick --cycle rod --first 99"},
		{"submit", exitOK, "submit --puzzle brick --cycle edge --max 5 --id mine --memory 2GiB"},
		{"submit-json", exitOK, "submit --puzzle brick --cycle wedge --max 2 --output json"},
		{"submit-estimate", exitOK, "submit --puzzle brick --cycle edge --max 5 --estimate"},
		{"submit-estimate-json", exitOK, "submit --puzzle brick --cycle edge --max 5 --estimate --output json"},
		{"submit-parts", exitOK, "submit --puzzle brick --cycle edge --parts 4,1 --max 11"},
		{"submit-parts-estimate", exitOK, "submit --puzzle brick --cycle edge --parts 4,1 --estimate"},
		{"submit-parts-estimate-json", exitOK, "submit --puzzle brick --cycle edge --parts 4,1 --estimate --output json"},
		{"submit-solve", exitOK, "submit solve --puzzle brick --scramble [a,b] --max 20 --id mine"},
		{"submit-solve-json", exitOK, "submit solve --puzzle brick --pin u=v --pin v=u --max 1 --output json"},
		{"submit-solve-estimate", exitOK, "submit solve --puzzle brick --scramble [a,b] --max 2 --estimate"},
		{"submit-study", exitOK, "submit study --puzzle brick --scramble ba' --solution a --shorten 8h --seed 3 --id mine"},
		{"submit-study-json", exitOK, "submit study --puzzle brick --solution a --core-budget 2h --memory 1GiB --output json"},
		{"submit-study-wait", exitCancelled, "submit study --puzzle brick --solution a --wait"},
		{"submit-study-estimate", exitOK, "submit study --puzzle brick --solution a --shorten 8h --estimate"},
		{"submit-study-too-long", exitUsage, "submit study --puzzle brick --solution a --shorten 99h"},
		{"submit-study-unsolved", exitUsage, "submit study --puzzle brick --solution c"},
		{"searches", exitOK, "searches"},
		{"searches-json", exitOK, "searches --output json"},
		{"status", exitOK, "status"},
		{"status-json", exitOK, "status --output json"},
		{"watch", exitOK, "watch done"},
		{"watch-between", exitOK, "watch between"},
		{"watch-json", exitOK, "watch searches/done --output json"},
		{"watch-solved", exitOK, "watch solved"},
		{"watch-parts", exitOK, "watch formed"},
		{"watch-study", exitOK, "watch shortened"},
		{"watch-study-json", exitOK, "watch shortened --output json"},
		{"watch-study-none", exitCancelled, "watch unshortened"},
		{"watch-failed", exitOther, "watch broken"},
		{"watch-not-found", exitNotFound, "watch gone"},
		{"findings", exitOK, "findings done"},
		{"findings-json", exitOK, "findings slow --output json"},
		{"findings-not-found", exitNotFound, "findings gone"},
		{"findings-solved", exitOK, "findings solved"},
		{"findings-study", exitOK, "findings shortened"},
		{"findings-study-none", exitOK, "findings unshortened"},
		{"pause", exitOK, "pause slow"},
		{"pause-ended", exitUsage, "pause done"},
		{"pause-not-found", exitNotFound, "pause gone"},
		{"resume", exitOK, "resume slow --output json"},
		{"cancel", exitOK, "cancel slow"},
		{"cancel-json", exitOK, "cancel slow --output json"},
		{"cancel-not-found", exitNotFound, "cancel gone"},
		{"delete", exitOK, "delete done"},
		{"coverage", exitOK, "coverage --puzzle brick --cycle edge"},
		{"coverage-rows", exitOK, "coverage --puzzle brick --cycle edge --rows"},
		{"coverage-csv", exitOK, "coverage --puzzle brick --cycle edge --csv"},
		{"coverage-json", exitOK, "coverage --puzzle brick --cycle edge --output json"},
		{"coverage-nothing", exitOK, "coverage --puzzle FILE --cycle wedge --ignore edge,plate --metric obtm"},
		{"coverage-no-such-type", exitUsage, "coverage --puzzle brick --cycle foo"},
		{"fit", exitOK, "fit --puzzle brick --cycle edge --pin ab=bc --sequence a_b --sequence b_a --limit 3"},
		{"fit-json", exitOK, "fit --puzzle brick --cycle edge --pin ab=bc --output json"},
		{"fit-between", exitOK, "fit --puzzle brick --cycle edge --places ab,bc,dc --metric qtm --before a --after b'"},
		{"fit-between-json", exitOK, "fit --puzzle brick --cycle edge --places ab,bc --after b' --output json"},
		{"fit-nothing", exitOK, "fit --puzzle brick --cycle plate --places ab,bc"},
		{"fit-no-search", exitUsage, "fit --puzzle brick --cycle wedge --ignore edge --places ab,bc"},
		{"fit-find", exitUsage, "fit --puzzle brick --cycle wedge --ignore edge --places ab,bc --find 2"},
		{"fit-bad-pin", exitUsage, "fit --puzzle brick --cycle edge --pin ab"},
		{"baseline", exitOK, "baseline --puzzle brick --scramble a --metric stm --shorten 3s"},
		{"baseline-only", exitOK, "baseline --puzzle brick --scramble a"},
		{"baseline-nothing-shorter", exitOK, "baseline --puzzle brick --scramble a --metric etm --shorten 3s"},
		{"baseline-fewest", exitOK, "baseline --puzzle brick --scramble b --shorten 3s"},
		{"baseline-json", exitOK, "baseline --puzzle brick --scramble a --shorten 3s --json"},
		{"baseline-solved", exitOK, "baseline --puzzle brick --scramble x"},
		{"baseline-refused", exitUsage, "baseline --puzzle brick --scramble d"},
		{"baseline-sealed", exitUsage, "baseline --puzzle brick --scramble c"},
		{"study", exitOK, "study --puzzle brick --scramble a --solution b --metric stm --shorten 3s"},
		{"study-only", exitOK, "study --puzzle brick --solution b"},
		{"study-json", exitOK, "study --puzzle brick --solution b --shorten 3s --json"},
		{"study-too-long", exitUsage, "study --puzzle brick --solution b --shorten 1h"},
		{"compare", exitOK, "compare --puzzle brick --scramble a_b_c --metric stm b_b_c_a c_a --prove 3s"},
		{"compare-json", exitOK, "compare --puzzle brick --scramble a b c --prove 3s --json"},
		{"compare-round", exitOK, "compare --round harvest --attempt 1 --members anna,bert"},
		{"compare-round-and-one", exitOK, "compare --round harvest --attempt 2 @testdata/compare/mine.txt --metric qtm"},
		{"compare-sealed", exitUsage, "compare --round lantern-cup --attempt 1"},
		{"compare-no-attempt", exitUsage, "compare --round harvest"},
		{"compare-one", exitUsage, "compare --puzzle brick --scramble a b"},
		{"compare-nothing-said", exitUsage, "compare a b"},
		{"compare-members-alone", exitUsage, "compare --puzzle brick --scramble a b c --members anna"},
		{"insert", exitOK, "insert --puzzle brick --scramble a --solution b --insertions 2"},
		{"insert-json", exitOK, "insert --puzzle brick --scramble a --solution b --insertions 2 --cycle edge,wedge --metric stm --limit 3 --beam 7 --output json"},
		{"insert-no-search", exitUsage, "insert --puzzle brick --solution c"},
		{"insert-refused", exitUsage, "insert --puzzle brick --solution ?"},
		{"findings-between", exitOK, "findings done --before a --after b"},
		{"findings-between-json", exitOK, "findings done --before a --output json"},
		{"findings-between-nothing", exitOK, "findings none --before a"},
		{"findings-between-not-found", exitNotFound, "findings gone --before a"},
		{"delete-json", exitOK, "delete done --json"},
		{"searches-mine", exitOK, "searches --mine"},
		{"searches-mine-json", exitOK, "searches --mine --json"},
		{"submit-wait", exitOK, "submit --puzzle brick --cycle edge --max 5 --wait"},
		{"submit-wait-failed", exitOther, "submit --puzzle brick --cycle rod --max 5 --wait --json"},
		{"whoami", exitOK, "whoami"},
		{"whoami-json", exitOK, "whoami --json"},
		{"member-add", exitOK, "member add anna --role organiser --expires 2030-12-31"},
		{"member-add-json", exitOK, "member add anna --json"},
		{"member-add-taken", exitUsage, "member add bert"},
		{"member-list", exitOK, "member list"},
		{"member-list-json", exitOK, "member list --json"},
		{"member-remove", exitOK, "member remove anna"},
		{"member-remove-json", exitOK, "member remove anna --json"},
		{"token-add", exitOK, "token add anna"},
		{"token-add-lost", exitOther, "token add bert"},
		{"token-list", exitOK, "token list"},
		{"token-list-json", exitOK, "token list anna --json"},
		{"token-list-denied", exitDenied, "token list bert"},
		{"token-revoke", exitOK, "token revoke anna/tokens/k3x9"},
		{"audit", exitOK, "audit --limit 2"},
		{"audit-json", exitOK, "audit --json"},
		{"delete-not-found", exitNotFound, "delete gone"},
	} {
		t.Run(c.name, func(t *testing.T) {
			f := startFake(t)
			args := strings.Fields(c.args)
			for i, arg := range args {
				switch arg {
				case "FILE":
					args[i] = file
				case "BAD":
					args[i] = bad
				}
			}
			status, stdout, stderr := turnwright(t.Context(), append(args, "--server", f.address)...)
			assert.Equal(t, c.status, status)

			var b strings.Builder
			fmt.Fprintf(&b, "$ turnwright %s\n%s", c.args, stdout)
			fmt.Fprintf(&b, "--- standard error, exit status %d\n%s", status, strings.ReplaceAll(stderr, bad, "BAD"))
			for _, request := range f.asked {
				fmt.Fprintf(&b, "--- asked\n%s", requestText(t, request))
			}
			golden(t, c.name, b.String())
		})
	}
}
