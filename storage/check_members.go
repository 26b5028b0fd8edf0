package storage

import (
	"fmt"
	"strings"

	"github.com/dgraph-io/badger/v4"
)

// owners checks whose searches are listed and counted as whose.
func (c *checker) owners(txn *badger.Txn) error {
	owned := map[string]bool{} // keys of searches
	waiting := map[string]int{}
	unsure := false
	err := scan(txn, []byte(prefixSearch), nil, true, func(item *badger.Item) (bool, error) {
		sub, err := decode[Submission](item)
		if err != nil {
			unsure = true // it was told already
			return true, nil
		}
		if sub.Owner == "" {
			return true, nil
		}
		progress, err := get[Progress](txn, progressKey(sub.Number))
		unsure = unsure || err != nil
		if err == nil && !progress.State.Ended() {
			waiting[sub.Owner]++
		}
		key := ownedKey(sub.Owner, sub.Number)
		owned[string(key)] = true
		return true, c.holds(txn, key, []byte{}, "search "+sub.ID, "it is not listed among those of "+sub.Owner)
	})
	if err != nil || unsure {
		return err
	}
	err = scan(txn, []byte("j/"), nil, false, func(item *badger.Item) (bool, error) {
		if !owned[string(item.Key())] {
			owner, _, _ := strings.Cut(string(item.Key()[2:]), "/")
			c.problem("member "+owner, "a search is listed as theirs that is not, or is not there", remove(item))
		}
		return true, nil
	})
	if err != nil {
		return err
	}
	for owner, n := range waiting {
		if err := c.follows(txn, waitingKey(owner), n, "member "+owner, fmt.Sprintf("the number of their searches that have not ended is not %d", n)); err != nil {
			return err
		}
	}
	return scan(txn, []byte("g/"), nil, false, func(item *badger.Item) (bool, error) {
		if owner := string(item.Key()[2:]); waiting[owner] == 0 {
			c.problem("member "+owner, "searches are counted that are not there", remove(item))
		}
		return true, nil
	})
}

// tokens checks the way from a secret to its token.
func (c *checker) tokens(txn *badger.Txn) error {
	hashes := map[string]bool{} // keys
	err := scan(txn, []byte(prefixToken), nil, true, func(item *badger.Item) (bool, error) {
		t, err := decode[Token](item)
		if err != nil || string(tokenKey(t.Member, t.ID)) != string(item.Key()) {
			c.problem("token "+string(item.Key()[2:]), "its record can't be read: its member needs another", remove(item))
			return true, nil
		}
		key := tokenHashKey(t.Hash)
		hashes[string(key)] = true
		return true, c.follows(txn, key, path(t.Member, t.ID), "token "+path(t.Member, t.ID), "its secret does not lead to it")
	})
	if err != nil {
		return err
	}
	return scan(txn, []byte("h/"), nil, false, func(item *badger.Item) (bool, error) {
		if !hashes[string(item.Key())] {
			c.problem(fmt.Sprintf("token with the digest %x", item.Key()[2:]), "its secret leads nowhere", remove(item))
		}
		return true, nil
	})
}
