package storage

import "time"

// Puzzle is a puzzle that a user defined.
type Puzzle struct {
	Name       string    `json:"name"`
	Aliases    []string  `json:"aliases,omitempty"`
	Definition string    `json:"definition"` // as it was given
	Created    time.Time `json:"created"`
}

// Spec is what a search asks. It has all that a plan is made from, so that a
// restart gets the same plan, whatever became of the puzzle or the defaults.
// There are four kinds: what is set in Position or Study alone, or in Cycle, Shape and the
// like, belongs to that kind, and Structure to the fourth, which has Cycle and Shape too.
type Spec struct {
	Puzzle     string     `json:"puzzle"`
	Definition string     `json:"definition"`
	Position   *Position  `json:"position,omitempty"`  // nil where cycles are searched for
	Structure  *Structure `json:"structure,omitempty"` // nil where all sequences are tried
	Study      *Study     `json:"study,omitempty"`     // nil where no solution is to be shortened
	Cycle      string     `json:"cycle"`               // name of the type whose pieces are cycled
	Shape      string     `json:"shape,omitempty"`
	Axes       []string   `json:"axes,omitempty"` // that may be turned about; all where empty
	Protect    []string   `json:"protect,omitempty"`
	Ignore     []string   `json:"ignore,omitempty"`
	Core       string     `json:"core,omitempty"` // kept or free; empty where it does not matter
	Pins       []Pin      `json:"pins,omitempty"`
	Metric     string     `json:"metric"`
	Max        int        `json:"max"`
	Memory     int64      `json:"memory"` // bytes for tables

	Each  int `json:"each,omitempty"`  // sequences wanted for each class; 0 is 1
	Slack int `json:"slack,omitempty"` // turns that they may be longer than the shortest

	Before string `json:"before,omitempty"` // moves that findings are ranked between
	After  string `json:"after,omitempty"`

	Classes int   `json:"classes"` // in the goal, found or not
	Cycles  int64 `json:"cycles"`  // in all classes

	Work Work `json:"work,omitzero"` // what it was estimated to take

	// Wishes are those at first. The store keeps them with [Progress].
	Wishes Wishes `json:"wishes,omitzero"`
}

// Lengths is how many lengths the search has at most: one that stands for all where it
// has a structure, or shortens a solution.
func (s *Spec) Lengths() int {
	if s.Structure != nil || s.Study != nil {
		return 1
	}
	return s.Max
}

// ForCycles tells whether the search looks for cycles, by structure or not.
func (s *Spec) ForCycles() bool { return s.Position == nil && s.Study == nil }

// Position is what a search asks that wants one position solved. Spec.Pins and
// Spec.Ignore say where pieces are wanted; Spec.Each is how many solutions are.
type Position struct {
	Scramble string `json:"scramble"`
	ByColour bool   `json:"byColour,omitempty"`
	All      bool   `json:"all,omitempty"` // of the shortest solutions
}

// Structure is what a search asks that tries commutators alone: the greatest lengths of
// the parts X, Y and Z of [X, Y] and [[X, Y], Z], and of a setup; 0 for none.
type Structure struct {
	X     int `json:"x"`
	Y     int `json:"y"`
	Z     int `json:"z,omitempty"`
	Setup int `json:"setup,omitempty"`
}

// Study is what a search asks that shortens a solution.
type Study struct {
	Scramble string `json:"scramble"` // empty for that which the solution undoes
	Solution string `json:"solution"`
	Length   int    `json:"length"` // of the solution
	Units    int    `json:"units"`
	Leaves   uint64 `json:"leaves"` // that each unit looks up
	Seed     uint64 `json:"seed,omitempty"`
}

// Pin is a piece's wanted way, by the labels of the slots.
type Pin struct {
	From string `json:"from"`
	To   string `json:"to"`
}

// Search is a search as it is now.
type Search struct {
	Submission
	Progress
}

// Submission is the part of a search that never changes.
type Submission struct {
	Number  uint64    `json:"number"` // never used twice, rises with time
	ID      string    `json:"id"`     // the last part of its name in the API
	Spec    Spec      `json:"spec"`
	Owner   string    `json:"owner,omitempty"` // id of the member who asked; empty where that is not known
	Created time.Time `json:"created"`
}

// Progress is the part of a search that changes.
type Progress struct {
	State    State     `json:"state"`
	Started  time.Time `json:"started,omitzero"`
	Ended    time.Time `json:"ended,omitzero"`
	Error    string    `json:"error,omitempty"`
	Tables   *Tables   `json:"tables,omitempty"`
	Proven   int       `json:"proven"`   // all lengths from 1 to this one are complete
	Lengths  []Length  `json:"lengths"`  // those that were begun, from 1 on
	Findings int       `json:"findings"` // stored now
	Events   uint64    `json:"events"`   // number of the last event

	// The search, by its number, whose findings were copied, up to which of its events.
	AdoptedFrom uint64 `json:"adoptedFrom,omitempty"`
	Adopted     uint64 `json:"adopted,omitempty"`

	Wishes Wishes        `json:"wishes,omitzero"`
	Used   time.Duration `json:"used,omitempty"`   // of cores, by the units that are in
	Reason string        `json:"reason,omitempty"` // why it was cancelled, where it was not by a user
	Alarms []string      `json:"alarms,omitempty"` // what people must know; see [Store.RaiseAlarm]
}

// Tables says what the search uses and where it came from.
type Tables struct {
	Count   int           `json:"count"`
	Words   uint64        `json:"words"`
	Bytes   int64         `json:"bytes"`
	Elapsed time.Duration `json:"elapsed"`
	Cached  bool          `json:"cached"` // none had to be built

	// Of pattern tables only.
	Entries uint64  `json:"entries,omitempty"` // positions in them
	Mean    float64 `json:"mean,omitempty"`    // distance, of the table where it is greatest
	Bound   int     `json:"bound,omitempty"`   // no solution is shorter
}

// LengthPlan is what the engine says of a length before it is searched.
type LengthPlan struct {
	Length int    `json:"length"`
	Words  string `json:"words"`  // canonical words, decimal
	Leaves uint64 `json:"leaves"` // predicted for all units
	Units  int    `json:"units"`
	Open   bool   `json:"open,omitempty"` // how much the units cover is not predicted

	// Unproven is set where the units try only some sequences, of any length: then
	// Length is 1 and stands for all of them, and nothing is proven when they are in.
	Unproven bool `json:"unproven,omitempty"`
}

// Length is how far a length is.
type Length struct {
	LengthPlan
	Done    int    `json:"done"`            // units that are in
	Covered uint64 `json:"covered"`         // leaves of those units, nodes where it is open, pairs of parts where it is unproven
	Short   bool   `json:"short,omitempty"` // a unit ended early: the length is never complete
	Classes int    `json:"classes"`         // findings of this length
	Cycles  int64  `json:"cycles"`          // directed cycles in their classes
}

// Complete tells whether all units are in, none ended early, and they covered what
// was predicted, if that was.
func (l Length) Complete() bool {
	return l.Done == l.Units && !l.Short && (l.Open || l.Covered == l.Leaves)
}

// Unit is the report of one finished unit. Of each finding only what the engine
// found is read: revision, event and time are the store's.
type Unit struct {
	Length int
	Index  int
	Leaves uint64
	Short  bool // it ended early, as enough was found
	Found  []Finding

	Epoch  uint64        // of the lease under which it was done; 0 for none
	Worker string        // whose lease that was
	Took   time.Duration // of a core
}

// Finding is the best sequence known for one class of cycles, or the second
// best, and so on; or one solution of a position; or the shortest solution that a round of a
// study's units came to.
type Finding struct {
	ID    string `json:"id"`    // unique in the search, stays when a better sequence is found
	Class int    `json:"class"` // 1-based; 0 where classes are not numbered; the round, of a study
	Size  int64  `json:"size"`  // directed cycles in the class
	// Change is what the sequence does to the wanted type: from which slot to
	// which, as "from>to" for each piece. Of a study the round, in digits.
	Change string `json:"change"`
	Text   string `json:"text"` // the sequence
	Length int    `json:"length"`
	Axes   int    `json:"axes"` // distinct lines

	// Structure is how the sequence was made, where it was made of parts: expanded and
	// cancelled it is the sequence, up to a rotation of the whole. Of a study a word
	// that says what made it shorter.
	Structure string `json:"structure,omitempty"`

	// Place is among those of its class, where more than one is wanted: 2 for the
	// second best, and so on; 0 and 1 for the best. Each place is a finding of its
	// own, whose sequence only gets better.
	Place int `json:"place,omitempty"`

	Revision int       `json:"revision"` // from 1
	Event    uint64    `json:"event"`    // number of the event that brought it
	Found    time.Time `json:"found"`
}

// Request says who makes a mutating call and makes it repeatable: the first answer
// is kept under ID, in the transaction that has the effect. The zero Request keeps
// nothing and is of nobody in particular, who may do anything.
type Request struct {
	ID     string   // unique among the requests of one caller
	Digest [32]byte // of all that the request asks, the method included

	By    string // id of the caller: what it creates is theirs
	Only  bool   // the caller may change only what is theirs; else [ErrNotOwner]
	Quota int    // searches of the caller that may wait or work; any number where 0
}
