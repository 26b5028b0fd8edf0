package storage

import (
	"context"
	"crypto/sha256"
	"encoding/json"
	"errors"
	"fmt"
	"slices"

	"github.com/dgraph-io/badger/v4"
)

// BeginLength says that the units of a length will be reported. A length with
// no units is complete at once. Begun again with the same plan nothing changes;
// with another plan it is [ErrPlanChanged]. Lengths begin in order, from 1.
func (s *Store) BeginLength(ctx context.Context, id string, plan LengthPlan) (Search, error) {
	var search Search
	err := s.update(ctx, growth, func(txn *badger.Txn) (err error) {
		search, err = beginLength(txn, id, plan)
		return err
	})
	return search, err
}

func beginLength(txn *badger.Txn, id string, plan LengthPlan) (Search, error) {
	search, err := searchByID(txn, id)
	if err != nil {
		return search, err
	}
	if search.State != Running {
		return search, &StateError{Search: id, Is: search.State, Wanted: "begin a length"}
	}
	p := &search.Progress
	switch n := len(p.Lengths); {
	case plan.Length >= 1 && plan.Length <= n:
		if old := p.Lengths[plan.Length-1].LengthPlan; old != plan {
			return search, fmt.Errorf("%w: %+v, was %+v", ErrPlanChanged, plan, old)
		}
		return search, nil
	case plan.Length != n+1 || plan.Units < 0:
		return search, fmt.Errorf("length %d with %d units can't follow length %d", plan.Length, plan.Units, n)
	}
	length := Length{LengthPlan: plan}
	// A shorter length may have brought findings of this one.
	ahead := append(findingPrefix(search.Number), byte(plan.Length>>8), byte(plan.Length))
	err = scan(txn, ahead, nil, true, func(item *badger.Item) (bool, error) {
		f, err := decode[Finding](item)
		if f.Place <= 1 {
			length.Classes++
			length.Cycles += f.Size
		}
		return true, err
	})
	if err != nil {
		return search, err
	}
	p.Lengths = append(p.Lengths, length)
	p.prove()
	return search, put(txn, progressKey(search.Number), p)
}

// prove counts the lengths that are complete, and prove anything, without a gap.
func (p *Progress) prove() {
	for p.Proven < len(p.Lengths) && p.Lengths[p.Proven].Complete() && !p.Lengths[p.Proven].Unproven {
		p.Proven++
	}
}

// unitRecord is what is kept of a unit: enough to tell whether a second report
// says the same.
type unitRecord struct {
	Leaves uint64 `json:"leaves"`
	Found  string `json:"found"` // digest of the findings
}

// Committed tells what a report changed.
type Committed struct {
	Repeated bool      // the unit was in already: nothing changed
	Changed  []Finding // new or better ranked than what was there, as stored
	Search   Search    // as it is now
}

// CommitUnit stores a finished unit, its findings and, where it was the last one
// of its length, the proof, in one transaction. The same report again changes
// nothing; another report of the same unit is [ErrUnitMismatch]. A report under
// an epoch that is not that of the last grant, or of another worker than has it, is
// [ErrStale], unless the unit is done.
//
// Findings that are too many for one transaction go ahead in transactions of
// their own. That is sound, for each is true by itself: where the process dies
// in between, the unit is not done, and its repetition finds them in place.
func (s *Store) CommitUnit(ctx context.Context, id string, u Unit) (Committed, error) {
	for i := range u.Found {
		if err := checkFinding(&u.Found[i]); err != nil {
			return Committed{}, err
		}
	}
	var all Committed
	most := 256 << 10 // bytes in one transaction
	if search, err := s.Search(ctx, id); err == nil && search.Spec.Each > 1 {
		most /= search.Spec.Each // each finding can move those of its class that come after it
	}
	record := unitRecord{Leaves: u.Leaves, Found: digest(u.Found)}
	for rest := u.Found; ; {
		var batch []Finding
		batch, rest = cut(rest, most)
		var c Committed
		err := s.update(ctx, growth, func(txn *badger.Txn) (err error) {
			c, err = commitPart(txn, id, u, batch, record, len(rest) == 0)
			return err
		})
		if err != nil {
			return all, fmt.Errorf("unit %d of length %d: %w", u.Index, u.Length, err)
		}
		all = Committed{c.Repeated, append(all.Changed, c.Changed...), c.Search}
		if len(rest) == 0 || c.Repeated {
			return all, nil
		}
	}
}

// cut takes what one transaction holds with room to spare off the front. A
// finding is written three times with its text as a key.
func cut(found []Finding, most int) (batch, rest []Finding) {
	size := 0
	for i, f := range found {
		if size += len(f.Text) + len(f.Structure) + 128; size > most {
			return found[:i], found[i:]
		}
	}
	return found, nil
}

func commitPart(txn *badger.Txn, id string, u Unit, found []Finding, record unitRecord, last bool) (Committed, error) {
	search, err := searchByID(txn, id)
	if err != nil {
		return Committed{}, err
	}
	if u.Epoch != 0 && !search.Granted(u.Epoch) {
		return Committed{}, ErrStale
	}
	key := unitKey(search.Number, u.Length, u.Index)
	old, err := get[unitRecord](txn, key)
	switch {
	case err == nil && old != record:
		return Committed{}, fmt.Errorf("%w: %d leaves, before %d", ErrUnitMismatch, record.Leaves, old.Leaves)
	case err == nil:
		return Committed{Repeated: true, Search: search}, nil
	case !errors.Is(err, ErrNotFound):
		return Committed{}, err
	}
	lease := leaseKey(search.Number, u.Length, u.Index)
	if u.Epoch != 0 {
		if l, err := get[Lease](txn, lease); err != nil && !errors.Is(err, ErrNotFound) {
			return Committed{}, err
		} else if l.Epoch != u.Epoch || l.Worker != "" && l.Worker != u.Worker {
			return Committed{}, ErrStale
		}
	}
	p := &search.Progress
	if !p.State.takesUnits() {
		return Committed{}, &StateError{Search: id, Is: p.State, Wanted: "store a unit"}
	}
	if u.Length < 1 || u.Length > len(p.Lengths) || u.Index < 0 || u.Index >= p.Lengths[u.Length-1].Units {
		return Committed{}, errors.New("there is no such unit in the plan")
	}
	if u.Length <= p.Proven { // of another search, which asked the same: its units are not here
		return Committed{Repeated: true, Search: search}, nil
	}
	var changed []Finding
	if search.Spec.Each > 1 {
		changed, err = placeAll(txn, search.Number, p, search.Spec, found)
	} else {
		changed, err = upsert(txn, search.Number, p, found)
	}
	if err != nil {
		return Committed{}, err
	}
	if last {
		l := &p.Lengths[u.Length-1]
		l.Done++
		l.Covered += u.Leaves
		if fault("unit-twice") && uint32(u.Epoch) > 1 { // it was given out more than once
			l.Done, l.Covered = l.Done+1, l.Covered+u.Leaves
		}
		l.Short = l.Short || u.Short
		p.Used += u.Took
		p.prove()
		if err := errors.Join(put(txn, key, record), txn.Delete(lease)); err != nil {
			return Committed{}, err
		}
	}
	return Committed{Changed: changed, Search: search}, put(txn, progressKey(search.Number), p)
}

// digest does not depend on the order of the findings.
func digest(found []Finding) string {
	lines := make([]string, len(found))
	for i, f := range found {
		f.Revision, f.Event = 0, 0
		line, _ := json.Marshal(struct { // plain fields can always be encoded
			ID     string
			Class  int
			Size   int64
			Change string
			Text   string
			Length int
			Axes   int

			Structure string `json:",omitempty"`
		}{f.ID, f.Class, f.Size, f.Change, f.Text, f.Length, f.Axes, f.Structure})
		lines[i] = string(line)
	}
	slices.Sort(lines)
	h := sha256.New()
	for _, line := range lines {
		fmt.Fprintln(h, line)
	}
	return fmt.Sprintf("%x", h.Sum(nil)[:16])
}

// DoneUnits tells which units of a length are in, by index.
func (s *Store) DoneUnits(ctx context.Context, id string, length int) (map[int]bool, error) {
	done := map[int]bool{}
	err := s.view(ctx, func(txn *badger.Txn) error {
		search, err := searchByID(txn, id)
		if err != nil {
			return err
		}
		return scan(txn, unitPrefix(search.Number, length), nil, false, func(item *badger.Item) (bool, error) {
			done[unitIndex(item.Key())] = true
			return true, nil
		})
	})
	return done, err
}
