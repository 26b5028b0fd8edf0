package access

import (
	"context"
	"regexp"
	"strings"

	"turnwright/server/fail"
	"turnwright/server/read"
)

// tokenID is the form of a token's id.
var tokenID = regexp.MustCompile(`^[a-z0-9]{1,32}$`)

// Me is the id that stands for the caller in requests. No member can have it.
const Me = "me"

// ValidID tells whether a new member can have that id.
func ValidID(id string) bool { return read.IsID(id) && id != Me && id != LocalID }

// MemberID takes a member's id out of its resource name in a field of the request.
func MemberID(ctx context.Context, field, name string) (string, error) {
	id, ok := strings.CutPrefix(name, "members/")
	if !ok || !read.IsID(id) {
		return "", fail.Field(field, "use members/NAME")
	}
	if id == Me {
		return From(ctx).ID, nil
	}
	return id, nil
}

// TokenID takes the ids of a member and its token out of the token's resource name.
func TokenID(ctx context.Context, field, name string) (member, token string, err error) {
	of, token, ok := strings.Cut(name, "/tokens/")
	if !ok || !tokenID.MatchString(token) {
		return "", "", fail.Field(field, "use members/NAME/tokens/TOKEN")
	}
	member, err = MemberID(ctx, field, of)
	return member, token, err
}
