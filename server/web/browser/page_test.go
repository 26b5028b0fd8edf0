package browser

import (
	"encoding/json"
	"net/http"
	"net/url"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"turnwright/search/notation"
	"turnwright/search/puzzle"
)

func view(puzzle, sequence string) url.Values {
	v := url.Values{"puzzle": {puzzle}}
	if sequence != "" {
		v.Set("sequence", sequence)
	}
	return v
}

// position is what the stage shows: the sticker at each place.
func (b tab) position() []int {
	b.Helper()
	text := get(b, chromedp.Evaluate[string](`document.getElementById('stage').dataset.position`))
	var out []int
	for _, word := range strings.Fields(text) {
		n, err := strconv.Atoi(word)
		require.NoError(b, err)
		out = append(out, n)
	}
	return out
}

// engine is the same by the engine.
func engine(t *testing.T, name, sequence string) []int {
	t.Helper()
	p, err := puzzle.Find(name)
	require.NoError(t, err)
	turns, err := notation.ParseTurns(p, sequence)
	require.NoError(t, err)
	perm := p.Apply(turns)
	out := make([]int, len(perm))
	for from, to := range perm {
		out[to] = from
	}
	return out
}

// What is shown after a sequence was played, stepped and played back is what the engine says.
func TestASequenceIsPlayedAsTheEngineHasIt(t *testing.T) {
	for _, c := range []struct{ puzzle, sequence string }{
		{"3x3x3", "[R U R', D] x 2.L"},
		{"vertex-cut-dodecahedron", "2.a c2^-2 a c2^2 2.a' c2^-2 a' c2^2"},
		{"pyraminx", "(a b1')^2 all.b2"},
	} {
		t.Run(c.puzzle, func(t *testing.T) {
			p, err := puzzle.Find(c.puzzle)
			require.NoError(t, err)
			turns, err := notation.ParseTurns(p, c.sequence)
			require.NoError(t, err)
			b := open(t, view(c.puzzle, c.sequence), 1200, 860)
			solved := engine(t, c.puzzle, "")
			assert.Equal(t, solved, b.position())
			b.do(chromedp.Evaluate[chromedp.Void](`const p = document.getElementById('pace'); p.value = 3; p.dispatchEvent(new Event('input'))`))

			b.click("#next")
			b.at(1)
			assert.Equal(t, engine(t, c.puzzle, notation.Print(p, turns[:1])), b.position())
			b.click("#play")
			b.at(len(turns))
			assert.Equal(t, engine(t, c.puzzle, c.sequence), b.position())
			b.click("#previous")
			b.at(len(turns) - 1)
			assert.Equal(t, engine(t, c.puzzle, notation.Print(p, turns[:len(turns)-1])), b.position())
			b.click("#backwards")
			b.at(0)
			assert.Equal(t, solved, b.position())
			b.click("#ribbon li:nth-child(3) button")
			b.at(3)
			assert.Equal(t, engine(t, c.puzzle, notation.Print(p, turns[:3])), b.position())
		})
	}
}

// A sequence of any length opens where its link says.
func TestALongSequence(t *testing.T) {
	v := view("3x3x3", "(R U)^600 F")
	v.Set("after", "1201")
	b := open(t, v, 390, 844)
	b.at(1201)
	assert.Equal(t, engine(t, "3x3x3", "(R U)^600 F"), b.position())
	assert.Equal(t, "1201 of 1201", b.text("#where"))
}

// Keys and names of axes turn the puzzle, and write down what they did.
func TestTurningByHand(t *testing.T) {
	b := open(t, view("3x3x3", ""), 1200, 860)
	b.do(chromedp.Focus(chromedp.CSS("#stage")), chromedp.KeyEvent("r"))
	b.at(1)
	b.do(chromedp.KeyEvent("2"), chromedp.KeyEvent("u"))
	b.at(2)
	b.do(chromedp.KeyEvent("'"), chromedp.KeyEvent("f"))
	b.at(3)
	b.click(`#pegs button[aria-label="Turn about R"]`)
	b.at(4)
	written := get(b, chromedp.Value(chromedp.CSS("#sequence")))
	assert.Equal(t, engine(t, "3x3x3", written), b.position())
	assert.Equal(t, engine(t, "3x3x3", "R 2.U F' R"), b.position())
	b.do(chromedp.Focus(chromedp.CSS("#stage")), chromedp.KeyEvent("\b"))
	b.at(3)
	assert.Equal(t, engine(t, "3x3x3", "R 2.U F'"), b.position())
}

// What was typed for a puzzle is there again when one comes back to it.
func TestAnotherPuzzleAndBack(t *testing.T) {
	b := open(t, view("3x3x3", "R U F"), 1200, 860)
	b.set("#puzzle", "cube-2")
	b.until(`#stage[aria-label^="Cube of 2"]:not([data-reading])`)
	assert.Empty(t, get(b, chromedp.Value(chromedp.CSS("#sequence"))))
	b.set("#puzzle", "cube-3")
	b.until(`#stage[aria-label^="Cube of 3"]:not([data-reading])`)
	b.until(`#ribbon li:nth-child(3)`)
	assert.Equal(t, "R U F", get(b, chromedp.Value(chromedp.CSS("#sequence"))))
}

// A sticker that is dragged takes its layer along.
func TestDraggingASticker(t *testing.T) {
	b := open(t, view("3x3x3", ""), 1200, 860)
	type point struct{ X, Y float64 }
	spot := get(b, chromedp.Evaluate[point](`(() => { const r = document.getElementById('stage').getBoundingClientRect(); return {X: r.left + r.width / 2, Y: r.top + r.height / 2}; })()`))
	b.do(chromedp.DragAndDropXY(spot.X, spot.Y, spot.X-60, spot.Y)) // somewhere on the front, to the left
	b.at(1)
	written := get(b, chromedp.Value(chromedp.CSS("#sequence")))
	assert.NotEmpty(t, written)
	assert.Equal(t, engine(t, "3x3x3", written), b.position())
	// Beside the puzzle the same drag looks round and turns nothing.
	before := b.position()
	b.do(chromedp.DragAndDropXY(spot.X-300, spot.Y-300, spot.X-200, spot.Y-300))
	assert.Equal(t, before, b.position())
}

func TestALinkOpensTheViewAgain(t *testing.T) {
	b := open(t, view("vertex-cut-dodecahedron", "2.a c2^-2 a c2^2 2.a' c2^-2 a' c2^2"), 1200, 860)
	b.click("#last")
	b.at(8)
	b.do(chromedp.Focus(chromedp.CSS("#stage")), chromedp.KeyEvent("."), chromedp.KeyEvent(","))
	b.at(7)
	held := get(b, poll[string](`() => location.hash.includes('after=7') && location.hash`))
	said, err := url.ParseQuery(strings.TrimPrefix(held, "#"))
	require.NoError(t, err)
	again := open(t, said, 1200, 860)
	again.at(7)
	assert.Equal(t, b.position(), again.position())

	// What is shown of it, how near, and what coverage is asked for are of the view too.
	again.click("#letters")
	again.click("#axes")
	again.do(chromedp.Focus(chromedp.CSS("#stage")), chromedp.KeyEvent("+"))
	again.sit("coverage")
	again.pick(`#desk-coverage [name="cycle"]`, "edge")
	again.pick(`#desk-coverage [name="metric"]`, "METRIC_OBTM")
	held = get(again, poll[string](`() => ['near=', 'show=letters+no-axes', 'desk=coverage', 'covered=cycle%3Dedge%26metric%3DOBTM'].every(s => location.hash.includes(s)) && location.hash`))
	said, err = url.ParseQuery(strings.TrimPrefix(held, "#"))
	require.NoError(t, err)
	third := open(t, said, 1200, 860)
	third.until("#desk-coverage[data-desk]:not([hidden])")
	third.at(7)
	assert.Equal(t, held, get(third, poll[string](`() => location.hash.includes('covered=') && location.hash`)))
	third.sit("effect")
	assert.Equal(t, []bool{true, true, false}, get(third, chromedp.Evaluate[[]bool](`['arrows', 'letters', 'axes'].map(id => document.getElementById(id).checked)`)))
}

func TestWhatCantBeReadIsSaid(t *testing.T) {
	b := open(t, view("3x3x3", "R U"), 1200, 860)
	b.do(chromedp.SetValue(chromedp.CSS("#sequence"), "R U Q"), chromedp.SendKeys(chromedp.CSS("#sequence"), " "))
	b.until(`#sequence[aria-invalid="true"]`)
	assert.Contains(t, b.text("#wrong"), "column 5")
	b.do(chromedp.SetValue(chromedp.CSS("#sequence"), "[R U R', D]"), chromedp.SendKeys(chromedp.CSS("#sequence"), " "))
	b.until(`#sequence:not([aria-invalid])`)
	b.until(`#ribbon li:nth-child(8)`)
	b.until(`#stage:not([data-reading])`)
	assert.Contains(t, b.text("#effect"), "3-1 commutator")
}

// A search is asked for on the page; its findings come as it finds them, in the server's
// order, and each can be played to its end.
func TestFindingsOfASearchComeIn(t *testing.T) {
	b := open(t, view("3x3x3", ""), 1200, 860)
	b.sit("searches")
	b.click("#new summary")
	b.do(chromedp.SetValue(chromedp.CSS("#cycle"), "corner"), chromedp.SetValue(chromedp.CSS(`#ask [name="metric"]`), "OBTM"))
	b.click(`#ask [value="estimate"]`)
	b.until(`#ask:not([inert])`)
	get(b, poll[bool](`() => document.querySelector('#ask output').textContent.includes('Units of work')`))
	b.click(`#ask [value="submit"]`)
	get(b, poll[bool](`() => document.getElementById('state').textContent.includes('It has ended')`))
	b.until(`#findings li:nth-child(3) .rank`)
	var listed struct{ Findings []struct{ Sequence string } }
	reply, err := http.Get(address + "/v1/searches/" + get(b, chromedp.Value(chromedp.CSS("#search"))) + "/findings")
	require.NoError(t, err)
	require.NoError(t, json.NewDecoder(reply.Body).Decode(&listed))
	require.NoError(t, reply.Body.Close())
	total := strconv.Itoa(len(listed.Findings))
	b.until(`#searches[data-findings="` + total + `"]`)
	var want []string
	for _, f := range listed.Findings {
		want = append(want, f.Sequence)
	}
	assert.Equal(t, want, get(b, chromedp.Evaluate[[]string](`[...document.querySelectorAll('#findings .cycle')].map(e => e.textContent)`)))

	b.click(`#findings li:nth-child(2) button`)
	b.until(`#ribbon li:nth-child(8)`)
	b.at(0)
	b.click("#last")
	b.at(8)
	assert.Equal(t, engine(t, "3x3x3", want[1]), b.position())
	b.until(`#findings img[src^="data:image/svg"]`)

	b.bars()

	// The address of a view has the search in it; another puzzle on the stage leaves it alone.
	v := view("vertex-cut-dodecahedron", "")
	v.Set("search", get(b, chromedp.Value(chromedp.CSS("#search"))))
	again := open(t, v, 1200, 860)
	again.until(`#searches[data-findings="` + total + `"]`)
}

// A part shows which turns would isolate a corner, and one of these makes a pure cycle.
func TestTheBench(t *testing.T) {
	b := open(t, view("3x3x3", "R' D' R"), 1200, 860)
	b.sit("bench")
	b.until("#parts tr.wanted") // of corners, which it moves
	assert.Contains(t, b.text("#parts p"), "6 meet it in one corner only; with 3 of them")
	assert.Equal(t, []string{"2.U", "none", "3 × edge"}, get(b, chromedp.Evaluate[[]string](
		`[...document.querySelectorAll('#parts tbody tr')].map(r => [...r.cells].map(c => c.textContent)).find(r => r[0] === '2.U')`)))
	b.click("#parts tr.wanted button")
	b.until("#ribbon li:nth-child(8)")
	assert.Equal(t, "[R' D' R, U]", get(b, chromedp.Value(chromedp.CSS("#sequence"))))
	b.click("#last")
	b.at(8)
	assert.Equal(t, engine(t, "3x3x3", "[R' D' R, U]"), b.position())
	assert.Contains(t, b.text("#parts p"), "X = R' D' R.", "X stays what it was")
	b.bars()
}

// Searches that were submitted elsewhere are listed beside those of the page, whatever they are for.
func TestSearchesOfEveryKindAreListed(t *testing.T) {
	for id, search := range map[string]string{
		"night":    `"study": {"puzzle": "puzzles/2x2x2", "solution": "R U R' U R U2 R' F R2 F' R2 F", "shortenTime": "1s"}`,
		"position": `"position": {"puzzle": "puzzles/2x2x2", "scramble": "R U"}, "maxLength": 4`,
	} {
		body := `{"search": {"metric": "METRIC_OBTM", "memoryBytes": "1048576", ` + search + `}, "searchId": "` + id + `", "requestId": "` + id + `"}`
		reply, err := http.Post(address+"/v1/searches", "application/json", strings.NewReader(body))
		require.NoError(t, err)
		require.NoError(t, reply.Body.Close())
		require.Equal(t, http.StatusOK, reply.StatusCode, id)
	}
	v := view("2x2x2", "")
	v.Set("search", "night")
	b := open(t, v, 1200, 860)
	get(b, poll[bool](`() => document.getElementById('state').textContent.includes('It has ended')`))
	assert.Contains(t, b.text("#state"), "Done: 2 of 2 units.")
	b.until(`#findings li`)
	for _, says := range []string{"night: shorter solutions than one of 12 OBTM on cube-2", "position: a position of cube-2"} {
		assert.Contains(t, b.text("#search"), says)
	}
}

// Who chooses another puzzle before the first has come sees the second, however late the first comes.
func TestTheLastPuzzleThatIsChosenStays(t *testing.T) {
	b := open(t, view("3x3x3", ""), 1280, 860)
	b.hold("cube-4/model")
	b.set("#puzzle", "cube-4")
	b.held()
	b.set("#puzzle", "cube-2")
	get(b, poll[bool](`() => location.hash.includes("puzzle=cube-2")`))
	title := get(b, chromedp.Evaluate[string](`document.title`))
	b.goOn()
	assert.Equal(t, title, get(b, chromedp.Evaluate[string](`document.title`)))
	assert.Equal(t, "cube-2", get(b, chromedp.Value(chromedp.CSS("#puzzle"))))
}

// A server that ends and comes again: what one does meanwhile is answered in words, nothing on the
// stage is lost, and when it answers again nothing says that it does not.
func TestAServerThatComesAgain(t *testing.T) {
	data := filepath.Join(t.TempDir(), "data")
	at, stop, err := serve(data, "127.0.0.1:0")
	require.NoError(t, err)
	ended := sync.OnceFunc(stop)
	t.Cleanup(ended)
	b := visit(t, "http://"+at+"/#"+view("2x2x2", "R U").Encode(), 1280, 860)
	b.until(`#ribbon li:nth-child(2)`)
	b.sit("rounds")
	b.reads(".rounds", "No round has been announced yet")

	ended()
	b.set("#puzzle", "cube-3")
	b.reads("#notice", "does not answer")
	assert.Equal(t, "cube-2", get(b, chromedp.Value(chromedp.CSS("#puzzle"))), "it is still on the stage")
	assert.Equal(t, "R U", get(b, chromedp.Value(chromedp.CSS("#sequence"))))
	b.click("#rounds .again")
	b.reads("#rounds .bar + .wrong", "does not answer")

	_, stopAgain, err := serve(data, at)
	require.NoError(t, err)
	t.Cleanup(stopAgain)
	b.set("#sequence", "R U F")
	b.until(`#ribbon li:nth-child(3)`)
	b.do(chromedp.WaitNotVisible(chromedp.CSS("#notice")))
	b.click("#rounds .again")
	get(b, poll[bool](`() => document.querySelector('#rounds .bar + .wrong').textContent === ''`))
}

// An answer that is not wanted any more when half of it has come is no fault, and one that breaks off is told of in words.
func TestAnAnswerThatBreaksOff(t *testing.T) {
	b := open(t, view("2x2x2", "R"), 1280, 860)
	b.do(chromedp.Evaluate[chromedp.Void](`{ const real = fetch; window.fetch = async (path, more) => {
		if (!path.includes(':describe')) return real(path, more);
		window.half = (window.half ?? 0) + 1;
		return new Response(new ReadableStream({start(out) {
			out.enqueue(new TextEncoder().encode('{"effect": '));
			more.signal.addEventListener('abort', () => out.error(more.signal.reason));
			window.breakOff = () => out.error(new TypeError('network error'));
		}}));
	}; }`))
	b.set("#sequence", "R U")
	get(b, poll[bool](`() => window.half === 1`))
	b.set("#sequence", "R U F")
	get(b, poll[bool](`() => window.half === 2`))
	assert.Empty(t, get(b, chromedp.Evaluate[string](`document.getElementById('notice').textContent`)))
	b.do(chromedp.Evaluate[chromedp.Void](`window.breakOff()`))
	b.reads("#notice", "broke off")
}

// A finding between moves is played there: after those before it, and those after it follow.
func TestAFindingPlaysBetweenItsMoves(t *testing.T) {
	const before, after = "F R2 // what goes before", "R2 F'"
	search(t, address, "plays-between", `"goal": {"puzzle": "puzzles/3x3x3", "cycle": "corner"}, "before": "`+before+`", "after": "`+after+`", "maxLength": 8, "metric": "METRIC_OBTM"`)
	v := view("3x3x3", "")
	v.Set("search", "plays-between")
	b := open(t, v, 1200, 860)
	b.tells("It has ended")
	b.until("#findings .finding")
	f := b.findings(address, "plays-between")[0]
	b.click("#findings .finding")
	b.until("#ribbon li:nth-child(" + strconv.Itoa(4+f.Length) + ")")
	b.at(2)
	assert.Equal(t, engine(t, "3x3x3", before), b.position())
	b.click("#last")
	b.at(4 + f.Length)
	assert.Equal(t, engine(t, "3x3x3", before+"\n"+f.Sequence+" "+after), b.position())
}
