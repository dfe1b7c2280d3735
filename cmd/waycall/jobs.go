package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"text/tabwriter"
	"time"

	"github.com/spf13/cobra"

	"waycall/internal/board"
	"waycall/internal/plainfile"
	"waycall/internal/record"
	"waycall/internal/sequence"
	"waycall/internal/store"
	"waycall/internal/talk"
)

// jobFile is the ending of a job's file: a SQLite database.
const jobFile = ".waycall"

// dataFlag names the folder where jobs are kept.
type dataFlag struct{ dir string }

func (d *dataFlag) add(cmd *cobra.Command) {
	textSetting(cmd, &d.dir, "data")
}

// folder returns the folder for jobs, by the setting or the XDG base directory
// specification.
func (d *dataFlag) folder() (string, error) {
	if d.dir != "" {
		return d.dir, nil
	}
	if dir := os.Getenv("XDG_DATA_HOME"); filepath.IsAbs(dir) {
		return filepath.Join(dir, "waycall"), nil
	}
	home, err := os.UserHomeDir()
	if err != nil {
		return "", fmt.Errorf("where jobs are kept: %w; name a folder with --data", err)
	}
	return filepath.Join(home, ".local", "share", "waycall"), nil
}

// path returns the file of a job: the argument itself when it names one, else
// the job of that reference in the data folder.
func (d *dataFlag) path(job string) (string, error) {
	if strings.HasSuffix(job, jobFile) {
		return job, nil
	}
	if isBoardFile(job) {
		return "", usageError{fmt.Errorf("%s is a board file, not a job; waycall new %s sets a job up from it", job, job)}
	}
	if job == "" || strings.ContainsAny(job, "/\\\x00") || strings.HasPrefix(job, ".") {
		return "", usageError{fmt.Errorf("%q is not a job; give its reference, or the path of its %s file", job, jobFile)}
	}
	return d.file(job)
}

// file returns the file of the job with the reference in the data folder.
func (d *dataFlag) file(reference string) (string, error) {
	dir, err := d.folder()
	if err != nil {
		return "", err
	}
	return filepath.Join(dir, reference+jobFile), nil
}

// made returns the data folder and makes it if need be.
func (d *dataFlag) made() (string, error) {
	dir, err := d.folder()
	if err != nil {
		return "", err
	}
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return "", fmt.Errorf("folder for jobs: %w; name another with --data", err)
	}
	return dir, nil
}

// jobsIn lists the files of jobs in a folder, by their names; a folder that is not
// there has none.
func jobsIn(dir string) ([]string, error) {
	entries, err := os.ReadDir(dir)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	var files []string
	for _, e := range entries {
		if filepath.Ext(e.Name()) == jobFile {
			files = append(files, filepath.Join(dir, e.Name()))
		}
	}
	return files, nil
}

// jobOf returns the reference by which a job's file is named.
func jobOf(file string) string { return strings.TrimSuffix(filepath.Base(file), jobFile) }

// createJob makes the record of a job that a board file describes.
func (d *dataFlag) createJob(ctx context.Context, job board.Job) (*store.Store, error) {
	if _, err := d.made(); err != nil {
		return nil, err
	}
	path, err := d.file(job.Reference)
	if err != nil {
		return nil, err
	}
	s, err := store.Create(path)
	if err != nil {
		return nil, err
	}
	_, effects := talk.Step(talk.State{}, talk.Begin{At: time.Now(), Job: job})
	opened := effects[0].(talk.Append).Event
	if _, err := s.Append(ctx, []record.Event{opened}, nil); err != nil {
		s.Close()
		return nil, err
	}
	return s, nil
}

// open opens a job by its reference or file; how is store.Open or
// store.OpenReadOnly.
func (d *dataFlag) open(job string, how func(path string) (*store.Store, error)) (s *store.Store, path string, err error) {
	if path, err = d.path(job); err != nil {
		return nil, "", err
	}
	if s, err = how(path); errors.Is(err, fs.ErrNotExist) {
		err = fmt.Errorf("no job %s; waycall jobs lists them, waycall new sets one up", job)
	}
	return s, path, err
}

// readJob returns what is known of a job, without keeping others from it, and says on
// stderr what opening it found.
func (d *dataFlag) readJob(ctx context.Context, job string) (record.State, string, error) {
	state, found, path, err := d.readNoted(ctx, job)
	noteFound(found)
	return state, path, err
}

func fold(ctx context.Context, s *store.Store) (record.State, error) {
	log, err := s.Events(ctx)
	if err != nil {
		return record.State{}, err
	}
	return record.Fold(log)
}

func newNew() *cobra.Command {
	var (
		data   dataFlag
		ask    askFlags
		from   boardFrom
		ways   string
		asJSON bool
	)
	cmd := &cobra.Command{
		Use:   "new [BOARD.yaml]",
		Short: "Set up a job from a board file, or by asking",
		Long: `Reads the description of a job and its boards, checks it, and sets up the record.
testdata/boards/terrace.yaml and, of three boards, workshop.yaml are examples.
With --ways the ways of its one board come from a table, as a spreadsheet saves it
as CSV: a row of names, those of a board file (way, feeds, device.type, device.rating,
line), in any order, and a row for each way. The board file then has no ways.

Without a file it asks for what such a file says, question by question on the
terminal, checks each answer at once, and writes the file, REFERENCE.yaml or the one
named by --write. A board may be copied from another of the job or from an earlier
job. With --by-voice the ways are said instead, each read back and confirmed.

--board-from takes the boards from the JSON of an earlier job's schedule instead.
The sizes, lengths and devices are then as they were described, not as they are.`,
		Example: "  waycall new board.yaml\n  waycall new board.yaml --ways ways.csv\n  waycall new\n  waycall new --by-voice --write hall.yaml\n  waycall new --board-from schedule.json --reference TER-0108",
		Args:    from.args,
		RunE: func(cmd *cobra.Command, args []string) error {
			asks := ask.byVoice || ask.write != ""
			var job board.Job
			var err error
			switch {
			case ways != "" && len(args) == 0:
				return usageError{errors.New("--ways goes with a board file; name the one that says the rest")}
			case asks && (len(args) > 0 || from.path != ""):
				return usageError{errors.New("--by-voice and --write are for setting up by questions; leave the board file or --board-from out")}
			case from.path != "":
				job, err = from.job(time.Now())
			case len(args) == 0:
				return ask.run(cmd, &data)
			case ways != "":
				job, err = readWays(args[0], ways)
			default:
				job, err = readBoard(args[0])
			}
			if err != nil {
				return err
			}
			s, err := data.createJob(cmd.Context(), job)
			if errors.Is(err, fs.ErrExist) {
				return fmt.Errorf("job %s is set up already; waycall start %s goes on with it, or give this one another reference", job.Reference, job.Reference)
			}
			if err != nil {
				return err
			}
			defer s.Close()
			if asJSON {
				return printJSON(cmd.OutOrStdout(), jobLine{
					Reference: job.Reference, Boards: boardNames(job), Tests: sequence.Count(record.State{Job: job}).Tests,
					Changed: time.Now().UTC(), File: s.Path(),
				})
			}
			_, err = fmt.Fprintf(cmd.OutOrStdout(), "Job %s: %s. Its record is %s\nNext: waycall start %s\n",
				job.Reference, strings.Join(waysOf(job), "; "), s.Path(), job.Reference)
			return err
		},
	}
	data.add(cmd)
	ask.add(cmd)
	from.add(cmd)
	cmd.Flags().StringVar(&ways, "ways", "", "table of the ways of the board (.csv), which the board file leaves out")
	cmd.Flags().BoolVar(&asJSON, "json", false, "print JSON")
	return cmd
}

// readWays reads a board file whose ways come from a table.
func readWays(stub, table string) (board.Job, error) {
	b, err := plainfile.Open(stub)
	if err != nil {
		return board.Job{}, fmt.Errorf("board file: %w; check its name", err)
	}
	defer b.Close()
	t, err := plainfile.Open(table)
	if err != nil {
		return board.Job{}, fmt.Errorf("table of ways: %w; check its name", err)
	}
	defer t.Close()
	return board.ReadCSV(t, table, b, stub)
}

// boardNames returns the names of the boards of a job.
func boardNames(job board.Job) []string {
	names := []string{}
	for _, b := range job.Boards {
		names = append(names, b.Name)
	}
	return names
}

// waysOf returns each board with how many ways it has.
func waysOf(job board.Job) []string {
	var all []string
	for _, b := range job.Boards {
		ways := fmt.Sprintf("%d ways", len(b.Ways))
		if len(b.Ways) == 1 {
			ways = "1 way"
		}
		all = append(all, fmt.Sprintf("%s, %s", b.Name, ways))
	}
	return all
}

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

func newJobs() *cobra.Command {
	var (
		data     dataFlag
		archived bool
		asJSON   bool
	)
	cmd := &cobra.Command{
		Use:   "jobs",
		Short: "List the jobs, rename one, put one away, copy its boards",
		Args:  wantArgs(0, 0, "no arguments"),
		RunE: func(cmd *cobra.Command, args []string) error {
			dir, err := data.folder()
			if err != nil {
				return err
			}
			away := filepath.Join(dir, archiveFolder)
			if archived {
				dir = away
			}
			files, err := jobsIn(dir)
			if err != nil {
				return fmt.Errorf("folder for jobs: %w; name another with --data", err)
			}
			lines := []jobLine{}
			for _, file := range files {
				l := jobLine{Reference: jobOf(file), Boards: []string{}, File: file}
				s, _, _, err := data.readNoted(cmd.Context(), file)
				if err != nil {
					l.Problem = err.Error()
				} else {
					n := sequence.Count(s)
					l.Boards, l.Tests, l.Recorded, l.Finished, l.Changed = boardNames(s.Job), n.Tests, n.Recorded, s.Finished, s.LastAt
				}
				lines = append(lines, l)
			}
			if asJSON {
				return printJSON(cmd.OutOrStdout(), lines)
			}
			if !archived {
				defer func() {
					if put, _ := jobsIn(away); len(put) > 0 {
						fmt.Fprintf(cmd.OutOrStdout(), "Put away: %d; waycall jobs --archived lists them.\n", len(put))
					}
				}()
			}
			if len(lines) == 0 {
				_, err := fmt.Fprintf(cmd.OutOrStdout(), "No jobs in %s. waycall new BOARD.yaml sets one up.\n", dir)
				return err
			}
			w := tabwriter.NewWriter(cmd.OutOrStdout(), 0, 0, 2, ' ', 0)
			for _, l := range lines {
				if l.Problem != "" {
					fmt.Fprintf(w, "%s\tcannot be read: %s\n", l.Reference, l.Problem)
					continue
				}
				fmt.Fprintf(w, "%s\t%s\t%d of %d tests\t%s\n", l.Reference, strings.Join(l.Boards, "; "), l.Recorded, l.Tests, l.Changed.Local().Format("2006-01-02 15:04"))
			}
			return w.Flush()
		},
	}
	data.add(cmd)
	cmd.Flags().BoolVar(&archived, "archived", false, "list the jobs that were put away")
	cmd.Flags().BoolVar(&asJSON, "json", false, "print JSON")
	cmd.AddCommand(newJobsRename(), newJobsArchive(), newJobsBoard())
	return cmd
}
