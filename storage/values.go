package storage

import (
	"encoding/json"
	"errors"
	"fmt"

	"github.com/dgraph-io/badger/v4"
)

// get reads the record at key; ErrNotFound where there is none.
func get[T any](txn *badger.Txn, key []byte) (T, error) {
	var v T
	item, err := txn.Get(key)
	if errors.Is(err, badger.ErrKeyNotFound) {
		return v, ErrNotFound
	}
	if err != nil {
		return v, err
	}
	return decode[T](item)
}

func decode[T any](item *badger.Item) (T, error) {
	var v T
	err := item.Value(func(data []byte) error { return json.Unmarshal(data, &v) })
	if err != nil {
		return v, fmt.Errorf("record %q: %w", item.Key(), err)
	}
	return v, nil
}

func put(txn *badger.Txn, key []byte, v any) error {
	data, err := json.Marshal(v)
	if err != nil {
		return fmt.Errorf("record %q: %w", key, err)
	}
	return txn.Set(key, data)
}

func exists(txn *badger.Txn, key []byte) (bool, error) {
	_, err := txn.Get(key)
	if errors.Is(err, badger.ErrKeyNotFound) {
		return false, nil
	}
	return err == nil, err
}

// scanBack calls each for the keys under prefix, the last one first, until it says
// stop or an error.
func scanBack(txn *badger.Txn, prefix []byte, each func(*badger.Item) (more bool, err error)) error {
	it := txn.NewIterator(badger.IteratorOptions{Reverse: true, PrefetchSize: 1, PrefetchValues: true})
	defer it.Close()
	for it.Seek(append(append([]byte{}, prefix...), 0xff)); it.ValidForPrefix(prefix); it.Next() {
		if more, err := each(it.Item()); err != nil || !more {
			return err
		}
	}
	return nil
}

// scan calls each for the keys under prefix that come after the key after, in
// order, until it says stop or an error.
func scan(txn *badger.Txn, prefix, after []byte, values bool, each func(*badger.Item) (more bool, err error)) error {
	opt := badger.DefaultIteratorOptions
	opt.Prefix = prefix
	opt.PrefetchValues = values
	it := txn.NewIterator(opt)
	defer it.Close()
	start := prefix
	if len(after) > 0 {
		start = append(append([]byte{}, after...), 0) // the next possible key
	}
	for it.Seek(start); it.ValidForPrefix(prefix); it.Next() {
		if more, err := each(it.Item()); err != nil || !more {
			return err
		}
	}
	return nil
}
