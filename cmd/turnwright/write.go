package main

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
)

// writeFile has a file, which a flag names, hold this. What it held before goes only once all is written, so
// that a full disk costs nobody what they had. A device or a pipe is written to as it is.
func writeFile(flag, path string, content []byte) error {
	if real, err := filepath.EvalSymlinks(path); err == nil {
		path = real
	}
	part := path + ".part"
	if info, err := os.Stat(path); err == nil && !info.Mode().IsRegular() {
		part = path
	}
	file, err := os.OpenFile(part, os.O_WRONLY|os.O_CREATE|os.O_TRUNC, 0o666)
	if err != nil {
		return usageError{fmt.Errorf("%s: %w", flag, err)}
	}
	_, err = file.Write(content)
	err = errors.Join(err, file.Close())
	if part != path {
		if err == nil {
			err = os.Rename(part, path)
		}
		if err != nil {
			err = errors.Join(err, os.Remove(part))
		}
	}
	if err != nil {
		return fmt.Errorf("%s: %w", flag, err)
	}
	return nil
}
