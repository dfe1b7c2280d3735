package main

import (
	"fmt"
	"time"

	"github.com/spf13/cobra"

	"waycall/internal/board"
)

// boardFrom sets up a job on the boards of one that was exported: what is on the
// wall is the same, the visit is another.
type boardFrom struct {
	path, reference, date, tester, serial, checked string
}

func (b *boardFrom) add(cmd *cobra.Command) {
	f := cmd.Flags()
	f.StringVar(&b.path, "board-from", "", "take the boards from this JSON of a schedule, of an earlier job; needs --reference")
	f.StringVar(&b.reference, "reference", "", "of the new job")
	f.StringVar(&b.date, "date", "", "of the new job, as 2026-03-14 (default: today)")
	f.StringVar(&b.tester, "tester", "", "initials (default: those of the earlier job)")
	f.StringVar(&b.serial, "instrument", "", "serial number of the instrument (default: that of the earlier job)")
	f.StringVar(&b.checked, "checked", "", "date of the instrument's last calibration check (default: that of the earlier job)")
}

// args says what arguments new takes.
func (b *boardFrom) args(cmd *cobra.Command, args []string) error {
	if b.path == "" {
		for _, name := range []string{"reference", "date", "tester", "instrument", "checked"} {
			if cmd.Flags().Changed(name) {
				return usageError{fmt.Errorf("--%s goes with --board-from; a board file says it itself", name)}
			}
		}
		return wantArgs(0, 1, "one board file, or nothing")(cmd, args)
	}
	if b.reference == "" {
		return usageError{fmt.Errorf("--board-from needs --reference; give the new job its own")}
	}
	return wantArgs(0, 0, "no board file beside --board-from")(cmd, args)
}

// job returns the new job. today is the date it has when none was given.
func (b *boardFrom) job(today time.Time) (board.Job, error) {
	s, err := readSchedule(b.path)
	if err != nil {
		return board.Job{}, err
	}
	if s.Setup == nil {
		return board.Job{}, fmt.Errorf("schedule %s has no boards, as it was made before the job was set up; give another", b.path)
	}
	job := *s.Setup
	job.Reference, job.Date = b.reference, today.Format("2006-01-02")
	for _, f := range []struct {
		given string
		to    *string
	}{{b.date, &job.Date}, {b.tester, &job.Tester}, {b.serial, &job.Instrument.Serial}, {b.checked, &job.Instrument.Checked}} {
		if f.given != "" {
			*f.to = f.given
		}
	}
	job.Edition = "" // the new job is judged by the edition in force
	return board.Complete(job, b.path)
}
