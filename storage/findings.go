package storage

import (
	"bytes"
	"cmp"
	"context"
	"errors"
	"fmt"
	"iter"
	"math"
	"slices"

	"github.com/dgraph-io/badger/v4"
)

// upsert stores those findings that are new or better ranked than the finding
// of the same id, gives each the next event number and says which they were.
// The rank is the key: a better finding has a smaller one. Of two ways to make the same
// sequence the shorter stays, so that the order in which they come does not matter.
func upsert(txn *badger.Txn, n uint64, p *Progress, found []Finding) ([]Finding, error) {
	var changed []Finding
	for _, f := range found {
		key := findingKey(n, &f)
		f.Revision, f.Found = 1, now()
		old, err := findingByID(txn, n, f.ID)
		switch {
		case err == nil:
			oldKey := findingKey(n, &old)
			order := cmp.Or(
				bytes.Compare(key, oldKey),
				cmp.Compare(len(f.Structure), len(old.Structure)), cmp.Compare(f.Structure, old.Structure),
			)
			if order >= 0 {
				continue
			}
			f.Revision = old.Revision + 1
			if err := errors.Join(txn.Delete(oldKey), txn.Delete(eventKey(n, old.Event))); err != nil {
				return nil, err
			}
			p.count(&old, -1)
		case !errors.Is(err, ErrNotFound):
			return nil, err
		}
		if fault("finding-dropped") && f.Class%50 == 1 {
			continue
		}
		p.count(&f, +1)
		if !fault("event-twice") || p.Findings%4 != 0 {
			p.Events++
		}
		f.Event = p.Events
		err = errors.Join(
			put(txn, key, f),
			txn.Set(findingIDKey(n, f.ID), key),
			txn.Set(eventKey(n, f.Event), key),
		)
		if err != nil {
			return nil, err
		}
		changed = append(changed, f)
	}
	return changed, nil
}

// placeAll stores findings of searches that want several for each class: it puts
// each in its place among those of its class, and moves those after it one on.
// The last falls out.
func placeAll(txn *badger.Txn, n uint64, p *Progress, spec Spec, found []Finding) ([]Finding, error) {
	var changed []Finding
	for _, f := range found {
		have, err := places(txn, n, f.ID, spec.Each)
		if err != nil {
			return nil, err
		}
		if len(have) > 0 && f.Length > have[0].Length+spec.Slack {
			continue
		}
		at, same := slices.BinarySearchFunc(have, f, compareRank)
		if same {
			continue
		}
		have = slices.Insert(have, at, f)
		for i := at; i < min(len(have), spec.Each); i++ {
			next := have[i]
			next.Place, next.ID = i+1, placeID(f.ID, i+1)
			c, err := upsert(txn, n, p, []Finding{next})
			if err != nil {
				return nil, err
			}
			changed = append(changed, c...)
		}
	}
	return changed, nil
}

// places gives the findings of a class, best first.
func places(txn *badger.Txn, n uint64, id string, each int) ([]Finding, error) {
	var out []Finding
	for place := 1; place <= each; place++ {
		f, err := findingByID(txn, n, placeID(id, place))
		if errors.Is(err, ErrNotFound) {
			break
		}
		if err != nil {
			return nil, err
		}
		out = append(out, f)
	}
	return out, nil
}

func placeID(id string, place int) string {
	if place == 1 {
		return id
	}
	return fmt.Sprintf("%s-%d", id, place)
}

// compareRank compares as the keys do, the ids aside.
func compareRank(a, b Finding) int {
	a.ID, b.ID = "", ""
	return bytes.Compare(findingKey(0, &a), findingKey(0, &b))
}

// count adds a finding to the numbers of its length or takes it off.
func (p *Progress) count(f *Finding, sign int) {
	p.Findings += sign
	if f.Place <= 1 && f.Length >= 1 && f.Length <= len(p.Lengths) {
		l := &p.Lengths[f.Length-1]
		l.Classes += sign
		l.Cycles += int64(sign) * f.Size
	}
}

func findingByID(txn *badger.Txn, n uint64, id string) (Finding, error) {
	return follow(txn, findingIDKey(n, id))
}

// follow gives the finding whose key is the value at key.
func follow(txn *badger.Txn, key []byte) (Finding, error) {
	item, err := txn.Get(key)
	if errors.Is(err, badger.ErrKeyNotFound) {
		return Finding{}, ErrNotFound
	}
	if err != nil {
		return Finding{}, err
	}
	target, err := item.ValueCopy(nil)
	if err != nil {
		return Finding{}, err
	}
	return get[Finding](txn, target)
}

// Finding gives one finding of a search.
func (s *Store) Finding(ctx context.Context, search, id string) (Finding, error) {
	var f Finding
	err := s.view(ctx, func(txn *badger.Txn) error {
		owner, err := searchByID(txn, search)
		if err != nil {
			return err
		}
		if f, err = findingByID(txn, owner.Number, id); err != nil {
			return fmt.Errorf("finding %q of search %q: %w", id, search, err)
		}
		return nil
	})
	return f, err
}

// Rank is the place of a finding among those of its search, as bytes that sort
// like the findings. It is only good for going on from it.
type Rank []byte

// Rank gives the finding's place.
func (f *Finding) Rank() Rank { return findingKey(0, f)[len(findingPrefix(0)):] }

// Ties is the place before all findings that have the same length and as many lines.
func (r Rank) Ties() Rank { return r[:min(len(r), tieSize)] }

// tieSize is how many bytes of a rank are length and lines.
const tieSize = 3

// FindingScan asks for a page of findings in rank order.
type FindingScan struct {
	After Rank   // those after this place; from the first where empty
	Until uint64 // only those that came with this event or before
	Limit int    // at most that many
}

// AnyEvent is the FindingScan.Until that asks for all findings.
const AnyEvent = math.MaxUint64

// Findings gives findings in rank order. While a search runs a finding can get
// a better place between two calls; with Until it then drops out of the scan,
// and [Store.Events] has it.
func (s *Store) Findings(ctx context.Context, search string, q FindingScan) ([]Finding, error) {
	var page []Finding
	err := s.view(ctx, func(txn *badger.Txn) error {
		owner, err := searchByID(txn, search)
		if err != nil {
			return err
		}
		prefix := findingPrefix(owner.Number)
		after := prefix
		if len(q.After) > 0 {
			after = append(findingPrefix(owner.Number), q.After...)
		}
		return scan(txn, prefix, after, true, func(item *badger.Item) (bool, error) {
			f, err := decode[Finding](item)
			if err == nil && f.Event <= q.Until {
				page = append(page, f)
			}
			return len(page) < q.Limit, err
		})
	})
	return page, err
}

// findingsAtOnce is how many findings AllFindings reads in one transaction.
const findingsAtOnce = 500

// AllFindings gives the findings of a search in rank order, read page by page from
// what is a Store or serves as one. An error ends it.
func AllFindings(ctx context.Context, s interface {
	Findings(ctx context.Context, search string, q FindingScan) ([]Finding, error)
}, search string) iter.Seq2[Finding, error] {
	return func(yield func(Finding, error) bool) {
		for q := (FindingScan{Until: AnyEvent, Limit: findingsAtOnce}); ; {
			page, err := s.Findings(ctx, search, q)
			if err != nil {
				yield(Finding{}, err)
				return
			}
			for _, f := range page {
				if !yield(f, nil) {
					return
				}
				q.After = f.Rank()
			}
			if len(page) < q.Limit {
				return
			}
		}
	}
}

// Events gives at most limit findings in the order in which they came: those
// that came after the event number after and were not replaced since.
func (s *Store) Events(ctx context.Context, search string, after uint64, limit int) ([]Finding, error) {
	var page []Finding
	err := s.view(ctx, func(txn *badger.Txn) error {
		owner, err := searchByID(txn, search)
		if err != nil {
			return err
		}
		prefix := eventPrefix(owner.Number)
		return scan(txn, prefix, eventKey(owner.Number, after), false, func(item *badger.Item) (bool, error) {
			f, err := follow(txn, item.KeyCopy(nil))
			page = append(page, f)
			return len(page) < limit, err
		})
	})
	return page, err
}
