package browser

import (
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Two members play a round in two browsers: neither sees what the other hands in until it has
// closed, and then both see the standings.
func TestARoundOfTwo(t *testing.T) {
	data := filepath.Join(t.TempDir(), "data")
	cli := func(args ...string) string {
		t.Helper()
		said, err := exec.Command(program, args...).CombinedOutput()
		require.NoError(t, err, "%s", said)
		return string(said)
	}
	tokens := map[string]string{}
	for _, name := range []string{"anna", "bert"} {
		said := cli("member", "add", name, "--role", "organiser", "--data", data, "--json")
		_, rest, found := strings.Cut(said, `"secret":"`)
		require.True(t, found)
		tokens[name], _, _ = strings.Cut(rest, `"`)
	}
	at, stop, err := serve(data, "127.0.0.1:0", "--require-tokens")
	require.NoError(t, err)
	t.Cleanup(stop)
	as := func(name string, args ...string) string {
		t.Helper()
		command := exec.Command(program, append(args, "--server", at)...)
		command.Env = append(command.Environ(), "TURNWRIGHT_TOKEN="+tokens[name])
		said, err := command.CombinedOutput()
		require.NoError(t, err, "%s", said)
		return string(said)
	}
	as("anna", "announce", "--puzzle", "2x2x2", "--id", "lantern-cup", "--closes", "2h")

	tabs := map[string]tab{}
	scrambles := map[string]string{}
	for name, token := range tokens {
		b := visit(t, "http://"+at+"/", 1200, 860)
		b.do(chromedp.WaitVisible(chromedp.CSS("#token")), chromedp.SendKeys(chromedp.CSS("#token"), token+"\r"))
		b.until(`#stage[data-position]:not([data-reading])`)
		b.do(chromedp.WaitReady(chromedp.CSS(`#round option[value="rounds/lantern-cup"]`)))
		b.do(chromedp.Evaluate[chromedp.Void](`{const r = document.getElementById('round'); r.value = 'rounds/lantern-cup'; r.dispatchEvent(new Event('change'))}`))
		b.click("#start")
		b.until("#entry:not([hidden])")
		scrambles[name] = b.text("#scramble")
		get(b, chromedp.PollFunction[bool](`() => document.getElementById('puzzle').value === 'cube-2' && document.getElementById('stage').dataset.after > 0 && !('reading' in document.getElementById('stage').dataset)`))
		assert.Equal(t, engine(t, "2x2x2", scrambles[name]), b.position(), "the scramble is on the stage")
		tabs[name] = b
	}
	assert.Equal(t, scrambles["anna"], scrambles["bert"])

	b := tabs["anna"]
	b.do(chromedp.SendKeys(chromedp.CSS("#solution"), "R U"))
	get(b, chromedp.PollFunction[bool](`() => document.getElementById('verdict').textContent.includes('DNF')`))
	turns := strings.Fields(scrambles["anna"])
	var undone []string
	for i := range turns {
		turn := turns[len(turns)-1-i]
		switch {
		case strings.HasSuffix(turn, "'"):
			turn = strings.TrimSuffix(turn, "'")
		case !strings.HasSuffix(turn, "2"):
			turn += "'"
		}
		undone = append(undone, turn)
	}
	solution := strings.Join(undone, " ")
	b.do(chromedp.SetValue(chromedp.CSS("#solution"), solution), chromedp.SendKeys(chromedp.CSS("#solution"), " "))
	get(b, chromedp.PollFunction[bool](`() => document.getElementById('verdict').textContent.includes('It solves the scramble')`))
	b.click("#entry button")
	get(b, chromedp.PollFunction[bool](`() => document.getElementById('verdict').textContent.includes('Handed in')`))

	b.screen("round.png")
	b.bars()
	other := tabs["bert"]
	all := get(other, chromedp.Evaluate[string](`document.documentElement.outerHTML`))
	assert.NotContains(t, all, solution)
	assert.NotContains(t, all, "anna")

	as("anna", "close", "lantern-cup", "--reason", "all have handed in")
	for _, b := range tabs {
		b.do(chromedp.Evaluate[chromedp.Void](`document.getElementById('round').dispatchEvent(new Event('change'))`))
		b.until("#standings:not([hidden]) tbody tr")
		assert.Contains(t, b.text("#standings"), "anna")
	}
	b.screen("standings.png")
	b.bars()
}
