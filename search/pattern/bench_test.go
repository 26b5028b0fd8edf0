package pattern_test

import (
	"bytes"
	"context"
	"testing"

	"github.com/stretchr/testify/require"

	"turnwright/search/pattern"
)

// BenchmarkTable compares making a table (six corners of the 3x3x3, 7 MB) with
// reading it from memory: rows of one run, in millions of entries a second.
func BenchmarkTable(b *testing.B) {
	spec := corners(b, 6)
	rate := func(b *testing.B) {
		b.ReportMetric(float64(spec.Entries())*float64(b.N)/b.Elapsed().Seconds()/1e6, "Mentries/s")
	}
	var file bytes.Buffer
	b.Run("build", func(b *testing.B) {
		for b.Loop() {
			table, err := pattern.Build(context.Background(), spec, 1, nil)
			require.NoError(b, err)
			file.Reset()
			require.NoError(b, table.Write(&file))
		}
		rate(b)
	})
	b.Run("read", func(b *testing.B) {
		for b.Loop() {
			_, err := pattern.Read(spec, bytes.NewReader(file.Bytes()))
			require.NoError(b, err)
		}
		rate(b)
	})
}
