package torture

import (
	"errors"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Two findings; the second was found in a worse form first.
var (
	first  = Finding{Name: "c1", Revision: 1, Sequence: "R U R' U'", Length: 4}
	worse  = Finding{Name: "c2", Revision: 1, Sequence: "U R U' R' D", Length: 5}
	second = Finding{Name: "c2", Revision: 2, Sequence: "U R U' R'", Length: 4}
)

func got(f Finding) Event { return Event{Finding: &f} }

func state(s State) Event { return Event{State: &s} }

func running(proven, length, units int) Event {
	return state(State{State: "SEARCH_STATE_RUNNING", Proven: proven, Length: length, Units: units})
}

var ended = state(State{State: Done, Ended: true, Proven: 5})

// sound is a history in which nothing is wrong: one client follows from the
// beginning, another comes late.
func sound() History {
	lengths := []Length{{Length: 4, Classes: 2, Cycles: 24, Words: "100", Leaves: 10}, {Length: 5, Words: "1000", Leaves: 100}}
	return History{
		Submissions: []Submission{{"r1", []string{"searches/a", "searches/a"}}, {"r2", []string{"searches/b"}}},
		Kept:        []string{"searches/b", "searches/a"},
		Searches: []Search{{
			Name: "searches/a",
			Clients: []Client{
				{"early", []Event{
					state(State{State: "SEARCH_STATE_QUEUED"}), running(0, 4, 0), got(worse), running(0, 4, 2), got(first),
					running(3, 4, 2), got(second), running(4, 5, 0), running(4, 0, 0), running(4, 5, 3), ended,
				}},
				{"late", []Event{got(first), got(second), ended}},
			},
			End:  Summary{State: Done, Proven: 5, Lengths: lengths, Findings: []Finding{first, second}},
			Calm: Summary{State: Done, Proven: 5, Lengths: lengths, Findings: []Finding{{"c1", 3, first.Sequence, 4}, {"c2", 1, second.Sequence, 4}}},
			Stored: []StoredLength{
				{Length: 4, Units: 3, Done: 3, Records: 3, Leaves: 10, Covered: 10, Complete: true},
				{Length: 5, Units: 4, Done: 4, Records: 4, Leaves: 100, Covered: 100, Complete: true},
				{Length: 6, Open: true, Units: 9, Done: 2, Records: 2, Covered: 77}, // of a position: enough was found
			},
		}},
	}
}

func TestCheckNamesWhatIsWrong(t *testing.T) {
	events := func(list ...Event) func(*History) {
		return func(h *History) { h.Searches[0].Clients[0].Events = list }
	}
	search := func(change func(*Search)) func(*History) {
		return func(h *History) { change(&h.Searches[0]) }
	}
	for _, c := range []struct {
		name   string
		change func(*History)
		want   error // nil: nothing
	}{
		{"nothing", func(*History) {}, nil},
		{"nothing, of a search without findings", search(func(s *Search) {
			s.Clients, s.End.Findings, s.Calm.Findings = []Client{{"one", []Event{ended}}}, nil, nil
		}), nil},

		{"an acknowledged search is gone", func(h *History) { h.Kept = h.Kept[:1] }, ErrSubmissionLost},
		{"a repeated request made another search", func(h *History) {
			h.Submissions[0].Names[1], h.Kept = "searches/c", append(h.Kept, "searches/c")
		}, ErrSubmissionTwice},
		{"two requests were given one search", func(h *History) {
			h.Submissions[1].Names[0], h.Kept = "searches/a", h.Kept[1:]
		}, ErrSubmissionTwice},
		{"a search that nobody knows of", func(h *History) { h.Kept = append(h.Kept, "searches/c") }, ErrSubmissionTwice},

		{"it failed", search(func(s *Search) { s.End.State = "SEARCH_STATE_FAILED" }), ErrNotDone},
		{"a unit was set aside", search(func(s *Search) { s.End.Alarms = []string{"unit 3 was set aside"} }), ErrAlarm},
		{"an index lacks a finding", func(h *History) { h.Faults = []string{"finding c1: it has no index"} }, ErrStore},
		{"findings are listed out of order", search(func(s *Search) {
			longer := Finding{"c1", 1, "R U R' U' D", 5}
			s.Clients = []Client{{"one", []Event{got(longer), got(second), ended}}}
			s.End.Findings, s.Calm.Findings = []Finding{longer, second}, []Finding{longer, second}
		}), ErrOrder},

		{"a unit is counted that is not done", search(func(s *Search) { s.Stored[2].Done++ }), ErrUnitTwice},
		{"more units are counted than there are", search(func(s *Search) { s.Stored[0].Done, s.Stored[0].Records = 4, 4 }), ErrUnitTwice},
		{"a unit's leaves are counted twice", search(func(s *Search) { s.Stored[0].Covered = 13 }), ErrUnitTwice},
		{"a unit is done and not counted", search(func(s *Search) { s.Stored[2].Records++ }), ErrUnitLost},
		{"a unit is neither done nor counted", search(func(s *Search) { s.Stored[1].Done, s.Stored[1].Records = 3, 3 }), ErrUnitLost},
		{"a unit's leaves are not counted", search(func(s *Search) { s.Stored[1].Covered = 99 }), ErrUnitLost},
		{"a proven length is not complete", search(func(s *Search) { s.Stored[1].Complete = false }), ErrStore},

		{"it proved less than undisturbed", search(func(s *Search) { s.Calm.Proven = 6 }), ErrSummaryDiffers},
		{"it looked at other nodes than undisturbed", search(func(s *Search) { s.End.Nodes = 1 }), ErrSummaryDiffers},
		{"a length brought fewer classes than undisturbed", search(func(s *Search) {
			s.Calm.Lengths = []Length{{Length: 4, Classes: 3, Cycles: 24, Words: "100", Leaves: 10}, s.End.Lengths[1]}
		}), ErrSummaryDiffers},
		{"a length is missing", search(func(s *Search) { s.End.Lengths = s.End.Lengths[:1] }), ErrSummaryDiffers},
		{"undisturbed found one more", search(func(s *Search) { s.Calm.Findings = append(s.Calm.Findings, worse) }), ErrSummaryDiffers},
		{"undisturbed found another sequence", search(func(s *Search) { s.Calm.Findings[1].Sequence = "D R D' R'" }), ErrSummaryDiffers},

		{"a finding is gone that a client got", search(func(s *Search) {
			s.End.Findings, s.Calm.Findings = []Finding{first}, []Finding{first}
		}), ErrFindingLost},
		{"a finding is older than the one that a client got", search(func(s *Search) {
			later := second
			later.Revision = 3
			s.Clients[0].Events = []Event{got(first), got(second), got(later), ended}
			s.Clients = s.Clients[:1]
		}), ErrFindingLost},
		{"a client never got a finding", events(got(second), ended), ErrFindingMissed},
		{"a client never got the last revision", events(got(first), got(worse), ended), ErrFindingMissed},
		{"a client got a revision twice", events(got(first), got(second), got(first), ended), ErrFindingTwice},
		{"a client got an older revision after a newer", events(got(first), got(second), got(worse), got(second), ended), ErrOrder},
		{"a newer revision is longer", search(func(s *Search) {
			longest, shorter := second, worse
			longest.Length, longest.Sequence, shorter.Length = 6, "U R U' R' D D", 4
			s.Clients = []Client{{"one", []Event{got(first), got(shorter), got(longest), ended}}}
			s.End.Findings, s.Calm.Findings = []Finding{first, longest}, []Finding{first, longest}
		}), ErrOrder},
		{"a client got another sequence than is there", func(h *History) {
			other := first
			other.Sequence = "U R U' R' "
			events(got(other), got(second), ended)(h)
		}, ErrFindingChanged},
		{"two clients got two first revisions", func(h *History) {
			other := worse
			other.Sequence = "U R U' R' F"
			h.Searches[0].Clients[1].Events = []Event{got(other), got(first), got(second), ended}
		}, ErrFindingChanged},

		{"a proof went back", events(got(first), running(4, 5, 1), running(3, 4, 2), got(second), ended), ErrProofLost},
		{"a proof was told that is not there in the end", search(func(s *Search) {
			s.Clients[0].Events = []Event{got(first), got(second), state(State{State: Done, Ended: true, Proven: 6})}
		}), ErrProofLost},
		{"units of a length went back", events(got(first), running(3, 4, 2), running(3, 4, 1), got(second), ended), ErrUnitLost},
		{"something came after the end", events(got(first), got(second), ended, ended), ErrOrder},
		{"a stream ended early", events(got(first), got(second), running(4, 5, 3)), ErrCutShort},
		{"a stream brought nothing", events(), ErrCutShort},
	} {
		t.Run(c.name, func(t *testing.T) {
			h := sound()
			c.change(&h)
			errs := Check(h)
			if c.want == nil {
				assert.Empty(t, errs)
				return
			}
			require.NotEmpty(t, errs)
			assert.ErrorIs(t, errors.Join(errs...), c.want)
			for _, err := range errs {
				if !errors.Is(err, c.want) {
					t.Log("also:", err)
				}
			}
		})
	}
}
