package storage

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/dgraph-io/badger/v4"
)

// Role is what a member may do.
type Role string

// The roles.
const (
	RoleMember    Role = "member"    // asks, and changes what is theirs
	RoleOrganiser Role = "organiser" // changes everything
	RoleWorker    Role = "worker"    // a machine that works for the server
)

// Member is somebody, or a machine, that may use the server.
type Member struct {
	ID      string    `json:"id"` // the last part of its name in the API; never given to another
	Role    Role      `json:"role"`
	Created time.Time `json:"created"`
	Deleted time.Time `json:"deleted,omitzero"` // only the record is left, so that the id stays taken
}

// Token is what a member proves itself with, without the secret.
type Token struct {
	ID      string    `json:"id"` // unique among the tokens of the member
	Member  string    `json:"member"`
	Hash    [32]byte  `json:"hash"` // SHA-256 of the secret
	Created time.Time `json:"created"`
	Expires time.Time `json:"expires"`
	Used    time.Time `json:"used,omitzero"` // last, as far as it was told
}

// Bounds of what is kept.
const (
	MaxMembers = 1000
	MaxTokens  = 100 // of one member
)

// CreateMember keeps a new member. [ErrExists] where the id is taken or was,
// [ErrLimit] where there are too many.
func (s *Store) CreateMember(ctx context.Context, r Request, m Member) (Member, error) {
	err := s.update(ctx, growth, func(txn *badger.Txn) (err error) {
		m, err = once(txn, r, func() (Member, error) { return createMember(txn, m) })
		return err
	})
	return m, err
}

func createMember(txn *badger.Txn, m Member) (Member, error) {
	taken, err := exists(txn, memberKey(m.ID))
	if err != nil {
		return m, err
	}
	if taken {
		return m, fmt.Errorf("member %q: %w", m.ID, ErrExists)
	}
	count := 0
	err = scan(txn, []byte(prefixMember), nil, true, func(item *badger.Item) (bool, error) {
		old, err := decode[Member](item)
		if old.Deleted.IsZero() {
			count++
		}
		return true, err
	})
	if err != nil {
		return m, err
	}
	if count >= MaxMembers {
		return m, fmt.Errorf("%w: there are %d members", ErrLimit, count)
	}
	m.Created = now()
	return m, put(txn, memberKey(m.ID), m)
}

// Member gives the member of that id.
func (s *Store) Member(ctx context.Context, id string) (Member, error) {
	var m Member
	err := s.view(ctx, func(txn *badger.Txn) (err error) {
		m, err = memberByID(txn, id)
		return err
	})
	return m, err
}

func memberByID(txn *badger.Txn, id string) (Member, error) {
	m, err := get[Member](txn, memberKey(id))
	if err == nil && !m.Deleted.IsZero() {
		err = ErrNotFound
	}
	if err != nil {
		return Member{}, fmt.Errorf("member %q: %w", id, err)
	}
	return m, nil
}

// Members gives the members by id, at most limit of them, those after an id.
func (s *Store) Members(ctx context.Context, after string, limit int) ([]Member, error) {
	var page []Member
	var start []byte
	if after != "" {
		start = memberKey(after)
	}
	err := s.view(ctx, func(txn *badger.Txn) error {
		return scan(txn, []byte(prefixMember), start, true, func(item *badger.Item) (bool, error) {
			m, err := decode[Member](item)
			if m.Deleted.IsZero() {
				page = append(page, m)
			}
			return len(page) < limit, err
		})
	})
	return page, err
}

// DeleteMember removes a member and its tokens. Its searches stay, and its id is
// not given again, or they would be somebody else's.
func (s *Store) DeleteMember(ctx context.Context, r Request, id string) error {
	return s.update(ctx, release, func(txn *badger.Txn) error {
		_, err := once(txn, r, func() (struct{}, error) { return struct{}{}, deleteMember(txn, id) })
		return err
	})
}

func deleteMember(txn *badger.Txn, id string) error {
	m, err := memberByID(txn, id)
	if err != nil {
		return err
	}
	tokens, err := tokensOf(txn, id, "", MaxTokens)
	if err != nil {
		return err
	}
	for _, t := range tokens {
		if err := deleteToken(txn, t); err != nil {
			return err
		}
	}
	m.Deleted = now()
	return put(txn, memberKey(id), m)
}

// CreateToken keeps a new token of a member. [ErrNotFound] where there is no such
// member, [ErrLimit] where it has too many.
func (s *Store) CreateToken(ctx context.Context, r Request, t Token) (Token, error) {
	err := s.update(ctx, growth, func(txn *badger.Txn) (err error) {
		t, err = once(txn, r, func() (Token, error) { return createToken(txn, t) })
		return err
	})
	return t, err
}

func createToken(txn *badger.Txn, t Token) (Token, error) {
	if _, err := memberByID(txn, t.Member); err != nil {
		return t, err
	}
	others, err := tokensOf(txn, t.Member, "", MaxTokens)
	if err != nil {
		return t, err
	}
	if len(others) >= MaxTokens {
		return t, fmt.Errorf("%w: member %q has %d tokens", ErrLimit, t.Member, len(others))
	}
	t.Created, t.Expires = now(), t.Expires.UTC().Round(0)
	return t, errors.Join(
		put(txn, tokenKey(t.Member, t.ID), t),
		put(txn, tokenHashKey(t.Hash), path(t.Member, t.ID)),
	)
}

// Tokens gives the tokens of a member by id, at most limit of them, those after an
// id; expired ones too.
func (s *Store) Tokens(ctx context.Context, member, after string, limit int) ([]Token, error) {
	var page []Token
	err := s.view(ctx, func(txn *badger.Txn) (err error) {
		if _, err = memberByID(txn, member); err != nil {
			return err
		}
		page, err = tokensOf(txn, member, after, limit)
		return err
	})
	return page, err
}

func tokensOf(txn *badger.Txn, member, after string, limit int) ([]Token, error) {
	var page []Token
	var start []byte
	if after != "" {
		start = tokenKey(member, after)
	}
	err := scan(txn, tokensPrefix(member), start, true, func(item *badger.Item) (bool, error) {
		t, err := decode[Token](item)
		page = append(page, t)
		return len(page) < limit, err
	})
	return page, err
}

// DeleteToken makes a token worthless.
func (s *Store) DeleteToken(ctx context.Context, r Request, member, id string) error {
	return s.update(ctx, release, func(txn *badger.Txn) error {
		_, err := once(txn, r, func() (struct{}, error) {
			t, err := get[Token](txn, tokenKey(member, id))
			if err != nil {
				return struct{}{}, fmt.Errorf("token %q of %q: %w", id, member, err)
			}
			return struct{}{}, deleteToken(txn, t)
		})
		return err
	})
}

func deleteToken(txn *badger.Txn, t Token) error {
	return errors.Join(
		txn.Delete(tokenKey(t.Member, t.ID)),
		txn.Delete(tokenHashKey(t.Hash)),
	)
}

// TokenByHash gives the token whose secret has that SHA-256, and its member;
// [ErrNotFound] where there is none. Whether it has expired is for the caller to see.
func (s *Store) TokenByHash(ctx context.Context, hash [32]byte) (Token, Member, error) {
	var t Token
	var m Member
	err := s.view(ctx, func(txn *badger.Txn) (err error) {
		if t, err = tokenByHash(txn, hash); err != nil {
			return err
		}
		m, err = memberByID(txn, t.Member)
		return err
	})
	return t, m, err
}

func tokenByHash(txn *badger.Txn, hash [32]byte) (Token, error) {
	key, err := get[string](txn, tokenHashKey(hash))
	if err != nil {
		return Token{}, err
	}
	return get[Token](txn, []byte(prefixToken+key))
}

// TokenUsed notes that a token was used.
func (s *Store) TokenUsed(ctx context.Context, hash [32]byte) error {
	return s.update(ctx, growth, func(txn *badger.Txn) error {
		t, err := tokenByHash(txn, hash)
		if err != nil {
			return err
		}
		t.Used = now()
		return put(txn, tokenKey(t.Member, t.ID), t)
	})
}

// AnyToken tells whether there is a token that has not expired.
func (s *Store) AnyToken(ctx context.Context) (bool, error) {
	found, at := false, now()
	err := s.view(ctx, func(txn *badger.Txn) error {
		return scan(txn, []byte(prefixToken), nil, true, func(item *badger.Item) (bool, error) {
			t, err := decode[Token](item)
			found = found || t.Expires.After(at)
			return !found, err
		})
	})
	return found, err
}
