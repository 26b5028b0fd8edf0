package storage

import (
	"slices"
	"time"
)

// RoundState is where a round is in its life:
//
//	create → ANNOUNCED ──→ OPEN ──→ CLOSED
//	             │           │
//	             └───────────┴────→ CALLED_OFF
//
// ANNOUNCED becomes OPEN, and OPEN becomes CLOSED, when it is time; an organiser may
// close an open round earlier, and call off one that is not over. Each move is stored, so
// a clock that jumps back undoes none.
type RoundState string

// The states.
const (
	RoundAnnounced RoundState = "ANNOUNCED"
	RoundOpen      RoundState = "OPEN"
	RoundClosed    RoundState = "CLOSED"
	RoundCalledOff RoundState = "CALLED_OFF"
)

// roundMoves is the only place that says which state follows which.
var roundMoves = map[RoundState][]RoundState{
	RoundAnnounced: {RoundOpen, RoundCalledOff},
	RoundOpen:      {RoundClosed, RoundCalledOff},
}

// Over tells whether nothing can follow.
func (s RoundState) Over() bool { return len(roundMoves[s]) == 0 }

// CanBecome tells whether next may follow.
func (s RoundState) CanBecome(next RoundState) bool { return slices.Contains(roundMoves[s], next) }

// Formats of a round.
const (
	FormatBest = "best"
	FormatMean = "mean"
)

// Bounds of what is kept.
const (
	MaxChanges = 100 // that organisers made to one round
	MaxCorrect = 20  // corrections of one entry
	MaxViews   = 100 // of one scramble by one member that are on record

	sheetSize  = 64 << 10 // bytes of a sheet while the round is not over, however much is in it
	secretSize = 32 << 10 // the same for seed and scrambles
	maxRepeats = 20       // requests by which an entry was handed in, that can be repeated
)

// Round is a competition, without what is sealed.
type Round struct {
	Number     uint64        `json:"number"` // never given twice
	ID         string        `json:"id"`
	Title      string        `json:"title,omitempty"`
	Puzzle     string        `json:"puzzle"`
	Definition string        `json:"definition"`
	Metric     string        `json:"metric"`
	Format     string        `json:"format"`
	Attempts   int           `json:"attempts"`
	Opens      time.Time     `json:"opens"`
	Closes     time.Time     `json:"closes"`
	Limit      time.Duration `json:"limit"`               // of an attempt
	MaxLength  int           `json:"maxLength,omitempty"` // in ETM; none where 0
	Notation   bool          `json:"notation,omitempty"`  // entries may have all that the notation has
	Members    []string      `json:"members,omitempty"`   // who may take part; everybody where none
	Owner      string        `json:"owner,omitempty"`     // who created it
	State      RoundState    `json:"state"`               //
	Opened     time.Time     `json:"opened,omitzero"`     // when the move was stored, by the server's clock
	Ended      time.Time     `json:"ended,omitzero"`      // the same
	Commitment string        `json:"commitment"`          // binds to the seed, and to the way
	Way        int           `json:"way,omitempty"`       // the number of how scrambles follow from the seed; 0 where that was not kept yet
	Method     string        `json:"method"`              // how the scrambles were made, in words
	Created    time.Time     `json:"created"`             //
	Changes    []RoundChange `json:"changes,omitempty"`   // since it opened
	Corrected  int           `json:"corrected,omitempty"` // how many corrections of entries there were
	Salt       []byte        `json:"salt"`                // the key follows from it and the seal
	Mark       []byte        `json:"mark"`                // tells whether a key is the right one
	Key        []byte        `json:"key,omitempty"`       // opens what was sealed; only once it has closed
}

// Shows is the one place that says who may see what somebody handed in: its author,
// and everybody once the round has closed.
func (r *Round) Shows(author, reader string) bool {
	return r.State == RoundClosed || reader != "" && author == reader
}

// Takes tells whether a member may take part.
func (r *Round) Takes(member string) bool {
	return len(r.Members) == 0 || slices.Contains(r.Members, member)
}

// RoundChange is what an organiser changed after the round opened.
type RoundChange struct {
	Time   time.Time `json:"time"`
	Member string    `json:"member"`
	Change string    `json:"change"` // for people
	Reason string    `json:"reason"`
}

// RoundSecret is what nobody may know of a round before its time.
type RoundSecret struct {
	Seed      string   `json:"seed"` // hexadecimal digits
	Scrambles []string `json:"scrambles"`
}

// Sheet is what is kept of one attempt of one member. It comes with the first look at
// the scramble, and is written anew with each look and each entry.
type Sheet struct {
	Member  string    `json:"member"`
	Attempt int       `json:"attempt"` // from 1
	Shown   time.Time `json:"shown"`   // when the scramble was shown first
	Views   int       `json:"views"`   // how often it was shown

	Entry   *Entry      `json:"entry,omitempty"` // nil where nothing was handed in
	Repeats []handingIn `json:"repeats,omitempty"`
}

// handingIn is a request by which an entry was handed in. It is kept here, and not
// where other requests are: there it would tell that there is an entry.
type handingIn struct {
	ID       string    `json:"id"`
	Digest   [32]byte  `json:"digest"`
	Revision int       `json:"revision"`
	Time     time.Time `json:"time"`
}

// Entry is what a member handed in last for an attempt.
type Entry struct {
	Solution    []byte       `json:"solution"`
	Explanation []byte       `json:"explanation,omitempty"`
	Verdict     Verdict      `json:"verdict"`
	Updated     time.Time    `json:"updated"`
	Revision    int          `json:"revision"` // from 1
	Corrections []Correction `json:"corrections,omitempty"`
}

// Verdict is what an entry counts for.
type Verdict struct {
	Length   int            `json:"length"`            // 0 with DNF
	Lengths  map[string]int `json:"lengths,omitempty"` // by metric
	DNF      *DNF           `json:"dnf,omitempty"`
	Warnings []string       `json:"warnings,omitempty"`
}

// DNF says why an entry is no result.
type DNF struct {
	Reason string       `json:"reason"` // a name of the API's enum
	Rule   string       `json:"rule,omitempty"`
	Text   string       `json:"text"`
	Line   int          `json:"line,omitempty"`
	Column int          `json:"column,omitempty"`
	Left   []PiecesLeft `json:"left,omitempty"`
}

// PiecesLeft are pieces of a type that are not solved.
type PiecesLeft struct {
	Type   string   `json:"type"`
	Count  int      `json:"count"`
	Places []string `json:"places,omitempty"`
}

// Correction is what an organiser made of an entry.
type Correction struct {
	Time     time.Time `json:"time"`
	Member   string    `json:"member"`
	Reason   string    `json:"reason"`
	Solution string    `json:"solution,omitempty"` // what was judged in the place of what was handed in
	Before   Verdict   `json:"before"`
}

// View says that somebody was shown a scramble.
type View struct {
	Number  uint64    `json:"number"` // in its round, from 1
	Time    time.Time `json:"time"`
	Member  string    `json:"member"`
	Attempt int       `json:"attempt"`
	First   bool      `json:"first,omitempty"` // it started the clock
}
