package storage_test

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/dgraph-io/badger/v4"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"turnwright/storage"
)

var noon = time.Date(2026, 11, 28, 12, 0, 0, 0, time.UTC)

// newRound is a round from 13 to 16 o'clock, with two attempts of an hour each.
func newRound(id string) storage.Round {
	return storage.Round{
		ID: id, Puzzle: "p", Metric: "obtm", Format: storage.FormatBest, Attempts: 2, Commitment: "c",
		Opens: noon.Add(time.Hour), Closes: noon.Add(4 * time.Hour), Limit: time.Hour,
	}
}

var secret = storage.RoundSecret{Seed: "5eed", Scrambles: []string{"first scramble", "second scramble"}}

// open14 makes a round and hands something in at 14 o'clock.
func open14(t testing.TB, s *storage.Store, id string) {
	t.Helper()
	ctx := context.Background()
	_, err := s.CreateRound(ctx, storage.Request{By: "olga"}, newRound(id), secret, noon)
	require.NoError(t, err)
	_, _, scramble, err := s.ShowScramble(ctx, storage.Request{}, id, "anna", 1, noon.Add(2*time.Hour))
	require.NoError(t, err)
	require.Equal(t, "first scramble", scramble)
	_, err = s.SubmitEntry(ctx, storage.Request{}, id, "anna", 1, storage.Entry{Solution: []byte("heliotrope")}, noon.Add(2*time.Hour))
	require.NoError(t, err)
}

func TestAnEntryThatWasTakenSurvivesACrash(t *testing.T) {
	dir := t.TempDir()
	s := open(t, dir)
	defer s.Close()
	open14(t, s, "spring")
	crashed := afterCrash(t, dir)
	seal, err := os.ReadFile(filepath.Join(dir, "seal"))
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(filepath.Join(crashed, "seal"), seal, 0o600))
	again := open(t, crashed)
	defer again.Close()
	_, sheet, err := again.Entry(t.Context(), "spring", "anna", 1, "anna", noon.Add(2*time.Hour))
	require.NoError(t, err)
	assert.Equal(t, "heliotrope", string(sheet.Entry.Solution))
	require.NoError(t, again.DeleteMember(t.Context(), storage.Request{}, mustMember(t, again, "anna")))
	_, sheet, err = again.Entry(t.Context(), "spring", "anna", 1, "", noon.Add(5*time.Hour))
	require.NoError(t, err, "what members handed in stays when they go")
	assert.Equal(t, "heliotrope", string(sheet.Entry.Solution))
}

func mustMember(t testing.TB, s *storage.Store, id string) string {
	_, err := s.CreateMember(t.Context(), storage.Request{}, storage.Member{ID: id, Role: storage.RoleMember})
	require.NoError(t, err)
	return id
}

// A backup of an open round holds all, and tells nothing without the seal.
func TestABackupKeepsSeals(t *testing.T) {
	dir := t.TempDir()
	s := open(t, dir)
	defer s.Close()
	open14(t, s, "spring")
	data := backup(t, s)
	for _, word := range []string{"heliotrope", "first scramble", "5eed"} {
		assert.NotContains(t, string(data), word)
	}

	alone, with := filepath.Join(t.TempDir(), "alone"), filepath.Join(t.TempDir(), "with")
	_, err := restore(t, alone, data)
	require.NoError(t, err)
	require.NoError(t, os.MkdirAll(with, 0o700))
	seal, err := os.ReadFile(filepath.Join(dir, "seal"))
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(filepath.Join(with, "seal"), seal, 0o600))
	_, err = restore(t, with, data)
	require.NoError(t, err)

	a := open(t, alone)
	defer a.Close()
	late := noon.Add(5 * time.Hour)
	r, err := a.Round(t.Context(), "spring", late)
	require.NoError(t, err)
	assert.Equal(t, storage.RoundOpen, r.State, "it can't close, as nobody could open it then")
	_, _, _, err = a.ShowScramble(t.Context(), storage.Request{}, "spring", "anna", 1, noon)
	assert.ErrorIs(t, err, storage.ErrSealMissing)
	_, _, err = a.Entry(t.Context(), "spring", "anna", 1, "anna", late)
	assert.ErrorIs(t, err, storage.ErrSealMissing)
	lines, _ := check(t, a, false)
	assert.Equal(t, []string{"round spring: a sealed record of it can't be opened"}, lines)
	_, err = a.EndRound(t.Context(), storage.Request{}, "spring", late, storage.RoundCalledOff, storage.RoundChange{})
	require.NoError(t, err)

	w := open(t, with)
	defer w.Close()
	lines, _ = check(t, w, false)
	assert.Empty(t, lines)
	_, sheet, err := w.Entry(t.Context(), "spring", "anna", 1, "bert", late)
	require.NoError(t, err)
	assert.Equal(t, "heliotrope", string(sheet.Entry.Solution))

	// When it has closed, a backup can be read anywhere.
	_, err = s.Round(t.Context(), "spring", late)
	require.NoError(t, err)
	elsewhere := filepath.Join(t.TempDir(), "elsewhere")
	_, err = restore(t, elsewhere, backup(t, s))
	require.NoError(t, err)
	e := open(t, elsewhere)
	defer e.Close()
	_, sheet, err = e.Entry(t.Context(), "spring", "anna", 1, "bert", noon)
	require.NoError(t, err)
	assert.Equal(t, "heliotrope", string(sheet.Entry.Solution))
	_, kept, err := e.RoundSecret(t.Context(), "spring", noon)
	require.NoError(t, err)
	assert.Equal(t, secret, kept)
}

// What is damaged of rounds on purpose. The round has number 1.
func TestWhatIsDamagedOfRoundsIsNamed(t *testing.T) {
	base := t.TempDir()
	s := open(t, base)
	open14(t, s, "spring")
	require.NoError(t, s.Close())
	number := uint64(1)
	for name, c := range map[string]struct {
		damage func(*badger.Txn) error
		says   string
		left   int
	}{
		"a name that is gone":          {gone("w/spring"), "round spring: it is not found by its name", 0},
		"a name of nothing":            {with("w/summer", "7"), "round summer: the name leads nowhere", 0},
		"the last number":              {with("m/rounds", "0"), "the number of the last round: it is lower than one that was given, or can't be read", 0},
		"scrambles that are gone":      {gone("c/"), "round spring: its scrambles are missing", 1},
		"scrambles that were changed":  {with(key("c/", number), "nonsense"), "round spring: a sealed record of it can't be opened", 1},
		"a sheet in another's place":   {moved("x/", key("x/", number)+"bert\x00\x01"), "round spring: a sealed record of it can't be opened", 1},
		"a sheet of no round":          {with(key("x/", 9)+"anna\x00\x01", "x"), "round number 9: there are records of it, but not itself", 1},
		"a look that can't be read":    {with(key("t/", number)+"\x00\x00\x00\x00\x00\x00\x00\x01", "{"), "round spring: what tells of a look at a scramble can't be read", 1},
		"a round that can't be read":   {with(key("v/", ^number), "{"), "round number 1: its record can't be read", 1},
		"nothing at all, nothing said": {both(), "", 0},
	} {
		t.Run(name, func(t *testing.T) {
			dir := t.TempDir()
			require.NoError(t, copyFiles(dir, base))
			seal, err := os.ReadFile(filepath.Join(base, "seal"))
			require.NoError(t, err)
			require.NoError(t, os.WriteFile(filepath.Join(dir, "seal"), seal, 0o600))
			s := damaged(t, dir, "state", c.damage)
			lines, left := check(t, s, true)
			if c.says == "" {
				assert.Empty(t, lines)
				return
			}
			assert.Equal(t, []string{c.says}, lines)
			assert.Equal(t, c.left, left)
			lines, _ = check(t, s, false)
			assert.Len(t, lines, c.left, "what can be mended is")
		})
	}
}

// moved copies the first record under a prefix to another key.
func moved(prefix, to string) func(*badger.Txn) error {
	return func(txn *badger.Txn) error {
		return onKey(txn, prefix, 0, func(_, value []byte) error { return txn.Set([]byte(to), slices.Clone(value)) })
	}
}

// roundModel is one round in plain maps.
type roundModel struct {
	state   storage.RoundState
	closes  time.Time
	shown   map[storage.EntryPlace]time.Time
	entries map[storage.EntryPlace]string
	times   map[storage.EntryPlace]int
	looks   []string
}

func (m *roundModel) tick(at time.Time) {
	if m.state == storage.RoundAnnounced && !at.Before(noon.Add(time.Hour)) {
		m.state = storage.RoundOpen
	}
	if m.state == storage.RoundOpen && !at.Before(m.closes) {
		m.state = storage.RoundClosed
	}
}

// Random calls at random times, with a clock that jumps both ways: the store says what a
// model in maps says.
func TestARoundIsItsModel(t *testing.T) {
	s, err := storage.Open(storage.Options{Dir: t.TempDir(), Free: plenty, MaxRounds: 1e6})
	require.NoError(t, err)
	defer s.Close()
	n := 0
	rapid.Check(t, func(t *rapid.T) {
		n++
		id := fmt.Sprint("r", n)
		ctx := context.Background()
		_, err := s.CreateRound(ctx, storage.Request{}, newRound(id), secret, noon)
		must(t, err)
		m := roundModel{
			state: storage.RoundAnnounced, closes: noon.Add(4 * time.Hour),
			shown: map[storage.EntryPlace]time.Time{}, entries: map[storage.EntryPlace]string{}, times: map[storage.EntryPlace]int{},
		}
		for step := range rapid.IntRange(5, 25).Draw(t, "steps") {
			at := noon.Add(time.Duration(rapid.IntRange(0, 50).Draw(t, "tenths")) * 6 * time.Minute)
			who := rapid.SampledFrom([]string{"anna", "anna-b", "bert"}).Draw(t, "who")
			place := storage.EntryPlace{Member: who, Attempt: rapid.IntRange(1, 2).Draw(t, "attempt")}
			if rapid.IntRange(0, 2).Draw(t, "asks") == 0 {
				_, err := s.Rounds(ctx, 0, 1, at)
				must(t, err)
				m.tick(at)
			}
			act := rapid.SampledFrom([]string{"look", "look", "enter", "enter", "read", "list", "views", "close", "off", "later"}).Draw(t, "act")
			if (act == "close" || act == "off") && rapid.IntRange(0, 3).Draw(t, "seldom") > 0 {
				continue
			}
			m.tick(at)
			switch act {
			case "look":
				_, sheet, _, err := s.ShowScramble(ctx, storage.Request{}, id, who, place.Attempt, at)
				agree(t, m.state == storage.RoundOpen, err, storage.ErrState)
				if err == nil {
					first := m.shown[place].IsZero()
					if first {
						m.shown[place] = at
					}
					m.looks = append(m.looks, fmt.Sprint(who, place.Attempt, first))
					alike(t, m.shown[place], sheet.Shown)
				}
			case "enter":
				text := fmt.Sprint("solution ", step)
				sheet, err := s.SubmitEntry(ctx, storage.Request{}, id, who, place.Attempt, storage.Entry{Solution: []byte(text)}, at)
				shown, there := m.shown[place]
				switch {
				case m.state != storage.RoundOpen:
					agree(t, false, err, storage.ErrState)
				case !there:
					agree(t, false, err, storage.ErrNotShown)
				default:
					agree(t, at.Before(shown.Add(time.Hour)), err, storage.ErrTimeOver)
				}
				if err == nil {
					m.entries[place] = text
					m.times[place]++
					alike(t, m.times[place], sheet.Entry.Revision)
				}
			case "read":
				reader := rapid.SampledFrom([]string{"anna", "anna-b", "bert", ""}).Draw(t, "reader")
				_, sheet, err := s.Entry(ctx, id, who, place.Attempt, reader, at)
				text, there := m.entries[place]
				agree(t, there && (m.state == storage.RoundClosed || reader == who), err, storage.ErrNotFound)
				if err == nil {
					alike(t, text, string(sheet.Entry.Solution))
				}
			case "list":
				got := map[storage.EntryPlace]string{}
				for after := (storage.EntryPlace{}); ; {
					_, page, err := s.Entries(ctx, id, who, after, 2, at)
					must(t, err)
					for _, sheet := range page {
						after = storage.EntryPlace{Member: sheet.Member, Attempt: sheet.Attempt}
						got[after] = string(sheet.Entry.Solution)
					}
					if len(page) < 2 {
						break
					}
				}
				want := map[storage.EntryPlace]string{}
				for p, text := range m.entries {
					if m.state == storage.RoundClosed || p.Member == who {
						want[p] = text
					}
				}
				alike(t, want, got)
			case "views":
				views, err := s.Views(ctx, id, "", 0, 1000, at)
				must(t, err)
				var got []string
				for _, v := range views {
					got = append(got, fmt.Sprint(v.Member, v.Attempt, v.First))
				}
				alike(t, m.looks, got)
			case "close", "off":
				to := map[string]storage.RoundState{"close": storage.RoundClosed, "off": storage.RoundCalledOff}[act]
				_, err := s.EndRound(ctx, storage.Request{}, id, at, to, storage.RoundChange{})
				agree(t, m.state.CanBecome(to), err, storage.ErrState)
				if err == nil {
					m.state = to
				}
			case "later":
				_, err := s.ChangeRound(ctx, storage.Request{}, id, at, func(r *storage.Round, _ *storage.RoundSecret) error {
					r.Closes = r.Closes.Add(6 * time.Minute)
					return nil
				})
				agree(t, !m.state.Over(), err, storage.ErrState)
				if err == nil {
					m.closes = m.closes.Add(6 * time.Minute)
				}
			}
			r, err := s.Round(ctx, id, noon)
			must(t, err)
			alike(t, m.state, r.State)
			if (r.State == storage.RoundClosed) != (len(r.Key) > 0) {
				t.Fatalf("the key of a round is told when it has closed, and only then: %s", r.State)
			}
		}
	})
}

// agree wants no error where it is well, and that one otherwise.
func agree(t *rapid.T, well bool, err, otherwise error) {
	t.Helper()
	if well && err != nil || !well && !errors.Is(err, otherwise) {
		t.Fatalf("got %v, wanted %v: %v", err, otherwise, !well)
	}
}

func alike(t *rapid.T, want, got any) {
	t.Helper()
	a, _ := json.Marshal(want)
	b, _ := json.Marshal(got)
	if !bytes.Equal(a, b) {
		t.Fatalf("wanted %s, got %s", a, b)
	}
}

func TestRoundsAreLimited(t *testing.T) {
	dir := t.TempDir()
	s, err := storage.Open(storage.Options{Dir: dir, Free: plenty, MaxRounds: 1})
	require.NoError(t, err)
	defer s.Close()
	_, err = s.CreateRound(t.Context(), storage.Request{}, newRound("last"), secret, noon)
	require.NoError(t, err)
	_, err = s.CreateRound(t.Context(), storage.Request{}, newRound("more"), secret, noon)
	require.ErrorIs(t, err, storage.ErrLimit)
	for range storage.MaxViews + 3 {
		_, _, _, err := s.ShowScramble(t.Context(), storage.Request{}, "last", "anna", 1, noon.Add(time.Hour))
		require.NoError(t, err)
	}
	views, err := s.Views(t.Context(), "last", "anna", 0, 1000, noon)
	require.NoError(t, err)
	assert.Len(t, views, storage.MaxViews)
	_, err = s.SubmitEntry(t.Context(), storage.Request{}, "last", "anna", 1, storage.Entry{Solution: []byte(strings.Repeat("x", 64<<10))}, noon.Add(time.Hour))
	require.ErrorIs(t, err, storage.ErrTooBig)
}
