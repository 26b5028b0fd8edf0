package storage

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"reflect"
	"slices"
	"strings"

	"github.com/dgraph-io/badger/v4"
)

// search checks the findings of a search, the ways to them, its units, and what was
// counted along.
func (c *checker) search(txn *badger.Txn, number uint64) error {
	search, err := searchByNumber(txn, number)
	if errors.Is(err, ErrNotFound) {
		return nil // it was deleted meanwhile
	}
	if err != nil {
		return err
	}
	l := &ledger{at: "search " + search.ID, number: number, count: search.Progress, ids: map[string]bool{}, events: map[uint64]bool{}}
	l.count.Findings, l.count.Lengths = 0, slices.Clone(search.Lengths)
	for i := range l.count.Lengths {
		length := &l.count.Lengths[i]
		length.Done, length.Covered, length.Classes, length.Cycles = 0, 0, 0, 0
	}
	for _, part := range []func(*badger.Txn, *ledger) error{c.units, c.leases, c.findings, c.names, c.events} {
		if err := part(txn, l); err != nil {
			return err
		}
	}
	if l.unsure {
		return nil // what was counted along may be right
	}
	for i := range min(search.Proven, len(search.Lengths)) {
		// Where the search took over what an equal one found, the units of its
		// lengths are with that one.
		if was := search.Lengths[i]; search.AdoptedFrom != 0 && was.Complete() {
			l.count.Lengths[i].Done, l.count.Lengths[i].Covered = was.Done, was.Covered
		}
	}
	l.count.Proven = 0
	l.count.prove()
	if !reflect.DeepEqual(l.count, search.Progress) {
		data, err := json.Marshal(l.count)
		if err != nil {
			return err
		}
		c.problem(l.at, difference(search.Progress, l.count), fix{key: progressKey(number), value: data})
	}
	return nil
}

// ledger is what the records of a search add up to.
type ledger struct {
	at     string // the search, in words
	number uint64
	count  Progress
	ids    map[string]bool // of findings
	events map[uint64]bool
	unsure bool // there are records that can't be read
}

// units counts the units that are in.
func (c *checker) units(txn *badger.Txn, l *ledger) error {
	return scan(txn, be("u/", l.number), nil, true, func(item *badger.Item) (bool, error) {
		u, err := decode[unitRecord](item)
		if key := item.Key(); err != nil || len(key) != len(unitKey(0, 0, 0)) {
			c.problem(l.at, fmt.Sprintf("the unit at %q can't be read", key))
			l.unsure = true
			return true, nil
		}
		length, index := unitLength(item.Key()), unitIndex(item.Key())
		if length < 1 || length > len(l.count.Lengths) || index >= l.count.Lengths[length-1].Units {
			c.problem(fmt.Sprintf("%s, unit %d of length %d", l.at, index, length), "there is no such unit in the plan")
			return true, nil
		}
		l.count.Lengths[length-1].Done++
		l.count.Lengths[length-1].Covered += u.Leaves
		return true, nil
	})
}

// leases finds those of units that are done.
func (c *checker) leases(txn *badger.Txn, l *ledger) error {
	return scan(txn, be("l/", l.number), nil, false, func(item *badger.Item) (bool, error) {
		unit := append([]byte("u/"), item.Key()[len("l/"):]...)
		done, err := exists(txn, unit)
		if done {
			c.problem(fmt.Sprintf("%s, unit %d of length %d", l.at, unitIndex(unit), unitLength(unit)), "it is done and has a lease still", remove(item))
		}
		return true, err
	})
}

// findings checks each finding and the ways to it.
func (c *checker) findings(txn *badger.Txn, l *ledger) error {
	var again []Finding // whose event another finding has
	err := scan(txn, findingPrefix(l.number), nil, true, func(item *badger.Item) (bool, error) {
		key := item.KeyCopy(nil)
		f, err := decode[Finding](item)
		if err != nil || !bytes.Equal(findingKey(l.number, &f), key) {
			c.problem(l.at, fmt.Sprintf("the finding at %q can't be read, or is out of its place", key))
			l.unsure = true
			return true, nil
		}
		at := l.at + ", finding " + f.ID
		if l.ids[f.ID] {
			c.problem(at, "there is a better one of this name", remove(item))
			return true, nil
		}
		l.ids[f.ID] = true
		l.count.count(&f, +1)
		if err := c.holds(txn, findingIDKey(l.number, f.ID), key, at, "it is not found by its name"); err != nil {
			return false, err
		}
		if l.events[f.Event] {
			again = append(again, f)
			return true, nil
		}
		l.events[f.Event] = true
		l.count.Events = max(l.count.Events, f.Event)
		return true, c.holds(txn, eventKey(l.number, f.Event), key, at, "it is not found by its event")
	})
	for _, f := range again {
		l.count.Events++
		f.Event = l.count.Events
		l.events[f.Event] = true
		key := findingKey(l.number, &f)
		data, _ := json.Marshal(f) // it was read
		c.problem(l.at+", finding "+f.ID, "another finding has its event", fix{key: key, value: data}, fix{key: eventKey(l.number, f.Event), value: key})
	}
	return err
}

// names finds what leads to no finding in the index by name.
func (c *checker) names(txn *badger.Txn, l *ledger) error {
	prefix := findingIDKey(l.number, "")
	return scan(txn, prefix, nil, false, func(item *badger.Item) (bool, error) {
		if id := string(item.Key()[len(prefix):]); !l.ids[id] && !l.unsure {
			c.problem(l.at+", finding "+id, "the name leads nowhere", remove(item))
		}
		return true, nil
	})
}

// events finds what leads to no finding in the index by event.
func (c *checker) events(txn *badger.Txn, l *ledger) error {
	return scan(txn, eventPrefix(l.number), nil, false, func(item *badger.Item) (bool, error) {
		if event := eventOf(item.Key()); !l.events[event] && !l.unsure {
			c.problem(fmt.Sprintf("%s, event %d", l.at, event), "the event leads nowhere", remove(item))
		}
		return true, nil
	})
}

// difference says what of the progress is another.
func difference(is, should Progress) string {
	var out []string
	say := func(what string, is, should any) {
		if is != should {
			out = append(out, fmt.Sprintf("%s: counted as %v, are %v", what, is, should))
		}
	}
	say("findings", is.Findings, should.Findings)
	say("events", is.Events, should.Events)
	say("proven lengths", is.Proven, should.Proven)
	for i := range is.Lengths {
		l, m := is.Lengths[i], should.Lengths[i]
		say(fmt.Sprintf("length %d: units done", i+1), l.Done, m.Done)
		say(fmt.Sprintf("length %d: covered", i+1), l.Covered, m.Covered)
		say(fmt.Sprintf("length %d: classes", i+1), l.Classes, m.Classes)
		say(fmt.Sprintf("length %d: cycles", i+1), l.Cycles, m.Cycles)
	}
	return strings.Join(out, "; ")
}
