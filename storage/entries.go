package storage

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/dgraph-io/badger/v4"
)

// Deadline is until when an entry is taken for a scramble that was shown at a time.
func (r *Round) Deadline(shown time.Time) time.Time {
	if end := shown.Add(r.Limit); end.Before(r.Closes) {
		return end
	}
	return r.Closes
}

// ShowScramble shows a member the scramble of an attempt in an open round: it starts
// their clock the first time, and puts each look on record. [ErrNotEligible] where the
// member does not take part, [ErrNoAttempt] where there is no such attempt.
func (s *Store) ShowScramble(ctx context.Context, r Request, id, member string, attempt int, at time.Time) (Round, Sheet, string, error) {
	at = plain(at)
	var round Round
	var sheet Sheet
	var scramble string
	err := s.updateRound(ctx, release, id, at, func(txn *badger.Txn) (err error) {
		var key []byte
		var secret RoundSecret
		if round, err = s.takes(txn, id, member, attempt, at, "show a scramble"); err != nil {
			return err
		}
		if key, secret, err = s.secret(txn, &round); err != nil {
			return err
		}
		if attempt > len(secret.Scrambles) {
			return fmt.Errorf("attempt %d of round %q: %w", attempt, id, ErrNoAttempt)
		}
		scramble = secret.Scrambles[attempt-1]
		_, err = once(txn, r, func() (struct{}, error) { return struct{}{}, s.look(txn, &round, key, member, attempt, at) })
		if err != nil {
			return err
		}
		sheet, err = sheetAt(txn, key, round.Number, member, attempt)
		return err
	})
	return round, sheet, scramble, err
}

// look puts on record that a scramble was shown.
func (s *Store) look(txn *badger.Txn, round *Round, key []byte, member string, attempt int, at time.Time) error {
	sheet, err := sheetAt(txn, key, round.Number, member, attempt)
	first := errors.Is(err, ErrNotFound)
	if first {
		sheet, err = Sheet{Member: member, Attempt: attempt, Shown: at}, nil
	}
	if err != nil || sheet.Views >= MaxViews {
		return err
	}
	sheet.Views++
	last := uint64(0)
	err = scanBack(txn, viewPrefix(round.Number), func(item *badger.Item) (bool, error) {
		v, err := decode[View](item)
		last = v.Number
		return false, err
	})
	if err != nil {
		return err
	}
	return errors.Join(
		put(txn, viewKey(round.Number, last+1), View{Number: last + 1, Time: at, Member: member, Attempt: attempt, First: first}),
		putSheet(txn, key, round, sheet),
	)
}

// takes reads an open round that a member takes part in.
func (s *Store) takes(txn *badger.Txn, id, member string, attempt int, at time.Time, wanted string) (Round, error) {
	round, err := s.getRound(txn, id, at)
	switch {
	case err != nil:
		return round, err
	case !round.Takes(member):
		return round, fmt.Errorf("round %q, member %q: %w", id, member, ErrNotEligible)
	case round.State != RoundOpen:
		return round, round.refuse(wanted)
	case attempt < 1 || attempt > round.Attempts:
		return round, fmt.Errorf("attempt %d of round %q: %w", attempt, id, ErrNoAttempt)
	}
	return round, nil
}

// Attempt gives the scramble that a member was shown and the time of it, if an entry is
// still taken. Errors as of SubmitEntry.
func (s *Store) Attempt(ctx context.Context, id, member string, attempt int, at time.Time) (Round, Sheet, string, error) {
	at = plain(at)
	var round Round
	var sheet Sheet
	var scramble string
	err := s.viewRound(ctx, id, at, func(txn *badger.Txn, r Round) (err error) {
		round = r
		sheet, _, err = s.running(txn, id, member, attempt, at)
		if err != nil {
			return err
		}
		_, secret, err := s.secret(txn, &r)
		if err != nil {
			return err
		}
		scramble = secret.Scrambles[attempt-1]
		return nil
	})
	return round, sheet, scramble, err
}

// running reads the sheet of an attempt whose time is not over.
func (s *Store) running(txn *badger.Txn, id, member string, attempt int, at time.Time) (Sheet, []byte, error) {
	round, err := s.takes(txn, id, member, attempt, at, "hand in")
	if err != nil {
		return Sheet{}, nil, err
	}
	key, err := s.seal.keyOf(&round)
	if err != nil {
		return Sheet{}, nil, err
	}
	sheet, err := sheetAt(txn, key, round.Number, member, attempt)
	if errors.Is(err, ErrNotFound) {
		return sheet, nil, fmt.Errorf("attempt %d of round %q: %w", attempt, id, ErrNotShown)
	}
	if err != nil {
		return sheet, nil, err
	}
	if end := round.Deadline(sheet.Shown); !at.Before(end) {
		return sheet, nil, fmt.Errorf("attempt %d of round %q ended at %s: %w", attempt, id, end.Format(time.RFC3339), ErrTimeOver)
	}
	return sheet, key, nil
}

// SubmitEntry keeps what a member hands in, in the place of what was there. The same
// request again gets the revision and time that it got before. [RoundStateError] where
// the round is not open, [ErrNotEligible], [ErrNotShown], [ErrTimeOver].
func (s *Store) SubmitEntry(ctx context.Context, r Request, id, member string, attempt int, e Entry, at time.Time) (Sheet, error) {
	at = plain(at)
	var sheet Sheet
	// Nobody's time runs out because the disk does: this is written as long as anything is.
	err := s.updateRound(ctx, release, id, at, func(txn *badger.Txn) error {
		before, repeat, err := s.repeated(txn, r, id, member, attempt, at)
		if err != nil {
			return err
		}
		if repeat != nil {
			e.Revision, e.Updated = repeat.Revision, repeat.Time
			before.Entry, sheet = &e, before
			return nil
		}
		var key []byte
		if sheet, key, err = s.running(txn, id, member, attempt, at); err != nil {
			return err
		}
		e.Updated, e.Revision = at, 1
		if sheet.Entry != nil {
			e.Revision = sheet.Entry.Revision + 1
		}
		sheet.Entry = &e
		sheet.Repeats = append(sheet.Repeats, handingIn{r.ID, r.Digest, e.Revision, at})
		sheet.Repeats = sheet.Repeats[max(0, len(sheet.Repeats)-maxRepeats):]
		round, err := s.getRound(txn, id, at)
		if err != nil {
			return err
		}
		return putSheet(txn, key, &round, sheet)
	})
	return sheet, err
}

// repeated finds the request among those that the entry was handed in by, also when
// the time is over since.
func (s *Store) repeated(txn *badger.Txn, r Request, id, member string, attempt int, at time.Time) (Sheet, *handingIn, error) {
	round, err := s.getRound(txn, id, at)
	if err != nil {
		return Sheet{}, nil, err
	}
	key, err := s.seal.keyOf(&round)
	if err != nil {
		return Sheet{}, nil, err
	}
	sheet, err := sheetAt(txn, key, round.Number, member, attempt)
	if errors.Is(err, ErrNotFound) {
		return sheet, nil, nil
	}
	for i := range sheet.Repeats {
		switch h := &sheet.Repeats[i]; {
		case r.ID == "" || h.ID != r.ID:
		case h.Digest != r.Digest:
			return sheet, nil, fmt.Errorf("%w: %q", ErrRequestReused, r.ID)
		default:
			return sheet, h, err
		}
	}
	return sheet, nil, err
}

// Entry gives the sheet of what a member handed in for an attempt, if the reader may
// see it. [ErrNotFound] where there is nothing, and where it is sealed alike.
func (s *Store) Entry(ctx context.Context, id, member string, attempt int, reader string, at time.Time) (Round, Sheet, error) {
	var round Round
	var sheet Sheet
	err := s.viewRound(ctx, id, at, func(txn *badger.Txn, r Round) (err error) {
		round = r
		sheet, _, err = s.entry(txn, &r, member, attempt, reader)
		return err
	})
	return round, sheet, err
}

func (s *Store) entry(txn *badger.Txn, r *Round, member string, attempt int, reader string) (Sheet, []byte, error) {
	none := fmt.Errorf("entry of %q for attempt %d of round %q: %w", member, attempt, r.ID, ErrNotFound)
	if !r.Shows(member, reader) || attempt < 1 || attempt > r.Attempts {
		return Sheet{}, nil, none
	}
	key, err := s.seal.keyOf(r)
	if err != nil {
		return Sheet{}, nil, err
	}
	sheet, err := sheetAt(txn, key, r.Number, member, attempt)
	if errors.Is(err, ErrNotFound) || err == nil && sheet.Entry == nil {
		return Sheet{}, nil, none
	}
	return sheet, key, err
}

// EntryPlace is where an entry is among those of its round.
type EntryPlace struct {
	Member  string `json:"member"`
	Attempt int    `json:"attempt"`
}

// Entries gives the sheets with an entry that the reader may see, by member and attempt, at
// most limit of them: those after a place, or all where after is zero.
func (s *Store) Entries(ctx context.Context, id, reader string, after EntryPlace, limit int, at time.Time) (Round, []Sheet, error) {
	var round Round
	var page []Sheet
	err := s.viewRound(ctx, id, at, func(txn *badger.Txn, r Round) error {
		round, page = r, nil
		prefix := sheetPrefix(r.Number)
		if r.State != RoundClosed {
			if reader == "" {
				return nil
			}
			prefix = sheetsOf(r.Number, reader)
		}
		var start []byte
		if after.Member != "" {
			start = sheetKey(r.Number, after.Member, after.Attempt)
		}
		key, err := s.seal.keyOf(&r)
		if err != nil {
			return err
		}
		return scan(txn, prefix, start, true, func(item *badger.Item) (bool, error) {
			sheet, err := openSheet(key, item)
			if err != nil {
				return false, err
			}
			if sheet.Entry != nil && r.Shows(sheet.Member, reader) {
				page = append(page, sheet)
			}
			return len(page) < limit, nil
		})
	})
	return round, page, err
}

// CorrectEntry gives an entry of a round that has closed another verdict, and keeps the
// one before with the reason.
func (s *Store) CorrectEntry(ctx context.Context, r Request, id, member string, attempt int, c Correction, v Verdict, at time.Time) (Sheet, error) {
	var sheet Sheet
	err := s.updateRound(ctx, growth, id, at, func(txn *badger.Txn) (err error) {
		sheet, err = once(txn, r, func() (Sheet, error) {
			round, err := s.getRound(txn, id, plain(at))
			if err != nil {
				return Sheet{}, err
			}
			if round.State != RoundClosed {
				return Sheet{}, round.refuse("correct an entry")
			}
			sheet, key, err := s.entry(txn, &round, member, attempt, "")
			if err != nil {
				return sheet, err
			}
			e := sheet.Entry
			if len(e.Corrections) >= MaxCorrect {
				return sheet, fmt.Errorf("%w: the entry was corrected %d times", ErrLimit, MaxCorrect)
			}
			c.Time, c.Before = plain(at), e.Verdict
			e.Corrections, e.Verdict = append(e.Corrections, c), v
			round.Corrected++
			return sheet, errors.Join(putSheet(txn, key, &round, sheet), put(txn, roundKey(round.Number), round))
		})
		return err
	})
	return sheet, err
}

// Views gives who was shown which scramble of a round, the earliest first, at most limit
// of them: those after the one with that number, and only the member's where one is named.
func (s *Store) Views(ctx context.Context, id, member string, after uint64, limit int, at time.Time) ([]View, error) {
	var page []View
	err := s.viewRound(ctx, id, at, func(txn *badger.Txn, r Round) error {
		page = nil
		return scan(txn, viewPrefix(r.Number), viewKey(r.Number, after), true, func(item *badger.Item) (bool, error) {
			v, err := decode[View](item)
			if member == "" || v.Member == member {
				page = append(page, v)
			}
			return len(page) < limit, err
		})
	})
	return page, err
}

func sheetAt(txn *badger.Txn, key []byte, round uint64, member string, attempt int) (Sheet, error) {
	item, err := txn.Get(sheetKey(round, member, attempt))
	if errors.Is(err, badger.ErrKeyNotFound) {
		return Sheet{}, ErrNotFound
	}
	if err != nil {
		return Sheet{}, err
	}
	return openSheet(key, item)
}

func openSheet(key []byte, item *badger.Item) (sheet Sheet, err error) {
	err = item.Value(func(sealed []byte) error {
		sheet, err = decrypt[Sheet](key, item.Key(), sealed)
		return err
	})
	return sheet, err
}

// putSheet seals a sheet. While the round is not over all have one size.
func putSheet(txn *badger.Txn, key []byte, round *Round, sheet Sheet) error {
	size := sheetSize
	if round.State.Over() {
		size = 0
	}
	place := sheetKey(round.Number, sheet.Member, sheet.Attempt)
	sealed, err := encrypt(key, place, sheet, size)
	if err != nil {
		return err
	}
	return txn.Set(place, sealed)
}

// reseal encrypts a sealed record once more, so that nobody can tell from two backups
// whether it was written in between. What can't be opened stays as it is.
func (s *Store) reseal(txn *badger.Txn, place, sealed []byte) ([]byte, error) {
	if !bytes.HasPrefix(place, []byte(prefixSheet)) && !bytes.HasPrefix(place, []byte(prefixSecret)) {
		return sealed, nil
	}
	round, err := get[Round](txn, roundKey(numberOf(place)))
	if err != nil || len(round.Key) > 0 {
		return sealed, ignoreMissing(err)
	}
	key, err := s.seal.keyOf(&round)
	if err != nil {
		return sealed, nil //nolint:nilerr // another directory's: only its program can open it
	}
	inside, err := decryptBytes(key, place, sealed)
	if err != nil {
		return sealed, nil //nolint:nilerr // damaged: the check names it
	}
	return encryptBytes(key, place, inside)
}

func ignoreMissing(err error) error {
	if errors.Is(err, ErrNotFound) {
		return nil
	}
	return err
}
