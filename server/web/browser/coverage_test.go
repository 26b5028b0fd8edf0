package browser

import (
	"encoding/json"
	"fmt"
	"net/http"
	"path/filepath"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// askServer makes a call of a server without tokens, and reads its answer.
func askServer[T any](t *testing.T, at, path, body string) T {
	t.Helper()
	r, err := http.NewRequestWithContext(t.Context(), http.MethodPost, at+path, strings.NewReader(body))
	require.NoError(t, err)
	r.Header.Set("Content-Type", "application/json")
	reply, err := http.DefaultClient.Do(r)
	require.NoError(t, err)
	defer func() { _ = reply.Body.Close() }()
	require.Equal(t, http.StatusOK, reply.StatusCode, path)
	var out T
	require.NoError(t, json.NewDecoder(reply.Body).Decode(&out))
	return out
}

// covered is what GetCoverage and ListCoverageRows answer, as far as the picture has it.
type covered struct {
	Classes, Proven, Missing int
	Lengths                  []struct{ Length, Classes, Proven int }
}
type coveredRow struct {
	Class, Length, LeastLength int
	Sequence, Base             string
	Proven                     bool
}

// followToEnd follows a search to its end, which is where its stream ends.
func followToEnd(t *testing.T, at, search string) {
	t.Helper()
	r, err := http.NewRequestWithContext(t.Context(), http.MethodGet, at+"/v1/searches/"+search+"/findings:stream", nil)
	require.NoError(t, err)
	reply, err := http.DefaultClient.Do(r)
	require.NoError(t, err)
	defer func() { _ = reply.Body.Close() }()
	for d := json.NewDecoder(reply.Body); d.More(); {
		require.NoError(t, d.Decode(&struct{}{}))
	}
}

// The picture shows what the server says: so many classes of each length, so many of them
// proven, a cell for each; and a cell puts its sequence on the stage.
func TestCoverageIsDrawnAsTheServerHasIt(t *testing.T) {
	for _, c := range []struct {
		name, puzzle, cycle, metric string
		most                        int
		wide, high                  int64
		theme                       string
	}{
		{"corners", "3x3x3", "corner", "METRIC_OBTM", 8, 1280, 860, "light"},
		{"triangles", "vertex-cut-dodecahedron", "triangle", "METRIC_STM", 9, 1280, 860, "dark"},
		{"triangles-in-a-hand", "vertex-cut-dodecahedron", "triangle", "METRIC_STM", 9, 390, 844, "light"},
	} {
		t.Run(c.name, func(t *testing.T) {
			listen, stop, err := serve(filepath.Join(t.TempDir(), "data"), "127.0.0.1:0", "--workers", "2")
			require.NoError(t, err)
			t.Cleanup(stop)
			at := "http://" + listen
			askServer[any](t, at, "/v1/searches", fmt.Sprintf(`{"searchId": "lantern", "requestId": "lantern", "search": {
				"goal": {"puzzle": "puzzles/%s", "cycle": %q}, "metric": %q, "maxLength": %d}}`, c.puzzle, c.cycle, c.metric, c.most))
			followToEnd(t, at, "lantern")
			goal := fmt.Sprintf(`{"puzzle": "puzzles/%s", "cycle": %q, "metric": %q}`, c.puzzle, c.cycle, c.metric)
			want := askServer[struct{ Coverage covered }](t, at, "/v1/coverage:get", `{"goal": `+goal+`}`).Coverage
			rows := askServer[struct{ Rows []coveredRow }](t, at, "/v1/coverage:rows", `{"pageSize": 1000, "goal": `+goal+`}`).Rows
			require.Len(t, rows, want.Classes)

			v := view(c.puzzle, "")
			v.Set("desk", "coverage")
			b := visit(t, at+"/#"+v.Encode(), c.wide, c.high)
			b.dress(c.theme)
			b.until(fmt.Sprintf(`#coverage[data-classes="%d"]:not([data-looking])`, want.Classes))
			b.until(`#stage[data-position]:not([data-reading])`)

			// The table of lengths, and the cells of each.
			var drawn covered
			drawn.Lengths = get(b, chromedp.Evaluate[[]struct{ Length, Classes, Proven int }](`[...document.querySelectorAll('.covered-lengths tbody tr')].map(r =>
				({Length: Number(r.dataset.length), Classes: Number(r.dataset.classes), Proven: Number(r.dataset.proven)}))`))
			assert.ElementsMatch(t, want.Lengths, drawn.Lengths)
			for _, l := range want.Lengths {
				for is, n := range map[string]int{"proven": l.Proven, "": l.Classes} {
					selector := fmt.Sprintf(`[data-length="%d"] .cell`, l.Length)
					if is != "" {
						selector += "." + is
					}
					assert.Equal(t, n, get(b, chromedp.Evaluate[int](fmt.Sprintf(`document.querySelectorAll('.covered-field %s').length`, selector))), selector)
				}
			}
			// Each cell says of its class what the server says.
			said := get(b, chromedp.Evaluate[map[string]string](`Object.fromEntries([...document.querySelectorAll('.covered-field .cell')].map(c => [c.dataset.class, c.textContent]))`))
			for _, r := range rows {
				want := map[bool]string{true: "", false: "≤"}[r.Proven] + fmt.Sprint(r.Length)
				if r.Sequence == "" {
					want = fmt.Sprintf(">%d", r.LeastLength-1)
				}
				assert.Equal(t, want, said[fmt.Sprint(r.Class)], "class %d", r.Class)
			}
			b.bars()
			b.do(chromedp.Evaluate[chromedp.Void](`document.getElementById('desk-coverage').scrollIntoView()`))
			b.screen("coverage-" + c.name + ".png")
			b.noSideways()

			// By keys alone: the first cell, the next, and its sequence on the stage.
			b.do(chromedp.Focus(chromedp.CSS(`.covered-field .cell[tabindex="0"]`)), chromedp.KeyEvent("\u0303"))
			class := get(b, chromedp.Evaluate[string](`document.activeElement.dataset.class`))
			require.NotEqual(t, get(b, chromedp.Evaluate[string](`document.querySelector('.covered-field .cell').dataset.class`)), class)
			b.do(chromedp.KeyEvent("\r"))
			b.until(fmt.Sprintf(`.cell[data-class="%s"][aria-current]`, class))
			for _, r := range rows {
				if fmt.Sprint(r.Class) == class {
					if c.wide < 500 {
						b.click(".covered-one button") // on a phone the puzzle is elsewhere
					}
					get(b, poll[bool](fmt.Sprintf(`() => document.getElementById('sequence').value === %q`, r.Sequence)))
					b.until(`#stage[data-position]:not([data-reading])`)
					assert.Contains(t, b.text(".covered-one"), r.Sequence)
				}
			}
			get(b, poll[bool](`() => document.querySelector('.covered-one').textContent.includes('the search lantern')`))
			b.do(chromedp.Evaluate[chromedp.Void](`document.querySelector('.cell[aria-current]').scrollIntoView()`))
			b.screen("coverage-" + c.name + "-class.png")
			b.bars()
		})
	}
}

// While a search is under way the picture follows it, and nobody has to ask.
func TestCoverageFollowsASearch(t *testing.T) {
	listen, stop, err := serve(filepath.Join(t.TempDir(), "data"), "127.0.0.1:0", "--workers", "1")
	require.NoError(t, err)
	t.Cleanup(stop)
	at := "http://" + listen
	askServer[any](t, at, "/v1/searches", `{"searchId": "lantern", "requestId": "lantern", "search": {
		"goal": {"puzzle": "puzzles/vertex-cut-dodecahedron", "cycle": "triangle"}, "maxLength": 9}}`)
	askServer[any](t, at, "/v1/searches/lantern:pause", `{"requestId": "pause"}`)
	v := view("vertex-cut-dodecahedron", "")
	v.Set("desk", "coverage")
	b := visit(t, at+"/#"+v.Encode(), 1280, 860)
	b.until(`#coverage[data-classes]:not([data-looking])`)
	before := b.text("#coverage .covered-sum")
	askServer[any](t, at, "/v1/searches/lantern:resume", `{"requestId": "resume"}`)
	followToEnd(t, at, "lantern")
	goal := `{"goal": {"puzzle": "puzzles/vertex-cut-dodecahedron", "cycle": "triangle"}}`
	want := askServer[struct{ Coverage covered }](t, at, "/v1/coverage:get", goal).Coverage
	get(b, poll[bool](fmt.Sprintf(`() => document.querySelectorAll('.covered-field .cell.proven').length === %d
		&& document.querySelectorAll('.covered-field .cell.missing').length === %d`, want.Proven, want.Missing)))
	assert.NotEqual(t, before, b.text("#coverage .covered-sum"))
}

// What nobody searched for is drawn as what it is: all classes without a sequence. A server that
// is gone is told of in words.
func TestCoverageOfNothing(t *testing.T) {
	listen, stop, err := serve(filepath.Join(t.TempDir(), "data"), "127.0.0.1:0", "--workers", "1")
	require.NoError(t, err)
	v := view("3x3x3", "")
	v.Set("desk", "coverage")
	b := visit(t, "http://"+listen+"/#"+v.Encode(), 1280, 860)
	b.pick(`#desk-coverage [name="cycle"]`, "corner")
	want := askServer[struct{ Coverage covered }](t, "http://"+listen, "/v1/coverage:get", `{"goal": {"puzzle": "puzzles/3x3x3", "cycle": "corner"}}`).Coverage
	require.Equal(t, want.Classes, want.Missing)
	b.until(fmt.Sprintf(`#coverage[data-classes="%d"]:not([data-looking])`, want.Classes))
	b.until(fmt.Sprintf(`.cells .cell.missing:nth-child(%d)`, want.Classes))
	assert.Contains(t, b.text("#desk-coverage"), "Nobody has searched for this yet")
	b.screen("coverage-of-nothing.png")
	stop()
	b.pick(`#desk-coverage [name="cycle"]`, "edge")
	b.reads(".covered-said.wrong", "The server does not answer")
	assert.Empty(t, get(b, chromedp.Evaluate[string](`document.querySelector('.covered-field').textContent`)))
}

// Of very many classes some are shown, and it is said how many are not. No puzzle that comes with
// the program has so many: the answers are invented.
func TestCoverageOfVeryManyClasses(t *testing.T) {
	v := view("3x3x3", "")
	v.Set("desk", "coverage")
	b := open(t, v, 1280, 860)
	b.until(`#coverage[data-classes]:not([data-looking])`)
	b.do(chromedp.Evaluate[chromedp.Void](`{
		const real = fetch;
		const row = (n, length) => ({class: n, cycle: {text: '(a b c)'}, cycles: '24', origin: 'COVERAGE_ORIGIN_FOUND', sequence: 'R', base: 'R',
			length, proven: length < 9, leastLength: Math.min(length, 9), setup: '', axes: 1});
		const all = Array.from({length: 5000}, (_, i) => row(i + 1, i < 1300 ? 8 : 12));
		window.fetch = async (path, ...rest) => {
			const body = rest[0]?.body ? JSON.parse(rest[0].body) : {};
			const goal = {...body.goal, protect: []};
			if (path === '/v1/coverage:get') return Response.json({coverage: {goal, searches: 1, sequences: 5000, classes: 5000, cycles: '120000', found: 5000, bySetup: 0,
				missing: 0, proven: 1300, provenLength: 8, longest: 12, meanPerClass: 11, meanPerCycle: 11,
				lengths: [{length: 8, classes: 1300, cycles: '31200', proven: 1300}, {length: 12, classes: 3700, cycles: '88800', proven: 0}]}});
			if (path !== '/v1/coverage:rows') return real(path, ...rest);
			const from = Number(body.pageToken || 0), to = from + body.pageSize;
			return Response.json({rows: all.slice(from, to), nextPageToken: to < all.length ? String(to) : ''});
		};
	}`))
	b.click("#coverage form > button")
	b.until(`#coverage[data-classes="5000"]:not([data-looking])`)
	cells := func() int {
		return get(b, chromedp.Evaluate[int](`document.querySelectorAll('.covered-field .cell').length`))
	}
	assert.Equal(t, 1200, cells())
	assert.Contains(t, b.text(`.covered-group[data-length="8"]`), "700 of this length are not shown")
	assert.Contains(t, b.text(`.covered-group[data-length="12"]`), "3,100 of this length are not shown")
	b.screen("coverage-many.png")
	b.bars()
	b.click(`.covered-group[data-length="8"] > button`)
	assert.Equal(t, 1800, cells())
	assert.Equal(t, "601", get(b, chromedp.Evaluate[string](`document.activeElement.dataset.class`)))
}

// pick chooses in a list.
func (b tab) pick(selector, value string) {
	b.Helper()
	b.until(selector)
	get(b, poll[bool](fmt.Sprintf(`() => {
		const s = document.querySelector(%q);
		if (![...s.options].some(o => o.value === %q)) return false;
		s.value = %[2]q;
		s.dispatchEvent(new Event('change', {bubbles: true}));
		return true;
	}`, selector, value)))
}

// noSideways holds that nothing has to be scrolled sideways.
func (b tab) noSideways() {
	b.Helper()
	assert.LessOrEqual(b, get(b, chromedp.Evaluate[int](`document.documentElement.scrollWidth - document.documentElement.clientWidth`)), 0)
}

// A picture that comes again leaves what somebody is about to press where it is, and is not asked for while it is still to come.
// The answers are invented: of the second picture more is proven.
func TestCoverageThatComesAgain(t *testing.T) {
	const goal = `"goal": {"puzzle": "puzzles/2x2x2", "cycle": "corner"}`
	search(t, address, "coverage-again", goal+`, "maxLength": 3`)
	v := view("2x2x2", "")
	v.Set("desk", "coverage")
	b := open(t, v, 1280, 860)
	b.until(`#coverage[data-classes]:not([data-looking]) .covered-goals button`)
	b.do(chromedp.Evaluate[chromedp.Void](`{
		const real = fetch, later = setTimeout;
		window.proven = 0;
		window.setTimeout = (does, ms, ...more) => (ms === 5000 ? (window.due = does, 0) : later(does, ms, ...more)); // the look after the next is due at once, or never
		const row = n => ({class: n, cycle: {text: '(a b c)'}, cycles: '24', origin: 'COVERAGE_ORIGIN_FOUND', sequence: 'R', base: 'R', length: 8, proven: n <= window.proven, leastLength: 8, setup: '', axes: 1});
		window.fetch = async (path, more) => {
			if (path === '/v1/coverage:get') {
				return Response.json({coverage: {goal: {...JSON.parse(more.body).goal, protect: []}, searches: 1, sequences: 3, classes: 3, cycles: '72', found: 3, bySetup: 0,
					missing: 0, proven: window.proven, provenLength: 0, longest: 8, meanPerClass: 8, meanPerCycle: 8, lengths: [{length: 8, classes: 3, cycles: '72', proven: window.proven}]}});
			}
			if (path === '/v1/coverage:rows') {
				if (window.proven === 2) { window.early = true; await new Promise(go => { window.goOn = go; }); }
				return Response.json({rows: [1, 2, 3].map(row), nextPageToken: ''});
			}
			const answer = await real(path, more);
			if (!path.startsWith('/v1/searches?')) return answer;
			const said = await answer.json();
			for (const s of said.searches) if (s.name === 'searches/coverage-again') s.state = 'SEARCH_STATE_RUNNING';
			return Response.json(said);
		};
	}`))
	b.click("#coverage form > button")
	b.until(`.covered-lengths tr[data-length="8"][data-proven="0"]`)
	b.click(`.cell[data-class="3"]`)
	kept := []string{".covered-goals button", `.covered-lengths tr[data-length="8"] button`, `.cell[data-class="1"]`, `.cell[data-class="3"]`, ".covered-one button"}
	for _, part := range kept {
		b.mark(part)
	}
	b.do(chromedp.Evaluate[chromedp.Void](`window.proven = 1; 0`))
	b.click("#coverage form > button")
	b.until(`.covered-lengths tr[data-length="8"][data-proven="1"]`)
	b.until(`.cell.proven[data-class="1"]`)
	for _, part := range kept {
		b.marked(part)
	}

	b.do(chromedp.Evaluate[chromedp.Void](`window.proven = 2; window.due = null; 0`))
	b.click("#coverage form > button")
	get(b, poll[bool](`() => window.early`))
	assert.False(t, get(b, chromedp.Evaluate[bool](`Boolean(window.due)`)), "it asks again for what is still to come")
	b.goOn()
	b.until(`.covered-lengths tr[data-length="8"][data-proven="2"]`)
	get(b, poll[bool](`() => Boolean(window.due)`))
}
