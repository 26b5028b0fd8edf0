package main

import (
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.yaml.in/yaml/v3"
)

// Every command line in deploy/, the README and the guide is one that the program understands.
func TestDeployedCommandLines(t *testing.T) {
	readme, err := os.ReadFile("../../README.md")
	require.NoError(t, err)
	guide, err := os.ReadFile("GUIDE.md")
	require.NoError(t, err)
	lines := map[string][][]string{"README.md": append(shellCommands(string(readme)), tableCommands(string(readme))...), "GUIDE.md": shellCommands(string(guide))}
	require.NoError(t, filepath.WalkDir("../../deploy", func(path string, entry fs.DirEntry, err error) error {
		if err != nil || entry.IsDir() {
			return err
		}
		text, err := os.ReadFile(path)
		require.NoError(t, err)
		switch filepath.Ext(path) {
		case ".service":
			lines[path] = unitCommands(string(text))
		case ".yaml":
			lines[path] = yamlCommands(t, text)
		case ".md":
			lines[path] = shellCommands(string(text))
		}
		return nil
	}))
	n := 0
	for path, commands := range lines {
		for _, args := range commands {
			n++
			root := (&app{stdout: io.Discard, stderr: io.Discard}).root()
			root.InitDefaultCompletionCmd()
			cmd, rest, err := root.Find(args)
			if !assert.NoError(t, err, "%s: %q", path, args) || !assert.True(t, root != cmd, "%s: %q", path, args) {
				continue
			}
			if assert.NoError(t, cmd.ParseFlags(rest), "%s: %q", path, args) {
				assert.NoError(t, cmd.ValidateRequiredFlags(), "%s: %q", path, args)
				assert.NoError(t, cmd.ValidateFlagGroups(), "%s: %q", path, args)
				assert.NoError(t, cmd.ValidateArgs(cmd.Flags().Args()), "%s: %q", path, args)
			}
		}
	}
	assert.Greater(t, n, 8)
}

// Every verb is in the README's table.
func TestReadmeHasEveryVerb(t *testing.T) {
	readme, err := os.ReadFile("../../README.md")
	require.NoError(t, err)
	listed := map[string]bool{}
	for _, args := range tableCommands(string(readme)) {
		listed[args[0]] = true
	}
	for _, verb := range (&app{}).root().Commands() {
		assert.True(t, listed[verb.Name()], verb.Name())
	}
}

var program = regexp.MustCompile(`/turnwright ([^$'\n]*(?:\$\$[^']*)?)`)

// unitCommands reads a systemd unit. What a shell would make of a date is left as it is.
func unitCommands(unit string) (all [][]string) {
	for line := range strings.Lines(unit) {
		if strings.HasPrefix(line, "ExecStart=") {
			for _, m := range program.FindAllStringSubmatch(line, -1) {
				args := strings.Fields(strings.NewReplacer(`"`, "", "(date +%%u)", "1").Replace(m[1]))
				all = append(all, slices.DeleteFunc(args, func(a string) bool { return a == "$OPTIONS" }))
			}
		}
	}
	return all
}

// yamlCommands reads compose files and manifests: lists under "command" and "args".
func yamlCommands(t *testing.T, text []byte) (all [][]string) {
	var walk func(n *yaml.Node)
	walk = func(n *yaml.Node) {
		for i, child := range n.Content {
			if n.Kind == yaml.MappingNode && i%2 == 1 && slices.Contains([]string{"command", "args"}, n.Content[i-1].Value) {
				var args []string
				require.NoError(t, child.Decode(&args))
				all = append(all, args)
			}
			walk(child)
		}
	}
	documents := yaml.NewDecoder(strings.NewReader(string(text)))
	for {
		var n yaml.Node
		err := documents.Decode(&n)
		if err == io.EOF {
			return all
		}
		require.NoError(t, err)
		walk(&n)
	}
}

// shellCommands reads what pages tell people to type, in blocks of code.
func shellCommands(page string) (all [][]string) {
	typed := regexp.MustCompile(`(?m)^(?:\$ |sudo -u turnwright |docker compose (?:run --rm|exec) server |kubectl [^|\n]* -- )?turnwright ([^#|;\n]*)`)
	for i, block := range strings.Split(page, "```") {
		if i%2 == 0 {
			continue
		}
		for _, m := range typed.FindAllStringSubmatch(block, -1) {
			all = append(all, typedWords(m[1]))
		}
		inContainer := regexp.MustCompile(`(?m)^docker compose (?:run --rm|exec) server ([^#|\n]*)`)
		for _, m := range inContainer.FindAllStringSubmatch(block, -1) {
			all = append(all, typedWords(m[1]))
		}
	}
	return all
}

// tableCommands reads what the README's tables tell people to type.
func tableCommands(page string) (all [][]string) {
	for line := range strings.Lines(page) {
		if !strings.HasPrefix(line, "|") {
			continue
		}
		for _, m := range regexp.MustCompile("`turnwright ([^`]*)`").FindAllStringSubmatch(line, -1) {
			all = append(all, typedWords(m[1]))
		}
	}
	return all
}

// typedWords splits a line as a shell does where it has no quotes but double ones.
func typedWords(line string) (words []string) {
	for i, part := range strings.Split(line, `"`) {
		if i%2 == 0 {
			words = append(words, strings.Fields(part)...)
		} else {
			words = append(words, part)
		}
	}
	return words
}
