// Package status tells people how a server is: what it does, and what it has left.
package status

import (
	"context"
	"time"

	"github.com/prometheus/procfs"
	"google.golang.org/grpc/codes"
	grpcstatus "google.golang.org/grpc/status"
	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	v1 "turnwright/api/turnwright/v1"
	"turnwright/server/schedule"
	"turnwright/server/searches"
	"turnwright/storage"
)

// Runner is who does the searches.
type Runner interface{ Figures() schedule.Figures }

// Store is where they are kept.
type Store interface{ Figures() storage.Figures }

// Searches gives a search as the API has it.
type Searches interface {
	GetSearch(ctx context.Context, req *v1.GetSearchRequest) (*v1.GetSearchResponse, error)
}

// Server is what a server is told to be.
type Server struct {
	Version    string
	Address    string
	TableLimit int64 // bytes that tables may take in memory
}

// maxUnderWay is how many searches a status has at most: each has some kilobytes.
const maxUnderWay = 50

// Service answers turnwright.v1.StatusService.
type Service struct {
	v1.UnimplementedStatusServiceServer
	server   Server
	runner   Runner
	store    Store
	searches Searches
	started  time.Time
}

// NewService makes the service of a server that starts now.
func NewService(s Server, runner Runner, store Store, all Searches) *Service {
	return &Service{server: s, runner: runner, store: store, searches: all, started: time.Now()}
}

// GetStatus tells how the server is now.
func (s *Service) GetStatus(ctx context.Context, _ *v1.GetStatusRequest) (*v1.GetStatusResponse, error) {
	run, kept := s.runner.Figures(), s.store.Figures()
	out := &v1.Status{
		Version: s.server.Version, Address: s.server.Address,
		StartTime: timestamppb.New(s.started), Uptime: durationpb.New(time.Since(s.started)),
		QueueLength: int32(kept.Searches[storage.Queued]),
		Workers:     &v1.WorkerStatus{Embedded: int32(run.Slots), Busy: int32(run.Busy), Processes: int32(run.Processes), Slots: int32(run.AllSlots)},
		Work: &v1.WorkStatus{
			Leaves: run.Leaves, Nodes: run.Nodes, LeavesPerSecond: run.LeafRate, NodesPerSecond: run.NodeRate,
			WordsCovered: run.Words, UnitsDone: run.Units, UnitsRepeated: run.Repeated, UnitsMismatched: run.Mismatches,
			UnitsFailed: run.Failures, UnitsLost: run.Lost, Alarms: run.Alarms,
		},
		Memory: &v1.MemoryStatus{TableLimitBytes: s.server.TableLimit, TableBytes: run.TableBytes, ProcessBytes: anonymous()},
		TableCache: &v1.TableCacheStatus{
			Hits: run.TablesLoaded, Misses: run.TablesMissed, Builds: run.TablesBuilt, Bytes: kept.TablesTree + kept.TablesLog,
		},
		Storage: &v1.StorageStatus{
			Schema: int32(kept.Schema), StateBytes: kept.StateTree + kept.StateLog,
			FreeBytes: kept.Free, ReserveBytes: kept.Reserve, Low: kept.Low,
		},
	}
	for _, state := range storage.States {
		if n := kept.Searches[state]; n > 0 {
			out.Searches = append(out.Searches, &v1.StateCount{State: searches.StateMessage(state), Searches: int64(n)})
		}
	}
	for _, id := range run.UnderWay[:min(len(run.UnderWay), maxUnderWay)] {
		found, err := s.searches.GetSearch(ctx, &v1.GetSearchRequest{Name: "searches/" + id})
		if grpcstatus.Code(err) == codes.NotFound {
			continue // it was deleted meanwhile
		}
		if err != nil {
			return nil, err
		}
		out.UnderWay = append(out.UnderWay, found.GetSearch())
	}
	return &v1.GetStatusResponse{Status: out}, nil
}

// anonymous is the memory of the process without mapped files, in bytes; 0 where the
// system doesn't tell.
func anonymous() int64 {
	self, err := procfs.Self()
	if err != nil {
		return 0
	}
	status, err := self.NewStatus()
	if err != nil {
		return 0
	}
	return int64(status.RssAnon)
}
