package storage

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"time"

	"github.com/dgraph-io/badger/v4"
)

// RoundStateError tells what a round refused for its state.
type RoundStateError struct {
	Round  string
	Is     RoundState
	Opens  time.Time // when it opens, where it is still to do so
	Wanted string    // what was asked for, as a verb: "hand in"
}

func (e *RoundStateError) Error() string {
	text := fmt.Sprintf("round %q %s: can't %s", e.Round, map[RoundState]string{
		RoundAnnounced: "has not opened", RoundOpen: "is open", RoundClosed: "has closed", RoundCalledOff: "was called off",
	}[e.Is], e.Wanted)
	if e.Is == RoundAnnounced {
		text += " before " + e.Opens.Format(time.RFC3339)
	}
	return text
}

// refuse is the error for what the round can't do in its state.
func (r *Round) refuse(wanted string) error {
	return &RoundStateError{Round: r.ID, Is: r.State, Opens: r.Opens, Wanted: wanted}
}

// Unwrap makes every RoundStateError match [ErrState].
func (e *RoundStateError) Unwrap() error { return ErrState }

// due gives the round as it is at a time: moved on as often as it is time for it. A
// round whose seal is missing does not close, as nobody could open it then.
func (s *Store) due(r Round, at time.Time) (Round, bool) {
	moved := false
	if r.State == RoundAnnounced && !at.Before(r.Opens) {
		r.State, r.Opened, moved = RoundOpen, at, true
	}
	if r.State == RoundOpen && !at.Before(r.Closes) {
		if s.closeRound(&r, at) == nil {
			moved = true
		}
	}
	return r, moved
}

// closeRound breaks the seal of a round.
func (s *Store) closeRound(r *Round, at time.Time) error {
	key, err := s.seal.keyOf(r)
	if err != nil {
		return err
	}
	r.State, r.Ended, r.Key = RoundClosed, at, key
	return nil
}

// getRound reads a round as it is at a time, and stores that it moved on.
func (s *Store) getRound(txn *badger.Txn, id string, at time.Time) (Round, error) {
	r, err := roundOf(txn, id)
	if err != nil {
		return Round{}, err
	}
	r, moved := s.due(r, at)
	if moved {
		err = put(txn, roundKey(r.Number), r)
	}
	return r, err
}

// roundOf reads a round as it is stored.
func roundOf(txn *badger.Txn, id string) (Round, error) {
	number, err := get[uint64](txn, roundIDKey(id))
	if err != nil {
		return Round{}, fmt.Errorf("round %q: %w", id, err)
	}
	r, err := get[Round](txn, roundKey(number))
	if err != nil {
		return Round{}, fmt.Errorf("round %q: %w", id, err)
	}
	return r, nil
}

// viewRound runs fn in a transaction that reads, with the round as it is at a time. Where
// it has to move on, that is stored first, by itself: so it stays whatever fn says.
func (s *Store) viewRound(ctx context.Context, id string, at time.Time, fn func(*badger.Txn, Round) error) error {
	at = plain(at)
	due := false
	read := func(txn *badger.Txn) error {
		r, err := roundOf(txn, id)
		if err != nil {
			return err
		}
		if !due {
			if _, due = s.due(r, at); due {
				return nil
			}
		}
		return fn(txn, r)
	}
	if err := s.view(ctx, read); err != nil || !due {
		return err
	}
	err := s.update(ctx, release, func(txn *badger.Txn) error {
		_, err := s.getRound(txn, id, at)
		return err
	})
	if err != nil {
		return err
	}
	return s.view(ctx, read)
}

// updateRound runs fn in a transaction that writes, after the round has moved on. That is
// stored by itself: it stays so where fn refuses.
func (s *Store) updateRound(ctx context.Context, why need, id string, at time.Time, fn func(*badger.Txn) error) error {
	if _, err := s.Round(ctx, id, at); err != nil && !errors.Is(err, ErrNotFound) {
		return err
	}
	return s.update(ctx, why, fn)
}

// CreateRound keeps a new round, and what is secret about it. It is announced, or open
// where it opens at once.
// [ErrExists] where the id is taken, [ErrLimit] where there are too many.
func (s *Store) CreateRound(ctx context.Context, r Request, round Round, secret RoundSecret, at time.Time) (Round, error) {
	err := s.update(ctx, growth, func(txn *badger.Txn) (err error) {
		round, err = once(txn, r, func() (Round, error) { return s.createRound(txn, r, round, secret, plain(at)) })
		return err
	})
	return round, err
}

func (s *Store) createRound(txn *badger.Txn, r Request, round Round, secret RoundSecret, at time.Time) (Round, error) {
	taken, err := exists(txn, roundIDKey(round.ID))
	if err != nil {
		return round, err
	}
	if taken {
		return round, fmt.Errorf("round %q: %w", round.ID, ErrExists)
	}
	last, err := get[uint64](txn, []byte(keyRounds))
	if err != nil && !errors.Is(err, ErrNotFound) {
		return round, err
	}
	if last >= uint64(s.opt.MaxRounds) {
		return round, fmt.Errorf("%w: there are %d rounds", ErrLimit, last)
	}
	round.Number, round.State, round.Owner, round.Created = last+1, RoundAnnounced, r.By, at
	round.Opens, round.Closes = plain(round.Opens), plain(round.Closes)
	round.Salt = make([]byte, 16)
	rand.Read(round.Salt) // never fails
	key := s.seal.key(round.Salt)
	round.Mark = keyMark(key)
	sealed, err := encrypt(key, secretKey(round.Number), secret, secretSize)
	if err != nil {
		return round, err
	}
	round, _ = s.due(round, at)
	return round, errors.Join(
		put(txn, []byte(keyRounds), round.Number),
		put(txn, roundIDKey(round.ID), round.Number),
		put(txn, roundKey(round.Number), round),
		txn.Set(secretKey(round.Number), sealed),
	)
}

// Round gives the round of that id as it is at a time.
func (s *Store) Round(ctx context.Context, id string, at time.Time) (Round, error) {
	var round Round
	err := s.viewRound(ctx, id, at, func(_ *badger.Txn, r Round) error {
		round = r
		return nil
	})
	return round, err
}

// Rounds gives at most limit rounds as they are at a time, the latest first: those
// before the one with that number, or all where before is 0.
func (s *Store) Rounds(ctx context.Context, before uint64, limit int, at time.Time) ([]Round, error) {
	if err := s.MoveRounds(ctx, at); err != nil {
		return nil, err
	}
	var after []byte
	if before != 0 {
		after = roundKey(before)
	}
	var page []Round
	err := s.view(ctx, func(txn *badger.Txn) error {
		return scan(txn, []byte(prefixRound), after, true, func(item *badger.Item) (bool, error) {
			r, err := decode[Round](item)
			page = append(page, r)
			return len(page) < limit, err
		})
	})
	return page, err
}

// MoveRounds moves all rounds on for which it is time.
func (s *Store) MoveRounds(ctx context.Context, at time.Time) error {
	at = plain(at)
	var ids []string
	err := s.view(ctx, func(txn *badger.Txn) error {
		return scan(txn, []byte(prefixRound), nil, true, func(item *badger.Item) (bool, error) {
			r, err := decode[Round](item)
			if err == nil {
				if _, due := s.due(r, at); due {
					ids = append(ids, r.ID)
				}
			}
			return true, nil // what is damaged the check names
		})
	})
	for _, id := range ids {
		if err == nil {
			_, err = s.Round(ctx, id, at)
		}
	}
	return err
}

// ChangeRound has a function change a round that is not over, and what is secret about
// it. The function's error is returned as it is, and then nothing was changed.
func (s *Store) ChangeRound(ctx context.Context, r Request, id string, at time.Time, change func(*Round, *RoundSecret) error) (Round, error) {
	var round Round
	err := s.updateRound(ctx, growth, id, at, func(txn *badger.Txn) (err error) {
		round, err = once(txn, r, func() (Round, error) {
			now, err := s.getRound(txn, id, plain(at))
			if err != nil {
				return now, err
			}
			if now.State.Over() {
				return now, now.refuse("change it")
			}
			key, secret, err := s.secret(txn, &now)
			if err != nil {
				return now, err
			}
			if err := change(&now, &secret); err != nil {
				return now, err
			}
			if len(now.Changes) > MaxChanges {
				return now, fmt.Errorf("%w: round %q was changed %d times", ErrLimit, id, MaxChanges)
			}
			now.Opens, now.Closes = plain(now.Opens), plain(now.Closes)
			sealed, err := encrypt(key, secretKey(now.Number), secret, secretSize)
			if err != nil {
				return now, err
			}
			now, _ = s.due(now, plain(at)) // it may have been brought forward
			return now, errors.Join(put(txn, roundKey(now.Number), now), txn.Set(secretKey(now.Number), sealed))
		})
		return err
	})
	return round, err
}

// EndRound closes an open round, or calls one off, and keeps who did so and why.
func (s *Store) EndRound(ctx context.Context, r Request, id string, at time.Time, to RoundState, why RoundChange) (Round, error) {
	var round Round
	err := s.updateRound(ctx, release, id, at, func(txn *badger.Txn) (err error) {
		round, err = once(txn, r, func() (Round, error) {
			now, err := s.getRound(txn, id, plain(at))
			if err != nil {
				return now, err
			}
			if !now.State.CanBecome(to) {
				return now, now.refuse(map[RoundState]string{RoundClosed: "close it", RoundCalledOff: "call it off"}[to])
			}
			why.Time = plain(at)
			now.Changes = append(now.Changes, why)
			if to == RoundClosed {
				now.Closes = plain(at)
				err = s.closeRound(&now, now.Closes)
			} else {
				now.State, now.Ended = to, plain(at)
			}
			return now, errors.Join(err, put(txn, roundKey(now.Number), now))
		})
		return err
	})
	return round, err
}

// secret opens what is secret about a round.
func (s *Store) secret(txn *badger.Txn, r *Round) (key []byte, secret RoundSecret, err error) {
	if key, err = s.seal.keyOf(r); err != nil {
		return nil, secret, err
	}
	item, err := txn.Get(secretKey(r.Number))
	if err != nil {
		return nil, secret, fmt.Errorf("scrambles of round %q: %w", r.ID, err)
	}
	err = item.Value(func(sealed []byte) error {
		secret, err = decrypt[RoundSecret](key, secretKey(r.Number), sealed)
		return err
	})
	return key, secret, err
}

// RoundSecret gives what is secret about a round, for the server's own use: what of it
// may be shown is for the caller to see.
func (s *Store) RoundSecret(ctx context.Context, id string, at time.Time) (Round, RoundSecret, error) {
	var round Round
	var secret RoundSecret
	err := s.viewRound(ctx, id, at, func(txn *badger.Txn, r Round) (err error) {
		round = r
		_, secret, err = s.secret(txn, &r)
		return err
	})
	return round, secret, err
}

// plain is a time as records carry it.
func plain(t time.Time) time.Time { return t.UTC().Round(0) }
