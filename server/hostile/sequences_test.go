package hostile

import (
	"context"
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	v1 "turnwright/api/turnwright/v1"
)

// Sequences that ask for too much, in every field that takes one.
func TestSequencesThatAskForTooMuch(t *testing.T) {
	x := serve(t, 1)
	x.furnish(t)
	goal := &v1.Goal{Puzzle: "puzzles/3x3x3", Cycle: "edge", Ignore: []string{"corner"}}
	covered := &v1.CoverageGoal{Puzzle: "puzzles/3x3x3", Cycle: "edge", Ignore: []string{"corner"}}
	const puzzle, known = "puzzles/3x3x3", "R2 U' R' U' R U R U R U' R"
	check := func(s *v1.Search) func(context.Context) error {
		return func(ctx context.Context) error {
			_, err := x.Searches.CreateSearch(ctx, &v1.CreateSearchRequest{Search: s, ValidateOnly: true})
			return err
		}
	}
	fields := map[string]func(s string) func(context.Context) error{
		"describe": func(s string) func(context.Context) error {
			return func(ctx context.Context) error {
				_, err := v1.NewEffectServiceClient(x.conn).DescribeSequence(ctx, &v1.DescribeSequenceRequest{Puzzle: puzzle, Sequence: s})
				return err
			}
		},
		"describe on a large puzzle": func(s string) func(context.Context) error {
			return func(ctx context.Context) error {
				_, err := v1.NewEffectServiceClient(x.conn).DescribeSequence(ctx, &v1.DescribeSequenceRequest{Puzzle: "puzzles/7x7x7", Sequence: s})
				return err
			}
		},
		"explain": func(s string) func(context.Context) error {
			return func(ctx context.Context) error {
				_, err := v1.NewEffectServiceClient(x.conn).ExplainSequence(ctx, &v1.ExplainSequenceRequest{Puzzle: puzzle, Sequence: s})
				return err
			}
		},
		"draw": func(s string) func(context.Context) error {
			return func(ctx context.Context) error {
				_, err := v1.NewDrawServiceClient(x.conn).DrawPuzzle(ctx, &v1.DrawPuzzleRequest{Puzzle: puzzle, Sequence: s})
				return err
			}
		},
		"draw a sheet": func(s string) func(context.Context) error {
			return func(ctx context.Context) error {
				_, err := v1.NewDrawServiceClient(x.conn).DrawSheet(ctx, &v1.DrawSheetRequest{Puzzle: puzzle, Entries: []*v1.SheetEntry{{Sequence: s}, {Sequence: s}}})
				return err
			}
		},
		"trace": func(s string) func(context.Context) error {
			return func(ctx context.Context) error {
				_, err := v1.NewDrawServiceClient(x.conn).TraceSequence(ctx, &v1.TraceSequenceRequest{Puzzle: puzzle, Sequence: s})
				return err
			}
		},
		"isolate": func(s string) func(context.Context) error {
			return func(ctx context.Context) error {
				_, err := v1.NewCommutatorServiceClient(x.conn).IsolatePieces(ctx, &v1.IsolatePiecesRequest{Goal: goal, Part: s})
				return err
			}
		},
		"fit": func(s string) func(context.Context) error {
			return func(ctx context.Context) error {
				_, err := v1.NewFitServiceClient(x.conn).FitSequences(ctx, &v1.FitSequencesRequest{Goal: covered, Sequences: []string{s}, Places: []string{"UF", "UR"}})
				return err
			}
		},
		"fit before": func(s string) func(context.Context) error {
			return func(ctx context.Context) error {
				_, err := v1.NewFitServiceClient(x.conn).FitSequences(ctx, &v1.FitSequencesRequest{Goal: covered, Sequences: []string{known}, Places: []string{"UF", "UR"}, Before: s})
				return err
			}
		},
		"fit after": func(s string) func(context.Context) error {
			return func(ctx context.Context) error {
				_, err := v1.NewFitServiceClient(x.conn).FitSequences(ctx, &v1.FitSequencesRequest{Goal: covered, Sequences: []string{known}, Places: []string{"UF", "UR"}, After: s})
				return err
			}
		},
		"insert into": func(s string) func(context.Context) error {
			return func(ctx context.Context) error {
				_, err := v1.NewInsertionServiceClient(x.conn).InsertSequences(ctx, &v1.InsertSequencesRequest{Puzzle: puzzle, Scramble: "R U", Solution: s})
				return err
			}
		},
		"insert after": func(s string) func(context.Context) error {
			return func(ctx context.Context) error {
				_, err := v1.NewInsertionServiceClient(x.conn).InsertSequences(ctx, &v1.InsertSequencesRequest{Puzzle: puzzle, Scramble: s, Solution: "R U"})
				return err
			}
		},
		"join before": func(s string) func(context.Context) error {
			return func(ctx context.Context) error {
				_, err := v1.NewInsertionServiceClient(x.conn).JoinFindings(ctx, &v1.JoinFindingsRequest{Parent: "searches/edges", Before: s})
				return err
			}
		},
		"join after": func(s string) func(context.Context) error {
			return func(ctx context.Context) error {
				_, err := v1.NewInsertionServiceClient(x.conn).JoinFindings(ctx, &v1.JoinFindingsRequest{Parent: "searches/edges", After: s})
				return err
			}
		},
		"scramble": func(s string) func(context.Context) error {
			return check(&v1.Search{Position: &v1.Position{Puzzle: puzzle, Scramble: s}, MaxLength: 5})
		},
		"search before": func(s string) func(context.Context) error {
			return check(&v1.Search{Goal: goal, MaxLength: 5, Before: s})
		},
		"search after": func(s string) func(context.Context) error {
			return check(&v1.Search{Goal: goal, MaxLength: 5, After: s})
		},
	}
	for field, call := range fields {
		for i, sequence := range Sequences {
			if testing.Short() && i%4 != 0 {
				continue
			}
			what := fmt.Sprintf("%s %.40q… (%d bytes)", field, sequence, len(sequence))
			ctx, cancel := context.WithTimeout(t.Context(), patience)
			before := time.Now()
			err := call(sequence)(ctx)
			if took := time.Since(before); took > 500*time.Millisecond {
				t.Logf("%v: %s", took, what)
			}
			cancel()
			switch status.Code(err) {
			case codes.OK, codes.InvalidArgument, codes.FailedPrecondition:
			default:
				t.Errorf("%s: %.300v", what, err)
			}
			assert.Empty(t, wrong(methods()[0], err), what)
		}
	}
	x.alive(t)
	x.settled(t)
}
