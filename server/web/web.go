// Package web serves the club's page: one page in the browser on which a member sees
// puzzles turn. It is embedded in the program, so there is nothing to install.
//
// The one idea: what is in page/ is what the browser gets. The page is plain ES modules
// and one library beside them, three.js as its makers published it, so nothing is built
// and nothing can differ from its sources. The page is a client of the JSON API like
// any other; this package knows nothing of puzzles.
//
//	mux.Handle("GET /{$}", web.Handler())
//	mux.Handle("GET /page/", web.Handler())
//
// The page asks nothing of any other host, and its policy has browsers hold it to that.
package web

import (
	"bytes"
	"compress/gzip"
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"fmt"
	"io/fs"
	"net/http"
	"path"
	"strings"
	"sync"
)

//go:embed page
var content embed.FS

// Policy is the page's Content-Security-Policy: its own scripts and styles from files,
// calls to this server, pictures that it drew itself, and nothing else; no site may
// frame it. (W3C, Content Security Policy Level 3.)
const Policy = "default-src 'none'; script-src 'self'; style-src 'self'; connect-src 'self'; img-src 'self' data:; " +
	"base-uri 'none'; form-action 'none'; frame-ancestors 'none'"

// file is a file of the page as it is sent.
type file struct {
	plain      []byte
	packed     func() []byte // as gzip, or nil where that would not help; packed when it is first wanted
	media, tag string        // the tag is weak, as it is that of both
}

// Handler serves the page at "/", and its parts under "/page/".
func Handler() http.Handler { return http.HandlerFunc(serve) }

func serve(w http.ResponseWriter, r *http.Request) {
	name := strings.TrimPrefix(r.URL.Path, "/")
	if name == "" {
		name = "page/index.html"
	}
	f, ok := files()[name]
	if !ok {
		http.Error(w, "the page has no such part: "+path.Base(name), http.StatusNotFound)
		return
	}
	h := w.Header()
	h.Set("Content-Type", f.media)
	h.Set("Content-Security-Policy", Policy)
	h.Set("Referrer-Policy", "no-referrer")
	h.Set("Cross-Origin-Opener-Policy", "same-origin")
	// A browser may keep it, and asks each time whether it is still the same: a newer
	// program's page never mixes with an older one's parts.
	h.Set("Cache-Control", "no-cache")
	h.Set("ETag", f.tag)
	h.Set("Vary", "Accept-Encoding")
	if r.Header.Get("If-None-Match") == f.tag {
		w.WriteHeader(http.StatusNotModified)
		return
	}
	body := f.plain
	if strings.Contains(r.Header.Get("Accept-Encoding"), "gzip") {
		if packed := f.packed(); packed != nil {
			h.Set("Content-Encoding", "gzip")
			body = packed
		}
	}
	h.Set("Content-Length", fmt.Sprint(len(body)))
	if r.Method != http.MethodHead {
		_, _ = w.Write(body) // a client that left needs no answer
	}
}

// files are the parts of the page by their paths.
var files = sync.OnceValue(func() map[string]file {
	out := map[string]file{}
	err := fs.WalkDir(content, "page", func(name string, entry fs.DirEntry, err error) error {
		if err != nil || entry.IsDir() {
			return err
		}
		plain, err := content.ReadFile(name)
		if err != nil {
			return err
		}
		sum := sha256.Sum256(plain)
		f := file{plain: plain, packed: sync.OnceValue(func() []byte { return pack(plain) }), media: media(name), tag: `W/"` + hex.EncodeToString(sum[:12]) + `"`}
		out[name] = f
		return nil
	})
	if err != nil {
		panic(err) // files in the program's own memory
	}
	return out
})

// media is the media type of a file; what hosts know of types is left out of it.
func media(name string) string {
	switch path.Ext(name) {
	case ".html":
		return "text/html; charset=utf-8"
	case ".css":
		return "text/css; charset=utf-8"
	case ".js":
		return "text/javascript; charset=utf-8"
	case ".svg":
		return "image/svg+xml"
	}
	return "text/plain; charset=utf-8"
}

func pack(plain []byte) []byte {
	var b bytes.Buffer
	z := gzip.NewWriter(&b)
	_, _ = z.Write(plain) // to memory
	_ = z.Close()
	if b.Len() >= len(plain) {
		return nil
	}
	return b.Bytes()
}
