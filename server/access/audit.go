package access

import (
	"context"
	"log/slog"

	request "turnwright/server/call"
	"turnwright/storage"
)

// trail is where administrative acts are put on record.
type trail struct {
	store Store
	log   *slog.Logger
}

// Audit puts on record, in the store and in the log, that the caller did something
// administrative: the act as a verb and what it was done to ("delete member"), the
// name of the resource, and what else people may want to know. Call it when the act
// is done. It does nothing where no guard let the call in.
func Audit(ctx context.Context, act, target, details string) {
	c, ok := ctx.Value(callKey{}).(call)
	if !ok || c.trail.store == nil {
		return
	}
	c.trail.log.Info("administrative act", "request", request.ID(ctx), "who", c.caller.ID, "act", act, "target", target, "details", details)
	// It was done, also for a client that has gone away since.
	err := c.trail.store.Audit(context.WithoutCancel(ctx), storage.AuditEntry{
		Who: c.caller.ID, Act: act, Target: target, Details: details,
	})
	if err != nil {
		c.trail.log.Error("an administrative act is not on record", "act", act, "target", target, "error", err)
	}
}
