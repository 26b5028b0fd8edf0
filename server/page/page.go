// Package page does what every list and every repeatable call does alike: page
// sizes, tokens that only this server can make and only the same query can use,
// and request ids.
package page

import (
	"context"
	"crypto/hmac"
	"crypto/sha256"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"regexp"

	"google.golang.org/protobuf/proto"

	v1 "turnwright/api/turnwright/v1"
	"turnwright/server/access"
	"turnwright/server/fail"
	"turnwright/storage"
)

// Sizes of a page, as the API says.
const (
	defaultSize = 50
	maxSize     = 1000
	maxToken    = 16 << 10 // bytes; a place can hold the longest text of a finding
)

// Size reads a page size.
func Size(asked int32) (int, error) {
	switch {
	case asked < 0:
		return 0, fail.Field("page_size", "%d: must not be negative", asked)
	case asked == 0:
		return defaultSize, nil
	}
	return min(int(asked), maxSize), nil
}

// Tokens seals where to go on, for clients to bring back.
type Tokens struct{ key []byte }

// NewTokens makes tokens under a secret key that outlives restarts.
func NewTokens(key []byte) *Tokens { return &Tokens{key} }

// Seal makes a token of a place; only Open with the same query opens it. The
// place must be encodable as JSON.
func (t *Tokens) Seal(query string, place any) string {
	body, err := json.Marshal(place)
	if err != nil { // places are plain data of our own
		panic(err)
	}
	return base64.RawURLEncoding.EncodeToString(append(t.sum(query, body), body...))
}

// ErrToken is what Unseal returns for a token that Seal did not make for the query.
var ErrToken = errors.New("not a token of this query")

// Unseal reads the place of a token.
func (t *Tokens) Unseal(token, query string, place any) error {
	if len(token) > maxToken {
		return ErrToken
	}
	data, err := base64.RawURLEncoding.Strict().DecodeString(token)
	if err != nil || len(data) < sumSize || !hmac.Equal(data[:sumSize], t.sum(query, data[sumSize:])) {
		return ErrToken
	}
	return json.Unmarshal(data[sumSize:], place)
}

// Open reads the place of a page token; an empty token leaves the place as it is.
func (t *Tokens) Open(token, query string, place any) error {
	if token == "" {
		return nil
	}
	if err := t.Unseal(token, query, place); err != nil {
		return fail.Refused(v1.ErrorReason_ERROR_REASON_PAGE_TOKEN_INVALID, "page_token",
			errors.New("the page token is not one that this query gave: begin without one"))
	}
	return nil
}

// maxBytes bounds the messages of one page: clients take no more than a few mebibytes at
// once.
const maxBytes = 900 << 10

// Asked is a request for a page.
type Asked interface {
	GetPageSize() int32
	GetPageToken() string
}

// List gives one page: of what read gives after a place, each goes to add, which tells its
// message and its place. Where there is more, next becomes the token that goes on. A page
// holds fewer than were asked for where their messages are large.
func List[Item, Place any](tokens *Tokens, req Asked, query string, next *string,
	read func(after Place, limit int) ([]Item, error), add func(Item) (proto.Message, Place, error),
) error {
	size, err := Size(req.GetPageSize())
	if err != nil {
		return err
	}
	var place Place
	if err := tokens.Open(req.GetPageToken(), query, &place); err != nil {
		return err
	}
	found, err := read(place, size+1)
	if err != nil {
		return err
	}
	bytes := 0
	for i, item := range found {
		if i == size || bytes > maxBytes {
			*next = tokens.Seal(query, place)
			return nil
		}
		m, at, err := add(item)
		if err != nil {
			return err
		}
		place = at
		bytes += proto.Size(m)
	}
	return nil
}

const sumSize = 16

func (t *Tokens) sum(query string, body []byte) []byte {
	h := hmac.New(sha256.New, t.key)
	fmt.Fprintf(h, "%d %s", len(query), query)
	h.Write(body)
	return h.Sum(nil)[:sumSize]
}

var requestID = regexp.MustCompile(`^[A-Za-z0-9-]{1,64}$`)

// Request checks a request id and binds it to what the request asks, and to who asks.
func Request(ctx context.Context, id, method string, asks ...string) (storage.Request, error) {
	if !requestID.MatchString(id) {
		return storage.Request{}, fail.Field("request_id", "must be 1 to 64 letters, digits and hyphens")
	}
	h := sha256.New()
	for _, part := range append([]string{method}, asks...) {
		fmt.Fprintf(h, "%d:%s", len(part), part)
	}
	caller := access.From(ctx)
	return storage.Request{
		ID: id, Digest: [32]byte(h.Sum(nil)),
		By: caller.ID, Only: !caller.Organises(), Quota: caller.MaxSearches,
	}, nil
}
