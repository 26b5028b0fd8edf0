package main

import (
	"fmt"
	"math/big"
	"strings"
	"time"

	"github.com/dustin/go-humanize"

	"turnwright/api/client"
	turnwrightv1 "turnwright/api/turnwright/v1"
)

// How things are put into words for people.

// short is a count with three digits or so: 16.6 M.
func short(n uint64) string {
	if n < 1000 {
		return fmt.Sprint(n)
	}
	return humanize.SIWithDigits(float64(n), 1, "")
}

// grouped is a whole number of any size, its digits in groups of three.
func grouped(decimal string) string {
	n, ok := new(big.Int).SetString(decimal, 10)
	if !ok {
		return decimal
	}
	return humanize.BigComma(n)
}

func plural(n int64, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return humanize.Comma(n) + " " + many
}

// durationText is a time as exact as people want it.
func durationText(d time.Duration) string {
	switch {
	case d < 10*time.Second:
		return fmt.Sprintf("%.1f s", d.Seconds())
	case d < 100*time.Second:
		return fmt.Sprintf("%.0f s", d.Seconds())
	case d < 100*time.Minute:
		return fmt.Sprintf("%.0f min", d.Minutes())
	case d < 72*time.Hour:
		return fmt.Sprintf("%.0f h", d.Hours())
	default:
		return fmt.Sprintf("%.0f days", d.Hours()/24)
	}
}

func metricText(m turnwrightv1.Metric) string {
	return strings.TrimPrefix(m.String(), "METRIC_")
}

func stateText(s turnwrightv1.SearchState) string {
	return strings.ToLower(strings.TrimPrefix(s.String(), "SEARCH_STATE_"))
}

// cancelWord says in a word why a search was cancelled; nothing where a user did it.
func cancelWord(r turnwrightv1.CancelReason) string {
	switch r {
	case turnwrightv1.CancelReason_CANCEL_REASON_STOP_TIME:
		return "stop-at"
	case turnwrightv1.CancelReason_CANCEL_REASON_CORE_BUDGET:
		return "core-budget"
	}
	return ""
}

// alarmsText is what people must know of a search before they believe what it says.
func alarmsText(s *turnwrightv1.Search) string {
	var b strings.Builder
	for _, alarm := range s.GetAlarms() {
		fmt.Fprintf(&b, "ALARM: %s\n", alarm)
	}
	return b.String()
}

func tablesText(t *turnwrightv1.TableSummary) string {
	if t.GetEntries() > 0 {
		return patternsText(t)
	}
	how := "built"
	from := ""
	if t.GetFromCache() {
		how, from = "loaded", " from the cache"
	}
	what := "table"
	if t.GetTables() > 1 {
		what = fmt.Sprintf("%d tables", t.GetTables())
	}
	return fmt.Sprintf("%s: %s %s words%s in %s, %s", what, how, short(t.GetWords()), from,
		durationText(t.GetElapsed().AsDuration()), humanize.IBytes(uint64(t.GetBytes())))
}

// shapeText names what is wanted.
func shapeText(shape string) string {
	switch {
	case shape == "" || shape == "3":
		return "3-cycles"
	case strings.HasPrefix(shape, "<="):
		return "Changes of at most " + shape[2:]
	}
	return "Cycles of shape " + shape
}

// classText numbers a class, where classes have numbers.
func classText(f *turnwrightv1.Finding) string {
	if f.GetClass() == 0 {
		return client.ID(f.GetName())[:6]
	}
	return fmt.Sprintf("%d of %d", f.GetClass(), f.GetClassesTotal())
}

// partsText is all that a finding does to the wanted type.
func partsText(f *turnwrightv1.Finding) string {
	var texts []string
	for _, c := range f.GetParts() {
		texts = append(texts, c.GetText())
	}
	return strings.Join(texts, " ")
}

// goalText is a search's goal in a sentence.
func goalText(s *turnwrightv1.Search, puzzle string) string {
	goal := s.GetGoal()
	text := fmt.Sprintf("%s of %ss on %s", shapeText(goal.GetShape()), goal.GetCycle(), puzzle)
	if ignored := goal.GetIgnore(); len(ignored) > 0 {
		text += fmt.Sprintf(", %ss may move, nothing else", strings.Join(ignored, "s and "))
	} else {
		text += ", nothing else moved"
	}
	if axes := goal.GetAxes(); len(axes) > 0 {
		text += ", turned about " + strings.Join(axes, ", ") + " only"
	}
	for i, pin := range goal.GetPins() {
		text += []string{", ", " and "}[min(i, 1)] + pin.GetFrom() + " to " + pin.GetTo()
	}
	if s.GetStructure() != nil {
		text += "; " + structureText(s.GetStructure())
	}
	return fmt.Sprintf("%s; length up to %d (%s).", text, s.GetMaxLength(), metricText(s.GetMetric()))
}

// coreWord is kept or free, or empty where the core doesn't matter.
func coreWord(core turnwrightv1.Core) string {
	if core == turnwrightv1.Core_CORE_UNSPECIFIED {
		return ""
	}
	return strings.ToLower(strings.TrimPrefix(core.String(), "CORE_"))
}

// coreText says what the proof does not speak of, if anything.
func coreText(core turnwrightv1.Core) string {
	if core != turnwrightv1.Core_CORE_KEPT {
		return ""
	}
	return "Nothing marks this puzzle's core: sequences that also turn everything against it don't count here (--core free counts them).\n"
}

// proofText is what the search has proven, given the length of the shortest
// sequence that it found, or 0.
func proofText(s *turnwrightv1.Search, shortest int32) string {
	proven := s.GetProvenLength()
	if proven == 0 {
		return "Nothing is proven: no length was finished."
	}
	text := fmt.Sprintf("Proven: every sequence of length up to %d (%s) was covered; ", proven, metricText(s.GetMetric()))
	switch {
	case shortest == 0:
		return text + "none meets the goal."
	case shortest <= proven+1:
		return text + fmt.Sprintf("nothing shorter than %d exists.", shortest)
	default:
		return text + fmt.Sprintf("nothing of length up to %d exists.", proven)
	}
}
