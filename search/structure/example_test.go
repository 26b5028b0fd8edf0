package structure_test

import (
	"fmt"

	"turnwright/search/notation"
	"turnwright/search/puzzle"
	"turnwright/search/structure"
)

func ExampleRead() {
	p, _ := puzzle.Find("3x3x3")
	turns, _ := notation.ParseTurns(p, "F2 R' D' R U R' D R U' F2")
	r, _ := structure.Read(p, puzzle.OBTM, turns)
	fmt.Println(r.Text)
	fmt.Println(r.Words)
	// Output:
	// [F2: [R' D' R, U]]
	// 3-1 commutator with a 1-turn setup
}
