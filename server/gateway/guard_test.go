package gateway

import (
	"net/http"
	"net/http/httptest"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// clocked notes in which order a piece is written and a deadline set.
type clocked struct {
	*httptest.ResponseRecorder
	order []string
}

func (c *clocked) Write(b []byte) (int, error) {
	c.order = append(c.order, "write")
	return c.ResponseRecorder.Write(b)
}

func (c *clocked) SetWriteDeadline(until time.Time) error {
	c.order = append(c.order, "deadline")
	if until.Before(time.Now()) {
		c.order = append(c.order, "past")
	}
	return nil
}

// A stream that was quiet for longer than a client may take for a piece still comes to its end: what
// is written last, after the handler, has time of its own.
func TestTheEndOfAnAnswerHasTimeOfItsOwn(t *testing.T) {
	w := &clocked{ResponseRecorder: httptest.NewRecorder()}
	guard(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		_, err := w.Write([]byte("a piece"))
		require.NoError(t, err)
	}), nil).ServeHTTP(w, httptest.NewRequest(http.MethodGet, "http://localhost/", nil))
	assert.Equal(t, []string{"deadline", "write", "deadline"}, w.order)
}
