package main

import (
	"fmt"
	"go/ast"
	"go/build"
	"go/parser"
	"go/token"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// deployed are the verbs that a host is set up with.
var deployed = []string{"serve", "work", "backup", "restore", "check", "status", "workers", "drain"}

// The page of all settings is made from the commands, so it can't be wrong.
func TestTheConfigurationPageIsTrue(t *testing.T) {
	page := configuration((&app{stdout: io.Discard, stderr: io.Discard}).root())
	const path = "../../deploy/CONFIGURATION.md"
	if *update {
		require.NoError(t, os.WriteFile(path, []byte(page), 0o644))
		return
	}
	written, err := os.ReadFile(path)
	require.NoError(t, err)
	assert.Equal(t, string(written), page, "run the test with -update to write it again")
}

func configuration(root *cobra.Command) string {
	var b strings.Builder
	b.WriteString("# Configuration\n\n" +
		"All settings are flags and environment variables; clients and workers can have servers by name in a file as well\n" +
		"(`turnwright help`). This page is written from the commands by a test: `go test ./cmd/turnwright -run Configuration -update`.\n" +
		"Sizes are such as `512MiB` or `2GB`.\n")
	for _, name := range deployed {
		cmd, _, err := root.Find([]string{name})
		if err != nil || cmd == root {
			continue
		}
		fmt.Fprintf(&b, "\n## turnwright %s\n\n%s.\n\n| flag | value | default | meaning |\n|---|---|---|---|\n", cmd.Name(), cmd.Short)
		row := func(f *pflag.Flag) {
			if f.Hidden || f.Name == "help" {
				return
			}
			value, meaning := pflag.UnquoteUsage(f)
			if f.Value.Type() == "bool" {
				value = ""
			}
			standard := f.DefValue
			if standard == "[]" || standard == "0" && strings.Contains(meaning, "(default") {
				standard = "" // the meaning has it
			}
			fmt.Fprintf(&b, "| `--%s` | %s | %s | %s |\n", f.Name, cell(value), cell(standard), cell(meaning))
		}
		cmd.LocalNonPersistentFlags().VisitAll(row)
		root.PersistentFlags().VisitAll(row)
	}
	b.WriteString("\n## Environment\n\n| variable | meaning |\n|---|---|\n")
	for _, v := range environment {
		fmt.Fprintf(&b, "| `%s` | %s |\n", v.name, v.meaning)
	}
	return b.String()
}

func cell(s string) string { return strings.ReplaceAll(s, "|", ", ") }

// Of the variables that the list has beyond those in the source, libraries read these.
var readByLibraries = []string{"XDG_CACHE_HOME", "GOMAXPROCS"}

func TestTheListOfVariablesIsWhole(t *testing.T) {
	want := map[string]bool{}
	for _, name := range readByLibraries {
		want[name] = true
	}
	for _, dir := range []string{"../../cmd", "../../server", "../../storage", "../../api/client"} {
		require.NoError(t, filepath.WalkDir(dir, func(path string, _ fs.DirEntry, err error) error {
			if err != nil || !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") {
				return err
			}
			if built, err := build.Default.MatchFile(filepath.Split(path)); err != nil || !built {
				return err // as the fault that the torture test builds in
			}
			file, err := parser.ParseFile(token.NewFileSet(), path, nil, 0)
			require.NoError(t, err)
			for _, name := range variables(file) {
				want[name] = true
			}
			return nil
		}))
	}
	listed := map[string]bool{}
	for _, v := range environment {
		listed[v.name] = true
	}
	assert.Equal(t, want, listed)
}

// variables are the names that a file asks the environment for: those called so in
// the source, and constants that are given to it.
func variables(file *ast.File) (names []string) {
	ast.Inspect(file, func(n ast.Node) bool {
		switch n := n.(type) {
		case *ast.CallExpr:
			if f, ok := n.Fun.(*ast.SelectorExpr); ok && slices.Contains([]string{"Getenv", "LookupEnv"}, f.Sel.Name) {
				if text, ok := n.Args[0].(*ast.BasicLit); ok {
					name, _ := strconv.Unquote(text.Value)
					names = append(names, name)
				}
			}
		case *ast.ValueSpec: // const tokenVariable = "TURNWRIGHT_TOKEN"
			for _, v := range n.Values {
				if text, ok := v.(*ast.BasicLit); ok && strings.HasPrefix(text.Value, `"TURNWRIGHT_`) {
					name, _ := strconv.Unquote(text.Value)
					names = append(names, name)
				}
			}
		}
		return true
	})
	return names
}
