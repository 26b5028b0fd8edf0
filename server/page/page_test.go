package page_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/wrapperspb"
	"pgregory.net/rapid"

	v1 "turnwright/api/turnwright/v1"
	"turnwright/server/page"
	"turnwright/storage"
)

func TestSizes(t *testing.T) {
	for asked, want := range map[int32]int{0: 50, 1: 1, 1000: 1000, 1001: 1000, 1 << 30: 1000} {
		got, err := page.Size(asked)
		require.NoError(t, err)
		assert.Equal(t, want, got)
	}
	_, err := page.Size(-1)
	assert.Equal(t, codes.InvalidArgument, status.Code(err))
}

// Pages hold what read gives, in its order and each once: as many as were asked for, or
// fewer where they are large.
func TestPagesOfAList(t *testing.T) {
	tokens := page.NewTokens([]byte("key"))
	for _, c := range []struct {
		name         string
		asked, bytes int
		want         []int // how many are on each page
	}{
		{"none", 3, 0, nil},
		{"all on one", 7, 1, []int{7}},
		{"one more than a page", 6, 1, []int{6, 1}},
		{"three by three", 3, 1, []int{3, 3, 1}},
		{"large ones", 3, 500 << 10, []int{2, 2, 2, 1}},
		{"larger than a page", 3, 2 << 20, []int{1, 1, 1, 1, 1, 1, 1}},
	} {
		t.Run(c.name, func(t *testing.T) {
			all := 7
			if c.want == nil {
				all = 0
			}
			var sizes, seen []int
			for token := ""; ; {
				var next string
				before := len(seen)
				req := &v1.ListRoundsRequest{PageSize: int32(c.asked), PageToken: token}
				require.NoError(t, page.List(tokens, req, "q", &next,
					func(after, limit int) (found []int, err error) {
						for i := after + 1; i <= all && len(found) < limit; i++ {
							found = append(found, i)
						}
						return found, nil
					},
					func(i int) (proto.Message, int, error) {
						seen = append(seen, i)
						return wrapperspb.Bytes(make([]byte, c.bytes)), i, nil
					}))
				if n := len(seen) - before; n > 0 {
					sizes = append(sizes, n)
				}
				if token = next; token == "" {
					break
				}
			}
			assert.Equal(t, c.want, sizes)
			assert.Len(t, seen, all)
			assert.IsIncreasing(t, append([]int{0}, append(seen, 99)...))
		})
	}
	wrong := &v1.ListRoundsRequest{PageSize: 1, PageToken: tokens.Seal("another", 1)}
	err := page.List(tokens, wrong, "q", new(string), func(int, int) ([]int, error) { panic("read") }, func(int) (proto.Message, int, error) { panic("add") })
	assert.Equal(t, codes.InvalidArgument, status.Code(err))
}

// A token opens for the query that it was made for, under the key that it was
// made with, and not when a single character of it is another.
func TestATokenIsGoodForItsQueryAlone(t *testing.T) {
	mine, other := page.NewTokens([]byte("one")), page.NewTokens([]byte("two"))
	rapid.Check(t, func(t *rapid.T) {
		query := rapid.String().Draw(t, "query")
		place := rapid.SliceOf(rapid.Byte()).Draw(t, "place")
		token := mine.Seal(query, place)
		var got []byte
		require.NoError(t, mine.Unseal(token, query, &got))
		require.Equal(t, string(place), string(got))

		require.ErrorIs(t, mine.Unseal(token, query+"x", &got), page.ErrToken)
		require.ErrorIs(t, other.Unseal(token, query, &got), page.ErrToken)
		at := rapid.IntRange(0, len(token)-1).Draw(t, "at")
		b := rapid.Byte().Filter(func(b byte) bool { return b != token[at] }).Draw(t, "byte")
		require.ErrorIs(t, mine.Unseal(token[:at]+string(b)+token[at+1:], query, &got), page.ErrToken)
	})
}

func TestAPageTokenThatIsNoneIsRefused(t *testing.T) {
	tokens := page.NewTokens([]byte("one"))
	place := 7
	require.NoError(t, tokens.Open("", "q", &place))
	assert.Equal(t, 7, place, "no token leaves the place as it is")
	require.NoError(t, tokens.Open(tokens.Seal("q", 9), "q", &place))
	assert.Equal(t, 9, place)
	for _, forged := range []string{"x", "!", tokens.Seal("other", 9), strings.Repeat("A", 1<<20)} {
		err := tokens.Open(forged, "q", &place)
		assert.Equal(t, codes.InvalidArgument, status.Code(err))
	}
}

// The longest text that a finding may have makes a token that comes back.
func TestTheLongestPlaceFits(t *testing.T) {
	tokens := page.NewTokens([]byte("one"))
	f := storage.Finding{ID: strings.Repeat("c", 64), Text: strings.Repeat("x", storage.MaxText)}
	var back storage.Rank
	require.NoError(t, tokens.Unseal(tokens.Seal("q", f.Rank()), "q", &back))
	assert.Equal(t, f.Rank(), back)
}

func TestRequestsAreBoundToWhatTheyAsk(t *testing.T) {
	digest := func(method string, asks ...string) [32]byte {
		r, err := page.Request(t.Context(), "id", method, asks...)
		require.NoError(t, err)
		return r.Digest
	}
	seen := map[[32]byte]bool{}
	for _, asks := range [][]string{{"ab", "c"}, {"a", "bc"}, {"abc"}, {"abc", ""}, {}} {
		for _, method := range []string{"M", "N"} {
			seen[digest(method, asks...)] = true
		}
	}
	assert.Len(t, seen, 10, "no two requests are taken for each other")
	assert.Equal(t, digest("M", "a"), digest("M", "a"))
	for _, id := range []string{"", "a b", "ä", strings.Repeat("a", 65)} {
		_, err := page.Request(t.Context(), id, "M")
		assert.Equal(t, codes.InvalidArgument, status.Code(err), id)
	}
}

func FuzzUnseal(f *testing.F) {
	tokens := page.NewTokens([]byte("one"))
	f.Add(tokens.Seal("other", "here"))
	f.Add("")
	f.Fuzz(func(t *testing.T, token string) {
		var place string
		if err := tokens.Unseal(token, "q", &place); err == nil {
			t.Fatal("a token that was never made opens")
		}
	})
}
