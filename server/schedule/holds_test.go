package schedule

import (
	"testing"

	"github.com/stretchr/testify/assert"
)

// A worker on this host has all tables at hand; one elsewhere those that it says.
func TestWhatAWorkerHolds(t *testing.T) {
	r := NewRunner(nil, nil, Options{Slots: 1})
	r.jobs = map[string]*job{"night": {tables: []string{"a", "b"}}, "day": {tables: []string{"a"}}, "parts": {}}
	assert.Nil(t, r.holds(Taker{Worker: "hall", Tables: []string{"a"}}))
	assert.ElementsMatch(t, []string{"parts"}, r.holds(Taker{Worker: "far", Elsewhere: true}))
	assert.ElementsMatch(t, []string{"day", "parts"}, r.holds(Taker{Worker: "far", Elsewhere: true, Tables: []string{"c", "a"}}))
	assert.ElementsMatch(t, []string{"night", "day", "parts"}, r.holds(Taker{Worker: "far", Elsewhere: true, Tables: []string{"b", "a"}}))
}
