package main

import (
	"context"
	"fmt"
	"strings"
	"time"

	"github.com/dustin/go-humanize"
	"github.com/spf13/cobra"

	"turnwright/api/client"
	turnwrightv1 "turnwright/api/turnwright/v1"
)

func (a *app) statusCommand() *cobra.Command {
	var r remote
	cmd := &cobra.Command{
		Use:   "status",
		Short: "Tell how the server is: what is under way, and what is left of memory and disk",
		Args:  cobra.NoArgs,
		RunE: a.verb(func(ctx context.Context, _ []string) error {
			return r.with(func(c *client.Client) error {
				reply, err := c.Status.GetStatus(ctx, &turnwrightv1.GetStatusRequest{})
				if err != nil {
					return err
				}
				if a.output == "json" {
					return a.printJSON("status", statusJSON(reply.GetStatus()))
				}
				return a.printText(statusText(reply.GetStatus()))
			})
		}),
	}
	r.register(cmd)
	return cmd
}

type statusForm struct {
	Version    string           `json:"version"`
	Address    string           `json:"address"`
	Started    string           `json:"started"` // RFC 3339
	Uptime     float64          `json:"uptimeSeconds"`
	Searches   map[string]int64 `json:"searches"` // by state
	Queue      int32            `json:"queueLength"`
	UnderWay   []underWayForm   `json:"underWay"`
	Workers    workersForm      `json:"workers"`
	Work       workForm         `json:"work"` // since the start
	Memory     memoryForm       `json:"memory"`
	TableCache tableCacheForm   `json:"tableCache"`
	Storage    storageForm      `json:"storage"`
}

type underWayForm struct {
	searchForm
	Progress progressForm `json:"progress"`
}

type progressForm struct {
	Phase     string  `json:"phase"` // loading, building, searching; empty between them
	Length    int32   `json:"length"`
	Covered   uint64  `json:"covered"`   // leaves, or nodes of a position
	Predicted uint64  `json:"predicted"` // leaves; 0 for a position
	UnitsDone int64   `json:"unitsDone"`
	Units     int64   `json:"units"`
	Rate      float64 `json:"perSecond"`           // leaves or nodes
	Remaining float64 `json:"secondsLeft"`         // of the length; 0 where not known
	Entries   uint64  `json:"tableWordsDone"`      // while tables are made ready
	Total     uint64  `json:"tableWordsPredicted"` // the same
}

type workersForm struct {
	Embedded  int32 `json:"embedded"` // units that the server does itself at once
	Processes int32 `json:"processes"`
	Slots     int32 `json:"slots"` // units that all do at once
	Busy      int32 `json:"busy"`  // units that are being done
}

type workForm struct {
	Leaves       uint64  `json:"leaves"`
	Nodes        uint64  `json:"nodes"`
	LeafRate     float64 `json:"leavesPerSecond"`
	NodeRate     float64 `json:"nodesPerSecond"`
	WordsCovered float64 `json:"wordsCovered"`
	Done         uint64  `json:"unitsDone"`
	Repeated     uint64  `json:"unitsRepeated"`
	Mismatched   uint64  `json:"unitsMismatched"`
	Failed       uint64  `json:"unitsFailed"`
	Lost         uint64  `json:"unitsLost"`
	Alarms       uint64  `json:"alarms"`
}

type memoryForm struct {
	Tables  int64 `json:"tableBytes"`
	Limit   int64 `json:"tableLimitBytes"`
	Process int64 `json:"processBytes"`
}

type tableCacheForm struct {
	Bytes  int64  `json:"bytes"`
	Hits   uint64 `json:"hits"`
	Misses uint64 `json:"misses"`
	Builds uint64 `json:"builds"`
}

type storageForm struct {
	Schema  int32 `json:"schema"`
	State   int64 `json:"stateBytes"`
	Free    int64 `json:"freeBytes"`
	Reserve int64 `json:"reserveBytes"`
	Low     bool  `json:"low"`
}

func statusJSON(s *turnwrightv1.Status) statusForm {
	work, memory, cache, disk := s.GetWork(), s.GetMemory(), s.GetTableCache(), s.GetStorage()
	form := statusForm{
		Version: s.GetVersion(), Address: s.GetAddress(), Started: timeText(s.GetStartTime()),
		Uptime: s.GetUptime().AsDuration().Seconds(), Searches: map[string]int64{}, Queue: s.GetQueueLength(), UnderWay: []underWayForm{},
		Workers: workersForm{
			Embedded: s.GetWorkers().GetEmbedded(), Processes: s.GetWorkers().GetProcesses(),
			Slots: s.GetWorkers().GetSlots(), Busy: s.GetWorkers().GetBusy(),
		},
		Work: workForm{
			Leaves: work.GetLeaves(), Nodes: work.GetNodes(), LeafRate: work.GetLeavesPerSecond(), NodeRate: work.GetNodesPerSecond(),
			WordsCovered: work.GetWordsCovered(), Done: work.GetUnitsDone(), Repeated: work.GetUnitsRepeated(),
			Mismatched: work.GetUnitsMismatched(), Failed: work.GetUnitsFailed(), Lost: work.GetUnitsLost(), Alarms: work.GetAlarms(),
		},
		Memory:     memoryForm{Tables: memory.GetTableBytes(), Limit: memory.GetTableLimitBytes(), Process: memory.GetProcessBytes()},
		TableCache: tableCacheForm{Bytes: cache.GetBytes(), Hits: cache.GetHits(), Misses: cache.GetMisses(), Builds: cache.GetBuilds()},
		Storage: storageForm{
			Schema: disk.GetSchema(), State: disk.GetStateBytes(), Free: disk.GetFreeBytes(), Reserve: disk.GetReserveBytes(), Low: disk.GetLow(),
		},
	}
	for _, c := range s.GetSearches() {
		form.Searches[stateText(c.GetState())] = c.GetSearches()
	}
	for _, search := range s.GetUnderWay() {
		form.UnderWay = append(form.UnderWay, underWayForm{searchJSON(search), progressJSON(search.GetProgress())})
	}
	return form
}

func progressJSON(p *turnwrightv1.Progress) progressForm {
	form := progressForm{
		Length: p.GetLength(), Covered: max(p.GetLeavesCovered(), p.GetNodes()), Predicted: p.GetLeavesPredicted(),
		UnitsDone: p.GetUnitsDone(), Units: p.GetUnitsTotal(), Rate: max(p.GetLeavesPerSecond(), p.GetNodesPerSecond()),
		Remaining: p.GetRemaining().AsDuration().Seconds(), Entries: p.GetTableWordsDone(), Total: p.GetTableWordsTotal(),
	}
	switch p.GetPhase() {
	case turnwrightv1.Phase_PHASE_LOADING_TABLES:
		form.Phase = "loading"
	case turnwrightv1.Phase_PHASE_BUILDING_TABLES:
		form.Phase = "building"
	case turnwrightv1.Phase_PHASE_SEARCHING:
		form.Phase = "searching"
	}
	return form
}

// statusText is a status for people: what is the matter first, where anything is.
func statusText(s *turnwrightv1.Status) string {
	var b strings.Builder
	say := func(title, format string, args ...any) {
		fmt.Fprintf(&b, "%-9s %s\n", title, fmt.Sprintf(format, args...))
	}
	work, memory, cache, disk := s.GetWork(), s.GetMemory(), s.GetTableCache(), s.GetStorage()
	if n := work.GetUnitsMismatched(); n > 0 {
		say("ALARM", "%s reported again with another result: a computer, or a version of the program, can't be trusted", plural(int64(n), "unit was", "units were"))
	}
	if disk.GetLow() {
		say("DISK LOW", "nothing new is taken; searches can be cancelled and deleted")
	}
	say("server", "%s at %s, up %s", s.GetVersion(), s.GetAddress(), durationText(s.GetUptime().AsDuration().Truncate(time.Second)))
	var states []string
	for _, c := range s.GetSearches() {
		states = append(states, fmt.Sprintf("%s %s", grouped(fmt.Sprint(c.GetSearches())), stateText(c.GetState())))
	}
	if states == nil {
		states = []string{"none"}
	}
	say("searches", "%s", strings.Join(states, ", "))
	w := s.GetWorkers()
	text := fmt.Sprintf("%s at once, %d being done", plural(int64(w.GetSlots()), "unit", "units"), w.GetBusy())
	if w.GetProcesses() > 0 {
		text += fmt.Sprintf("; %s besides the server", plural(int64(w.GetProcesses()), "process", "processes"))
	}
	say("workers", "%s", text)
	say("work", "%s", workText(work))
	say("memory", "tables %s of %s, process %s", amount(memory.GetTableBytes()), amount(memory.GetTableLimitBytes()), amount(memory.GetProcessBytes()))
	say("tables", "%s in the cache; %d read, %d missed, %d built", amount(cache.GetBytes()), cache.GetHits(), cache.GetMisses(), cache.GetBuilds())
	say("disk", "%s free, reserve %s; state %s, schema %d", amount(disk.GetFreeBytes()), amount(disk.GetReserveBytes()), amount(disk.GetStateBytes()), disk.GetSchema())
	if len(s.GetUnderWay()) == 0 {
		return b.String()
	}
	var rows [][]any
	for _, search := range s.GetUnderWay() {
		puzzle := search.GetGoal().GetPuzzle()
		if p := search.GetPosition(); p != nil {
			puzzle = p.GetPuzzle()
		}
		if given := search.GetStudy(); given != nil {
			puzzle = given.GetPuzzle()
		}
		rows = append(rows, []any{client.ID(search.GetName()), client.ID(puzzle), search.GetProvenLength(), search.GetMaxLength(), barText(search, 0)})
	}
	fmt.Fprintf(&b, "\n%s", columns([]string{"under way", "puzzle", ">proven", ">max", "now"}, rows))
	return b.String()
}

// workText is what was worked out since the server's start.
func workText(w *turnwrightv1.WorkStatus) string {
	facts := []string{plural(int64(w.GetUnitsDone()), "unit", "units")}
	for _, kind := range []struct {
		name  string
		n     uint64
		speed float64
	}{{"leaves", w.GetLeaves(), w.GetLeavesPerSecond()}, {"nodes", w.GetNodes(), w.GetNodesPerSecond()}} {
		if kind.n == 0 && kind.speed == 0 {
			continue
		}
		fact := fmt.Sprintf("%s %s", short(kind.n), kind.name)
		if kind.speed > 0 {
			fact += fmt.Sprintf(" (now %s/s)", short(uint64(kind.speed)))
		}
		facts = append(facts, fact)
	}
	for _, kind := range []struct {
		name string
		n    uint64
	}{{"repeated", w.GetUnitsRepeated()}, {"failed", w.GetUnitsFailed()}, {"lost", w.GetUnitsLost()}} {
		if kind.n > 0 {
			facts = append(facts, fmt.Sprintf("%d %s", kind.n, kind.name))
		}
	}
	return strings.Join(facts, ", ") + " since the start"
}

func amount(bytes int64) string { return humanize.IBytes(uint64(max(0, bytes))) }
