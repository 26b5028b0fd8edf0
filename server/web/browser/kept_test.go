package browser

import (
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/assert"
)

// again loads the page again, and comes in with a token where the server wants one.
func (b tab) again(token string) {
	b.Helper()
	b.do(chromedp.Reload())
	if token != "" {
		b.until("#token")
		b.do(chromedp.SendKeys(chromedp.CSS("#token"), token+"\r"))
	}
	b.known()
}

// known waits until the page knows who is there, and has told all its desks.
func (b tab) known() {
	b.Helper()
	get(b, poll[bool](`() => (document.querySelector('.club-who')?.textContent ?? '') !== ''`))
}

func (b tab) value(selector string) string {
	b.Helper()
	return get(b, chromedp.Value(chromedp.CSS(selector)))
}

// stored is what the tab's storage has.
func (b tab) stored() string {
	b.Helper()
	return get(b, chromedp.Evaluate[string](`JSON.stringify({...sessionStorage})`))
}

// What is written on the solution desk is there when the page is loaded again, in no address, until someone
// begins anew, which can be taken back.
func TestTheSolutionDeskOutlastsAReload(t *testing.T) {
	b := atDesk(t, "3x3x3", 1200, 860)
	b.known()
	b.set("#solution label select", "QTM")
	b.fill(detourScramble, detour)
	b.until(".went[data-length]")
	b.again("")
	b.until(".went[data-length]")
	assert.Equal(t, detour, b.written())
	assert.Equal(t, detourScramble, b.value("#solution textarea.scramble"))
	assert.Equal(t, "QTM", b.value("#solution label select"))
	assert.NotRegexp(t, "sequence=|F2", get(b, chromedp.Evaluate[string](`location.href`)))
	b.bars()

	b.click("#solution .anew")
	b.do(chromedp.WaitNotVisible(chromedp.CSS("#solution .anew")), chromedp.WaitNotPresent(chromedp.CSS(".went .strip")))
	assert.Empty(t, b.written())
	b.click("#solution .back")
	b.until(".went[data-length]")
	assert.Equal(t, detour, b.written())
	b.click("#solution .anew")
	b.do(chromedp.WaitNotVisible(chromedp.CSS("#solution .anew")))
	b.again("")
	assert.Empty(t, b.written())
	assert.Equal(t, "{}", b.stored())
}

// So is a search that was not asked for yet, with what depends on the puzzle, and one that was is not.
func TestASearchThatIsNotAskedForOutlastsAReload(t *testing.T) {
	v := view("3x3x3", "")
	v.Set("desk", "searches")
	b := open(t, v, 1200, 860)
	b.known()
	b.click("#new summary")
	b.set(`#ask [name="cycle"]`, "corner")
	b.click(`#ask [name="ignore"][value="edge"]`)
	b.set(`#ask [name="id"]`, "kept")
	b.set(`#ask [name="most"]`, "3")
	b.again("")
	b.until(`#ask [value="submit"]`) // it is open
	assert.Equal(t, []string{"corner", "kept", "3"}, []string{b.value(`#ask [name="cycle"]`), b.value(`#ask [name="id"]`), b.value(`#ask [name="most"]`)})
	b.until(`#ask [name="ignore"][value="edge"]:checked`)

	b.click(`#ask [name="kind"][value="position"]`)
	b.set(`#ask [name="scramble"]`, "R U ?")
	b.again("")
	b.until(`#ask [name="kind"][value="position"]:checked`)
	assert.Equal(t, "R U ?", b.value(`#ask [name="scramble"]`))
	b.click(`#ask [value="submit"]`)
	b.until(`#ask [name="scramble"][aria-invalid="true"]`)
	b.click("#ask .anew")
	b.until(`#ask [name="kind"][value="goal"]:checked`)
	assert.Zero(t, get(b, chromedp.Evaluate[int](`document.querySelectorAll('#ask [aria-invalid], #ask [name="ignore"]:checked').length`)))
	assert.Equal(t, []string{"", "8"}, []string{b.value(`#ask [name="id"]`), b.value(`#ask [name="most"]`)})
	assert.Equal(t, "{}", b.stored())

	b.set(`#ask [name="cycle"]`, "corner")
	b.set(`#ask [name="most"]`, "2")
	assert.Contains(t, b.stored(), "corner")
	b.click(`#ask [value="submit"]`)
	b.tells("It has ended")
	assert.Equal(t, "{}", b.stored(), "what was asked for is not to be asked for again")
}

// And so is a round that an organiser has not announced yet.
func TestARoundThatIsNotAnnouncedOutlastsAReload(t *testing.T) {
	c := startClub(t, "anna")
	c.announce("lantern-cup", "Lantern cup")
	b := c.visit("olga", "lantern-cup", 1200, 860)
	b.known()
	b.click(".to-announce")
	const form = ".announce "
	get(b, poll[bool](`() => document.querySelector('.announce [value="members/anna"]') !== null`))
	b.say(form+`[data-field="title"] input`, "Harbour evening", form+`[data-field="round_id"] input`, "harbour",
		form+`[data-field="puzzle"] select`, "puzzles/cube-3", form+`[data-field="format"] select`, "ROUND_FORMAT_MEAN")
	b.click(form + `[data-field="members"] [value="some"]`)
	b.tick(form, "anna")
	b.again(c.tokens["olga"])
	b.until(form + `[data-field="members"] [value="members/anna"]:checked`) // it is open, and has the members
	read := func(field string) string { return b.value(form + `[data-field="` + field + `"] :is(input, select)`) }
	assert.Equal(t, []string{"Harbour evening", "harbour", "puzzles/cube-3", "ROUND_FORMAT_MEAN", "3"},
		[]string{read("title"), read("round_id"), read("puzzle"), read("format"), read("attempts")})
	b.say(form+`[data-field="title"] input`, "Harbour night")
	assert.Equal(t, "harbour", read("round_id"), "it is somebody's own still")

	b.click(form + ".anew")
	b.until(form + `[data-field="title"] input:focus`)
	assert.Empty(t, read("title"))
	assert.Equal(t, "puzzles/cube-2", read("puzzle"))
	assert.Equal(t, "{}", b.stored())
	b.say(form+`[data-field="title"] input`, "Harbour evening")
	assert.Contains(t, b.stored(), "Harbour evening")
	b.click(form + "button.main")
	b.reads(".round h3", "Harbour evening")
	assert.Equal(t, "{}", b.stored())
}

// What one member wrote nobody else finds who comes in, nor whoever sits down when they have left.
func TestWhatOneWroteAnotherDoesNotFind(t *testing.T) {
	c := startClub(t, "anna", "bert")
	c.announce("lantern-cup", "Lantern cup")
	b := c.visit("anna", "lantern-cup", 1200, 860)
	b.known()
	b.sit("solution")
	b.fill("R U", "U' R'")
	b.until(`.went[data-length="2"]`)
	b.again(c.tokens["anna"])
	assert.Equal(t, "U' R'", b.written())
	assert.NotContains(t, b.stored(), c.tokens["anna"])
	b.again(c.tokens["bert"])
	assert.Empty(t, b.written())
	assert.Equal(t, "{}", b.stored())
	b.sit("solution")
	b.fill("F2", "F2")
	b.until(`.went[data-length="1"]`)
	assert.Contains(t, b.stored(), "members/bert")
	b.click("#who button")
	b.until("#token")
	assert.Equal(t, "{}", b.stored())
}

// A browser that keeps nothing, or has no room, takes nothing else away.
func TestAPageThatCanKeepNothing(t *testing.T) {
	for name, refuse := range map[string]string{
		"refused": `void Object.defineProperty(window, 'sessionStorage', {get() { throw new DOMException('no', 'SecurityError'); }})`,
		"full":    `void (Storage.prototype.setItem = () => { throw new DOMException('full', 'QuotaExceededError'); })`,
	} {
		t.Run(name, func(t *testing.T) {
			c := startClub(t, "anna")
			v := view("3x3x3", "")
			v.Set("desk", "solution")
			b := visit(t, c.at+"/#"+v.Encode(), 1200, 860)
			b.until("#token")
			b.do(chromedp.Evaluate[chromedp.Void](refuse), chromedp.SendKeys(chromedp.CSS("#token"), c.tokens["anna"]+"\r"))
			b.known()
			b.fill(detourScramble, detour)
			b.until(".went[data-length]")
			b.click("#solution .anew")
			b.do(chromedp.WaitNotPresent(chromedp.CSS(".went .strip")))
			b.sit("searches")
			b.click("#new summary")
			b.set(`#ask [name="cycle"]`, "corner")
			b.set(`#ask [name="most"]`, "2")
			b.click(`#ask [value="submit"]`)
			b.tells("It has ended")
		})
	}
	// What there was no room for does not come back as it was before.
	b := atDesk(t, "3x3x3", 1200, 860)
	b.known()
	b.fill("R U", "U' R'")
	b.do(chromedp.Evaluate[chromedp.Void](`Storage.prototype.setItem = () => { throw new DOMException('full', 'QuotaExceededError'); }`))
	b.fill("R", "R'")
	assert.Equal(t, "{}", b.stored())
}

// The field that is wrong is the one that the server names, however it puts it; what is about no field is
// said below them.
func TestTheFieldThatTheServerNamesIsMarked(t *testing.T) {
	b := atDesk(t, "3x3x3", 1200, 860)
	b.do(chromedp.Evaluate[chromedp.Void](`{ const real = fetch; window.fetch = (path, ...more) => window.refusal && path.endsWith(':study')
		? Promise.resolve(new Response(JSON.stringify(window.refusal), {status: 400})) : real(path, ...more); }`))
	refuse := func(field string) {
		b.do(chromedp.Evaluate[chromedp.Void](`window.refusal = {message: 'scramble or not, this is too long', details: [{reason: 'FIELD_INVALID'},
			{fieldViolations: [{field: '` + field + `', description: 'too long'}]}]}`))
		b.fill("R U", "U' R' "+"// "+field)
	}
	refuse("solution")
	b.until(`#solution textarea.solution[aria-invalid="true"]`)
	b.until(`#solution textarea.scramble:not([aria-invalid])`)
	refuse("scramble")
	b.until(`#solution textarea.scramble[aria-invalid="true"]`)
	b.until(`#solution textarea.solution:not([aria-invalid])`)
	refuse("metric")
	b.reads("#solution > .said", "Scramble or not")
	b.until(`#solution textarea.scramble:not([aria-invalid])`)
	b.do(chromedp.Evaluate[chromedp.Void](`window.refusal = null`))
	b.fill("R U", "U' R'")
	b.until(`.went[data-length="2"]`)
	assert.Empty(t, b.text("#solution > .said"))
}
