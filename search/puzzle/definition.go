package puzzle

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"maps"
	"regexp"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"go.yaml.in/yaml/v3"

	"turnwright/search/solid"
)

// Definition is a puzzle as data: a solid, its turning axes, and the depths of
// the cuts across them.
type Definition struct {
	Name    string      `yaml:"name"`
	Aliases []string    `yaml:"aliases,omitempty"`
	Title   string      `yaml:"title,omitempty"`
	Solid   string      `yaml:"solid"` // tetrahedron, cube, octahedron, dodecahedron or icosahedron
	Axes    []AxisGroup `yaml:"axes"`
	// TypeNames replaces names that piece types get from their looks: "wing-1: inner-wing".
	TypeNames map[string]string `yaml:"type-names,omitempty"`
}

// AxisGroup is a set of axes that are cut alike.
type AxisGroup struct {
	At    string   `yaml:"at"`              // faces, vertices or edges
	Only  []string `yaml:"only,omitempty"`  // the axes meant, by name; all where empty
	Steps int      `yaml:"steps,omitempty"` // smallest turns in a full circle; the most that the solid allows where 0
	// Cuts are depths: distances from the centre towards the axis, with the
	// inscribed radius as 1, as numbers or fractions ("1/3"), or
	// "through vertices", "through edges", "through faces", "through centre".
	Cuts []string `yaml:"cuts"`
}

const (
	maxDefinition = 64 << 10 // bytes of text
	maxTitle      = 200      // bytes
	maxEntries    = 100      // of a mapping in it
	maxAliases    = 8
	maxGroups     = 8
	maxCuts       = 12   // across one axis
	minLayer      = 1e-3 // thinnest layer, in inscribed radii
)

var namePattern = regexp.MustCompile(`^[a-z0-9]([a-z0-9-]{0,61}[a-z0-9])?$`)

// ParseDefinition reads a definition from YAML (of which JSON is a part). It
// refuses unknown fields, aliases, more than one document and more than 64 KiB.
func ParseDefinition(data []byte) (Definition, error) {
	var def Definition
	if len(data) > maxDefinition {
		return def, fmt.Errorf("puzzle definition: %d bytes, at most %d are allowed", len(data), maxDefinition)
	}
	if err := checkText(data); err != nil {
		return def, fmt.Errorf("puzzle definition: %w", err)
	}
	dec := yaml.NewDecoder(bytes.NewReader(data))
	dec.KnownFields(true)
	if err := dec.Decode(&def); err != nil {
		return def, fmt.Errorf("puzzle definition: %w", readable(err))
	}
	return def, def.check()
}

// checkText looks at the form of a text before it is decoded, as decoding takes
// time that grows with the square of the entries of a mapping, and faster with aliases.
func checkText(data []byte) error {
	dec := yaml.NewDecoder(bytes.NewReader(data))
	var root yaml.Node
	if err := dec.Decode(&root); errors.Is(err, io.EOF) {
		return errors.New("the text is empty; give at least name, solid and axes")
	} else if err != nil {
		return readable(err)
	}
	if err := dec.Decode(new(yaml.Node)); !errors.Is(err, io.EOF) {
		return errors.New("more than one document; give one puzzle a file")
	}
	nodes := []*yaml.Node{&root}
	for i := 0; i < len(nodes); i++ {
		n := nodes[i]
		nodes = append(nodes, n.Content...)
		switch {
		case n.Kind == yaml.AliasNode:
			return fmt.Errorf("line %d: aliases are not allowed; write out what is meant", n.Line)
		case n.Kind == yaml.MappingNode && len(n.Content) > 2*maxEntries:
			return fmt.Errorf("line %d: a mapping of %d entries, at most %d are allowed", n.Line, len(n.Content)/2, maxEntries)
		}
	}
	return nil
}

// plain puts into the words of this page what the YAML package says in those of Go.
var plain = strings.NewReplacer(
	"\n  ", " ",
	"yaml: unmarshal errors:", "",
	" not found in type puzzle.AxisGroup", ": a group of axes has at, only, steps and cuts",
	" not found in type puzzle.Definition", ": a definition has name, aliases, title, solid, axes and type-names",
	"cannot unmarshal !!str ", "",
	"cannot unmarshal !!int ", "",
	"cannot unmarshal !!float ", "",
	"cannot unmarshal !!bool ", "",
	"cannot unmarshal !!seq", "a list",
	"cannot unmarshal !!map", "a mapping",
	" into puzzle.Definition", " where a definition belongs, from its name on",
	" into []puzzle.AxisGroup", " where a list of groups of axes belongs",
	" into puzzle.AxisGroup", " where a group of axes belongs, as in {at: faces, cuts: [0]}",
	" into []string", " where a list belongs, as in [1/3]",
	" into map[string]string", " where names belong, as in {edge: waist}",
	" into string", " where one word or number belongs",
	" into int", " where a whole number belongs",
)

// readable is what the YAML package complains of, on one line that a terminal can
// show and a person can read.
func readable(err error) error {
	const most = 300 // runes
	var out []rune
	for _, r := range strings.TrimSpace(plain.Replace(err.Error())) {
		if len(out) == most {
			return errors.New(string(out) + "...")
		}
		if unprintable(r) {
			r = '?'
		}
		out = append(out, r)
	}
	return errors.New(string(out))
}

// YAML returns the definition as text that ParseDefinition reads.
func (d Definition) YAML() string {
	out, err := yaml.Marshal(d)
	if err != nil { // plain strings and numbers always marshal
		panic(err)
	}
	return string(out)
}

// check looks at what can be checked without geometry.
func (d Definition) check() error {
	for _, n := range append([]string{d.Name}, d.Aliases...) {
		if !namePattern.MatchString(n) {
			return fmt.Errorf("puzzle name %.70q: use 1 to 63 lower-case letters, digits and inner hyphens", n)
		}
	}
	if err := d.checkRest(); err != nil {
		return fmt.Errorf("puzzle %q: %w", d.Name, err)
	}
	return nil
}

func (d Definition) checkRest() error {
	printable := func(s string) bool { return utf8.ValidString(s) && strings.IndexFunc(s, unprintable) < 0 }
	switch {
	case len(d.Aliases) > maxAliases:
		return fmt.Errorf("%d aliases, at most %d are allowed", len(d.Aliases), maxAliases)
	case len(d.Title) > maxTitle:
		return fmt.Errorf("the title has %d bytes, at most %d are allowed", len(d.Title), maxTitle)
	case !printable(d.Title):
		return fmt.Errorf("the title %q is not one line of printable text", d.Title)
	case !slices.Contains(solid.Names(), d.Solid):
		return fmt.Errorf("unknown solid %.70q: use one of %s", d.Solid, strings.Join(solid.Names(), ", "))
	case len(d.Axes) == 0:
		return errors.New("no axes: give at least one group with at and cuts")
	case len(d.Axes) > maxGroups:
		return fmt.Errorf("%d groups of axes, at most %d are allowed", len(d.Axes), maxGroups)
	}
	for i, g := range d.Axes {
		if err := g.check(); err != nil {
			return fmt.Errorf("axes group %d: %w", i+1, err)
		}
	}
	for _, from := range slices.Sorted(maps.Keys(d.TypeNames)) {
		if to := d.TypeNames[from]; !namePattern.MatchString(to) {
			return fmt.Errorf("type-names: %.70q for %.70q: use 1 to 63 lower-case letters, digits and inner hyphens", to, from)
		}
	}
	return nil
}

func (g AxisGroup) check() error {
	switch {
	case !slices.Contains([]string{"faces", "vertices", "edges"}, g.At):
		return fmt.Errorf("at %.70q: use faces, vertices or edges", g.At)
	case len(g.Cuts) == 0:
		return errors.New("no cuts: give at least one depth")
	case len(g.Cuts) > maxCuts:
		return fmt.Errorf("%d cuts, at most %d are allowed", len(g.Cuts), maxCuts)
	case g.Steps < 0 || g.Steps == 1:
		return fmt.Errorf("%d steps: use 2 or more, or leave it out", g.Steps)
	}
	return nil
}

func unprintable(r rune) bool { return !unicode.IsPrint(r) }
