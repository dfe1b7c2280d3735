package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io/fs"

	"github.com/spf13/cobra"

	"waycall/internal/advice"
	"waycall/internal/board"
	"waycall/internal/command"
	"waycall/internal/screen"
)

// importOptions are the flags of waycall import.
type importOptions struct {
	data dataFlag
	as   string
	json bool
}

func newImport() *cobra.Command {
	var o importOptions
	cmd := &cobra.Command{
		Use:   "import FILE",
		Short: "Take in a job that was exported",
		Long: `Checks a file that waycall export made, from end to end, and then adds its job to
the others. When anything in it is wrong nothing is added. A job that is there
already is never written over: give the new one another name with --as.`,
		Example: "  waycall import TER-0107.zip",
		Args:    command.Args(1, 1, "one file"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return runImport(cmd.Context(), streamsOf(cmd), o, args[0])
		},
	}
	o.data.add(cmd)
	cmd.Flags().StringVar(&o.as, "as", "", "name of the job here (default: its reference)")
	cmd.Flags().BoolVar(&o.json, "json", false, "print what was verified as JSON")
	return cmd
}

func runImport(ctx context.Context, std streams, o importOptions, file string) error {
	folder, err := o.data.folder()
	if err != nil {
		return err
	}
	if err := folder.Make(); err != nil {
		return err
	}
	p, err := openPacked(ctx, file, string(folder))
	if err != nil {
		return err
	}
	defer p.Close()
	name := cmp.Or(o.as, p.State.Job.Reference)
	if err := board.CheckReference(name); err != nil && o.as == "" {
		return advice.Errorf("give it another name here with --as", "the job in %s is whole, but its %s", file, advice.What(err))
	}
	path, err := folder.NamedAnew(name)
	if err != nil {
		return err
	}
	if err := p.Keep(path); errors.Is(err, fs.ErrExist) {
		return fmt.Errorf("there is a job %s already; give this one another name with --as, or look at that one with waycall show %s", name, name)
	} else if err != nil {
		return err
	}
	if o.json {
		r := p.Report
		r.File = path
		return screen.Print(std.out, r)
	}
	_, err = fmt.Fprintf(std.out, "Job %s: %s. Its record is %s\n", name, amount(p.Report.Events, p.Report.Sounds), path)
	return err
}
