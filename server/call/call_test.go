package call_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"google.golang.org/grpc/metadata"

	"turnwright/server/call"
)

func TestIDs(t *testing.T) {
	assert.Empty(t, call.ID(t.Context()))
	for name, c := range map[string]struct {
		sent []string
		kept bool
	}{
		"none":        {nil, false},
		"good":        {[]string{"Night-7.a_b"}, true},
		"empty":       {[]string{""}, false},
		"two":         {[]string{"a", "b"}, false},
		"a new line":  {[]string{"a\nlevel=ERROR"}, false},
		"spaces":      {[]string{"a b"}, false},
		"just so":     {[]string{strings.Repeat("x", 64)}, true},
		"too long":    {[]string{strings.Repeat("x", 65)}, false},
		"not English": {[]string{"naïve"}, false},
	} {
		ctx := metadata.NewIncomingContext(t.Context(), metadata.MD{call.Key: c.sent})
		id := call.ID(call.Begin(ctx))
		assert.True(t, call.WellFormed(id), name)
		assert.Equal(t, c.kept, len(c.sent) == 1 && id == c.sent[0], name)
	}
	assert.NotEqual(t, call.New(), call.New())
}

// What is logged and counted of sealed calls does not tell one from another.
func TestSealedCallsHaveOneName(t *testing.T) {
	for _, method := range []string{"ShowScramble", "SubmitEntry", "GetEntry", "ListEntries", "ListScrambleViews"} {
		assert.Equal(t, call.Sealed, call.Public("/turnwright.v1.RoundService/"+method))
	}
	assert.Equal(t, "/turnwright.v1.RoundService/GetRound", call.Public("/turnwright.v1.RoundService/GetRound"))
}
