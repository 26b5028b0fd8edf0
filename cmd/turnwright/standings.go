package main

import (
	"context"
	"encoding/csv"
	"fmt"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"turnwright/api/client"
	v1 "turnwright/api/turnwright/v1"
)

func (a *app) standingsCommand() *cobra.Command {
	var e either
	var asCSV bool
	var sheet string
	cmd := &cobra.Command{
		Use:   "standings ROUND",
		Short: "See the standings of a round that has closed",
		Long: `See the standings of a round that has closed. Who does equally well shares a place (WCA
Regulation 9f15); a mean of which one attempt is no result is none (9f11). DNF is what was
handed in and is no result, DNS where nothing was handed in.

--csv prints a line for each member below one with the names of the columns: place,
member, attempt1 …, best, mean, records. --sheet writes pages to print, with the
scrambles; an SVG has room for one.`,
		Example: `  turnwright standings lantern-cup
  turnwright standings lantern-cup --csv > lantern-cup.csv
  turnwright standings lantern-cup --sheet lantern-cup.pdf`,
		Args: cobra.ExactArgs(1),
		RunE: a.verb(func(ctx context.Context, args []string) error {
			return a.withServer(ctx, e, func(c *client.Client) error {
				reply, err := c.Rounds.GetStandings(ctx, &v1.GetStandingsRequest{Round: client.RoundName(args[0])})
				if err != nil {
					return err
				}
				switch {
				case sheet != "":
					puzzle, err := c.Puzzles.GetPuzzle(ctx, &v1.GetPuzzleRequest{Name: reply.GetRound().GetPuzzle()})
					if err != nil {
						return err
					}
					return a.writeSheet(standingsSheet(reply, puzzle.GetPuzzle()), sheet)
				case asCSV:
					return a.printStandingsCSV(reply)
				case a.output == "json":
					return printList(a, "standing", reply.GetStandings(), standingJSON, nil)
				}
				return a.printText(titleText(reply.GetRound()) + "\n" + standingsText(reply))
			})
		}),
	}
	e.registerRemote(cmd)
	cmd.ValidArgsFunction = e.completeRound
	cmd.Flags().BoolVar(&asCSV, "csv", false, "print comma-separated values (RFC 4180), and nothing else")
	cmd.Flags().StringVar(&sheet, "sheet", "", "write pages to print to this `file`, PDF or SVG by how its name ends")
	cmd.MarkFlagsMutuallyExclusive("csv", "sheet")
	return cmd
}

// titleText is a round in a line.
func titleText(r *v1.Round) string {
	title := r.GetTitle()
	if title == "" {
		title = client.ID(r.GetName())
	}
	return fmt.Sprintf("%s: %s, %s (%s)\n", readable(title), client.ID(r.GetPuzzle()), countsText(r), metricText(r.GetMetric()))
}

type standingForm struct {
	Place    int32               `json:"place"`
	Member   string              `json:"member"`
	Attempts []attemptResultForm `json:"attempts"`
	Best     int32               `json:"best,omitempty"` // absent where no attempt is a result
	Mean     number              `json:"mean,omitempty"` // to hundredths; absent where there is none
	Records  []string            `json:"records,omitempty"`
}

type attemptResultForm struct {
	Result string `json:"result"` // the length in decimal, DNF or DNS
	Entry  string `json:"entry,omitempty"`
}

func standingJSON(s *v1.Standing) standingForm {
	form := standingForm{Place: s.GetPlace(), Member: s.GetMember(), Attempts: []attemptResultForm{}, Best: s.GetBest(), Records: markTexts(s.GetRecords())}
	if s.GetMeanHundredths() > 0 {
		form.Mean = number(hundredthsText(s.GetMeanHundredths()))
	}
	for _, r := range s.GetAttempts() {
		form.Attempts = append(form.Attempts, attemptResultForm{attemptResultText(r), r.GetEntry()})
	}
	return form
}

func attemptResultText(r *v1.AttemptResult) string {
	switch {
	case r.GetDnf():
		return "DNF"
	case r.GetEntry() == "":
		return "DNS"
	}
	return strconv.Itoa(int(r.GetLength()))
}

// hundredthsText is such as 25.33.
func hundredthsText(n int32) string { return fmt.Sprintf("%d.%02d", n/100, n%100) }

func markTexts(marks []v1.RecordMark) []string {
	var texts []string
	for _, m := range marks {
		texts = append(texts, markText(m))
	}
	return texts
}

// markText is such as "club single".
func markText(m v1.RecordMark) string {
	return strings.ReplaceAll(strings.ToLower(strings.TrimPrefix(m.String(), "RECORD_MARK_")), "_", " ")
}

// standingCells are the columns of standings, and the rows.
func standingCells(reply *v1.GetStandingsResponse) (heading []string, rows [][]string) {
	mean := reply.GetRound().GetFormat() == v1.RoundFormat_ROUND_FORMAT_MEAN
	heading = []string{"place", "member"}
	for i := range reply.GetRound().GetAttempts() {
		heading = append(heading, fmt.Sprintf("attempt%d", i+1))
	}
	heading = append(heading, "best")
	if mean {
		heading = append(heading, "mean")
	}
	heading = append(heading, "records")
	for _, s := range reply.GetStandings() {
		row := []string{strconv.Itoa(int(s.GetPlace())), client.ID(s.GetMember())}
		for _, r := range s.GetAttempts() {
			row = append(row, attemptResultText(r))
		}
		for len(row) < 2+int(reply.GetRound().GetAttempts()) {
			row = append(row, "DNS")
		}
		best, of := "DNF", ""
		if s.GetBest() > 0 {
			best = strconv.Itoa(int(s.GetBest()))
		}
		row = append(row, best)
		if mean {
			of = "DNF"
			if s.GetMeanHundredths() > 0 {
				of = hundredthsText(s.GetMeanHundredths())
			}
			row = append(row, of)
		}
		rows = append(rows, append(row, strings.Join(markTexts(s.GetRecords()), ", ")))
	}
	return heading, rows
}

func standingsText(reply *v1.GetStandingsResponse) string {
	if len(reply.GetStandings()) == 0 {
		return "Nobody took part.\n"
	}
	heading, cells := standingCells(reply)
	for i, name := range heading {
		if name != "member" && name != "records" {
			heading[i] = ">" + strings.TrimPrefix(name, "attempt")
		}
	}
	var rows [][]any
	for _, row := range cells {
		var out []any
		for _, cell := range row {
			out = append(out, cell)
		}
		rows = append(rows, out)
	}
	return columns(heading, rows)
}

func (a *app) printStandingsCSV(reply *v1.GetStandingsResponse) error {
	heading, rows := standingCells(reply)
	return csv.NewWriter(a.stdout).WriteAll(append([][]string{heading}, rows...))
}

func (a *app) recordsCommand() *cobra.Command {
	var e either
	var puzzle, metric, member string
	var standing bool
	cmd := &cobra.Command{
		Use:   "records",
		Short: "See the records of the club and its members, the latest first",
		Long: `See the records of the club and its members, from rounds that have closed: best single
attempts and best means, for each puzzle and metric, those that stand and those before
them. What equals a record is a record too.`,
		Example: `  turnwright records --puzzle 3x3x3 --standing
  turnwright records --member me`,
		Args: cobra.NoArgs,
		RunE: a.verb(func(ctx context.Context, _ []string) error {
			return a.withServer(ctx, e, func(c *client.Client) error {
				req := &v1.ListRecordsRequest{Standing: standing}
				if metric != "any" {
					req.Metric = metricOf(metric)
				}
				if puzzle != "" {
					req.Puzzle = client.PuzzleName(puzzle)
				}
				if member != "" {
					req.Member = client.MemberName(member)
				}
				records, err := client.Collect(c.AllRecords(ctx, req))
				if err != nil {
					return err
				}
				return printList(a, "record", records, recordJSON, a.recordsText)
			})
		}),
	}
	e.registerRemote(cmd)
	cmd.Flags().StringVar(&puzzle, "puzzle", "", "only of the puzzle of this `name`")
	cmd.Flags().Var(newChoice(&metric, "any", "obtm", "stm", "qtm", "etm"), "metric", "only by this metric")
	cmd.Flags().StringVar(&member, "member", "", "only of the member of this `name`; me for your own")
	cmd.Flags().BoolVar(&standing, "standing", false, "only those that still stand")
	return cmd
}

type recordForm struct {
	Puzzle   string `json:"puzzle"`
	Metric   string `json:"metric"`
	Record   string `json:"record"` // club or personal, single or mean
	Member   string `json:"member"`
	Round    string `json:"round"`
	Result   number `json:"result"` // a mean to hundredths
	Time     string `json:"time"`
	Standing bool   `json:"standing"`
}

func recordJSON(r *v1.Record) recordForm {
	return recordForm{
		client.ID(r.GetPuzzle()), strings.ToLower(metricText(r.GetMetric())), markText(r.GetKind()), r.GetMember(), r.GetRound(),
		number(recordText(r)), timeText(r.GetTime()), r.GetStanding(),
	}
}

// recordText is the length or, to hundredths, the mean.
func recordText(r *v1.Record) string {
	if strings.HasSuffix(markText(r.GetKind()), "single") {
		return strconv.Itoa(int(r.GetHundredths() / 100))
	}
	return hundredthsText(r.GetHundredths())
}

func (a *app) recordsText(records []*v1.Record) string {
	if len(records) == 0 {
		return "There is no such record: records are made in rounds that have closed.\n"
	}
	var rows [][]any
	for _, r := range records {
		stands := ""
		if r.GetStanding() {
			stands = "stands"
		}
		rows = append(rows, []any{
			client.ID(r.GetPuzzle()), metricText(r.GetMetric()), markText(r.GetKind()), recordText(r), client.ID(r.GetMember()),
			client.ID(r.GetRound()), r.GetTime().AsTime().In(a.now().Location()).Format("2006-01-02"), stands,
		})
	}
	return columns([]string{"puzzle", "metric", "record", ">result", "member", "round", "when", ""}, rows)
}
