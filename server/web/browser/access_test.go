package browser

import (
	_ "embed"
	"net/url"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/assert"
)

// axe is axe-core as its makers published it (see its first lines for the version, and
// its LICENSE: MPL 2.0). It is put into the page by the browser's debugger: the page's own
// policy would not let it in.
//
//go:embed testdata/axe-core/axe.min.js
var axe string

// complaint is a rule of axe-core that the page breaks, and where.
type complaint struct{ ID, Impact, Help, Where string }

func (b tab) complaints() []complaint {
	b.Helper()
	b.do(chromedp.Evaluate[chromedp.Void](axe + ";0"))
	return get(b, chromedp.Evaluate[[]complaint](`axe.run(document, {resultTypes: ['violations']}).then(r => r.violations.map(v =>
		({ID: v.id, Impact: v.impact, Help: v.help, Where: v.nodes.map(n => n.target.join(' ')).slice(0, 5).join(', ')})))`,
		chromedp.EvalAwaitPromise))
}

// bars holds that nothing serious stands in anyone's way on what is shown now.
func (b tab) bars() {
	b.Helper()
	for _, c := range b.complaints() {
		assert.NotContains(b, []string{"serious", "critical"}, c.Impact, "%s: %s, at %s", c.ID, c.Help, c.Where)
	}
}

// The page is usable by everyone as far as a program can tell: in both its dresses, on a
// desk and in a hand.
func TestNothingStandsInAnyonesWay(t *testing.T) {
	for _, theme := range []string{"light", "dark"} {
		t.Run(theme, func(t *testing.T) {
			v := url.Values{"puzzle": {"3x3x3"}, "sequence": {"[R U R', D]"}, "after": {"3"}}
			b := open(t, v, 390, 844)
			b.dress(theme)
			b.do(chromedp.Evaluate[chromedp.Void](`document.querySelectorAll('details').forEach(d => { d.open = true; })`))
			b.until("#net[src]")
			b.bars()
			// That it complains where there is something to complain of:
			b.do(chromedp.Evaluate[chromedp.Void](`document.body.append(document.createElement('button'))`))
			var ids []string
			for _, c := range b.complaints() {
				ids = append(ids, c.ID)
			}
			assert.Contains(t, ids, "button-name")
		})
	}
}
