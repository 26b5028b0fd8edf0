package main

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/types/known/timestamppb"

	"turnwright/api/client"
	turnwrightv1 "turnwright/api/turnwright/v1"
)

func (a *app) searchesCommand() *cobra.Command {
	var e either
	var mine bool
	cmd := &cobra.Command{
		Use:   "searches",
		Short: "List the server's searches, the latest first",
		Args:  cobra.NoArgs,
		RunE: a.verb(func(ctx context.Context, _ []string) error {
			return a.withServer(ctx, e, func(c *client.Client) error {
				owner := ""
				if mine {
					owner = "members/me"
				}
				searches, err := client.Collect(c.SearchesOf(ctx, owner))
				if err != nil {
					return err
				}
				return printList(a, "search", searches, searchJSON, searchesText)
			})
		}),
	}
	e.registerRemote(cmd)
	cmd.Flags().BoolVar(&mine, "mine", false, "only your own")
	return cmd
}

type searchForm struct {
	summaryForm
	Owner     string        `json:"owner,omitempty"` // who asked for it
	Puzzle    string        `json:"puzzle"`
	Cycle     string        `json:"cycle"`
	Protect   []string      `json:"protect"`
	Ignore    []string      `json:"ignore"`
	Pins      []pinForm     `json:"pins"`
	Metric    string        `json:"metric"`
	MaxLength int32         `json:"maxLength"`
	Position  *positionForm `json:"position,omitempty"` // where one is to be solved; cycle is empty then
	Before    string        `json:"before,omitempty"`   // moves that findings are ranked between
	After     string        `json:"after,omitempty"`
	Created   string        `json:"created"` // RFC 3339, like those below; empty where it has not happened
	Started   string        `json:"started"`
	Ended     string        `json:"ended"`
}

type pinForm struct {
	From string `json:"from"`
	To   string `json:"to"`
}

func searchJSON(s *turnwrightv1.Search) searchForm {
	goal := s.GetGoal()
	form := searchForm{
		summaryForm: summaryJSON(s), Owner: s.GetOwner(),
		Puzzle: client.ID(goal.GetPuzzle()), Cycle: goal.GetCycle(),
		Protect: list(goal.GetProtect()), Ignore: list(goal.GetIgnore()), Pins: []pinForm{},
		Metric: strings.ToLower(metricText(s.GetMetric())), MaxLength: s.GetMaxLength(),
		Before: s.GetBefore(), After: s.GetAfter(),
		Created: timeText(s.GetCreateTime()), Started: timeText(s.GetStartTime()), Ended: timeText(s.GetEndTime()),
	}
	for _, pin := range goal.GetPins() {
		form.Pins = append(form.Pins, pinForm{pin.GetFrom(), pin.GetTo()})
	}
	if p := s.GetPosition(); p != nil {
		form.Puzzle, form.Ignore = client.ID(p.GetPuzzle()), list(p.GetIgnore())
		form.Position = &positionForm{Scramble: p.GetScramble(), ByColour: p.GetByColour(), All: p.GetAll()}
		for _, pin := range p.GetPins() {
			form.Pins = append(form.Pins, pinForm{pin.GetPiece(), pin.GetAt()})
		}
	}
	if given := s.GetStudy(); given != nil {
		form.Puzzle = client.ID(given.GetPuzzle())
	}
	return form
}

func timeText(t *timestamppb.Timestamp) string {
	if t == nil {
		return ""
	}
	return t.AsTime().Format(time.RFC3339)
}

func searchesText(searches []*turnwrightv1.Search) string {
	heading := []string{"search", "state", "puzzle", "cycle", "metric", ">max", ">proven", ">classes", "created"}
	owned := slices.ContainsFunc(searches, func(s *turnwrightv1.Search) bool { return s.GetOwner() != "" && s.GetOwner() != localOwner })
	if owned {
		heading = append(heading, "owner")
	}
	var rows [][]any
	for _, s := range searches {
		puzzle, cycle, classes := s.GetGoal().GetPuzzle(), s.GetGoal().GetCycle(), fmt.Sprint(classesReached(s))
		if p := s.GetPosition(); p != nil {
			puzzle, cycle, classes = p.GetPuzzle(), "(solve)", ""
		}
		proven, most := fmt.Sprint(s.GetProvenLength()), fmt.Sprint(s.GetMaxLength())
		if given := s.GetStudy(); given != nil {
			puzzle, cycle, most, proven, classes = given.GetPuzzle(), "(study)", "-", "-", ""
		}
		if form := s.GetStructure(); form != nil {
			cycle, proven, classes = fmt.Sprintf("%s (%s)", cycle, partsWord(form)), "-", fmt.Sprint(s.GetFindingsTotal())
		}
		state := stateText(s.GetState())
		if why := cancelWord(s.GetCancelReason()); why != "" {
			state += fmt.Sprintf(" (%s)", why)
		}
		if len(s.GetAlarms()) > 0 {
			state += ", ALARM"
		}
		row := []any{
			client.ID(s.GetName()), state, client.ID(puzzle), cycle,
			metricText(s.GetMetric()), most, proven, classes, timeText(s.GetCreateTime()),
		}
		if owned {
			row = append(row, client.ID(s.GetOwner()))
		}
		rows = append(rows, row)
	}
	return columns(heading, rows)
}

// localOwner is whoever uses a server on loopback without a token. Where there are no
// others, nobody wants to read it.
const localOwner = "members/local"

// classesReached is the number of classes in the finished lengths.
func classesReached(s *turnwrightv1.Search) int32 {
	var sum int32
	for _, l := range s.GetLengths() {
		sum += l.GetClasses()
	}
	return sum
}
