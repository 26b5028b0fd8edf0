package storage

import (
	"fmt"
	"log/slog"
	"strings"
)

// badgerLog passes Badger's messages on. What it calls information is of no
// interest to whoever runs the service.
type badgerLog struct{ log *slog.Logger }

func (l badgerLog) Errorf(format string, args ...any)   { l.log.Warn(line(format, args)) }
func (l badgerLog) Warningf(format string, args ...any) { l.log.Warn(line(format, args)) }
func (l badgerLog) Infof(format string, args ...any)    { l.log.Debug(line(format, args)) }
func (l badgerLog) Debugf(format string, args ...any)   { l.log.Debug(line(format, args)) }

func line(format string, args []any) string {
	return strings.TrimSpace(fmt.Sprintf(format, args...))
}
