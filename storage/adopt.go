package storage

import (
	"context"
	"crypto/sha256"
	"encoding/json"
	"errors"
	"slices"

	"github.com/dgraph-io/badger/v4"
)

// Question is a key for what a spec asks: equal questions have equal answers. When
// and how long the owner wants it done does not count, nor what memory it may take, unless what
// is found depends on it, as that of a study does; nor the moves before and after, which rank
// the findings.
func (s Spec) Question() [16]byte {
	s.Wishes, s.Work, s.Before, s.After = Wishes{}, Work{}, "", ""
	if s.Study == nil {
		s.Memory = 0
	}
	text, _ := json.Marshal(s) // plain fields can always be encoded
	sum := sha256.Sum256(text)
	return [16]byte(sum[:])
}

const prefixQuestion = "q/"

func questionPrefix(s Spec) []byte {
	q := s.Question()
	return append([]byte(prefixQuestion), q[:]...)
}

func questionKey(s Spec, number uint64) []byte {
	return append(questionPrefix(s), be("", number)...)
}

// EqualSearches gives other searches that ask the same as the one of that id, the
// oldest first, and none after one that is done: nobody needs more.
func (s *Store) EqualSearches(ctx context.Context, id string) ([]Search, error) {
	var out []Search
	err := s.view(ctx, func(txn *badger.Txn) error {
		search, err := searchByID(txn, id)
		if err != nil {
			return err
		}
		prefix := questionPrefix(search.Spec)
		return scan(txn, prefix, nil, false, func(item *badger.Item) (bool, error) {
			number := numberOf(item.Key()[len(prefix)-2:])
			if number == search.Number {
				return true, nil
			}
			equal, err := searchByNumber(txn, number)
			if errors.Is(err, ErrNotFound) { // being deleted
				return true, nil
			}
			out = append(out, equal)
			return equal.State != Done && len(out) < 100, err
		})
	})
	return out, err
}

// Sizes of one step of Adopt.
const (
	adoptedEvents = 200
	adoptedUnits  = 4000
)

// Adopt copies to a search what an equal one has found and proved by now, as far as
// that is not there. Lengths come whole, but for the one that the other was at: its
// units come if it has ended, or is paused, they are few enough, and tables are alike. It may be called again
// as the other goes on. The search must not have ended; it gives it as it is then.
func (s *Store) Adopt(ctx context.Context, id, from string) (Search, error) {
	for {
		var search Search
		more := false
		err := s.update(ctx, growth, func(txn *badger.Txn) (err error) {
			search, more, err = adopt(txn, id, from)
			return err
		})
		if err != nil || !more {
			return search, err
		}
	}
}

func adopt(txn *badger.Txn, id, from string) (to Search, more bool, err error) {
	if to, err = searchByID(txn, id); err != nil {
		return to, false, err
	}
	source, err := searchByID(txn, from)
	if err != nil {
		return to, false, err
	}
	if to.State.Ended() {
		return to, false, &StateError{Search: id, Is: to.State, Wanted: "adopt findings"}
	}
	if to.Spec.Question() != source.Spec.Question() {
		return to, false, errors.New("searches that ask different questions have nothing to share")
	}
	p := &to.Progress
	if p.AdoptedFrom != source.Number {
		p.AdoptedFrom, p.Adopted = source.Number, 0
	}
	var found []Finding
	err = scan(txn, eventPrefix(source.Number), eventKey(source.Number, p.Adopted), false, func(item *badger.Item) (bool, error) {
		f, err := follow(txn, item.KeyCopy(nil))
		if err == nil {
			p.Adopted = f.Event
			found = append(found, f)
		}
		return len(found) < adoptedEvents, err
	})
	if err != nil {
		return to, false, err
	}
	if _, err := upsert(txn, to.Number, p, found); err != nil {
		return to, false, err
	}
	if more = len(found) == adoptedEvents; !more {
		if err := adoptLengths(txn, &to, source); err != nil {
			return to, false, err
		}
	}
	return to, more, put(txn, progressKey(to.Number), p)
}

// adoptLengths copies the lengths that the other has proven and, where it does not go
// on, what is done of the next.
func adoptLengths(txn *badger.Txn, to *Search, source Search) error {
	p := &to.Progress
	if source.Proven > p.Proven {
		p.Lengths = append(slices.Clone(source.Lengths[:source.Proven]), p.Lengths[min(source.Proven, len(p.Lengths)):]...)
		p.prove()
	}
	resting := source.State.Ended() || source.State == Paused
	if !resting || source.Proven != p.Proven || len(source.Lengths) == source.Proven || len(p.Lengths) > p.Proven {
		return nil
	}
	next := source.Lengths[source.Proven]
	if next.Done > adoptedUnits || to.Spec.Memory != source.Spec.Memory { // other tables, other units
		return nil
	}
	p.Lengths = append(p.Lengths, next)
	return scan(txn, unitPrefix(source.Number, next.Length), nil, true, func(item *badger.Item) (bool, error) {
		record, err := decode[unitRecord](item)
		if err != nil {
			return false, err
		}
		return true, put(txn, unitKey(to.Number, next.Length, unitIndex(item.Key())), record)
	})
}
