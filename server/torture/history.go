// Package torture tells whether a service kept what it promised, however often its
// processes were killed meanwhile.
//
// The one idea: a run is recorded as plain data, a [History] of what clients saw and
// of what there is in the end, and [Check] is a function of nothing else. It knows
// what the API promises, and nothing of how the service keeps it; so it can itself
// be tested with histories written by hand. The tests record such histories of the
// real program.
package torture

// History is what a service said to its clients, and what it has in the end.
type History struct {
	Submissions []Submission
	Kept        []string // names of the searches that there are in the end
	Searches    []Search // those that clients followed
	Faults      []string // what the store's own check says
}

// Submission is a request to create a search. It is sent until it is acknowledged,
// and may be sent again after that.
type Submission struct {
	Request string   // its id
	Names   []string // of the search, as each acknowledgement had it
}

// Search is what is known of one search.
type Search struct {
	Name    string
	Clients []Client
	End     Summary        // as the API gives it in the end
	Calm    Summary        // the same of a run in which nothing was killed
	Stored  []StoredLength // what the store has in the end
}

// Client is what one client got of a search's stream, over all connections that
// broke, in the order in which it came.
type Client struct {
	Name   string
	Events []Event
}

// Event is a finding, or else the search as it is now.
type Event struct {
	Finding *Finding
	State   *State
}

// Finding is one revision of a finding.
type Finding struct {
	Name     string // the last part, the same in each run
	Revision int
	Sequence string
	Length   int // what ranks it before all else
}

// State is how far a search is.
type State struct {
	State  string
	Ended  bool
	Proven int
	Length int // that is being searched; 0 for none
	Units  int // of it that are done
}

// Done is the [State.State] of a search that came to its end by itself.
const Done = "SEARCH_STATE_DONE"

// Summary is what came of a search.
type Summary struct {
	State    string
	Proven   int
	Nodes    uint64
	Lengths  []Length // those that are proven
	Alarms   []string
	Findings []Finding // in rank order
}

// Length is what a length that is proven brought.
type Length struct {
	Length  int
	Classes int
	Cycles  int64
	Words   string
	Leaves  uint64
	Nodes   uint64
}

// StoredLength is what the store counts for a length, and what it counted that from.
type StoredLength struct {
	Length   int
	Open     bool   // how much its units cover is not predicted
	Units    int    // of the plan
	Done     int    // units, by the counter
	Records  int    // of units that are done
	Leaves   uint64 // predicted
	Covered  uint64 // by the counter
	Complete bool   // by the store's own words
}
