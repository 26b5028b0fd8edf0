//go:build torture_broken

package storage

import "os"

// fault tells whether this program does something wrong on purpose, so that tests
// can show that they would notice. It is part of no build but theirs.
func fault(name string) bool { return os.Getenv("TURNWRIGHT_FAULT") == name }
