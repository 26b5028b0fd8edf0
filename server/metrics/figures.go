package metrics

import (
	"runtime"
	"strconv"

	"github.com/prometheus/client_golang/prometheus"

	"turnwright/server/schedule"
	"turnwright/storage"
)

// figures asks the sources, each once, whenever someone looks.
type figures struct{ s Sources }

// A figure is a metric with its labels, and where its value comes from.
type figure struct {
	desc *prometheus.Desc
	kind prometheus.ValueType
	give func(a answers, to func(value float64, labels ...string))
}

// answers are what the sources said.
type answers struct {
	Sources
	run  schedule.Figures
	kept storage.Figures
}

func gauge(name, help string, value func(answers) float64) figure {
	return figure{describe(name, help), prometheus.GaugeValue, one(value)}
}

func counter(name, help string, value func(answers) float64) figure {
	return figure{describe(name, help), prometheus.CounterValue, one(value)}
}

func describe(name, help string, labels ...string) *prometheus.Desc {
	return prometheus.NewDesc("turnwright_"+name, help, labels, nil)
}

func one(value func(answers) float64) func(answers, func(float64, ...string)) {
	return func(a answers, to func(float64, ...string)) { to(value(a)) }
}

// all is every figure. What begins anew with the process is a counter.
var all = []figure{
	{describe("build_info", "1, with the program's version, Go's, and that of the data directory.", "version", "go", "schema"),
		prometheus.GaugeValue, func(a answers, to func(float64, ...string)) {
			to(1, a.Version, runtime.Version(), strconv.Itoa(a.kept.Schema))
		}},

	{describe("searches", "Searches by state.", "state"),
		prometheus.GaugeValue, func(a answers, to func(float64, ...string)) {
			for _, s := range storage.States {
				to(float64(a.kept.Searches[s]), string(s))
			}
		}},
	gauge("searches_under_way", "Searches that workers are for now.", func(a answers) float64 { return float64(len(a.run.UnderWay)) }),
	gauge("queue_length", "Searches that wait for their turn.", func(a answers) float64 { return float64(a.kept.Searches[storage.Queued]) }),

	{describe("slots", "Units that workers do at once: the server itself, and processes heard of lately.", "worker"),
		prometheus.GaugeValue, func(a answers, to func(float64, ...string)) {
			to(float64(a.run.Slots), "server")
			to(float64(a.run.AllSlots-a.run.Slots), "processes")
		}},
	gauge("worker_processes", "Worker processes heard of lately.", func(a answers) float64 { return float64(a.run.Processes) }),
	gauge("units_out", "Units that are being done now, here or by worker processes.", func(a answers) float64 { return float64(a.run.Busy) }),
	counter("leaves_total", "Words looked up in near tables.", func(a answers) float64 { return float64(a.run.Leaves) }),
	counter("nodes_total", "Words looked at for positions.", func(a answers) float64 { return float64(a.run.Nodes) }),
	counter("pairs_total", "Pairs of parts of commutators that were tried.", func(a answers) float64 { return float64(a.run.Pairs) }),
	gauge("leaves_per_second", "Words looked up in near tables in a second, lately.", func(a answers) float64 { return a.run.LeafRate }),
	gauge("nodes_per_second", "Words looked at for positions in a second, lately.", func(a answers) float64 { return a.run.NodeRate }),
	counter("words_covered_total", "Canonical words of the lengths that were finished, all covered.", func(a answers) float64 { return a.run.Words }),
	{describe("units_total", "What became of units: done, repeated (reported again with the same result), mismatched (with another: a fault), failed (a worker could not), lost (with a worker of which nothing was heard).", "outcome"),
		prometheus.CounterValue, func(a answers, to func(float64, ...string)) {
			to(float64(a.run.Units), "done")
			to(float64(a.run.Repeated), "repeated")
			to(float64(a.run.Mismatches), "mismatched")
			to(float64(a.run.Failures), "failed")
			to(float64(a.run.Lost), "lost")
		}},
	counter("alarms_total", "Alarms raised: units that were set aside, and reports that differ.", func(a answers) float64 { return float64(a.run.Alarms) }),

	gauge("table_limit_bytes", "Memory that tables may take.", func(a answers) float64 { return float64(a.TableLimit) }),
	gauge("table_memory_bytes", "Memory that tables take.", func(a answers) float64 { return float64(a.run.TableBytes) }),
	counter("table_cache_hits_total", "Tables read from the cache on the disk.", func(a answers) float64 { return float64(a.run.TablesLoaded) }),
	counter("table_cache_misses_total", "Tables that the cache had not, or damaged.", func(a answers) float64 { return float64(a.run.TablesMissed) }),
	counter("table_builds_total", "Tables built.", func(a answers) float64 { return float64(a.run.TablesBuilt) }),

	{describe("storage_bytes", "Bytes on the disk, up to a minute old: of searches and findings (state) and of cached tables (tables), in the tree and in the log of large values.", "database", "part"),
		prometheus.GaugeValue, func(a answers, to func(float64, ...string)) {
			to(float64(a.kept.StateTree), "state", "tree")
			to(float64(a.kept.StateLog), "state", "log")
			to(float64(a.kept.TablesTree), "tables", "tree")
			to(float64(a.kept.TablesLog), "tables", "log")
		}},
	gauge("disk_free_bytes", "Bytes that are free on the disk of the data directory; -1 where not known.", func(a answers) float64 { return float64(a.kept.Free) }),
	gauge("disk_reserve_bytes", "Bytes that stay free: with less nothing new is taken.", func(a answers) float64 { return float64(a.kept.Reserve) }),
	gauge("disk_low", "1 while nothing new is taken for want of disk space.", func(a answers) float64 {
		if a.kept.Low {
			return 1
		}
		return 0
	}),
}

// Describe gives the descriptions.
func (f *figures) Describe(to chan<- *prometheus.Desc) {
	for _, m := range all {
		to <- m.desc
	}
}

// Collect asks, and gives the values.
func (f *figures) Collect(to chan<- prometheus.Metric) {
	a := answers{f.s, f.s.Runner.Figures(), f.s.Store.Figures()}
	for _, m := range all {
		m.give(a, func(value float64, labels ...string) {
			to <- prometheus.MustNewConstMetric(m.desc, m.kind, value, labels...)
		})
	}
}
