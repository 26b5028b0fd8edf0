package searches

import (
	"time"

	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	v1 "turnwright/api/turnwright/v1"
	"turnwright/server/engine"
	"turnwright/server/read"
	"turnwright/server/schedule"
	"turnwright/storage"
)

var states = map[storage.State]v1.SearchState{
	storage.Queued:    v1.SearchState_SEARCH_STATE_QUEUED,
	storage.Preparing: v1.SearchState_SEARCH_STATE_PREPARING,
	storage.Running:   v1.SearchState_SEARCH_STATE_RUNNING,
	storage.Paused:    v1.SearchState_SEARCH_STATE_PAUSED,
	storage.Done:      v1.SearchState_SEARCH_STATE_DONE,
	storage.Cancelled: v1.SearchState_SEARCH_STATE_CANCELLED,
	storage.Failed:    v1.SearchState_SEARCH_STATE_FAILED,
}

// StateMessage is a state as the API has it.
func StateMessage(s storage.State) v1.SearchState { return states[s] }

// cores are the names of the API for what the store has.
var cores = map[string]v1.Core{engine.CoreKept: v1.Core_CORE_KEPT, engine.CoreFree: v1.Core_CORE_FREE}

// asked is the part of a search that its client chose.
func asked(spec storage.Spec) *v1.Search {
	out := &v1.Search{
		Metric: read.MetricNamed(spec.Metric), MaxLength: int32(spec.Max), MemoryBytes: spec.Memory,
		SequencesPerClass: int32(max(1, spec.Each)), Slack: int32(spec.Slack),
		ClassesTotal: int32(spec.Classes), CyclesTotal: spec.Cycles, Before: spec.Before, After: spec.After,
	}
	switch {
	case spec.Study != nil:
		out.Study = studyMessage(spec)
		out.SequencesPerClass = 0
	case spec.Position != nil:
		out.Position = positionMessage(spec)
		if spec.Position.All {
			out.SequencesPerClass = 0
		}
	default:
		out.Goal = goalMessage(spec)
		out.Structure = structureMessage(spec.Structure)
	}
	return out
}

func goalMessage(spec storage.Spec) *v1.Goal {
	g := &v1.Goal{Puzzle: "puzzles/" + spec.Puzzle, Cycle: spec.Cycle, Shape: spec.Shape, Axes: spec.Axes, Protect: spec.Protect, Ignore: spec.Ignore, Core: cores[spec.Core]}
	for _, pin := range spec.Pins {
		g.Pins = append(g.Pins, &v1.Pin{From: pin.From, To: pin.To})
	}
	return g
}

// message writes a search as the API has it.
func (s *Service) message(search storage.Search) *v1.Search {
	out := asked(search.Spec)
	out.Name = "searches/" + search.ID
	if search.Owner != "" {
		out.Owner = "members/" + search.Owner
	}
	out.State = states[search.State]
	out.ProvenLength = int32(search.Proven)
	out.FindingsTotal = int64(search.Findings)
	out.Error = search.Error
	out.CreateTime = timestamppb.New(search.Created)
	out.StartTime = stamp(search.Started)
	out.EndTime = stamp(search.Ended)
	out.Alarms = search.Alarms
	out.Adopted = search.AdoptedFrom != 0
	if search.Used > 0 {
		out.CoreTime = durationpb.New(search.Used)
	}
	tellWishes(out, search.Wishes)
	if search.State == storage.Cancelled {
		out.CancelReason = cancelReasons[search.Reason]
	}
	for i, l := range search.Lengths {
		if l.Open {
			out.Nodes += l.Covered
		}
		switch {
		case out.Study != nil:
			out.Study.UnitsDone = int64(l.Done)
		case l.Unproven:
			out.Pairs, out.PairsTotal = l.Covered, l.Leaves
		}
		if i < search.Proven {
			out.Lengths = append(out.Lengths, lengthMessage(l))
		}
	}
	if t := search.Tables; t != nil && t.Count > 0 {
		out.Tables = &v1.TableSummary{
			Tables: int32(t.Count), Words: t.Words, Bytes: t.Bytes,
			Elapsed: durationpb.New(t.Elapsed), FromCache: t.Cached,
			Entries: t.Entries, MeanDistance: t.Mean, Bound: int32(t.Bound),
		}
	}
	out.Progress = &v1.Progress{}
	if !search.State.Ended() {
		out.Progress = progressMessage(search.Spec, s.runner.Progress(search.ID))
	}
	return out
}

func lengthMessage(l storage.Length) *v1.LengthResult {
	out := &v1.LengthResult{Length: int32(l.Length), Words: l.Words}
	if l.Open {
		out.Nodes = l.Covered
	} else {
		out.Classes, out.Cycles, out.Leaves = int32(l.Classes), l.Cycles, l.Covered
	}
	return out
}

func stamp(t time.Time) *timestamppb.Timestamp {
	if t.IsZero() {
		return nil
	}
	return timestamppb.New(t)
}

func progressMessage(spec storage.Spec, p schedule.Progress) *v1.Progress {
	out := &v1.Progress{
		TableWordsDone: p.TableWords, TableWordsTotal: p.TableTotal,
		UnitsDone: int64(p.UnitsDone), UnitsTotal: int64(p.Units),
	}
	switch p.Phase {
	case schedule.PhaseLoading:
		out.Phase = v1.Phase_PHASE_LOADING_TABLES
	case schedule.PhaseBuilding:
		out.Phase = v1.Phase_PHASE_BUILDING_TABLES
	case schedule.PhaseSearching:
		out.Phase = v1.Phase_PHASE_SEARCHING
		switch {
		case spec.Study != nil: // its units say it all
		case p.Unproven:
			out.PairsTried, out.PairsPredicted, out.PairsPerSecond = p.Leaves, p.Predicted, p.Rate
		case p.Open:
			out.Length = int32(p.Length)
			out.Nodes, out.NodesPerSecond = p.Leaves, p.Rate
		default:
			out.Length = int32(p.Length)
			out.LeavesCovered, out.LeavesPredicted, out.LeavesPerSecond = p.Leaves, p.Predicted, p.Rate
		}
		if p.Remaining > 0 {
			out.Remaining = durationpb.New(p.Remaining)
		}
	}
	return out
}
