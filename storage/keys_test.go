package storage

import (
	"bytes"
	"cmp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"pgregory.net/rapid"
)

// The layout is a promise to directories that exist: see FORMAT.md.
func TestKeysAreLaidOutAsDocumented(t *testing.T) {
	f := &Finding{ID: "c5", Text: "a b", Length: 258, Axes: 3}
	for want, key := range map[string][]byte{
		"s/\xff\xff\xff\xff\xff\xff\xff\xfe":             searchKey(1),
		"p/\x00\x00\x00\x00\x00\x00\x00\x01":             progressKey(1),
		"a/\x00\x00\x00\x00\x00\x00\x01\x00":             activeKey(256),
		"d/\x00\x00\x00\x00\x00\x00\x00\x01":             deletedKey(1),
		"n/night":                                        searchIDKey("night"),
		"r/req":                                          requestKey(Request{ID: "req"}),
		"r/anna/req":                                     requestKey(Request{ID: "req", By: "anna"}),
		"b/anna":                                         memberKey("anna"),
		"k/anna/t1":                                      tokenKey("anna", "t1"),
		"h/" + strings.Repeat("\x07", 32):                tokenHashKey([32]byte(bytes.Repeat([]byte{7}, 32))),
		"j/anna/\xff\xff\xff\xff\xff\xff\xff\xfe":        ownedKey("anna", 1),
		"g/anna":                                         waitingKey("anna"),
		"o/\xff\xff\xff\xff\xff\xff\xff\xfd":             auditKey(2),
		"v/\xff\xff\xff\xff\xff\xff\xff\xfe":             roundKey(1),
		"w/spring":                                       roundIDKey("spring"),
		"c/\x00\x00\x00\x00\x00\x00\x00\x01":             secretKey(1),
		"x/\x00\x00\x00\x00\x00\x00\x00\x01anna\x00\x02": sheetKey(1, "anna", 2),
		"t/\x00\x00\x00\x00\x00\x00\x00\x01\x00\x00\x00\x00\x00\x00\x00\x03": viewKey(1, 3),
		"z/star": puzzleKey("star"),
		"y/st":   puzzleNameKey("st"),
		"u/\x00\x00\x00\x00\x00\x00\x00\x01\x00\x09\x00\x00\x00\x07":         unitKey(1, 9, 7),
		"f/\x00\x00\x00\x00\x00\x00\x00\x01\x01\x02\x03\x00\x03a bc5":        findingKey(1, f),
		"i/\x00\x00\x00\x00\x00\x00\x00\x01c5":                               findingIDKey(1, "c5"),
		"e/\x00\x00\x00\x00\x00\x00\x00\x01\x00\x00\x00\x00\x00\x00\x00\x02": eventKey(1, 2),
		"t/key": manifestKey("key"),
		"c/\x00\x00\x00\x00\x00\x00\x00\x01\x00\x00\x00\x02": chunkKey(1, 2),
	} {
		assert.Equal(t, want, string(key))
	}
}

// The order of the keys is the ranking of the findings.
func TestTheOrderOfKeysIsTheRank(t *testing.T) {
	finding := rapid.Custom(func(t *rapid.T) *Finding {
		return &Finding{
			ID:     rapid.StringMatching(`c[0-9]{1,3}`).Draw(t, "id"),
			Length: rapid.IntRange(0, 300).Draw(t, "length"),
			Axes:   rapid.IntRange(0, 255).Draw(t, "axes"),
			Text:   rapid.StringN(0, 300, 600).Draw(t, "text"),
		}
	})
	rapid.Check(t, func(t *rapid.T) {
		a, b := finding.Draw(t, "a"), finding.Draw(t, "b")
		switch rapid.IntRange(0, 3).Draw(t, "alike") { // else the first fields would decide nearly always
		case 3:
			b.Text = a.Text
			fallthrough
		case 2:
			b.Axes = a.Axes
			fallthrough
		case 1:
			b.Length = a.Length
		}
		assert.Equal(t, a.Length == b.Length && a.Axes == b.Axes, bytes.Equal(a.Rank().Ties(), b.Rank().Ties()))
		want := cmp.Or(
			cmp.Compare(a.Length, b.Length),
			cmp.Compare(a.Axes, b.Axes),
			cmp.Compare(len(a.Text), len(b.Text)),
			cmp.Compare(a.Text, b.Text),
			cmp.Compare(a.ID, b.ID),
		)
		if got := bytes.Compare(findingKey(7, a), findingKey(7, b)); got != want {
			t.Fatalf("keys compare %d, ranks %d", got, want)
		}
	})
}
