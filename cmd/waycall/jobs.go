package main

import (
	"context"
	"fmt"
	"io"
	"strings"
	"text/tabwriter"
	"time"

	"github.com/spf13/cobra"

	"waycall/internal/advice"
	"waycall/internal/board"
	"waycall/internal/command"
	"waycall/internal/jobs"
	"waycall/internal/screen"
	"waycall/internal/sequence"
)

// jobLine is one job in the list.
type jobLine struct {
	Reference string    `json:"reference"`
	Boards    []string  `json:"boards"` // their names
	Tests     int       `json:"tests"`
	Recorded  int       `json:"recorded"`
	Finished  bool      `json:"finished"`
	Changed   time.Time `json:"changed"`
	File      string    `json:"file"`
	Problem   string    `json:"problem,omitempty"` // why it cannot be read
}

// jobsOptions are the flags of waycall jobs.
type jobsOptions struct {
	data     dataFlag
	archived bool
	json     bool
}

func newJobs() *cobra.Command {
	var o jobsOptions
	cmd := &cobra.Command{
		Use:   "jobs",
		Short: "List the jobs, rename one, put one away, copy its boards",
		Args:  command.Args(0, 0, "no arguments"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return runJobs(cmd.Context(), streamsOf(cmd), o)
		},
	}
	o.data.add(cmd)
	cmd.Flags().BoolVar(&o.archived, "archived", false, "list the jobs that were put away")
	cmd.Flags().BoolVar(&o.json, "json", false, "print JSON")
	cmd.AddCommand(newJobsRename(), newJobsArchive(), newJobsBoard())
	return cmd
}

func runJobs(ctx context.Context, std streams, o jobsOptions) error {
	folder, err := o.data.folder()
	if err != nil {
		return err
	}
	away := folder.Archive()
	if o.archived {
		folder = away
	}
	lines, err := jobLines(ctx, folder)
	if err != nil {
		return err
	}
	if o.json {
		return screen.Print(std.out, lines)
	}
	if err := writeJobs(std.out, folder, lines); err != nil || o.archived {
		return err
	}
	if put, _ := away.List(); len(put) > 0 {
		_, err = fmt.Fprintf(std.out, "Put away: %d; waycall jobs --archived lists them.\n", len(put))
	}
	return err
}

// jobLines looks at every job in a folder.
func jobLines(ctx context.Context, folder jobs.Folder) ([]jobLine, error) {
	files, err := folder.List()
	if err != nil {
		return nil, advice.Errorf("name another with --data", "folder for jobs: %w", err)
	}
	lines := []jobLine{}
	for _, file := range files {
		l := jobLine{Reference: jobs.Name(file), Boards: []string{}, File: file}
		known, err := folder.Read(ctx, file)
		if err != nil {
			l.Problem = err.Error()
		} else {
			s, n := known.State, sequence.Count(known.State)
			l.Boards, l.Tests, l.Recorded, l.Finished, l.Changed = s.Job.BoardNames(), n.Tests, n.Recorded, s.Finished, s.LastAt
		}
		lines = append(lines, l)
	}
	return lines, nil
}

func writeJobs(out io.Writer, folder jobs.Folder, lines []jobLine) error {
	if len(lines) == 0 {
		_, err := fmt.Fprintf(out, "No jobs in %s. waycall new BOARD.yaml sets one up.\n", folder)
		return err
	}
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	for _, l := range lines {
		if l.Problem != "" {
			fmt.Fprintf(w, "%s\tcannot be read: %s\n", l.Reference, l.Problem)
			continue
		}
		fmt.Fprintf(w, "%s\t%s\t%d of %d tests\t%s\n", l.Reference, strings.Join(l.Boards, "; "), l.Recorded, l.Tests, l.Changed.Local().Format("2006-01-02 15:04"))
	}
	return w.Flush()
}

func newJobsRename() *cobra.Command {
	var data dataFlag
	cmd := &cobra.Command{
		Use:   "rename JOB NAME",
		Short: "Call a job by another name",
		Long: `Gives the file of a job another name, by which waycall finds it from then on. The
reference in the record, and on the schedule, stays as it was recorded.`,
		Args: command.Args(2, 2, "one job and its new name"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return runJobsRename(streamsOf(cmd), data, args[0], args[1])
		},
	}
	data.add(cmd)
	return cmd
}

func runJobsRename(std streams, data dataFlag, from, to string) error {
	folder, err := data.folder()
	if err != nil {
		return err
	}
	path, err := folder.Rename(from, to)
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(std.out, "Job %s is now called %s. Its record is %s\n", from, to, path)
	return err
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
		Args: command.Args(1, 1, "one job"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return runJobsArchive(streamsOf(cmd), data, back, args[0])
		},
	}
	data.add(cmd)
	cmd.Flags().BoolVar(&back, "back", false, "fetch a job back that was put away")
	return cmd
}

// runJobsArchive puts a job away, or fetches it back.
func runJobsArchive(std streams, data dataFlag, back bool, job string) error {
	folder, err := data.folder()
	if err != nil {
		return err
	}
	move, done := folder.PutAway, "put away"
	if back {
		move, done = folder.Fetch, "back"
	}
	path, err := move(job)
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(std.out, "Job %s is %s. Its record is %s\n", job, done, path)
	return err
}

func newJobsBoard() *cobra.Command {
	var data dataFlag
	cmd := &cobra.Command{
		Use:   "board JOB",
		Short: "Print the board file of a job, to set up another like it",
		Long: `Prints the description of a job as a board file. Give it another reference, and
change what is different; waycall new then sets that job up.`,
		Example: "  waycall jobs board TER-0107 >next.yaml",
		Args:    command.Args(1, 1, "one job"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return runJobsBoard(cmd.Context(), streamsOf(cmd), data, args[0])
		},
	}
	data.add(cmd)
	return cmd
}

func runJobsBoard(ctx context.Context, std streams, data dataFlag, job string) error {
	known, err := data.read(ctx, job)
	if err != nil {
		return err
	}
	return board.Write(std.out, known.State.Job)
}
