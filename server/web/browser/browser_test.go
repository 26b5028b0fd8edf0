// Package browser has the tests of the page in a browser: headless Chromium against the
// real program. They are skipped where there is no Chromium, unless
// TURNWRIGHT_REQUIRE_CHROMIUM is set.
//
//	go test . -v
//	TURNWRIGHT_SCREENSHOTS=/tmp/shots go test . -run Screens
//
// They wait for what the page says of itself in attributes of the stage (position, after,
// turning, reading), and never for time to pass.
package browser

import (
	"bufio"
	"bytes"
	"context"
	"fmt"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

var (
	program string          // the real one, built for these tests
	address string          // of the server that most of them share
	browser context.Context // that all tests open their own tabs in
)

func TestMain(m *testing.M) { os.Exit(run(m)) }

func run(m *testing.M) int {
	chromium, err := exec.LookPath("chromium")
	if err != nil {
		if os.Getenv("TURNWRIGHT_REQUIRE_CHROMIUM") != "" {
			fmt.Fprintln(os.Stderr, "there is no chromium, and TURNWRIGHT_REQUIRE_CHROMIUM is set:", err)
			return 1
		}
		fmt.Println("no chromium here: the page is not tested in a browser")
		return 0
	}
	scratch, err := os.MkdirTemp("", "turnwright-browser")
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		return 1
	}
	defer func() { _ = os.RemoveAll(scratch) }()
	program = filepath.Join(scratch, "turnwright")
	build := exec.Command("go", "build", "-o", program, "./cmd/turnwright")
	build.Dir = filepath.Join("..", "..", "..")
	if said, err := build.CombinedOutput(); err != nil {
		fmt.Fprintf(os.Stderr, "build the program: %v\n%s", err, said)
		return 1
	}
	at, stop, err := serve(filepath.Join(scratch, "data"), "127.0.0.1:0")
	if err != nil {
		fmt.Fprintln(os.Stderr, "start the server:", err)
		return 1
	}
	defer stop()
	address = "http://" + at
	allocator, end := chromedp.NewExecAllocator(context.Background(), append(chromedp.DefaultExecAllocatorOptions[:],
		chromedp.ExecPath(chromium), chromedp.NoSandbox, chromedp.UserDataDir(filepath.Join(scratch, "profile")),
		chromedp.Flag("disable-quic", true), chromedp.Flag("disable-component-update", true),
		chromedp.Flag("disable-features", "site-per-process,Translate,BlinkGenPropertyTrees,PreloadTopChromeWebUI"), // the last makes tabs come sooner
		chromedp.Flag("use-angle", "swiftshader"), chromedp.Flag("enable-unsafe-swiftshader", true), // WebGL without a GPU
	)...)
	defer end()
	var cancel context.CancelFunc
	browser, cancel = chromedp.NewContext(allocator)
	defer cancel()
	if err := chromedp.Do(browser); err != nil {
		fmt.Fprintln(os.Stderr, "start chromium:", err)
		return 1
	}
	return m.Run()
}

// serve runs the program on a data directory and tells where it serves; stop ends it.
func serve(data, listen string, flags ...string) (at string, stop func(), err error) {
	server := exec.Command(program, append([]string{"serve", "--listen", listen, "--data", data, "--reserve", "1MiB", "--log-format", "json"}, flags...)...)
	var log bytes.Buffer
	server.Stderr = &log
	out, err := server.StdoutPipe()
	if err != nil {
		return "", nil, err
	}
	if err := server.Start(); err != nil {
		return "", nil, err
	}
	stop = func() {
		_ = server.Process.Signal(os.Interrupt)
		_ = server.Wait()
	}
	for lines := bufio.NewScanner(out); lines.Scan(); {
		if at, ok := strings.CutPrefix(lines.Text(), "serving on "); ok {
			return at, stop, nil
		}
	}
	stop()
	return "", nil, fmt.Errorf("the server ended without saying where it serves: %s", log.String())
}

// tab is a tab with a view of the page, as a person has it before them.
type tab struct {
	*testing.T
	ctx context.Context
}

// patience is how long anything may take before a test gives up. Nothing waits that long.
const patience = 2 * time.Minute

func open(t *testing.T, view url.Values, wide, high int64) tab {
	t.Helper()
	b := visit(t, address+"/#"+view.Encode(), wide, high)
	b.until(`#stage[data-position]:not([data-reading])`)
	return b
}

// visit opens an address in a tab of its own. What the console says is held against the page.
func visit(t *testing.T, address string, wide, high int64) tab {
	t.Helper()
	limited, cancel := context.WithTimeout(browser, patience)
	ctx, closed := chromedp.NewContext(limited, chromedp.WithNewBrowserContext())
	t.Cleanup(func() { closed(); cancel() })
	b := tab{t, ctx}
	messages := chromedp.Console(ctx)
	heard := make(chan []chromedp.ConsoleMessage, 1)
	go func() {
		var all []chromedp.ConsoleMessage
		for m, err := range messages {
			if err != nil {
				break
			}
			all = append(all, m)
		}
		heard <- all
	}()
	t.Cleanup(func() {
		closed()
		for _, m := range <-heard {
			// What the server refuses is told by the page: the network's own errors are no fault.
			if m.Source != "network" {
				assert.NotContains(t, []chromedp.ConsoleType{"error", "warning", chromedp.ConsoleException}, m.Type, "the page says: %s", m)
			}
		}
	})
	b.do(chromedp.EmulateViewport(wide, high), chromedp.Navigate(address))
	return b
}

func (b tab) do(steps ...chromedp.Action[chromedp.Void]) {
	b.Helper()
	require.NoError(b, chromedp.Do(b.ctx, steps...))
}

// until waits for an element that fits a selector.
func (b tab) until(selector string) {
	b.Helper()
	b.do(chromedp.WaitVisible(chromedp.CSS(selector)))
}

// at waits until so many turns are done and nothing moves.
func (b tab) at(turns int) {
	b.Helper()
	b.until(fmt.Sprintf(`#stage[data-after="%d"]:not([data-turning]):not([data-reading])`, turns))
}

// screen writes a picture of what is in sight, where someone wants pictures.
func (b tab) screen(name string) {
	b.Helper()
	if to := os.Getenv("TURNWRIGHT_SCREENSHOTS"); to != "" {
		require.NoError(b, os.MkdirAll(to, 0o755))
		require.NoError(b, os.WriteFile(filepath.Join(to, name), get(b, chromedp.CaptureScreenshot()), 0o644))
	}
}

// whole writes a picture of all of the page, where someone wants pictures.
func (b tab) whole(name string) {
	b.Helper()
	if to := os.Getenv("TURNWRIGHT_SCREENSHOTS"); to != "" {
		require.NoError(b, os.MkdirAll(to, 0o755))
		require.NoError(b, os.WriteFile(filepath.Join(to, name), get(b, chromedp.FullScreenshot(90)), 0o644))
	}
}

// dress puts the page into one of its dresses.
func (b tab) dress(theme string) { b.Helper(); b.set("#theme", theme) }

// click presses what somebody sees at rest: a place that is still moving, since something above it has just come,
// is another one by the time that the button is down. Where it is so all the same, nothing else takes the press for
// its own, and it is done again.
func (b tab) click(selector string) {
	b.Helper()
	for {
		b.do(chromedp.WaitVisible(chromedp.CSS(selector)))
		b.do(chromedp.Evaluate[chromedp.Void](fmt.Sprintf(`new Promise(go => {
			let e = null, was = '';
			const look = () => {
				const now = document.querySelector(%q), {x, y, width, height} = now?.getBoundingClientRect() ?? {}, at = [x, y, width, height].join();
				if (!now || now !== e || at !== was) {
					[e, was] = [now, at];
					setTimeout(look, 30);
					return;
				}
				const press = window.press = {on: null, guard: new AbortController()};
				for (const type of ['pointerdown', 'mousedown', 'pointerup', 'mouseup', 'click']) addEventListener(type, event => {
					press.on = e.contains(event.target);
					if (!press.on) { event.stopImmediatePropagation(); event.preventDefault(); }
					if (type === 'click') press.guard.abort();
				}, {capture: true, signal: press.guard.signal});
				go();
			};
			look();
		})`, selector), chromedp.EvalAwaitPromise))
		b.do(chromedp.Click(chromedp.CSS(selector)))
		if get(b, chromedp.Evaluate[bool](`{ const press = window.press; delete window.press; !press || press.on && press.guard.signal.aborted || (press.guard.abort(), false); }`)) {
			return
		}
	}
}

// poll waits until a function of the page gives what is true, for as long as anything may take.
func poll[T any](function string) chromedp.Action[T] {
	return chromedp.PollFunction[T](function, chromedp.WithPollingTimeout(0))
}

// sit brings a desk into sight.
func (b tab) sit(desk string) { b.Helper(); b.click(`#desks [data-desk="` + desk + `"]`) }

func (b tab) text(selector string) string {
	b.Helper()
	return get(b, chromedp.Text(chromedp.CSS(selector)))
}

func get[T any](b tab, a chromedp.Action[T]) T {
	b.Helper()
	v, err := chromedp.Run(b.ctx, a)
	require.NoError(b, err)
	return v
}

// hold keeps the answer to the next call whose path and body have a text from the page, as the server gave it
// by then. What the page does must begin that call; others get through meanwhile. goOn lets the answer come.
func (b tab) hold(text string) {
	b.Helper()
	b.do(chromedp.Evaluate[chromedp.Void](fmt.Sprintf(`{ const real = fetch, late = new Promise(go => { window.goOn = go; });
		window.held = '';
		window.fetch = async (path, more) => {
			if (window.held || !(path + (more?.body ?? '')).includes(%q)) return real(path, more);
			window.held = 'asked';
			const answer = await real(path, more);
			window.held = 'answered';
			await late;
			return answer;
		}; }`, text)))
}

// held waits until an answer is there to be held.
func (b tab) held() {
	b.Helper()
	get(b, poll[bool](`() => window.held === 'answered'`))
}

// goOn lets a held answer come, and what follows from it.
func (b tab) goOn() {
	b.Helper()
	b.do(chromedp.Evaluate[chromedp.Void](`window.goOn()`))
	b.settle()
}

// count counts the calls from now on whose path has a text; counted tells how many there were.
func (b tab) count(text string) {
	b.Helper()
	b.do(chromedp.Evaluate[chromedp.Void](fmt.Sprintf(`{ const real = fetch; window.asked = 0; window.fetch = (path, ...more) => { if (path.includes(%q)) window.asked++; return real(path, ...more); }; }`, text)))
}

func (b tab) counted() int {
	b.Helper()
	return get(b, chromedp.Evaluate[int](`window.asked`))
}

// settle waits for what follows from answers that have come: when a later call has been answered, it has followed, where it
// needs no call of its own.
func (b tab) settle() {
	b.Helper()
	b.do(chromedp.Evaluate[chromedp.Void](`fetch('/v1/status').then(a => a.text()).then(() => new Promise(go => setTimeout(go)))`, chromedp.EvalAwaitPromise))
}
