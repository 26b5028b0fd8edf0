package schedule

import (
	"slices"
	"sync"

	"turnwright/server/engine"
)

// keptEngines is how many engines are kept: making one can take seconds.
const keptEngines = 32

// engines keeps the engines that were asked for last, by search. An id can come
// back after a deletion: forget says that what is kept under it is of no use.
type engines struct {
	mu   sync.Mutex
	kept []*keptEngine // the last used first
}

type keptEngine struct {
	id     string
	ready  chan struct{}
	engine engine.Engine
	err    error
}

// of gives the engine of a search, made if it is not here. Who comes while it is made waits.
func (e *engines) of(id string, build func() (engine.Engine, error)) (engine.Engine, error) {
	e.mu.Lock()
	if i := slices.IndexFunc(e.kept, func(k *keptEngine) bool { return k.id == id }); i >= 0 {
		k := e.kept[i]
		e.kept = slices.Insert(slices.Delete(e.kept, i, i+1), 0, k)
		e.mu.Unlock()
		<-k.ready
		return k.engine, k.err
	}
	k := &keptEngine{id: id, ready: make(chan struct{})}
	e.kept = slices.Insert(e.kept, 0, k)
	e.kept = e.kept[:min(len(e.kept), keptEngines)]
	e.mu.Unlock()
	defer close(k.ready)
	k.engine, k.err = build()
	if k.err != nil {
		e.forget(id)
	}
	return k.engine, k.err
}

func (e *engines) forget(id string) {
	e.mu.Lock()
	defer e.mu.Unlock()
	e.kept = slices.DeleteFunc(e.kept, func(k *keptEngine) bool { return k.id == id })
}
