package main

import (
	"cmp"
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"runtime"
	"runtime/debug"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"turnwright/api/client"
	v1 "turnwright/api/turnwright/v1"
	"turnwright/server/puzzles"
	worker "turnwright/server/remote"
)

// working is how a worker process works, and for which server.
type working struct {
	remote
	name, cache    string
	slots          count
	memory, tables size
	log            logging
}

func (a *app) workCommand() *cobra.Command {
	var w working
	cmd := &cobra.Command{
		Use:   "work",
		Short: "Do units of searches for a server, in a process of its own",
		Long: `Work for a server until told to stop (Ctrl-C or SIGTERM), or until the server drains
this worker ("turnwright drain NAME"). It must be the same version as the server.

On the server's host the worker shares the server's copy of each table; elsewhere it
reads a copy of its own into --cache, which workers of one host may share. Copies that
were not used for longest make room for others, as far as --table-cache says. When the
worker is killed its units go to others, and while no server answers it goes on with
what it has and reports later.`,
		Args: cobra.NoArgs,
		RunE: a.verb(func(ctx context.Context, _ []string) error {
			return a.work(ctx, w)
		}),
	}
	w.register(cmd)
	cmd.Flags().StringVar(&w.name, "name", "", "`name` that it is listed under (default made of the host's)")
	cmd.Flags().StringVar(&w.cache, "cache", "", "`directory` for tables of a server on another host (default turnwright in the user's cache directory)")
	cmd.Flags().Var(&w.tables, "table-cache", "at most so much disk for tables there, beside those in use; those not used for longest make room (default a quarter of what is free, at most 64 GiB)")
	cmd.Flags().Var(&w.slots, "workers", "units to do at once (default one for each core)")
	cmd.Flags().Var(&w.memory, "memory", "tables that nobody uses stay while all take no more than this (default "+defaultMemoryHelp+")")
	w.log.register(cmd)
	return cmd
}

func (a *app) work(ctx context.Context, w working) error {
	if w.slots.given && w.slots.n == 0 {
		return usageError{errors.New("--workers 0: a worker does at least one unit at once")}
	}
	if w.name == "" {
		w.name = workerName()
	}
	if w.cache == "" {
		dir, err := os.UserCacheDir()
		if err != nil {
			return fmt.Errorf("no place for tables, name one with --cache: %w", err)
		}
		w.cache = filepath.Join(dir, "turnwright", "tables")
	}
	log := w.log.logger(a.stderr)
	memory := int64(cmp.Or(w.memory, halfOfFree()))
	debug.SetMemoryLimit(memory + besideTables) // what is mapped does not count
	return w.with(func(c *client.Client) error {
		log.Info("working", "name", w.name, "server", w.reached, "version", version())
		err := worker.Run(ctx, worker.Options{
			Client: c.Workers, Puzzles: puzzles.NewLibrary(nil), Name: w.name, Version: version(), Host: worker.HostID(),
			Slots: cmp.Or(w.slots.n, runtime.GOMAXPROCS(0)), Memory: memory, Cache: w.cache, TableCache: int64(w.tables), Logger: log,
		})
		log.Info("stopped")
		return err
	})
}

// workerName makes a name of the host's, and of some letters more: several
// workers may run there.
func workerName() string {
	host, _ := os.Hostname() // without one, "worker" will do
	host = strings.Trim(regexp.MustCompile(`[^a-z0-9]+`).ReplaceAllString(strings.ToLower(host), "-"), "-")
	if len(host) > 40 {
		host = strings.TrimRight(host[:40], "-")
	}
	if host == "" || host[0] < 'a' {
		host = strings.TrimRight("worker-"+host, "-")
	}
	return host + "-" + strings.ToLower(rand.Text()[:6])
}

func (a *app) workersCommand() *cobra.Command {
	var r remote
	cmd := &cobra.Command{
		Use:   "workers",
		Short: "List who does the units: the server's own slots, and worker processes",
		Args:  cobra.NoArgs,
		RunE: a.verb(func(ctx context.Context, _ []string) error {
			return r.with(func(c *client.Client) error { return a.listWorkers(ctx, c) })
		}),
	}
	r.register(cmd)
	return cmd
}

func (a *app) listWorkers(ctx context.Context, c *client.Client) error {
	workers, err := client.Collect(c.AllWorkers(ctx))
	if err != nil {
		return err
	}
	return printList(a, "worker", workers, workerJSON, workersText)
}

func workersText(workers []*v1.Worker) string {
	var rows [][]any
	for _, w := range workers {
		speed, state := "", ""
		if w.GetCoveredPerCoreSecond() > 0 {
			speed = grouped(fmt.Sprintf("%.0f", w.GetCoveredPerCoreSecond()))
		}
		if w.GetDraining() {
			state = "draining"
		}
		ago := max(0, time.Since(w.GetSeenTime().AsTime()).Round(time.Second))
		rows = append(rows, []any{
			client.ID(w.GetName()), w.GetSlots(), len(w.GetUnits()), grouped(fmt.Sprint(w.GetUnitsDone())), speed, fmt.Sprintf("%v ago", ago), state,
		})
	}
	return columns([]string{"worker", ">units at once", ">has", ">done", ">covered a second by a core", ">last heard", ""}, rows)
}

type workerForm struct {
	Worker    string         `json:"worker"`
	Version   string         `json:"version"`
	Slots     int32          `json:"slots"`
	Units     []heldUnitForm `json:"units"`
	Done      int64          `json:"unitsDone"`
	Speed     float64        `json:"coveredPerCoreSecond"` // 0 where not known
	Started   string         `json:"started"`              // RFC 3339
	LastHeard string         `json:"lastHeard"`
	Draining  bool           `json:"draining"`
}

type heldUnitForm struct {
	Search string `json:"search"`
	Length int32  `json:"length"`
	Index  int32  `json:"index"`
}

func workerJSON(w *v1.Worker) workerForm {
	form := workerForm{
		Worker: client.ID(w.GetName()), Version: w.GetVersion(), Slots: w.GetSlots(), Units: []heldUnitForm{}, Done: w.GetUnitsDone(),
		Speed: w.GetCoveredPerCoreSecond(), Started: timeText(w.GetStartedTime()), LastHeard: timeText(w.GetSeenTime()), Draining: w.GetDraining(),
	}
	for _, u := range w.GetUnits() {
		form.Units = append(form.Units, heldUnitForm{client.ID(u.GetSearch()), u.GetLength(), u.GetIndex()})
	}
	return form
}

func (a *app) drainCommand() *cobra.Command {
	var r remote
	cmd := &cobra.Command{
		Use:   "drain NAME",
		Short: "Have a worker process finish what it has and end",
		Args:  cobra.ExactArgs(1),
		RunE: a.verb(func(ctx context.Context, args []string) error {
			return r.with(func(c *client.Client) error {
				resp, err := c.Workers.DrainWorker(ctx, &v1.DrainWorkerRequest{
					Name: "workers/" + strings.TrimPrefix(args[0], "workers/"), RequestId: client.NewRequestID(),
				})
				if err != nil {
					return err
				}
				if a.output == "json" {
					return a.printJSON("worker", workerJSON(resp.GetWorker()))
				}
				return a.printText(fmt.Sprintf("%s finishes %s and ends\n",
					client.ID(resp.GetWorker().GetName()), plural(int64(len(resp.GetWorker().GetUnits())), "unit", "units")))
			})
		}),
	}
	r.register(cmd)
	return cmd
}
