package storage

import (
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"github.com/dgraph-io/badger/v4"
)

// requestLife is how long an answer is kept for repeats.
const requestLife = 7 * 24 * time.Hour

type answered struct {
	Digest [32]byte        `json:"digest"`
	Answer json.RawMessage `json:"answer"`
}

// once has the effect of do and keeps its answer, both in txn, or gives the
// answer that the same request got before.
func once[T any](txn *badger.Txn, r Request, do func() (T, error)) (T, error) {
	var answer T
	if r.ID == "" {
		return do()
	}
	before, err := get[answered](txn, requestKey(r))
	switch {
	case err == nil && before.Digest != r.Digest:
		return answer, fmt.Errorf("%w: %q", ErrRequestReused, r.ID)
	case err == nil:
		return answer, json.Unmarshal(before.Answer, &answer)
	case !errors.Is(err, ErrNotFound):
		return answer, err
	}
	if answer, err = do(); err != nil {
		return answer, err
	}
	body, err := json.Marshal(answer)
	if err != nil {
		return answer, err
	}
	record, err := json.Marshal(answered{r.Digest, body})
	if err != nil {
		return answer, err
	}
	return answer, txn.SetEntry(badger.NewEntry(requestKey(r), record).WithTTL(requestLife))
}
