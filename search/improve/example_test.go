package improve_test

import (
	"context"
	"fmt"

	"turnwright/search/coverage"
	"turnwright/search/goal"
	"turnwright/search/improve"
	"turnwright/search/notation"
	"turnwright/search/puzzle"
)

// A solution that leaves three corners wrong, and the one sequence that is known by heart.
func ExampleLibrary_Insert() {
	p, err := puzzle.Find("3x3x3")
	if err != nil {
		fmt.Println(err)
		return
	}
	read := func(text string) []puzzle.Turn {
		turns, err := notation.ParseTurns(p, text)
		if err != nil {
			fmt.Println(err)
		}
		return turns
	}
	g, err := goal.New(p, "corner", nil, nil)
	if err != nil {
		fmt.Println(err)
		return
	}
	known, err := coverage.New(p, g, puzzle.OBTM)
	if err != nil {
		fmt.Println(err)
		return
	}
	if err := known.Add(read("R' D' R U' R' D R U"), nil); err != nil {
		fmt.Println(err)
		return
	}
	lib, err := improve.NewLibrary(p, puzzle.OBTM)
	if err != nil {
		fmt.Println(err)
		return
	}
	ctx := context.Background()
	if err := lib.Add(ctx, known); err != nil {
		fmt.Println(err)
		return
	}
	skeleton := "F2 L D' B R2 U F' D"
	scramble := "[R' D' R, U'] (" + skeleton + ")'"
	got, err := lib.Insert(ctx, improve.Problem{Scramble: read(scramble), Solution: read(skeleton), Insertions: 1})
	if err != nil {
		fmt.Println(err)
		return
	}
	best := got.Results[0]
	in := best.Insertions[0]
	fmt.Println(got.Skeleton, got.Length)
	fmt.Printf("%s * %s * %s: %d more\n", in.Before, in.Sequence, in.After, in.Net)
	fmt.Println(best.Solution, best.Length)
	// Output:
	// F2 L D' B R2 U F' D 8
	// F2 L D' B R2 U F * F' U' F D F' U F D' * F2 D: 5 more
	// F2 L D' B R2 F D F' U F D' F2 D 13
}
