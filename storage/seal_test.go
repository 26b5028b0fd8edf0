package storage

import (
	"context"
	"testing"
	"time"

	"bytes"

	"github.com/dgraph-io/badger/v4/pb"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Two backups, before and after something was handed in, have the same keys and sizes; and
// every sealed value differs, whether it was written in between or not.
func TestTwoBackupsDoNotTellThatAnEntryCame(t *testing.T) {
	s, err := Open(Options{Dir: t.TempDir(), Free: func(string) (uint64, error) { return 1 << 40, nil }})
	require.NoError(t, err)
	defer s.Close()
	ctx := context.Background()
	noon := time.Date(2026, 11, 28, 12, 0, 0, 0, time.UTC)
	_, err = s.CreateRound(ctx, Request{}, Round{ID: "spring", Attempts: 1, Opens: noon, Closes: noon.Add(time.Hour), Limit: time.Hour}, RoundSecret{Scrambles: []string{"R"}}, noon)
	require.NoError(t, err)
	for _, who := range []string{"anna", "bert"} {
		_, _, _, err = s.ShowScramble(ctx, Request{ID: "1", By: who}, "spring", who, 1, noon)
		require.NoError(t, err)
	}
	records := func() map[string][]byte {
		r, err := s.Backup(ctx, "v1")
		require.NoError(t, err)
		defer r.Close()
		all := map[string][]byte{}
		_, err = readBackup(ctx, r, func(kv *pb.KV) error {
			all[string(kv.Key)] = kv.Value
			return nil
		})
		require.NoError(t, err)
		return all
	}
	before := records()
	_, err = s.SubmitEntry(ctx, Request{ID: "2", By: "anna", Digest: [32]byte{1}}, "spring", "anna", 1, Entry{Solution: []byte("R'")}, noon)
	require.NoError(t, err)
	after := records()
	sealed := 0
	for key, value := range before {
		require.Len(t, after[key], len(value), "%q", key)
		if bytes.HasPrefix([]byte(key), []byte(prefixSheet)) || bytes.HasPrefix([]byte(key), []byte(prefixSecret)) {
			sealed++
			assert.NotEqual(t, value, after[key])
		} else {
			assert.Equal(t, string(value), string(after[key]))
		}
	}
	assert.Equal(t, 3, sealed)
	assert.Len(t, after, len(before))
}

// A sealed value is good for its place and key alone.
func TestASealFitsOneKeyAndOnePlace(t *testing.T) {
	key, other := bytes.Repeat([]byte{1}, sealSize), bytes.Repeat([]byte{2}, sealSize)
	value, err := encrypt(key, []byte("here"), "said", 1000)
	require.NoError(t, err)
	got, err := decrypt[string](key, []byte("here"), value)
	require.NoError(t, err)
	assert.Equal(t, "said", got)
	_, err = decrypt[string](other, []byte("here"), value)
	require.Error(t, err)
	_, err = decrypt[string](key, []byte("there"), value)
	require.Error(t, err)
	for i := range value {
		bent := bytes.Clone(value)
		bent[i] ^= 1
		_, err = decrypt[string](key, []byte("here"), bent)
		require.Error(t, err, "byte %d", i)
	}
	longer, err := encrypt(key, []byte("here"), "said at greater length", 1000)
	require.NoError(t, err)
	assert.Len(t, longer, len(value))
	_, err = encrypt(key, []byte("here"), string(make([]byte, 2000)), 1000)
	require.ErrorIs(t, err, ErrTooBig)
}
