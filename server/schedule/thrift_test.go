package schedule

import (
	"runtime/debug"
	"testing"

	"github.com/stretchr/testify/assert"
)

// However fetches overlap, the collector is as it was when the last is over.
func TestThriftEndsWithTheLastFetch(t *testing.T) {
	defer debug.SetGCPercent(debug.SetGCPercent(77))
	percent := func() int {
		now := debug.SetGCPercent(50)
		debug.SetGCPercent(now)
		return now
	}
	var frugal thrift
	first := frugal.begin()
	second := frugal.begin()
	assert.Equal(t, 10, percent())
	first()
	assert.Equal(t, 10, percent())
	second()
	assert.Equal(t, 77, percent())
}
