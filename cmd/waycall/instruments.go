package main

import (
	"fmt"
	"text/tabwriter"
	"time"

	"github.com/spf13/cobra"

	"waycall/internal/board"
	"waycall/internal/command"
	"waycall/internal/screen"
)

// instrumentsOptions are the flags of waycall instruments.
type instrumentsOptions struct {
	data dataFlag
	json bool
}

func newInstruments() *cobra.Command {
	var o instrumentsOptions
	cmd := &cobra.Command{
		Use:   "instruments",
		Short: "List the instruments, with their last calibration check",
		Long: `Lists the instruments that are known, by serial number, with the date of the last
calibration check. waycall new offers them. How often an instrument is to be checked
is for its maker and your own system of work to say.`,
		Args: command.Args(0, 0, "no arguments"),
		RunE: func(cmd *cobra.Command, args []string) error { return runInstruments(streamsOf(cmd), o) },
	}
	o.data.add(cmd)
	cmd.Flags().BoolVar(&o.json, "json", false, "print JSON")
	cmd.AddCommand(newInstrumentsPut(), newInstrumentsRemove())
	return cmd
}

func runInstruments(std streams, o instrumentsOptions) error {
	list, err := o.data.register()
	if err != nil {
		return err
	}
	known, err := list.List()
	if err != nil {
		return err
	}
	if o.json {
		return screen.Print(std.out, append([]board.Instrument{}, known...))
	}
	if len(known) == 0 {
		_, err := fmt.Fprintln(std.out, "No instruments are known. waycall instruments put SERIAL adds one.")
		return err
	}
	w := tabwriter.NewWriter(std.out, 0, 0, 2, ' ', 0)
	for _, i := range known {
		fmt.Fprintf(w, "%s\tchecked %s\t%s\tscale ends at %g megohms\n", i.Serial, i.Checked, ago(i.Checked), i.OverRange)
	}
	return w.Flush()
}

// ago says how long a day lies back.
func ago(day string) string {
	t, err := time.Parse(time.DateOnly, day)
	if err != nil {
		return ""
	}
	switch days := int(time.Since(t).Hours() / 24); {
	case days < 0:
		return "a day to come"
	case days < 60:
		return fmt.Sprintf("%d days ago", days)
	default:
		return fmt.Sprintf("%d months ago", days/30)
	}
}

func newInstrumentsPut() *cobra.Command {
	var data dataFlag
	i := board.Instrument{}
	cmd := &cobra.Command{
		Use:     "put SERIAL",
		Short:   "Add an instrument, or note that its calibration was checked again",
		Example: "  waycall instruments put 0041732 --checked 2026-02-02 --over-range 999",
		Args:    command.Args(1, 1, "one serial number"),
		RunE: func(cmd *cobra.Command, args []string) error {
			i.Serial = args[0]
			return runInstrumentsPut(streamsOf(cmd), data, i)
		},
	}
	data.add(cmd)
	cmd.Flags().StringVar(&i.Checked, "checked", "", "date of its last calibration check, such as 2026-02-02")
	cmd.Flags().Float64Var(&i.OverRange, "over-range", 999, "where its insulation scale ends at 500 V, megohms")
	cmd.Flags().Float64Var(&i.OverRange250, "over-range-250", 0, "the same at 250 V; 0 when unknown: it is then asked for")
	cmd.Flags().Float64Var(&i.OverRange1000, "over-range-1000", 0, "the same at 1000 V")
	return cmd
}

func runInstrumentsPut(std streams, data dataFlag, i board.Instrument) error {
	list, err := data.register()
	if err != nil {
		return err
	}
	if err := list.Put(i); err != nil {
		return err
	}
	_, err = fmt.Fprintf(std.out, "Instrument %s: checked %s, scale ends at %g megohms.\n", i.Serial, i.Checked, i.OverRange)
	return err
}

func newInstrumentsRemove() *cobra.Command {
	var data dataFlag
	cmd := &cobra.Command{
		Use:   "remove SERIAL",
		Short: "Take an instrument off the list; jobs that it was used for keep it",
		Args:  command.Args(1, 1, "one serial number"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return runInstrumentsRemove(streamsOf(cmd), data, args[0])
		},
	}
	data.add(cmd)
	return cmd
}

func runInstrumentsRemove(std streams, data dataFlag, serial string) error {
	list, err := data.register()
	if err != nil {
		return err
	}
	if err := list.Remove(serial); err != nil {
		return err
	}
	_, err = fmt.Fprintf(std.out, "Instrument %s is off the list.\n", serial)
	return err
}
