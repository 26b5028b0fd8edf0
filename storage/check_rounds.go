package storage

import (
	"encoding/binary"
	"fmt"

	"github.com/dgraph-io/badger/v4"
)

// rounds checks names and numbers of rounds, and whether what is sealed can be opened.
// It never tells whose sheet is damaged, and removes none.
func (c *checker) rounds(txn *badger.Txn) error {
	names := map[string]bool{}  // keys
	known := map[uint64]Round{} // by number
	last, unsure := uint64(0), false
	err := scan(txn, []byte(prefixRound), nil, true, func(item *badger.Item) (bool, error) {
		number := ^numberOf(item.Key())
		last = max(last, number)
		r, err := decode[Round](item)
		if err != nil || r.Number != number {
			unsure = true
			c.problem(fmt.Sprintf("round number %d", number), "its record can't be read")
			return true, nil
		}
		known[number] = r
		names[string(roundIDKey(r.ID))] = true
		if _, err := txn.Get(secretKey(number)); err != nil {
			c.problem("round "+r.ID, "its scrambles are missing")
		}
		return true, c.follows(txn, roundIDKey(r.ID), number, "round "+r.ID, "it is not found by its name")
	})
	if err != nil {
		return err
	}
	err = scan(txn, []byte("w/"), nil, false, func(item *badger.Item) (bool, error) {
		if !names[string(item.Key())] && !unsure {
			c.problem("round "+string(item.Key()[2:]), "the name leads nowhere", remove(item))
		}
		return true, nil
	})
	if err != nil {
		return err
	}
	if given, err := get[uint64](txn, []byte(keyRounds)); last > 0 && (err != nil || given < last) {
		if err := c.follows(txn, []byte(keyRounds), last, "the number of the last round", "it is lower than one that was given, or can't be read"); err != nil {
			return err
		}
	}
	told := map[uint64]bool{}
	for _, prefix := range []string{prefixSecret, prefixSheet} {
		err := scan(txn, []byte(prefix), nil, true, func(item *badger.Item) (bool, error) {
			number := numberOf(item.Key())
			r, ok := known[number]
			if told[number] {
				return true, nil
			}
			if !ok {
				told[number] = true
				if !unsure {
					c.problem(fmt.Sprintf("round number %d", number), "there are records of it, but not itself")
				}
				return true, nil
			}
			key, err := c.s.seal.keyOf(&r)
			if err == nil {
				err = item.Value(func(sealed []byte) error {
					_, err := decryptBytes(key, item.Key(), sealed)
					return err
				})
			}
			if err != nil {
				told[number] = true
				c.problem("round "+r.ID, "a sealed record of it can't be opened")
			}
			return true, nil
		})
		if err != nil {
			return err
		}
	}
	return c.views(txn, known)
}

// views checks that looks at scrambles have the numbers of their places.
func (c *checker) views(txn *badger.Txn, known map[uint64]Round) error {
	return scan(txn, []byte(prefixView), nil, true, func(item *badger.Item) (bool, error) {
		v, err := decode[View](item)
		key := item.Key()
		if err != nil || len(key) != 18 || binary.BigEndian.Uint64(key[10:]) != v.Number {
			c.problem(fmt.Sprintf("round %s", known[numberOf(key)].ID), "what tells of a look at a scramble can't be read")
		}
		return true, nil
	})
}
