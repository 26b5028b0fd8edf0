package main

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestMomentsAreTheNextOnes(t *testing.T) {
	now := time.Date(2026, 11, 25, 23, 10, 0, 0, time.UTC)
	for text, want := range map[string]string{
		"07:00":                     "2026-11-26T07:00:00Z",
		"23:10":                     "2026-11-26T23:10:00Z",
		"23:11":                     "2026-11-25T23:11:00Z",
		"2026-12-24T18:00:00+01:00": "2026-12-24T18:00:00+01:00",
		"2026-12-24 18:00":          "2026-12-24T18:00:00Z",
		"90m":                       "2026-11-26T00:40:00Z",
		"2d":                        "2026-11-27T23:10:00Z",
	} {
		got, err := readMoment(text, now)
		require.NoError(t, err, text)
		assert.Equal(t, want, got.Format(time.RFC3339), text)
	}
	for _, text := range []string{"", "7", "25:00", "tomorrow", "2026-12-24", "2026-12-24 25:00", "0s", "-3h", "0d", "-1d", "9999d"} {
		_, err := readMoment(text, now)
		assert.Error(t, err, text)
	}
}
