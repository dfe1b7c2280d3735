package main

import (
	"context"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"waycall/internal/command"
	"waycall/internal/jobs"
	"waycall/internal/report"
	"waycall/internal/report/paper"
	"waycall/internal/report/plaintext"
	"waycall/internal/report/spreadsheet"
)

// scheduleOptions are the flags of waycall schedule.
type scheduleOptions struct {
	data   dataFlag
	format string
	out    string
	from   string
	schema bool
}

func newSchedule() *cobra.Command {
	var o scheduleOptions
	cmd := &cobra.Command{
		Use:   "schedule JOB",
		Short: "Print the schedule of test results",
		Long: `Prints the schedule of a job as text, CSV or JSON, or writes it as a PDF on A4 or
as a spreadsheet (xlsx), which need --out. It holds confirmed readings alone,
over-range as a bound (">999"), and says what is not done.

PDF, spreadsheet and JSON hold the sum of the last event, which waycall verify
prints, too: it ties them to the record. The PDF is a draft until the record is
signed off in waycall review, and again after any later change; signed off, it
names who signed, when, and the sum of what was signed. The same record gives the
same bytes.

--from makes the schedule from its own JSON instead of the record: the same
document, byte for byte. Such a file can be changed by whoever has it, so compare
its sum with the record. --schema prints the JSON Schema of the JSON.`,
		Example: "  waycall schedule TER-0107\n  waycall schedule TER-0107 --format csv --out schedule.csv\n  waycall schedule TER-0107 --format pdf --out schedule.pdf\n" +
			"  waycall schedule TER-0107 --json --out schedule.json\n  waycall schedule --from schedule.json --format pdf --out schedule.pdf\n  waycall schedule --schema",
		Args: func(cmd *cobra.Command, args []string) error {
			if o.from != "" || o.schema {
				return command.Args(0, 0, "no job beside --from or --schema")(cmd, args)
			}
			return command.Args(1, 1, "one job")(cmd, args)
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			return runSchedule(cmd.Context(), streamsOf(cmd), o, args)
		},
	}
	o.data.add(cmd)
	cmd.Flags().StringVar(&o.format, "format", "text", "text, csv, json, pdf or xlsx")
	cmd.Flags().BoolFunc("json", "the same as --format json", func(string) error { o.format = "json"; return nil })
	cmd.Flags().StringVar(&o.out, "out", "", "write to this file instead of printing")
	cmd.Flags().StringVar(&o.from, "from", "", "make it from this JSON of a schedule instead of a job")
	cmd.Flags().BoolVar(&o.schema, "schema", false, "print the JSON Schema of the JSON")
	return cmd
}

// forms are how a schedule can be written, by the values of --format.
var forms = map[string]func(io.Writer, report.Schedule) error{
	"text": plaintext.Write, "csv": spreadsheet.CSV, "json": report.Write, "pdf": paper.Write, "xlsx": spreadsheet.XLSX,
}

// runSchedule writes the schedule of the one job of args, or of none with --from or
// --schema.
func runSchedule(ctx context.Context, std streams, o scheduleOptions, args []string) error {
	if o.schema {
		return writeOut(o.out, std.out, func(w io.Writer) error { _, err := w.Write(report.Schema()); return err })
	}
	form := forms[o.format]
	if form == nil {
		return command.UsageError{Err: fmt.Errorf("--format is %q; give text, csv, json, pdf or xlsx", o.format)}
	}
	if o.out != "" {
		if err := target(o.out); err != nil {
			return err
		}
	}
	if o.out == "" && (o.format == "pdf" || o.format == "xlsx") {
		return command.UsageError{Err: fmt.Errorf("--format %s is not for a screen; name a file with --out", o.format)}
	}
	var s report.Schedule
	var err error
	if o.from != "" {
		s, err = readSchedule(o.from)
	} else {
		s, err = o.of(ctx, args[0])
	}
	if err != nil {
		return err
	}
	return writeOut(o.out, std.out, func(w io.Writer) error { return form(w, s) })
}

// of makes the schedule of a job, with the sum of the last event in it.
func (o scheduleOptions) of(ctx context.Context, job string) (report.Schedule, error) {
	folder, err := o.data.folder()
	if err != nil {
		return report.Schedule{}, err
	}
	st, err := folder.OpenToRead(job)
	if err != nil {
		return report.Schedule{}, err
	}
	defer st.Close()
	noteFound(st.Found())
	state, err := jobs.Fold(ctx, st)
	if err != nil {
		return report.Schedule{}, err
	}
	s := report.Build(state)
	if state.LastID > 0 {
		s.Record.Sum, err = st.Sum(ctx, state.LastID)
	}
	return s, err
}
