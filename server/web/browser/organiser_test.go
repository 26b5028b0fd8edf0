package browser

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"turnwright/search/puzzle"
)

// ask makes a call as somebody and reads the answer.
func (c club) ask(who, path string, into any) {
	c.Helper()
	r, err := http.NewRequestWithContext(c.Context(), http.MethodGet, c.at+path, nil)
	require.NoError(c, err)
	r.Header.Set("Authorization", "Bearer "+c.tokens[who])
	reply, err := http.DefaultClient.Do(r)
	require.NoError(c, err)
	defer func() { _ = reply.Body.Close() }()
	text, err := io.ReadAll(reply.Body)
	require.NoError(c, err)
	require.Equal(c, http.StatusOK, reply.StatusCode, "%s: %s", path, text)
	require.NoError(c, json.Unmarshal(text, into))
}

// aRound is what the API says of a round.
type aRound struct {
	Title, Puzzle, Metric, Format, TimeLimit, Content, State, Seed, Commitment string
	Attempts, MaxLength                                                        int
	Members, Scrambles                                                         []string
	OpenTime, CloseTime                                                        time.Time
	Changes                                                                    []struct{ Change, Reason, Member string }
}

func (c club) round(id string) aRound {
	c.Helper()
	var said struct{ Round aRound }
	c.ask("olga", "/v1/rounds/"+id, &said)
	return said.Round
}

// say puts values into fields, as someone who types them or chooses.
func (b tab) say(values ...string) {
	b.Helper()
	for i := 0; i < len(values); i += 2 {
		b.until(values[i])
		b.do(chromedp.Focus(chromedp.CSS(values[i])))
		b.set(values[i], values[i+1])
	}
}

// tick ticks a member in the form.
func (b tab) tick(form, member string) {
	b.Helper()
	b.click(form + ` [data-field="members"] [value="members/` + member + `"]`)
}

// reads waits until an element says what is wanted.
func (b tab) reads(selector, text string) {
	b.Helper()
	_, err := chromedp.Run(b.ctx, poll[bool](fmt.Sprintf(`() => document.querySelector(%q)?.textContent.includes(%q)`, selector, text)))
	require.NoError(b, err, "%s says: %s", selector, get(b, chromedp.Evaluate[string](fmt.Sprintf(`document.querySelector(%q)?.textContent ?? 'nothing'`, selector))))
}

// field is what a browser's field for date and time has.
func field(t time.Time) string { return t.Local().Format("2006-01-02T15:04") }

// An organiser announces a round on the page, is told at the fields what is wrong, and changes it
// while a member writes, who loses nothing by that.
func TestAnOrganiserAnnouncesARound(t *testing.T) {
	c := startClub(t, "anna", "bert", "dora")
	c.announce("lantern-cup", "Lantern cup")
	olga := c.visit("olga", "lantern-cup", 1280, 860)
	olga.click(".to-announce")
	const form = ".announce "
	olga.say(form+`[data-field="title"] input`, "Harbour evening")
	assert.Equal(t, "harbour-evening", get(olga, chromedp.Value(chromedp.CSS(form+`[data-field="round_id"] input`))))
	get(olga, poll[bool](`() => document.querySelector('.announce [value="puzzles/cube-3"]') !== null`))
	olga.say(form+`[data-field="puzzle"] select`, "puzzles/cube-2",
		form+`[data-field="close_time"] input`, field(time.Now().Add(-time.Hour)),
		form+`[data-field="time_limit"] input`, "45",
		form+`[data-field="max_length"] input`, "80",
		form+`[data-field="metric"] select`, "METRIC_QTM")
	olga.click(form + `[data-field="members"] [value="some"]`)
	olga.tick(form, "anna")
	olga.bars()
	olga.whole("announce-light.png")

	// What the server refuses is said where it is.
	olga.click(form + "button.main")
	olga.reads(form+`[data-field="close_time"] .wrong`, "is in the past")
	assert.Equal(t, "true", get(olga, chromedp.Evaluate[string](`document.querySelector('.announce [data-field="close_time"] input').getAttribute('aria-invalid')`)))
	closes := time.Now().Add(26 * time.Hour).Truncate(time.Minute)
	olga.say(form+`[data-field="close_time"] input`, field(closes), form+`[data-field="round_id"] input`, "lantern-cup")
	olga.click(form + "button.main")
	olga.reads(form+`[data-field="round_id"] .wrong`, "another round is called")
	assert.Empty(t, olga.text(form + `[data-field="close_time"] label`)[len("Closes"):])
	olga.say(form+`[data-field="round_id"] input`, "harbour-evening")
	olga.click(form + "button.main")
	olga.reads(".round h3", "Harbour evening")
	made := c.round("harbour-evening")
	assert.Equal(t, []any{"puzzles/cube-2", "METRIC_QTM", "ROUND_FORMAT_BEST", "2700s", "ROUND_STATE_OPEN", 1, 80, []string{"members/anna"}},
		[]any{made.Puzzle, made.Metric, made.Format, made.TimeLimit, made.State, made.Attempts, made.MaxLength, made.Members})
	assert.WithinDuration(t, closes, made.CloseTime, 0)
	olga.click(".bound summary")
	assert.Contains(t, olga.text(".bound code"), made.Commitment)

	// Anna writes. She is offered nothing that organisers do.
	anna := c.visit("anna", "harbour-evening", 390, 844)
	assert.False(t, get(anna, chromedp.Evaluate[bool](`[...document.querySelectorAll('.to-announce, .tools button')].some(e => e.checkVisibility())`)))
	anna.start()
	anna.write("R U", "unsolved")
	anna.do(chromedp.Evaluate[chromedp.Void](`document.querySelector('.solution').setSelectionRange(1, 1)`))

	// Olga changes what may be changed, once she has said why.
	olga.click(".change")
	const change = ".tools "
	olga.until(change + "form")
	olga.tick(change, "bert")
	assert.True(t, get(olga, chromedp.Evaluate[bool](`document.querySelector('.tools [data-field="metric"] select').disabled && document.querySelector('.tools [value="members/anna"]').disabled`)))
	olga.say(change+`[data-field="close_time"] input`, field(closes.Add(time.Hour)))
	olga.click(change + "form button.main")
	olga.reads(change+`[data-field="reason"] .wrong`, "is required")
	olga.say(change+`[data-field="reason"] textarea`, "the ferry was late")
	olga.bars()
	olga.whole("change-light.png")
	olga.click(change + "form button.main")
	olga.reads(".head", "the ferry was late")
	changed := c.round("harbour-evening")
	assert.Equal(t, []string{"members/anna", "members/bert"}, changed.Members)
	assert.WithinDuration(t, closes.Add(time.Hour), changed.CloseTime, 0)
	require.Len(t, changed.Changes, 2)
	assert.Equal(t, "members/olga", changed.Changes[0].Member)

	// Anna sees it, and goes on where she was.
	anna.do(chromedp.Evaluate[chromedp.Void](`window.dispatchEvent(new Event('online'))`))
	anna.reads(".head", "the ferry was late")
	assert.Equal(t, "R U 1 solution", get(anna, chromedp.Evaluate[string](`(a => a.value + ' ' + a.selectionStart + ' ' + a.className)(document.activeElement)`)))

	// Called off, it is over for everybody, and what she wrote is still there.
	olga.click(".call-off")
	olga.until("dialog[open]")
	olga.reads("dialog", "Clocks that run still: anna, until")
	olga.bars()
	olga.whole("call-off-light.png")
	olga.click("dialog .main")
	olga.reads("dialog .wrong", "Say why")
	olga.say("dialog .reason", "too few can come")
	olga.click("dialog .main")
	olga.until(`.round[data-state="CALLED_OFF"]`)
	assert.Equal(t, "ROUND_STATE_CALLED_OFF", c.round("harbour-evening").State)
	anna.click(".again")
	anna.until(`.round[data-state="CALLED_OFF"]`)
	assert.Equal(t, "R U", anna.text(".unsent pre"))
	anna.bars()
	anna.whole("called-off-phone-light.png")
	assert.False(t, get(anna, chromedp.Evaluate[bool](`document.documentElement.scrollWidth > innerWidth`)), "nothing is scrolled sideways")
}

// A round is closed on the page, an entry corrected, the scrambles checked, and the records are
// what the API says.
func TestAnOrganiserClosesARound(t *testing.T) {
	c := startClub(t, "anna", "bert")
	c.announce("lantern-cup", "Lantern cup")
	p, err := puzzle.Find("2x2x2")
	require.NoError(t, err)
	var scramble string
	for _, who := range []string{"anna", "bert"} {
		c.post(who, "/v1/rounds/lantern-cup:showScramble", map[string]any{"attempt": 1, "requestId": "see"})
	}
	anna := c.visit("anna", "lantern-cup", 390, 844)
	anna.until(`.attempt[data-clock="runs"] .solution`)
	scramble = anna.text(".scramble code")
	best := inverse(t, p, scramble)
	for who, solution := range map[string]string{"anna": best, "bert": best + " R R' R R'"} {
		c.post(who, "/v1/rounds/lantern-cup/entries", map[string]any{"requestId": "enter", "entry": map[string]any{"attempt": 1, "solution": solution}})
	}

	olga := c.visit("olga", "lantern-cup", 1280, 860)
	olga.click(".close")
	olga.until("dialog[open]")
	olga.do(chromedp.KeyEvent("\x1b"))
	get(olga, poll[bool](`() => !document.querySelector('dialog')`))
	assert.Equal(t, "ROUND_STATE_OPEN", c.round("lantern-cup").State)
	olga.click(".close")
	olga.say("dialog .reason", "all have handed in")
	olga.click("dialog .main")
	olga.until(`.round[data-state="CLOSED"] .standings`)
	held := c.round("lantern-cup")
	assert.Equal(t, "ROUND_STATE_CLOSED", held.State)
	rows := func(b tab) [][]string {
		return get(b, chromedp.Evaluate[[][]string](`[...document.querySelectorAll('.standings tbody tr')].map(r => [...r.cells].slice(0, 3).map(c => c.textContent))`))
	}
	standings := func() (out [][]string) {
		var said struct {
			Standings []struct {
				Place, Best int
				Member      string
				Attempts    []struct{ Dnf bool }
			}
		}
		c.ask("bert", "/v1/rounds/lantern-cup/standings", &said)
		for _, s := range said.Standings {
			place, best := fmt.Sprint(s.Place), fmt.Sprint(s.Best)
			if s.Attempts[0].Dnf {
				best = "DNF"
			}
			if s.Place == 0 {
				place = "–"
			}
			out = append(out, []string{place, s.Member[len("members/"):], best})
		}
		return out
	}
	require.Len(t, standings(), 2)
	assert.Equal(t, standings(), rows(olga))

	// A correction is seen by everybody, with its reason and what was before.
	olga.click(`.entries li:nth-child(1) .correct`)
	olga.until("dialog[open]")
	olga.click(`dialog [value="dnf"]`)
	olga.say("dialog .reason", "it was copied from the board")
	olga.bars()
	olga.whole("correct-light.png")
	olga.click("dialog .main")
	olga.until(".corrected")
	assert.Equal(t, [][]string{{"1", "bert"}, {"2", "anna"}}[0], standings()[0][:2])
	assert.Equal(t, standings(), rows(olga))
	anna.click(".again")
	anna.until(".corrected")
	assert.Contains(t, anna.text(".corrected"), "it was copied from the board. Before, it counted as")
	assert.Equal(t, standings(), rows(anna))
	assert.False(t, get(anna, chromedp.Evaluate[bool](`document.querySelector('.correct, .change, .close') !== null`)), "she is no organiser")
	olga.click(`.entries li:nth-child(2) .correct`)
	olga.click(`dialog [value="other"]`)
	olga.say("dialog fieldset + label textarea", "U U' "+best, "dialog .reason", "it was his own")
	olga.click("dialog .main")
	olga.reads(".entries li:nth-child(1)", "Handed in as")
	assert.Equal(t, standings(), rows(olga))

	// The scrambles were not chosen: the digest is worked out here, too.
	sum := sha256.Sum256([]byte("turnwright seed " + held.Seed + "\n"))
	require.Equal(t, held.Commitment, hex.EncodeToString(sum[:]))
	olga.click(".fair summary")
	olga.click(".verify")
	olga.until(`.verified[data-fits="yes"]`)
	assert.Contains(t, olga.text(".verified"), "Your browser worked the digest out, too: it is the same.")
	olga.say(".noted", "0123")
	olga.click(".verify")
	olga.until(`.verified[data-fits="no"]`)
	assert.Contains(t, olga.text(".verified .unfit"), "It is NOT the digest that you noted.")

	// What one takes away has the same: on paper, and as a table.
	olga.do(chromedp.Evaluate[chromedp.Void](`window.print = () => { window.printed = document.querySelector('.printed').innerText || document.querySelector('.printed').textContent; };
		URL.createObjectURL = blob => { blob.text().then(text => { window.saved = text; }); return '#saved'; };
		HTMLAnchorElement.prototype.click = function() { window.called = this.download; }; 0`))
	olga.click(".take-away button:nth-child(1)")
	printed := get(olga, chromedp.Evaluate[string](`window.printed`))
	for _, wanted := range []string{"Lantern cup", scramble, best, "it was copied from the board", "club’s best"} {
		assert.Contains(t, printed, wanted)
	}
	olga.do(chromedp.Evaluate[chromedp.Void](`window.dispatchEvent(new Event('afterprint'))`))
	assert.False(t, get(olga, chromedp.Evaluate[bool](`document.querySelector('.printed') !== null`)))
	olga.click(".take-away button:nth-child(2)")
	saved := get(olga, poll[string](`() => window.saved`))
	first := standings()[0]
	assert.Equal(t, "Place,Member,Best,Records\r\n"+first[0]+","+first[1]+","+first[2]+",\"own best, club’s best\"", strings.Join(strings.SplitN(saved, "\r\n", 3)[:2], "\r\n"))
	assert.Equal(t, "lantern-cup.csv", get(olga, chromedp.Evaluate[string](`window.called`)))

	// Records, and the solution of one on the stage.
	olga.click(".to-records")
	olga.until(`.records tbody tr[data-kind="RECORD_MARK_CLUB_SINGLE"]`)
	var records struct {
		Records []struct {
			Kind, Member string
			Hundredths   int
			Standing     bool
		}
	}
	c.ask("anna", "/v1/records?standing=true", &records)
	var want []string
	for _, r := range records.Records {
		if r.Kind == "RECORD_MARK_CLUB_SINGLE" {
			want = append(want, fmt.Sprintf("%s %d OBTM, single", r.Member[len("members/"):], r.Hundredths/100))
		}
	}
	require.NotEmpty(t, want)
	assert.Equal(t, want, get(olga, chromedp.Evaluate[[]string](`[...document.querySelectorAll('.records tbody tr[data-kind]')].map(r => r.cells[2].textContent + ' ' + r.cells[1].textContent)`)))
	olga.click(".records tbody tr:nth-child(1) td:last-child button:nth-child(2)")
	olga.until(".kept code")
	olga.bars()
	olga.whole("closed-olga-light.png")
	olga.dress("dark")
	olga.whole("closed-olga-dark.png")
	olga.click(".kept button")
	get(olga, poll[bool](`() => document.getElementById('sequence').value.startsWith(`+fmt.Sprintf("%q", scramble)+`)`))
	anna.dress("dark")
	anna.click(".to-records")
	anna.until(`.records tbody tr`)
	anna.bars()
	anna.whole("closed-phone-dark.png")
	assert.False(t, get(anna, chromedp.Evaluate[bool](`document.documentElement.scrollWidth > innerWidth`)), "nothing is scrolled sideways")
}

// On one's own server nobody is asked who they are, and one does all of it oneself.
func TestARoundOnOnesOwnServer(t *testing.T) {
	p, err := puzzle.Find("2x2x2")
	require.NoError(t, err)
	v := view("2x2x2", "")
	v.Set("desk", "rounds")
	b := open(t, v, 390, 844)
	b.click(".to-announce")
	b.say(`.announce [data-field="title"] input`, "Quiet evening")
	b.bars()
	b.whole("announce-phone-light.png")
	b.click(".announce button.main")
	b.start()
	b.reads(`#desks [data-desk="rounds"]`, "Rounds · 59 min")
	b.write(inverse(t, p, b.text(".scramble code")), "solved")
	b.click(".hand")
	b.until(`.sealed[data-revision="1"]`)
	b.click(".close")
	b.say("dialog .reason", "I am done")
	b.click("dialog .main")
	b.until(`.round[data-state="CLOSED"] .standings`)
	assert.Contains(t, b.text(".standings tbody"), "local")
	b.click(".all")
	b.until(`.rounds [data-round="quiet-evening"]:focus`)
	b.bars()
	b.whole("list-phone-light.png")
	assert.False(t, get(b, chromedp.Evaluate[bool](`document.documentElement.scrollWidth > innerWidth`)), "nothing is scrolled sideways")
}

// Before a round opens all of it may be changed without saying why, and it opens on the page by
// itself.
func TestARoundOpensByItself(t *testing.T) {
	c := startClub(t, "anna")
	c.announce("lantern-cup", "Lantern cup", "openTime", time.Now().Add(time.Hour).Format(time.RFC3339))
	olga := c.visit("olga", "lantern-cup", 1280, 860)
	olga.until(`.round[data-state="ANNOUNCED"]`)
	assert.Contains(t, olga.text(".round"), "Nobody sees a scramble before it opens.")
	assert.Equal(t, []string{"Change it", "Call it off"}, get(olga, chromedp.Evaluate[[]string](`[...document.querySelectorAll('.tools button')].map(b => b.textContent)`)))
	olga.click(".change")
	olga.say(`.tools [data-field="format"] select`, "ROUND_FORMAT_MEAN", `.tools [data-field="content"] select`, "ENTRY_CONTENT_NOTATION")
	assert.Equal(t, "3", get(olga, chromedp.Value(chromedp.CSS(`.tools [data-field="attempts"] input`))))
	olga.click(".tools form button.main")
	olga.reads(".about summary", "mean of 3 attempts")
	changed := c.round("lantern-cup")
	assert.Equal(t, []any{"ROUND_FORMAT_MEAN", 3, "ENTRY_CONTENT_NOTATION", "Lantern cup"}, []any{changed.Format, changed.Attempts, changed.Content, changed.Title})

	anna := c.visit("anna", "lantern-cup", 390, 844)
	anna.until(`.round[data-state="ANNOUNCED"]`)
	c.post("olga", "/v1/rounds/lantern-cup:update", map[string]any{
		"round": map[string]any{"openTime": time.Now().Add(2 * time.Second).Format(time.RFC3339Nano)}, "updateMask": "openTime", "requestId": "soon",
	})
	anna.click(".again")
	anna.until(`.round[data-state="OPEN"] [aria-label="Attempt 3"] .start`)
}

// What an organiser is writing, and what they are about to press, stays where it is while the round changes or opens.
func TestARoundThatOpensWhileSomeoneWrites(t *testing.T) {
	c := startClub(t)
	c.announce("lantern-cup", "Lantern cup", "openTime", time.Now().Add(time.Hour).Format(time.RFC3339))
	olga := c.visit("olga", "lantern-cup", 1280, 860)
	olga.click(".change")
	olga.say(`.tools [data-field="title"] input`, "Cup of lanterns")
	olga.mark(`.tools [data-field="title"] input`)
	olga.mark(".call-off")
	look := func(change, mask string, value any) {
		c.post("olga", "/v1/rounds/lantern-cup:update", map[string]any{"round": map[string]any{change: value}, "updateMask": mask, "requestId": change})
		olga.do(chromedp.Evaluate[chromedp.Void](`window.dispatchEvent(new Event('online'))`))
	}
	look("title", "title", "The lantern cup")
	olga.reads(".round h3", "The lantern cup")
	olga.marked(".call-off")
	look("openTime", "openTime", time.Now().Add(3*time.Second).Format(time.RFC3339Nano))
	olga.until(`.round[data-state="OPEN"] .close`)
	olga.marked(`.tools [data-field="title"] input`)
	assert.Equal(t, "Cup of lanterns", get(olga, chromedp.Evaluate[string](`document.activeElement.value`)))

	// Who is not there any more when it has been changed is not taken back.
	olga.say(`.tools [data-field="reason"] textarea`, "it has come to this")
	olga.hold(":update")
	olga.click(".tools form button.main")
	olga.held()
	olga.click("#rounds .all")
	olga.until(`.rounds [data-round="lantern-cup"]`)
	olga.goOn()
	olga.reads(`.rounds [data-round="lantern-cup"]`, "Cup of lanterns")
	olga.settle()
	olga.do(chromedp.WaitNotVisible(chromedp.CSS(".round")))
}

// Records that come late do not take the place of others, and those that are the same leave alone who reads them.
func TestRecordsThatComeLate(t *testing.T) {
	v := view("2x2x2", "")
	v.Set("desk", "rounds")
	b := open(t, v, 1280, 860)
	b.do(chromedp.Evaluate[chromedp.Void](`{ const real = fetch, late = new Promise(go => { window.goOn = go; });
		const one = n => ({kind: 'RECORD_MARK_CLUB_SINGLE', member: 'members/anna', round: 'rounds/cup-' + n, puzzle: 'puzzles/cube-2', metric: 'METRIC_OBTM',
			hundredths: 900 + n, standing: n === 0, time: '2026-01-01T00:00:00Z'});
		window.asked = 0;
		window.fetch = async (path, more) => {
			if (!path.startsWith('/v1/records')) return real(path, more);
			window.asked++;
			if (path.includes('standing')) await late;
			return Response.json({records: path.includes('standing') ? [one(0)] : [one(0), one(1)], nextPageToken: ''});
		}; }`))
	b.click(".to-records")
	b.set(".records select", "PERSONAL") // before they have come
	b.set(".records select", "CLUB")
	b.click(`.records [type="checkbox"]`)
	b.until(".records tbody tr[data-kind]:nth-child(3)")
	b.mark(".records tbody button")
	b.goOn()
	assert.Equal(t, 2, get(b, chromedp.Evaluate[int](`document.querySelectorAll('.records tbody tr[data-kind]').length`)))
	b.click("#rounds .again")
	get(b, poll[bool](`() => window.asked > 2`))
	b.goOn()
	b.marked(".records tbody button")
}
