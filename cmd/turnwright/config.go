package main

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"

	yaml "go.yaml.in/yaml/v3"

	"turnwright/api/client"
)

// The client's configuration file names servers:
//
//	default: club
//	servers:
//	  club:
//	    address: club.example.org:7431
//	    token_file: club.token # or token: turnwright-…
//	    fingerprint: 11e5cb73… # or ca: club.pem
//
// Files are sought from the directory of the configuration file.

// config is the configuration file.
type config struct {
	Default string                  `yaml:"default"` // the server that is meant where none is named
	Servers map[string]serverConfig `yaml:"servers"`
}

type serverConfig struct {
	Address     string `yaml:"address"`
	Token       string `yaml:"token"`
	TokenFile   string `yaml:"token_file"`
	CA          string `yaml:"ca"`
	Fingerprint string `yaml:"fingerprint"`
}

// configPath is where the configuration file is, by the XDG base directory
// specification.
func configPath() (string, error) {
	if dir := os.Getenv("XDG_CONFIG_HOME"); filepath.IsAbs(dir) {
		return filepath.Join(dir, "turnwright", "config.yaml"), nil
	}
	home, err := os.UserHomeDir()
	if err != nil {
		return "", fmt.Errorf("no place for a configuration file: %w", err)
	}
	return filepath.Join(home, ".config", "turnwright", "config.yaml"), nil
}

// maxConfig bounds the files that are read, in bytes.
const maxConfig = 1 << 20

var serverName = regexp.MustCompile(`^[A-Za-z0-9][A-Za-z0-9._-]*$`)

// goType is what the YAML library says of a key that it doesn't know.
var goType = regexp.MustCompile(` not found in type \S+`)

// readConfig reads the configuration file; one that is missing says nothing.
func readConfig(path string) (config, error) {
	var c config
	data, mode, err := readBounded(path)
	if errors.Is(err, fs.ErrNotExist) {
		return c, nil
	}
	if err != nil {
		return c, fmt.Errorf("read the configuration: %w", err)
	}
	decoder := yaml.NewDecoder(bytes.NewReader(data))
	decoder.KnownFields(true)
	if err := decoder.Decode(&c); err != nil && !errors.Is(err, io.EOF) {
		var unknown *yaml.TypeError
		if errors.As(err, &unknown) { // tells Go's types, which nobody wants to read
			return c, fmt.Errorf("%s: %s", path, goType.ReplaceAllString(strings.Join(unknown.Errors, "; "), " is not known here"))
		}
		return c, fmt.Errorf("%s: %w", path, err)
	}
	for name, s := range c.Servers {
		switch {
		case !serverName.MatchString(name):
			return c, fmt.Errorf("%s: server %q: use letters, digits, dots and hyphens in its name", path, name)
		case s.Address == "":
			return c, fmt.Errorf("%s: server %q has no address", path, name)
		case s.Token != "" && s.TokenFile != "":
			return c, fmt.Errorf("%s: server %q has both token and token_file", path, name)
		case s.Token != "" && !private(mode):
			return c, fmt.Errorf("%s has a token in it and others can read it: chmod 600 %s", path, path)
		}
	}
	if _, ok := c.Servers[c.Default]; c.Default != "" && !ok {
		return c, fmt.Errorf("%s: the default %q is none of the servers", path, c.Default)
	}
	return c, nil
}

func readBounded(path string) ([]byte, fs.FileMode, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, 0, err
	}
	defer f.Close() //nolint:errcheck // it was only read
	info, err := f.Stat()
	if err != nil {
		return nil, 0, err
	}
	data, err := io.ReadAll(io.LimitReader(f, maxConfig+1))
	if err == nil && len(data) > maxConfig {
		err = fmt.Errorf("%s has more than %d bytes", path, maxConfig)
	}
	return data, info.Mode(), err
}

// private tells whether a file belongs to its owner alone.
func private(mode fs.FileMode) bool { return mode.Perm()&0o077 == 0 }

// server makes what the configuration says of a server out of files into values.
func (s serverConfig) server(path string) (client.Server, error) {
	out := client.Server{Address: s.Address, Token: s.Token, CA: beside(path, s.CA), Fingerprint: s.Fingerprint}
	if s.TokenFile == "" {
		return out, nil
	}
	file := beside(path, s.TokenFile)
	data, mode, err := readBounded(file)
	switch {
	case err != nil:
		return out, fmt.Errorf("read the token: %w", err)
	case !private(mode):
		return out, fmt.Errorf("%s is a token and others can read it: chmod 600 %s", file, file)
	}
	out.Token = strings.TrimSpace(string(data))
	return out, nil
}

// beside is a file's path, sought from the directory of another.
func beside(path, file string) string {
	if file == "" || filepath.IsAbs(file) {
		return file
	}
	return filepath.Join(filepath.Dir(path), file)
}

// server finds out which server is meant: the flag, the environment, the
// configuration's default, or the one that serve starts on this host, in this order.
func (r *remote) server() (client.Server, error) {
	path, err := configPath()
	if err != nil {
		return client.Server{}, err
	}
	c, err := readConfig(path)
	if err != nil {
		return client.Server{}, err
	}
	out := client.Server{Address: defaultAddress}
	for _, named := range []string{r.named, os.Getenv("TURNWRIGHT_SERVER"), c.Default} {
		if named == "" {
			continue
		}
		if strings.Contains(named, ":") {
			out = client.Server{Address: named}
			break
		}
		s, ok := c.Servers[named]
		if !ok {
			return out, fmt.Errorf("server %q is neither an address with a port nor in %s, which has %s", named, path, serverNames(c))
		}
		if out, err = s.server(path); err != nil {
			return out, err
		}
		break
	}
	if token := os.Getenv("TURNWRIGHT_TOKEN"); token != "" {
		out.Token = token
	}
	if r.ca != "" || r.fingerprint != "" {
		out.CA, out.Fingerprint = r.ca, r.fingerprint
	}
	return out, nil
}

func serverNames(c config) string {
	if len(c.Servers) == 0 {
		return "none"
	}
	return strings.Join(slices.Sorted(maps.Keys(c.Servers)), ", ")
}
