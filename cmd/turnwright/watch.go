package main

import (
	"context"
	"errors"
	"fmt"

	"github.com/spf13/cobra"

	"turnwright/api/client"
	turnwrightv1 "turnwright/api/turnwright/v1"
)

func (a *app) watchCommand() *cobra.Command {
	var e either
	cmd := &cobra.Command{
		Use:   "watch SEARCH",
		Short: "Print a search's findings as they come, until it has ended",
		Long: `Print the findings that are there in rank order, then each new one as it comes, and
the proof when the search has ended. A finding that takes the place of one before
has a higher revision; of a study only solutions are printed that are shorter than those
before. A broken connection is made again by itself. Ctrl-C ends the watching, not the
search.`,
		Args: cobra.ExactArgs(1),
		RunE: a.verb(func(ctx context.Context, args []string) error {
			return a.withServer(ctx, e, func(c *client.Client) error {
				return a.watch(ctx, c, client.SearchName(args[0]))
			})
		}),
	}
	e.registerRemote(cmd)
	cmd.ValidArgsFunction = e.completeSearch
	return cmd
}

func (a *app) watch(ctx context.Context, c *client.Client, name string) error {
	// A server that is not there is told at once; Follow would wait for it.
	reply, err := c.Searches.GetSearch(ctx, &turnwrightv1.GetSearchRequest{Name: name})
	if err != nil {
		return err
	}
	search := reply.GetSearch()
	var first *turnwrightv1.Finding // the shortest
	track := &tracker{app: a}
	err = c.Follow(ctx, name, "", func(event *turnwrightv1.StreamFindingsResponse) error {
		if event.GetSearch() != nil {
			search = event.GetSearch()
			track.update(search)
		}
		if finding := event.GetFinding(); finding != nil {
			shorter := first == nil || finding.GetLength() < first.GetLength()
			if shorter {
				first = finding
			}
			if search.GetStudy() != nil && !shorter && a.output != "json" {
				return nil // of a solution that is known people want to hear what is shorter
			}
			track.clear()
			return a.printFinding(finding, search)
		}
		return nil
	})
	track.clear()
	if ctx.Err() != nil {
		return errUnwatched
	}
	if err != nil {
		return err
	}
	switch {
	case a.output == "json":
		err = a.printJSON("summary", summaryJSON(search))
	case search.GetPosition() != nil:
		err = a.printText(alarmsText(search) + positionProofText(search, first) + "\n")
	case search.GetStudy() != nil:
		err = a.printText(alarmsText(search) + lookedText(search, first != nil) + "\n")
	case search.GetStructure() != nil:
		err = a.printText(alarmsText(search) + triedText(search, first != nil) + "\n")
	default:
		err = a.printText(alarmsText(search) + proofText(search, first.GetLength()) + "\n")
	}
	return errors.Join(err, outcome(search))
}

func (a *app) printFinding(f *turnwrightv1.Finding, s *turnwrightv1.Search) error {
	if a.output == "json" {
		return a.printFindingJSON(f, s)
	}
	if s.GetStudy() != nil {
		return a.printText(shorterText(f))
	}
	if s.GetPosition() != nil {
		return a.printText(fmt.Sprintf("%d  %s\n", f.GetLength(), sequenceText(f)))
	}
	if j := f.GetJoined(); j != nil {
		return a.printText(fmt.Sprintf("net %d  %d  class %s  %s  %s  %s\n",
			j.GetNet(), f.GetLength(), classText(f), sequenceText(f), partsText(f), j.GetSequence()))
	}
	return a.printText(fmt.Sprintf("%d  class %s  %s  %s\n",
		f.GetLength(), classText(f), sequenceText(f), partsText(f)))
}
