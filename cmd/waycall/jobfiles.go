package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strings"

	"github.com/spf13/cobra"

	"waycall/internal/board"
	"waycall/internal/store"
)

// archiveFolder is the folder below that of the jobs for those that are put away.
const archiveFolder = "archive"

// jobName is what a job may be called here: a reference, as board files have it.
var jobName = regexp.MustCompile(`^[A-Za-z0-9_][A-Za-z0-9_.-]{0,63}$`)

// named returns the file of a job with the name in the data folder, which may be
// one that is still to come.
func (d *dataFlag) named(name string) (string, error) {
	if !jobName.MatchString(name) || strings.HasSuffix(name, jobFile) {
		return "", usageError{fmt.Errorf("%q cannot name a job; use up to 64 letters, figures, hyphens, underscores and points, beginning with a letter or figure", name)}
	}
	return d.file(name)
}

// namedAnew is named for a name that a job is yet to be given.
func (d *dataFlag) namedAnew(name string) (string, error) {
	path, err := d.named(name)
	if err == nil && board.CheckReference(name) != nil {
		err = usageError{fmt.Errorf("%q cannot name a job, as it ends like the name of a file; leave the end off", name)}
	}
	return path, err
}

// archived returns where a job is when it is put away.
func (d *dataFlag) archived(name string) (string, error) {
	path, err := d.named(name)
	return filepath.Join(filepath.Dir(path), archiveFolder, filepath.Base(path)), err
}

// move moves the file of a job, and says so in the user's words.
func (d *dataFlag) move(cmd *cobra.Command, job, from, to, done string) error {
	err := store.Move(from, to)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return fmt.Errorf("no job %s there; waycall jobs lists them, waycall jobs --archived those put away", job)
	case errors.Is(err, fs.ErrExist):
		return fmt.Errorf("there is a job in %s already; choose another name", to)
	case err != nil:
		return err
	}
	_, err = fmt.Fprintf(cmd.OutOrStdout(), "%s Its record is %s\n", done, to)
	return err
}

func newJobsRename() *cobra.Command {
	var data dataFlag
	cmd := &cobra.Command{
		Use:   "rename JOB NAME",
		Short: "Call a job by another name",
		Long: `Gives the file of a job another name, by which waycall finds it from then on. The
reference in the record, and on the schedule, stays as it was recorded.`,
		Args: wantArgs(2, 2, "one job and its new name"),
		RunE: func(cmd *cobra.Command, args []string) error {
			from, err := data.named(args[0])
			if err != nil {
				return err
			}
			to, err := data.namedAnew(args[1])
			if err != nil {
				return err
			}
			return data.move(cmd, args[0], from, to, fmt.Sprintf("Job %s is now called %s.", args[0], args[1]))
		},
	}
	data.add(cmd)
	return cmd
}

func newJobsArchive() *cobra.Command {
	var (
		data dataFlag
		back bool
	)
	cmd := &cobra.Command{
		Use:   "archive JOB",
		Short: "Put a job away, or fetch it back",
		Long: `Moves a job into the folder archive below that of the jobs, where waycall jobs
--archived lists it. Nothing is deleted. --back fetches it.`,
		Args: wantArgs(1, 1, "one job"),
		RunE: func(cmd *cobra.Command, args []string) error {
			here, err := data.named(args[0])
			if err != nil {
				return err
			}
			there, err := data.archived(args[0])
			if err != nil {
				return err
			}
			if back {
				return data.move(cmd, args[0], there, here, fmt.Sprintf("Job %s is back.", args[0]))
			}
			if _, err := os.Stat(here); err == nil { // else there is nothing to put away
				if err := os.MkdirAll(filepath.Dir(there), 0o700); err != nil {
					return fmt.Errorf("folder for archived jobs: %w; make room or name another folder with --data", err)
				}
			}
			err = data.move(cmd, args[0], here, there, fmt.Sprintf("Job %s is put away.", args[0]))
			if err != nil {
				os.Remove(filepath.Dir(there)) // where it is empty: it was made for nothing
			}
			return err
		},
	}
	data.add(cmd)
	cmd.Flags().BoolVar(&back, "back", false, "fetch a job back that was put away")
	return cmd
}
