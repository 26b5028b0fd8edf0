package notation_test

import (
	"fmt"

	"turnwright/search/notation"
	"turnwright/search/puzzle"
)

func Example() {
	p, err := puzzle.Find("3x3x3")
	if err != nil {
		fmt.Println(err)
		return
	}
	seq, err := notation.Parse(p, "[R U: R' D']^2 // a comment")
	if err != nil {
		fmt.Println(err)
		return
	}
	turns, err := seq.Expand()
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(seq)
	fmt.Println(notation.Print(p, turns))
	fmt.Println(notation.Print(p, notation.Simplify(p, turns)))
	// Output:
	// [R U: R' D']^2
	// R U R' D' U' R' R U R' D' U' R'
	// R U R' D' R' D' U' R'
}

func ExampleParse_error() {
	p, err := puzzle.Find("3x3x3")
	if err != nil {
		fmt.Println(err)
		return
	}
	_, err = notation.Parse(p, "R U\n[M, F]")
	fmt.Println(err)
	// Output: line 2, column 2: M is not in WCA 12a: write 2.L
}
