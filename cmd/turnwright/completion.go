package main

import (
	"context"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"turnwright/api/client"
	turnwrightv1 "turnwright/api/turnwright/v1"
	"turnwright/search/puzzle"
)

// What the shell completes beside verbs and flags: the words of choices, built-in
// puzzles, servers of the configuration, and searches, rounds and entries, if a server tells them at once.

// patience is how long the shell waits for a server.
const patience = time.Second

// complete has the flags of a command, and of those below it, completed.
func complete(cmd *cobra.Command) {
	cmd.Flags().VisitAll(func(f *pflag.Flag) {
		one, isChoice := f.Value.(choice)
		switch {
		case isChoice:
			completeFlag(cmd, f.Name, func() []string { return one.words })
		case f.Name == "puzzle":
			completeFlag(cmd, f.Name, puzzleNames)
		case f.Name == "server":
			completeFlag(cmd, f.Name, configuredServers)
		}
	})
	for _, sub := range cmd.Commands() {
		complete(sub)
	}
}

func completeFlag(cmd *cobra.Command, flag string, words func() []string) {
	err := cmd.RegisterFlagCompletionFunc(flag, func(_ *cobra.Command, _ []string, begun string) ([]string, cobra.ShellCompDirective) {
		directive := cobra.ShellCompDirectiveNoFileComp
		if flag == "puzzle" { // it may be a file as well
			directive = cobra.ShellCompDirectiveDefault
		}
		return beginning(begun, words()), directive
	})
	if err != nil {
		panic(err) // each flag is visited once
	}
}

func puzzleNames() []string {
	var names []string
	for _, d := range puzzle.Builtin() {
		names = append(append(names, d.Name), d.Aliases...)
	}
	slices.Sort(names)
	return names
}

// configuredServers says nothing where the configuration can't be read: the verb will.
func configuredServers() []string {
	path, err := configPath()
	if err != nil {
		return nil
	}
	c, err := readConfig(path)
	if err != nil {
		return nil
	}
	return slices.Sorted(maps.Keys(c.Servers))
}

// completeSearch completes the name of one search, if the server is there.
func (r *remote) completeSearch(cmd *cobra.Command, args []string, begun string) ([]string, cobra.ShellCompDirective) {
	return r.completeNames(cmd, len(args) == 0, begun, func(ctx context.Context, c *client.Client) (names []string, err error) {
		page, err := c.Searches.ListSearches(ctx, &turnwrightv1.ListSearchesRequest{PageSize: 100})
		for _, s := range page.GetSearches() {
			names = append(names, fmt.Sprintf("%s\t%s", client.ID(s.GetName()), stateText(s.GetState())))
		}
		return names, err
	})
}

// completeRound completes the name of one round.
func (r *remote) completeRound(cmd *cobra.Command, args []string, begun string) ([]string, cobra.ShellCompDirective) {
	return r.completeNames(cmd, len(args) == 0, begun, roundNames)
}

// completeEntry completes the name of a round, and then that of one of its entries.
func (r *remote) completeEntry(cmd *cobra.Command, args []string, begun string) ([]string, cobra.ShellCompDirective) {
	if len(args) != 1 {
		return r.completeRound(cmd, args, begun)
	}
	return r.completeNames(cmd, true, begun, func(ctx context.Context, c *client.Client) (names []string, err error) {
		page, err := c.Rounds.ListEntries(ctx, &turnwrightv1.ListEntriesRequest{Parent: client.RoundName(args[0]), PageSize: 100})
		for _, e := range page.GetEntries() {
			names = append(names, fmt.Sprintf("%s\t%s", client.ID(e.GetName()), countedText(e.GetVerdict())))
		}
		return names, err
	})
}

func roundNames(ctx context.Context, c *client.Client) (names []string, err error) {
	page, err := c.Rounds.ListRounds(ctx, &turnwrightv1.ListRoundsRequest{PageSize: 100})
	for _, r := range page.GetRounds() {
		names = append(names, fmt.Sprintf("%s\t%s", client.ID(r.GetName()), roundStateText(r.GetState())))
	}
	return names, err
}

// completeNames completes what a list of the server has, if another name is wanted and the
// server is there.
func (r *remote) completeNames(
	cmd *cobra.Command, wanted bool, begun string, names func(context.Context, *client.Client) ([]string, error),
) ([]string, cobra.ShellCompDirective) {
	const directive = cobra.ShellCompDirectiveNoFileComp | cobra.ShellCompDirectiveKeepOrder
	if !wanted {
		return nil, directive
	}
	parent := cmd.Context()
	if parent == nil {
		parent = context.Background()
	}
	ctx, cancel := context.WithTimeout(parent, patience)
	defer cancel()
	var found []string
	err := r.with(func(c *client.Client) (err error) {
		found, err = names(ctx, c)
		return err
	})
	if err != nil {
		return nil, directive
	}
	return beginning(begun, found), directive
}

// beginning are those words that go on with what was typed.
func beginning(begun string, words []string) []string {
	return slices.DeleteFunc(slices.Clone(words), func(word string) bool { return !strings.HasPrefix(word, begun) })
}

// completePuzzle completes the name of one puzzle.
func completePuzzle(_ *cobra.Command, args []string, begun string) ([]string, cobra.ShellCompDirective) {
	if len(args) > 0 {
		return nil, cobra.ShellCompDirectiveNoFileComp
	}
	return beginning(begun, puzzleNames()), cobra.ShellCompDirectiveDefault
}
