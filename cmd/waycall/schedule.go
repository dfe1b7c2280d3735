package main

import (
	"context"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"waycall/internal/plainfile"
	"waycall/internal/report"
	"waycall/internal/report/paper"
	"waycall/internal/report/plaintext"
	"waycall/internal/report/spreadsheet"
	"waycall/internal/store"
)

func newSchedule() *cobra.Command {
	var (
		data   dataFlag
		format string
		out    string
		from   string
		schema bool
	)
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
			if from != "" || schema {
				return wantArgs(0, 0, "no job beside --from or --schema")(cmd, args)
			}
			return wantArgs(1, 1, "one job")(cmd, args)
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			if schema {
				return writeOut(out, cmd.OutOrStdout(), func(w io.Writer) error { _, err := w.Write(report.Schema()); return err })
			}
			var form func(io.Writer, report.Schedule) error
			switch format {
			case "text":
				form = plaintext.Write
			case "csv":
				form = spreadsheet.CSV
			case "json":
				form = report.Write
			case "pdf":
				form = paper.Write
			case "xlsx":
				form = spreadsheet.XLSX
			default:
				return usageError{fmt.Errorf("--format is %q; give text, csv, json, pdf or xlsx", format)}
			}
			if out != "" {
				if err := target(out); err != nil {
					return err
				}
			}
			if out == "" && (format == "pdf" || format == "xlsx") {
				return usageError{fmt.Errorf("--format %s is not for a screen; name a file with --out", format)}
			}
			var s report.Schedule
			var err error
			if from != "" {
				s, err = readSchedule(from)
			} else {
				s, err = data.schedule(cmd.Context(), args[0])
			}
			if err != nil {
				return err
			}
			return writeOut(out, cmd.OutOrStdout(), func(w io.Writer) error { return form(w, s) })
		},
	}
	data.add(cmd)
	cmd.Flags().StringVar(&format, "format", "text", "text, csv, json, pdf or xlsx")
	cmd.Flags().BoolFunc("json", "the same as --format json", func(string) error { format = "json"; return nil })
	cmd.Flags().StringVar(&out, "out", "", "write to this file instead of printing")
	cmd.Flags().StringVar(&from, "from", "", "make it from this JSON of a schedule instead of a job")
	cmd.Flags().BoolVar(&schema, "schema", false, "print the JSON Schema of the JSON")
	return cmd
}

// writeOut writes to the file out, whole or not at all, or without one to stdout.
func writeOut(out string, stdout io.Writer, write func(io.Writer) error) error {
	if out == "" {
		return write(stdout)
	}
	return writeFile(out, 0o644, false, write)
}

// readSchedule reads the JSON of a schedule.
func readSchedule(path string) (report.Schedule, error) {
	f, err := plainfile.Open(path)
	if err != nil {
		return report.Schedule{}, fmt.Errorf("schedule: %w; check its name", err)
	}
	defer f.Close()
	s, err := report.Read(f)
	if err != nil {
		return s, fmt.Errorf("schedule %s: %w", path, err)
	}
	return s, nil
}

// schedule makes the schedule of a job, with the sum of the last event in it.
func (d *dataFlag) schedule(ctx context.Context, job string) (report.Schedule, error) {
	st, _, err := d.open(job, store.OpenReadOnly)
	if err == nil {
		noteFound(st.Found())
	}
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
