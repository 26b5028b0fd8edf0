package twostep

import (
	"context"
	"math/rand/v2"
	"testing"
	"time"
	"sort"

	"turnwright/search/group"
	"turnwright/search/puzzle"
)

func TestX(t *testing.T) {
	p, _ := puzzle.Find("3x3x3")
	t0 := time.Now()
	s, err := New(context.Background(), p)
	if err != nil { t.Fatal(err) }
	t.Log("tables", time.Since(t0))
	for _, c := range append(s.one.coords[:], s.two.coords[:]...) { t.Log(c.size()) }
	var perms []puzzle.Perm
	for _, m := range s.moves { perms = append(perms, m.perm) }
	g, _ := group.New(perms...)
	rng := rand.New(rand.NewPCG(1, 2))
	var times []time.Duration
	lens := map[int]int{}
	for range 100 {
		st := puzzle.Perm(g.Random(rng))
		t0 := time.Now()
		w, err := s.Solve(context.Background(), st, Ends{4,1})
		if err != nil { t.Fatal(err) }
		times = append(times, time.Since(t0))
		lens[len(w)]++
	}
	sort.Slice(times, func(i, j int) bool { return times[i] < times[j] })
	t.Log(times[50], times[95], times[99], lens)
}
