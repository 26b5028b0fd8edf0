package puzzle

// way is a cheapest sequence of turns about one line: turns have the near axis.
type way struct {
	cost  int
	turns []Turn
	spin  int // steps by which it rotates the whole puzzle besides
}

// ways holds, for one line and metric, a cheapest way to every vector of layer
// amounts. It is found by Dijkstra's algorithm over all vectors, with every
// block of adjacent layers as a move (E. W. Dijkstra, 1959).
type ways struct {
	steps, layers int
	cost, count   []int  // by vector code: cost, and number of turns among the cheapest
	last          []Turn // the turn that reaches it
	from          []int
}

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
	near := p.nearAxis(line)
	total := 1
	for range l.Layers {
		total *= l.Steps
	}
	w := &ways{steps: l.Steps, layers: l.Layers}
	w.cost = make([]int, total)
	w.count = make([]int, total)
	w.last = make([]Turn, total)
	w.from = make([]int, total)
	for i := range w.cost {
		w.cost[i] = -1
	}
	w.cost[0] = 0
	// Costs are small, so that one bucket for each cost is the queue.
	buckets := [][]int{{0}}
	for c := 0; c < len(buckets); c++ {
		for i := 0; i < len(buckets[c]); i++ {
			code := buckets[c][i]
			if w.cost[code] != c {
				continue
			}
			for from := 1; from <= l.Layers; from++ {
				for to := from; to <= l.Layers; to++ {
					if from == 1 && to == l.Layers {
						continue
					}
					// Where an inner block costs as much as the two outer
					// blocks that do the same, people write those.
					if inner := from > 1 && to < l.Layers; inner && (m == OBTM || m == QTM) {
						continue
					}
					for amount := 1; amount < l.Steps; amount++ {
						t := Turn{Axis: near, From: from, To: to, Amount: amount}
						next := w.add(code, t)
						cost, count := c+p.Cost(m, t), w.count[code]+1
						if old := w.cost[next]; old >= 0 && (old < cost || old == cost && w.count[next] <= count) {
							continue
						}
						w.cost[next], w.count[next], w.last[next], w.from[next] = cost, count, t, code
						for len(buckets) <= cost {
							buckets = append(buckets, nil)
						}
						buckets[cost] = append(buckets[cost], next)
					}
				}
			}
		}
	}
	return w
}

// add is the code of a vector after a turn.
func (w *ways) add(code int, t Turn) int {
	out, place := 0, 1
	for k := 1; k <= w.layers; k++ {
		a := code % w.steps
		code /= w.steps
		if t.From <= k && k <= t.To {
			a = (a + t.Amount) % w.steps
		}
		out += a * place
		place *= w.steps
	}
	return out
}

// best is the cheapest way to the amounts, up to a rotation of the whole.
func (w *ways) best(amounts []int) way {
	bestCode, bestSpin := -1, 0
	for spin := range w.steps {
		code, place := 0, 1
		for _, a := range amounts {
			code += mod(a+spin, w.steps) * place
			place *= w.steps
		}
		if bestCode < 0 || w.cost[code] < w.cost[bestCode] ||
			w.cost[code] == w.cost[bestCode] && w.count[code] < w.count[bestCode] {
			bestCode, bestSpin = code, spin
		}
	}
	out := way{cost: w.cost[bestCode], spin: bestSpin}
	for code := bestCode; code != 0; code = w.from[code] {
		out.turns = append(out.turns, w.last[code])
	}
	for i, j := 0, len(out.turns)-1; i < j; i, j = i+1, j-1 {
		out.turns[i], out.turns[j] = out.turns[j], out.turns[i]
	}
	return out
}
