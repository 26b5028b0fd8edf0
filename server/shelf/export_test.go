package shelf

import "turnwright/server/engine"

// Has tells whether all these tables are here.
func (s *Shelf) Has(tables []engine.Table) bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, t := range tables {
		if s.items[t.Key] == nil {
			return false
		}
	}
	return true
}
