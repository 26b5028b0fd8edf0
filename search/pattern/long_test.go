package pattern_test

import (
	"bytes"
	"context"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"turnwright/search/pattern"
	"turnwright/search/puzzle"
)

// All corners of the 3x3x3 (the last follows from the others): OEIS A080629 and
// A080630. The mean in OBTM is 8.764, as in R. E. Korf, "Finding optimal solutions to
// Rubik's Cube using pattern databases", 1997 (from memory).
func TestCornersOfThe3x3x3(t *testing.T) {
	if testing.Short() {
		t.Skip("takes half a minute")
	}
	for _, c := range []struct {
		metric puzzle.Metric
		want   []uint64
		mean   float64
	}{
		{puzzle.OBTM, []uint64{1, 18, 243, 2874, 28000, 205416, 1168516, 5402628, 20776176, 45391616, 15139616, 64736}, 8.764133684},
		{puzzle.QTM, []uint64{1, 12, 114, 924, 6539, 39528, 199926, 806136, 2761740, 8656152, 22334112, 32420448, 18780864, 2166720, 6624}, 0},
	} {
		t.Run(c.metric.String(), func(t *testing.T) {
			a := alphabet(t, "cube-3", c.metric)
			typ, _ := a.Puzzle.TypeByName("corner")
			spec, err := pattern.NewSpec(a, pattern.OfTypes(a.Puzzle, pattern.Solved(a.Puzzle), typ)[:7])
			require.NoError(t, err)
			require.EqualValues(t, 88_179_840, spec.Entries())
			table, err := pattern.Build(context.Background(), spec, 2, nil)
			require.NoError(t, err)
			assert.Equal(t, c.want, table.Histogram())
			if c.mean != 0 {
				assert.InDelta(t, c.mean, table.Mean(), 5e-10)
			}
		})
	}
}

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
