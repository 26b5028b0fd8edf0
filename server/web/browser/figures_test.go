package browser

import (
	"os"
	"testing"

	"github.com/chromedp/chromedp"
)

// Figures are measured and told, not held: they are the machine's. They are of headless
// Chromium that draws WebGL by software.
func TestFigures(t *testing.T) {
	if os.Getenv("TURNWRIGHT_FIGURES") == "" {
		t.Skip("TURNWRIGHT_FIGURES asks for figures")
	}
	b := open(t, view("vertex-cut-dodecahedron", "2.a c2^-2 a c2^2 2.a' c2^-2 a' c2^2"), 1280, 860)
	t.Logf("first view %.0f ms after the page was asked for", get(b, chromedp.Evaluate[float64](`performance.getEntriesByName('first view')[0].startTime`)))
	b.sharp()
	type figures struct {
		Count   int
		Seconds float64
		Longest float64
		Whole   int // frames as sharp as at rest
	}
	f := get(b, chromedp.Evaluate[figures](`(async () => {
		const pace = document.getElementById('pace'), stage = document.getElementById('stage');
		pace.value = -1; pace.dispatchEvent(new Event('input'));
		document.getElementById('play').click();
		const start = performance.now();
		let count = 0, longest = 0, last = start, whole = 0;
		const solid = document.getElementById('solid');
		while (stage.dataset.after !== '8' || stage.dataset.turning) {
			await new Promise(requestAnimationFrame);
			const now = performance.now();
			longest = Math.max(longest, now - last); last = now; count++;
			if (solid.width >= stage.clientWidth - 1) whole++;
		}
		return {Count: count, Seconds: (performance.now() - start) / 1000, Longest: longest, Whole: whole};
	})()`, chromedp.EvalAwaitPromise))
	t.Logf("%d frames in %.1f s: %.0f a second, the longest %.0f ms, %d of them as sharp as at rest",
		f.Count, f.Seconds, float64(f.Count)/f.Seconds, f.Longest, f.Whole)
}
