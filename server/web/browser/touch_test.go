package browser

import (
	"strings"
	"testing"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// touch puts fingers on the page, moves them in steps, and takes them off.
func (b tab) touch(from, to []spot) {
	b.Helper()
	const steps = 8
	send := func(kind input.DispatchTouchEventType, at float64) {
		p := input.DispatchTouchEventParams{Type: kind, TouchPoints: []*input.TouchPoint{}}
		for i := range from {
			if kind == input.DispatchTouchEventTypeTouchEnd {
				break
			}
			id := float64(i)
			p.TouchPoints = append(p.TouchPoints, &input.TouchPoint{X: from[i].X + (to[i].X-from[i].X)*at, Y: from[i].Y + (to[i].Y-from[i].Y)*at, ID: &id})
		}
		_, err := chromedp.Call(b.ctx, input.DispatchTouchEvent, p)
		require.NoError(b, err)
	}
	send(input.DispatchTouchEventTypeTouchStart, 0)
	for i := 1; i <= steps; i++ {
		send(input.DispatchTouchEventTypeTouchMove, float64(i)/steps)
	}
	send(input.DispatchTouchEventTypeTouchEnd, 1)
}

// media has the page believe what a device says that someone prefers.
func (b tab) media(name, value string) {
	b.Helper()
	_, err := chromedp.Call(b.ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{{Name: name, Value: value}}})
	require.NoError(b, err)
}

// middle is the middle of an element.
func (b tab) middle(selector string) spot {
	b.Helper()
	return get(b, chromedp.Evaluate[spot](`(() => { const r = document.querySelector(`+quoted(selector)+`).getBoundingClientRect();
		return {X: r.left + r.width / 2, Y: r.top + r.height / 2}; })()`))
}

// One finger on a sticker turns its layer, two look round and make the puzzle larger, and
// the page scrolls beside the stage only.
func TestFingers(t *testing.T) {
	b := open(t, view("3x3x3", ""), 390, 844)
	b.do(chromedp.EmulateViewport(390, 844, chromedp.EmulateTouch))
	m := b.middle("#stage")
	b.touch([]spot{m}, []spot{{m.X - 70, m.Y}})
	b.at(1)
	written := get(b, chromedp.Value(chromedp.CSS("#sequence")))
	require.NotEmpty(t, written)
	held := b.position()
	assert.Equal(t, engine(t, "3x3x3", written), held)
	assert.NotEqual(t, engine(t, "3x3x3", ""), held)

	// Two fingers go the same way.
	b.click("#side")
	side := get(b, chromedp.Evaluate[string](`location.hash`))
	const right = `#pegs button[aria-label="Turn about R"]`
	b.do(frames)
	peg := b.middle(right)
	b.touch([]spot{{m.X - 40, m.Y}, {m.X + 40, m.Y}}, []spot{{m.X - 10, m.Y}, {m.X + 70, m.Y}})
	get(b, poll[bool](`() => location.hash.includes('right=') && location.hash !== `+quoted(side)))
	b.do(frames)
	assert.Greater(t, b.middle(right).X, peg.X+5)
	// They go apart: what was at the side goes outwards by as much.
	b.click("#side")
	b.do(frames)
	peg = b.middle(right)
	b.touch([]spot{{m.X - 40, m.Y}, {m.X + 40, m.Y}}, []spot{{m.X - 60, m.Y}, {m.X + 60, m.Y}})
	b.do(frames)
	assert.InDelta(t, 1.5*(peg.X-m.X), b.middle(right).X-m.X, 3)
	b.screen("near-phone.png")
	b.do(chromedp.Focus(chromedp.CSS("#stage")), chromedp.KeyEvent("-"), chromedp.KeyEvent("-"), frames)
	assert.InDelta(t, peg.X, b.middle(right).X, 3, "it is never smaller than the whole puzzle")
	assert.Equal(t, held, b.position(), "two fingers turn nothing")

	assert.Zero(t, get(b, chromedp.Evaluate[float64](`scrollY`)), "the stage is no place to scroll from")
	from := b.middle("#effect")
	b.touch([]spot{from}, []spot{{from.X, from.Y - 200}})
	get(b, poll[bool](`() => scrollY > 0`))
}

// Whoever wants no motion sees turns before and after only.
func TestWithoutMotion(t *testing.T) {
	b := open(t, view("3x3x3", "R U F"), 1200, 860)
	b.do(chromedp.Evaluate[chromedp.Void](`window.seen = []; new MutationObserver(all => all.forEach(m => { if (m.target.dataset.turning) seen.push(m.target.dataset.turning); }))
		.observe(document.getElementById('stage'), {attributeFilter: ['data-turning']})`))
	b.click("#next")
	b.at(1)
	assert.Equal(t, []string{"R"}, get(b, chromedp.Evaluate[[]string](`seen`)), "usually it is seen turning")
	b.media("prefers-reduced-motion", "reduce")
	b.do(frames)
	b.click("#next")
	b.at(2)
	assert.Equal(t, engine(t, "3x3x3", "R U"), b.position())
	b.do(chromedp.Evaluate[chromedp.Void](`const p = document.getElementById('pace'); p.value = 3; p.dispatchEvent(new Event('input'))`))
	b.click("#play")
	b.at(3)
	b.click("#backwards")
	b.at(0)
	assert.Equal(t, engine(t, "3x3x3", ""), b.position())
	assert.Equal(t, []string{"R"}, get(b, chromedp.Evaluate[[]string](`seen`)))
}

// Where nobody has chosen, the page is light or dark as the device is, and follows it.
func TestThePageIsLightOrDarkAsTheDevice(t *testing.T) {
	b := open(t, view("3x3x3", "[R U R', D]"), 1200, 860)
	paper := func() string {
		return get(b, chromedp.Evaluate[string](`getComputedStyle(document.body).backgroundColor`))
	}
	b.media("prefers-color-scheme", "dark")
	assert.Equal(t, "rgb(21, 22, 26)", paper())
	b.do(frames)
	dark := get(b, chromedp.Screenshot(chromedp.CSS("#stage")))
	b.media("prefers-color-scheme", "light")
	assert.Equal(t, "rgb(244, 243, 238)", paper())
	b.do(frames)
	assert.NotEqual(t, dark, get(b, chromedp.Screenshot(chromedp.CSS("#stage"))))
	b.dress("light")
	b.media("prefers-color-scheme", "dark")
	assert.Equal(t, "rgb(244, 243, 238)", paper(), "what was chosen comes first")
}

// A page that is shown twice as large has room for everything from the top down.
func TestAtTwiceTheSize(t *testing.T) {
	b := open(t, view("vertex-cut-dodecahedron", "2.a c2^-2 a c2^2 2.a' c2^-2 a' c2^2"), 640, 430)
	for desk := range strings.FieldsSeq("effect bench searches coverage rounds solution server") {
		b.sit(desk)
		assert.LessOrEqual(t, get(b, chromedp.Evaluate[float64](`document.documentElement.scrollWidth - innerWidth`)), 0.0, desk)
	}
	assert.GreaterOrEqual(t, get(b, chromedp.Evaluate[float64](`document.getElementById('stage').clientHeight`)), 192.0)
	b.screen("twice.png")
}
