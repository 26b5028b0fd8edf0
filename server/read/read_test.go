package read_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	v1 "turnwright/api/turnwright/v1"
	"turnwright/search/puzzle"
	"turnwright/server/read"
)

func TestMetric(t *testing.T) {
	for m, want := range map[v1.Metric]puzzle.Metric{
		v1.Metric_METRIC_UNSPECIFIED: puzzle.STM, v1.Metric_METRIC_STM: puzzle.STM, v1.Metric_METRIC_OBTM: puzzle.OBTM,
		v1.Metric_METRIC_QTM: puzzle.QTM, v1.Metric_METRIC_ETM: puzzle.ETM,
	} {
		got, err := read.Metric("metric", m)
		assert.NoError(t, err)
		assert.Equal(t, want, got)
	}
	for number := range v1.Metric_name {
		_, err := read.Metric("metric", v1.Metric(number))
		assert.NoError(t, err, "every metric that the API has is read")
	}
	_, err := read.Metric("goal.metric", 77)
	assert.Equal(t, codes.InvalidArgument, status.Code(err))
	assert.ErrorContains(t, err, "goal.metric: 77 is no metric")
}

func TestNames(t *testing.T) {
	assert.NoError(t, read.Names("ignore", nil))
	assert.NoError(t, read.Names("ignore", make([]string, read.MaxListed)))
	assert.NoError(t, read.Names("ignore", []string{strings.Repeat("x", read.MaxName)}))
	assert.ErrorContains(t, read.Names("ignore", make([]string, read.MaxListed+1)), "ignore: 101 names, at most 100")
	assert.ErrorContains(t, read.Names("ignore", []string{strings.Repeat("x", read.MaxName+1)}), "ignore: a name has 201 bytes")
}
