package main

import (
	"context"
	"fmt"
	"time"

	"github.com/spf13/cobra"

	"turnwright/api/client"
	turnwrightv1 "turnwright/api/turnwright/v1"
	"turnwright/server/share"
)

// afterwards is the time for the calls that are made after the user cancelled.
const afterwards = 15 * time.Second

func (a *app) findCommand() *cobra.Command {
	var q question
	var e either
	cmd := &cobra.Command{
		Use:   "find --puzzle NAME --cycle TYPE --max LENGTH",
		Short: "Find the shortest sequences for every class of 3-cycles, with proof",
		Long: `Find every class of 3-cycles of one type of piece, or of changes of another --shape,
that sequences of up to some length can make, with the best sequence for each, and
prove that none was missed.
A class is all cycles that the puzzle's symmetries and inversion carry into one
another. Ctrl-C ends the search; what was proven so far is printed, and kept: asked
again, it goes on from there. One that was killed goes on with the next find.

With the moves before and after, findings rank by what they cost between them, each
turned, mirrored or inverted as it costs least; length and proof are those of
the sequences by themselves. As the best by themselves need not be the best there, let
more be kept: --each 8 --slack 2.
` + aboutParts,
		Example: `  turnwright find --puzzle vertex-cut-dodecahedron --cycle triangle --max 9
  turnwright find --puzzle 3x3x3 --cycle edge --ignore corner --metric obtm --max 6
  turnwright find --puzzle vertex-cut-dodecahedron --cycle triangle --parts 4,1 --setup 2`,
		Args: cobra.NoArgs,
		RunE: a.verb(func(ctx context.Context, _ []string) error {
			return a.withServer(ctx, e, func(c *client.Client) error {
				return a.find(ctx, c, &q, e)
			})
		}),
	}
	q.register(cmd)
	e.register(cmd)
	return cmd
}

// asker puts what the flags say to the API.
type asker interface {
	search(ctx context.Context, c *client.Client, memory size) (*turnwrightv1.Search, error)
}

func (a *app) find(ctx context.Context, c *client.Client, q asker, e either) error {
	if e.named == "" {
		if err := a.noteOthers(ctx, c, e.local); err != nil {
			return err
		}
	}
	search, err := q.search(ctx, c, e.memory)
	if err != nil {
		return err
	}
	name, err := a.begin(ctx, c, search)
	if err != nil {
		return err
	}
	return a.finish(ctx, c, name)
}

// noteOthers tells of searches that an earlier run was kept from ending: the
// server takes them up again.
func (a *app) noteOthers(ctx context.Context, c *client.Client, l local) error {
	dir, err := l.dir()
	if err != nil {
		return err
	}
	for search, err := range c.AllSearches(ctx) {
		if err != nil {
			return err
		}
		if !ended(search) && search.GetState() != turnwrightv1.SearchState_SEARCH_STATE_PAUSED {
			a.note("%s has not ended and goes on where this search leaves it room; to end it: turnwright cancel %s --data %q",
				search.GetName(), client.ID(search.GetName()), dir)
		}
	}
	return nil
}

// begin gives the server a search to do, before all others of the same owner: someone
// waits for it. From here on a signal must find a search that it can cancel.
func (a *app) begin(ctx context.Context, c *client.Client, search *turnwrightv1.Search) (name string, err error) {
	ctx, done := context.WithTimeout(context.WithoutCancel(ctx), afterwards)
	defer done()
	search.Priority = share.MostPriority
	created, err := c.Searches.CreateSearch(ctx, &turnwrightv1.CreateSearchRequest{
		Search: search, RequestId: client.NewRequestID(),
	})
	return created.GetSearch().GetName(), err
}

// finish follows the search to its end, cancels it when the context ends before
// that, and prints what came of it.
func (a *app) finish(ctx context.Context, c *client.Client, name string) error {
	search, err := a.follow(ctx, c, name)
	if err != nil {
		return err
	}
	if ctx.Err() != nil {
		var done context.CancelFunc
		ctx, done = context.WithTimeout(context.WithoutCancel(ctx), afterwards)
		defer done()
	}
	findings, err := client.Collect(c.AllFindings(ctx, name))
	if err != nil {
		return err
	}
	if err := a.printResult(search, findings); err != nil {
		return err
	}
	return outcome(search)
}

// follow tells people how the search is coming on until it has ended, and cancels it
// when the context ends before that.
func (a *app) follow(ctx context.Context, c *client.Client, name string) (*turnwrightv1.Search, error) {
	err := a.track(ctx, c, name)
	if ctx.Err() != nil {
		var done context.CancelFunc
		ctx, done = context.WithTimeout(context.WithoutCancel(ctx), afterwards)
		defer done()
		_, err = c.Searches.CancelSearch(ctx, &turnwrightv1.CancelSearchRequest{
			Name: name, RequestId: client.NewRequestID(),
		})
	}
	if err != nil {
		return nil, err
	}
	reply, err := c.Searches.GetSearch(ctx, &turnwrightv1.GetSearchRequest{Name: name})
	return reply.GetSearch(), err
}

func (a *app) printResult(search *turnwrightv1.Search, findings []*turnwrightv1.Finding) error {
	if a.output == "json" {
		for _, finding := range findings {
			if err := a.printFindingJSON(finding, search); err != nil {
				return err
			}
		}
		return a.printJSON("summary", summaryJSON(search))
	}
	switch {
	case search.GetStudy() != nil:
		return a.printText(alarmsText(search) + shortenedText(search, findings))
	case search.GetPosition() != nil:
		return a.printText(alarmsText(search) + solutionsText(search, findings))
	}
	return a.printText(alarmsText(search) + resultText(search, findings))
}

// outcome is the error that a search ended with, if any.
func outcome(search *turnwrightv1.Search) error {
	switch search.GetState() {
	case turnwrightv1.SearchState_SEARCH_STATE_CANCELLED:
		if why := cancelWord(search.GetCancelReason()); why != "" {
			return fmt.Errorf("%w, as --%s wished", errCancelled, why)
		}
		return errCancelled
	case turnwrightv1.SearchState_SEARCH_STATE_FAILED:
		return fmt.Errorf("the search failed: %s", search.GetError())
	}
	return nil
}
