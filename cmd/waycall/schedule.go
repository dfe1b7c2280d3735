package main

import (
	"context"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"waycall/internal/report"
	"waycall/internal/store"
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
		Long: `Prints the schedule of a job as text, CSV or JSON, or writes it as a PDF on A4 or
as a spreadsheet (xlsx), which need --out. It holds confirmed readings alone,
over-range as a bound (">999"), and says what is not done.

PDF, spreadsheet and JSON hold the sum of the last event, which waycall verify
prints, too: it ties them to the record. The PDF is a draft, with a statement to be
signed by the competent person. The same record gives the same bytes.`,
		Example: "  waycall schedule TER-0107\n  waycall schedule TER-0107 --format csv --out schedule.csv\n  waycall schedule TER-0107 --format pdf --out schedule.pdf",
		Args:    wantArgs(1, 1, "one job"),
		RunE: func(cmd *cobra.Command, args []string) error {
			var form func(report.Schedule, io.Writer) error
			switch format {
			case "text":
				form = report.Schedule.Text
			case "csv":
				form = report.Schedule.CSV
			case "json":
				form = report.Schedule.JSON
			case "pdf":
				form = report.Schedule.PDF
			case "xlsx":
				form = report.Schedule.XLSX
			default:
				return usageError{fmt.Errorf("--format is %q; give text, csv, json, pdf or xlsx", format)}
			}
			if out == "" && (format == "pdf" || format == "xlsx") {
				return usageError{fmt.Errorf("--format %s is not for a screen; name a file with --out", format)}
			}
			s, err := data.schedule(cmd.Context(), args[0])
			if err != nil {
				return err
			}
			if out == "" {
				return form(s, cmd.OutOrStdout())
			}
			return writeFile(out, func(w io.Writer) error { return form(s, w) })
		},
	}
	data.add(cmd)
	cmd.Flags().StringVar(&format, "format", "text", "text, csv, json, pdf or xlsx")
	cmd.Flags().BoolFunc("json", "the same as --format json", func(string) error { format = "json"; return nil })
	cmd.Flags().StringVar(&out, "out", "", "write to this file instead of printing")
	return cmd
}

// schedule makes the schedule of a job, with the sum of the last event in it.
func (d *dataFlag) schedule(ctx context.Context, job string) (report.Schedule, error) {
	st, _, err := d.open(job, store.OpenReadOnly)
	if err != nil {
		return report.Schedule{}, err
	}
	defer st.Close()
	state, err := fold(ctx, st)
	if err != nil {
		return report.Schedule{}, err
	}
	s := report.Build(state)
	if state.LastID > 0 {
		s.Record.Sum, err = st.Sum(ctx, state.LastID)
	}
	return s, err
}
