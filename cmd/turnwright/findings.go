package main

import (
	"context"

	"github.com/spf13/cobra"

	"turnwright/api/client"
	turnwrightv1 "turnwright/api/turnwright/v1"
)

func (a *app) findingsCommand() *cobra.Command {
	var e either
	cmd := &cobra.Command{
		Use:   "findings SEARCH",
		Short: "Print a search's findings and proof as they are now, in rank order",
		Args:  cobra.ExactArgs(1),
		RunE: a.verb(func(ctx context.Context, args []string) error {
			return a.withServer(ctx, e, func(c *client.Client) error {
				name := client.SearchName(args[0])
				reply, err := c.Searches.GetSearch(ctx, &turnwrightv1.GetSearchRequest{Name: name})
				if err != nil {
					return err
				}
				findings, err := client.Collect(c.AllFindings(ctx, name))
				if err != nil {
					return err
				}
				return a.printResult(reply.GetSearch(), findings)
			})
		}),
	}
	e.registerRemote(cmd)
	return cmd
}
