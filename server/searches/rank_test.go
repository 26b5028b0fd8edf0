package searches_test

import (
	"bytes"
	"fmt"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	v1 "turnwright/api/turnwright/v1"
	"turnwright/server/readings"
	"turnwright/storage"
)

// of sets the findings, each of these texts, lengths and lines, in the store's order.
func (f *fake) of(found ...storage.Finding) {
	for i := range found {
		f.search.Events++
		found[i].ID, found[i].Class, found[i].Size = fmt.Sprintf("c%04d", i), i+1, 1
		found[i].Change, found[i].Revision, found[i].Event = f.change, 1, f.search.Events
	}
	slices.SortFunc(found, func(a, b storage.Finding) int { return bytes.Compare(a.Rank(), b.Rank()) })
	f.found = found
}

// listed is the sequences of a search, by pages of a size.
func (s *served) listed(t *testing.T, size int32) []string {
	t.Helper()
	var out []string
	for token := ""; ; {
		page, err := s.findings.ListFindings(t.Context(), &v1.ListFindingsRequest{Parent: "searches/night", PageSize: size, PageToken: token})
		require.NoError(t, err)
		for _, f := range page.GetFindings() {
			out = append(out, f.GetSequence())
		}
		if token = page.GetNextPageToken(); token == "" {
			return out
		}
		require.Len(t, page.GetFindings(), int(size))
	}
}

func TestFindingsOfEqualLengthAndAxesRankByTheirReadings(t *testing.T) {
	f := night(t, 0)
	const (
		simple = "U R' D' R U' R' D R"  // [U, R' D' R]
		same   = "U' R' D' R U R' D R"  // [U', R' D' R], of a longer text
		setUp  = "F U R U' R' F' R U'"  // no commutator
		few    = "R U R' U' R U R' U'"  // [R, U]^2, about two lines only
		long   = "F2 R U R' U' F2 L U2" //
		short  = "B R U R' U' B'"       //
	)
	f.of(
		storage.Finding{Text: simple, Length: 8, Axes: 3}, storage.Finding{Text: same, Length: 8, Axes: 3},
		storage.Finding{Text: setUp, Length: 8, Axes: 3}, storage.Finding{Text: few, Length: 8, Axes: 2},
		storage.Finding{Text: long, Length: 8, Axes: 3}, storage.Finding{Text: short, Length: 6, Axes: 3},
	)
	s := serve(t, f)
	want := []string{short, few, simple, same, setUp, long}
	for size := int32(1); size <= 6; size++ {
		assert.Equal(t, want, s.listed(t, size), "pages of %d", size)
	}

	// The place of a page token is good where its finding has gone.
	page, err := s.findings.ListFindings(t.Context(), &v1.ListFindingsRequest{Parent: "searches/night", PageSize: 3})
	require.NoError(t, err)
	f.found = slices.DeleteFunc(f.found, func(one storage.Finding) bool { return one.Text == simple })
	page, err = s.findings.ListFindings(t.Context(), &v1.ListFindingsRequest{Parent: "searches/night", PageToken: page.GetNextPageToken()})
	require.NoError(t, err)
	assert.Equal(t, same, page.GetFindings()[0].GetSequence())
	assert.Len(t, page.GetFindings(), 3)
}

// More of them than can be read for a page are ranked by text, and so are pages of them.
func TestTooManyEqualFindingsRankByText(t *testing.T) {
	f := night(t, 0)
	var found []storage.Finding
	want := []string{"R U R' U'"}
	turns := []string{"R", "U", "F", "L", "D", "B", "R2", "U2", "F2", "L2"}
	for i := range readings.MaxTied + 7 {
		text := fmt.Sprintf("%s U D' %s D U' %s", turns[i/100], turns[i/10%10], turns[i%10])
		found = append(found, storage.Finding{Text: text, Length: 7, Axes: 3})
	}
	found = append(found, storage.Finding{Text: want[0], Length: 4, Axes: 2}, storage.Finding{Text: corners, Length: 8, Axes: 3})
	f.of(found...)
	for _, one := range f.found[1:] {
		want = append(want, one.Text)
	}
	s := serve(t, f)
	for _, size := range []int32{1000, 508, 507, 100} {
		assert.Equal(t, want, s.listed(t, size), "pages of %d", size)
	}
}
