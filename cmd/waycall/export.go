package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"github.com/spf13/cobra"

	"waycall/internal/bundle"
	"waycall/internal/command"
	"waycall/internal/screen"
)

// exportOptions are the flags of waycall export.
type exportOptions struct {
	data dataFlag
	json bool
}

func newExport() *cobra.Command {
	var o exportOptions
	cmd := &cobra.Command{
		Use:   "export JOB FILE",
		Short: "Pack a whole job into one file",
		Long: `Packs a job into one zip file: the record, each sound as FLAC, and a manifest with
the size and the SHA-256 of every file in it. The record is verified first. A file
that is there already is not written over. waycall import takes it in again.

The file holds everything that the job holds, names and addresses too.`,
		Example: "  waycall export TER-0107 TER-0107.zip",
		Args:    command.Args(2, 2, "one job and one file to write"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return runExport(cmd.Context(), streamsOf(cmd), o, args[0], args[1])
		},
	}
	o.data.add(cmd)
	cmd.Flags().BoolVar(&o.json, "json", false, "print the manifest as JSON")
	return cmd
}

// runExport packs a job into the file to.
func runExport(ctx context.Context, std streams, o exportOptions, job, to string) error {
	folder, err := o.data.folder()
	if err != nil {
		return err
	}
	path, err := folder.Path(job)
	if err != nil {
		return err
	}
	if _, err := os.Lstat(to); err == nil {
		return &thereError{to}
	}
	if err := target(to); err != nil {
		return err
	}
	if _, err := os.Stat(path); err != nil {
		return fmt.Errorf("no job %s; waycall jobs lists them", job)
	}
	var m bundle.Manifest
	var packing error // says itself what to do
	err = writeFile(to, 0o600, true, func(w io.Writer) error {
		// Its mode is that of the job itself.
		m, packing = bundle.Write(ctx, path, filepath.Dir(to), w)
		return packing
	})
	if packing != nil {
		return packing
	}
	if err != nil {
		return err
	}
	if o.json {
		return screen.Print(std.out, m)
	}
	_, err = fmt.Fprintf(std.out, "%s: job %s, %s.\n", to, m.Reference, amount(m.Events, int64(len(m.Files)-1)))
	return err
}
