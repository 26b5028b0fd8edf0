package remote

import (
	"os"
	"strings"
)

// HostID tells hosts apart, and one start of a host from another; empty where the
// system doesn't say.
func HostID() string {
	id, err := os.ReadFile("/proc/sys/kernel/random/boot_id")
	if err != nil {
		return ""
	}
	return strings.TrimSpace(string(id))
}
