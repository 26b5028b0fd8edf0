package main

import (
	"fmt"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"
)

// How times are put for people: in their own zone, and how far off they are.

// now is the time, in the zone of whoever reads.
func (a *app) now() time.Time {
	if a.clock != nil {
		return a.clock()
	}
	return time.Now()
}

// at is a time such as "2026-11-28 19:00 CET".
func (a *app) at(t *timestamppb.Timestamp) string {
	if t == nil {
		return "-"
	}
	return t.AsTime().In(a.now().Location()).Format("2006-01-02 15:04 MST")
}

// when is a time such as "2026-11-28 19:00 CET, in 41 minutes".
func (a *app) when(t *timestamppb.Timestamp) string {
	if t == nil {
		return "-"
	}
	return a.at(t) + ", " + offText(t.AsTime().Sub(a.now()))
}

// offText says how far off a time is, to the second, then rounded down: nobody is told that
// there is more time than there is.
func offText(d time.Duration) string {
	if d = d.Round(time.Second); d < 0 {
		return spanText(-d) + " ago"
	}
	return "in " + spanText(d)
}

// spanText is a time as people say it who plan by it, rounded down.
func spanText(d time.Duration) string {
	days, hours, minutes := int64(d/(24*time.Hour)), int64(d/time.Hour), int64(d/time.Minute)
	switch {
	case d < 2*time.Minute:
		return plural(int64(d/time.Second), "second", "seconds")
	case d <= 100*time.Minute:
		return plural(minutes, "minute", "minutes")
	case d < 48*time.Hour && minutes%60 == 0:
		return plural(hours, "hour", "hours")
	case d < 48*time.Hour:
		return fmt.Sprintf("%d h %d min", hours, minutes%60)
	default:
		return plural(days, "day", "days")
	}
}

// earlier is the earlier of two times.
func earlier(a, b time.Time) time.Time {
	if a.Before(b) {
		return a
	}
	return b
}
