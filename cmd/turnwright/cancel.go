package main

import (
	"context"
	"fmt"

	"github.com/spf13/cobra"

	"turnwright/api/client"
	turnwrightv1 "turnwright/api/turnwright/v1"
)

func (a *app) cancelCommand() *cobra.Command {
	var e either
	cmd := &cobra.Command{
		Use:   "cancel SEARCH",
		Short: "End a search; its findings and proofs so far stay",
		Args:  cobra.ExactArgs(1),
		RunE: a.verb(func(ctx context.Context, args []string) error {
			return a.withServer(ctx, e, func(c *client.Client) error {
				reply, err := c.Searches.CancelSearch(ctx, &turnwrightv1.CancelSearchRequest{
					Name: client.SearchName(args[0]), RequestId: client.NewRequestID(),
				})
				if err != nil {
					return err
				}
				search := reply.GetSearch()
				if a.output == "json" {
					return a.printJSON("search", searchJSON(search))
				}
				return a.printText(fmt.Sprintf("%s is %s.\n", search.GetName(), stateText(search.GetState())))
			})
		}),
	}
	e.registerRemote(cmd)
	return cmd
}

func (a *app) deleteCommand() *cobra.Command {
	var e either
	cmd := &cobra.Command{
		Use:   "delete SEARCH",
		Short: "Remove a search that has ended, with its findings",
		Args:  cobra.ExactArgs(1),
		RunE: a.verb(func(ctx context.Context, args []string) error {
			return a.withServer(ctx, e, func(c *client.Client) error {
				_, err := c.Searches.DeleteSearch(ctx, &turnwrightv1.DeleteSearchRequest{
					Name: client.SearchName(args[0]), RequestId: client.NewRequestID(),
				})
				return err
			})
		}),
	}
	e.registerRemote(cmd)
	return cmd
}
