package searches

import (
	"encoding/json"
	"sync"

	v1 "turnwright/api/turnwright/v1"
	"turnwright/storage"
)

// maxConsidered is of how many questions it is kept what they take.
const maxConsidered = 1000

// considered keeps what plans said of questions: to make a plan takes up to seconds
// of a core, and many ask the same. It is safe for concurrent use.
type considered struct {
	mu   sync.Mutex
	kept map[string]consideration // by the question
}

type consideration struct {
	spec     storage.Spec
	estimate *v1.Estimate // nobody changes it
}

// of gives what was found out of a question before, or else finds it out. The
// estimate must not be changed.
func (c *considered) of(question any, find func() (storage.Spec, *v1.Estimate, error)) (storage.Spec, *v1.Estimate, error) {
	key, err := json.Marshal(question)
	if err != nil {
		return storage.Spec{}, nil, err
	}
	c.mu.Lock()
	known, ok := c.kept[string(key)]
	c.mu.Unlock()
	if ok {
		return known.spec, known.estimate, nil
	}
	spec, estimate, err := find()
	if err != nil {
		return spec, estimate, err
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.kept == nil || len(c.kept) >= maxConsidered {
		c.kept = map[string]consideration{}
	}
	c.kept[string(key)] = consideration{spec, estimate}
	return spec, estimate, nil
}
