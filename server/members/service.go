// Package members serves who may use the server: members, their tokens, and the
// record of what organisers did.
package members

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"strings"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	v1 "turnwright/api/turnwright/v1"
	"turnwright/server/access"
	"turnwright/server/fail"
	"turnwright/server/page"
	"turnwright/storage"
)

// Store is what the service needs of storage.
type Store interface {
	CreateMember(ctx context.Context, r storage.Request, m storage.Member) (storage.Member, error)
	Member(ctx context.Context, id string) (storage.Member, error)
	Members(ctx context.Context, after string, limit int) ([]storage.Member, error)
	DeleteMember(ctx context.Context, r storage.Request, id string) error
	CreateToken(ctx context.Context, r storage.Request, t storage.Token) (storage.Token, error)
	Tokens(ctx context.Context, member, after string, limit int) ([]storage.Token, error)
	DeleteToken(ctx context.Context, r storage.Request, member, id string) error
	AuditEntries(ctx context.Context, before uint64, limit int) ([]storage.AuditEntry, error)
}

// Service answers turnwright.v1.MemberService.
type Service struct {
	v1.UnimplementedMemberServiceServer
	store Store
	pages *page.Tokens
}

// NewService makes the service.
func NewService(store Store, pages *page.Tokens) *Service {
	return &Service{store: store, pages: pages}
}

// Lives of a token.
const (
	defaultLife = 365 * 24 * time.Hour
	maxLife     = 10 * defaultLife
)

var roles = map[v1.Role]storage.Role{
	v1.Role_ROLE_MEMBER: storage.RoleMember, v1.Role_ROLE_ORGANISER: storage.RoleOrganiser, v1.Role_ROLE_WORKER: storage.RoleWorker,
}

var callers = map[access.Role]v1.Role{
	access.Member: v1.Role_ROLE_MEMBER, access.Organiser: v1.Role_ROLE_ORGANISER,
	access.Worker: v1.Role_ROLE_WORKER, access.Local: v1.Role_ROLE_ORGANISER,
}

// GetCaller tells who the caller is.
func (s *Service) GetCaller(ctx context.Context, _ *v1.GetCallerRequest) (*v1.GetCallerResponse, error) {
	c := access.From(ctx)
	out := &v1.GetCallerResponse{Member: name(c.ID), Role: callers[c.Role]}
	if c.Token != "" {
		out.Token, out.ExpireTime = tokenName(c.ID, c.Token), timestamppb.New(c.Expires)
	}
	return out, nil
}

// CreateMember takes a new member.
func (s *Service) CreateMember(ctx context.Context, req *v1.CreateMemberRequest) (*v1.CreateMemberResponse, error) {
	id := req.GetMemberId()
	if !access.ValidID(id) {
		return nil, fail.Field("member_id", "use lower-case letters, digits and hyphens, a letter first, no hyphen last, at most 63; not %q or %q", access.Me, access.LocalID)
	}
	role, ok := roles[req.GetMember().GetRole()]
	if !ok {
		return nil, fail.Field("member.role", "is required: member, organiser or worker")
	}
	r, err := page.Request(ctx, req.GetRequestId(), "CreateMember", id, string(role))
	if err != nil {
		return nil, err
	}
	m, err := s.store.CreateMember(ctx, r, storage.Member{ID: id, Role: role})
	if errors.Is(err, storage.ErrExists) {
		return nil, fail.With(codes.AlreadyExists, v1.ErrorReason_ERROR_REASON_MEMBER_EXISTS,
			fmt.Sprintf("a member is called %q, or was: choose another id", id), "name", name(id))
	}
	if err != nil {
		return nil, explain(name(id), err)
	}
	access.Audit(ctx, "create member", name(id), "as "+string(role))
	return &v1.CreateMemberResponse{Member: memberMessage(m)}, nil
}

// GetMember gives one member.
func (s *Service) GetMember(ctx context.Context, req *v1.GetMemberRequest) (*v1.GetMemberResponse, error) {
	id, err := access.MemberID(ctx, "name", req.GetName())
	if err != nil {
		return nil, err
	}
	m, err := s.store.Member(ctx, id)
	if err != nil {
		return nil, explain(req.GetName(), err)
	}
	return &v1.GetMemberResponse{Member: memberMessage(m)}, nil
}

// ListMembers gives all members by name.
func (s *Service) ListMembers(ctx context.Context, req *v1.ListMembersRequest) (*v1.ListMembersResponse, error) {
	out := &v1.ListMembersResponse{}
	return out, page.List(s.pages, req, "members", &out.NextPageToken,
		func(after string, limit int) ([]storage.Member, error) { return s.store.Members(ctx, after, limit) },
		func(member storage.Member) (proto.Message, string, error) {
			m := memberMessage(member)
			out.Members = append(out.Members, m)
			return m, member.ID, nil
		})
}

// DeleteMember removes a member and its tokens.
func (s *Service) DeleteMember(ctx context.Context, req *v1.DeleteMemberRequest) (*v1.DeleteMemberResponse, error) {
	r, err := page.Request(ctx, req.GetRequestId(), "DeleteMember", req.GetName())
	if err != nil {
		return nil, err
	}
	id, err := access.MemberID(ctx, "name", req.GetName())
	if err != nil {
		return nil, err
	}
	if caller := access.From(ctx); caller.ID == id {
		return nil, fail.With(codes.PermissionDenied, v1.ErrorReason_ERROR_REASON_NOT_ALLOWED,
			"nobody removes themselves, so that an organiser stays: ask another one", "role", caller.Role.String())
	}
	if err := s.store.DeleteMember(ctx, r, id); err != nil {
		return nil, explain(req.GetName(), err)
	}
	access.Audit(ctx, "delete member", name(id), "")
	return &v1.DeleteMemberResponse{}, nil
}

// CreateToken makes a token for a member.
func (s *Service) CreateToken(ctx context.Context, req *v1.CreateTokenRequest) (*v1.CreateTokenResponse, error) {
	id, err := access.MemberID(ctx, "parent", req.GetParent())
	if err != nil {
		return nil, err
	}
	expires := time.Now().Add(defaultLife)
	if t := req.GetToken().GetExpireTime(); t != nil {
		expires = t.AsTime()
		if life := time.Until(expires); !t.IsValid() || life <= 0 || life > maxLife {
			return nil, fail.Field("token.expire_time", "must be in the future, and ten years from now at most")
		}
	}
	r, err := page.Request(ctx, req.GetRequestId(), "CreateToken", id, req.GetToken().GetExpireTime().AsTime().Format(time.RFC3339Nano))
	if err != nil {
		return nil, err
	}
	secret := NewSecret()
	made := storage.Token{ID: strings.ToLower(rand.Text()[:8]), Member: id, Hash: access.Hash(secret), Expires: expires}
	kept, err := s.store.CreateToken(ctx, r, made)
	if err != nil {
		return nil, explain(req.GetParent(), err)
	}
	if kept.Hash != made.Hash { // a repeat: the secret went with the first answer
		return &v1.CreateTokenResponse{Token: tokenMessage(kept)}, nil
	}
	access.Audit(ctx, "create token", tokenName(id, kept.ID), "until "+kept.Expires.Format(time.DateOnly))
	return &v1.CreateTokenResponse{Token: tokenMessage(kept), Secret: secret}, nil
}

// NewSecret makes the secret of a token: 128 random bits and more, with a word before
// them by which it can be told where one turns up that should not.
func NewSecret() string { return "turnwright-" + rand.Text() }

// ListTokens gives the tokens of a member.
func (s *Service) ListTokens(ctx context.Context, req *v1.ListTokensRequest) (*v1.ListTokensResponse, error) {
	id, err := access.MemberID(ctx, "parent", req.GetParent())
	if err != nil {
		return nil, err
	}
	if err := mayTouch(ctx, id); err != nil {
		return nil, err
	}
	out := &v1.ListTokensResponse{}
	err = page.List(s.pages, req, "tokens of "+id, &out.NextPageToken,
		func(after string, limit int) ([]storage.Token, error) { return s.store.Tokens(ctx, id, after, limit) },
		func(token storage.Token) (proto.Message, string, error) {
			m := tokenMessage(token)
			out.Tokens = append(out.Tokens, m)
			return m, token.ID, nil
		})
	return out, explain(req.GetParent(), err)
}

// RevokeToken makes a token worthless.
func (s *Service) RevokeToken(ctx context.Context, req *v1.RevokeTokenRequest) (*v1.RevokeTokenResponse, error) {
	member, token, err := access.TokenID(ctx, "name", req.GetName())
	if err != nil {
		return nil, err
	}
	if err := mayTouch(ctx, member); err != nil {
		return nil, err
	}
	r, err := page.Request(ctx, req.GetRequestId(), "RevokeToken", req.GetName())
	if err != nil {
		return nil, err
	}
	err = s.store.DeleteToken(ctx, r, member, token)
	if errors.Is(err, storage.ErrNotFound) {
		return nil, fail.NoSuch(v1.ErrorReason_ERROR_REASON_TOKEN_NOT_FOUND, "token", req.GetName())
	}
	if err != nil {
		return nil, err
	}
	access.Audit(ctx, "revoke token", tokenName(member, token), "")
	return &v1.RevokeTokenResponse{}, nil
}

// mayTouch refuses those who reach for the tokens of another, whether there are any
// or not.
func mayTouch(ctx context.Context, member string) error {
	if c := access.From(ctx); !c.Organises() && c.ID != member {
		return access.NotAllowed(c, "a token of another member")
	}
	return nil
}

// ListAuditEntries gives the administrative acts, the latest first.
func (s *Service) ListAuditEntries(ctx context.Context, req *v1.ListAuditEntriesRequest) (*v1.ListAuditEntriesResponse, error) {
	out := &v1.ListAuditEntriesResponse{}
	return out, page.List(s.pages, req, "audit", &out.NextPageToken,
		func(before uint64, limit int) ([]storage.AuditEntry, error) {
			return s.store.AuditEntries(ctx, before, limit)
		},
		func(e storage.AuditEntry) (proto.Message, uint64, error) {
			m := &v1.AuditEntry{Time: timestamppb.New(e.Time), Member: name(e.Who), Act: e.Act, Target: e.Target, Details: e.Details}
			out.Entries = append(out.Entries, m)
			return m, e.Number, nil
		})
}

// explain says which member an error of the store is about.
func explain(name string, err error) error {
	switch {
	case errors.Is(err, storage.ErrNotFound):
		return fail.NoSuch(v1.ErrorReason_ERROR_REASON_MEMBER_NOT_FOUND, "member", name)
	case errors.Is(err, storage.ErrLimit):
		return fail.With(codes.ResourceExhausted, v1.ErrorReason_ERROR_REASON_MEMBER_LIMIT, err.Error()+": remove some first")
	}
	return err
}

func name(id string) string { return "members/" + id }

func tokenName(member, id string) string { return name(member) + "/tokens/" + id }

func memberMessage(m storage.Member) *v1.Member {
	out := &v1.Member{Name: name(m.ID), CreateTime: timestamppb.New(m.Created)}
	for role, stored := range roles {
		if stored == m.Role {
			out.Role = role
		}
	}
	return out
}

func tokenMessage(t storage.Token) *v1.Token {
	out := &v1.Token{Name: tokenName(t.Member, t.ID), CreateTime: timestamppb.New(t.Created), ExpireTime: timestamppb.New(t.Expires)}
	if !t.Used.IsZero() {
		out.LastUseTime = timestamppb.New(t.Used)
	}
	return out
}
