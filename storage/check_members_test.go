package storage_test

import (
	"crypto/sha256"
	"fmt"
	"testing"
	"time"

	"github.com/dgraph-io/badger/v4"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"turnwright/storage"
)

// What says whose searches are, and which secret leads to which token, is damaged on
// purpose. In the directory anna has a search that waits (number 1) and a token.
func TestWhatIsDamagedOfMembersIsNamedAndRepaired(t *testing.T) {
	hash := sha256.Sum256([]byte("anna" + "t1"))
	before := ^uint64(1) // as keys have the number
	for name, c := range map[string]struct {
		damage func(*badger.Txn) error
		says   string
	}{
		"a search that is nobody's":    {gone("j/anna/"), "search night: it is not listed among those of anna"},
		"a search that is another's":   {with(key("j/bert/", before), ""), "member bert: a search is listed as theirs that is not, or is not there"},
		"a wrong count":                {with("g/anna", "3"), "member anna: the number of their searches that have not ended is not 1"},
		"no count":                     {gone("g/anna"), "member anna: the number of their searches that have not ended is not 1"},
		"a count of nothing":           {with("g/bert", "1"), "member bert: searches are counted that are not there"},
		"a secret that leads nowhere":  {gone("h/"), "token anna/t1: its secret does not lead to it"},
		"a secret that leads astray":   {with("h/"+string(hash[:]), `"anna/t2"`), "token anna/t1: its secret does not lead to it"},
		"a secret of no token":         {with("h/"+fmt.Sprintf("%032d", 7), `"anna/t1"`), "its secret leads nowhere"},
		"a token that can't be read":   {with("k/anna/t2", "{"), "token anna/t2: its record can't be read"},
		"a token in a wrong place":     {with("k/bert/t1", `{"member":"anna","id":"t1"}`), "token bert/t1: its record can't be read"},
		"nothing at all, nothing said": {both(), ""},
	} {
		t.Run(name, func(t *testing.T) {
			dir := t.TempDir()
			s := open(t, dir)
			_, err := s.CreateMember(t.Context(), storage.Request{}, storage.Member{ID: "anna", Role: storage.RoleMember})
			require.NoError(t, err)
			_, err = s.CreateToken(t.Context(), storage.Request{}, newToken("anna", "t1", time.Hour))
			require.NoError(t, err)
			_, err = s.CreateSearch(t.Context(), storage.Request{By: "anna"}, "night", storage.Spec{})
			require.NoError(t, err)
			require.NoError(t, s.Close())

			s = damaged(t, dir, "state", c.damage)
			lines, _ := check(t, s, false)
			again, left := check(t, s, true)
			assert.Equal(t, lines, again)
			assert.Zero(t, left)
			if c.says == "" {
				assert.Empty(t, lines)
				return
			}
			require.Len(t, lines, 1)
			assert.Contains(t, lines[0], c.says)
			lines, _ = check(t, s, false)
			assert.Empty(t, lines)
			token, _, err := s.TokenByHash(t.Context(), hash)
			require.NoError(t, err)
			assert.Equal(t, "t1", token.ID)
			mine, err := s.SearchesOf(t.Context(), "anna", 0, 9)
			require.NoError(t, err)
			assert.Len(t, mine, 1)
		})
	}
}
