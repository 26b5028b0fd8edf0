package server

import (
	"context"
	"errors"
	"log/slog"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/health"
	healthv1 "google.golang.org/grpc/health/grpc_health_v1"
)

func TestHealthFollowsTheDisk(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var low atomic.Bool
		healthy := health.NewServer()
		ctx, cancel := context.WithCancel(t.Context())
		done := make(chan struct{})
		go func() {
			defer close(done)
			watchDisk(ctx, func() error {
				if low.Load() {
					return errors.New("low")
				}
				return nil
			}, healthy, slog.New(slog.DiscardHandler))
		}()
		status := func() healthv1.HealthCheckResponse_ServingStatus {
			time.Sleep(diskEvery)
			synctest.Wait()
			r, err := healthy.Check(ctx, &healthv1.HealthCheckRequest{})
			require.NoError(t, err)
			return r.GetStatus()
		}
		assert.Equal(t, healthv1.HealthCheckResponse_SERVING, status())
		low.Store(true)
		assert.Equal(t, healthv1.HealthCheckResponse_NOT_SERVING, status())
		low.Store(false)
		assert.Equal(t, healthv1.HealthCheckResponse_SERVING, status())

		healthy.Shutdown()
		low.Store(true)
		assert.Equal(t, healthv1.HealthCheckResponse_NOT_SERVING, status())
		low.Store(false)
		assert.Equal(t, healthv1.HealthCheckResponse_NOT_SERVING, status(), "a server that stops stays so")
		cancel()
		<-done
	})
}
