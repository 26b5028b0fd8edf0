package engine

import (
	"encoding/json"
	"errors"
	"slices"
	"sync"

	"turnwright/storage"
)

// keptEngines is how many engines are kept: making one can take seconds.
const keptEngines = 32

// Kept makes engines, and keeps those that were asked for last. It is safe for
// concurrent use.
type Kept struct {
	build func(storage.Spec) (Engine, error)

	mu   sync.Mutex
	kept []*keptEngine // the last used first
}

type keptEngine struct {
	spec   string
	ready  chan struct{}
	engine Engine
	err    error
}

// errFault is what those get who waited for an engine while its making panicked.
var errFault = errors.New("a fault of the engine while it was made")

// NewKept keeps engines that the function makes: [New], with a builder of puzzles.
func NewKept(build func(storage.Spec) (Engine, error)) *Kept { return &Kept{build: build} }

// Of gives the engine of a spec. Who asks while it is made waits.
func (k *Kept) Of(spec storage.Spec) (Engine, error) {
	text, err := json.Marshal(spec)
	if err != nil {
		return nil, err
	}
	k.mu.Lock()
	i := slices.IndexFunc(k.kept, func(e *keptEngine) bool { return e.spec == string(text) })
	if i >= 0 {
		e := k.kept[i]
		k.kept = slices.Insert(slices.Delete(k.kept, i, i+1), 0, e)
		k.mu.Unlock()
		<-e.ready
		return e.engine, e.err
	}
	e := &keptEngine{spec: string(text), ready: make(chan struct{})}
	k.kept = slices.Insert(k.kept, 0, e)
	k.kept = k.kept[:min(len(k.kept), keptEngines)]
	k.mu.Unlock()
	e.err = errFault
	defer func() {
		if e.err != nil {
			k.mu.Lock()
			k.kept = slices.DeleteFunc(k.kept, func(other *keptEngine) bool { return other == e })
			k.mu.Unlock()
		}
		close(e.ready)
	}()
	e.engine, e.err = k.build(spec)
	return e.engine, e.err
}
