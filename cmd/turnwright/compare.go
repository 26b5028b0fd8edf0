package main

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"time"
	"unicode/utf8"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/types/known/durationpb"

	"turnwright/api/client"
	v1 "turnwright/api/turnwright/v1"
)

func (a *app) compareCommand() *cobra.Command {
	var e either
	var puzzle, metric, scramble, round string
	var attempt int32
	var members []string
	var prove time.Duration
	var cmd *cobra.Command
	cmd = &cobra.Command{
		Use:   "compare (--puzzle NAME --scramble MOVES | --round ROUND) [SOLUTION...]",
		Short: "Put solutions of one scramble side by side, stage by stage",
		Long: `Put two or more solutions of one scramble side by side: their lengths, their stages and
what each cost, when each type of piece was finished, and which begin alike. With
--round they are those handed in for an attempt of a round that has closed: the shortest
ones, or those of --members; further solutions may be put beside them. At most 12.

Then, with --prove, find out for so long how few moves could have done: for each stage, to
bring home what it brings home, and to do exactly what it does; and for the whole. What
is not called proven was not ruled out. To go on with the whole overnight, submit solve.

A SOLUTION is the text in one argument, or @FILE, which is called after the file.
Comments in it name stages: one that stands alone on a line, the stage that begins there,
others the one that ends there. Where there is none, stages end where pieces came home
that stay there.`,
		Example: `  turnwright compare --puzzle 2x2x2 --scramble "R U F2 R'" "R F2 U' R'" "R U' U2 F2 U2 U R'" --prove 20s
  turnwright compare --round lantern-cup --attempt 1 --members anna,bert --prove 1m`,
		RunE: a.verb(func(ctx context.Context, args []string) error {
			req := &v1.CompareSolutionsRequest{}
			switch {
			case round == "" && (puzzle == "" || scramble == ""):
				return usageError{errors.New("say what was solved: --puzzle and --scramble, or --round")}
			case round == "" && (attempt != 0 || len(members) > 0):
				return usageError{errors.New("--attempt and --members are of a round: say which with --round")}
			case round == "" && len(args) < 2:
				return usageError{errors.New("nothing to compare: give two solutions at least")}
			case round != "":
				e.own = false // it is kept by the server that has it
			}
			if round == "" || cmd.Flags().Changed("metric") {
				req.Metric = metricOf(metric)
			}
			var err error
			if req.Scramble, err = a.readMoves("the scramble", scramble); err != nil {
				return err
			}
			for _, arg := range args {
				one := &v1.SolutionToCompare{}
				if one.Solution, err = a.readMoves("the solution", arg); err != nil {
					return err
				}
				if file, ok := strings.CutPrefix(arg, "@"); ok {
					name := filepath.Base(file)
					one.Name = clipped(strings.TrimSuffix(name, filepath.Ext(name)), maxLabel)
				}
				req.Solutions = append(req.Solutions, one)
			}
			for _, id := range members {
				req.Members = append(req.Members, client.MemberName(id))
			}
			if prove != 0 {
				req.ProveTime = durationpb.New(prove)
			}
			return a.withServer(ctx, e, func(c *client.Client) error {
				if round == "" {
					if req.Puzzle, err = puzzleName(ctx, c, puzzle); err != nil {
						return err
					}
				} else {
					r, number, err := attemptOf(ctx, c, round, attempt)
					if err != nil {
						return err
					}
					req.Round, req.Attempt = r.GetName(), number
				}
				stream, err := c.Studies.CompareSolutions(ctx, req)
				if err != nil {
					return err
				}
				return a.printComparison(stream.Recv, prove)
			})
		}),
	}
	e.registerData(cmd)
	flags := cmd.Flags()
	flags.StringVar(&puzzle, "puzzle", "", "`name` of the puzzle, or a YAML file that defines one")
	flags.StringVar(&scramble, "scramble", "", "the scramble's `moves`")
	flags.StringVar(&round, "round", "", "compare what was handed in for this `round`, which has closed")
	registerAttempt(cmd, &attempt)
	flags.StringSliceVar(&members, "members", nil, "whose entries, such as `anna,bert` (default the shortest)")
	flags.Var(newChoice(&metric, "obtm", "stm", "qtm", "etm"), "metric", "how turns are counted; with --round, where it is not given, as there")
	flags.DurationVar(&prove, "prove", 0, "find out for so much `time`, such as 30s, how few moves could do; at most 5m (default not at all)")
	cmd.MarkFlagsMutuallyExclusive("round", "puzzle")
	cmd.MarkFlagsMutuallyExclusive("round", "scramble")
	return cmd
}

type comparisonForm struct {
	Puzzle    string         `json:"puzzle"`
	Metric    string         `json:"metric"`
	Scramble  string         `json:"scramble"`
	Solutions []comparedForm `json:"solutions"`
	Shared    []alikeForm    `json:"shared"`
	LeftOut   int32          `json:"leftOut"`
}

type comparedForm struct {
	Name   string `json:"name"`
	Entry  string `json:"entry,omitempty"` // of a round
	Length int32  `json:"length"`
	analysisForm
}

type alikeForm struct {
	First    int32  `json:"first"` // which solution, from 1
	FirstTo  int32  `json:"firstTo"`
	Second   int32  `json:"second"`
	SecondTo int32  `json:"secondTo"`
	Turns    string `json:"turns"`
	Length   int32  `json:"length"`
}

type fewestForm struct {
	Goal     string `json:"goal"`            // brings, same or solves
	Solution int32  `json:"solution"`        // from 1
	Stage    int32  `json:"stage,omitempty"` // from 1; missing for the whole
	Length   int32  `json:"length"`
	Turns    string `json:"turns,omitempty"` // where shorter than the solution's own
	AtLeast  int32  `json:"atLeast"`
	Proven   bool   `json:"proven"`
}

func comparisonJSON(m *v1.SolutionComparison) comparisonForm {
	form := comparisonForm{
		Puzzle: m.GetPuzzle(), Metric: metricText(m.GetMetric()), Scramble: m.GetScramble(), LeftOut: m.GetLeftOut(),
		Solutions: []comparedForm{}, Shared: []alikeForm{},
	}
	for _, s := range m.GetSolutions() {
		form.Solutions = append(form.Solutions, comparedForm{s.GetName(), s.GetEntry(), s.GetLength(), analysisJSON(s.GetAnalysis())})
	}
	for _, s := range m.GetShared() {
		form.Shared = append(form.Shared, alikeForm{s.GetFirst(), s.GetFirstTo(), s.GetSecond(), s.GetSecondTo(), s.GetTurns(), s.GetLength()})
	}
	return form
}

func goalName(g v1.FewestGoal) string {
	return strings.ToLower(strings.TrimPrefix(g.String(), "FEWEST_GOAL_"))
}

// printComparison prints the comparison, and for programs what is found out as it comes, for
// people all of it at the end.
func (a *app) printComparison(recv func() (*v1.CompareSolutionsResponse, error), limit time.Duration) error {
	var all *v1.SolutionComparison
	var fewest []*v1.FewestMoves
	err := each(recv, func(m *v1.CompareSolutionsResponse) error {
		if c := m.GetComparison(); c != nil {
			all = c
			if a.output != "json" {
				return a.printText(readable(comparisonText(c)))
			}
			return a.printJSON("comparison", comparisonJSON(c))
		}
		if f := m.GetFewest(); f != nil {
			fewest = append(fewest, f)
			if a.output == "json" {
				return a.printJSON("fewest", fewestForm{goalName(f.GetGoal()), f.GetSolution(), f.GetStage(), f.GetLength(), f.GetTurns(), f.GetAtLeast(), f.GetProven()})
			}
		}
		return nil
	})
	if err != nil || a.output == "json" || limit <= 0 {
		return err
	}
	return a.printText(readable(fewestText(all, fewest, limit)))
}

// Widths, in characters: three solutions abreast take no more.
const (
	width    = 98
	abreast  = 3
	maxLabel = 26
	maxLines = 4 // of the turns of a stage
)

// comparisonText has solutions side by side, three at a time.
func comparisonText(m *v1.SolutionComparison) string {
	var b strings.Builder
	para(&b, fmt.Sprintf("Solutions on %s, lengths in %s, of %s", client.ID(m.GetPuzzle()), metricText(m.GetMetric()), m.GetScramble()))
	all := m.GetSolutions()
	for from := 0; from < len(all); from += abreast {
		fmt.Fprintf(&b, "\n%s", sideText(all[from:min(from+abreast, len(all))], metricText(m.GetMetric())))
	}
	if n := m.GetLeftOut(); n > 0 {
		fmt.Fprintf(&b, "\n%s left out: ask for them with --members.\n", plural(int64(n), "longer one is", "longer ones are"))
	}
	for i, group := range alike(m) {
		if i == 0 {
			fmt.Fprintln(&b)
		}
		para(&b, fmt.Sprintf("%s begin alike, for %d: %s", together(group.names), group.length, group.turns))
	}
	return b.String()
}

// group are solutions that begin with the same turns.
type group struct {
	names  []string
	turns  string
	length int32
}

// alike makes groups of the pairs that begin alike.
func alike(m *v1.SolutionComparison) (out []*group) {
	for _, s := range m.GetShared() {
		i := slices.IndexFunc(out, func(g *group) bool { return g.turns == s.GetTurns() })
		if i < 0 {
			i, out = len(out), append(out, &group{turns: s.GetTurns(), length: s.GetLength()})
		}
		for _, n := range []int32{s.GetFirst(), s.GetSecond()} {
			if name := m.GetSolutions()[n-1].GetName(); !slices.Contains(out[i].names, name) {
				out[i].names = append(out[i].names, name)
			}
		}
	}
	return out
}

// together lists names as in a sentence.
func together(names []string) string {
	last := len(names) - 1
	return strings.Join(names[:last], ", ") + " and " + names[last]
}

// para writes a paragraph.
func para(b *strings.Builder, text string) {
	fmt.Fprintln(b, strings.Join(folded(text, width), "\n  "))
}

// sideText is the table of a few solutions: lengths, then stages, then types.
func sideText(all []*v1.ComparedSolution, metric string) string {
	heading := []string{""}
	var rows [][]any
	// add puts one row for each line that a cell takes.
	add := func(label string, cell func(*v1.Analysis) []string) {
		var cells [][]string
		lines := 1
		for _, s := range all {
			cells = append(cells, cell(s.GetAnalysis()))
			lines = max(lines, len(cells[len(cells)-1]))
		}
		for i := range lines {
			row := []any{label}
			for _, c := range cells {
				text := ""
				if i < len(c) {
					text = c[i]
				}
				row = append(row, text)
			}
			rows, label = append(rows, row), ""
		}
	}
	stages := 0
	for _, s := range all {
		heading = append(heading, clipped(s.GetName(), maxLabel))
		stages = max(stages, len(s.GetAnalysis().GetStages()))
	}
	add("length", func(m *v1.Analysis) []string {
		l := m.GetLengths()
		out := []string{fmt.Sprintf("%d OBTM, %d STM,", l.GetObtm(), l.GetStm()), fmt.Sprintf("%d QTM, %d ETM", l.GetQtm(), l.GetEtm())}
		if !m.GetSolves() {
			out = append(out, "it does not solve")
		}
		return out
	})
	for k := range stages {
		add(fmt.Sprintf("stage %d", k+1), func(m *v1.Analysis) []string {
			if k >= len(m.GetStages()) {
				return nil
			}
			s := m.GetStages()[k]
			turns := folded(s.GetTurns(), maxLabel)
			if len(turns) > maxLines {
				turns = append(turns[:maxLines-1], "…")
			}
			return slices.Concat(folded(s.GetName(), maxLabel), turns,
				[]string{fmt.Sprintf("%d %s, %+d, turns %d-%d", s.GetLength(), metric, s.GetGained(), s.GetFrom(), s.GetTo())})
		})
	}
	for i, t := range all[0].GetAnalysis().GetTypes() {
		add(t.GetType(), func(m *v1.Analysis) []string {
			switch t := m.GetTypes()[i]; {
			case t.GetLeft() > 0:
				return []string{fmt.Sprintf("%d left", t.GetLeft())}
			case t.GetAfter() == 0:
				return []string{"nothing to do"}
			default:
				return []string{fmt.Sprintf("after turn %d, at %d", t.GetAfter(), t.GetLength())}
			}
		})
	}
	return columns(heading, rows)
}

// folded cuts a text into lines of at most so many characters, at spaces where there are any.
func folded(text string, width int) []string {
	var out []string
	line := ""
	for _, word := range strings.Fields(text) {
		switch {
		case line == "":
			line = word
		case utf8.RuneCountInString(line)+1+utf8.RuneCountInString(word) <= width:
			line += " " + word
		default:
			out, line = append(out, clipped(line, width)), word
		}
	}
	return append(out, clipped(line, width))
}

// fewestText says how few moves could do.
func fewestText(m *v1.SolutionComparison, all []*v1.FewestMoves, limit time.Duration) string {
	switch solves := func(s *v1.ComparedSolution) bool { return s.GetAnalysis().GetSolves() }; {
	case !slices.ContainsFunc(m.GetSolutions(), solves):
		return "\nNone of them solves it, so how few moves could do was not asked.\n"
	case len(all) == 0:
		return fmt.Sprintf("\nHow few moves could do was not found out in %v.\n", limit)
	}
	type place struct{ solution, stage int32 }
	known := map[place]map[v1.FewestGoal]*v1.FewestMoves{}
	var whole *v1.FewestMoves
	for _, f := range all {
		if f.GetGoal() == v1.FewestGoal_FEWEST_GOAL_SOLVES {
			whole = f
			continue
		}
		at := place{f.GetSolution(), f.GetStage()}
		if known[at] == nil {
			known[at] = map[v1.FewestGoal]*v1.FewestMoves{}
		}
		known[at][f.GetGoal()] = f
	}
	var b strings.Builder
	var rows [][]any
	var shorter []string
	for i, s := range m.GetSolutions() {
		for k, stage := range s.GetAnalysis().GetStages() {
			goals := known[place{int32(i + 1), int32(k + 1)}]
			brings, same := goals[v1.FewestGoal_FEWEST_GOAL_BRINGS], goals[v1.FewestGoal_FEWEST_GOAL_SAME]
			if goals == nil {
				continue
			}
			rows = append(rows, []any{clipped(s.GetName(), maxLabel), k + 1, clipped(stage.GetName(), maxLabel), stage.GetLength(), rangeText(brings), rangeText(same)})
			where := fmt.Sprintf("%s, stage %d: ", s.GetName(), k+1)
			if brings.GetTurns() != "" {
				shorter = append(shorter, where+brings.GetTurns()+" brings the same home in "+fmt.Sprint(brings.GetLength()))
			}
			if same.GetTurns() != "" && same.GetTurns() != brings.GetTurns() {
				shorter = append(shorter, where+same.GetTurns()+" does the same in "+fmt.Sprint(same.GetLength()))
			}
		}
	}
	fmt.Fprintf(&b, "\nHow few moves could do, as far as %v tell; 7 is proven, 5-7 is at least 5, and 7 are known:\n", limit)
	if len(rows) > 0 {
		fmt.Fprintf(&b, "\n%s", columns([]string{"solution", ">stage", "", ">" + metricText(m.GetMetric()), ">brings home", ">does the same"}, rows))
	}
	for i, line := range shorter {
		if i == 0 {
			fmt.Fprintln(&b)
		}
		para(&b, line+".")
	}
	if whole != nil {
		fmt.Fprintln(&b)
		para(&b, wholeText(m, whole))
	}
	return b.String()
}

// rangeText is what is known of a length.
func rangeText(f *v1.FewestMoves) string {
	switch {
	case f == nil:
		return ""
	case f.GetProven():
		return fmt.Sprint(f.GetLength())
	}
	return fmt.Sprintf("%d-%d", f.GetAtLeast(), f.GetLength())
}

func wholeText(m *v1.SolutionComparison, f *v1.FewestMoves) string {
	name := m.GetSolutions()[f.GetSolution()-1].GetName()
	switch {
	case f.GetProven() && f.GetTurns() == "":
		return fmt.Sprintf("The whole: nothing shorter than %d solves it, as %s does. Proven.", f.GetLength(), name)
	case f.GetProven():
		return fmt.Sprintf("The whole: %s solves it in %d, and nothing shorter does. Proven.", f.GetTurns(), f.GetLength())
	}
	return fmt.Sprintf("The whole: nothing shorter than %d solves it; the shortest known is %d, of %s. What lies between is not known.",
		f.GetAtLeast(), f.GetLength(), name)
}
