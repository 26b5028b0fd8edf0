package browser

import (
	"fmt"
	"strconv"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"turnwright/search/notation"
	"turnwright/search/puzzle"
)

// spot is a point of the page, in CSS pixels.
type spot struct{ X, Y float64 }

// spotOf finds a point of the page at which the sticker of a face is that lies farthest from the
// face's middle in a corner or on an edge, by the model: what the stage draws is not asked.
//
// It looks at the puzzle as the page says it does (right and up in the address), by the same
// perspective as pictures.
func (b tab) spotOf(place int) spot {
	b.Helper()
	return get(b, chromedp.Evaluate[spot](`(async () => {
		const box = document.getElementById('stage'), r = box.getBoundingClientRect();
		const said = new URLSearchParams(location.hash.slice(1));
		const {model} = await (await fetch('/v1/puzzles/' + said.get('puzzle') + '/model')).json();
		const right = Number(said.get('right')) * Math.PI / 180, up = Number(said.get('up')) * Math.PI / 180;
		const far = 6, size = v => Math.hypot(...v), dot = (a, b) => a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
		const outlines = model.stickers.map(s => Array.from({length: s.outline.length / 3}, (_, i) => s.outline.slice(3 * i, 3 * i + 3)));
		const radius = Math.max(...outlines.flat().map(size));
		const reach = Math.max(radius, ...model.axes.map(a => 1.3 * size(a.exit)));
		const toEye = [Math.sin(right) * Math.cos(up), -Math.cos(right) * Math.cos(up), Math.sin(up)];
		const across = [Math.cos(right), Math.sin(right), 0];
		const over = [-Math.sin(right) * Math.sin(up), Math.cos(right) * Math.sin(up), Math.cos(up)];
		const p = model.stickers[`+strconv.Itoa(place)+`].middle;
		const depth = far * radius - dot(p, toEye), half = Math.asin(Math.min(0.9, 1.04 * reach / (far * radius)));
		const scale = Math.min(r.width, r.height) / 2 / Math.tan(half) / depth;
		return {X: r.left + r.width / 2 + dot(p, across) * scale, Y: r.top + r.height / 2 - dot(p, over) * scale};
	})()`, chromedp.EvalAwaitPromise))
}

// slotOf is a slot by a name that people know it by: the stickers in it, and its name in full.
func slotOf(t *testing.T, p *puzzle.Puzzle, typ, label string) ([]uint16, string) {
	t.Helper()
	for i := range p.Types {
		if p.Types[i].Name == typ {
			s, ok := p.SlotByLabel(&p.Types[i], label)
			require.True(t, ok, label)
			return p.Types[i].Slots[s], p.Types[i].Labels[s]
		}
	}
	t.Fatalf("no type %s", typ)
	return nil, ""
}

// becomes waits until the page has read a sequence.
func (b tab) becomes(sequence string) {
	b.Helper()
	get(b, poll[bool](`() => document.getElementById('sequence').value === `+strconv.Quote(sequence)+` && !('reading' in document.getElementById('stage').dataset)`))
}

// Three stickers are clicked: what then fits does that cycle and nothing else, by the engine.
func TestACycleIsFittedWhereThreeStickersAreClicked(t *testing.T) {
	p, err := puzzle.Find("3x3x3")
	require.NoError(t, err)
	v := view("3x3x3", "[R' D' R, U']")
	v.Set("right", "30")
	v.Set("up", "30")
	v.Set("desk", "bench")
	b := open(t, v, 1200, 860)
	get(b, poll[bool](`() => location.hash.includes('right=30')`))
	b.click(`#fit button[aria-pressed]`)
	b.until(`#stage[data-picking]`)
	// Stickers by the faces they are on, first in the name of a slot: of all in sight.
	var labels []string
	var slots [][]uint16
	for _, name := range []string{"UFR", "FUL", "RUB"} {
		slot, label := slotOf(t, p, "corner", name)
		slots, labels = append(slots, slot), append(labels, label)
	}
	for i, slot := range slots {
		at := b.spotOf(int(slot[0]))
		b.do(chromedp.MouseClickXY(at.X, at.Y))
		get(b, poll[bool](`() => document.querySelectorAll('#fit select')[`+strconv.Itoa(i+1)+`].value !== ''`))
	}
	b.do(chromedp.WaitNotPresent(chromedp.CSS(`#stage[data-picking]`)))
	b.until(`#fit[data-fits] li button`)
	assert.Equal(t, labels, get(b, chromedp.Evaluate[[]string](
		`[...document.querySelectorAll('#fit select')].slice(1, 4).map(s => s.selectedOptions[0].text)`)))
	assert.Contains(t, b.text(`#fit [role="status"]`), strings.Join(labels, " → ")+": ")
	b.screen("fit.png")
	b.bars()
	sequence := b.text(`#fit li:nth-child(1) .cycle`)
	turns, err := notation.ParseTurns(p, sequence)
	require.NoError(t, err)
	b.click(`#fit li:nth-child(1) button`)
	b.becomes(sequence)
	b.click("#last")
	b.at(len(turns))
	shown := b.position()
	assert.Equal(t, engine(t, "3x3x3", sequence), shown)
	// What is at each of the places is what the cycle brings there, and the rest is at home.
	want := engine(t, "3x3x3", "")
	for i, from := range slots {
		to := slots[(i+1)%3]
		for k := range from {
			want[to[k]] = int(from[k])
		}
	}
	assert.Equal(t, want, shown)
	// The base of the choices stays what it was.
	assert.Contains(t, b.text(`#fit [role="status"]`), "[R' D' R, U']")
}

// choose takes what is called so from one of the fit's lists.
func (b tab) choose(list int, label string) {
	b.Helper()
	b.do(chromedp.Evaluate[chromedp.Void](fmt.Sprintf(`{ const s = document.querySelectorAll('#fit select')[%d];
		s.value = [...s.options].find(o => o.text === %q).value; s.dispatchEvent(new Event('change')); }`, list, label)))
}

// By names alone, with a third that is free; and why nothing fits.
func TestFittingByNames(t *testing.T) {
	v := view("3x3x3", "[R' D' R, U']")
	v.Set("desk", "bench")
	b := open(t, v, 390, 844)
	p, err := puzzle.Find("3x3x3")
	require.NoError(t, err)
	_, ufr := slotOf(t, p, "corner", "UFR")
	_, ubr := slotOf(t, p, "corner", "UBR")
	_, uf := slotOf(t, p, "edge", "UF")
	_, ur := slotOf(t, p, "edge", "UR")
	b.choose(1, ufr)
	b.choose(2, ubr)
	b.until(`#fit[data-fits] li button`)
	assert.Contains(t, b.text(`#fit [role="status"]`), ufr+" → "+ubr+" → any: ")
	b.screen("fit-phone.png")
	b.bars()
	assert.LessOrEqual(t, get(b, chromedp.Evaluate[float64](`document.documentElement.scrollWidth - innerWidth`)), 0.0)
	// Edges can't be cycled by what moves corners only; the server says so.
	b.choose(0, "edge")
	b.choose(1, uf)
	b.choose(2, ur)
	get(b, poll[bool](`() => !/Looking|Pick/.test(document.querySelector('#fit [role="status"]').textContent)`))
	assert.Contains(t, b.text(`#fit [role="status"]`), "edge")
}

// A link opens the same fit: what is picked, what it is for, and what may be broken; what fits is shown between
// the moves around it, which get into no address.
func TestAFitIsOpenedByItsLink(t *testing.T) {
	const sequence = "[R' D' R, U']"
	v := view("3x3x3", sequence)
	v.Set("desk", "bench")
	b := open(t, v, 1200, 860)
	p, err := puzzle.Find("3x3x3")
	require.NoError(t, err)
	_, ufr := slotOf(t, p, "corner", "UFR")
	_, ubr := slotOf(t, p, "corner", "UBR")
	for i, label := range []string{ufr, ubr} {
		b.choose(i+1, label)
	}
	b.click(`#fit fieldset input[value="edge"]`)
	b.until(`#fit[data-fits] li button`)
	selects := func(b tab) []string {
		return get(b, chromedp.Evaluate[[]string](`[...document.querySelectorAll('#fit select')].map(s => s.selectedOptions[0].text)`))
	}
	said := b.text(`#fit [role="status"]`)
	require.Contains(t, said, ufr+" → "+ubr+" → any: ")

	// One is chosen: the link has that on the stage, and still fits what it is one of.
	fits := b.text(`#fit li:nth-child(1) .cycle`)
	b.click(`#fit li:nth-child(1) button`)
	b.becomes(fits)
	get(b, poll[bool](`() => new URLSearchParams(location.hash.slice(1)).get('sequence') === `+strconv.Quote(fits)))
	link := get(b, chromedp.Evaluate[string](`location.href`))
	there := visit(t, link, 1200, 860)
	there.until(`#fit[data-fits] li button`)
	assert.Equal(t, said, there.text(`#fit [role="status"]`))
	assert.Equal(t, selects(b), selects(there))
	there.until(`#fit fieldset input[value="edge"]:checked`)
	assert.Equal(t, get(b, chromedp.Evaluate[int](`document.querySelectorAll('#fit li').length`)), get(there, chromedp.Evaluate[int](`document.querySelectorAll('#fit li').length`)))

	// Between moves.
	there.set("#fit label:has(input.cycle) input", "F R2")
	get(there, poll[bool](`() => document.querySelector('#fit[data-fits] li')?.textContent.includes('between the moves')`))
	fits = there.text(`#fit li:nth-child(1) .cycle`)
	there.click(`#fit li:nth-child(1) button`)
	there.becomes("F R2\n" + fits)
	there.at(2)
	assert.Equal(t, said[:20], there.text(`#fit [role="status"]`)[:20])

	// What no puzzle has is left out.
	v.Set("fit", "type=corner&pick=nowhere&pick="+ubr+"&sticker=9&broken=none&metric=none")
	odd := open(t, v, 1200, 860)
	odd.until("#parts tr")
	assert.Empty(t, odd.text(`#fit [role="status"]`))
	odd.until("#fit select")
	assert.Equal(t, "choose one", selects(odd)[1])
	// Nor is the fit in the address once nothing is picked.
	b.click(`#fit .row button:nth-of-type(2)`)
	get(b, poll[bool](`() => !location.hash.includes('fit=')`))
}

// A place on the far side that is picked has its number, too.
func TestAPickOnTheFarSideIsSeen(t *testing.T) {
	v := view("3x3x3", "")
	v.Set("right", "30")
	v.Set("up", "30")
	v.Set("desk", "bench")
	b := open(t, v, 1200, 860)
	get(b, poll[bool](`() => location.hash.includes('right=30')`))
	p, err := puzzle.Find("3x3x3")
	require.NoError(t, err)
	slot, label := slotOf(t, p, "corner", "DBL")
	at := b.spotOf(int(slot[0]))
	// A point of its disc, beside the digit.
	pixel := `(() => { const c = document.getElementById('overlay'), r = c.getBoundingClientRect(), k = c.width / r.width;
		const pen = new OffscreenCanvas(1, 1).getContext('2d', {willReadFrequently: true});
		pen.drawImage(c, -(` + strconv.FormatFloat(at.X+8, 'f', 2, 64) + ` - r.left) * k, -(` + strconv.FormatFloat(at.Y, 'f', 2, 64) + ` - r.top) * k);
		return pen.getImageData(0, 0, 1, 1).data[3]; })()`
	require.Zero(t, get(b, chromedp.Evaluate[int](pixel)))
	b.choose(0, "corner")
	b.choose(1, label)
	get(b, poll[bool](`() => `+pixel+` === 255`))
	b.screen("fit-far.png")
}
