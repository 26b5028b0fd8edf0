// Package puzzles serves the puzzles that there are: the built-in ones and those
// that users defined.
//
// The one idea: a puzzle is its definition. The library builds each definition
// once and keeps the result, as it never changes.
package puzzles

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"sync"

	"google.golang.org/grpc/codes"

	v1 "turnwright/api/turnwright/v1"
	"turnwright/search/puzzle"
	"turnwright/server/fail"
	"turnwright/storage"
)

// Store is what the library needs of storage.
type Store interface {
	Puzzle(ctx context.Context, name string) (storage.Puzzle, error)
	Puzzles(ctx context.Context, after string, limit int) ([]storage.Puzzle, error)
	DefinePuzzle(ctx context.Context, r storage.Request, p storage.Puzzle) (storage.Puzzle, error)
}

// Library finds puzzles by name. It is safe for concurrent use.
type Library struct {
	store Store

	mu    sync.Mutex
	built map[string]*puzzle.Puzzle // by definition text
}

// NewLibrary makes a library over a store.
func NewLibrary(store Store) *Library {
	return &Library{store: store, built: map[string]*puzzle.Puzzle{}}
}

// Find gives a puzzle by its resource name, `puzzles/{name or alias}`.
func (l *Library) Find(ctx context.Context, name string) (*puzzle.Puzzle, error) {
	id, ok := strings.CutPrefix(name, "puzzles/")
	if !ok || id == "" {
		return nil, fail.Field("puzzle", "%q: use puzzles/NAME", name)
	}
	if p, err := puzzle.Find(id); err == nil {
		return p, nil
	}
	kept, err := l.store.Puzzle(ctx, id)
	if errors.Is(err, storage.ErrNotFound) {
		return nil, fail.NoSuch(v1.ErrorReason_ERROR_REASON_PUZZLE_NOT_FOUND, "puzzle", name)
	}
	if err != nil {
		return nil, err
	}
	return l.Build(kept.Definition)
}

// Build gives the puzzle of a definition's text.
func (l *Library) Build(definition string) (*puzzle.Puzzle, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if p, ok := l.built[definition]; ok {
		return p, nil
	}
	def, err := puzzle.ParseDefinition([]byte(definition))
	if err != nil {
		return nil, err
	}
	for _, b := range puzzle.Builtin() {
		if b.Name == def.Name && b.YAML() == def.YAML() {
			return puzzle.Find(def.Name)
		}
	}
	p, err := puzzle.Build(def)
	if err != nil {
		return nil, err
	}
	if len(l.built) >= maxBuilt {
		clear(l.built) // they are quick to build again
	}
	l.built[definition] = p
	return p, nil
}

// maxBuilt bounds the memory of puzzles kept ready.
const maxBuilt = 64

// builtinName tells which built-in puzzle has the name or alias, if any.
func builtinName(name string) (string, bool) {
	p, err := puzzle.Find(name)
	if err != nil {
		return "", false
	}
	return p.Name, true
}

// define keeps a definition beside the built-in ones.
func (l *Library) define(ctx context.Context, r storage.Request, text string) (*puzzle.Puzzle, error) {
	def, err := puzzle.ParseDefinition([]byte(text))
	if err != nil {
		return nil, fail.Refused(v1.ErrorReason_ERROR_REASON_PUZZLE_REFUSED, "definition", err)
	}
	p, err := l.Build(def.YAML())
	if err != nil {
		return nil, fail.Refused(v1.ErrorReason_ERROR_REASON_PUZZLE_REFUSED, "definition", err)
	}
	names := append([]string{def.Name}, def.Aliases...)
	for _, name := range names {
		own, taken := builtinName(name)
		if !taken {
			continue
		}
		if b, _ := puzzle.Find(own); b.Def.YAML() == def.YAML() {
			return b, nil
		}
		return nil, exists(name)
	}
	_, err = l.store.DefinePuzzle(ctx, r, storage.Puzzle{Name: def.Name, Aliases: def.Aliases, Definition: def.YAML()})
	if errors.Is(err, storage.ErrExists) {
		for _, name := range names {
			if _, missing := l.store.Puzzle(ctx, name); missing == nil {
				return nil, exists(name)
			}
		}
	}
	if errors.Is(err, storage.ErrLimit) {
		return nil, fail.With(codes.ResourceExhausted, v1.ErrorReason_ERROR_REASON_PUZZLE_LIMIT,
			"this server keeps no more puzzles: "+err.Error())
	}
	if err != nil {
		return nil, fmt.Errorf("define puzzle %q: %w", def.Name, err)
	}
	return p, nil
}
