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
	ready map[string]*scramble.Maker // by definition; to make one takes up to seconds
}

// maxReady bounds the memory of makers that are kept.
const maxReady = 8

// Commit is [scramble.Commit] of a seed in hexadecimal digits.
func (*Drawn) Commit(seed string) string {
	s, err := scramble.ParseSeed(seed)
	if err != nil { // seeds are our own
		panic(err)
	}
	return scramble.Commit(s)
}

// Scrambles makes one for each attempt.
func (d *Drawn) Scrambles(ctx context.Context, p *puzzle.Puzzle, seed, round string, attempts int) ([]string, string, error) {
	s, err := scramble.ParseSeed(seed)
	if err != nil {
		return nil, "", err
	}
	maker, err := d.maker(ctx, p)
	if err != nil {
		return nil, "", err
	}
	var texts []string
	way := ""
	for n := 1; n <= attempts; n++ {
		made, err := maker.Scramble(ctx, s, roundName(round), n)
		if err != nil {
			return nil, "", err
		}
		way = made.Way
		texts = append(texts, made.Text)
	}
	return texts, way, nil
}

func (d *Drawn) maker(ctx context.Context, p *puzzle.Puzzle) (*scramble.Maker, error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	key := p.Def.YAML()
	if m, ok := d.ready[key]; ok {
		return m, nil
	}
	m, err := scramble.New(ctx, p, nil)
	if err != nil {
		return nil, err
	}
	if d.ready == nil || len(d.ready) >= maxReady {
		d.ready = map[string]*scramble.Maker{}
	}
	d.ready[key] = m
	return m, nil
}
