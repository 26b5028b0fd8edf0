package torture

import (
	"errors"
	"fmt"
	"maps"
	"slices"
)

// What can be wrong with a history.
var (
	ErrSubmissionLost  = errors.New("a search that was acknowledged is not there")
	ErrSubmissionTwice = errors.New("one request made two searches, or two made one")
	ErrNotDone         = errors.New("the search did not come to its end")
	ErrFindingLost     = errors.New("a finding that a client got is not there in the end, or was better then")
	ErrFindingMissed   = errors.New("a client never got a finding that is there in the end")
	ErrFindingTwice    = errors.New("a client got a revision of a finding twice")
	ErrFindingChanged  = errors.New("a revision of a finding is not the same everywhere")
	ErrUnitTwice       = errors.New("a unit was counted twice")
	ErrUnitLost        = errors.New("a unit that was done is not counted")
	ErrProofLost       = errors.New("a length that was proven is not any more")
	ErrOrder           = errors.New("events came in an order that makes no sense")
	ErrCutShort        = errors.New("a stream ended before its search did")
	ErrSummaryDiffers  = errors.New("something else came of the search than of one that nobody disturbed")
	ErrAlarm           = errors.New("the service raised an alarm")
	ErrStore           = errors.New("the store is not sound")
)

// Check tells everything that is wrong with a history; nothing if it is as it should
// be. Each error is one of the above, with what it is about.
func Check(h History) []error {
	c := &checker{}
	c.submissions(h)
	for _, fault := range h.Faults {
		c.wrong(ErrStore, "%s", fault)
	}
	for _, s := range h.Searches {
		c.search(s)
	}
	return c.errs
}

type checker struct{ errs []error }

func (c *checker) wrong(err error, format string, args ...any) {
	c.errs = append(c.errs, fmt.Errorf("%w: %s", err, fmt.Sprintf(format, args...)))
}

func (c *checker) submissions(h History) {
	by := map[string]string{} // which request made it
	for _, s := range h.Submissions {
		for _, name := range s.Names {
			if name != s.Names[0] {
				c.wrong(ErrSubmissionTwice, "request %s made %s and %s", s.Request, s.Names[0], name)
			}
			if other, ok := by[name]; ok && other != s.Request {
				c.wrong(ErrSubmissionTwice, "requests %s and %s made %s", other, s.Request, name)
			}
			by[name] = s.Request
			if !slices.Contains(h.Kept, name) {
				c.wrong(ErrSubmissionLost, "%s", name)
			}
		}
	}
	for _, name := range h.Kept {
		if _, ok := by[name]; !ok {
			c.wrong(ErrSubmissionTwice, "%s is there, and no acknowledgement says so", name)
		}
	}
}

func (c *checker) search(s Search) {
	end := s.End
	if end.State != Done {
		c.wrong(ErrNotDone, "%s is %s", s.Name, end.State)
	}
	for _, alarm := range end.Alarms {
		c.wrong(ErrAlarm, "%s: %s", s.Name, alarm)
	}
	for i := 1; i < len(end.Findings); i++ {
		if end.Findings[i].Length < end.Findings[i-1].Length {
			c.wrong(ErrOrder, "%s lists %s after %s", s.Name, end.Findings[i].Name, end.Findings[i-1].Name)
		}
	}
	c.stored(s)
	c.compare(s)
	seen := map[revision]Finding{}
	for _, f := range end.Findings {
		seen[revision{f.Name, f.Revision}] = f
	}
	for _, client := range s.Clients {
		c.client(s, client, seen)
	}
}

// revision names a revision of a finding.
type revision struct {
	name   string
	number int
}

// stored holds the counters of the store against its records of units.
func (c *checker) stored(s Search) {
	for _, l := range s.Stored {
		at := fmt.Sprintf("%s, length %d", s.Name, l.Length)
		wanted := !l.Open || l.Length <= s.End.Proven // of other lengths not all units need be done
		switch {
		case l.Done > l.Records || l.Done > l.Units:
			c.wrong(ErrUnitTwice, "%s: %d units are counted, %d are done, of %d", at, l.Done, l.Records, l.Units)
		case l.Done < l.Records || wanted && l.Done < l.Units:
			c.wrong(ErrUnitLost, "%s: %d units are counted, %d are done, of %d", at, l.Done, l.Records, l.Units)
		case !l.Open && l.Covered > l.Leaves:
			c.wrong(ErrUnitTwice, "%s: %d leaves were covered, there are %d", at, l.Covered, l.Leaves)
		case !l.Open && l.Covered < l.Leaves:
			c.wrong(ErrUnitLost, "%s: %d leaves were covered, there are %d", at, l.Covered, l.Leaves)
		case l.Length <= s.End.Proven && !l.Complete:
			c.wrong(ErrStore, "%s is proven, and not complete", at)
		}
	}
}

// compare holds a search against the one that nobody disturbed. Revisions may differ:
// which of two sequences was found first is up to the workers.
func (c *checker) compare(s Search) {
	is, was := s.End, s.Calm
	if is.Proven != was.Proven || is.Nodes != was.Nodes {
		c.wrong(ErrSummaryDiffers, "%s: proven to %d with %d nodes, undisturbed to %d with %d", s.Name, is.Proven, is.Nodes, was.Proven, was.Nodes)
	}
	for i := range max(len(is.Lengths), len(was.Lengths)) {
		if a, b := at(is.Lengths, i), at(was.Lengths, i); a != b {
			c.wrong(ErrSummaryDiffers, "%s: %+v, undisturbed %+v", s.Name, a, b)
		}
	}
	for i := range max(len(is.Findings), len(was.Findings)) {
		a, b := at(is.Findings, i), at(was.Findings, i)
		a.Revision, b.Revision = 0, 0
		if a != b {
			c.wrong(ErrSummaryDiffers, "%s: finding %d is %+v, undisturbed %+v", s.Name, i+1, a, b)
			return // the others are most likely shifted
		}
	}
}

func at[T any](list []T, i int) (v T) {
	if i < len(list) {
		v = list[i]
	}
	return v
}

// client goes through what one client got. seen are the revisions that anyone got.
func (c *checker) client(s Search, client Client, seen map[revision]Finding) {
	who := fmt.Sprintf("%s, client %s", s.Name, client.Name)
	got := map[string]Finding{} // the last revision of each
	units := map[int]int{}      // done, by length
	var last State
	for _, e := range client.Events {
		if last.Ended {
			c.wrong(ErrOrder, "%s: something came after the end", who)
			break
		}
		switch {
		case e.Finding != nil:
			c.finding(who, *e.Finding, got, seen)
		case e.State != nil:
			if e.State.Proven < last.Proven {
				c.wrong(ErrProofLost, "%s: proven to %d, before to %d", who, e.State.Proven, last.Proven)
			}
			if e.State.Units < units[e.State.Length] {
				c.wrong(ErrUnitLost, "%s: %d units of length %d, before %d", who, e.State.Units, e.State.Length, units[e.State.Length])
			}
			last, units[e.State.Length] = *e.State, e.State.Units
		}
	}
	if !last.Ended {
		c.wrong(ErrCutShort, "%s: the last state is %q", who, last.State)
	}
	if s.End.Proven < last.Proven {
		c.wrong(ErrProofLost, "%s: proven to %d, in the end to %d", who, last.Proven, s.End.Proven)
	}
	there := map[string]Finding{}
	for _, f := range s.End.Findings {
		there[f.Name] = f
		if got[f.Name].Revision != f.Revision {
			c.wrong(ErrFindingMissed, "%s: revision %d of %s", who, f.Revision, f.Name)
		}
	}
	for _, name := range slices.Sorted(maps.Keys(got)) {
		was := got[name]
		if is, ok := there[name]; !ok || is.Revision < was.Revision || is.Length > was.Length {
			c.wrong(ErrFindingLost, "%s: revision %d of %s, %q", who, was.Revision, name, was.Sequence)
		}
	}
}

func (c *checker) finding(who string, f Finding, got map[string]Finding, seen map[revision]Finding) {
	was, again := got[f.Name]
	switch {
	case again && f.Revision == was.Revision:
		c.wrong(ErrFindingTwice, "%s: revision %d of %s", who, f.Revision, f.Name)
	case again && f.Revision < was.Revision:
		c.wrong(ErrOrder, "%s: revision %d of %s after revision %d", who, f.Revision, f.Name, was.Revision)
	case again && f.Length > was.Length:
		c.wrong(ErrOrder, "%s: revision %d of %s is longer than revision %d", who, f.Revision, f.Name, was.Revision)
	}
	key := revision{f.Name, f.Revision}
	if same, ok := seen[key]; ok && same != f {
		c.wrong(ErrFindingChanged, "%s: revision %d of %s is %q, elsewhere %q", who, f.Revision, f.Name, f.Sequence, same.Sequence)
	}
	seen[key], got[f.Name] = f, f
}
