package metrics_test

import (
	"context"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/prometheus/client_golang/prometheus/testutil/promlint"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"

	"turnwright/server/metrics"
	"turnwright/server/schedule"
	"turnwright/storage"
)

type fake struct{}

func (fake) Figures() schedule.Figures { return schedule.Figures{} }

type fakeStore struct{}

func (fakeStore) Figures() storage.Figures { return storage.Figures{} }

// What dashboard and alerts ask for is what a server tells.
func TestDashboardAndAlertsKnowTheFigures(t *testing.T) {
	m := metrics.New(metrics.Sources{Runner: fake{}, Store: fakeStore{}})
	_, err := m.Unary()(t.Context(), nil, &grpc.UnaryServerInfo{FullMethod: "/s/M"}, func(context.Context, any) (any, error) { return nil, nil })
	require.NoError(t, err)
	families, err := m.Gather()
	require.NoError(t, err)
	told := map[string]bool{"up": true}
	for _, f := range families {
		told[f.GetName()] = true
	}
	name := regexp.MustCompile(`\b(turnwright|grpc_server|go|process)_[a-z_]+`)
	for _, file := range []string{"dashboard.json", "alerts.yaml"} {
		text, err := os.ReadFile(filepath.Join("../../deploy/prometheus", file))
		require.NoError(t, err)
		asked := name.FindAllString(string(text), -1)
		require.NotEmpty(t, asked)
		for _, metric := range asked {
			assert.True(t, told[strings.TrimSuffix(metric, "_bucket")], "%s in %s", metric, file)
		}
	}
}

// Names and descriptions are as Prometheus' own rules want them.
func TestFiguresAreNamedAsIsUsual(t *testing.T) {
	m := metrics.New(metrics.Sources{Runner: fake{}, Store: fakeStore{}})
	families, err := m.Gather()
	require.NoError(t, err)
	problems, err := promlint.NewWithMetricFamilies(families).Lint()
	require.NoError(t, err)
	for _, p := range problems {
		assert.False(t, strings.HasPrefix(p.Metric, "turnwright_"), "%s: %s", p.Metric, p.Text)
	}
}
