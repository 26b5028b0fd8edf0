package storage

import (
	"context"
	"errors"
	"time"

	"github.com/dgraph-io/badger/v4"
)

// AuditEntry is one administrative act, put on record.
type AuditEntry struct {
	Number  uint64    `json:"number"` // rises by one
	Time    time.Time `json:"time"`
	Who     string    `json:"who"`               // id of the member
	Act     string    `json:"act"`               // as a verb and what it is done to: "delete member"
	Target  string    `json:"target,omitempty"`  // name of the resource
	Details string    `json:"details,omitempty"` // for people
}

// Audit puts an act on record. It sets number and time. When there are as many
// entries as are kept, the oldest goes.
func (s *Store) Audit(ctx context.Context, e AuditEntry) error {
	return s.update(ctx, release, func(txn *badger.Txn) error {
		last, err := get[uint64](txn, []byte(keyAudit))
		if err != nil && !errors.Is(err, ErrNotFound) {
			return err
		}
		e.Number, e.Time = last+1, now()
		if full := uint64(s.opt.MaxAudit); e.Number > full {
			if err := txn.Delete(auditKey(e.Number - full)); err != nil {
				return err
			}
		}
		return errors.Join(
			put(txn, []byte(keyAudit), e.Number),
			put(txn, auditKey(e.Number), e),
		)
	})
}

// AuditEntries gives at most limit entries, the latest first: those before the one
// with that number, or all where before is 0.
func (s *Store) AuditEntries(ctx context.Context, before uint64, limit int) ([]AuditEntry, error) {
	var after []byte
	if before != 0 {
		after = auditKey(before)
	}
	var page []AuditEntry
	err := s.view(ctx, func(txn *badger.Txn) error {
		return scan(txn, []byte(prefixAudit), after, true, func(item *badger.Item) (bool, error) {
			e, err := decode[AuditEntry](item)
			page = append(page, e)
			return len(page) < limit, err
		})
	})
	return page, err
}
