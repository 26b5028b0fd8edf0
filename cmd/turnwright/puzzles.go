package main

import (
	"context"
	"strings"

	"github.com/spf13/cobra"

	"turnwright/api/client"
	turnwrightv1 "turnwright/api/turnwright/v1"
)

func (a *app) puzzlesCommand() *cobra.Command {
	var e either
	cmd := &cobra.Command{
		Use:   "puzzles",
		Short: "List the puzzles",
		Args:  cobra.NoArgs,
		RunE: a.verb(func(ctx context.Context, _ []string) error {
			return a.withServer(ctx, e, func(c *client.Client) error {
				puzzles, err := client.Collect(c.AllPuzzles(ctx))
				if err != nil {
					return err
				}
				return printList(a, "puzzle", puzzles, puzzleJSON, puzzlesText)
			})
		}),
	}
	e.registerData(cmd)
	return cmd
}

func puzzlesText(puzzles []*turnwrightv1.Puzzle) string {
	var rows [][]any
	for _, puzzle := range puzzles {
		rows = append(rows, []any{
			client.ID(puzzle.GetName()), strings.Join(puzzle.GetAliases(), ", "), puzzle.GetTitle(), piecesText(puzzle),
		})
	}
	return columns([]string{"puzzle", "also", "title", "pieces"}, rows)
}
