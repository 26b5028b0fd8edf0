// Turnwright finds the shortest sequences of turns that cycle a few pieces of a
// twisty puzzle and leave the rest alone, and proves that none are shorter.
//
// The one idea of the command: it is a client. Every verb asks a server through
// package client, also when it is all on one machine; then the verb runs the
// server itself, in the same process, for as long as it needs it.
//
//	turnwright find --puzzle vertex-cut-dodecahedron --cycle triangle --max 9
//
// Each verb is a file of its own: it reads flags, makes calls and hands the
// answers to the two ways of writing them, json.go for programs and text.go for
// people. Answers go to standard output, everything else to standard error.
package main

import (
	"context"
	"io"
	"os"
	"os/signal"
	"syscall"

	"golang.org/x/term"
	"google.golang.org/grpc/grpclog"
)

func main() {
	quietLibraries()
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	context.AfterFunc(ctx, stop) // a second signal ends the program at once
	a := &app{stdout: os.Stdout, stderr: os.Stderr, stdin: os.Stdin}
	if fd := int(os.Stderr.Fd()); term.IsTerminal(fd) {
		a.width = func() int {
			width, _, err := term.GetSize(fd)
			if err != nil {
				return 80
			}
			return width
		}
	}
	os.Exit(a.run(ctx, os.Args[1:]))
}

// quietLibraries keeps libraries from writing to standard error by themselves: there they
// have a line for each client that goes away or sends what is no JSON. What they know
// comes back as errors, and those are logged.
func quietLibraries() {
	grpclog.SetLoggerV2(grpclog.NewLoggerV2(io.Discard, io.Discard, io.Discard))
}
