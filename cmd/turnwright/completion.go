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
// puzzles, servers of the configuration, and searches, if a server tells them at once.

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
	const directive = cobra.ShellCompDirectiveNoFileComp | cobra.ShellCompDirectiveKeepOrder
	if len(args) > 0 {
		return nil, directive
	}
	parent := cmd.Context()
	if parent == nil {
		parent = context.Background()
	}
	ctx, cancel := context.WithTimeout(parent, patience)
	defer cancel()
	var names []string
	err := r.with(func(c *client.Client) error {
		page, err := c.Searches.ListSearches(ctx, &turnwrightv1.ListSearchesRequest{PageSize: 100})
		for _, s := range page.GetSearches() {
			names = append(names, fmt.Sprintf("%s\t%s", client.ID(s.GetName()), stateText(s.GetState())))
		}
		return err
	})
	if err != nil {
		return nil, directive
	}
	return beginning(begun, names), directive
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
