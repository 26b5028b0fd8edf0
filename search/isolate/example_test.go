package isolate_test

import (
	"context"
	"fmt"

	"turnwright/search/goal"
	"turnwright/search/isolate"
	"turnwright/search/notation"
	"turnwright/search/puzzle"
)

// Which turn isolates a corner after R' D' R, and what becomes of it?
func ExampleBench_With() {
	p, _ := puzzle.Find("3x3x3")
	g, _ := goal.New(p, "corner", nil, nil)
	b, _ := isolate.New(p, g, puzzle.OBTM, isolate.Options{})
	x, _ := notation.ParseTurns(p, "R' D' R")
	meetings, _ := b.With(x, 1)
	for m := range meetings {
		if c := m.Candidate; c != nil {
			fmt.Println(c.Structure, "length", c.Length, "-", b.Words(*c))
		}
	}
	// Output:
	// [R' D' R, U] length 8 - 3-1 commutator
	// [R' D' R, U2] length 8 - 3-1 commutator
	// [R' D' R, U'] length 8 - 3-1 commutator
}

// What do commutators of parts of up to 3 and 1 turns reach?
func ExampleBench_Table() {
	p, _ := puzzle.Find("vertex-cut-dodecahedron")
	g, _ := goal.New(p, "triangle", nil, nil)
	b, _ := isolate.New(p, g, puzzle.STM, isolate.Options{})
	table, _ := b.Table(context.Background(), 3, 1)
	for n, row := range table.Cells {
		for m, cell := range row {
			if cell.Commutators > 0 {
				fmt.Printf("%d-%d: %d commutators reach %d classes, the best of length %d\n", n, m, cell.Commutators, len(cell.Best), cell.Best[0].Length)
			}
		}
	}
	fmt.Println(table.Classes()[0].Structure)
	// Output:
	// 3-1: 3840 commutators reach 24 classes, the best of length 8
	// [a^2 2.b1 a^-2, c3]
}
