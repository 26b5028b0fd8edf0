package main

import (
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"runtime/debug"
	"strings"

	"github.com/KimMachineGun/automemlimit/memlimit"
)

const defaultDataHelp = "turnwright in the user's data directory"

// defaultData is where searches and tables are kept: by the XDG base directory
// specification in $XDG_DATA_HOME or else ~/.local/share, and on systems that
// have a place of their own for such data, there.
func defaultData() (string, error) {
	if dir := os.Getenv("XDG_DATA_HOME"); filepath.IsAbs(dir) {
		return filepath.Join(dir, "turnwright"), nil
	}
	if runtime.GOOS == "darwin" || runtime.GOOS == "windows" {
		dir, err := os.UserConfigDir()
		if err != nil {
			return "", fmt.Errorf("no place for data, name one with --data: %w", err)
		}
		return filepath.Join(dir, "turnwright"), nil
	}
	home, err := os.UserHomeDir()
	if err != nil {
		return "", fmt.Errorf("no place for data, name one with --data: %w", err)
	}
	return filepath.Join(home, ".local", "share", "turnwright"), nil
}

// version is that of the module, as far as the build knows it.
func version() string {
	info, ok := debug.ReadBuildInfo()
	if !ok || info.Main.Version == "" {
		return "(devel)"
	}
	return info.Main.Version
}

// leastMemory is for tables where the system does not say what is free: enough
// for one of some 80 million words.
const leastMemory size = 512 << 20

// defaultMemoryHelp says what [halfOfFree] is.
const defaultMemoryHelp = "half of what is free, or of the limit of its control group where that is less"

// halfOfFree is half of the memory that this program can still have, as Linux tells.
func halfOfFree() size { return halfOf("/proc/meminfo", memlimit.FromCgroup) }

// halfOf is half of what a host says is free, or of what control groups, those of a container
// for instance, leave of it. limit fails where there is none.
func halfOf(host string, limit memlimit.Provider) size {
	half := leastMemory
	text, _ := os.ReadFile(host) // where it doesn't say
	for line := range strings.Lines(string(text)) {
		var kib int64
		if n, _ := fmt.Sscanf(line, "MemAvailable: %d kB", &kib); n == 1 {
			half = size(kib << 10 / 2)
		}
	}
	if most, err := limit(); err == nil {
		half = min(half, size(most/2))
	}
	return half
}
