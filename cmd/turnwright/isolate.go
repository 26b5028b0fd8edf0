package main

import (
	"context"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"turnwright/api/client"
	turnwrightv1 "turnwright/api/turnwright/v1"
)

const aboutIsolate = `For a part X, tell what each turn Y has in common with it, and what the commutator
[X, Y] = X Y X' Y' does. Where X leaves Y just one piece of the type, the piece is
isolated, and [X, Y] cycles three of that type; it does what is wanted if the two
move no protected piece both.

Those come first that do what is wanted, with their length after cancelling; then
those that isolate a piece; then those that move fewer pieces.`

func (a *app) isolateCommand() *cobra.Command {
	var e either
	var w wish
	var part, show string
	var turns int32
	cmd := &cobra.Command{
		Use:   `isolate --puzzle NAME --cycle TYPE --part "X"`,
		Short: "Tell which turns isolate a piece after a part, and what the commutators do",
		Long:  aboutIsolate,
		Example: `  turnwright isolate --puzzle 3x3x3 --cycle corner --part "R' D' R"
  turnwright isolate --puzzle vertex-cut-dodecahedron --cycle triangle --part "c2^-2 a c2^2" --show wanted`,
		Args: cobra.NoArgs,
		RunE: a.verb(func(ctx context.Context, _ []string) error {
			return a.withServer(ctx, e, func(c *client.Client) error {
				goal, err := w.goal(ctx, c)
				if err != nil {
					return err
				}
				reply, err := c.Commutators.IsolatePieces(ctx, &turnwrightv1.IsolatePiecesRequest{
					Goal: goal, Metric: metricOf(w.metric), Part: part, MaxLength: turns, Limit: w.limit,
					Filter: turnwrightv1.MeetingFilter(turnwrightv1.MeetingFilter_value["MEETING_FILTER_"+strings.ToUpper(show)]),
				})
				if err != nil {
					return err
				}
				if a.output == "json" {
					return a.printMeetings(reply)
				}
				return a.printText(meetingsText(reply, w.cycle, strings.ToUpper(w.metric)))
			})
		}),
	}
	e.registerData(cmd)
	w.register(cmd, 100, "parts")
	flags := cmd.Flags()
	flags.StringVar(&part, "part", "", "the part `X`, any sequence")
	flags.Int32Var(&turns, "turns", 1, "the greatest `length` of Y, 1 to 3")
	flags.Var(newChoice(&show, "all", "isolating", "wanted"), "show", "which Y: all; those that isolate a piece or do what is wanted; only the latter")
	if err := cmd.MarkFlagRequired("part"); err != nil {
		panic(err) // the flag was not registered above
	}
	return cmd
}

type meetingForm struct {
	Part       string          `json:"part"`   // Y
	Length     int32           `json:"length"` // of Y
	Shared     []sharedForm    `json:"shared"` // by type: pieces that X and Y both move
	Isolates   bool            `json:"isolates"`
	Moved      []countForm     `json:"moved"`                // by type: pieces that [X, Y] moves
	Cycles     []cycleForm     `json:"cycles"`               // of the wanted type
	Commutator *commutatorForm `json:"commutator,omitempty"` // where it does what is wanted
}

type sharedForm struct {
	Type   string   `json:"type"`
	Labels []string `json:"labels"`
}

type countForm struct {
	Type   string `json:"type"`
	Pieces int32  `json:"pieces"`
}

type isolationForm struct {
	Part      string `json:"part"` // X
	Tried     int32  `json:"tried"`
	Isolating int32  `json:"isolating"`
	Wanted    int32  `json:"wanted"`
	LeftOut   int32  `json:"leftOut"` // by --limit
}

func (a *app) printMeetings(r *turnwrightv1.IsolatePiecesResponse) error {
	for _, m := range r.GetMeetings() {
		form := meetingForm{
			Part: m.GetPart(), Length: m.GetLength(), Isolates: m.GetIsolates(),
			Shared: []sharedForm{}, Moved: []countForm{}, Cycles: cyclesJSON(m.GetCycles()),
		}
		for _, s := range m.GetShared() {
			form.Shared = append(form.Shared, sharedForm{s.GetType(), list(s.GetLabels())})
		}
		for _, n := range m.GetMoved() {
			form.Moved = append(form.Moved, countForm{n.GetType(), n.GetPieces()})
		}
		if c := m.GetCommutator(); c != nil {
			form.Commutator = commutatorJSON(c)
		}
		if err := a.printJSON("meeting", form); err != nil {
			return err
		}
	}
	return a.printJSON("isolation", isolationForm{r.GetPart(), r.GetTried(), r.GetIsolating(), r.GetWanted(), r.GetLeftOut()})
}

func meetingsText(r *turnwrightv1.IsolatePiecesResponse, cycle, metric string) string {
	var b strings.Builder
	fmt.Fprintf(&b, "X = %s; shared with Y, and what [X, Y] does; lengths in %s.\n\n", r.GetPart(), metric)
	var rows [][]any
	for _, m := range r.GetMeetings() {
		length, isolates := "", ""
		if m.GetIsolates() {
			isolates = "yes"
		}
		if c := m.GetCommutator(); c != nil {
			length = fmt.Sprint(c.GetLength())
		}
		rows = append(rows, []any{m.GetPart(), sharedText(m.GetShared()), isolates, movedText(m.GetMoved()), length, cyclesText(m.GetCycles())})
	}
	if len(rows) > 0 {
		fmt.Fprintf(&b, "%s\n", columns([]string{"Y", "shared", "isolates", "[X, Y] moves", ">length", "cycles of " + cycle + "s"}, rows))
	}
	fmt.Fprintf(&b, "Tried: %s. Isolating one %s: %d. As wanted, with a length: %d.\n",
		plural(int64(r.GetTried()), "part Y", "parts Y"), cycle, r.GetIsolating(), r.GetWanted())
	if n := r.GetLeftOut(); n > 0 {
		fmt.Fprintf(&b, "%s left out: see --show and --limit.\n", plural(int64(n), "more is", "more are"))
	}
	return b.String()
}

// sharedText counts pieces by type, and names them where there are few.
func sharedText(sets []*turnwrightv1.PieceSet) string {
	const most = 2
	var texts []string
	for _, s := range sets {
		text := plural(int64(len(s.GetLabels())), s.GetType(), s.GetType()+"s")
		if len(s.GetLabels()) <= most {
			text += " (" + strings.Join(s.GetLabels(), " ") + ")"
		}
		texts = append(texts, text)
	}
	if texts == nil {
		return "nothing"
	}
	return strings.Join(texts, ", ")
}

func movedText(counts []*turnwrightv1.PieceCount) string {
	var texts []string
	for _, n := range counts {
		texts = append(texts, plural(int64(n.GetPieces()), n.GetType(), n.GetType()+"s"))
	}
	if texts == nil {
		return "nothing"
	}
	return strings.Join(texts, ", ")
}

// cyclesText is all cycles, as far as they are easy to read: otherwise their lengths.
func cyclesText(cycles []*turnwrightv1.Cycle) string {
	const most = 5 // pieces
	pieces := int32(0)
	var texts, lengths []string
	for _, c := range cycles {
		pieces += c.GetLength()
		texts = append(texts, c.GetText())
		lengths = append(lengths, fmt.Sprint(c.GetLength()))
	}
	if pieces > most {
		return strings.Join(lengths, "+")
	}
	return strings.Join(texts, " ")
}
