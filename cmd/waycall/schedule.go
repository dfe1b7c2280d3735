package main

import (
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"waycall/internal/report"
)

func newSchedule() *cobra.Command {
	var (
		data   dataFlag
		format string
		out    string
	)
	cmd := &cobra.Command{
		Use:   "schedule JOB",
		Short: "Print the schedule of test results",
		Long: `Prints the schedule of a job as text, CSV or JSON. It holds confirmed readings
alone, over-range as a bound (">999"), and says what is not done.`,
		Example: "  waycall schedule TER-0107\n  waycall schedule TER-0107 --format csv --out schedule.csv",
		Args:    wantArgs(1, 1, "one job"),
		RunE: func(cmd *cobra.Command, args []string) error {
			state, _, err := data.readJob(cmd.Context(), args[0])
			if err != nil {
				return err
			}
			s := report.Build(state)
			var write func(io.Writer) error
			switch format {
			case "text":
				write = s.Text
			case "csv":
				write = s.CSV
			case "json":
				write = s.JSON
			default:
				return usageError{fmt.Errorf("--format is %q; give text, csv or json", format)}
			}
			if out == "" {
				return write(cmd.OutOrStdout())
			}
			return writeFile(out, write)
		},
	}
	data.add(cmd)
	cmd.Flags().StringVar(&format, "format", "text", "text, csv or json")
	cmd.Flags().BoolFunc("json", "the same as --format json", func(string) error { format = "json"; return nil })
	cmd.Flags().StringVar(&out, "out", "", "write to this file instead of printing")
	return cmd
}
