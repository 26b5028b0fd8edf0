package main

import (
	"context"
	"fmt"

	"github.com/spf13/cobra"

	"turnwright/api/client"
	turnwrightv1 "turnwright/api/turnwright/v1"
)

func (a *app) cancelCommand() *cobra.Command {
	return a.moveCommand("cancel", "End a search; its findings and proofs so far stay",
		func(ctx context.Context, c *client.Client, name, request string) (*turnwrightv1.Search, error) {
			reply, err := c.Searches.CancelSearch(ctx, &turnwrightv1.CancelSearchRequest{Name: name, RequestId: request})
			return reply.GetSearch(), err
		})
}

func (a *app) pauseCommand() *cobra.Command {
	return a.moveCommand("pause", "Hold a search until it is resumed; it keeps the work that is finished",
		func(ctx context.Context, c *client.Client, name, request string) (*turnwrightv1.Search, error) {
			reply, err := c.Searches.PauseSearch(ctx, &turnwrightv1.PauseSearchRequest{Name: name, RequestId: request})
			return reply.GetSearch(), err
		})
}

func (a *app) resumeCommand() *cobra.Command {
	return a.moveCommand("resume", "Let a paused search go on with the work that is missing",
		func(ctx context.Context, c *client.Client, name, request string) (*turnwrightv1.Search, error) {
			reply, err := c.Searches.ResumeSearch(ctx, &turnwrightv1.ResumeSearchRequest{Name: name, RequestId: request})
			return reply.GetSearch(), err
		})
}

// moveCommand is a verb that brings one search into another state.
func (a *app) moveCommand(verb, short string, move func(ctx context.Context, c *client.Client, name, request string) (*turnwrightv1.Search, error)) *cobra.Command {
	var e either
	cmd := &cobra.Command{
		Use:   verb + " SEARCH",
		Short: short,
		Args:  cobra.ExactArgs(1),
		RunE: a.verb(func(ctx context.Context, args []string) error {
			return a.withServer(ctx, e, func(c *client.Client) error {
				search, err := move(ctx, c, client.SearchName(args[0]), client.NewRequestID())
				if err != nil {
					return err
				}
				if a.output == "json" {
					return a.printJSON("search", searchJSON(search))
				}
				return a.printText(fmt.Sprintf("%s is %s.\n", search.GetName(), stateText(search.GetState())))
			})
		}),
	}
	e.registerRemote(cmd)
	cmd.ValidArgsFunction = e.completeSearch
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
				name := client.SearchName(args[0])
				_, err := c.Searches.DeleteSearch(ctx, &turnwrightv1.DeleteSearchRequest{Name: name, RequestId: client.NewRequestID()})
				return a.printGone("search", name, err)
			})
		}),
	}
	e.registerRemote(cmd)
	cmd.ValidArgsFunction = e.completeSearch
	return cmd
}
