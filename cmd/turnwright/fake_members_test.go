package main

import (
	"context"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/types/known/timestamppb"

	v1 "turnwright/api/turnwright/v1"
)

func (f *fake) GetCaller(context.Context, *v1.GetCallerRequest) (*v1.GetCallerResponse, error) {
	return &v1.GetCallerResponse{
		Member: "members/anna", Role: v1.Role_ROLE_MEMBER, Token: "members/anna/tokens/k3x9", ExpireTime: inventedTime(365),
	}, nil
}

func (f *fake) CreateMember(_ context.Context, r *v1.CreateMemberRequest) (*v1.CreateMemberResponse, error) {
	if err := f.record(r); err != nil {
		return nil, err
	}
	if r.GetMemberId() == "bert" {
		return nil, refused(codes.AlreadyExists, "MEMBER_EXISTS", "a member is called %q, or was: choose another id", "bert")
	}
	return &v1.CreateMemberResponse{Member: &v1.Member{Name: "members/" + r.GetMemberId(), Role: r.GetMember().GetRole()}}, nil
}

func (f *fake) ListMembers(_ context.Context, r *v1.ListMembersRequest) (*v1.ListMembersResponse, error) {
	if r.GetPageToken() == "" {
		return &v1.ListMembersResponse{
			Members:       []*v1.Member{{Name: "members/anna", Role: v1.Role_ROLE_MEMBER, CreateTime: inventedTime(0)}},
			NextPageToken: "2",
		}, nil
	}
	return &v1.ListMembersResponse{Members: []*v1.Member{{Name: "members/mill", Role: v1.Role_ROLE_WORKER, CreateTime: inventedTime(1)}}}, nil
}

func (f *fake) DeleteMember(_ context.Context, r *v1.DeleteMemberRequest) (*v1.DeleteMemberResponse, error) {
	return &v1.DeleteMemberResponse{}, f.record(r)
}

func (f *fake) CreateToken(_ context.Context, r *v1.CreateTokenRequest) (*v1.CreateTokenResponse, error) {
	if err := f.record(r); err != nil {
		return nil, err
	}
	reply := &v1.CreateTokenResponse{Token: inventedTokens(r.GetParent())[0], Secret: "turnwright-INVENTED"}
	if r.GetParent() == "members/bert" { // as for a request that came twice
		reply.Secret = ""
	}
	return reply, nil
}

func (f *fake) ListTokens(_ context.Context, r *v1.ListTokensRequest) (*v1.ListTokensResponse, error) {
	if r.GetParent() == "members/bert" {
		return nil, refused(codes.PermissionDenied, "NOT_ALLOWED", "a token of another member is not for the role %q", "member")
	}
	return &v1.ListTokensResponse{Tokens: inventedTokens("members/anna")}, nil
}

func (f *fake) RevokeToken(_ context.Context, r *v1.RevokeTokenRequest) (*v1.RevokeTokenResponse, error) {
	return &v1.RevokeTokenResponse{}, f.record(r)
}

func (f *fake) ListAuditEntries(context.Context, *v1.ListAuditEntriesRequest) (*v1.ListAuditEntriesResponse, error) {
	return &v1.ListAuditEntriesResponse{Entries: []*v1.AuditEntry{
		{Time: inventedTime(2), Member: "members/olga", Act: "delete search", Target: "searches/done", Details: "of members/anna"},
		{Time: inventedTime(1), Member: "members/local", Act: "create member", Target: "members/anna", Details: "as member"},
		{Time: inventedTime(0), Member: "members/local", Act: "take backup"},
	}}, nil
}

func inventedTokens(member string) []*v1.Token {
	return []*v1.Token{
		{Name: member + "/tokens/k3x9", CreateTime: inventedTime(0), ExpireTime: inventedTime(365)},
		{Name: member + "/tokens/m7ab", CreateTime: inventedTime(0), ExpireTime: inventedTime(90), LastUseTime: inventedTime(3)},
	}
}

func inventedTime(days int) *timestamppb.Timestamp {
	return timestamppb.New(time.Date(2024, 2, 29, 12, 0, 0, 0, time.UTC).AddDate(0, 0, days))
}
