package searches

import (
	"bytes"
	"cmp"
	"context"

	"turnwright/search/structure"
	"turnwright/server/readings"
	"turnwright/storage"
)

// The store has findings by length, lines and text. Those that are equal in length and
// lines rank by their readings before their texts, and are put into that order when a page is
// asked for: to do so when they are stored would slow searches down, as units report
// many more than are kept.

// spot is the place of a finding in rank order.
type spot struct {
	Rank  storage.Rank `json:"r,omitempty"`
	Plain bool         `json:"p,omitempty"` // there is no reading, or none with structure
	Parts int          `json:"n,omitempty"` // turns and brackets in it
	Setup int          `json:"s,omitempty"` // of these turns
}

func (s spot) reading() structure.Reading {
	return structure.Reading{Plain: s.Plain, Written: s.Parts, Setup: s.Setup}
}

// compare compares places.
func (s spot) compare(t spot) int {
	return cmp.Or(bytes.Compare(s.Rank.Ties(), t.Rank.Ties()), s.reading().Compare(t.reading()), bytes.Compare(s.Rank, t.Rank))
}

// spot gives a finding's place.
func (w *writer) spot(f storage.Finding) (spot, error) {
	read, err := w.reads.Read(f.Text)
	if read == nil {
		return spot{Rank: f.Rank(), Plain: true}, err
	}
	return spot{f.Rank(), read.Plain, read.Written + read.Brackets, read.Setup}, nil
}

// page gives at most so many findings after a place, in rank order.
func (f *Findings) page(ctx context.Context, w *writer, after spot, size int) ([]storage.Finding, error) {
	var out []storage.Finding
	scan := func(after storage.Rank, limit int) ([]storage.Finding, error) {
		return f.searches.store.Findings(ctx, w.search.ID, storage.FindingScan{After: after, Until: storage.AnyEvent, Limit: limit})
	}
	for at := after.Rank.Ties(); len(out) < size; {
		found, err := scan(at, readings.MaxTied+1)
		if err != nil || len(found) == 0 {
			return out, err
		}
		group := tied(found)
		if len(group) <= readings.MaxTied {
			at = group[len(group)-1].Rank()
			if group, err = w.rank(ctx, group, after); err != nil {
				return nil, err
			}
			out = append(out, group[:min(len(group), size-len(out))]...)
			continue
		}
		// Too many to be read: as the store has them.
		ties := group[0].Rank().Ties()
		if bytes.Equal(ties, after.Rank.Ties()) {
			at = after.Rank
		}
		for len(out) < size {
			if found, err = scan(at, min(size-len(out), batch)); err != nil {
				return nil, err
			}
			if len(found) == 0 || !bytes.Equal(found[0].Rank().Ties(), ties) {
				break
			}
			group = tied(found)
			out = append(out, group...)
			at = group[len(group)-1].Rank()
		}
	}
	return out, nil
}

// tied gives those of the first findings that are equal in length and lines.
func tied(found []storage.Finding) []storage.Finding {
	n := 1
	for n < len(found) && equal(found[0], found[n]) {
		n++
	}
	return found[:n]
}

func equal(x, y storage.Finding) bool { return x.Length == y.Length && x.Axes == y.Axes }

// rank gives those of a few findings that come after a place, in rank order.
func (w *writer) rank(ctx context.Context, group []storage.Finding, after spot) ([]storage.Finding, error) {
	err := readings.Rank(ctx, w.reads, group, func(f storage.Finding) []string { return []string{f.Text} }, equal)
	if err != nil || len(after.Rank) == 0 {
		return group, err
	}
	for i := range group {
		at, err := w.spot(group[i])
		if err != nil {
			return nil, err
		}
		if at.compare(after) > 0 {
			return group[i:], nil
		}
	}
	return nil, nil
}
