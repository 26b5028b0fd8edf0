package browser

import (
	"net/http"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A server that wants tokens has the page ask for one. It is kept where nobody finds it.
func TestAClubsPageAsksWhoOneIs(t *testing.T) {
	data := filepath.Join(t.TempDir(), "data")
	said, err := exec.Command(program, "member", "add", "anna", "--role", "organiser", "--data", data, "--json").Output()
	require.NoError(t, err)
	_, token, found := strings.Cut(string(said), `"secret":"`)
	require.True(t, found, "%s", said)
	token, _, _ = strings.Cut(token, `"`)
	at, stop, err := serve(data, "127.0.0.1:0", "--require-tokens", "--workers", "2")
	require.NoError(t, err)
	t.Cleanup(stop)

	b := visit(t, "http://"+at+"/#"+view("3x3x3", "R U").Encode(), 390, 844)
	b.do(chromedp.WaitVisible(chromedp.CSS("#token")), chromedp.SendKeys(chromedp.CSS("#token"), token+"\r"))
	b.until(`#stage[data-position]:not([data-reading])`)
	b.until(`#ribbon li:nth-child(2)`)
	b.do(chromedp.WaitNotVisible(chromedp.CSS("#door")))
	assert.Equal(t, "anna", b.text("#who b"))
	b.sit("server")
	b.until("#status dd:nth-of-type(8)")
	assert.Contains(t, b.text("#status"), "server (2 slots, 0 units done)")
	b.screen("status.png")
	b.bars()
	kept := get(b, chromedp.Evaluate[string](`JSON.stringify([location.href, document.cookie, {...localStorage}, {...sessionStorage}, document.documentElement.outerHTML])`))
	assert.NotContains(t, kept, token)
	b.click("#who button")
	b.do(chromedp.WaitVisible(chromedp.CSS("#door")))
}

// A stream that breaks off with its server is taken up when that is back, and nothing is
// missing in the end.
func TestAStreamIsTakenUpAgain(t *testing.T) {
	data := filepath.Join(t.TempDir(), "data")
	at, stop, err := serve(data, "127.0.0.1:0", "--workers", "1")
	require.NoError(t, err)
	const asked = `{"searchId": "lantern", "requestId": "lantern", "search": {
		"goal": {"puzzle": "puzzles/vertex-cut-dodecahedron", "cycle": "triangle"}, "maxLength": 9}}`
	post := func(path, body string) {
		reply, err := http.Post("http://"+at+path, "application/json", strings.NewReader(body))
		require.NoError(t, err)
		require.NoError(t, reply.Body.Close())
		require.Equal(t, http.StatusOK, reply.StatusCode)
	}
	post("/v1/searches", asked)
	post("/v1/searches/lantern:pause", `{"requestId": "pause"}`)

	v := view("vertex-cut-dodecahedron", "")
	v.Set("search", "lantern")
	b := visit(t, "http://"+at+"/#"+v.Encode(), 1200, 860)
	says := func(text string) {
		t.Helper()
		get(b, chromedp.PollFunction[bool](`() => document.getElementById('state').textContent.includes('`+text+`')`))
	}
	says("It is paused")
	stop()
	says("connection broke")
	_, stop, err = serve(data, at, "--workers", "1")
	require.NoError(t, err)
	t.Cleanup(stop)
	says("It is paused")
	post("/v1/searches/lantern:resume", `{"requestId": "resume"}`)
	says("It has ended")
	b.until(`#searches[data-findings="77"]`) // README: "Reached: 77 of 303 classes"
}
