package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"time"

	"github.com/dustin/go-humanize"
	"github.com/spf13/cobra"

	"turnwright/api/client"
	turnwrightv1 "turnwright/api/turnwright/v1"
	"turnwright/storage"
)

func (a *app) backupCommand() *cobra.Command {
	var e either
	var to string
	cmd := &cobra.Command{
		Use:   "backup --to FILE",
		Short: "Write all that must not be lost to a file, while the server works",
		Long: `Write puzzles, searches, findings and proofs to a file, as they are now, while the
server works. Tables are not in it: they are made again where they are needed. The
file takes the place of one that is there only when it is whole and was read back.`,
		Example: `  turnwright backup --to night.backup
  turnwright restore --from night.backup --data new-directory`,
		Args: cobra.NoArgs,
		RunE: a.verb(func(ctx context.Context, _ []string) error {
			return a.withServer(ctx, e, func(c *client.Client) error {
				info, bytes, err := a.backup(ctx, c, to)
				if err != nil {
					return err
				}
				return a.printBackup("backup", to, bytes, info)
			})
		}),
	}
	e.registerRemote(cmd)
	cmd.Flags().StringVar(&to, "to", "", "`file` to write")
	mustRequire(cmd, "to")
	return cmd
}

// backup writes the file under another name, reads it back and gives it its name.
func (a *app) backup(ctx context.Context, c *client.Client, to string) (info storage.BackupInfo, size int64, err error) {
	if is, err := os.Stat(to); err == nil && !is.Mode().IsRegular() {
		return info, 0, usageError{fmt.Errorf("--to %s: it is no file, and a backup is read back from one", to)}
	}
	file, err := os.CreateTemp(filepath.Dir(to), filepath.Base(to)+".part-*")
	if err != nil {
		return info, 0, usageError{fmt.Errorf("--to: %w", err)}
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, file.Close(), os.Remove(file.Name()))
		}
	}()
	if size, err = receive(ctx, c, file); err != nil {
		return info, size, err
	}
	if err = file.Sync(); err != nil {
		return info, size, err
	}
	if _, err = file.Seek(0, io.SeekStart); err != nil {
		return info, size, err
	}
	if info, err = storage.CheckBackup(ctx, file); err != nil {
		return info, size, fmt.Errorf("what arrived: %w", err)
	}
	if err = os.Rename(file.Name(), to); err != nil {
		return info, size, err
	}
	return info, size, file.Close()
}

func receive(ctx context.Context, c *client.Client, to io.Writer) (size int64, err error) {
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	stream, err := c.Administration.Backup(ctx, &turnwrightv1.BackupRequest{})
	if err != nil {
		return 0, err
	}
	for w := bufio.NewWriter(to); ; {
		part, err := stream.Recv()
		if errors.Is(err, io.EOF) {
			return size, w.Flush()
		}
		if err != nil {
			return size, err
		}
		n, err := w.Write(part.GetPiece())
		size += int64(n)
		if err != nil {
			return size, err
		}
	}
}

func (a *app) restoreCommand() *cobra.Command {
	var from, data string
	cmd := &cobra.Command{
		Use:   "restore --from FILE --data DIRECTORY",
		Short: "Make a data directory of a backup",
		Long: `Make a data directory of a backup that "turnwright backup" wrote. The directory must
be empty or not be there. A file that was cut off or changed is refused before
anything is made. Searches that had not ended go on when the directory is served.
Those who watch one begin to watch anew.`,
		Args: cobra.NoArgs,
		RunE: a.verb(func(ctx context.Context, _ []string) error {
			file, err := os.Open(from)
			if err != nil {
				return usageError{fmt.Errorf("--from: %w", err)}
			}
			defer func() { _ = file.Close() }() // it was only read
			stat, err := file.Stat()
			if err != nil {
				return err
			}
			info, err := storage.Restore(ctx, file, storage.Options{Dir: data})
			switch {
			case errors.Is(err, storage.ErrBackup), errors.Is(err, storage.ErrSchema):
				return usageError{fmt.Errorf("--from %s: %w", from, err)}
			case errors.Is(err, storage.ErrExists):
				return usageError{fmt.Errorf("--data: %w", err)}
			case err != nil:
				return err
			}
			return a.printBackup("restored", from, stat.Size(), info)
		}),
	}
	cmd.Flags().StringVar(&from, "from", "", "`file` that backup wrote")
	cmd.Flags().StringVar(&data, "data", "", "`directory` to make")
	mustRequire(cmd, "from", "data")
	return cmd
}

// mustRequire marks flags as required.
func mustRequire(cmd *cobra.Command, names ...string) {
	for _, name := range names {
		if err := cmd.MarkFlagRequired(name); err != nil {
			panic(err) // the flag was not registered
		}
	}
}

type backupForm struct {
	File    string `json:"file"`
	Bytes   int64  `json:"bytes"`
	Records int    `json:"records"`
	Schema  int    `json:"schema"`
	Created string `json:"created"` // RFC 3339
	Version string `json:"version"` // of the server that made it
}

func (a *app) printBackup(kind, file string, bytes int64, info storage.BackupInfo) error {
	if a.output == "json" {
		return a.printJSON(kind, backupForm{
			File: file, Bytes: bytes, Records: info.Records, Schema: info.Schema,
			Created: info.Created.Format(time.RFC3339), Version: info.Version,
		})
	}
	verb := map[string]string{"backup": "wrote", "restored": "restored"}[kind]
	return a.printText(fmt.Sprintf("%s %s: %s, %s, of %s\n", verb, file,
		plural(int64(info.Records), "record", "records"), humanize.IBytes(uint64(bytes)), info.Created.Format(time.RFC3339)))
}
