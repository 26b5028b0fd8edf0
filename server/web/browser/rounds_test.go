package browser

import (
	"encoding/json"
	"fmt"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"turnwright/search/notation"
	"turnwright/search/puzzle"
)

// club is a server that wants tokens, with an organiser and members.
type club struct {
	*testing.T
	at     string
	tokens map[string]string
}

func startClub(t *testing.T, members ...string) club {
	t.Helper()
	c := club{t, "", map[string]string{}}
	data := filepath.Join(t.TempDir(), "data")
	for _, name := range append(members, "olga") {
		role := "member"
		if name == "olga" {
			role = "organiser"
		}
		said, err := exec.Command(program, "member", "add", name, "--role", role, "--data", data, "--json").Output()
		require.NoError(t, err)
		_, token, found := strings.Cut(string(said), `"secret":"`)
		require.True(t, found, "%s", said)
		c.tokens[name], _, _ = strings.Cut(token, `"`)
	}
	at, stop, err := serve(data, "127.0.0.1:0", "--require-tokens")
	require.NoError(t, err)
	t.Cleanup(stop)
	c.at = "http://" + at
	return c
}

// post makes a call as somebody.
func (c club) post(who, path string, body any) {
	c.Helper()
	text, err := json.Marshal(body)
	require.NoError(c, err)
	r, err := http.NewRequestWithContext(c.Context(), http.MethodPost, c.at+path, strings.NewReader(string(text)))
	require.NoError(c, err)
	r.Header.Set("Authorization", "Bearer "+c.tokens[who])
	r.Header.Set("Content-Type", "application/json")
	reply, err := http.DefaultClient.Do(r)
	require.NoError(c, err)
	require.NoError(c, reply.Body.Close())
	require.Equal(c, http.StatusOK, reply.StatusCode, path)
}

// announce opens a round on the 2x2x2 for three hours; more are further fields and their values.
func (c club) announce(id, title string, more ...any) {
	c.Helper()
	round := map[string]any{"title": title, "puzzle": "puzzles/2x2x2", "closeTime": time.Now().Add(3 * time.Hour).Format(time.RFC3339)}
	for i := 0; i < len(more); i += 2 {
		round[more[i].(string)] = more[i+1]
	}
	c.post("olga", "/v1/rounds", map[string]any{"roundId": id, "requestId": id, "round": round})
}

func (c club) close(id string) {
	c.Helper()
	c.post("olga", "/v1/rounds/"+id+":close", map[string]any{"requestId": "close-" + id, "reason": "all have handed in"})
}

// visit opens a round as somebody, in a browser context of their own, and keeps what the
// server says there.
func (c club) visit(who, round string, wide, high int64) tab {
	c.Helper()
	v := view("2x2x2", "")
	v.Set("round", round)
	b := visit(c.T, c.at+"/#"+v.Encode(), wide, high)
	b.until("#token")
	b.do(chromedp.Evaluate[chromedp.Void](`window.heard = []; { const real = fetch; window.fetch = async (...asked) => {
		const reply = await real(...asked); window.heard.push(await reply.clone().text()); return reply; }; }`))
	b.do(chromedp.SendKeys(chromedp.CSS("#token"), c.tokens[who]+"\r"))
	b.until(`#stage[data-position]:not([data-reading])`)
	b.until(`.round[data-state]`)
	return b
}

// write puts a text in the place of what a solution was, all at once.
func (b tab) write(text, verdict string) {
	b.Helper()
	b.do(chromedp.Evaluate[chromedp.Void](fmt.Sprintf(`{ const s = document.querySelector('.solution'); s.value = %q; s.dispatchEvent(new Event('input')); }`, text)))
	b.until(`.verdict[data-of="` + verdict + `"]`)
}

func (b tab) start() {
	b.Helper()
	b.until(`.attempt[data-clock="stopped"]`)
	b.click(".start")
	b.click("dialog[open] .main")
	b.until(`.attempt[data-clock="runs"] .solution`)
}

// asks tells whether the browser would ask before the page is left.
func (b tab) asks() bool {
	b.Helper()
	return get(b, chromedp.Evaluate[bool](`!window.dispatchEvent(new Event('beforeunload', {cancelable: true}))`))
}

// heard is all that the server said to a page, and all that the page shows.
func (b tab) heard() string {
	b.Helper()
	return get(b, chromedp.Evaluate[string](`window.heard.join('\n') + document.documentElement.outerHTML`))
}

// around is the part of a text about a place.
func around(text string, i int) string { return text[max(0, i-200):min(len(text), max(0, i)+200)] }

func inverse(t *testing.T, p *puzzle.Puzzle, sequence string) string {
	t.Helper()
	turns, err := notation.ParseTurns(p, sequence)
	require.NoError(t, err)
	return notation.Print(p, notation.Invert(turns))
}

// A round played by two members in two browsers: neither sees of the other's entry that it
// is there, before the round has closed.
func TestARoundIsPlayedByTwo(t *testing.T) {
	c := startClub(t, "anna", "bert")
	c.announce("lantern-cup", "Lantern cup")
	p, err := puzzle.Find("2x2x2")
	require.NoError(t, err)

	// Anna looks at the round: nothing begins before she says so, twice.
	anna := c.visit("anna", "lantern-cup", 1200, 860)
	assert.Contains(t, anna.text("#rounds .facts"), "one attempt, OBTM")
	anna.click(".all")
	anna.until(`.rounds`)
	assert.Contains(t, anna.text(`.rounds [data-round="lantern-cup"]`), "closes in 2 h 59 min")
	anna.click(`.rounds [data-round="lantern-cup"]`)
	anna.until(`.attempt[data-clock="stopped"]`)
	anna.click(".start")
	anna.until("dialog[open]")
	anna.do(chromedp.KeyEvent("\x1b"))
	anna.until(`.attempt[data-clock="stopped"]`)
	assert.NotContains(t, anna.heard(), `"scramble":`)
	anna.start()
	scramble := anna.text(".scramble code")
	best := inverse(t, p, scramble)
	assert.Contains(t, anna.text(".clock"), "59 min left")
	anna.click(".scramble button")
	turns, err := notation.ParseTurns(p, scramble)
	require.NoError(t, err)
	anna.at(len(turns))
	assert.Equal(t, engine(t, "2x2x2", scramble), anna.position())
	anna.do(chromedp.Focus(chromedp.CSS("#stage")), chromedp.KeyEvent("r"))
	anna.at(len(turns) + 1)
	// What she turned there she may take over, and take back.
	anna.until(".take")
	assert.Equal(t, "Take over 1 turn from the puzzle", anna.text(".take"))
	anna.write("U2 F", "unsolved")
	anna.click(".take")
	assert.Equal(t, "R", get(anna, chromedp.Value(chromedp.CSS(".solution"))))
	anna.click(".back")
	assert.Equal(t, "U2 F", get(anna, chromedp.Value(chromedp.CSS(".solution"))))
	assert.NotRegexp(t, "sequence=|after=", get(anna, poll[string](`() => location.hash.includes('puzzle=cube-2') && location.hash`)), "no address has what is sealed")

	// What she writes is checked as she writes it, and kept by nobody.
	anna.write("R ? U", "unread")
	assert.Equal(t, "?", anna.text(".place mark"))
	anna.write("R U", "unsolved")
	assert.Contains(t, anna.text(".verdict"), "2 moves so far (OBTM)")
	assert.Contains(t, anna.text(".verdict"), "of type corner (U")

	assert.True(t, anna.asks(), "the browser asks before this is lost")

	// A round that is changed meanwhile takes nothing of that from her.
	c.post("olga", "/v1/rounds/lantern-cup:update", map[string]any{
		"round": map[string]any{"title": "The lantern cup"}, "updateMask": "title", "reason": "as it was printed", "requestId": "title",
	})
	anna.click(".again")
	get(anna, poll[bool](`() => document.querySelector('.round h3').textContent === 'The lantern cup'`))
	assert.Equal(t, "R U", get(anna, chromedp.Value(chromedp.CSS(".solution"))))
	anna.until(`.attempt[data-clock="runs"] .verdict[data-of="unsolved"]`)

	// Where her time is over nothing is taken, and what she wrote is still there to see.
	anna.do(chromedp.Evaluate[chromedp.Void](`window.real = Date.now; Date.now = () => window.real() + 2 * 3600e3;
		Object.defineProperty(document, 'hidden', {value: true, configurable: true})`)) // nobody asks the server meanwhile
	anna.until(`.attempt[data-clock="over"]`)
	assert.Equal(t, "Your time is over.", anna.text(".clock"))
	assert.Equal(t, "R U", anna.text(`.unsent pre`))
	anna.do(chromedp.Evaluate[chromedp.Void](`Date.now = window.real; delete document.hidden`))
	anna.until(`.attempt[data-clock="runs"] .verdict[data-of="unsolved"]`)

	anna.write("U U' "+best, "solved")
	assert.Contains(t, anna.text(".sealed"), "nothing yet")
	anna.click(".hand")
	anna.until(`.sealed[data-revision="1"]`)
	anna.write(best, "solved")
	anna.click(".hand")
	anna.until(`.sealed[data-revision="2"]`)
	assert.True(t, anna.asks(), "what she turned on the stage is in no address")
	anna.click(".scramble button")
	anna.at(len(turns))
	assert.False(t, anna.asks())

	// Nobody puts a worse one in the place of a better without being asked.
	anna.write("U U' "+best, "solved")
	assert.Contains(t, anna.text(".verdict"), "what is handed in last counts")
	anna.click(".hand")
	anna.until("dialog[open]")
	assert.Contains(t, anna.text("dialog"), fmt.Sprintf("You have handed in %d moves. This is %d moves", len(turns), len(turns)+2))
	anna.click("dialog button:not(.main)")
	// Nor does who is quicker than the check of what is typed.
	anna.do(chromedp.Evaluate[chromedp.Void](`{ const s = document.querySelector('.solution'); s.value = 'R'; s.dispatchEvent(new Event('input')); document.querySelector('.hand').click(); }`))
	anna.until("dialog[open]")
	assert.Contains(t, anna.text("dialog"), "This is no result")
	anna.click("dialog button:not(.main)")
	anna.write(best, "solved")
	anna.until(`.sealed[data-revision="2"]`)
	counts := fmt.Sprintf("%d moves", len(turns))
	assert.Contains(t, anna.text(".sealed"), counts)

	// Bert sees nothing of it, and plays by keys alone.
	bert := c.visit("bert", "lantern-cup", 390, 844)
	bert.until(`.attempt[data-clock="stopped"]`)
	bert.do(chromedp.Focus(chromedp.CSS(".start")), chromedp.KeyEvent("\r"))
	bert.until("dialog[open]")
	bert.do(chromedp.KeyEvent("\t"), chromedp.KeyEvent("\r"))
	bert.until(`.attempt[data-clock="runs"] .solution:focus`)
	assert.Equal(t, scramble, bert.text(".scramble code"))
	other := "F F' " + best
	bert.do(chromedp.KeyEvent(other))
	bert.until(`.verdict[data-of="solved"]`)
	before := bert.heard()
	const lists = `window.heard.filter(h => h.startsWith('{"rounds"')).length`
	bert.click(".hand")
	bert.until(`.sealed[data-revision="1"]`)
	looked := get(bert, chromedp.Evaluate[int](lists))
	bert.click(".again")
	get(bert, poll[bool](fmt.Sprintf(`() => %s > %d`, lists, looked)))
	for _, said := range []string{before, bert.heard()} {
		said = strings.ReplaceAll(said, other, "") // his own
		for _, sealed := range []string{"anna", best, `"length":` + strconv.Itoa(len(turns)) + ","} {
			i := strings.Index(said, sealed)
			assert.Negative(t, i, "%s: %s", sealed, around(said, i))
		}
	}
	assert.False(t, strings.Contains(anna.heard(), "bert"))

	// Closed: both see all of it.
	c.close("lantern-cup")
	for _, b := range []tab{anna, bert} {
		b.click(".again")
		b.until(`.round[data-state="CLOSED"] .standings`)
		assert.Contains(t, b.text(".standings tbody tr:nth-child(1)"), "anna")
		assert.Contains(t, b.text(".standings tbody tr:nth-child(2)"), "bert")
		b.click(".compare")
		b.until(`.comparison[data-solutions="2"]`)
		cells := get(b, chromedp.Evaluate[[]int](`[...document.querySelectorAll('.strip')].map(s => s.children.length)`))
		assert.Equal(t, []int{len(turns), len(turns) + 2}, cells)
	}
	bert.click(".fewest")
	bert.until(`.comparison[data-looked]`)
	assert.Regexp(t, `For the whole: \d+ moves? (is|are) the fewest`, bert.text(".whole"))
	bert.click(".comparison .strip li:nth-child(3) button")
	bert.at(len(turns) + 3)
	assert.Equal(t, engine(t, "2x2x2", scramble+" "+notation.Print(p, notation.Invert(turns)[:3])), bert.position())
}

// Of a solution that is alone one sees where its moves went, whether what its author thought names
// its stages or is prose.
func TestASolutionAlone(t *testing.T) {
	c := startClub(t, "anna")
	p, err := puzzle.Find("2x2x2")
	require.NoError(t, err)
	for round, explanation := range map[string]string{"stages": "%s // all at once", "prose": "I was lucky"} {
		c.announce(round, round)
		b := c.visit("anna", round, 1200, 860)
		b.start()
		solution := inverse(t, p, b.text(".scramble code"))
		c.post("anna", "/v1/rounds/"+round+"/entries", map[string]any{
			"requestId": round, "entry": map[string]any{"attempt": 1, "solution": solution, "explanation": strings.ReplaceAll(explanation, "%s", solution)},
		})
		c.close(round)
		b.click(".again")
		b.until(`.round[data-state="CLOSED"] .standings`)
		b.click(".compare")
		b.until(`.comparison[data-solutions="1"]`)
		assert.Equal(t, round == "stages", strings.Contains(b.text(".legend"), "all at once"), round)

		// Another look finds all as it was, and takes nothing from under somebody's finger.
		b.mark(".study")
		b.hold("/entries")
		b.click("#rounds .again")
		b.held()
		b.goOn()
		b.marked(".study")
		b.until(`.comparison[data-solutions="1"]`)

		// It goes to the solution desk as it is.
		b.click("#rounds .study")
		b.until("#desk-solution .strip li")
		cells := get(b, chromedp.Evaluate[string](`[...document.querySelectorAll('#desk-solution .strip li')].map(li => li.textContent).join(' ')`))
		assert.Equal(t, solution, cells)
	}
}

// The screens of a round stand in nobody's way, in both dresses.
func TestRoundsStandInNobodysWay(t *testing.T) {
	c := startClub(t, "anna", "bert")
	c.announce("lantern-cup", "Lantern cup")
	c.announce("harbour-evening", "Harbour evening", "attempts", 3, "format", "ROUND_FORMAT_MEAN")
	p, err := puzzle.Find("2x2x2")
	require.NoError(t, err)
	shots := os.Getenv("TURNWRIGHT_SCREENSHOTS")
	for i, dress := range []struct {
		who, theme string
		wide, high int64
	}{{"anna", "light", 1280, 860}, {"bert", "dark", 390, 844}} {
		b := c.visit(dress.who, "lantern-cup", dress.wide, dress.high)
		b.dress(dress.theme)
		look := func(name string) {
			t.Helper()
			b.bars()
			if shots != "" {
				require.NoError(t, os.MkdirAll(shots, 0o755))
				b.do(chromedp.Evaluate[chromedp.Void](`document.querySelector('.of-rounds').scrollIntoView()`))
				require.NoError(t, os.WriteFile(filepath.Join(shots, fmt.Sprintf("round-%s-%s.png", name, dress.theme)), get(b, chromedp.FullScreenshot(90)), 0o644))
			}
		}
		b.until(".start")
		look("before")
		b.click(".start")
		b.until("dialog[open]")
		look("asks")
		b.click("dialog .main")
		b.until(".solution")
		best := inverse(t, p, b.text(".scramble code"))
		b.until(".scramble .net[alt]")
		b.write("R ? U", "unread")
		look("unread")
		b.write(strings.Repeat("U U' ", i)+best, "solved")
		b.click(".hand")
		b.until(`.sealed[data-revision="1"]`)
		look("sealed")
		if i == 1 {
			c.close("lantern-cup")
			b.click(".again")
			b.until(".standings")
			b.click(".compare")
			b.until(`.comparison[data-solutions="2"]`)
			look("closed")
			b.do(chromedp.EmulateViewport(1280, 860))
			b.dress("light")
			dress.theme = "light"
			look("closed")

			// A mean of three, one of them no result and one not handed in.
			b.click(".all")
			b.click(`.rounds [data-round="harbour-evening"]`)
			b.until(`.attempt[data-clock="stopped"][aria-label="Attempt 3"]`)
			b.click(`[aria-label="Attempt 1"] .start`)
			b.click("dialog[open] .main")
			b.until(`.solution`)
			b.write(inverse(t, p, b.text(".scramble code")), "solved")
			b.do(chromedp.Evaluate[chromedp.Void](`{ const d = document.querySelector('.attempt details'); d.open = true; d.querySelector('textarea').value = '// all at once\n' + document.querySelector('.solution').value; }`))
			b.click(".hand")
			b.until(`.sealed[data-revision="1"]`)
			for _, call := range []string{":showScramble", "/entries"} {
				c.post(dress.who, "/v1/rounds/harbour-evening"+call, map[string]map[string]any{
					":showScramble": {"attempt": 2, "requestId": "see"}, "/entries": {"entry": map[string]any{"attempt": 2, "solution": "R U"}, "requestId": "enter"},
				}[call])
			}
			c.close("harbour-evening")
			b.click(".again")
			b.until(".standings")
			assert.Equal(t, "DNF", b.text(".standings tbody td:nth-of-type(3)"))
			assert.Equal(t, "DNS", b.text(".standings tbody td:nth-of-type(4)"))
			b.click(`[aria-label="Attempt 1"] .compare`)
			b.until(`.comparison[data-solutions="1"]`)
			assert.Contains(t, b.text(".legend"), "all at once")
			look("mean")
		}
	}
}

// A token that is revoked while its member writes an attempt: another is asked for there, nothing
// that was typed is lost, and who types goes on typing where they are.
func TestARevokedTokenTakesNothingThatIsWritten(t *testing.T) {
	c := startClub(t, "anna")
	c.announce("lantern-cup", "Lantern cup")
	b := c.visit("anna", "lantern-cup", 1280, 860)
	b.start()
	b.click(".scramble button")
	b.until(`#stage:not([data-turning]):not([data-reading])[data-after]:not([data-after="0"])`)
	b.do(chromedp.Focus(chromedp.CSS("#stage")), chromedp.KeyEvent("r"))
	b.until(`.take`)
	tried := get(b, chromedp.Value(chromedp.CSS("#sequence")))
	b.write("R U", "unsolved")
	for _, token := range c.tokensOf("anna") {
		c.post("olga", "/v1/"+token+":revoke", map[string]any{"requestId": "revoke-anna"})
	}
	b.do(chromedp.SendKeys(chromedp.CSS(".solution"), " F"))
	b.until("#door")
	b.reads("#notice", "was revoked")
	b.do(chromedp.KeyEvent(" D"))
	assert.Equal(t, "R U F D", get(b, chromedp.Value(chromedp.CSS(".solution"))))
	assert.Empty(t, get(b, chromedp.Value(chromedp.CSS("#token"))))

	said := c.give("anna")
	b.hold("/v1/caller")
	b.do(chromedp.SendKeys(chromedp.CSS("#token"), said+"\r"))
	b.held()
	assert.Equal(t, "cube-2", get(b, chromedp.Value(chromedp.CSS("#puzzle"))), "while it is asked who is there")
	b.goOn()
	b.do(chromedp.WaitNotVisible(chromedp.CSS("#door")), chromedp.WaitNotVisible(chromedp.CSS("#notice")))
	b.until(`.attempt[data-clock="runs"] .verdict[data-of="unsolved"]`)
	assert.Equal(t, "R U F D", get(b, chromedp.Value(chromedp.CSS(".solution"))))
	assert.Equal(t, tried, get(b, chromedp.Value(chromedp.CSS("#sequence"))), "what was tried on the stage is there still")
	assert.Equal(t, "cube-2", get(b, chromedp.Value(chromedp.CSS("#puzzle"))))
}

// tokensOf are the names of a member's tokens.
func (c club) tokensOf(who string) (names []string) {
	c.Helper()
	var said struct{ Tokens []struct{ Name string } }
	c.ask("olga", "/v1/members/"+who+"/tokens", &said)
	for _, token := range said.Tokens {
		names = append(names, token.Name)
	}
	require.NotEmpty(c, names)
	return names
}

// give makes another token for a member.
func (c club) give(who string) string {
	c.Helper()
	body := fmt.Sprintf(`{"requestId": "another", "token": {"expireTime": %q}}`, time.Now().Add(time.Hour).UTC().Format(time.RFC3339))
	r, err := http.NewRequestWithContext(c.Context(), http.MethodPost, c.at+"/v1/members/"+who+"/tokens", strings.NewReader(body))
	require.NoError(c, err)
	r.Header.Set("Authorization", "Bearer "+c.tokens["olga"])
	r.Header.Set("Content-Type", "application/json")
	reply, err := http.DefaultClient.Do(r)
	require.NoError(c, err)
	defer func() { _ = reply.Body.Close() }()
	require.Equal(c, http.StatusOK, reply.StatusCode)
	var said struct{ Secret string }
	require.NoError(c, json.NewDecoder(reply.Body).Decode(&said))
	return said.Secret
}

// The name of a round or a search that an address has leads to no other call.
func TestAnAddressLeadsToNoOtherCall(t *testing.T) {
	v := view("2x2x2", "")
	v.Set("round", "../caller")
	v.Set("search", "../status?")
	b := visit(t, address+"/#"+v.Encode(), 1280, 860)
	b.until(`#stage[data-position]:not([data-reading])`)
	b.until("#rounds .bar + .wrong:not(:empty)")
	asked := get(b, chromedp.Evaluate[[]string](`performance.getEntriesByType('resource').map(r => new URL(r.name).pathname)`))
	assert.Contains(t, asked, "/v1/rounds/..%2Fcaller")
	assert.NotContains(t, b.text("#rounds .bar + .wrong"), "undefined")
	b.sit("searches")
	b.until("#state:not(:empty)")
	t.Log(b.text("#rounds .bar + .wrong"), b.text("#state"))
	for _, path := range asked {
		assert.NotContains(t, []string{"/v1/status", "/v1/status/findings:stream"}, path)
	}
}

// What somebody writes is text to everybody, however it is made, and as wide as the page.
func TestWhatIsWrittenIsText(t *testing.T) {
	const markup = `<img src=x onerror="window.ran=1">`
	c := startClub(t, "anna")
	c.announce("lantern-cup", markup+strings.Repeat("W", 150))
	b := c.visit("anna", "lantern-cup", 390, 844)
	b.reads(".round .head h3", markup)
	b.noSideways()
	b.start()
	b.write(markup, "unread")
	b.write(strings.Repeat("R ", 400)+"? "+strings.Repeat("U ", 400), "unread")
	assert.Contains(t, b.text(".verdict .place"), "… ")
	assert.Less(t, len(b.text(".verdict .place")), 200, "what is around the place")
	assert.Equal(t, "?", b.text(".verdict mark"))
	b.noSideways()
	b.screen("rounds-unread-in-a-hand.png")
	b.write("R U", "unsolved")
	b.do(chromedp.Evaluate[chromedp.Void](fmt.Sprintf(`{ const s = document.querySelector('.explanation'); s.value = %q; s.dispatchEvent(new Event('input')); }`, markup+strings.Repeat("Z", 400))))
	b.click(".hand")
	b.until(`.sealed[data-revision="1"]`)
	c.close("lantern-cup")
	b.click("#rounds .again")
	b.until(`.round[data-state="CLOSED"]`)
	b.do(chromedp.Evaluate[chromedp.Void](`document.querySelectorAll('.round details').forEach(d => { d.open = true; })`))
	b.reads(".entries pre", markup)
	b.noSideways()
	b.bars()
	b.do(chromedp.Evaluate[chromedp.Void](`document.querySelector('.round').scrollIntoView()`))
	b.screen("rounds-long-in-a-hand.png")

	v := view(markup, "R U")
	b.do(chromedp.Navigate("about:blank"), chromedp.Navigate(address+"/#"+v.Encode()))
	b.reads("#notice", "here is vertex-cut-dodecahedron instead")
	assert.False(t, get(b, chromedp.Evaluate[bool](`'ran' in window`)))
}

// A look at a round that was asked before a clock began, and is answered after, stops no clock and takes away
// nothing that was typed.
func TestALateLookStopsNoClock(t *testing.T) {
	c := startClub(t, "anna")
	c.announce("lantern-cup", "Lantern cup")
	b := c.visit("anna", "lantern-cup", 1280, 860)
	b.until(`.attempt[data-clock="stopped"]`)
	change := func(title string) {
		c.post("olga", "/v1/rounds/lantern-cup:update", map[string]any{"round": map[string]any{"title": title}, "updateMask": "title", "reason": "why not", "requestId": title[:3]})
	}
	// A round that has changed leaves what somebody is about to press where it is.
	b.mark(".start")
	change("The lantern cup")
	b.click("#rounds .again")
	b.reads(".round h3", "The lantern cup")
	b.marked(".start")

	change("Cup of lanterns")
	b.hold("/views")
	b.click("#rounds .again")
	b.held()
	b.start()
	b.write("R U", "unsolved")
	b.mark(".solution")
	b.goOn()
	b.reads(".round h3", "Cup of lanterns")
	b.until(`.attempt[data-clock="runs"]`)
	b.marked(".solution")
}

// mark marks an element, and marked holds that what fits the selector is still the same.
func (b tab) mark(selector string) {
	b.Helper()
	b.do(chromedp.Evaluate[chromedp.Void](fmt.Sprintf(`document.querySelector(%q).marked = true; 0`, selector)))
}

func (b tab) marked(selector string) {
	b.Helper()
	assert.True(b, get(b, chromedp.Evaluate[bool](fmt.Sprintf(`document.querySelector(%q)?.marked === true`, selector))), "%s is another one", selector)
}

// One entry at a time is handed in. What is typed meanwhile is not taken for it, and what is handed in again
// because no answer came counts once.
func TestWhatIsTypedWhileOneHandsIn(t *testing.T) {
	c := startClub(t, "anna")
	c.announce("lantern-cup", "Lantern cup")
	p, err := puzzle.Find("2x2x2")
	require.NoError(t, err)
	b := c.visit("anna", "lantern-cup", 1280, 860)
	b.start()
	best := inverse(t, p, b.text(".scramble code"))
	b.write(best, "solved")
	b.hold("requestId")
	b.click(".hand")
	b.held()
	b.write("R", "unsolved")
	assert.True(t, get(b, chromedp.Evaluate[bool](`document.querySelector('.hand').disabled`)), "one at a time")
	b.goOn()
	b.until(`.sealed[data-revision="1"]`)
	b.reads(".verdict", "what is handed in last counts")
	b.until(`.verdict[data-of="unsolved"]`)
	assert.Equal(t, "R", get(b, chromedp.Value(chromedp.CSS(".solution"))))

	b.write("U U' "+best, "solved")
	b.do(chromedp.Evaluate[chromedp.Void](`{ const real = fetch; window.fetch = async (path, more) => {
		const answer = await real(path, more);
		if (!more?.body?.includes('requestId')) return answer;
		window.fetch = real;
		throw new TypeError('the network broke off'); }; }`))
	for _, says := range []string{`.verdict[data-of="wrong"]`, `.sealed[data-revision="2"]`} {
		b.click(".hand")
		b.until("dialog[open]")
		b.click("dialog .main")
		b.until(says)
	}
}

// A late list of rounds does not take the place of a later one, and one that has changed leaves what it told
// before where it is.
func TestALateListOfRounds(t *testing.T) {
	c := startClub(t, "anna")
	c.announce("lantern-cup", "Lantern cup")
	b := c.visit("anna", "lantern-cup", 1280, 860)
	b.click(".all")
	b.until(`.rounds [data-round="lantern-cup"]`)
	b.mark(`.rounds [data-round="lantern-cup"]`)
	b.hold("/v1/rounds?")
	b.click("#rounds .again")
	b.held()
	c.announce("harbour-evening", "Harbour evening")
	b.click("#rounds .again")
	b.until(`.rounds [data-round="harbour-evening"]`)
	b.goOn()
	b.until(`.rounds [data-round="harbour-evening"]`)
	b.marked(`.rounds [data-round="lantern-cup"]`)
}

// Who leaves a round while an entry is on its way, and comes back before it is there, sees it when it is.
func TestARoundThatOneComesBackTo(t *testing.T) {
	c := startClub(t, "anna")
	c.announce("lantern-cup", "Lantern cup")
	b := c.visit("anna", "lantern-cup", 1280, 860)
	b.start()
	b.write("R U", "unsolved")
	b.do(chromedp.Evaluate[chromedp.Void](`{ const real = fetch, late = new Promise(go => { window.goOn = go; }); window.fetch = async (path, more) => {
		if (path.includes('/entries') && more?.body?.includes('requestId')) await late; // before the server has it
		return real(path, more); }; }`))
	b.click(".hand")
	b.click(".all")
	b.click(`.rounds [data-round="lantern-cup"]`)
	b.until(`.attempt[data-clock="runs"] .sealed[data-revision="0"]`)
	b.goOn()
	b.until(`.sealed[data-revision="1"]`)
	assert.Equal(t, "R U", b.text(".sealed code"))
	assert.False(t, b.asks())
}

// Solutions that are compared: a comparison that is not wanted any more does not come late, each attempt has its own, one
// that broke off can be begun again, and nothing goes on for who has left.
func TestComparisonsThatComeLate(t *testing.T) {
	c := startClub(t, "anna", "bert")
	c.announce("lantern-cup", "Lantern cup", "attempts", 2)
	p, err := puzzle.Find("2x2x2")
	require.NoError(t, err)
	for attempt := 1; attempt <= 2; attempt++ {
		for _, who := range []string{"anna", "bert"} {
			c.post(who, "/v1/rounds/lantern-cup:showScramble", map[string]any{"attempt": attempt, "requestId": fmt.Sprint("see-", attempt)})
		}
	}
	b := c.visit("anna", "lantern-cup", 1280, 860)
	b.until(`[aria-label="Attempt 2"][data-clock="runs"] .solution`)
	for attempt := 1; attempt <= 2; attempt++ {
		best := inverse(t, p, b.text(fmt.Sprintf(`[aria-label="Attempt %d"] .scramble code`, attempt)))
		for who, solution := range map[string]string{"anna": best, "bert": best + " R R'"} {
			c.post(who, "/v1/rounds/lantern-cup/entries", map[string]any{"requestId": fmt.Sprint("enter-", attempt), "entry": map[string]any{"attempt": attempt, "solution": solution}})
		}
	}
	c.close("lantern-cup")
	b.click("#rounds .again")
	b.until(`.round[data-state="CLOSED"] .standings`)
	const first, second = `[aria-label="Attempt 1"] `, `[aria-label="Attempt 2"] `

	// Both are asked for, and then one alone before they have come.
	b.hold(":trace")
	b.click(first + ".compare")
	b.held()
	b.click(first + ".entries li:nth-child(2) input")
	b.click(first + ".compare")
	b.until(first + `.comparison[data-solutions="1"]`)
	b.goOn()
	assert.Equal(t, []string{"anna"}, get(b, chromedp.Evaluate[[]string](`[...document.querySelectorAll('.compared')].map(e => e.getAttribute('aria-label'))`)))

	// So it is with what is to be seen on the puzzle.
	b.hold(":trace")
	b.click(first + `.entries li:nth-child(1) button`)
	b.held()
	b.click(first + `.entries li:nth-child(2) button`)
	wanted := b.text(first+".scramble code") + "\n" + b.text(first+".entries li:nth-child(2) code")
	get(b, poll[bool](fmt.Sprintf(`() => document.getElementById('sequence').value === %q`, wanted)))
	b.goOn()
	assert.Equal(t, wanted, get(b, chromedp.Value(chromedp.CSS("#sequence"))))

	// How few moves could do is refused once, and then takes for ever.
	b.do(chromedp.Evaluate[chromedp.Void](`{ const real = fetch; window.asked = []; window.fetch = (path, more) => {
		if (!more?.body?.includes('proveTime')) return real(path, more);
		window.asked.push(more.signal);
		return window.asked.length === 1 ? Promise.resolve(Response.json({error: {message: 'it is busy', code: 14}}, {status: 503})) : new Promise(() => {}); }; }`))
	b.click(first + ".entries li:nth-child(2) input")
	b.click(first + ".compare")
	b.until(first + `.comparison[data-solutions="2"] .fewest`)
	b.click(first + ".fewest")
	b.reads(first+".whole", "it is busy")
	b.until(first + ".fewest:enabled")
	b.click(first + ".fewest")
	b.reads(first+".whole", "It is looking")
	b.click(second + ".compare")
	b.until(second + `.comparison[data-solutions="2"]`)
	aborted := func() []bool { return get(b, chromedp.Evaluate[[]bool](`window.asked.map(s => s.aborted)`)) }
	assert.Equal(t, []bool{false, false}, aborted())
	b.click(".all")
	b.until(`.rounds [data-round="lantern-cup"]`)
	assert.Equal(t, []bool{true, true}, aborted())
}
