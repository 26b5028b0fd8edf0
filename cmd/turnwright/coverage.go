package main

import (
	"context"
	"encoding/csv"
	"fmt"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"turnwright/api/client"
	turnwrightv1 "turnwright/api/turnwright/v1"
)

func (a *app) coverageCommand() *cobra.Command {
	var k knownGoal
	var e either
	var rows, asCSV bool
	cmd := &cobra.Command{
		Use:   "coverage --puzzle NAME --cycle TYPE",
		Short: "Tell the best known sequence for every class of 3-cycles, and what is missing",
		Long: `Tell the best known sequence for every class of 3-cycles of one type of piece: one that
a search found or, where none has yet, one that follows from those by a setup, turned,
mirrored or inverted, with what cancels cancelled. All searches for the same goal and
metric count, without pins and without chosen axes, whoever submitted them.

--csv prints one line for each class below a line with the names of the columns:
  class    number of the class, from 1
  cycles   directed cycles in it
  origin   found by a search, setup, or missing
  length   of the sequence; empty where it is missing
  proven   yes where there is no shorter one
  least    length that any sequence for the class has at least, by what is proven
  axes     distinct lines that the sequence turns about
  cycle    what it does: each piece goes to the place of the next
  sequence in the puzzle's notation
  setup    what it does first and undoes at its end
  base     the sequence of a search that it follows from
  reading  the sequence as nested commutators and conjugates; empty where it has no such
           structure, or more than 16 turns`,
		Example: `  turnwright coverage --puzzle vertex-cut-dodecahedron --cycle triangle
  turnwright coverage --puzzle 3x3x3 --cycle corner --metric obtm --csv > corners.csv`,
		Args: cobra.NoArgs,
		RunE: a.verb(func(ctx context.Context, _ []string) error {
			return a.withServer(ctx, e, func(c *client.Client) error {
				goal, err := k.goal(ctx, c)
				if err != nil {
					return err
				}
				reply, err := c.Coverage.GetCoverage(ctx, &turnwrightv1.GetCoverageRequest{Goal: goal})
				if err != nil {
					return err
				}
				var all []*turnwrightv1.CoverageRow
				if rows || asCSV || a.output == "json" {
					if all, err = client.Collect(c.AllCoverageRows(ctx, goal)); err != nil {
						return err
					}
				}
				switch {
				case asCSV:
					return a.printCoverageCSV(all)
				case a.output == "json":
					for _, row := range all {
						if err := a.printJSON("row", coverageRowJSON(row)); err != nil {
							return err
						}
					}
					return a.printJSON("coverage", coverageJSON(reply.GetCoverage()))
				}
				return a.printText(coverageText(reply.GetCoverage(), all))
			})
		}),
	}
	k.register(cmd)
	e.registerData(cmd)
	cmd.Flags().BoolVar(&rows, "rows", false, "list every class too")
	cmd.Flags().BoolVar(&asCSV, "csv", false, "print the classes as comma-separated values (RFC 4180), and nothing else")
	return cmd
}

// knownGoal is what known sequences are asked for, as flags put it.
type knownGoal struct {
	puzzle, cycle   string
	protect, ignore []string
	metric, core    string
}

func (k *knownGoal) register(cmd *cobra.Command) {
	flags := cmd.Flags()
	flags.StringVar(&k.puzzle, "puzzle", "", "`name` of the puzzle, or a YAML file that defines one")
	flags.StringVar(&k.cycle, "cycle", "", "`type` of the pieces to cycle")
	flags.StringSliceVar(&k.protect, "protect", nil, "`types` that must stay as they are (all that --ignore does not name)")
	flags.StringSliceVar(&k.ignore, "ignore", nil, "`types` that may be moved in any way")
	flags.Var(newChoice(&k.metric, "stm", "obtm", "qtm", "etm"), "metric", "how turns are counted")
	flags.Var(newChoice(&k.core, "auto", "kept", "free"), "core", "whether proofs must speak of sequences that turn everything against a core that nothing\nmarks: auto where types are ignored")
	for _, name := range []string{"puzzle", "cycle"} {
		if err := cmd.MarkFlagRequired(name); err != nil {
			panic(err) // a flag of that name was not registered above
		}
	}
}

func (k *knownGoal) goal(ctx context.Context, c *client.Client) (*turnwrightv1.CoverageGoal, error) {
	name, err := puzzleName(ctx, c, k.puzzle)
	if err != nil {
		return nil, err
	}
	return &turnwrightv1.CoverageGoal{
		Puzzle: name, Cycle: k.cycle, Protect: k.protect, Ignore: k.ignore, Metric: metricOf(k.metric), Core: coreOf(k.core),
	}, nil
}

func metricOf(flag string) turnwrightv1.Metric {
	return turnwrightv1.Metric(turnwrightv1.Metric_value["METRIC_"+strings.ToUpper(flag)])
}

// coreOf is what a flag says of the core; auto is none of the API's words.
func coreOf(flag string) turnwrightv1.Core {
	return turnwrightv1.Core(turnwrightv1.Core_value["CORE_"+strings.ToUpper(flag)])
}

// findFor is the command line of a search that would tell more.
func findFor(g *turnwrightv1.CoverageGoal, length int32) string {
	text := fmt.Sprintf("turnwright find --puzzle %s --cycle %s", client.ID(g.GetPuzzle()), g.GetCycle())
	if len(g.GetIgnore()) > 0 {
		text += " --ignore " + strings.Join(g.GetIgnore(), ",")
	}
	if core := g.GetCore(); core != turnwrightv1.Core_CORE_UNSPECIFIED {
		text += " --core " + coreWord(core)
	}
	return text + fmt.Sprintf(" --metric %s --max %d", strings.ToLower(metricText(g.GetMetric())), length)
}

type coverageForm struct {
	Puzzle       string               `json:"puzzle"`
	Cycle        string               `json:"cycle"`
	Protect      []string             `json:"protect"`
	Ignore       []string             `json:"ignore"`
	Metric       string               `json:"metric"`
	Core         string               `json:"core,omitempty"` // kept or free, where nothing marks it
	Searches     int32                `json:"searches"`       // that it rests on
	Sequences    int32                `json:"sequences"`      // different ones that they found
	Classes      int32                `json:"classes"`
	Cycles       int64                `json:"cycles"`
	Found        int32                `json:"found"`   // classes, like the next three
	BySetup      int32                `json:"bySetup"` //
	Missing      int32                `json:"missing"`
	Proven       int32                `json:"proven"`
	ProvenLength int32                `json:"provenLength"`
	Longest      int32                `json:"longest"`
	MeanPerClass float64              `json:"meanPerClass"`
	MeanPerCycle float64              `json:"meanPerCycle"`
	Lengths      []coverageLengthForm `json:"lengths"` // length 0 is for classes without a sequence
}

type coverageLengthForm struct {
	Length  int32 `json:"length"`
	Classes int32 `json:"classes"`
	Cycles  int64 `json:"cycles"`
	Proven  int32 `json:"proven"` // classes
}

type coverageRowForm struct {
	Class    int32     `json:"class"`
	Cycles   int64     `json:"cycles"`
	Origin   string    `json:"origin"` // found, setup or missing
	Length   int32     `json:"length"` // 0 where it is missing
	Proven   bool      `json:"proven"` // none is shorter
	Least    int32     `json:"least"`  // any sequence for the class has this length at least
	Axes     int32     `json:"axes"`
	Cycle    cycleForm `json:"cycle"`
	Sequence string    `json:"sequence"`
	Setup    string    `json:"setup"`
	Base     string    `json:"base"` // of a search, that it follows from

	Explanation *explanationForm `json:"explanation,omitempty"` // how the sequence reads; missing for long ones
}

func coverageJSON(c *turnwrightv1.Coverage) coverageForm {
	g := c.GetGoal()
	form := coverageForm{
		Puzzle: client.ID(g.GetPuzzle()), Cycle: g.GetCycle(), Protect: list(g.GetProtect()), Ignore: list(g.GetIgnore()),
		Metric: strings.ToLower(metricText(g.GetMetric())), Core: coreWord(g.GetCore()),
		Searches: c.GetSearches(), Sequences: c.GetSequences(), Classes: c.GetClasses(), Cycles: c.GetCycles(),
		Found: c.GetFound(), BySetup: c.GetBySetup(), Missing: c.GetMissing(), Proven: c.GetProven(),
		ProvenLength: c.GetProvenLength(), Longest: c.GetLongest(),
		MeanPerClass: c.GetMeanPerClass(), MeanPerCycle: c.GetMeanPerCycle(), Lengths: []coverageLengthForm{},
	}
	for _, l := range c.GetLengths() {
		form.Lengths = append(form.Lengths, coverageLengthForm{l.GetLength(), l.GetClasses(), l.GetCycles(), l.GetProven()})
	}
	return form
}

func coverageRowJSON(r *turnwrightv1.CoverageRow) coverageRowForm {
	return coverageRowForm{
		Class: r.GetClass(), Cycles: r.GetCycles(), Origin: originText(r.GetOrigin()), Length: r.GetLength(),
		Proven: r.GetProven(), Least: r.GetLeastLength(), Axes: r.GetAxes(), Cycle: cycleJSON(r.GetCycle()),
		Sequence: r.GetSequence(), Setup: r.GetSetup(), Base: r.GetBase(),
		Explanation: explanationJSON(r.GetExplanation()),
	}
}

func originText(o turnwrightv1.CoverageOrigin) string {
	return strings.ToLower(strings.TrimPrefix(o.String(), "COVERAGE_ORIGIN_"))
}

func (a *app) printCoverageCSV(rows []*turnwrightv1.CoverageRow) error {
	w := csv.NewWriter(a.stdout)
	lines := [][]string{{"class", "cycles", "origin", "length", "proven", "least", "axes", "cycle", "sequence", "setup", "base", "reading"}}
	for _, r := range rows {
		length, axes, proven := "", "", "no"
		if r.GetSequence() != "" {
			length, axes = strconv.Itoa(int(r.GetLength())), strconv.Itoa(int(r.GetAxes()))
		}
		if r.GetProven() {
			proven = "yes"
		}
		lines = append(lines, []string{
			strconv.Itoa(int(r.GetClass())), strconv.FormatInt(r.GetCycles(), 10), originText(r.GetOrigin()), length, proven,
			strconv.Itoa(int(r.GetLeastLength())), axes, r.GetCycle().GetText(), r.GetSequence(), r.GetSetup(), r.GetBase(),
			readingText(r.GetExplanation()),
		})
	}
	return w.WriteAll(lines)
}

// knownGoalText is a goal in a sentence.
func knownGoalText(g *turnwrightv1.CoverageGoal) string {
	text := fmt.Sprintf("3-cycles of %ss on %s", g.GetCycle(), client.ID(g.GetPuzzle()))
	if ignored := g.GetIgnore(); len(ignored) > 0 {
		text += fmt.Sprintf(", %ss may move, nothing else", strings.Join(ignored, "s and "))
	} else {
		text += ", nothing else moved"
	}
	return fmt.Sprintf("%s (%s).", text, metricText(g.GetMetric()))
}

func coverageText(c *turnwrightv1.Coverage, rows []*turnwrightv1.CoverageRow) string {
	var b strings.Builder
	metric := metricText(c.GetGoal().GetMetric())
	fmt.Fprintf(&b, "%s\n\n", knownGoalText(c.GetGoal()))
	if c.GetSequences() == 0 && c.GetProvenLength() == 0 {
		fmt.Fprintf(&b, "None of the %s is known: no search has looked for them here. Begin with\n  %s\n",
			plural(int64(c.GetClasses()), "class", "classes"), findFor(c.GetGoal(), 9))
		return b.String()
	}
	fmt.Fprintf(&b, "Known: %s; %s.\n", sourceText(c.GetSequences(), c.GetSearches()), coveredText(c.GetProvenLength(), metric))
	fmt.Fprintf(&b, "Classes: %d (%s): %d found, %d by setup, %d missing; the sequences of %d are proven shortest.\n",
		c.GetClasses(), plural(c.GetCycles(), "cycle", "cycles"), c.GetFound(), c.GetBySetup(), c.GetMissing(), c.GetProven())
	b.WriteString(coreText(c.GetGoal().GetCore()))
	if c.GetLongest() > 0 {
		fmt.Fprintf(&b, "Longest: %d. Mean: %.3f over classes, %.3f over cycles.\n", c.GetLongest(), c.GetMeanPerClass(), c.GetMeanPerCycle())
	}
	var table [][]any
	for _, l := range c.GetLengths() {
		length := any(l.GetLength())
		if l.GetLength() == 0 {
			length = "missing"
		}
		table = append(table, []any{length, l.GetClasses(), grouped(fmt.Sprint(l.GetCycles())), l.GetProven()})
	}
	fmt.Fprintf(&b, "\n%s", columns([]string{">length", ">classes", ">cycles", ">proven shortest"}, table))
	if len(rows) > 0 {
		fmt.Fprintf(&b, "\n%s", coverageRowsText(rows))
	}
	return b.String()
}

// sourceText is such as "12 sequences from 2 searches".
func sourceText(sequences, searches int32) string {
	return plural(int64(sequences), "sequence", "sequences") + " from " + plural(int64(searches), "search", "searches")
}

func coveredText(proven int32, metric string) string {
	if proven == 0 {
		return "no length is finished yet"
	}
	return fmt.Sprintf("every sequence of length up to %d (%s) was covered", proven, metric)
}

func coverageRowsText(rows []*turnwrightv1.CoverageRow) string {
	var table [][]any
	for _, r := range rows {
		length := any(r.GetLength())
		switch {
		case r.GetSequence() == "":
			length = fmt.Sprintf("≥ %d", r.GetLeastLength())
		case !r.GetProven():
			length = fmt.Sprintf("%d (≥ %d)", r.GetLength(), r.GetLeastLength())
		}
		table = append(table, []any{r.GetClass(), r.GetCycles(), length, originText(r.GetOrigin()), r.GetSequence(), r.GetCycle().GetText(), readingText(r.GetExplanation())})
	}
	return columns([]string{">class", ">cycles", ">length", "origin", "sequence", "cycle", "reads as"}, table)
}
