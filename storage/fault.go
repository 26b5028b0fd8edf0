//go:build !torture_broken

package storage

// fault tells whether this program does something wrong on purpose. It never does:
// only programs that the torture tests build for themselves can, see fault_broken.go.
func fault(string) bool { return false }
