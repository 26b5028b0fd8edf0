package browser

import (
	"bytes"
	"image/png"
	"net/http"
	"strconv"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"turnwright/search/notation"
	"turnwright/search/puzzle"
)

func quoted(s string) string { return strconv.Quote(s) }

// frames waits until what was changed has been drawn.
var frames = chromedp.Evaluate[chromedp.Void](`new Promise(seen => requestAnimationFrame(() => requestAnimationFrame(() => requestAnimationFrame(() => seen()))))`, chromedp.EvalAwaitPromise)

// sharp waits until the puzzle is drawn with all the screen's pixels, as it is at rest.
func (b tab) sharp() {
	b.Helper()
	b.until("#stage[data-sharp]")
	assert.InDelta(b, 1, get(b, chromedp.Evaluate[float64](`document.getElementById('solid').width / document.getElementById('stage').clientWidth`)), 0.01)
}

// A graphics card may take back what it lent, and give it again: the puzzle is there as before.
func TestTheStageComesBackWhenItsContextDoes(t *testing.T) {
	b := open(t, view("3x3x3", "R U"), 1200, 860)
	b.click("#last")
	b.at(2)
	b.sharp()
	whole := get(b, chromedp.Screenshot(chromedp.CSS("#solid")))
	b.do(chromedp.Evaluate[chromedp.Void](`(async () => {
		const solid = document.getElementById('solid');
		window.lent = solid.getContext('webgl2').getExtension('WEBGL_lose_context');
		const lost = new Promise(done => solid.addEventListener('webglcontextlost', done, {once: true}));
		lent.loseContext();
		await lost;
	})()`, chromedp.EvalAwaitPromise))
	b.do(frames)
	assert.Less(t, alike(t, whole, get(b, chromedp.Screenshot(chromedp.CSS("#solid")))), 0.9)
	b.do(chromedp.Evaluate[chromedp.Void](`(async () => {
		const back = new Promise(done => document.getElementById('solid').addEventListener('webglcontextrestored', done, {once: true}));
		await new Promise(done => setTimeout(done)); // it may not be given back in the event that took it
		lent.restoreContext();
		await back;
	})()`, chromedp.EvalAwaitPromise))
	b.sharp()
	assert.Greater(t, alike(t, whole, get(b, chromedp.Screenshot(chromedp.CSS("#solid")))), 0.999)
	b.click("#previous")
	b.at(1)
	assert.Equal(t, engine(t, "3x3x3", "R"), b.position())
}

// alike tells which part of two pictures is the same: edges are not drawn alike each time.
func alike(t *testing.T, one, other []byte) float64 {
	t.Helper()
	a, err := png.Decode(bytes.NewReader(one))
	require.NoError(t, err)
	b, err := png.Decode(bytes.NewReader(other))
	require.NoError(t, err)
	require.Equal(t, a.Bounds(), b.Bounds())
	same := 0
	for y := a.Bounds().Min.Y; y < a.Bounds().Max.Y; y++ {
		for x := a.Bounds().Min.X; x < a.Bounds().Max.X; x++ {
			if a.At(x, y) == b.At(x, y) {
				same++
			}
		}
	}
	return float64(same) / float64(a.Bounds().Dx()*a.Bounds().Dy())
}

// However fast keys come, each is a turn, in their order.
func TestManyTurnsByKeysAtOnce(t *testing.T) {
	b := open(t, view("3x3x3", ""), 1200, 860)
	b.do(chromedp.Focus(chromedp.CSS("#stage")))
	const keys = "rufldbrrulfdbulfrdbrulfd"
	b.do(chromedp.KeyEvent(keys))
	b.at(len(keys))
	written := get(b, chromedp.Value(chromedp.CSS("#sequence")))
	p, err := puzzle.Find("3x3x3")
	require.NoError(t, err)
	want, err := notation.ParseTurns(p, strings.Join(strings.Split(strings.ToUpper(keys), ""), " "))
	require.NoError(t, err)
	got, err := notation.ParseTurns(p, written)
	require.NoError(t, err)
	assert.Equal(t, notation.Print(p, want), notation.Print(p, got))
	assert.Equal(t, engine(t, "3x3x3", written), b.position())
}

// Another puzzle may come while layers turn.
func TestThePuzzleIsChangedInTheMiddleOfATurn(t *testing.T) {
	b := open(t, view("3x3x3", "R U F"), 1200, 860)
	b.do(chromedp.Evaluate[chromedp.Void](`const p = document.getElementById('pace'); p.value = -2; p.dispatchEvent(new Event('input'))`))
	b.click("#play")
	b.until("#stage[data-turning]")
	b.do(chromedp.Evaluate[chromedp.Void](`const s = document.getElementById('puzzle'); s.value = 'pyraminx'; if (!s.value) s.value = [...s.options].find(o => o.text.includes('pyraminx')).value; s.dispatchEvent(new Event('change'))`))
	get(b, poll[bool](`() => document.title.length > 0 && document.getElementById('sequence').value === ''`))
	b.at(0)
	assert.Equal(t, engine(t, "pyraminx", ""), b.position())
	b.do(chromedp.EmulateViewport(500, 700), frames) // and another size
	assert.Equal(t, engine(t, "pyraminx", ""), b.position())
}

// While frames come slowly they have fewer pixels; at rest all are there again.
func TestSlowFramesAreCoarser(t *testing.T) {
	b := open(t, view("3x3x3", "R U F R U F"), 1200, 860)
	wide := `document.getElementById('solid').width / document.getElementById('stage').clientWidth`
	b.sharp() // it may have been slow before
	// A clock that goes three times as fast makes every frame a slow one.
	b.do(chromedp.Evaluate[chromedp.Void](`{ const ask = requestAnimationFrame; window.requestAnimationFrame = f => ask(now => f(3 * now)); }
		window.least = 1; new MutationObserver(() => { least = Math.min(least, ` + wide + `); }).observe(document.getElementById('solid'), {attributeFilter: ['width']});
		const p = document.getElementById('pace'); p.value = -2; p.dispatchEvent(new Event('input'))`))
	b.click("#play")
	b.at(6)
	assert.InDelta(t, 0.5, get(b, chromedp.Evaluate[float64](`least`)), 0.01)
	b.sharp()
	assert.Equal(t, engine(t, "3x3x3", "R U F R U F"), b.position())
}

// A cycle that is pressed is brought out, and so are the types that a sequence leaves alone.
func TestCyclesAndWhatStaysAreBroughtOut(t *testing.T) {
	p, err := puzzle.Find("3x3x3")
	require.NoError(t, err)
	const sequence = "R U R' U' R' F R2 U' R' U' R U R' F'" // swaps two corners and two edges (common practice)
	b := open(t, view("3x3x3", sequence), 1200, 860)
	b.until("#effect button.cycle")
	bright := func() (pieces []int) {
		for _, word := range strings.Fields(get(b, chromedp.Evaluate[string](`document.getElementById('stage').dataset.bright`))) {
			n, err := strconv.Atoi(word)
			require.NoError(t, err)
			pieces = append(pieces, n)
		}
		return pieces
	}
	state := engine(t, "3x3x3", sequence)
	of := func(keep func(piece int) bool) (pieces []int) {
		for i := range p.Pieces {
			if keep(i) {
				pieces = append(pieces, i)
			}
		}
		return pieces
	}
	moved := func(piece int) bool {
		for _, x := range p.Pieces[piece].Stickers {
			if state[x] != x {
				return true
			}
		}
		return false
	}
	assert.Equal(t, of(moved), bright())
	edges := `[...document.querySelectorAll('#effect p')].find(p => p.textContent.startsWith('edge')).querySelector('button')`
	b.do(chromedp.Evaluate[chromedp.Void](edges + `.click()`))
	assert.Equal(t, of(func(i int) bool { return moved(i) && p.Types[p.Pieces[i].Type].Name == "edge" }), bright())
	b.screen("cycle.png")
	b.bars()
	b.do(chromedp.Evaluate[chromedp.Void](edges + `.click()`))
	assert.Equal(t, of(moved), bright())
	b.do(chromedp.Evaluate[chromedp.Void](`const s = document.getElementById('out'); s.value = '='; s.dispatchEvent(new Event('change'))`))
	assert.Equal(t, of(func(i int) bool { return p.Types[p.Pieces[i].Type].Name == "centre" }), bright())
}

// What a search protects can be brought out while one looks through what it found.
func TestWhatASearchProtectsIsBroughtOut(t *testing.T) {
	body := `{"search": {"metric": "METRIC_OBTM", "memoryBytes": "1048576", "maxLength": 2, "goal": {"puzzle": "puzzles/3x3x3", "cycle": "corner", "ignore": ["edge"]}}, "searchId": "keeps", "requestId": "keeps"}`
	reply, err := http.Post(address+"/v1/searches", "application/json", strings.NewReader(body))
	require.NoError(t, err)
	require.NoError(t, reply.Body.Close())
	require.Equal(t, http.StatusOK, reply.StatusCode)
	v := view("3x3x3", "R")
	v.Set("search", "keeps")
	v.Set("desk", "effect")
	b := open(t, v, 1200, 860)
	b.until("#effect button.cycle")
	get(b, poll[bool](`() => document.getElementById('state').textContent !== ''`))
	b.do(chromedp.Evaluate[chromedp.Void](`const s = document.getElementById('out'); s.value = '!'; s.dispatchEvent(new Event('change'))`))
	p, err := puzzle.Find("3x3x3")
	require.NoError(t, err)
	var want []string
	for i, piece := range p.Pieces {
		if p.Types[piece.Type].Name == "centre" {
			want = append(want, strconv.Itoa(i))
		}
	}
	assert.Equal(t, strings.Join(want, " "), get(b, chromedp.Evaluate[string](`document.getElementById('stage').dataset.bright`)))
}
