package main

import (
	"fmt"
	"io"
	"log/slog"
	"strings"

	"github.com/spf13/cobra"
)

// logging is how a program that runs by itself says what happens to it.
type logging struct {
	format string
	level  level
}

func (l *logging) register(cmd *cobra.Command) {
	cmd.Flags().Var(newChoice(&l.format, "text", "json"), "log-format", "text for people, json for programs: one object a line")
	cmd.Flags().Var(&l.level, "log-level", "the least that is logged; debug has a line for every call")
}

func (l *logging) logger(to io.Writer) *slog.Logger {
	options := &slog.HandlerOptions{Level: slog.Level(l.level)}
	if l.format == "json" {
		return slog.New(slog.NewJSONHandler(to, options))
	}
	return slog.New(slog.NewTextHandler(to, options))
}

// level is a flag for the level of a log; info where it is not given.
type level slog.Level

func (l level) String() string { return strings.ToLower(slog.Level(l).String()) }

func (level) Type() string { return "debug|info|warn|error" }

func (l *level) Set(word string) error {
	for _, known := range []slog.Level{slog.LevelDebug, slog.LevelInfo, slog.LevelWarn, slog.LevelError} {
		if strings.EqualFold(word, known.String()) {
			*l = level(known)
			return nil
		}
	}
	return fmt.Errorf("must be one of debug, info, warn, error")
}
