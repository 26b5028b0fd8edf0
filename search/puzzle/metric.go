package puzzle

import (
	"fmt"
	"strings"
)

// Metric says what a turn costs.
type Metric uint8

// The metrics. OBTM and ETM are those of WCA Regulations 12a5 and 12a6, carried
// over to every puzzle; STM and QTM are the trade's.
const (
	OBTM Metric = iota // a block with an outermost layer 1, any other block 2, a rotation of the whole 0
	STM                // any block of adjacent layers 1, a rotation of the whole 0
	QTM                // as OBTM, but each step counts
	ETM                // every turn that is carried out 1, a rotation of the whole too
)

var metricNames = [...]string{"obtm", "stm", "qtm", "etm"}

// Metrics lists every metric.
func Metrics() []Metric { return []Metric{OBTM, STM, QTM, ETM} }

func (m Metric) String() string {
	if int(m) < len(metricNames) {
		return metricNames[m]
	}
	return fmt.Sprintf("metric(%d)", uint8(m))
}

// ParseMetric reads a metric's name in lower or upper case.
func ParseMetric(name string) (Metric, error) {
	for i, n := range metricNames {
		if strings.EqualFold(n, name) {
			return Metric(i), nil
		}
	}
	return 0, fmt.Errorf("unknown metric %q: use obtm, stm, qtm or etm", name)
}

// Cost is what the turn costs under the metric. An amount of a whole circle costs nothing.
func (p *Puzzle) Cost(m Metric, t Turn) int {
	line := p.Lines[p.Axes[t.Axis].Line]
	steps := mod(t.Amount, line.Steps)
	if steps == 0 {
		return 0
	}
	whole := t.From == 1 && t.To == line.Layers
	outer := t.From == 1 || t.To == line.Layers
	switch {
	case m == ETM:
		return 1
	case whole:
		return 0
	case m == STM:
		return 1
	}
	blocks := 1
	if !outer {
		blocks = 2
	}
	if m == QTM {
		return blocks * min(steps, line.Steps-steps)
	}
	return blocks
}

// countsBlocksAlike tells whether an inner block costs what an outer one does.
func (m Metric) countsBlocksAlike() bool { return m == STM || m == ETM }

func mod(a, n int) int { return ((a % n) + n) % n }
