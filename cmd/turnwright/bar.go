package main

import (
	"fmt"
	"strings"

	turnwrightv1 "turnwright/api/turnwright/v1"
)

// barText is one line, short enough for a terminal of that width, that says what
// the search is doing and how far it is.
func barText(search *turnwrightv1.Search, width int) string {
	p := search.GetProgress()
	var title string
	var done, total uint64
	switch p.GetPhase() {
	case turnwrightv1.Phase_PHASE_LOADING_TABLES:
		title, done, total = "loading the table", p.GetTableWordsDone(), p.GetTableWordsTotal()
	case turnwrightv1.Phase_PHASE_BUILDING_TABLES:
		title, done, total = "building the table", p.GetTableWordsDone(), p.GetTableWordsTotal()
	case turnwrightv1.Phase_PHASE_SEARCHING:
		if search.GetPosition() != nil {
			return solveBarText(p, width)
		}
		if search.GetStudy() != nil {
			return studyBarText(p, width)
		}
		if search.GetStructure() != nil {
			return pairsBarText(p, width)
		}
		title, done, total = fmt.Sprintf("length %d", p.GetLength()), p.GetLeavesCovered(), p.GetLeavesPredicted()
	default:
		return fit(stateText(search.GetState()), width)
	}
	what := "words"
	if search.GetPosition() != nil {
		what = "positions" // of pattern tables
	}
	facts := []string{fmt.Sprintf("%s of %s %s", short(done), short(total), what)}
	if rate := p.GetLeavesPerSecond(); rate > 0 {
		facts = append(facts, short(uint64(rate))+"/s")
	}
	if p.GetRemaining() != nil {
		facts = append(facts, durationText(p.GetRemaining().AsDuration())+" left")
	}
	return fit(barLine(title, done, total, facts), width)
}

// solveBarText is barText for a position: its words are not counted beforehand,
// only its units are.
func solveBarText(p *turnwrightv1.Progress, width int) string {
	facts := []string{fmt.Sprintf("%s words looked at", short(p.GetNodes()))}
	if rate := p.GetNodesPerSecond(); rate > 0 {
		facts = append(facts, short(uint64(rate))+"/s")
	}
	return fit(barLine(fmt.Sprintf("length %d", p.GetLength()), uint64(p.GetUnitsDone()), uint64(p.GetUnitsTotal()), facts), width)
}

func barLine(title string, done, total uint64, facts []string) string {
	share := 0.0
	if total > 0 {
		share = min(float64(done)/float64(total), 1)
	}
	return fmt.Sprintf("%s  %s %3.0f %%  %s", title, bar(share, 24), 100*share, strings.Join(facts, ", "))
}

// bar draws a share from 0 to 1 with so many characters.
func bar(share float64, width int) string {
	full := int(share * float64(width))
	return strings.Repeat("━", full) + strings.Repeat("╌", width-full)
}

// fit cuts a line so that a terminal does not wrap it.
func fit(line string, width int) string {
	runes := []rune(line)
	if width < 1 || len(runes) < width {
		return line
	}
	return string(runes[:width-1])
}
