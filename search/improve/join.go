package improve

// net is what a solution costs with a sequence put in at a place.
//
// At each joint letters of one line merge; where two undo each other, the next two
// meet. If the whole sequence is used up by that, the two joints meet, and the
// word is put together in full.
func (r *run) net(s *solution, pl place, e entry) int {
	b := r.bench
	total := s.cost + e.cost
	x, y := 0, len(e.word) // what is left of the sequence
	left, right := pl.at, pl.at
	var part letter
	hasPart := pl.split
	if pl.split {
		total += b.cost(pl.left) + b.cost(pl.right) - b.cost(s.word[pl.at])
		right++
		part = pl.left
	}
	for x < y {
		var l letter
		switch {
		case hasPart:
			l = part
		case left > 0:
			l = s.word[left-1]
		}
		if !hasPart && left == 0 || l.line() != e.word[x].line() {
			break
		}
		sum := b.plus(l, e.word[x])
		total += b.cost(sum) - b.cost(l) - b.cost(e.word[x])
		x++
		if !sum.idle() {
			break
		}
		if hasPart {
			hasPart = false
		} else {
			left--
		}
	}
	if x == y {
		return r.full(s, pl, e)
	}
	rotation := e.rotation
	hasPart, part = pl.split, pl.right
	for x < y {
		if !hasPart && right == len(s.word) {
			break
		}
		l := part
		if !hasPart {
			l = s.word[right]
		}
		seen := b.through(rotation, l)
		if seen.letter.line() != e.word[y-1].line() {
			break
		}
		sum := b.plus(e.word[y-1], seen.letter)
		total += b.cost(sum) - b.cost(seen.letter) - b.cost(e.word[y-1])
		y--
		if !sum.idle() {
			if x == y {
				return r.full(s, pl, e)
			}
			break
		}
		rotation = seen.after
		if hasPart {
			hasPart = false
		} else {
			right++
		}
	}
	if x == y {
		return r.full(s, pl, e)
	}
	return total
}

// full puts the word together and counts it.
func (r *run) full(s *solution, pl place, e entry) int {
	left, right := pl.parts(s.word)
	renamed, _ := r.bench.rename(e.rotation, right)
	var word []letter
	for _, part := range [][]letter{left, e.word, renamed} {
		for _, x := range part {
			word = r.bench.push(word, x)
		}
	}
	return r.bench.costOf(word)
}
