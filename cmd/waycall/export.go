package main

import (
	"fmt"
	"io"
	"os"
	"path/filepath"

	"github.com/spf13/cobra"

	"waycall/internal/pack"
)

func newExport() *cobra.Command {
	var (
		data   dataFlag
		asJSON bool
	)
	cmd := &cobra.Command{
		Use:   "export JOB FILE",
		Short: "Pack a whole job into one file",
		Long: `Packs a job into one zip file: the record, each sound as FLAC, and a manifest with
the size and the SHA-256 of every file in it. The record is verified first. A file
that is there already is not written over. waycall import takes it in again.

The file holds everything that the job holds, names and addresses too.`,
		Example: "  waycall export TER-0107 TER-0107.zip",
		Args:    wantArgs(2, 2, "one job and one file to write"),
		RunE: func(cmd *cobra.Command, args []string) error {
			path, err := data.path(args[0])
			if err != nil {
				return err
			}
			if _, err := os.Lstat(args[1]); err == nil {
				return fmt.Errorf("%s is there already; choose another name", args[1])
			}
			if err := target(args[1]); err != nil {
				return err
			}
			if _, err := os.Stat(path); err != nil {
				return fmt.Errorf("no job %s; waycall jobs lists them", args[0])
			}
			var m pack.Manifest
			var packing error // says itself what to do
			err = writeFile(args[1], 0o600, true, func(w io.Writer) error {
				// Its mode is that of the job itself.
				m, packing = pack.Write(cmd.Context(), path, filepath.Dir(args[1]), w)
				return packing
			})
			if packing != nil {
				return packing
			}
			if err != nil {
				return err
			}
			if asJSON {
				return printJSON(cmd.OutOrStdout(), m)
			}
			_, err = fmt.Fprintf(cmd.OutOrStdout(), "%s: job %s, %s.\n", args[1], m.Reference, kept(m.Events, int64(len(m.Files)-1)))
			return err
		},
	}
	data.add(cmd)
	cmd.Flags().BoolVar(&asJSON, "json", false, "print the manifest as JSON")
	return cmd
}
