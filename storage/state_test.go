package storage

import (
	"testing"

	"github.com/stretchr/testify/assert"
)

// The whole table, written out a second time as sentences.
func TestStates(t *testing.T) {
	all := []State{Queued, Preparing, Running, Paused, Done, Cancelled, Failed}
	allowed := map[[2]State]bool{
		{Queued, Preparing}: true, {Preparing, Running}: true, {Running, Done}: true,
		{Queued, Paused}: true, {Preparing, Paused}: true, {Running, Paused}: true, {Paused, Queued}: true,
		{Queued, Cancelled}: true, {Preparing, Cancelled}: true, {Running, Cancelled}: true, {Paused, Cancelled}: true,
		{Queued, Failed}: true, {Preparing, Failed}: true, {Running, Failed}: true,
	}
	for _, from := range all {
		for _, to := range all {
			assert.Equal(t, allowed[[2]State{from, to}], from.CanBecome(to), "%s to %s", from, to)
		}
		assert.NotEmpty(t, from.verb())
	}
	for _, s := range all {
		assert.Equal(t, s == Done || s == Cancelled || s == Failed, s.Ended(), s)
	}
}
