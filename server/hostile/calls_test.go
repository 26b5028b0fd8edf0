package hostile

import (
	"crypto/rand"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/encoding/prototext"
	"google.golang.org/protobuf/proto"

	v1 "turnwright/api/turnwright/v1"
)

// tidy ends and deletes what a call created, so that nothing is left to work on.
func (x *target) tidy(t testing.TB, answer proto.Message) {
	t.Helper()
	if answer == nil || answer.ProtoReflect().Descriptor().FullName() != "turnwright.v1.CreateSearchResponse" {
		return
	}
	wire, err := proto.Marshal(answer)
	require.NoError(t, err)
	created := &v1.CreateSearchResponse{}
	require.NoError(t, proto.Unmarshal(wire, created))
	name := created.GetSearch().GetName()
	if name == "" {
		return // it was only to be checked
	}
	id := rand.Text()
	_, err = x.Searches.CancelSearch(t.Context(), &v1.CancelSearchRequest{Name: name, RequestId: id})
	require.NoError(t, err)
	_, err = x.Searches.DeleteSearch(t.Context(), &v1.DeleteSearchRequest{Name: name, RequestId: id + "-2"})
	require.NoError(t, err)
}

// Every call of the API takes whatever comes, and says what is wrong with it.
func TestEveryCallTakesWhateverComes(t *testing.T) {
	x := serve(t, 1)
	x.furnish(t)
	times := 40
	if testing.Short() {
		times = 4
	}
	n := 0
	for _, m := range methods() {
		name := fmt.Sprintf("%s/%s", m.Parent().Name(), m.Name())
		maker := New(uint64(len(name)))
		if !assert.NotEmpty(t, valid("1")[name], "say in valid what a request of %s is", name) {
			continue
		}
		var slowest time.Duration
		var slow proto.Message
		answered := 0
		for i := range times {
			n++
			requests := valid(fmt.Sprint("request-", n))[name]
			request := requests[i%len(requests)]
			switch {
			case i < len(requests): // as it is
			case i%4 == 3:
				request = maker.Message(m.Input())
			default:
				request = maker.Change(request)
			}
			before := time.Now()
			answer, err := x.call(t, m, request)
			if took := time.Since(before); took > slowest {
				slowest, slow = took, request
			}
			if err == nil {
				answered++
				x.tidy(t, answer)
			}
			if bad := wrong(m, err); bad != "" {
				t.Errorf("%s: %.500s\nasked: %s", name, bad, show(request))
			}
		}
		t.Logf("%-36s answered %3d of %d, slowest %v: %.150s", name, answered, times, slowest, show(slow))
		x.alive(t)
	}
	x.settled(t)
}

// show writes a request for people, without what no message has.
func show(m proto.Message) string {
	wire, err := proto.Marshal(m)
	if err != nil {
		return err.Error()
	}
	known := m.ProtoReflect().New().Interface()
	if err := (proto.UnmarshalOptions{DiscardUnknown: true}).Unmarshal(wire, known); err != nil {
		return err.Error()
	}
	text := prototext.MarshalOptions{}.Format(known)
	if len(text) > 500 {
		text = fmt.Sprintf("%s … (%d bytes)", strings.ToValidUTF8(text[:500], ""), len(text))
	}
	return text
}
