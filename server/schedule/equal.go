package schedule

import (
	"context"
	"errors"

	"turnwright/storage"
)

// Searches that ask the same are done once. The first of those that have not ended
// leads; the others follow: what it finds and proves is copied to them as it comes. And a
// search that begins takes over what any equal one has found before it ended.

// mark is how far a search was when it was copied from.
type mark struct {
	id     string
	events uint64
	proven int
	state  storage.State
}

func markOf(s storage.Search) mark { return mark{s.ID, s.Events, s.Proven, s.State} }

// leader gives the search that is worked on for what a search asks: itself, if it
// leads. The caller holds the lock.
func (r *Runner) leader(k *known) *known {
	ids := r.equal[k.question]
	if k.job != nil || len(ids) == 0 {
		return k
	}
	lead := r.known[ids[0]]
	for id := range r.jobs { // they are few, and those that ask the same may be thousands
		if at := r.known[id]; at != nil && at.job != nil && at.question == k.question && (lead.job == nil || at.search.Number < lead.search.Number) {
			lead = at
		}
	}
	return lead
}

// maxFollowers is how many of those that ask the same are told of everything as it
// comes; the others when it is their turn. Somebody may ask the same a thousand times.
const maxFollowers = 8

// followAll copies to searches that follow what came since it was last done.
func (r *Runner) followAll(ctx context.Context) {
	type pair struct{ to, from storage.Search }
	var pairs []pair
	r.mu.Lock()
	for _, ids := range r.equal {
		if len(ids) < 2 {
			continue
		}
		lead := r.leader(r.known[ids[0]])
		now := markOf(lead.search)
		if now.events == 0 {
			continue
		}
		for _, id := range ids[:min(len(ids), maxFollowers+1)] {
			if k := r.known[id]; k != lead && k.job == nil && k.copied != now {
				pairs = append(pairs, pair{k.search, lead.search})
			}
		}
	}
	r.mu.Unlock()
	for _, p := range pairs {
		s, err := r.copyTo(ctx, p.to, p.from)
		var taken *storage.StateError
		switch {
		case errors.As(err, &taken), errors.Is(err, storage.ErrNotFound): // one of them has just ended
		case err != nil:
			r.log.Warn("findings of an equal search can't be copied yet", "search", p.to.ID, "from", p.from.ID, "error", err)
		default:
			r.mu.Lock()
			if k := r.known[p.to.ID]; k != nil {
				k.search, k.copied = s, markOf(p.from)
			}
			r.mu.Unlock()
			r.hub.tell(p.to.ID)
		}
	}
}

// copyTo copies what one search has found to another, which then is at work like it.
func (r *Runner) copyTo(ctx context.Context, to, from storage.Search) (storage.Search, error) {
	s, err := r.store.Adopt(ctx, to.ID, from.ID)
	for _, next := range []storage.State{storage.Preparing, storage.Running} {
		if err == nil && s.State.CanBecome(next) && s.State != storage.Paused {
			s, err = r.store.Move(ctx, storage.Request{}, to.ID, next, storage.Detail{})
		}
	}
	return s, err
}

// adopt gives a search that begins what equal ones found before they ended. If one of
// them is done, so is the search.
func (r *Runner) adopt(j *job, s storage.Search) (storage.Search, error) {
	equal, err := r.store.EqualSearches(j.ctx, j.id)
	if err != nil {
		return s, err
	}
	var best *storage.Search
	for i, e := range equal {
		switch {
		case len(e.Alarms) > 0: // not to be trusted
		case best == nil, e.State == storage.Done, e.Proven > best.Proven && best.State != storage.Done:
			best = &equal[i]
		}
	}
	if best == nil || best.State != storage.Done && best.Proven <= s.Proven && best.Events == 0 {
		return s, nil
	}
	if s, err = r.copyTo(j.ctx, s, *best); err != nil {
		return s, err
	}
	r.log.Info("search takes over what an equal one found", "search", j.id, "from", best.ID, "proven", s.Proven)
	if best.State == storage.Done {
		return r.store.Move(j.ctx, storage.Request{}, j.id, storage.Done, storage.Detail{})
	}
	return s, nil
}
