package storage

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"

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
	for _, part := range []func(*badger.Txn) error{c.searches, c.owners, c.puzzles, c.tokens, c.rounds, c.strays} {
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
