package storage

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"reflect"
	"slices"
	"strings"

	"github.com/dgraph-io/badger/v4"
)

// Problem is something that is not as it should be.
type Problem struct {
	At       string // which record, in words: "search night, finding c12"
	What     string // what is wrong with it
	Repaired bool
}

// Check holds everything that follows from other records against these: indexes,
// counters, and the digests of tables. It tells each problem. With repair it
// writes again what follows from others, and drops damaged tables; what only a
// backup could bring back it leaves as it is. It looks at each search at one
// moment, so work may go on meanwhile, but not with repair.
//
// What findings say is for those to check who know what it means.
func (s *Store) Check(ctx context.Context, repair bool, tell func(Problem) error) error {
	c := &checker{s: s, ctx: ctx, repair: repair, tell: tell}
	if repair {
		if err := s.sweep(ctx); err != nil { // what is deleted needs no repair
			return err
		}
	}
	for _, part := range []func(*badger.Txn) error{c.searches, c.owners, c.puzzles, c.tokens, c.strays} {
		if err := c.in(part); err != nil {
			return err
		}
	}
	if repair {
		if err := s.sweep(ctx); err != nil { // the strays
			return err
		}
	}
	for _, number := range c.sound {
		if err := c.in(func(txn *badger.Txn) error { return c.search(txn, number) }); err != nil {
			return err
		}
	}
	return c.tables()
}

// checker gathers what is wrong in one transaction, writes what mends it in others,
// and tells it.
type checker struct {
	s      *Store
	ctx    context.Context
	repair bool
	tell   func(Problem) error
	sound  []uint64 // searches whose own records can be read

	found []Problem // in the part that is looked at
	fixes []fix
}

// fix is a record to write or remove.
type fix struct {
	key, value []byte
	remove     bool
}

func (c *checker) in(part func(*badger.Txn) error) error {
	c.found, c.fixes = nil, nil
	if err := c.s.view(c.ctx, part); err != nil {
		return err
	}
	if c.repair {
		for batch := range slices.Chunk(c.fixes, sweepBatch) {
			if err := c.s.update(c.ctx, release, func(txn *badger.Txn) error { return apply(txn, batch) }); err != nil {
				return fmt.Errorf("repair: %w", err)
			}
		}
	}
	for _, p := range c.found {
		p.Repaired = p.Repaired && c.repair
		if err := c.tell(p); err != nil {
			return err
		}
	}
	return nil
}

func apply(txn *badger.Txn, fixes []fix) error {
	for _, f := range fixes {
		var err error
		if f.remove {
			err = txn.Delete(f.key)
		} else {
			err = txn.Set(f.key, f.value)
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// problem notes what is wrong, and what mends it, if anything does.
func (c *checker) problem(at, what string, fixes ...fix) {
	c.found = append(c.found, Problem{At: at, What: what, Repaired: len(fixes) > 0})
	c.fixes = append(c.fixes, fixes...)
}

func remove(item *badger.Item) fix { return fix{key: item.KeyCopy(nil), remove: true} }

// follows checks a record whose value follows from others.
func (c *checker) follows(txn *badger.Txn, key []byte, want any, at, what string) error {
	data, err := json.Marshal(want)
	if err != nil {
		return err
	}
	return c.holds(txn, key, data, at, what)
}

// holds checks the value of a key.
func (c *checker) holds(txn *badger.Txn, key, want []byte, at, what string) error {
	item, err := txn.Get(key)
	if errors.Is(err, badger.ErrKeyNotFound) {
		c.problem(at, what, fix{key: key, value: want})
		return nil
	}
	if err != nil {
		return err
	}
	return item.Value(func(got []byte) error {
		if !bytes.Equal(got, want) {
			c.problem(at, what, fix{key: key, value: want})
		}
		return nil
	})
}

// searches checks what the lists of searches are made from.
func (c *checker) searches(txn *badger.Txn) error {
	numbers := map[string]uint64{} // by id
	ended := map[uint64]bool{}     // of those whose progress is known
	unsure := map[uint64]bool{}    // the others
	questions := map[string]bool{} // keys of what they ask
	last := uint64(0)
	err := scan(txn, []byte(prefixSearch), nil, true, func(item *badger.Item) (bool, error) {
		number := ^numberOf(item.Key())
		last = max(last, number)
		sub, err := decode[Submission](item)
		if err != nil || sub.Number != number {
			c.problem(fmt.Sprintf("search number %d", number), "its record can't be read")
			unsure[number] = true
			return true, nil
		}
		at := "search " + sub.ID
		if later, twice := numbers[sub.ID]; twice {
			c.problem(at, fmt.Sprintf("number %d has the same name as number %d", number, later))
			unsure[number] = true
			return true, nil
		}
		numbers[sub.ID] = number
		if err := c.follows(txn, searchIDKey(sub.ID), number, at, "it is not found by its name"); err != nil {
			return false, err
		}
		questions[string(questionKey(sub.Spec, number))] = true
		if err := c.holds(txn, questionKey(sub.Spec, number), []byte{}, at, "it is not found by what it asks"); err != nil {
			return false, err
		}
		progress, err := get[Progress](txn, progressKey(number))
		if err != nil {
			c.problem(at, "its progress is missing or can't be read")
			unsure[number] = true
			return true, nil
		}
		c.sound = append(c.sound, number)
		ended[number] = progress.State.Ended()
		if !ended[number] {
			return true, c.holds(txn, activeKey(number), []byte{}, at, "it is not listed among those that have not ended")
		}
		return true, nil
	})
	if err != nil {
		return err
	}
	err = scan(txn, []byte(prefixQuestion), nil, false, func(item *badger.Item) (bool, error) {
		if !questions[string(item.Key())] && len(unsure) == 0 {
			c.problem(fmt.Sprintf("question %x", item.Key()[len(prefixQuestion):]), "it leads nowhere", remove(item))
		}
		return true, nil
	})
	if err != nil {
		return err
	}
	err = scan(txn, []byte("n/"), nil, false, func(item *badger.Item) (bool, error) {
		if id := string(item.Key()[2:]); numbers[id] == 0 && len(unsure) == 0 {
			c.problem("search "+id, "the name leads nowhere", remove(item))
		}
		return true, nil
	})
	if err != nil {
		return err
	}
	active := 0
	for _, end := range ended {
		if !end {
			active++
		}
	}
	err = scan(txn, []byte(prefixActive), nil, false, func(item *badger.Item) (bool, error) {
		number := numberOf(item.Key())
		last = max(last, number)
		if end, known := ended[number]; !unsure[number] && (end || !known) {
			c.problem(fmt.Sprintf("search number %d", number), "it is listed among those that have not ended, but it has, or is not there", remove(item))
		}
		return true, nil
	})
	if err != nil {
		return err
	}
	err = scan(txn, []byte(prefixDeleted), nil, false, func(item *badger.Item) (bool, error) {
		last = max(last, numberOf(item.Key()))
		return true, nil
	})
	if err != nil {
		return err
	}
	if next, err := get[uint64](txn, []byte(keyNext)); err != nil || next <= last {
		err := c.follows(txn, []byte(keyNext), last+1, "the number of the next search", "it was given already, or can't be read")
		if err != nil {
			return err
		}
	}
	if len(unsure) > 0 {
		return nil
	}
	return c.follows(txn, []byte(keyActive), active, "the number of searches that have not ended", fmt.Sprintf("it is not %d", active))
}

// puzzles checks the names of puzzles.
func (c *checker) puzzles(txn *badger.Txn) error {
	owner := map[string]string{}
	err := scan(txn, []byte(prefixPuzzle), nil, true, func(item *badger.Item) (bool, error) {
		p, err := decode[Puzzle](item)
		if err != nil || string(puzzleKey(p.Name)) != string(item.Key()) {
			c.problem("puzzle "+string(item.Key()[2:]), "its record can't be read")
			return true, nil
		}
		for _, name := range append(p.Aliases, p.Name) {
			owner[name] = p.Name
			if err := c.follows(txn, puzzleNameKey(name), p.Name, "puzzle "+p.Name, fmt.Sprintf("it is not found by the name %q", name)); err != nil {
				return false, err
			}
		}
		return true, nil
	})
	if err != nil {
		return err
	}
	return scan(txn, []byte("y/"), nil, false, func(item *badger.Item) (bool, error) {
		if name := string(item.Key()[2:]); owner[name] == "" {
			c.problem("puzzle "+name, "the name leads nowhere", remove(item))
		}
		return true, nil
	})
}

// strays finds what belongs to no search. To repair is to leave it to the sweeper.
func (c *checker) strays(txn *badger.Txn) error {
	it := txn.NewIterator(badger.IteratorOptions{})
	defer it.Close()
	told := map[uint64]bool{}
	for _, letter := range []string{"p/", "u/", "l/", "f/", "i/", "e/"} {
		for it.Seek([]byte(letter)); it.ValidForPrefix([]byte(letter)); {
			number := numberOf(it.Item().Key())
			if len(it.Item().Key()) < len(be(letter, 0)) {
				c.problem(fmt.Sprintf("key %q", it.Item().Key()), "it has no number", remove(it.Item()))
				it.Next()
				continue
			}
			known, err := exists(txn, searchKey(number))
			if err == nil && !known {
				known, err = exists(txn, deletedKey(number))
			}
			if err != nil {
				return err
			}
			if !known && !told[number] {
				told[number] = true
				c.problem(fmt.Sprintf("search number %d", number), "there are records of it, but not itself", fix{key: deletedKey(number)})
			}
			if number++; number == 0 {
				break
			}
			it.Seek(be(letter, number))
		}
	}
	return nil
}

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

// tables reads every table to its end.
func (c *checker) tables() error {
	var keys []string
	err := c.s.tables.db.View(func(txn *badger.Txn) error {
		return scan(txn, []byte("t/"), nil, false, func(item *badger.Item) (bool, error) {
			keys = append(keys, string(item.Key()[2:]))
			return true, nil
		})
	})
	if err != nil {
		return err
	}
	for _, key := range keys {
		damage, err := c.s.tables.check(c.ctx, key, c.repair)
		if err != nil {
			return err
		}
		if damage == nil {
			continue
		}
		if err := c.tell(Problem{At: "table " + key, What: damage.Error(), Repaired: c.repair}); err != nil {
			return err
		}
	}
	return nil
}

// check reads a table and gives what is wrong with it. It is dropped then, if it
// may be.
func (c *tableCache) check(ctx context.Context, key string, drop bool) (damage, err error) {
	m, err := c.manifest(key)
	switch {
	case errors.Is(err, ErrMiss):
		return nil, nil // dropped meanwhile
	case errors.Is(err, errDamaged):
		damage = err
	case err != nil:
		return nil, err
	case m.Key != key:
		damage = fmt.Errorf("%w: the manifest is that of table %q", errDamaged, m.Key)
	default:
		_, t, err := c.begin(key)
		if errors.Is(err, ErrMiss) {
			return nil, nil
		}
		if err != nil {
			return nil, err
		}
		r := newChunkReader(ctx, c.db, m)
		err = r.finish()
		c.release(t)
		if damage = r.damage; damage == nil {
			return nil, err
		}
	}
	if drop {
		if err := c.drop(ctx, key); err != nil {
			return damage, fmt.Errorf("drop damaged table %q: %w", key, err)
		}
	}
	return damage, nil
}
