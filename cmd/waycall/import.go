package main

import (
	"errors"
	"fmt"
	"io/fs"
	"runtime/debug"
	"strings"

	"github.com/spf13/cobra"

	"waycall/internal/board"
	"waycall/internal/pack"
)

// importMemory is what Go clears up to stay within while it looks at what came from
// elsewhere, in bytes. With SQLite's own, an import stays below 256 MiB.
const importMemory = 128 << 20

func newImport() *cobra.Command {
	var (
		data   dataFlag
		as     string
		asJSON bool
	)
	cmd := &cobra.Command{
		Use:   "import FILE",
		Short: "Take in a job that was exported",
		Long: `Checks a file that waycall export made, from end to end, and then adds its job to
the others. When anything in it is wrong nothing is added. A job that is there
already is never written over: give the new one another name with --as.`,
		Example: "  waycall import TER-0107.zip",
		Args:    wantArgs(1, 1, "one file"),
		RunE: func(cmd *cobra.Command, args []string) error {
			debug.SetMemoryLimit(importMemory)
			dir, err := data.made()
			if err != nil {
				return err
			}
			p, err := pack.Open(cmd.Context(), args[0], dir)
			if err != nil {
				return err
			}
			defer p.Close()
			name := as
			if name == "" {
				name = p.State.Job.Reference
				if err := board.CheckReference(name); err != nil {
					what, _, _ := strings.Cut(err.Error(), "; ")
					return fmt.Errorf("the job in %s is whole, but its %s; give it another name here with --as", args[0], what)
				}
			}
			path, err := data.namedAnew(name)
			if err != nil {
				return err
			}
			if err := p.Keep(path); errors.Is(err, fs.ErrExist) {
				return fmt.Errorf("there is a job %s already; give this one another name with --as, or look at that one with waycall show %s", name, name)
			} else if err != nil {
				return err
			}
			if asJSON {
				r := p.Report
				r.File = path
				return printJSON(cmd.OutOrStdout(), r)
			}
			_, err = fmt.Fprintf(cmd.OutOrStdout(), "Job %s: %s. Its record is %s\n", name, kept(p.Report.Events, p.Report.Sounds), path)
			return err
		},
	}
	data.add(cmd)
	cmd.Flags().StringVar(&as, "as", "", "name of the job here (default: its reference)")
	cmd.Flags().BoolVar(&asJSON, "json", false, "print what was verified as JSON")
	return cmd
}
