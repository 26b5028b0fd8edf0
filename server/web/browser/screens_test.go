package browser

import (
	"os"
	"testing"

	"github.com/chromedp/chromedp"
)

// Screens writes a picture of each desk in each dress for someone to look at. Those of rounds
// and of a club's server are written by their tests.
func TestScreens(t *testing.T) {
	if os.Getenv("TURNWRIGHT_SCREENSHOTS") == "" {
		t.Skip("TURNWRIGHT_SCREENSHOTS says where pictures go")
	}
	const cycle = "2.a c2^-2 a c2^2 2.a' c2^-2 a' c2^2"
	search(t, address, "screens", `"goal": {"puzzle": "puzzles/vertex-cut-dodecahedron", "cycle": "triangle"}, "maxLength": 8`)
	search(t, address, "screens-corners", `"goal": {"puzzle": "puzzles/3x3x3", "cycle": "corner"}, "maxLength": 8, "metric": "METRIC_OBTM"`)
	desks := []struct {
		name, desk, puzzle, sequence, search string
		ready                                func(tab)
	}{
		{"effect", "effect", "vertex-cut-dodecahedron", cycle, "", func(b tab) {
			b.do(chromedp.Evaluate[chromedp.Void](`document.getElementById('flat').open = true`))
			b.until("#net[src]")
		}},
		{"turning", "effect", "vertex-cut-dodecahedron", cycle, "", func(b tab) { // in the middle of the slowest turn
			b.set("#pace", "-2")
			b.click("#letters")
			b.click("#next")
			b.until("#stage[data-turning]")
			b.do(chromedp.Evaluate[chromedp.Void](`new Promise(seen => { let n = 0; const frame = () => (++n > 12 ? seen() : requestAnimationFrame(frame)); frame(); })`, chromedp.EvalAwaitPromise))
		}},
		{"bench", "bench", "3x3x3", "R' D' R", "", func(b tab) { b.until("#parts tr.wanted") }},
		{"searches", "searches", "vertex-cut-dodecahedron", "", "screens", func(b tab) {
			b.tells("It has ended")
			b.click("#findings .finding")
			b.until("#findings img[src]")
		}},
		{"asking", "searches", "3x3x3", "", "", func(b tab) { b.click("#new summary") }},
		{"coverage", "coverage", "3x3x3", "", "", func(b tab) { b.until(".covered-group") }},
		{"solution", "solution", "3x3x3", "", "", func(b tab) {
			b.fill("D2 F' R2 B L' U2 F R", "R' F' U2 L // most of it\nB' R2 U2 // a slip\nU2 F D2 // home")
			b.until(".went .strip")
		}},
		{"server", "server", "2x2x2", "", "", func(b tab) { b.until("#status dd") }},
	}
	for _, size := range []struct {
		name       string
		wide, high int64
	}{{"desktop", 1280, 860}, {"phone", 390, 844}} {
		for _, theme := range []string{"light", "dark"} {
			for _, d := range desks {
				t.Run(size.name+"-"+theme+"-"+d.name, func(t *testing.T) {
					v := view(d.puzzle, d.sequence)
					v.Set("desk", d.desk)
					if d.search != "" {
						v.Set("search", d.search)
					}
					b := open(t, v, size.wide, size.high)
					b.dress(theme)
					d.ready(b)
					b.noSideways()
					b.whole(size.name + "-" + theme + "-" + d.name + ".png")
				})
			}
		}
	}
}
