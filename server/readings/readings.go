// Package readings reads the sequences of lists as nested commutators and conjugates,
// and ranks those that are equal but for that.
//
// The one idea: a reading takes milliseconds and follows from puzzle, metric and sequence
// alone. So none is stored with a sequence, or made while a search is under way: it is
// made when a list is asked for, on all cores, and kept for the next one who asks.
//
//	r := all.For(p, metric)
//	read, err := r.ReadAll(ctx, texts)
//	err = readings.Rank(ctx, r, findings, text, tied)
package readings

import (
	"context"
	"crypto/sha256"
	"fmt"
	"runtime"
	"slices"
	"sync"

	v1 "turnwright/api/turnwright/v1"
	"turnwright/search/notation"
	"turnwright/search/puzzle"
	"turnwright/search/structure"
	"turnwright/server/effects"
)

// Bounds on reading.
const (
	MaxTurns = 16     // longer sequences of lists are not read: without structure they take long
	MaxTied  = 500    // sequences that are ranked by their readings: a second or so of a core
	maxKept  = 20_000 // readings
)

// Readings keeps readings. It is safe for concurrent use.
type Readings struct {
	mu   sync.Mutex
	kept map[key]*structure.Reading
}

type key struct {
	puzzle    [sha256.Size]byte // of the definition
	metric    puzzle.Metric
	text      string
	structure string // of which it is known to be made, if it is
}

// New makes an empty set of readings.
func New() *Readings { return &Readings{kept: map[key]*structure.Reading{}} }

// Reader reads sequences of one puzzle, counted in one metric.
type Reader struct {
	all        *Readings
	p          *puzzle.Puzzle
	metric     puzzle.Metric
	definition [sha256.Size]byte
}

// For makes a reader.
func (r *Readings) For(p *puzzle.Puzzle, m puzzle.Metric) Reader {
	return Reader{r, p, m, sha256.Sum256([]byte(p.Def.YAML()))}
}

// Read reads a sequence, or gives what was read before; nil for one that is too long.
func (r Reader) Read(text string) (*structure.Reading, error) { return r.ReadAs(text, "") }

// ReadAs is Read for a sequence that is known to be made of parts, however long it is:
// that is its reading. Where nothing is known the structure is empty.
func (r Reader) ReadAs(text, made string) (*structure.Reading, error) {
	at := key{r.definition, r.metric, text, made}
	r.all.mu.Lock()
	known := r.all.kept[at]
	r.all.mu.Unlock()
	if known != nil {
		return known, nil
	}
	var turns []puzzle.Turn
	if text != "" { // nothing to do is no sequence that could be parsed
		var err error
		if turns, err = notation.ParseTurns(r.p, text); err != nil {
			return nil, fmt.Errorf("read %q: %w", text, err)
		}
	}
	var read structure.Reading
	var err error
	switch {
	case made != "":
		read, err = structure.As(r.p, r.metric, turns, made)
	case len(turns) > MaxTurns:
		return nil, nil
	default:
		read, err = structure.Read(r.p, r.metric, turns)
	}
	if err != nil {
		return nil, err
	}
	read.Sequence = notation.Sequence{} // the text says it all
	r.all.mu.Lock()
	defer r.all.mu.Unlock()
	if len(r.all.kept) >= maxKept {
		clear(r.all.kept)
	}
	r.all.kept[at] = &read
	return &read, nil
}

// ReadAll reads sequences, each as Read does, on all cores.
func (r Reader) ReadAll(ctx context.Context, texts []string) ([]*structure.Reading, error) {
	out := make([]*structure.Reading, len(texts))
	errs := make([]error, len(texts))
	workers := min(runtime.GOMAXPROCS(0), len(texts))
	var working sync.WaitGroup
	for first := range workers {
		working.Go(func() {
			for i := first; i < len(texts); i += workers {
				if errs[i] = ctx.Err(); errs[i] == nil {
					out[i], errs[i] = r.Read(texts[i])
				}
				if errs[i] != nil {
					return
				}
			}
		})
	}
	working.Wait()
	for _, err := range errs {
		if err != nil {
			return nil, err
		}
	}
	return out, nil
}

// Messages reads sequences and writes what they read as as the API has it; nil for those
// that are not read.
func (r Reader) Messages(ctx context.Context, texts []string) ([]*v1.Explanation, error) {
	read, err := r.ReadAll(ctx, texts)
	if err != nil {
		return nil, err
	}
	out := make([]*v1.Explanation, len(read))
	for i := range read {
		out[i] = effects.ReadingMessage(read[i])
	}
	return out, nil
}

// Rank puts the simpler ones of neighbours that are tied first (see
// [structure.Reading.Compare]); what is not read comes last, with what has no structure. An
// item may have several sequences, which count together. Neighbours that are no
// simpler than one another stay in their order, and so do more than MaxTied that are tied.
func Rank[T any](ctx context.Context, r Reader, items []T, texts func(T) []string, tied func(x, y T) bool) error {
	for first := 0; first < len(items); {
		last := first + 1
		for last < len(items) && tied(items[first], items[last]) {
			last++
		}
		group := items[first:last]
		first = last
		if len(group) == 1 || len(group) > MaxTied {
			continue
		}
		if err := rank(ctx, r, group, texts); err != nil {
			return err
		}
	}
	return nil
}

func rank[T any](ctx context.Context, r Reader, group []T, texts func(T) []string) error {
	var all []string
	for _, item := range group {
		all = append(all, texts(item)...)
	}
	read, err := r.ReadAll(ctx, all)
	if err != nil {
		return err
	}
	type ranked struct {
		item T
		read structure.Reading
	}
	order := make([]ranked, len(group))
	for i, item := range group {
		n := len(texts(item))
		order[i] = ranked{item, together(read[:n])}
		read = read[n:]
	}
	slices.SortStableFunc(order, func(x, y ranked) int { return x.read.Compare(y.read) })
	for i := range order {
		group[i] = order[i].item
	}
	return nil
}

// together is what counts of several readings.
func together(read []*structure.Reading) structure.Reading {
	var out structure.Reading
	for _, r := range read {
		if r == nil || r.Plain {
			return structure.Reading{Plain: true}
		}
		out.Written += r.Written
		out.Brackets += r.Brackets
		out.Setup += r.Setup
	}
	return out
}
