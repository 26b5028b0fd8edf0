package browser

import (
	"cmp"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"github.com/tdewolff/parse/v2"
	"github.com/tdewolff/parse/v2/js"
)

// inBrowser are the names that the page takes from the browser. It has more of them, some of which are easily
// taken for one's own: name, status, find, stop.
var inBrowser = strings.Fields(`AbortController Array BigInt Blob Boolean CSS DOMException Date Error Event EventTarget Float32Array FormData
	HTMLTableCellElement Infinity Int32Array IntersectionObserver Intl JSON Map Math Number Object Option Promise ResizeObserver Set String TextDecoderStream
	TextEncoder URL URLSearchParams Uint16Array Uint32Array Uint8Array
	addEventListener clearInterval clearTimeout console crypto devicePixelRatio document encodeURIComponent fetch getComputedStyle globalThis
	history localStorage location matchMedia navigator parseFloat performance requestAnimationFrame sessionStorage setInterval setTimeout
	undefined window`)

// module is one of the page's scripts, by its names.
type module struct {
	unused  []string            // declared, and neither used nor exported
	exports []string            // for others
	imports map[string][]string // of others, by their files
	locals  []string            // what is imported, by its names here
	free    []string            // used, and not declared
}

// Enter collects what is used of a whole module that is imported, as in api.trace. It is a js.IVisitor.
func (m *module) Enter(n js.INode) js.IVisitor {
	if dot, ok := n.(*js.DotExpr); ok {
		if of, ok := dot.X.(*js.Var); ok {
			file := map[string]string{"api": "api.js", "kept": "kept.js", "link": "link.js"}[string(of.Name())]
			if file != "" && slices.Contains(m.locals, string(of.Name())) {
				m.imports[file] = append(m.imports[file], dot.Y.String())
			}
		}
	}
	return m
}

// Exit is for js.IVisitor.
func (*module) Exit(js.INode) {}

// read has the names of a script.
func read(t *testing.T, file string) module {
	t.Helper()
	text, err := os.ReadFile(file)
	require.NoError(t, err)
	tree, err := js.Parse(parse.NewInputBytes(text), js.Options{})
	require.NoError(t, err, file)
	m := module{imports: map[string][]string{}}
	for _, statement := range tree.List {
		switch s := statement.(type) {
		case *js.ImportStmt:
			from := filepath.Base(strings.Trim(string(s.Module), `'"`))
			for _, a := range s.List {
				name, local := string(a.Name), string(a.Binding)
				if local == "" { // a comma after the last
					continue
				}
				m.locals = append(m.locals, local)
				if name != "*" {
					m.imports[from] = append(m.imports[from], cmp.Or(name, local))
				}
			}
		case *js.ExportStmt:
			for _, a := range s.List {
				m.exports = append(m.exports, string(a.Binding))
			}
			switch d := s.Decl.(type) {
			case *js.VarDecl:
				for _, b := range d.List {
					m.exports = append(m.exports, b.Binding.String())
				}
			case *js.FuncDecl:
				m.exports = append(m.exports, d.Name.String())
			case *js.ClassDecl:
				m.exports = append(m.exports, d.Name.String())
			}
		}
	}
	for _, v := range tree.Scope.Declared {
		if v.Uses < 2 && !slices.Contains(m.exports, v.String()) { // one is where it is declared
			m.unused = append(m.unused, v.String())
		}
	}
	for _, v := range tree.Scope.Undeclared {
		m.free = append(m.free, v.String())
	}
	js.Walk(&m, tree)
	return m
}

// Nothing puts the page's scripts together before a browser does, so nothing but this looks whether every name in
// them is there: their own, one that another exports, or the browser's. And whether every one has a use.
func TestEveryNameOfThePageIsThere(t *testing.T) {
	files, err := filepath.Glob("../page/*.js")
	require.NoError(t, err)
	require.NotEmpty(t, files)
	modules, asked := map[string]module{}, map[string][]string{}
	for _, file := range files {
		m := read(t, file)
		modules[filepath.Base(file)] = m
		for from, names := range m.imports {
			asked[from] = append(asked[from], names...)
		}
	}
	for name, m := range modules {
		for _, free := range m.free {
			assert.True(t, slices.Contains(m.locals, free) || slices.Contains(inBrowser, free), "%s: %s is nobody's: if it is the browser's, have it in inBrowser", name, free)
		}
		for _, local := range m.locals {
			assert.Contains(t, m.free, local, "%s imports it, and does not use it", name)
		}
		assert.Empty(t, m.unused, "%s declares them, and does not use them", name)
		for _, exported := range m.exports {
			assert.Contains(t, asked[name], exported, "%s exports it to nobody", name)
		}
	}
	for name, names := range asked {
		if m, own := modules[name]; own {
			for _, wanted := range names {
				assert.Contains(t, m.exports, wanted, "%s does not export it", name)
			}
		}
	}
}
