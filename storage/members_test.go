package storage_test

import (
	"crypto/sha256"
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"turnwright/storage"
)

func newToken(member, id string, life time.Duration) storage.Token {
	return storage.Token{ID: id, Member: member, Hash: sha256.Sum256([]byte(member + id)), Expires: time.Now().Add(life)}
}

func TestMembersAndTokensComeAndGo(t *testing.T) {
	ctx := t.Context()
	dir := t.TempDir()
	s := open(t, dir)
	some, err := s.AnyToken(ctx)
	require.NoError(t, err)
	assert.False(t, some)
	for _, id := range []string{"bert", "anna", "carl"} {
		_, err := s.CreateMember(ctx, storage.Request{ID: "create-" + id}, storage.Member{ID: id, Role: storage.RoleMember})
		require.NoError(t, err)
	}
	_, err = s.CreateMember(ctx, storage.Request{}, storage.Member{ID: "anna", Role: storage.RoleOrganiser})
	require.ErrorIs(t, err, storage.ErrExists)
	again, err := s.CreateMember(ctx, storage.Request{ID: "create-anna"}, storage.Member{ID: "anna", Role: storage.RoleMember})
	require.NoError(t, err, "a repeat")
	assert.Equal(t, storage.RoleMember, again.Role)

	_, err = s.CreateToken(ctx, storage.Request{}, newToken("dora", "t1", time.Hour))
	require.ErrorIs(t, err, storage.ErrNotFound)
	_, err = s.CreateToken(ctx, storage.Request{}, newToken("anna", "t1", -time.Hour))
	require.NoError(t, err)
	some, err = s.AnyToken(ctx)
	require.NoError(t, err)
	assert.False(t, some, "it has expired")
	kept, err := s.CreateToken(ctx, storage.Request{}, newToken("anna", "t2", time.Hour))
	require.NoError(t, err)
	some, err = s.AnyToken(ctx)
	require.NoError(t, err)
	assert.True(t, some)
	require.NoError(t, s.TokenUsed(ctx, kept.Hash))

	require.NoError(t, s.Close())
	s = open(t, dir)
	defer s.Close()
	token, member, err := s.TokenByHash(ctx, kept.Hash)
	require.NoError(t, err)
	assert.Equal(t, "anna", member.ID)
	assert.False(t, token.Used.IsZero())
	token.Used = time.Time{}
	assert.Equal(t, kept, token)

	require.NoError(t, s.DeleteToken(ctx, storage.Request{}, "anna", "t1"))
	require.ErrorIs(t, s.DeleteToken(ctx, storage.Request{}, "anna", "t1"), storage.ErrNotFound)
	tokens, err := s.Tokens(ctx, "anna", "", 10)
	require.NoError(t, err)
	require.Len(t, tokens, 1)
	assert.Equal(t, "t2", tokens[0].ID)

	require.NoError(t, s.DeleteMember(ctx, storage.Request{ID: "delete"}, "anna"))
	require.NoError(t, s.DeleteMember(ctx, storage.Request{ID: "delete"}, "anna"), "a repeat")
	require.ErrorIs(t, s.DeleteMember(ctx, storage.Request{}, "anna"), storage.ErrNotFound)
	_, _, err = s.TokenByHash(ctx, kept.Hash)
	require.ErrorIs(t, err, storage.ErrNotFound)
	_, err = s.Tokens(ctx, "anna", "", 10)
	require.ErrorIs(t, err, storage.ErrNotFound)
	_, err = s.CreateMember(ctx, storage.Request{}, storage.Member{ID: "anna"})
	require.ErrorIs(t, err, storage.ErrExists, "what was anna's stays anna's")
	page, err := s.Members(ctx, "", 1)
	require.NoError(t, err)
	require.Len(t, page, 1)
	assert.Equal(t, "bert", page[0].ID)
	page, err = s.Members(ctx, "bert", 10)
	require.NoError(t, err)
	require.Len(t, page, 1)
	assert.Equal(t, "carl", page[0].ID)
}

func TestTokensOfOneMemberAreBounded(t *testing.T) {
	s := fresh(t)
	_, err := s.CreateMember(t.Context(), storage.Request{}, storage.Member{ID: "anna"})
	require.NoError(t, err)
	for i := range storage.MaxTokens {
		_, err := s.CreateToken(t.Context(), storage.Request{}, newToken("anna", fmt.Sprint("t", i), time.Hour))
		require.NoError(t, err)
	}
	_, err = s.CreateToken(t.Context(), storage.Request{}, newToken("anna", "more", time.Hour))
	require.ErrorIs(t, err, storage.ErrLimit)
	require.NoError(t, s.DeleteMember(t.Context(), storage.Request{}, "anna"))
	some, err := s.AnyToken(t.Context())
	require.NoError(t, err)
	assert.False(t, some, "all went with the member")
}

// anna and bert may change only what is theirs, zoe everything.
func TestSearchesBelongToWhoAsked(t *testing.T) {
	ctx := t.Context()
	s := fresh(t)
	by := func(who string) storage.Request { return storage.Request{By: who, Only: who != "zoe", Quota: 2} }
	for _, c := range []struct{ id, who string }{{"a1", "anna"}, {"b1", "bert"}, {"a2", "anna"}, {"z1", "zoe"}} {
		search, err := s.CreateSearch(ctx, by(c.who), c.id, storage.Spec{})
		require.NoError(t, err)
		assert.Equal(t, c.who, search.Owner)
	}
	_, err := s.CreateSearch(ctx, storage.Request{}, "old", storage.Spec{}) // as before there were members
	require.NoError(t, err)
	_, err = s.CreateSearch(ctx, by("anna"), "a3", storage.Spec{})
	require.ErrorIs(t, err, storage.ErrLimit)

	for _, c := range []struct {
		who, id string
		err     error
	}{
		{"bert", "a1", storage.ErrNotOwner},
		{"bert", "old", storage.ErrNotOwner},
		{"", "old", storage.ErrNotOwner},
		{"bert", "none", storage.ErrNotFound},
		{"anna", "a1", nil},
		{"anna", "a1", nil}, // it has ended already
		{"zoe", "b1", nil},
		{"zoe", "old", nil},
	} {
		_, err := s.Move(ctx, by(c.who), c.id, storage.Cancelled, storage.Detail{})
		require.ErrorIs(t, err, c.err, "%s cancels %s", c.who, c.id)
	}
	require.ErrorIs(t, s.DeleteSearch(ctx, by("bert"), "a1"), storage.ErrNotOwner)
	require.ErrorIs(t, s.DeleteSearch(ctx, by("bert"), "a2"), storage.ErrNotOwner, "before its state is told")
	_, err = s.CreateSearch(ctx, by("anna"), "a3", storage.Spec{})
	require.NoError(t, err, "one has ended")

	list := func(owner string, before uint64, limit int) (ids []string, last uint64) {
		page, err := s.SearchesOf(ctx, owner, before, limit)
		require.NoError(t, err)
		for _, search := range page {
			ids, last = append(ids, search.ID), search.Number
		}
		return ids, last
	}
	ids, last := list("anna", 0, 2)
	assert.Equal(t, []string{"a3", "a2"}, ids)
	ids, _ = list("anna", last, 2)
	assert.Equal(t, []string{"a1"}, ids)
	require.NoError(t, s.DeleteSearch(ctx, by("anna"), "a1"))
	ids, _ = list("anna", 0, 9)
	assert.Equal(t, []string{"a3", "a2"}, ids)
	ids, _ = list("ann", 0, 9)
	assert.Empty(t, ids)
}

func TestRequestIDsOfTwoMembersDoNotMeet(t *testing.T) {
	s := fresh(t)
	a, err := s.CreateSearch(t.Context(), storage.Request{ID: "one", By: "anna"}, "a", storage.Spec{})
	require.NoError(t, err)
	b, err := s.CreateSearch(t.Context(), storage.Request{ID: "one", By: "bert"}, "b", storage.Spec{})
	require.NoError(t, err)
	assert.NotEqual(t, a.ID, b.ID)
}

func TestTheAuditLogKeepsTheLatest(t *testing.T) {
	s, err := storage.Open(storage.Options{Dir: t.TempDir(), Free: plenty, MaxAudit: 5})
	require.NoError(t, err)
	defer s.Close()
	for i := range 8 {
		require.NoError(t, s.Audit(t.Context(), storage.AuditEntry{Who: "anna", Act: "cancel search", Target: fmt.Sprint(i)}))
	}
	first, err := s.AuditEntries(t.Context(), 0, 3)
	require.NoError(t, err)
	rest, err := s.AuditEntries(t.Context(), first[len(first)-1].Number, 100)
	require.NoError(t, err)
	var targets []string
	for _, e := range append(first, rest...) {
		targets = append(targets, e.Target)
	}
	assert.Equal(t, []string{"7", "6", "5", "4", "3"}, targets)
}
