package server

import (
	"context"
	"log/slog"
	"time"

	"google.golang.org/grpc/health"
	healthv1 "google.golang.org/grpc/health/grpc_health_v1"
)

// diskEvery is how often the disk is looked at.
const diskEvery = 10 * time.Second

// watchDisk has health say so while the disk is too low for new work, until ctx
// ends. What a client reads or ends still works then.
func watchDisk(ctx context.Context, low func() error, healthy *health.Server, log *slog.Logger) {
	serving := true
	tick := time.NewTicker(diskEvery)
	defer tick.Stop()
	for {
		err := low()
		switch {
		case err != nil && serving:
			log.Error("nothing new is taken", "error", err)
			healthy.SetServingStatus("", healthv1.HealthCheckResponse_NOT_SERVING)
		case err == nil && !serving:
			log.Info("new work is taken again")
			healthy.SetServingStatus("", healthv1.HealthCheckResponse_SERVING)
		}
		serving = err == nil
		select {
		case <-tick.C:
		case <-ctx.Done():
			return
		}
	}
}
