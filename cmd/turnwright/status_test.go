package main

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	v1 "turnwright/api/turnwright/v1"
)

// GetStatus tells of a server that has much to tell.
func (f *fake) GetStatus(context.Context, *v1.GetStatusRequest) (*v1.GetStatusResponse, error) {
	night := inventedSearches()[0]
	night.Name, night.State = "searches/night", v1.SearchState_SEARCH_STATE_RUNNING
	night.Progress = &v1.Progress{
		Phase: v1.Phase_PHASE_SEARCHING, Length: 11, LeavesCovered: 2_500_000_000, LeavesPredicted: 5_000_000_000,
		UnitsDone: 40, UnitsTotal: 80, LeavesPerSecond: 50e6, Remaining: durationpb.New(50 * time.Second),
	}
	return &v1.GetStatusResponse{Status: &v1.Status{
		Version: "v1.2.3", Address: "127.0.0.1:7431",
		StartTime: timestamppb.New(time.Date(2026, 11, 25, 22, 0, 0, 0, time.UTC)), Uptime: durationpb.New(9 * time.Hour),
		Searches: []*v1.StateCount{
			{State: v1.SearchState_SEARCH_STATE_QUEUED, Searches: 1200},
			{State: v1.SearchState_SEARCH_STATE_RUNNING, Searches: 1},
		},
		UnderWay: []*v1.Search{night}, QueueLength: 1200,
		Workers: &v1.WorkerStatus{Embedded: 2, Busy: 5, Processes: 1, Slots: 6},
		Work: &v1.WorkStatus{
			Leaves: 12_345_678_901, LeavesPerSecond: 50e6, Nodes: 900, WordsCovered: 1e20,
			UnitsDone: 4321, UnitsRepeated: 3, UnitsMismatched: 1, UnitsLost: 2, Alarms: 1,
		},
		Memory:     &v1.MemoryStatus{TableLimitBytes: 8 << 30, TableBytes: 3 << 30, ProcessBytes: 4 << 30},
		TableCache: &v1.TableCacheStatus{Hits: 7, Misses: 2, Builds: 2, Bytes: 12 << 30},
		Storage:    &v1.StorageStatus{Schema: 2, StateBytes: 40 << 20, FreeBytes: 200 << 20, ReserveBytes: 256 << 20, Low: true},
	}}, nil
}

func TestAQuietServerHasLittleToTell(t *testing.T) {
	text := statusText(&v1.Status{
		Version: "v1.2.3", Address: "127.0.0.1:1", Uptime: durationpb.New(time.Second),
		Workers: &v1.WorkerStatus{Embedded: 1, Slots: 1},
	})
	assert.NotContains(t, text, "ALARM")
	assert.NotContains(t, text, "under way")
	assert.Contains(t, text, "searches  none\n")
	assert.Contains(t, text, "workers   1 unit at once, 0 being done\n")
}
