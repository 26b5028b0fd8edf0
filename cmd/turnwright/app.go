package main

import (
	"context"
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"github.com/spf13/cobra"
)

// app is one run of the command.
type app struct {
	stdout, stderr io.Writer
	stdin          io.Reader        // nil for none
	stdinWas       string           // what was read from it; empty for nothing yet
	width          func() int       // of the terminal that stderr is; nil where it is none
	clock          func() time.Time // time.Now where nil; its zone is that of whoever reads

	output string // of the flag --output
	began  bool   // the verb itself has begun: what fails now is not the usage
}

// defaultAddress is where serve listens, and where the verbs that need a server
// that stays look for it.
const defaultAddress = "127.0.0.1:7431"

const about = `Turnwright finds the shortest sequences of turns that cycle a few pieces of a twisty
puzzle and leave the rest alone, or that solve one position of it, and proves that none
are shorter.

The verbs find, solve, baseline, coverage, fit, insert, study, compare, puzzles, puzzle,
define, effect, explain, isolate, commutators and draw run a server of their own while they
need one, unless --server names one. The others talk to the server that --server,
$TURNWRIGHT_SERVER or the configuration names, or else to the one that "turnwright serve"
started on this host; with --data most of them run one of their own as well, to look at
the searches in that directory or to go on with them. $TURNWRIGHT_TOKEN is the token for
the server.

The configuration is ~/.config/turnwright/config.yaml:

  default: club
  servers:
    club:
      address: club.example.org:7431
      token_file: club.token         # or token: …
      fingerprint: 11e5cb7383da…     # or ca: club.pem`

const exitStatus = `
Exit status:
  0  it worked; for find, solve and watch: the search came to its end
  1  something went wrong
  2  bad input: an unknown flag, a goal that makes no sense, a sequence with a mistake,
     what can't be done now; for enter --check: the solution is no result
  3  there is no puzzle, search, round or member of that name
  4  cancelled
  5  not allowed: the server asks for a token, refuses this one, or keeps this from you
`

// run carries out the command line and returns the exit status.
func (a *app) run(ctx context.Context, args []string) int {
	for i, arg := range args {
		if !utf8.ValidString(arg) { // the API takes nothing else
			fmt.Fprintf(a.stderr, "turnwright: argument %d is not text in UTF-8: %q\n", i+1, arg)
			return exitUsage
		}
	}
	root := a.root()
	root.SetArgs(args)
	cmd, err := root.ExecuteContextC(ctx)
	switch {
	case err == nil:
		return exitOK
	case !a.began && cmd != root:
		fmt.Fprintf(a.stderr, "turnwright: %s; the usage is: %s\n", explain(err), cmd.UseLine())
		return exitUsage
	}
	fmt.Fprintf(a.stderr, "turnwright: %s\n", explain(err))
	if !a.began {
		return exitUsage
	}
	return exitCode(err)
}

func (a *app) root() *cobra.Command {
	root := &cobra.Command{
		Use:           "turnwright",
		Short:         "Shortest sequences for twisty puzzles, with proof",
		Long:          about,
		Version:       version(),
		SilenceUsage:  true,
		SilenceErrors: true,
		Args:          knownVerb,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return cmd.Help()
		},
	}
	root.SetOut(a.stdout)
	root.SetErr(a.stderr)
	root.SetUsageTemplate(root.UsageTemplate() + exitStatus)
	root.PersistentFlags().Var(newChoice(&a.output, "text", "json"), "output", "text for people, json for programs: one object a line")
	root.PersistentFlags().BoolFunc("json", "short for --output json", func(text string) error {
		yes, err := strconv.ParseBool(text)
		if yes {
			a.output = "json"
		}
		return err
	})
	for i, g := range []struct {
		title string
		verbs []*cobra.Command
	}{
		{"Look at puzzles and sequences:", []*cobra.Command{
			a.puzzlesCommand(), a.puzzleCommand(), a.defineCommand(), a.effectCommand(), a.explainCommand(), a.drawCommand(),
		}},
		{"Find, here and now:", []*cobra.Command{
			a.findCommand(), a.solveCommand(), a.baselineCommand(), a.isolateCommand(), a.commutatorsCommand(),
		}},
		{"Use what was found:", []*cobra.Command{
			a.coverageCommand(), a.fitCommand(), a.insertCommand(), a.studyCommand(), a.compareCommand(),
		}},
		{"Searches on a server:", []*cobra.Command{
			a.submitCommand(), a.searchesCommand(), a.watchCommand(), a.findingsCommand(), a.rescheduleCommand(),
			a.pauseCommand(), a.resumeCommand(), a.cancelCommand(), a.deleteCommand(),
		}},
		{"Compete in rounds:", []*cobra.Command{
			a.roundsCommand(), a.roundCommand(), a.scrambleCommand(), a.enterCommand(), a.entriesCommand(),
			a.standingsCommand(), a.recordsCommand(), a.verifyCommand(),
		}},
		{"Organise rounds:", []*cobra.Command{
			a.announceCommand(), a.amendCommand(), a.closeCommand(), a.callOffCommand(), a.correctCommand(), a.viewsCommand(),
		}},
		{"Run a server:", []*cobra.Command{
			a.serveCommand(), a.statusCommand(), a.workCommand(), a.workersCommand(), a.drainCommand(),
			a.backupCommand(), a.restoreCommand(), a.checkCommand(),
		}},
		{"Who may use it:", []*cobra.Command{
			a.memberCommand(), a.tokenCommand(), a.whoamiCommand(), a.auditCommand(),
		}},
	} {
		id := strconv.Itoa(i)
		root.AddGroup(&cobra.Group{ID: id, Title: g.title})
		for _, verb := range g.verbs {
			verb.GroupID = id
			root.AddCommand(verb)
		}
	}
	complete(root)
	return root
}

// knownVerb refuses a verb that there is not, and tells those that look like it.
func knownVerb(root *cobra.Command, args []string) error {
	if len(args) == 0 {
		return nil
	}
	root.SuggestionsMinimumDistance = 2
	if like := root.SuggestionsFor(args[0]); len(like) > 0 {
		return fmt.Errorf("there is no verb %q: is it %s?", args[0], strings.Join(like, ", or "))
	}
	return fmt.Errorf("there is no verb %q: \"turnwright help\" lists what there is", args[0])
}

// verb marks where the usage has been understood and the work begins.
func (a *app) verb(work func(ctx context.Context, args []string) error) func(*cobra.Command, []string) error {
	return func(cmd *cobra.Command, args []string) error {
		a.began = true
		return work(cmd.Context(), args)
	}
}

// note tells people something that is not part of the answer.
func (a *app) note(format string, args ...any) {
	fmt.Fprintf(a.stderr, format+"\n", args...)
}
