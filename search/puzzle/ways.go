package puzzle

import (
	"cmp"
	"container/heap"
	"slices"
)

// ways holds, for one line and metric, the best way to turn the line's layers
// against one another by any amounts. It is found by Dijkstra's algorithm (1959)
// with every block of adjacent layers as a move.
//
// Amounts count relative to the first layer, as a rotation of the whole is free;
// their code has a digit in base steps for each other layer.
type ways struct {
	steps int
	reach []reach // by code
}

// reach is how a code is reached: the best effort, and the turn that comes last.
type reach struct {
	known  bool
	effort effort
	turn   Turn // of the line's near axis
	from   int  // the code before the turn
}

// effort is what a sequence of turns takes, the weightiest first: its cost; then,
// so that people can do it and WCA notation can write it, the number of inner
// blocks, of turns, of layers turned, and of blocks with the reference layer.
type effort [5]int

func (e effort) add(f effort) effort {
	for i := range e {
		e[i] += f[i]
	}
	return e
}

func (e effort) compare(f effort) int { return slices.Compare(e[:], f[:]) }

type waysKey struct {
	metric Metric
	line   int
}

// ways returns the table for a line, made once.
func (p *Puzzle) ways(m Metric, line int) *ways {
	key := waysKey{m, line}
	if w, ok := p.known.Load(key); ok {
		return w.(*ways)
	}
	kept, _ := p.known.LoadOrStore(key, p.findWays(m, line))
	return kept.(*ways)
}

func (p *Puzzle) findWays(m Metric, line int) *ways {
	l := p.Lines[line]
	blocks := p.blocks(line)
	efforts := make([]effort, len(blocks))
	for i, t := range blocks {
		efforts[i] = p.effort(m, t)
	}
	total := 1
	for range l.Layers - 1 {
		total *= l.Steps
	}
	w := &ways{steps: l.Steps, reach: make([]reach, total)}
	w.reach[0].known = true
	todo := &queue{{}}
	for todo.Len() > 0 {
		here := heap.Pop(todo).(waiting)
		if here.effort != w.reach[here.code].effort {
			continue // it has been reached better since
		}
		for i, t := range blocks {
			code, sum := w.after(here.code, l.Layers, t), here.effort.add(efforts[i])
			if r := &w.reach[code]; !r.known || sum.compare(r.effort) < 0 {
				*r = reach{true, sum, t, here.code}
				heap.Push(todo, waiting{sum, code})
			}
		}
	}
	return w
}

// blocks lists the turns of a line's near axis but those of the whole.
func (p *Puzzle) blocks(line int) []Turn {
	l := p.Lines[line]
	near := p.nearAxis(line)
	var out []Turn
	for from := 1; from <= l.Layers; from++ {
		for to := from; to <= l.Layers && to-from+1 < l.Layers; to++ {
			for amount := 1; amount < l.Steps; amount++ {
				out = append(out, Turn{Axis: near, From: from, To: to, Amount: amount})
			}
		}
	}
	return out
}

// effort is that of one turn of a near axis.
func (p *Puzzle) effort(m Metric, t Turn) effort {
	l := p.Lines[p.Axes[t.Axis].Line]
	e := effort{p.Cost(m, t), 0, 1, t.To - t.From + 1, 0}
	if t.From > 1 && t.To < l.Layers {
		e[1] = 1
	}
	if reference := l.Reference + 1; t.From <= reference && reference <= t.To {
		e[4] = 1
	}
	return e
}

// after is the code after a turn.
func (w *ways) after(code, layers int, t Turn) int {
	out, place := 0, 1
	for k := 2; k <= layers; k++ {
		a := code % w.steps
		code /= w.steps
		if t.From <= k && k <= t.To {
			a += t.Amount
		}
		if t.From == 1 {
			a -= t.Amount
		}
		out += mod(a, w.steps) * place
		place *= w.steps
	}
	return out
}

// code is that of amounts for all layers.
func (w *ways) code(amounts []int) int {
	out, place := 0, 1
	for _, a := range amounts[1:] {
		out += mod(a-amounts[0], w.steps) * place
		place *= w.steps
	}
	return out
}

// best lists the turns of the best way to the amounts, and tells by how many
// steps they rotate the whole besides.
func (w *ways) best(amounts []int) (turns []Turn, spin int) {
	spin = -amounts[0]
	for code := w.code(amounts); code != 0; code = w.reach[code].from {
		t := w.reach[code].turn
		turns = append(turns, t)
		if t.From == 1 {
			spin += t.Amount
		}
	}
	slices.Reverse(turns)
	return turns, mod(spin, w.steps)
}

// cost is what the best way to the amounts costs.
func (w *ways) cost(amounts []int) int { return w.reach[w.code(amounts)].effort[0] }

// waiting is a code in the queue of Dijkstra's algorithm.
type waiting struct {
	effort effort
	code   int
}

// queue is a heap: least effort first, then least code, so that the result is
// the same each time.
type queue []waiting

func (q queue) Len() int { return len(q) }
func (q queue) Less(i, j int) bool {
	return cmp.Or(q[i].effort.compare(q[j].effort), q[i].code-q[j].code) < 0
}
func (q queue) Swap(i, j int) { q[i], q[j] = q[j], q[i] }
func (q *queue) Push(x any)   { *q = append(*q, x.(waiting)) }
func (q *queue) Pop() any {
	last := len(*q) - 1
	x := (*q)[last]
	*q = (*q)[:last]
	return x
}
