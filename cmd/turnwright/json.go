package main

import (
	"encoding/json"

	turnwrightv1 "turnwright/api/turnwright/v1"
)

// What --output json prints: one object a line, with one key that says what it
// is. Programs rely on these forms: add to them, but change nothing. Numbers are
// numbers, whatever their size.

type summaryForm struct {
	Search       string       `json:"search"`
	State        string       `json:"state"`
	ProvenLength int32        `json:"provenLength"`
	ClassesTotal int32        `json:"classesTotal"`
	CyclesTotal  int64        `json:"cyclesTotal"`
	Core         string       `json:"core,omitempty"` // kept or free, where nothing marks it
	Lengths      []lengthForm `json:"lengths"`        // the finished ones
	Tables       *tablesForm  `json:"tables,omitempty"`
	Nodes        uint64       `json:"nodes,omitempty"` // words looked at, for a position
	Error        string       `json:"error,omitempty"`
	Cancelled    string       `json:"cancelledBy,omitempty"` // stop-at or core-budget, where it was not a user
	Alarms       []string     `json:"alarms,omitempty"`      // what people must know

	// Where only commutators of parts are tried: nothing is proven then.
	Structure  *structureForm `json:"structure,omitempty"`
	Pairs      uint64         `json:"pairs,omitempty"` // of parts, tried so far
	PairsTotal uint64         `json:"pairsTotal,omitempty"`
	// Where a solution is to become shorter: nothing is proven then either.
	Study *studiedForm `json:"study,omitempty"`
}

type lengthForm struct {
	Length  int32  `json:"length"`
	Classes int32  `json:"classes"` // first reached at this length
	Cycles  int64  `json:"cycles"`  // distinct directed cycles in them
	Words   number `json:"words"`   // canonical words covered
	Leaves  uint64 `json:"leaves"`
	Nodes   uint64 `json:"nodes,omitempty"` // for a position: words looked at
}

type tablesForm struct {
	Tables    int32   `json:"tables"`
	Words     uint64  `json:"words"`
	Bytes     int64   `json:"bytes"`
	Seconds   float64 `json:"seconds"`
	FromCache bool    `json:"fromCache"`
	// For a position: what its pattern tables tell apart, their greatest mean
	// distance, and the length that they say is needed at least.
	Entries uint64  `json:"entries,omitempty"`
	Mean    float64 `json:"meanDistance,omitempty"`
	Bound   int32   `json:"bound,omitempty"`
}

type findingForm struct {
	Class        int32       `json:"class"`
	ClassesTotal int32       `json:"classesTotal"`
	Cycles       int64       `json:"cycles"` // distinct directed cycles in the class
	Length       int32       `json:"length"`
	Sequence     string      `json:"sequence"`
	Cycle        cycleForm   `json:"cycle"`
	Parts        []cycleForm `json:"parts"` // all cycles: only the one for a 3-cycle
	Lengths      lengthsForm `json:"lengths"`
	Axes         int32       `json:"axes"`
	Place        int32       `json:"place"` // 1 for the best of its class
	Rotation     string      `json:"rotation"`
	Revision     int32       `json:"revision"`
	Shortest     bool        `json:"shortest"` // proven: every shorter sequence was covered

	Explanation *explanationForm `json:"explanation,omitempty"` // how the sequence reads; missing for long ones
	Joined      *joinedForm      `json:"joined,omitempty"`      // between the moves of the search, where it has some
}

// number is a whole number in decimal, of any size.
type number string

// MarshalJSON writes the number as one, not as a string.
func (n number) MarshalJSON() ([]byte, error) {
	return json.Marshal(json.Number(n))
}

type cycleForm struct {
	Length int32    `json:"length"`
	Slots  []int32  `json:"slots"`
	Labels []string `json:"labels"`
	Twist  int32    `json:"twist"`      // order of the twist that is left over, 1 for none
	Past   string   `json:"twistLabel"` // where the first piece then is after one time round
	Text   string   `json:"text"`
}

type lengthsForm struct {
	OBTM int32 `json:"obtm"`
	STM  int32 `json:"stm"`
	QTM  int32 `json:"qtm"`
	ETM  int32 `json:"etm"`
}

// printList prints a list: an object for each item or, for people, text.
func printList[Item, Form any](a *app, kind string, items []Item, form func(Item) Form, text func([]Item) string) error {
	if a.output != "json" {
		return a.printText(text(items))
	}
	for _, item := range items {
		if err := a.printJSON(kind, form(item)); err != nil {
			return err
		}
	}
	return nil
}

func (a *app) printJSON(kind string, form any) error {
	encoder := json.NewEncoder(a.stdout)
	encoder.SetEscapeHTML(false)
	return encoder.Encode(map[string]any{kind: form})
}

// printFindingJSON prints a finding or, for a position, a solution or, for a study, a shorter one.
func (a *app) printFindingJSON(f *turnwrightv1.Finding, s *turnwrightv1.Search) error {
	if s.GetStudy() != nil {
		return a.printJSON("shorter", shortenedJSON(f))
	}
	if s.GetPosition() != nil {
		return a.printJSON("solution", solutionJSON(f, s))
	}
	return a.printJSON("finding", findingJSON(f, s))
}

func summaryJSON(s *turnwrightv1.Search) summaryForm {
	form := summaryForm{
		Search: s.GetName(), State: stateText(s.GetState()), ProvenLength: s.GetProvenLength(),
		ClassesTotal: s.GetClassesTotal(), CyclesTotal: s.GetCyclesTotal(),
		Lengths: []lengthForm{}, Nodes: s.GetNodes(), Error: s.GetError(),
		Cancelled: cancelWord(s.GetCancelReason()), Alarms: s.GetAlarms(),
	}
	form.Core = coreWord(s.GetGoal().GetCore())
	form.Study = studiedJSON(s.GetStudy())
	form.Structure, form.Pairs, form.PairsTotal = structureJSON(s.GetStructure()), s.GetPairs(), s.GetPairsTotal()
	for _, l := range s.GetLengths() {
		form.Lengths = append(form.Lengths, lengthForm{
			Length: l.GetLength(), Classes: l.GetClasses(), Cycles: l.GetCycles(),
			Words: number(l.GetWords()), Leaves: l.GetLeaves(), Nodes: l.GetNodes(),
		})
	}
	if t := s.GetTables(); t != nil {
		form.Tables = &tablesForm{
			Tables: t.GetTables(), Words: t.GetWords(), Bytes: t.GetBytes(),
			Seconds: t.GetElapsed().AsDuration().Seconds(), FromCache: t.GetFromCache(),
			Entries: t.GetEntries(), Mean: t.GetMeanDistance(), Bound: t.GetBound(),
		}
	}
	return form
}

func findingJSON(f *turnwrightv1.Finding, s *turnwrightv1.Search) findingForm {
	parts := []cycleForm{}
	for _, c := range f.GetParts() {
		parts = append(parts, cycleJSON(c))
	}
	form := findingForm{
		Class: f.GetClass(), ClassesTotal: f.GetClassesTotal(), Cycles: f.GetClassCycles(),
		Length: f.GetLength(), Sequence: f.GetSequence(), Cycle: cycleJSON(f.GetCycle()), Parts: parts,
		Lengths: lengthsJSON(f.GetLengths()), Axes: f.GetAxes(), Place: f.GetPlace(), Rotation: f.GetRotation(), Revision: f.GetRevision(),
		Shortest:    s.GetStructure() == nil && f.GetLength() <= s.GetProvenLength()+1,
		Explanation: explanationJSON(f.GetExplanation()),
	}
	if f.GetJoined() != nil {
		form.Joined = joinedJSON(f.GetJoined())
	}
	return form
}

func cycleJSON(c *turnwrightv1.Cycle) cycleForm {
	return cycleForm{
		Length: c.GetLength(), Slots: list(c.GetSlots()), Labels: list(c.GetLabels()),
		Twist: c.GetTwist(), Past: c.GetTwistLabel(), Text: c.GetText(),
	}
}

func lengthsJSON(l *turnwrightv1.Lengths) lengthsForm {
	return lengthsForm{OBTM: l.GetObtm(), STM: l.GetStm(), QTM: l.GetQtm(), ETM: l.GetEtm()}
}

// list is never nil, so that JSON has [] and not null.
func list[T any](items []T) []T {
	if items == nil {
		return []T{}
	}
	return items
}
