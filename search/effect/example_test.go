package effect_test

import (
	"fmt"

	"turnwright/search/effect"
	"turnwright/search/notation"
	"turnwright/search/puzzle"
)

func ExampleDescribe() {
	p, err := puzzle.Find("3x3x3")
	if err != nil {
		fmt.Println(err)
		return
	}
	turns, err := notation.ParseTurns(p, "R' D' R U' R' D R U y")
	if err != nil {
		fmt.Println(err)
		return
	}
	e := effect.Describe(p, turns)
	for _, t := range e.Types {
		for _, c := range t.Cycles {
			fmt.Println(t.Type, c.Labels)
		}
	}
	fmt.Println("order", e.Order, "then", e.Rotation)
	// Output:
	// corner [URF UFL RDF]
	// order 3 then y
}
