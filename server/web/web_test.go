package web

import (
	"compress/gzip"
	"crypto/sha256"
	"encoding/hex"
	"io"
	"net/http"
	"net/http/httptest"
	"path"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func get(path string, headers ...string) *http.Response {
	r := httptest.NewRequest(http.MethodGet, path, nil)
	for i := 0; i < len(headers); i += 2 {
		r.Header.Set(headers[i], headers[i+1])
	}
	w := httptest.NewRecorder()
	Handler().ServeHTTP(w, r)
	return w.Result()
}

func read(t *testing.T, r io.Reader) string {
	t.Helper()
	all, err := io.ReadAll(r)
	require.NoError(t, err)
	return string(all)
}

func TestThePageIsServed(t *testing.T) {
	reply := get("/")
	assert.Equal(t, http.StatusOK, reply.StatusCode)
	assert.Equal(t, "text/html; charset=utf-8", reply.Header.Get("Content-Type"))
	assert.Equal(t, Policy, reply.Header.Get("Content-Security-Policy"))
	plain := read(t, reply.Body)
	assert.Contains(t, plain, "<title>turnwright</title>")

	packed := get("/", "Accept-Encoding", "gzip")
	assert.Equal(t, "gzip", packed.Header.Get("Content-Encoding"))
	z, err := gzip.NewReader(packed.Body)
	require.NoError(t, err)
	assert.Equal(t, plain, read(t, z))

	same := get("/", "If-None-Match", reply.Header.Get("ETag"))
	assert.Equal(t, http.StatusNotModified, same.StatusCode)
	assert.Equal(t, "text/javascript; charset=utf-8", get("/page/app.js").Header.Get("Content-Type"))
	for _, none := range []string{"/page/", "/page/none.js", "/page/../web.go", "/page"} {
		assert.Equal(t, http.StatusNotFound, get(none).StatusCode, none)
	}
}

// The policy allows no script or style in the page's text, so there must be none.
func TestThePageKeepsItsPolicy(t *testing.T) {
	assert.NotContains(t, Policy, "unsafe")
	page := string(files()["page/index.html"].plain)
	assert.NotRegexp(t, `(?i)<style|\sstyle=|\son[a-z]+=|javascript:`, page)
	for _, tag := range regexp.MustCompile(`(?s)<script[^>]*>.*?</script>`).FindAllString(page, -1) {
		assert.Regexp(t, `^<script type="module" src="/page/[a-z]+\.js"></script>$`, tag)
	}
}

// What the page is made of names no other host, and each part of it is there.
func TestThePageNeedsNoOtherHost(t *testing.T) {
	imports := regexp.MustCompile(`(?m)^(?:import|export|\}) .*?from '([^']+)'|^import '([^']+)'`)
	links := regexp.MustCompile(`(?:src|href)="([^"]+)"`)
	for name, f := range files() {
		text := string(f.plain)
		if strings.HasSuffix(name, ".html") {
			for _, m := range links.FindAllStringSubmatch(text, -1) {
				assert.Contains(t, files(), strings.TrimPrefix(m[1], "/"), name)
			}
		}
		if strings.HasSuffix(name, ".js") {
			for _, m := range imports.FindAllStringSubmatch(text, -1) {
				assert.Contains(t, files(), path.Join(path.Dir(name), m[1]+m[2]), name)
			}
		}
		if !strings.Contains(name, "/vendor/") {
			hosts := strings.ReplaceAll(text, "http://www.w3.org/2000/svg", "") // a name, not an address
			assert.NotRegexp(t, `https?:|//[a-z]+\.`, hosts, name)
		}
	}
}

// A browser gets all of it with the first view.
func TestThePageIsSmall(t *testing.T) {
	total := 0
	for name, f := range files() {
		if path.Base(name) == "LICENSE" {
			continue // for people who read the sources
		}
		if f.packed() == nil {
			total += len(f.plain)
		}
		total += len(f.packed())
	}
	t.Logf("%d bytes compressed", total)
	assert.Less(t, total, 1<<20)
}

// The library is what its makers published as three 0.187.0 in the npm registry, in
// build/ of the package; its integrity there is the sha512 that begins Qiu7R+Cmh8Cst.
func TestTheLibraryIsAsItWasPublished(t *testing.T) {
	for name, want := range map[string]string{
		"three.core.js":   "613e370f76638fdef83926642bf256dc9615684922de1ce1f63a8583e5d78578",
		"three.module.js": "104f56145899722094556490d787aae0617cc2fc3382f31df02d724ea1aee341",
	} {
		sum := sha256.Sum256(files()["page/vendor/three/"+name].plain)
		assert.Equal(t, want, hex.EncodeToString(sum[:]), name)
	}
	assert.Contains(t, string(files()["page/vendor/three/LICENSE"].plain), "MIT")
}
