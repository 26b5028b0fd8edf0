package rounds

import (
	"context"
	"sync"

	"turnwright/search/puzzle"
	"turnwright/search/scramble"
)

// Drawn scrambles with positions drawn uniformly from those that the puzzle has, or with long
// random words where nothing writes a position down, by package scramble. The purpose of each
// scramble is the round's name, `rounds/{round}`.
type Drawn struct {
	mu    sync.Mutex
	ready map[made]*scramble.Maker // to make one takes up to seconds
}

// made is what a maker makes scrambles of, and in which way.
type made struct {
	definition string
	way        int
}

// maxReady bounds the memory of makers that are kept.
const maxReady = 8

// Commit is [scramble.Commit] of a seed in hexadecimal digits.
func (*Drawn) Commit(seed string, way int) string {
	s, err := scramble.ParseSeed(seed)
	if err != nil { // seeds are our own
		panic(err)
	}
	return scramble.Commit(s, way)
}

// Scrambles makes one for each attempt.
func (d *Drawn) Scrambles(ctx context.Context, p *puzzle.Puzzle, way int, seed, round string, attempts int) ([]string, string, error) {
	s, err := scramble.ParseSeed(seed)
	if err != nil {
		return nil, "", err
	}
	maker, err := d.maker(ctx, p, way)
	if err != nil {
		return nil, "", err
	}
	var texts []string
	method := ""
	for n := 1; n <= attempts; n++ {
		made, err := maker.Scramble(ctx, s, roundName(round), n)
		if err != nil {
			return nil, "", err
		}
		method = made.Way
		texts = append(texts, made.Text)
	}
	return texts, method, nil
}

func (d *Drawn) maker(ctx context.Context, p *puzzle.Puzzle, way int) (*scramble.Maker, error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	key := made{p.Def.YAML(), way}
	if m, ok := d.ready[key]; ok {
		return m, nil
	}
	m, err := scramble.New(ctx, p, way, nil)
	if err != nil {
		return nil, err
	}
	if d.ready == nil || len(d.ready) >= maxReady {
		d.ready = map[made]*scramble.Maker{}
	}
	d.ready[key] = m
	return m, nil
}
