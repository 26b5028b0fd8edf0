package browser

import (
	"encoding/json"
	"fmt"
	"net/http"
	"net/url"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"turnwright/search/notation"
	"turnwright/search/puzzle"
)

// found is what these tests read of a finding.
type found struct {
	Name, Sequence string
	Class, Length  int
	Lengths        struct{ OBTM, STM, QTM, ETM int }
	Explanation    struct {
		Text, Words string
		Plain       bool
		SetupLength int
	}
}

func (f found) id() string { return f.Name[strings.LastIndex(f.Name, "/")+1:] }

// wanted is what these tests read of a search.
type wanted struct {
	Name, State, Metric string
	MaxLength, Priority int
	StopTime            string
	CoreBudget          string
	Goal                *struct {
		Puzzle, Cycle, Shape string
		Ignore, Axes         []string
	}
	Structure *struct{ FirstLength, SecondLength, ThirdLength, SetupLength int }
	Position  *struct {
		Scramble string
		Ignore   []string
		All      bool
	}
	Study *struct{ Scramble, Solution, ShortenTime string }
}

// call makes a call of the API and reads its answer.
func call(t *testing.T, method, path, body string, into any) int {
	t.Helper()
	r, err := http.NewRequestWithContext(t.Context(), method, path, strings.NewReader(body))
	require.NoError(t, err)
	r.Header.Set("Content-Type", "application/json")
	reply, err := http.DefaultClient.Do(r)
	require.NoError(t, err)
	defer func() { require.NoError(t, reply.Body.Close()) }()
	if into != nil {
		require.NoError(t, json.NewDecoder(reply.Body).Decode(into))
	}
	return reply.StatusCode
}

// search asks for a search by the API.
func search(t *testing.T, at, id, what string) {
	t.Helper()
	require.Equal(t, http.StatusOK, call(t, http.MethodPost, at+"/v1/searches", `{"search": {`+what+`}, "searchId": "`+id+`", "requestId": "`+id+`"}`, nil))
}

func (b tab) findings(at, id string) []found {
	b.Helper()
	var listed struct{ Findings []found }
	require.Equal(b, http.StatusOK, call(b.T, http.MethodGet, at+"/v1/searches/"+id+"/findings?page_size=1000", "", &listed))
	return listed.Findings
}

func (b tab) searchAt(at, id string) wanted {
	b.Helper()
	var reply struct{ Search wanted }
	require.Equal(b, http.StatusOK, call(b.T, http.MethodGet, at+"/v1/searches/"+id, "", &reply))
	return reply.Search
}

// tells waits until the page tells so of the search that it watches.
func (b tab) tells(text string) {
	b.Helper()
	b.reads("#state", text)
}

// sequences are those of the cards, in their order.
func (b tab) sequences() []string {
	b.Helper()
	return get(b, chromedp.Evaluate[[]string](`[...document.querySelectorAll('#findings .cycle')].map(e => e.textContent)`))
}

// watch opens the page at a search that has ended.
func watch(t *testing.T, puzzle, id string, total int) tab {
	t.Helper()
	v := view(puzzle, "")
	v.Set("search", id)
	b := open(t, v, 1280, 860)
	b.tells("It has ended")
	b.until(`#searches[data-findings="` + strconv.Itoa(total) + `"]`)
	return b
}

// tabTo goes with the Tab key until what fits a selector has the focus.
func (b tab) tabTo(selector string) {
	b.Helper()
	for range 150 {
		if get(b, chromedp.Evaluate[bool](fmt.Sprintf(`document.activeElement.matches(%q)`, selector))) {
			return
		}
		b.do(chromedp.KeyEvent("\t"))
	}
	require.Fail(b, "nothing leads there with the Tab key", selector)
}

func (b tab) keys(keys ...string) {
	b.Helper()
	for _, k := range keys {
		b.do(chromedp.KeyEvent(k))
	}
}

// set writes a value as if someone had typed it.
func (b tab) set(selector, value string) {
	b.Helper()
	get(b, poll[bool](fmt.Sprintf(`() => { const e = document.querySelector(%q); return e && (!e.options || [...e.options].some(o => o.value === %q)); }`, selector, value)))
	b.do(chromedp.Evaluate[chromedp.Void](fmt.Sprintf(`{ const e = document.querySelector(%q); e.value = %q;
		for (const n of ['input', 'change']) e.dispatchEvent(new Event(n, {bubbles: true})); }`, selector, value)))
}

// A search is asked for and a finding played to its end with nothing but keys.
func TestASearchByKeyboardAlone(t *testing.T) {
	b := open(t, view("3x3x3", ""), 1280, 860)
	b.tabTo(`#desks [data-desk="searches"]`)
	b.keys("\r")
	b.tabTo("#new summary")
	b.keys("\r")
	b.tabTo(`#ask [name="kind"]`)
	b.tabTo("#cycle")
	for range 5 { // typing chooses, the next one each time: a letter after another counts only where it comes soon
		b.keys("c")
		if get(b, chromedp.Value(chromedp.CSS("#cycle"))) == "corner" {
			break
		}
	}
	b.tabTo(`#ask [name="metric"]`)
	b.keys("O")
	b.tabTo(`#ask [value="estimate"]`)
	b.keys("\r")
	get(b, poll[bool](`() => document.querySelector('#ask output').textContent.includes('Units of work: ')`))
	b.tabTo(`#ask [value="submit"]`)
	b.keys("\r")
	b.tells("It has ended")
	id := get(b, chromedp.Value(chromedp.CSS("#search")))
	s := b.searchAt(address, id)
	assert.Equal(t, "corner METRIC_OBTM 8", fmt.Sprint(s.Goal.Cycle, " ", s.Metric, " ", s.MaxLength))
	listed := b.findings(address, id)
	require.NotEmpty(t, listed)
	b.until(`#searches[data-findings="` + strconv.Itoa(len(listed)) + `"]`)

	b.tabTo("#findings li:nth-child(2) .finding")
	b.keys("\r")
	b.until(`#ribbon li:nth-child(8)`)
	b.at(0)
	b.tabTo("#play") // a list keeps the focus of whoever goes through it
	b.keys(" ")
	b.at(listed[1].Length)
	assert.Equal(t, engine(t, "3x3x3", listed[1].Sequence), b.position())
}

// What the sieve lets through, and what it counts, is what the API's answer has.
func TestFindingsAreSifted(t *testing.T) {
	search(t, address, "sieve", `"goal": {"puzzle": "puzzles/3x3x3", "cycle": "corner"}, "metric": "METRIC_OBTM", "maxLength": 9, "sequencesPerClass": 4, "slack": 1`)
	v := view("3x3x3", "")
	v.Set("search", "sieve")
	b := open(t, v, 1280, 860)
	b.tells("It has ended")
	all := b.findings(address, "sieve")
	b.until(`#searches[data-findings="` + strconv.Itoa(len(all)) + `"]`)
	passing := func(all []found, fits func(found) bool) (out []string) {
		for _, f := range all {
			if fits(f) {
				out = append(out, f.Sequence)
			}
		}
		return out
	}
	options := func(key string) []string {
		return get(b, chromedp.Evaluate[[]string](`[...document.querySelector('[data-sieve="`+key+`"]').options].map(o => o.text)`))
	}
	setup := func(f found) bool { return f.Explanation.SetupLength == 1 }
	without := passing(all, func(f found) bool { return f.Explanation.SetupLength == 0 })
	with := passing(all, setup)
	require.NotEmpty(t, with)
	require.NotEmpty(t, without)
	assert.Equal(t, []string{fmt.Sprintf("any (%d)", len(all)), fmt.Sprintf("0 (%d)", len(without)), fmt.Sprintf("1 (%d)", len(with))}, options("setup"))

	b.set(`[data-sieve="setup"]`, "1")
	assert.Equal(t, with, b.sequences())
	// The answers to other questions count what is left of them.
	threeOne := passing(all, func(f found) bool { return setup(f) && strings.HasPrefix(f.Explanation.Words, "3-1 commutator") })
	assert.Contains(t, options("parts"), fmt.Sprintf("3-1 commutator (%d)", len(threeOne)))
	b.set(`[data-sieve="parts"]`, "3-1 commutator")
	assert.Equal(t, threeOne, b.sequences())
	assert.Equal(t, fmt.Sprintf("%d of %d findings are listed.", len(threeOne), len(all)), b.text("#sifted"))

	// So it is when the page is loaded again, and a class is chosen.
	b.do(chromedp.Reload())
	b.until(`#searches[data-listed="` + strconv.Itoa(len(threeOne)) + `"]`)
	assert.Equal(t, threeOne, b.sequences())
	b.click(".sieve button")
	b.until(`#searches[data-listed="` + strconv.Itoa(len(all)) + `"]`)
	class := all[len(all)-1].Class
	b.set(`[data-sieve="class"]`, strconv.Itoa(class))
	assert.Equal(t, passing(all, func(f found) bool { return f.Class == class }), b.sequences())
	b.bars()
}

// Two findings side by side: their lengths are the API's, and what is underlined is what
// their turns have in common.
func TestFindingsSideBySide(t *testing.T) {
	search(t, address, "beside", `"goal": {"puzzle": "puzzles/3x3x3", "cycle": "edge"}, "metric": "METRIC_STM", "maxLength": 6, "sequencesPerClass": 3, "slack": 2`)
	v := view("3x3x3", "")
	v.Set("search", "beside")
	b := open(t, v, 1280, 860)
	b.tells("It has ended")
	all := b.findings(address, "beside")
	require.Greater(t, len(all), 3)
	b.until(`#searches[data-findings="` + strconv.Itoa(len(all)) + `"]`)
	for _, n := range []string{"1", "3"} { // by keys
		b.tabTo("#findings li:nth-child(" + n + ") .pick input")
		b.keys(" ")
	}
	x, y := all[0], all[2]
	get(b, poll[bool](`() => /alike/.test(document.querySelector('.pair caption')?.textContent)`))
	row := func(says string) []string {
		return get(b, chromedp.Evaluate[[]string](`[...[...document.querySelectorAll('.pair tr')].find(r => r.cells[0].textContent === '`+says+`').cells].slice(1).map(c => c.textContent.replace(' least', ''))`))
	}
	for says, of := range map[string]func(found) int{
		"OBTM": func(f found) int { return f.Lengths.OBTM }, "STM": func(f found) int { return f.Lengths.STM },
		"ETM": func(f found) int { return f.Lengths.ETM }, "QTM": func(f found) int { return f.Lengths.QTM },
	} {
		assert.Equal(t, []string{strconv.Itoa(of(x)), strconv.Itoa(of(y))}, row(says), says)
	}
	assert.Equal(t, []string{x.Sequence, y.Sequence}, row("Turns"))
	assert.Equal(t, []string{x.Explanation.Words, y.Explanation.Words}, row("In words"))

	p, err := puzzle.Find("3x3x3")
	require.NoError(t, err)
	one, err := notation.ParseTurns(p, x.Sequence)
	require.NoError(t, err)
	other, err := notation.ParseTurns(p, y.Sequence)
	require.NoError(t, err)
	begin := 0
	for begin < min(len(one), len(other)) && one[begin] == other[begin] {
		begin++
	}
	end := 0
	for end < min(len(one), len(other))-begin && one[len(one)-1-end] == other[len(other)-1-end] {
		end++
	}
	assert.Equal(t, begin+end, get(b, chromedp.Evaluate[int](`document.querySelectorAll('.pair td:nth-child(2) u').length`)))
	said := "Their classes are"
	if x.Class == y.Class {
		said = "They are of one class"
	}
	assert.Contains(t, b.text(".pair caption"), said)
	b.bars()

	// They stay side by side when the page is loaded again, and each plays.
	b.do(chromedp.Reload())
	b.until(".pair td:nth-child(3) .main")
	b.click(".pair td:nth-child(3) .main")
	b.until("#ribbon li:nth-child(" + strconv.Itoa(len(other)) + ")")
	b.at(0)
	b.click("#last")
	b.at(len(other))
	assert.Equal(t, engine(t, "3x3x3", y.Sequence), b.position())
	b.click(".pair td:nth-child(2) button:not(.main)")
	get(b, poll[bool](`() => document.querySelectorAll('.pair thead th').length === 1`))
}

// A search is held, let go on, given another place, ended and deleted on the page, and the
// API says so each time.
func TestTheLifeOfASearch(t *testing.T) {
	at, stop, err := serve(filepath.Join(t.TempDir(), "data"), "127.0.0.1:0", "--workers", "1")
	require.NoError(t, err)
	t.Cleanup(stop)
	at = "http://" + at
	search(t, at, "night", `"goal": {"puzzle": "puzzles/vertex-cut-dodecahedron", "cycle": "triangle"}, "maxLength": 14, "memoryBytes": "33554432"`)
	v := view("3x3x3", "")
	v.Set("search", "night")
	v.Set("findings", "setup=1") // what comes is sifted as it comes
	b := visit(t, at+"/#"+v.Encode(), 1280, 860)
	state := func() string { return strings.TrimPrefix(b.searchAt(at, "night").State, "SEARCH_STATE_") }
	offered := func() []string {
		return get(b, chromedp.Evaluate[[]string](`[...document.querySelectorAll('.verbs button:not([hidden])')].map(e => e.dataset.verb)`))
	}
	b.tells("It is searching at length")
	get(b, poll[bool](`() => Number(document.getElementById('searches').dataset.listed) > 0`))
	assert.Equal(t, []string{"pause", "cancel"}, offered())

	// What the stream was about to tell is from before the search was paused: another one is asked for.
	b.count(":stream")
	b.click(`[data-verb="pause"]`)
	b.tells("It is paused")
	assert.Equal(t, 1, b.counted())
	assert.Equal(t, "PAUSED", state())
	assert.Equal(t, []string{"resume", "cancel"}, offered())
	assert.Equal(t, "resume", get(b, chromedp.Evaluate[string](`document.activeElement.dataset.verb`)), "the focus stays in the row")
	var lengths []string
	for _, l := range func() []struct{ Length int } {
		var reply struct {
			Search struct{ Lengths []struct{ Length int } }
		}
		call(t, http.MethodGet, at+"/v1/searches/night", "", &reply)
		return reply.Search.Lengths
	}() {
		lengths = append(lengths, strconv.Itoa(l.Length))
	}
	get(b, poll[bool](`() => document.querySelectorAll('.lengths .covered').length === `+strconv.Itoa(len(lengths))))
	assert.Equal(t, lengths, get(b, chromedp.Evaluate[[]string](`[...document.querySelectorAll('.lengths .covered')].map(e => e.dataset.length)`)))
	assert.Equal(t, 14, get(b, chromedp.Evaluate[int](`document.querySelectorAll('.lengths li').length`)))

	b.click(".life details summary")
	b.set(`.later [name="priority"]`, "11")
	b.click(".later button")
	get(b, poll[bool](`() => document.querySelector('.life .wrong').textContent.includes('use -10 to 10')`))
	b.set(`.later [name="priority"]`, "3")
	b.set(`.later [name="stop"]`, "2099-01-02T07:00")
	b.set(`.later [name="hours"]`, "2")
	b.click(".later button")
	get(b, poll[bool](`() => document.querySelector('.life .facts').textContent.includes('riority 3')`))
	now := b.searchAt(at, "night")
	assert.Equal(t, 3, now.Priority)
	assert.Equal(t, "7200s", now.CoreBudget)
	assert.True(t, strings.HasPrefix(now.StopTime, "2099-01-0"), now.StopTime)
	b.bars()

	b.click(`[data-verb="resume"]`)
	b.tells("It is searching")
	assert.Contains(t, []string{"QUEUED", "PREPARING", "RUNNING"}, state())
	b.click(`[data-verb="cancel"]`)
	b.click("dialog[open] .main")
	b.tells("It was cancelled")
	assert.Equal(t, "CANCELLED", state())
	assert.Equal(t, []string{"remove"}, offered())

	all := b.findings(at, "night")
	var with []string
	for _, f := range all {
		if f.Explanation.SetupLength == 1 {
			with = append(with, f.Sequence)
		}
	}
	require.NotEmpty(t, with)
	require.Less(t, len(with), len(all))
	b.until(`#searches[data-findings="` + strconv.Itoa(len(all)) + `"]`)
	assert.Equal(t, with[:min(48, len(with))], b.sequences())

	b.click(`[data-verb="remove"]`)
	b.click("dialog[open] .main")
	b.tells("night was deleted")
	assert.Equal(t, http.StatusNotFound, call(t, http.MethodGet, at+"/v1/searches/night", "", nil))
}

// What is asked on the page is what the server has then, for every kind of search.
func TestEveryKindIsAskedFor(t *testing.T) {
	v := view("2x2x2", "R U R2")
	v.Set("desk", "searches")
	b := open(t, v, 1280, 860)
	b.click("#new summary")
	b.click("#ask details:nth-of-type(2) summary") // when and under which name
	b.set(`#ask [name="metric"]`, "OBTM")
	ask := func(kind, id string) wanted {
		t.Helper()
		b.set(`#ask [name="id"]`, id)
		b.click(`#ask [value="submit"]`)
		get(b, poll[bool](`() => document.querySelector('#ask output').textContent === '`+id+` was taken.'`))
		b.reads(".asked", id+" looks for") // and not the one before it any more
		b.tells("It has ended")
		return b.searchAt(address, id)
	}
	choose := func(kind string) { b.click(`#ask [name="kind"][value="` + kind + `"]`) }

	choose("structure")
	b.set(`#ask [name="third"]`, "1")
	s := ask("structure", "asked-structure")
	require.NotNil(t, s.Structure)
	assert.Equal(t, [4]int{3, 1, 1, 1}, [4]int{s.Structure.FirstLength, s.Structure.SecondLength, s.Structure.ThirdLength, s.Structure.SetupLength})
	assert.Contains(t, b.text("#state"), "It proves nothing")

	choose("goal")
	b.click("#ask details:nth-of-type(1) summary")
	b.set(`#ask [name="shape"]`, "1~+1~")
	b.set(`#ask [name="most"]`, "10")
	s = ask("goal", "asked-shape")
	assert.Equal(t, "1~+1~", s.Goal.Shape)
	assert.Equal(t, 10, s.MaxLength)

	choose("position")
	b.click(`#ask .field:not([hidden]) textarea[name="scramble"]`)
	b.do(chromedp.Evaluate[chromedp.Void](`document.querySelector('[name="scramble"]').closest('.field').querySelector('button').click()`))
	s = ask("position", "asked-position")
	require.NotNil(t, s.Position)
	assert.Equal(t, "R U R2", s.Position.Scramble, "it is what is on the stage")

	choose("study")
	b.set(`#ask [name="solution"]`, "R U R' U R U2 R' F R2 F' R2 F")
	b.set(`#ask [name="hours"]`, "0.0003")
	s = ask("study", "asked-study")
	require.NotNil(t, s.Study)
	assert.Equal(t, "1s", s.Study.ShortenTime[:2])
}

// What the server does not take is said at the field that it is about, and nothing that was
// typed is lost.
func TestARefusalIsSaidAtItsField(t *testing.T) {
	search(t, address, "taken", `"position": {"puzzle": "puzzles/2x2x2", "scramble": "R"}, "maxLength": 2`)
	v := view("2x2x2", "")
	v.Set("desk", "searches")
	b := open(t, v, 390, 844)
	b.click("#new summary")
	wrong := func(name string) string {
		b.until(`#ask [name="` + name + `"][aria-invalid="true"]`)
		assert.Equal(t, name, get(b, poll[string](`() => !document.getElementById('ask').inert && document.activeElement.name`)))
		return b.text(`#ask .field:has([name="` + name + `"]) .wrong`)
	}
	b.set(`#ask [name="most"]`, "99")
	b.click(`#ask [value="estimate"]`)
	assert.Equal(t, "99: use 1 to 40", wrong("most"))
	b.set(`#ask [name="most"]`, "5")
	b.until(`#ask [name="most"]:not([aria-invalid])`)
	b.set(`#ask [name="shape"]`, "zz") // folded away: it is opened
	b.click(`#ask [value="submit"]`)
	assert.Contains(t, wrong("shape"), `shape "zz": use cycle lengths such as`)
	b.set(`#ask [name="shape"]`, "3")
	b.set(`#ask [name="id"]`, "taken")
	b.click(`#ask [value="submit"]`)
	assert.Contains(t, wrong("id"), "taken")
	b.click(`#ask [name="kind"][value="position"]`)
	b.set(`#ask [name="scramble"]`, "R Q")
	b.click(`#ask [value="submit"]`)
	assert.Contains(t, wrong("scramble"), "column 3")
	assert.Equal(t, "R Q", get(b, chromedp.Value(chromedp.CSS(`#ask [name="scramble"]`))))
	assert.LessOrEqual(t, get(b, chromedp.Evaluate[int](`document.documentElement.scrollWidth`)), 390)
	b.bars()
}

// Solutions of a position, and those that a study found, are done after what they solve.
func TestASolutionPlaysFromItsPosition(t *testing.T) {
	const scramble, solution = "R U R2 F", "R U R' U R U2 R' F R2 F' R2 F"
	search(t, address, "plays-position", `"position": {"puzzle": "puzzles/2x2x2", "scramble": "`+scramble+`"}, "maxLength": 6, "metric": "METRIC_OBTM"`)
	search(t, address, "plays-study", `"study": {"puzzle": "puzzles/2x2x2", "solution": "`+solution+`", "shortenTime": "1s"}, "metric": "METRIC_OBTM", "memoryBytes": "1048576"`)
	for id, c := range map[string]struct {
		first string
		turns int
	}{"plays-position": {scramble, 4}, "plays-study": {"(" + solution + ")'", 12}} {
		t.Run(id, func(t *testing.T) {
			b := watch(t, "2x2x2", id, 1)
			f := b.findings(address, id)[0]
			b.click("#findings .finding")
			b.until("#ribbon li:nth-child(" + strconv.Itoa(c.turns+f.Length) + ")")
			b.at(c.turns)
			assert.Equal(t, engine(t, "2x2x2", c.first), b.position())
			b.click("#last")
			b.at(c.turns + f.Length)
			assert.Equal(t, engine(t, "2x2x2", c.first+" "+f.Sequence), b.position())
			b.until(".origin img[src]")
			b.bars()
		})
	}
}

// The scramble of a round that is open is not searched for, and the page says why; searches of
// others are for organisers to change.
func TestWhatMembersMayNotAsk(t *testing.T) {
	c := startClub(t, "anna", "bert")
	c.announce("lantern-cup", "Lantern cup")
	c.post("anna", "/v1/searches", json.RawMessage(`{"searchId": "annas", "requestId": "annas", "search": {"position": {"puzzle": "puzzles/2x2x2", "scramble": "R U"}, "maxLength": 3}}`))
	b := c.visit("bert", "lantern-cup", 1280, 860)
	b.start()
	scramble := b.text(".scramble code")
	b.click(`#desks [data-desk="searches"]`)
	b.click("#new summary")
	b.click(`#ask [name="kind"][value="position"]`)
	b.set(`#ask [name="scramble"]`, scramble)
	b.click(`#ask [value="submit"]`)
	get(b, poll[bool](`() => document.querySelector('#ask output').textContent.includes('lantern-cup is open')`))
	assert.NotContains(t, get(b, chromedp.Evaluate[string](`location.href`)), url.QueryEscape(scramble))

	b.set("#search", "annas")
	b.tells("It has ended")
	assert.Contains(t, b.text(".life .facts"), "sked for by anna")
	assert.Zero(t, get(b, chromedp.Evaluate[int](`document.querySelectorAll('.verbs button:not([hidden])').length`)))
	c.visit("olga", "lantern-cup", 1280, 860).do(
		chromedp.Click(chromedp.CSS(`#desks [data-desk="searches"]`)),
		chromedp.Evaluate[chromedp.Void](`{ const e = document.getElementById('search'); e.value = 'annas'; e.dispatchEvent(new Event('change')); }`),
		chromedp.WaitVisible(chromedp.CSS(`[data-verb="remove"]`)))
}

// What is asked of a search while its answer is on its way, and what is answered late, is held against what is shown by then.
func TestASearchThatChangesMeanwhile(t *testing.T) {
	at, stop, err := serve(filepath.Join(t.TempDir(), "data"), "127.0.0.1:0", "--workers", "1")
	require.NoError(t, err)
	t.Cleanup(stop)
	at = "http://" + at
	const goal = `"goal": {"puzzle": "puzzles/vertex-cut-dodecahedron", "cycle": "triangle"}, "maxLength": 14, "memoryBytes": "33554432"`
	search(t, at, "night", goal)
	search(t, at, "other", goal+`, "priority": -1`)
	v := view("3x3x3", "")
	v.Set("search", "night")
	b := visit(t, at+"/#"+v.Encode(), 1280, 860)
	b.tells("It is searching")

	// The second press of a double click finds another button than the first.
	b.click(`[data-verb="pause"]`)
	b.tells("It is paused")
	b.until(`[data-verb="resume"]`)
	place := get(b, chromedp.Evaluate[[]float64](`(r => [r.x + r.width / 2, r.y + r.height / 2])(document.querySelector('[data-verb="resume"]').getBoundingClientRect())`))
	b.do(chromedp.MouseClickXY(place[0], place[1], chromedp.ClickCount(2)))
	b.click(".life details summary")

	// Who types on while a change is on its way finds that as it was typed.
	b.set(`.later [name="priority"]`, "3")
	b.hold(":reschedule")
	b.click(".later button")
	b.held()
	b.set(`.later [name="priority"]`, "4")
	b.goOn()
	b.reads(".life .facts", "riority 3")
	b.tells("It is paused")
	b.click(`[data-verb="resume"]`)
	get(b, poll[bool](`() => !document.getElementById('state').textContent.includes('paused')`))
	assert.Equal(t, "4", get(b, chromedp.Value(chromedp.CSS(`.later [name="priority"]`))))

	// Another search that an address leads to meanwhile is not the one that was meant.
	b.click(`[data-verb="cancel"]`)
	b.until("dialog[open]")
	b.do(chromedp.Evaluate[chromedp.Void](`location.hash = location.hash.replace('search=night', 'search=other'); 0`))
	b.reads(".asked", "other looks for")
	b.hold("night:cancel")
	b.click("dialog[open] .main")
	b.held()
	b.goOn()
	assert.Equal(t, "SEARCH_STATE_CANCELLED", b.searchAt(at, "night").State)
	assert.NotEqual(t, "SEARCH_STATE_CANCELLED", b.searchAt(at, "other").State)

	// What it was before it ended is not told after that.
	b.click(".life details summary")
	b.hold(":reschedule")
	b.click(".later button")
	b.held()
	b.click(`[data-verb="cancel"]`)
	b.click("dialog[open] .main")
	b.tells("It was cancelled")
	b.goOn()
	b.tells("It was cancelled")
}

// Findings that come leave the others where they are, and the list of searches stays while one looks into it.
func TestFindingsThatComeLeaveTheRest(t *testing.T) {
	search(t, address, "leave-the-rest", `"goal": {"puzzle": "puzzles/3x3x3", "cycle": "edge"}, "metric": "METRIC_STM", "maxLength": 6, "sequencesPerClass": 3, "slack": 2`)
	followToEnd(t, address, "leave-the-rest")
	v := view("3x3x3", "")
	b := open(t, v, 1280, 860)
	all := b.findings(address, "leave-the-rest")
	require.Greater(t, len(all), 3)
	// All events have come but the last, which the test makes up.
	b.do(chromedp.Evaluate[chromedp.Void](`{ const real = fetch; let n = 0; window.fetch = async (path, more) => {
		const answer = await real(path, more);
		if (path.startsWith('/v1/searches?')) {
			const said = await answer.json();
			said.searches[0].progress = {length: n++};
			window.listed = true;
			return Response.json(said);
		}
		if (!path.includes('findings:stream')) return answer;
		const text = await answer.text(), events = text.split('\n').filter(Boolean).map(line => JSON.parse(line));
		return new Response(new ReadableStream({start(out) {
			const send = text => out.enqueue(new TextEncoder().encode(text));
			send(text);
			window.come = (nth, change) => {
				const {result} = events.filter(e => e.result.finding)[nth];
				send(JSON.stringify({result: {cursor: 'made up', finding: {...result.finding, ...change}}}) + '\n');
			};
		}}));
	}; }`))
	b.sit("searches")
	b.do(chromedp.Evaluate[chromedp.Void](`document.getElementById('search').focus()`))
	get(b, poll[bool](`() => window.listed && [...document.getElementById('search').options].some(o => o.value === 'leave-the-rest')`))
	b.set("#search", "leave-the-rest")
	b.until(`#searches[data-findings="` + strconv.Itoa(len(all)) + `"]`)
	b.mark(`#search option[value="leave-the-rest"]`)
	b.do(chromedp.Evaluate[chromedp.Void](`window.listed = false; document.activeElement.blur(); document.getElementById('search').focus()`))
	get(b, poll[bool](`() => window.listed`))
	b.settle()
	b.marked(`#search option[value="leave-the-rest"]`)

	// Turns that come late take no other one away, nor what is there to press.
	b.hold(":trace")
	b.click("#findings li:nth-child(1) .pick input")
	b.held()
	b.click("#findings li:nth-child(3) .pick input")
	b.until(".pair td:nth-child(3) .main")
	b.mark(".pair td:nth-child(3) .main")
	b.goOn()
	b.reads(".pair caption", "alike")
	b.marked(".pair td:nth-child(3) .main")
	assert.Equal(t, []string{"Nº 1", "Nº 3"}, get(b, chromedp.Evaluate[[]string](`[...document.querySelectorAll('.pair thead th')].map(th => th.textContent)`)))

	// One comes that is better than all.
	b.do(chromedp.Focus(chromedp.CSS("#findings li:nth-child(2) .finding")))
	b.do(chromedp.Evaluate[chromedp.Void](`window.come(0, {name: 'searches/leave-the-rest/findings/best', length: 1})`))
	b.until(`#searches[data-findings="` + strconv.Itoa(len(all)+1) + `"]`)
	b.reads(".pair thead", "Nº 4")
	b.marked(".pair td:nth-child(3) .main")
	assert.Equal(t, all[1].Sequence, get(b, chromedp.Evaluate[string](`document.activeElement.querySelector('.cycle')?.textContent ?? ''`)))
	// And one is known better.
	b.do(chromedp.Evaluate[chromedp.Void](`window.come(0, {name: 'searches/leave-the-rest/findings/best', length: 1, revision: 99, sequence: 'R R'})`))
	b.reads("#findings", "R R")
	assert.Equal(t, all[1].Sequence, get(b, chromedp.Evaluate[string](`document.activeElement.querySelector('.cycle')?.textContent ?? ''`)))
}
