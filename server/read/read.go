// Package read reads what the requests of several services have in common.
//
//	metric, err := read.Metric("goal.metric", req.GetGoal().GetMetric())
//
// Its errors name the field, as package fail makes them.
package read

import (
	"regexp"

	v1 "turnwright/api/turnwright/v1"
	"turnwright/search/puzzle"
	"turnwright/server/fail"
)

// Bounds of a list of names.
const (
	MaxListed = 100 // names
	MaxName   = 200 // bytes of one
)

// Names bounds names.
func Names(field string, names []string) error {
	if len(names) > MaxListed {
		return fail.Field(field, "%d names, at most %d are allowed", len(names), MaxListed)
	}
	for _, name := range names {
		if len(name) > MaxName {
			return fail.Field(field, "a name has %d bytes, at most %d are allowed", len(name), MaxName)
		}
	}
	return nil
}

// id is the form of the last part of a resource's name, unless its service says otherwise.
var id = regexp.MustCompile(`^[a-z]([a-z0-9-]{0,61}[a-z0-9])?$`)

// IsID tells whether a resource can have that id, the last part of its name: lower-case
// letters, digits and hyphens, a letter first, no hyphen last, at most 63.
func IsID(text string) bool { return id.MatchString(text) }

var metrics = map[puzzle.Metric]v1.Metric{
	puzzle.OBTM: v1.Metric_METRIC_OBTM, puzzle.STM: v1.Metric_METRIC_STM, puzzle.QTM: v1.Metric_METRIC_QTM, puzzle.ETM: v1.Metric_METRIC_ETM,
}

// MetricMessage is a metric as the API has it.
func MetricMessage(m puzzle.Metric) v1.Metric { return metrics[m] }

// MetricNamed is the metric of a name that is kept, as the API has it; METRIC_UNSPECIFIED for
// no name.
func MetricNamed(name string) v1.Metric {
	m, err := puzzle.ParseMetric(name)
	if err != nil {
		return v1.Metric_METRIC_UNSPECIFIED
	}
	return metrics[m]
}

// Metric is the metric that a field names; STM is meant where it names none.
func Metric(field string, m v1.Metric) (puzzle.Metric, error) {
	switch m {
	case v1.Metric_METRIC_UNSPECIFIED, v1.Metric_METRIC_STM:
		return puzzle.STM, nil
	case v1.Metric_METRIC_OBTM:
		return puzzle.OBTM, nil
	case v1.Metric_METRIC_QTM:
		return puzzle.QTM, nil
	case v1.Metric_METRIC_ETM:
		return puzzle.ETM, nil
	}
	return 0, fail.Field(field, "%d is no metric", int32(m))
}
