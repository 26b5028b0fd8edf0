package storage

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/dgraph-io/badger/v4"
)

// Lease is what is known of a unit that is not done: who is at work on it, and what
// went wrong with it before. It is gone once the unit is done.
type Lease struct {
	Epoch  uint64    `json:"epoch"`            // rises with each grant; says which search's it is
	Worker string    `json:"worker,omitempty"` // who has it; empty if nobody
	Since  time.Time `json:"since,omitzero"`

	Failed []Failure `json:"failed,omitempty"` // reports that it can't be done
	Lost   int       `json:"lost,omitempty"`   // grants of which nothing was heard again
	Aside  bool      `json:"aside,omitempty"`  // it isn't granted any more
}

// Failure is a worker's report that it could not do a unit.
type Failure struct {
	Worker string `json:"worker"`
	Why    string `json:"why"`
}

// After so many failures of more than one worker, or so many losses, a unit is set aside. A
// loss says less: the worker may have been killed for reasons of its own. So do failures
// of one worker alone, whose computer may be at fault: they count as losses do.
const (
	MaxFailures = 3
	MaxLosses   = 8
)

// epochBits is how many bits of an epoch count grants. Those above hold the search's
// number: an id can come back after a deletion while a worker is still at a unit of the
// search that had it before.
const epochBits = 32

// Granted tells whether an epoch can be of a unit of this search.
func (s *Submission) Granted(epoch uint64) bool { return epoch>>epochBits == s.Number }

// GrantUnit gives a unit to a worker, whoever had it before, with a new epoch.
// [ErrUnitDone] where it is done, [ErrUnitAside] where it is set aside, [*StateError]
// where the search does not run.
func (s *Store) GrantUnit(ctx context.Context, id string, length, index int, worker string) (Lease, error) {
	var lease Lease
	err := s.update(ctx, growth, func(txn *badger.Txn) error {
		search, err := searchByID(txn, id)
		if err != nil {
			return err
		}
		if search.State != Running {
			return &StateError{Search: id, Is: search.State, Wanted: "grant a unit"}
		}
		if length < 1 || length > len(search.Lengths) || index < 0 || index >= search.Lengths[length-1].Units {
			return fmt.Errorf("unit %d of length %d: %w", index, length, ErrNotFound)
		}
		if done, err := exists(txn, unitKey(search.Number, length, index)); err != nil || done {
			return errors.Join(err, ErrUnitDone)
		}
		if length <= search.Proven {
			return ErrUnitDone
		}
		key := leaseKey(search.Number, length, index)
		if lease, err = get[Lease](txn, key); err != nil && !errors.Is(err, ErrNotFound) {
			return err
		}
		if lease.Aside {
			return ErrUnitAside
		}
		lease.Epoch = max(lease.Epoch, search.Number<<epochBits) + 1
		lease.Worker, lease.Since = worker, now()
		return put(txn, key, lease)
	})
	return lease, err
}

// ReturnUnit gives a unit back that was not begun, or not finished through no fault
// of its own. [ErrStale] where the epoch is not that of the last grant, or the worker not who has it.
func (s *Store) ReturnUnit(ctx context.Context, id string, length, index int, worker string, epoch uint64) error {
	_, err := s.endLease(ctx, id, length, index, worker, epoch, func(*Lease) {})
	return err
}

// FailUnit says that a worker could not do a unit. After [MaxFailures] of more than one worker, or
// [MaxLosses] of one, the unit is set aside. [ErrStale] as of ReturnUnit.
func (s *Store) FailUnit(ctx context.Context, id string, length, index int, worker string, epoch uint64, why string) (Lease, error) {
	return s.endLease(ctx, id, length, index, worker, epoch, func(l *Lease) {
		const most = 2000 // bytes: a panic has a long story
		l.Failed = append(l.Failed, Failure{Worker: l.Worker, Why: strings.ToValidUTF8(why[:min(len(why), most)], "")})
		others := slices.ContainsFunc(l.Failed, func(f Failure) bool { return f.Worker != l.Failed[0].Worker })
		l.Aside = len(l.Failed) >= MaxLosses || others && len(l.Failed) >= MaxFailures
	})
}

// LoseUnit says that nothing is heard any more of who had a unit. After
// [MaxLosses] the unit is set aside. [ErrStale] where the epoch is not that of the last grant.
func (s *Store) LoseUnit(ctx context.Context, id string, length, index int, epoch uint64) (Lease, error) {
	return s.endLease(ctx, id, length, index, "", epoch, func(l *Lease) {
		l.Lost++
		l.Aside = l.Lost >= MaxLosses
	})
}

// endLease ends a lease: of a worker, or where that is empty of whoever has it.
func (s *Store) endLease(ctx context.Context, id string, length, index int, worker string, epoch uint64, change func(*Lease)) (Lease, error) {
	var lease Lease
	err := s.update(ctx, release, func(txn *badger.Txn) error {
		search, err := searchByID(txn, id)
		if err != nil {
			return err
		}
		key := leaseKey(search.Number, length, index)
		lease, err = get[Lease](txn, key)
		if errors.Is(err, ErrNotFound) || err == nil && (lease.Epoch != epoch || lease.Worker == "" || worker != "" && lease.Worker != worker) {
			return fmt.Errorf("unit %d of length %d: %w", index, length, ErrStale)
		}
		if err != nil {
			return err
		}
		change(&lease)
		lease.Worker, lease.Since = "", time.Time{}
		return put(txn, key, lease)
	})
	return lease, err
}

// Leases tells what is known of the units of a length that are not done, by index.
// Units that nobody ever had are not among them.
func (s *Store) Leases(ctx context.Context, id string, length int) (map[int]Lease, error) {
	leases := map[int]Lease{}
	err := s.view(ctx, func(txn *badger.Txn) error {
		search, err := searchByID(txn, id)
		if err != nil {
			return err
		}
		prefix := leasePrefix(search.Number, length)
		return scan(txn, prefix, nil, true, func(item *badger.Item) (bool, error) {
			lease, err := decode[Lease](item)
			leases[unitIndex(item.Key())] = lease
			return true, err
		})
	})
	return leases, err
}

// maxAlarms bounds the alarms that are kept with a search.
const maxAlarms = 20

// RaiseAlarm keeps what people must know of a search: a unit that was set aside, or two
// reports of one unit that differ. Of more than twenty the first are kept; what is there already is
// not kept twice.
func (s *Store) RaiseAlarm(ctx context.Context, id, alarm string) error {
	return s.update(ctx, release, func(txn *badger.Txn) error {
		search, err := searchByID(txn, id)
		if err != nil {
			return err
		}
		p := &search.Progress
		for _, old := range p.Alarms {
			if old == alarm {
				return nil
			}
		}
		if len(p.Alarms) >= maxAlarms {
			return nil
		}
		p.Alarms = append(p.Alarms, alarm)
		return put(txn, progressKey(search.Number), p)
	})
}

func leasePrefix(n uint64, length int) []byte {
	return binary.BigEndian.AppendUint16(be("l/", n), uint16(length))
}

func leaseKey(n uint64, length, index int) []byte {
	return binary.BigEndian.AppendUint32(leasePrefix(n, length), uint32(index))
}
