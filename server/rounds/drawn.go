package rounds

import (
	"context"
	"fmt"
	"sync"

	"turnwright/search/puzzle"
	"turnwright/search/scramble"
)

// Drawn scrambles with positions drawn uniformly from those that the puzzle has, by package
// scramble. The purpose of each scramble is the round's name, `rounds/{round}`.
type Drawn struct {
	// Solver solves positions of puzzles that are too large for package scramble to write
	// by itself. Where it is nil, random words stand in on these.
	Solver func(ctx context.Context, p *puzzle.Puzzle) (scramble.Solver, error)

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
	if err != nil && (d.Solver != nil || ctx.Err() != nil) {
		return nil, "", err
	}
	var texts []string
	way := ""
	for n := 1; n <= attempts; n++ {
		text := ""
		if maker == nil {
			text, way, err = wordScramble(p, s.Stream(p.Name, roundName(round), n))
		} else {
			var made scramble.Scramble
			made, err = maker.Scramble(ctx, s, roundName(round), n)
			text, way = made.Text, made.Way
		}
		if err != nil {
			return nil, "", err
		}
		texts = append(texts, text)
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
	var solver scramble.Solver
	if d.Solver != nil {
		var err error
		if solver, err = d.Solver(ctx, p); err != nil {
			return nil, fmt.Errorf("a solver for %s: %w", p.Name, err)
		}
	}
	m, err := scramble.New(ctx, p, solver)
	if err != nil {
		return nil, err
	}
	if d.ready == nil || len(d.ready) >= maxReady {
		d.ready = map[string]*scramble.Maker{}
	}
	d.ready[key] = m
	return m, nil
}
