package browser

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"turnwright/search/notation"
	"turnwright/search/puzzle"
)

// asked is what the server answers to a question, the first part of it where it is a stream.
func asked[T any](t *testing.T, at, path string, question map[string]any) T {
	t.Helper()
	var reply *http.Response
	var err error
	if question == nil {
		reply, err = http.Get(at + path)
	} else {
		var body []byte
		body, err = json.Marshal(question)
		require.NoError(t, err)
		reply, err = http.Post(at+path, "application/json", bytes.NewReader(body))
	}
	require.NoError(t, err)
	defer func() { require.NoError(t, reply.Body.Close()) }()
	require.Equal(t, http.StatusOK, reply.StatusCode)
	all, err := io.ReadAll(reply.Body)
	require.NoError(t, err)
	line, _, _ := bytes.Cut(all, []byte("\n"))
	var out T
	require.NoError(t, json.Unmarshal(line, &out))
	return out
}

// atDesk opens the solution desk.
func atDesk(t *testing.T, puzzle string, wide, high int64) tab {
	t.Helper()
	v := view(puzzle, "")
	v.Set("desk", "solution")
	b := open(t, v, wide, high)
	b.until("#solution textarea.solution")
	return b
}

// fill writes a scramble and a solution on the desk, and waits until they were read.
func (b tab) fill(scramble, solution string) {
	b.Helper()
	b.do(chromedp.Evaluate[chromedp.Void](fmt.Sprintf(`for (const [name, text] of [['scramble', %q], ['solution', %q]]) {
		const field = document.querySelector('#solution textarea.' + name); field.value = text; field.dispatchEvent(new Event('input')); }`, scramble, solution)))
	b.until(`#solution:not([data-reading])`)
}

// written is what is in the field now.
func (b tab) written() string {
	b.Helper()
	return get(b, chromedp.Value(chromedp.CSS("#solution textarea.solution")))
}

// all are the texts of all elements that fit a selector.
func (b tab) all(selector string) []string {
	b.Helper()
	return get(b, chromedp.Evaluate[[]string](fmt.Sprintf(`[...document.querySelectorAll(%q)].map(e => e.textContent)`, selector)))
}

// solves holds that turns after a scramble solve the puzzle, by the engine, and gives their length.
func solves(t *testing.T, name, scramble, solution string) int {
	t.Helper()
	p, err := puzzle.Find(name)
	require.NoError(t, err)
	turns, err := notation.ParseTurns(p, solution)
	require.NoError(t, err)
	assert.Equal(t, engine(t, name, ""), engine(t, name, scramble+"\n"+solution), "%s does not solve %s", solution, scramble)
	return notation.Length(p, puzzle.OBTM, turns)
}

type analysis struct {
	Solution string
	Stages   []struct {
		Name             string
		From, To, Length int
		Gained           int
		Reading          string
	}
	Lengths map[string]int
}

// A scramble and a solution of it: the README's, with a detour and the names of its stages.
const (
	detourScramble = "R' D' R U' R' D R U F2"
	detour         = "// setup\nF2 F' F U' R' D'\nR U\n// three corners\nR' D L L' R"
)

// The strip has the stages as the server has them, and each of its turns shows the puzzle after it.
func TestWhereTheMovesOfASolutionWent(t *testing.T) {
	b := atDesk(t, "3x3x3", 1200, 860)
	b.fill(detourScramble, detour)
	b.until(".went[data-length]")
	said := asked[struct{ Result struct{ Analysis analysis } }](t, address, "/v1/puzzles/3x3x3:study",
		map[string]any{"metric": "METRIC_OBTM", "scramble": detourScramble, "solution": detour}).Result.Analysis
	require.Len(t, said.Stages, 2)
	assert.Equal(t, strings.Fields(said.Solution), b.all(".went .strip button"))
	for i, s := range said.Stages {
		tinted := b.all(fmt.Sprintf(".went .strip .t%d", i+1))
		assert.Equal(t, strings.Fields(said.Solution)[s.From-1:s.To], tinted)
		legend := b.text(fmt.Sprintf(".went .legend li:nth-child(%d)", i+1))
		assert.Contains(t, legend, fmt.Sprintf("%d move", s.Length))
		assert.Contains(t, legend, fmt.Sprintf("%d piece", s.Gained))
		assert.Contains(t, legend, s.Reading)
		assert.Contains(t, legend, s.Name)
	}
	assert.Contains(t, b.text(".went .facts"), fmt.Sprintf("%d OBTM · %d STM · %d ETM · %d QTM", said.Lengths["obtm"], said.Lengths["stm"], said.Lengths["etm"], said.Lengths["qtm"]))
	assert.Contains(t, b.text(".went .facts"), "L L' R comes to R")

	b.click(".went .strip li:nth-child(4) button")
	b.at(9 + 4)
	assert.Equal(t, engine(t, "3x3x3", detourScramble+" F2 F' F U'"), b.position())
	assert.Equal(t, []string{"U'"}, b.all(".went .strip [aria-current]"))
	b.click("#next")
	b.at(9 + 5)
	assert.Equal(t, []string{"R'"}, b.all(".went .strip [aria-current]"))
	b.do(chromedp.Focus(chromedp.CSS(".went .strip li:nth-child(4) button")), chromedp.KeyEvent(kb.ArrowRight), chromedp.KeyEvent(kb.ArrowRight), chromedp.KeyEvent("\r"))
	b.at(9 + 6)
	assert.Equal(t, engine(t, "3x3x3", detourScramble+" F2 F' F U' R' D'"), b.position())
	assert.NotContains(t, get(b, chromedp.Evaluate[string](`location.hash`)), "sequence=", "no address has what may be sealed")

	// What can't be read is said where it stands, and what could be read stays in sight.
	b.fill(detourScramble, "F2 U'\nR' ? D")
	b.until(`#solution textarea.solution[aria-invalid="true"]`)
	assert.Equal(t, "?", b.text("#solution .place mark"))
	assert.Contains(t, b.text("#solution-desk-solution-wrong"), "line 2, column 4")
	b.fill("R Q", detour)
	b.until(`#solution textarea.scramble[aria-invalid="true"]`)
	assert.Equal(t, "Q", b.text("#solution .place mark"))
	b.fill(detourScramble, detour)
	b.until(`#solution:not([data-wrong])`)

	// The stage's sequence in the place of what was typed can be taken back.
	b.click("#solution .field:nth-of-type(1) .from")
	b.until(".insertions:not([hidden])") // that is not solved
	assert.Contains(t, get(b, chromedp.Value(chromedp.CSS("#solution textarea.scramble"))), "F2 F' F U'")
	b.click("#solution .back")
	b.do(chromedp.WaitNotVisible(chromedp.CSS(".insertions")))
	assert.Equal(t, detourScramble, get(b, chromedp.Value(chromedp.CSS("#solution textarea.scramble"))))

	b.click(".merge + button")
	b.until(`.went[data-length="9"]`)
	assert.Equal(t, 9, solves(t, "3x3x3", detourScramble, b.written()))
}

// A shorter solution is marked on the strip where it applies, and can be taken, which makes the solution
// as much shorter as was promised, and be taken back.
func TestAnImprovementIsTakenInPlace(t *testing.T) {
	b := atDesk(t, "3x3x3", 1200, 860)
	const scramble = "R' D' R U' R' D R U F2"
	const solution = "// the face\nF2 L L' U' R' D' R\n// and the rest, about another axis\nx B R' x' D R" // after x, U is called B
	length := solves(t, "3x3x3", scramble, solution)
	b.fill(scramble, solution)
	b.until(fmt.Sprintf(`.went[data-length="%d"]`, length))
	b.click(".shorten")
	b.until(".shorter .way.chosen")
	b.until(".shorter .look:not([data-under])")
	promised := get(b, chromedp.Evaluate[int](`Number(document.querySelector('.shorter .way').dataset.length)`))
	require.Less(t, promised, length)
	// What stays keeps its cell though the whole is not turned any more.
	assert.Equal(t, []string{"L", "L'", "x", "x'"}, b.all(".went .strip .away"))
	b.click(".shorter .take")
	b.until(fmt.Sprintf(`.went[data-length="%d"]`, promised))
	taken := b.written()
	assert.Equal(t, promised, solves(t, "3x3x3", scramble, taken))
	assert.Contains(t, taken, "// the face\n")
	assert.Contains(t, taken, "\n// and the rest, about another axis\n")
	b.click(".went .head button")
	b.at(9)
	assert.Equal(t, engine(t, "3x3x3", scramble), b.position())
	b.click("#last")
	b.at(9 + len(b.all(".went .strip button")))
	assert.Equal(t, engine(t, "3x3x3", ""), b.position())
	b.click("#solution .back")
	b.until(fmt.Sprintf(`.went[data-length="%d"]`, length))
	assert.Equal(t, solution, b.written())
	b.click("#solution .again")
	b.until(fmt.Sprintf(`.went[data-length="%d"]`, promised))
	assert.Equal(t, taken, b.written())
}

// The README's skeleton leaves three corners. The best places are marked as the server has them, and
// what is taken solves.
func TestASequenceIsPutIntoASkeleton(t *testing.T) {
	const scramble, skeleton = "R' D' R U' R' D R U D' F U' R2 B' D L' F2", "F2 L D' B R2 U F' D"
	at, stop, err := serve(filepath.Join(t.TempDir(), "data"), "127.0.0.1:0", "--workers", "2")
	require.NoError(t, err)
	t.Cleanup(stop)
	v := view("3x3x3", "")
	v.Set("desk", "solution")
	b := visit(t, "http://"+at+"/#"+v.Encode(), 1200, 860)
	b.until(`#stage[data-position]:not([data-reading])`)
	b.fill(scramble, skeleton)
	b.until(`.went[data-length="8"]`)
	assert.Contains(t, b.text(".went .head"), "leaves 3 corners")

	// No search has found anything yet: one is asked for here.
	b.click(".insert")
	b.until(".insertions .search form")
	assert.Contains(t, b.text(".insertions .said"), "o search here has found 3-cycles of type corner")
	b.click(".insertions .search .main")
	b.until(".insertions[data-count]")
	b.until(".insertions .closer .strip")

	said := asked[struct {
		Solutions []struct {
			Solution   string
			Length     int
			Insertions []struct{ Before string }
		}
	}](t, "http://"+at, "/v1/puzzles/3x3x3:insert", map[string]any{"metric": "METRIC_OBTM", "scramble": scramble, "solution": skeleton, "limit": 100})
	best := map[int]int{} // by the number of turns before
	for _, s := range said.Solutions {
		before := s.Insertions[0].Before
		if n := len(strings.Fields(before)); strings.HasPrefix(skeleton+" ", before+" ") || before == "" {
			if _, has := best[n]; !has {
				best[n] = s.Length - 8
			}
		}
	}
	require.NotEmpty(t, best)
	for n, more := range best {
		assert.Contains(t, get(b, chromedp.Evaluate[[]string](`[...document.querySelectorAll('.insertions .place')].map(p => p.place.within ? '' : p.place.at + p.textContent)`)), fmt.Sprintf("%d+%d", n, more))
	}
	assert.Equal(t, []string{fmt.Sprintf("+%d", said.Solutions[0].Length-8)}, b.all(".gap.best button"))
	// What cancels is struck out: README says that of the nine four do, with two turns of the skeleton.
	assert.Equal(t, []string{"U", "F'", "F", "U'"}, b.all(".insertions .closer .away"))

	b.click(`.insertions [aria-label^="before the first turn"]`)
	b.until(`.insertions [aria-label^="before the first turn"][aria-pressed="true"]`)
	for _, item := range b.all(".insertions .way") {
		assert.Contains(t, item, "before the first turn")
	}
	b.click(`.insertions [aria-pressed="true"]`)
	b.click(".insertions .take")
	b.until(`.went[data-length="13"]`)
	assert.Equal(t, 13, solves(t, "3x3x3", scramble, b.written()))
	b.click(".went .head button")
	b.at(16)
	b.click("#last")
	b.at(16 + len(strings.Fields(said.Solutions[0].Solution)))
	assert.Equal(t, engine(t, "3x3x3", ""), b.position())
}

// A length to beat, and how few moves could do, are those that the engine bears out.
func TestWhatThereIsToBeat(t *testing.T) {
	b := atDesk(t, "2x2x2", 1200, 860)
	const scramble = "R U F2 R' U"
	b.fill(scramble, "U' R F2 U' R' F F'")
	b.until(`.went[data-length="7"]`)
	b.click(".weigh")
	b.until(".fewest .look:not([data-under])")
	assert.Regexp(t, `For the whole: 5 moves are the fewest`, b.text(".whole"))
	b.click(".solve")
	b.until(".baseline[data-length]")
	b.until(".baseline .look:not([data-under])")
	assert.Contains(t, b.text(".baseline .head"), "2 less than yours")
	assert.Contains(t, b.text(".baseline .said"), "Fewer moves can’t do")
	b.click(".baseline .head button:nth-of-type(2)")
	b.until(`.went[data-length="5"]`)
	solves(t, "2x2x2", scramble, b.written())
}

// A solution of two hundred moves is no burden, on a phone either.
func TestALongSolution(t *testing.T) {
	b := atDesk(t, "3x3x3", 390, 844)
	b.fill("(U' R')^100", "(R U)^100 // all of it")
	b.until(`.went[data-length="200"]`)
	assert.Len(t, b.all(".went .strip button"), 200)
	assert.True(t, get(b, chromedp.Evaluate[bool](`document.documentElement.scrollWidth <= innerWidth`)))
	b.click(".went .strip li:nth-child(200) button")
	b.at(400)
	assert.Equal(t, engine(t, "3x3x3", ""), b.position())
}

// A look can be stopped; one that breaks off says so.
func TestALookThatEnds(t *testing.T) {
	at, stop, err := serve(filepath.Join(t.TempDir(), "data"), "127.0.0.1:0", "--workers", "1")
	require.NoError(t, err)
	v := view("3x3x3", "")
	v.Set("desk", "solution")
	b := visit(t, "http://"+at+"/#"+v.Encode(), 1200, 860)
	b.until(`#stage[data-position]:not([data-reading])`)
	b.fill(detourScramble, detour)
	b.until(".went[data-length]")
	b.do(chromedp.Evaluate[chromedp.Void](`document.querySelector('.shorter select').value = 300`))
	b.click(".shorten")
	b.until(".shorter .way")
	b.click(".shorter .stop")
	b.until(".shorter .look:not([data-under])")
	assert.Contains(t, b.text(".shorter .said"), "You stopped it")

	// A long one is a search, which goes on by itself.
	b.do(chromedp.Evaluate[chromedp.Void](`document.querySelector('.overnight').open = true`))
	b.click(`.overnight [value="submit"]`)
	b.until(".overnight .said button")
	b.click(".overnight .said button")
	b.until(`#desks [data-desk="searches"][aria-current]`)
	get(b, poll[bool](`() => document.getElementById('state').textContent.includes('units')`))
	search := asked[struct {
		Searches []struct {
			Study struct{ Scramble, Solution string }
		}
	}](t, "http://"+at, "/v1/searches", nil).Searches
	require.Len(t, search, 1)
	assert.Equal(t, engine(t, "3x3x3", detour), engine(t, "3x3x3", search[0].Study.Solution))
	b.click(`#desks [data-desk="solution"]`)
	b.until(".shorter .way")
	b.click(".shorten")
	b.until(".shorter .look[data-under]")
	stop()
	b.until(".shorter .look:not([data-under])")
	assert.Regexp(t, "begin again|broke off|does not answer", b.text(".shorter .said"))
	b.until(".shorter .way")
}

// Of a scramble of an open round the desk tells what is told of any solution, and what the server keeps back
// it says in the server's words. Neither the scramble nor the solution gets into an address.
func TestTheSolutionDeskInAnOpenRound(t *testing.T) {
	c := startClub(t, "anna")
	c.announce("lantern-cup", "Lantern cup")
	p, err := puzzle.Find("2x2x2")
	require.NoError(t, err)
	b := c.visit("anna", "lantern-cup", 1200, 860)
	b.start()
	scramble := b.text(".scramble code")
	b.click(`#desks [data-desk="solution"]`)
	b.until("#solution textarea.solution")
	solution := "F F' " + inverse(t, p, scramble)
	b.fill(scramble, solution)
	b.until(".went[data-length]")
	b.click(".shorten")
	b.until(".shorter .look:not([data-under])")
	assert.Contains(t, b.text(".shorter .said"), "lantern-cup")
	b.click(".solve")
	b.until(".baseline .look:not([data-under])")
	assert.Contains(t, b.text(".baseline .said"), "lantern-cup")
	b.click(".went .strip li:nth-child(2) button")
	turns, err := notation.ParseTurns(p, scramble)
	require.NoError(t, err)
	b.at(len(turns) + 2)
	assert.Equal(t, engine(t, "2x2x2", scramble), b.position())
	b.do(chromedp.Focus(chromedp.CSS("#stage")), chromedp.KeyEvent("r"))
	b.at(len(turns) + 3)
	assert.NotRegexp(t, "sequence=|after=", get(b, poll[string](`() => location.hash.includes('puzzle=cube-2') && location.hash`)))
}

// A solution of a round that has closed can be studied: it goes onto the desk with its scramble, and what
// was written there can be had back.
func TestASolutionOfARoundIsStudied(t *testing.T) {
	c := startClub(t, "anna")
	c.announce("lantern-cup", "Lantern cup")
	p, err := puzzle.Find("2x2x2")
	require.NoError(t, err)
	b := c.visit("anna", "lantern-cup", 1200, 860)
	b.start()
	scramble := b.text(".scramble code")
	solution := inverse(t, p, scramble)
	c.post("anna", "/v1/rounds/lantern-cup/entries", map[string]any{"requestId": "entry", "entry": map[string]any{"attempt": 1, "solution": solution}})
	c.close("lantern-cup")
	b.click(`#desks [data-desk="solution"]`)
	b.until("#solution textarea.solution")
	b.fill("R U", "U' R'")
	b.until(`.went[data-length="2"]`)
	b.click(`#desks [data-desk="rounds"]`)
	b.click("#rounds .again")
	b.until(`.round[data-state="CLOSED"] .standings`)
	b.click(".study")
	turns, err := notation.ParseTurns(p, solution)
	require.NoError(t, err)
	b.until(fmt.Sprintf(`.went[data-length="%d"]`, notation.Length(p, puzzle.OBTM, turns)))
	assert.Equal(t, solution, b.written())
	assert.Equal(t, scramble, get(b, chromedp.Value(chromedp.CSS("#solution textarea.scramble"))))
	b.click("#solution .back")
	b.until(`.went[data-length="2"]`)
	assert.Equal(t, "U' R'", b.written())
}

// The desk stands in nobody's way, in both dresses, on a desk and in a hand.
func TestTheSolutionDeskStandsInNobodysWay(t *testing.T) {
	const scramble, skeleton = "R' D' R U' R' D R U D' F U' R2 B' D L' F2", "F2 L D' B // a block\nR2 U F' D // all but three corners"
	post := func(path, body string) {
		reply, err := http.Post(address+path, "application/json", strings.NewReader(body))
		require.NoError(t, err)
		require.NoError(t, reply.Body.Close())
	}
	post("/v1/searches", `{"searchId": "solution-corners", "requestId": "solution-corners", "search": {"goal": {"puzzle": "puzzles/3x3x3", "cycle": "corner"}, "metric": "METRIC_OBTM", "maxLength": 8}}`)
	for _, theme := range []string{"light", "dark"} {
		b := atDesk(t, "3x3x3", 1280, 860)
		b.dress(theme)
		look := func(name string) {
			t.Helper()
			for _, size := range []struct {
				name       string
				wide, high int64
			}{{"desktop", 1280, 860}, {"phone", 390, 844}} {
				b.do(chromedp.EmulateViewport(size.wide, size.high))
				b.bars()
				assert.True(t, get(b, chromedp.Evaluate[bool](`document.documentElement.scrollWidth <= innerWidth`)), "%s, %s", name, size.name)
				if to := os.Getenv("TURNWRIGHT_SCREENSHOTS"); to != "" {
					require.NoError(t, os.WriteFile(filepath.Join(to, fmt.Sprintf("solution-%s-%s-%s.png", name, theme, size.name)), get(b, chromedp.FullScreenshot(90)), 0o644))
				}
			}
			b.do(chromedp.EmulateViewport(1280, 860))
		}
		look("empty")
		b.fill(scramble, skeleton)
		b.until(".insertions:not([hidden])")
		b.click(".insert")
		b.until(".insertions .closer .strip")
		b.click(".went .strip li:nth-child(3) button")
		b.at(19)
		look("skeleton")
		b.fill(detourScramble, detour)
		b.do(chromedp.WaitNotVisible(chromedp.CSS(".insertions")))
		b.do(chromedp.Evaluate[chromedp.Void](`document.querySelector('.shorter select').value = 10`))
		b.click(".shorten")
		b.until(".shorter .look:not([data-under])")
		b.until(".shorter .way.chosen")
		b.click(".weigh")
		b.until(".fewest .look:not([data-under])")
		b.click(".solve")
		b.until(".baseline .look:not([data-under])")
		b.do(chromedp.Evaluate[chromedp.Void](`document.querySelector('.overnight').open = true`))
		b.click(`.overnight [value="estimate"]`)
		get(b, poll[bool](`() => document.querySelector('.overnight .said').textContent.includes('units of work')`))
		look("solved")
		b.fill(detourScramble, "F2 U' [R' D' ?]")
		b.until(`#solution textarea.solution[aria-invalid="true"]`)
		look("unread")
	}
}

// The name of a stage is text, and as wide as the page, whatever it is.
func TestAStageOfAnyName(t *testing.T) {
	const markup = `<img src=x onerror="window.ran=1">`
	b := open(t, view("2x2x2", ""), 390, 844)
	b.sit("solution")
	b.fill("R U", "U' // "+markup+strings.Repeat("W", 200)+"\nR' // home")
	b.until(".went .strip")
	b.reads(".went .legend", markup)
	b.noSideways()
	assert.False(t, get(b, chromedp.Evaluate[bool](`'ran' in window`)))
}
