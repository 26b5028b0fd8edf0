package browser

import (
	"encoding/json"
	"fmt"
	"net/http"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

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
	b.reads("#who b", "anna")
	b.sit("server")
	b.until("#status[data-told]")
	b.reads("#desk-server .club-who", "You are anna, an organiser")
	b.reads("#desk-server .club-health", "All is well.")
	assert.Contains(t, b.text(`#desk-server [data-worker="server"]`), "2 slots")
	b.noSideways()
	b.screen("server.png")
	b.bars()
	kept := get(b, chromedp.Evaluate[string](`JSON.stringify([location.href, document.cookie, {...localStorage}, {...sessionStorage}, document.documentElement.outerHTML])`))
	assert.NotContains(t, kept, token)
	b.click("#who button")
	b.do(chromedp.WaitVisible(chromedp.CSS("#door")))
}

// comeIn enters the page of a club with a token.
func comeIn(t *testing.T, at, token string, wide, high int64) tab {
	t.Helper()
	b := visit(t, at+"/#"+view("3x3x3", "R U").Encode(), wide, high)
	b.do(chromedp.WaitVisible(chromedp.CSS("#token")), chromedp.SendKeys(chromedp.CSS("#token"), token+"\r"))
	b.until(`#ribbon li:nth-child(2)`)
	b.do(chromedp.WaitNotVisible(chromedp.CSS("#door")))
	return b
}

// An organiser takes a member and gives it a token, which is shown once and opens the page; it
// is revoked, and does so no more; the member goes, and all of this is on record.
func TestAnOrganiserSeesToMembers(t *testing.T) {
	c := startClub(t, "anna")
	b := comeIn(t, c.at, c.tokens["olga"], 1280, 860)
	b.sit("server")
	b.until(`[data-member="anna"]`)

	// A name that can't be one is refused by the server in words, and stays as it was typed.
	b.click(".club-new summary")
	b.do(chromedp.SendKeys(chromedp.CSS(`.club-add [name="member"]`), "anna\r"))
	b.reads(".club-add .wrong", "anna")
	assert.Equal(t, "anna", get(b, chromedp.Value(chromedp.CSS(`.club-add [name="member"]`))))
	b.do(chromedp.Evaluate[chromedp.Void](`document.querySelector('.club-add [name="member"]').value = ''`), chromedp.SendKeys(chromedp.CSS(`.club-add [name="member"]`), "mirko\r"))
	b.until(".club-secret input")
	token := get(b, chromedp.Value(chromedp.CSS(".club-secret input")))
	require.NotEmpty(t, token)
	b.bars()
	b.screen("server-token.png")
	b.click(".club-secret button:not(.main)")
	b.until(`[data-member="mirko"] [data-token]`)
	gone := get(b, chromedp.Evaluate[string](`JSON.stringify([location.href, document.cookie, {...localStorage}, {...sessionStorage},
		document.documentElement.outerHTML, ...[...document.querySelectorAll('input')].map(i => i.value)])`))
	assert.NotContains(t, gone, token)
	b.bars()

	// It opens the page for somebody who is offered what members may do, and nothing else.
	m := comeIn(t, c.at, token, 390, 844)
	m.sit("server")
	m.reads("#desk-server .club-who", "You are mirko")
	m.until("#status[data-told] ~ #members .club-tokens [data-token]")
	assert.NotContains(t, m.text("#desk-server"), "Add a member")
	assert.NotContains(t, m.text("#desk-server"), "What organisers did")
	m.noSideways()
	m.bars()
	m.screen("server-member.png")

	// Asked twice, and "No" leaves it.
	b.click(`[data-member="mirko"] [data-token] .revoke`)
	b.until("dialog[open] .main")
	b.screen("server-revoke.png")
	b.bars()
	b.click(`dialog[open] button:not(.main)`)
	b.do(chromedp.WaitNotPresent(chromedp.CSS("dialog")))
	b.until(`[data-member="mirko"] [data-token] .revoke:focus`)
	b.click(`[data-member="mirko"] [data-token] .revoke`)
	b.click("dialog[open] .main")
	b.reads(`[data-member="mirko"] .club-tokens`, "no token")
	b.until(`[data-member="mirko"] summary:focus`) // the button is gone
	// Whoever came in with it is told so, is asked for another, and has nothing of the server left.
	m.until("#door")
	m.reads("#notice", "was revoked")
	assert.NotContains(t, m.text("#desk-server"), "mirko")
	m.bars()
	m.screen("server-revoked.png")
	late := visit(t, c.at+"/#"+view("3x3x3", "").Encode(), 390, 844)
	late.do(chromedp.WaitVisible(chromedp.CSS("#token")), chromedp.SendKeys(chromedp.CSS("#token"), token+"\r"))
	late.reads("#notice", "was revoked")

	// The member goes, and what was done is on record: as the server has it.
	b.click(`[data-member="mirko"] .remove`)
	b.click("dialog[open] .main")
	b.do(chromedp.WaitNotPresent(chromedp.CSS(`[data-member="mirko"]`)))
	b.reads(".club-audit tbody tr", "delete member")
	acts := c.audit(t)
	require.NotEmpty(t, acts)
	assert.Equal(t, acts, get(b, chromedp.Evaluate[[]string](`[...document.querySelectorAll('.club-audit tbody tr')].map(r => r.dataset.act)`)))
	b.do(chromedp.Evaluate[chromedp.Void](`document.querySelector('.club-audit').scrollIntoView({block: 'end'})`))
	b.screen("server-audit.png")
	b.dress("dark")
	b.bars()
	b.do(chromedp.Evaluate[chromedp.Void](`document.querySelector('#desk-server').scrollIntoView()`))
	b.screen("server-dark.png")

	// The same in a hand.
	b.do(chromedp.EmulateViewport(390, 844))
	b.click(`[data-member="anna"] summary`)
	b.until(`[data-member="anna"] [data-token]`)
	b.click(`[data-member="anna"] .give`)
	b.until(".club-secret input")
	b.noSideways()
	b.bars()
	b.screen("server-token-in-a-hand.png")
	b.do(chromedp.KeyEvent("\u001b")) // Escape
	b.until(`[data-member="anna"] [data-token]:nth-child(2)`)
	b.do(chromedp.Evaluate[chromedp.Void](`document.querySelector('#members').scrollIntoView()`))
	b.noSideways()
	b.bars()
	b.screen("server-members-in-a-hand.png")
}

// The desk shows the queue and the workers, and lets a worker go that then ends.
func TestAnOrganiserSeesTheWork(t *testing.T) {
	listen, stop, err := serve(filepath.Join(t.TempDir(), "data"), "127.0.0.1:0", "--workers", "0")
	require.NoError(t, err)
	t.Cleanup(stop)
	at := "http://" + listen
	for _, id := range []string{"lantern", "harbour"} {
		askServer[any](t, at, "/v1/searches", fmt.Sprintf(`{"searchId": %q, "requestId": %[1]q, "search": {
			"goal": {"puzzle": "puzzles/vertex-cut-dodecahedron", "cycle": "triangle"}, "maxLength": 12, "memoryBytes": 33554432}}`, id))
	}
	askServer[any](t, at, "/v1/searches/harbour:pause", `{"requestId": "pause"}`)
	v := view("3x3x3", "")
	v.Set("desk", "server")
	b := visit(t, at+"/#"+v.Encode(), 1280, 860)
	b.reads(".club-who", "This is a server of your own.")
	b.reads(".club-health", "Nobody works")
	b.until(`[data-search="harbour"][data-state="SEARCH_STATE_PAUSED"]`)
	assert.Contains(t, b.text(`[data-search="harbour"]`), "3-cycles of triangle on vertex-cut-dodecahedron")
	b.screen("server-waits.png")
	read := []string{"#status .club-facts dd", `[data-search="harbour"] b`, ".club-disk dd"} // what is as it was stays: somebody may have marked it
	for _, part := range read {
		b.mark(part)
	}

	worker := exec.Command(program, "work", "--server", listen, "--name", "hall-3", "--workers", "1", "--cache", t.TempDir())
	require.NoError(t, worker.Start())
	ended := make(chan error, 1)
	go func() { ended <- worker.Wait() }()
	t.Cleanup(func() { _ = worker.Process.Kill() })
	b.until(`[data-worker="hall-3"] .let-go`)
	b.reads(".club-health", "All is well.")
	b.until(`[data-search="lantern"][data-state="SEARCH_STATE_RUNNING"]`)
	b.reads(`[data-search="lantern"]`, "% of length ") // in the words of the search's own desk
	b.until(`[data-search="lantern"] progress`)
	get(b, poll[bool](`() => /proven up to [1-9]/.test(document.querySelector('[data-search="lantern"]').textContent)`))
	for _, part := range read {
		b.marked(part)
	}
	b.bars()
	b.screen("server-works.png")
	b.do(chromedp.EmulateViewport(390, 844))
	b.noSideways()
	b.bars()
	b.do(chromedp.Evaluate[chromedp.Void](`document.querySelector('.club-queue').scrollIntoView()`))
	b.screen("server-works-in-a-hand.png")

	// Who lets it go and leaves the desk has nothing asked for there.
	b.click(`[data-worker="hall-3"] .let-go`)
	b.until("dialog[open] .main")
	b.hold(":drain")
	b.click("dialog[open] .main")
	b.held()
	b.click("dialog[open] button:not(.main)")
	b.do(chromedp.WaitNotPresent(chromedp.CSS("dialog")))
	b.sit("effect")
	b.count("/v1/workers")
	b.goOn()
	assert.Zero(t, b.counted())
	select {
	case err := <-ended:
		assert.NoError(t, err)
	case <-b.ctx.Done():
		t.Error("the worker did not end")
	}
}

// audit is what organisers did, by the API: acts and what they were done to, the latest first.
func (c club) audit(t *testing.T) []string {
	t.Helper()
	r, err := http.NewRequestWithContext(t.Context(), http.MethodGet, c.at+"/v1/audit", nil)
	require.NoError(t, err)
	r.Header.Set("Authorization", "Bearer "+c.tokens["olga"])
	reply, err := http.DefaultClient.Do(r)
	require.NoError(t, err)
	defer func() { _ = reply.Body.Close() }()
	var read struct {
		Entries []struct{ Act, Target string }
	}
	require.NoError(t, json.NewDecoder(reply.Body).Decode(&read))
	var out []string
	for _, e := range read.Entries {
		out = append(out, e.Act+" "+e.Target)
	}
	return out
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
		get(b, poll[bool](`() => document.getElementById('state').textContent.includes('`+text+`')`))
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

// What somebody is about to press on the server's desk, or is asked there, stays while it is looked at again; answers that come
// late are not taken for later ones; and a desk that was left asks for nothing.
func TestTheServersDeskIsLookedAtAgain(t *testing.T) {
	c := startClub(t, "anna")
	for i := range 25 { // more than what is shown at first of what organisers did
		c.post("olga", "/v1/members/anna/tokens", map[string]any{"requestId": fmt.Sprint("token-", i), "token": map[string]any{"expireTime": time.Now().Add(time.Hour).UTC().Format(time.RFC3339)}})
	}
	b := comeIn(t, c.at, c.tokens["olga"], 1280, 860)
	b.sit("server")
	b.until("#status[data-told]")
	rows := func() int {
		return get(b, chromedp.Evaluate[int](`document.querySelectorAll('.club-audit tbody tr').length`))
	}
	b.until(".club-audit tbody tr:nth-child(20)")
	b.hold("/v1/audit")
	b.sit("server")
	b.held()
	b.click("#members .club-part:last-child > button") // before the first page has come again
	b.goOn()
	assert.Equal(t, 20, rows())

	tokens := func() int {
		return get(b, chromedp.Evaluate[int](`document.querySelectorAll('[data-member="anna"] [data-token]').length`))
	}
	b.hold("/members/anna/tokens?")
	b.click(`[data-member="anna"] summary`)
	b.held()
	b.click(`[data-member="anna"] .give`)
	b.click(".club-secret button:not(.main)")
	b.until(`[data-member="anna"] [data-token]:nth-child(27)`)
	b.goOn()
	assert.Equal(t, 27, tokens())

	b.mark(`[data-member="anna"] [data-token] .revoke`)
	b.hold("/members/anna/tokens?")
	b.click(`[data-member="anna"] .give`)
	b.click(".club-secret button:not(.main)")
	b.held()
	b.goOn()
	b.until(`[data-member="anna"] [data-token]:nth-child(28)`)
	b.marked(`[data-member="anna"] [data-token] .revoke`)
	b.hold("/v1/members?")
	b.sit("server")
	b.held()
	b.goOn()
	b.marked(`[data-member="anna"] [data-token] .revoke`)
}
