package main

import (
	"context"
	"fmt"
	"strings"
	"time"

	"github.com/dustin/go-humanize"
	"github.com/spf13/cobra"
	"google.golang.org/protobuf/types/known/durationpb"

	"turnwright/api/client"
	turnwrightv1 "turnwright/api/turnwright/v1"
)

// How searches that shorten a solution are put, for people and for programs.

// studyQuestion is a solution to be shortened as the flags of submit study put it.
type studyQuestion struct {
	app                *app
	puzzle, metric     string
	scramble, solution string
	shorten            time.Duration
	seed               uint64
}

func (q *studyQuestion) register(cmd *cobra.Command) {
	flags := cmd.Flags()
	flags.StringVar(&q.puzzle, "puzzle", "", "`name` of the puzzle, or a YAML file that defines one")
	flags.StringVar(&q.scramble, "scramble", "", "the scramble's `moves` (default none)")
	flags.StringVar(&q.solution, "solution", "", "the solution's `moves`")
	flags.Var(newChoice(&q.metric, "obtm", "stm", "qtm", "etm"), "metric", "how turns are counted")
	flags.DurationVar(&q.shorten, "shorten", time.Hour, "look for shorter solutions for about so much `time` of cores, 1s to 72h")
	flags.Uint64Var(&q.seed, "seed", 0, "another `number` takes another way")
	for _, name := range []string{"puzzle", "solution"} {
		if err := cmd.MarkFlagRequired(name); err != nil {
			panic(err) // a flag of that name was not registered above
		}
	}
}

// search puts the question to the API. The puzzle's file, where one is named, is
// defined on the server first.
func (q *studyQuestion) search(ctx context.Context, c *client.Client, memory size) (*turnwrightv1.Search, error) {
	scramble, err := q.app.readMoves("the scramble", q.scramble)
	if err != nil {
		return nil, err
	}
	solution, err := q.app.readMoves("the solution", q.solution)
	if err != nil {
		return nil, err
	}
	name, err := puzzleName(ctx, c, q.puzzle)
	if err != nil {
		return nil, err
	}
	return &turnwrightv1.Search{
		Study: &turnwrightv1.Study{
			Puzzle: name, Scramble: scramble, Solution: solution, ShortenTime: durationpb.New(q.shorten), Seed: q.seed,
		},
		Metric: metricOf(q.metric), MemoryBytes: int64(memory),
	}, nil
}

// givenText is the solution that is to become shorter.
func givenText(s *turnwrightv1.Search) string {
	given := s.GetStudy()
	after := ""
	if given.GetScramble() != "" {
		after = " after " + given.GetScramble()
	}
	return fmt.Sprintf("Solutions of %s%s, shorter than this one of %d %s:\n%s\n",
		client.ID(given.GetPuzzle()), after, given.GetLength(), metricText(s.GetMetric()), given.GetSolution())
}

// lookedText is how much was looked for, and what follows from it.
func lookedText(s *turnwrightv1.Search, found bool) string {
	given := s.GetStudy()
	units := "all " + plural(given.GetUnitsTotal(), "unit", "units")
	switch {
	case given.GetUnitsDone() == 0:
		return "Nothing was tried: no unit was finished."
	case given.GetUnitsDone() < given.GetUnitsTotal():
		units = fmt.Sprintf("%s of %s", humanize.Comma(given.GetUnitsDone()), plural(given.GetUnitsTotal(), "unit", "units"))
	}
	if !found {
		return fmt.Sprintf("Done: %s. Nothing shorter with the same end was found, which is no proof that there is none.", units)
	}
	return fmt.Sprintf("Done: %s. That is no proof that there is none shorter.", units)
}

// shortenedText is a study with what it found.
func shortenedText(s *turnwrightv1.Search, findings []*turnwrightv1.Finding) string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s\n", givenText(s))
	if len(findings) > 0 {
		var rows [][]any
		for i, f := range findings {
			how := f.GetShortening()
			rows = append(rows, []any{i + 1, f.GetLength(), how.GetSaved(), how.GetBy(), how.GetRound(), f.GetSequence()})
		}
		fmt.Fprintf(&b, "%s\n", columns([]string{">rank", ">length", ">less", "by", ">round", "solution"}, rows))
	}
	fmt.Fprintf(&b, "%s\n", lookedText(s, len(findings) > 0))
	return b.String()
}

// shorterText is one finding of a study, for those who watch it.
func shorterText(f *turnwrightv1.Finding) string {
	how := f.GetShortening()
	return fmt.Sprintf("%d  %d less  round %d  by %s  %s\n", f.GetLength(), how.GetSaved(), how.GetRound(), how.GetBy(), f.GetSequence())
}

// studyBarText is barText for a study.
func studyBarText(p *turnwrightv1.Progress, width int) string {
	facts := []string{fmt.Sprintf("%d of %s", p.GetUnitsDone(), plural(p.GetUnitsTotal(), "unit", "units"))}
	if p.GetRemaining() != nil {
		facts = append(facts, durationText(p.GetRemaining().AsDuration())+" left")
	}
	return fit(barLine("shortening", uint64(p.GetUnitsDone()), uint64(p.GetUnitsTotal()), facts), width)
}

func studyEstimateText(s *turnwrightv1.Search, e *turnwrightv1.Estimate) string {
	return fmt.Sprintf("%s, about %s of one core.\nTable: %s words, %s.\n", plural(e.GetUnits(), "unit", "units"),
		durationText(s.GetStudy().GetShortenTime().AsDuration()), short(e.GetTableWords()), humanize.IBytes(uint64(e.GetTableBytes())))
}

// studiedForm is a solution that is to become shorter, and how far that is.
type studiedForm struct {
	Scramble   string  `json:"scramble"`
	Solution   string  `json:"solution"`
	Length     int32   `json:"length"`
	Seconds    float64 `json:"seconds"` // of a core, about
	Seed       uint64  `json:"seed"`
	UnitsDone  int64   `json:"unitsDone"`
	UnitsTotal int64   `json:"unitsTotal"`
}

func studiedJSON(s *turnwrightv1.Study) *studiedForm {
	if s == nil {
		return nil
	}
	return &studiedForm{
		Scramble: s.GetScramble(), Solution: s.GetSolution(), Length: s.GetLength(), Seconds: s.GetShortenTime().AsDuration().Seconds(),
		Seed: s.GetSeed(), UnitsDone: s.GetUnitsDone(), UnitsTotal: s.GetUnitsTotal(),
	}
}

func shortenedJSON(f *turnwrightv1.Finding) shorterForm {
	how := f.GetShortening()
	return shorterForm{Solution: f.GetSequence(), Length: f.GetLength(), Saved: how.GetSaved(), By: how.GetBy(), Round: how.GetRound(), Revision: f.GetRevision()}
}
