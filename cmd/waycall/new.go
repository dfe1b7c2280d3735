package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"golang.org/x/term"

	"waycall/internal/audio"
	"waycall/internal/audio/mic"
	"waycall/internal/board"
	"waycall/internal/hear"
	"waycall/internal/say/espeak"
	"waycall/internal/say/speaker"
	"waycall/internal/setup"
)

// askFlags are the flags of waycall new where it asks.
type askFlags struct {
	ear     earFlags
	byVoice bool
	write   string
	mic     string
	speaker string
	wpm     int
}

func (f *askFlags) add(cmd *cobra.Command) {
	f.ear.add(cmd)
	cmd.Flags().BoolVar(&f.byVoice, "by-voice", false, "say the ways of each board instead of typing them")
	cmd.Flags().StringVar(&f.write, "write", "", "board file to write (default: REFERENCE.yaml here)")
	textSetting(cmd, &f.mic, "mic")
	textSetting(cmd, &f.speaker, "speaker")
	numberSetting(cmd, &f.wpm, "speech-rate")
}

// run asks for a job and writes its board file.
func (f *askFlags) run(cmd *cobra.Command, data *dataFlag) error {
	in, isFile := cmd.InOrStdin().(*os.File)
	if !isFile || !term.IsTerminal(int(in.Fd())) {
		return usageError{errors.New("waycall new asks questions, and there is no terminal to answer them; give a board file, such as testdata/boards/terrace.yaml")}
	}
	if f.write != "" {
		if err := target(f.write); err != nil {
			return err
		}
	}
	instruments, err := data.register()
	if err != nil {
		return err
	}
	known := setup.Known{
		Today: time.Now().Format(time.DateOnly),
		Taken: func(reference string) bool {
			path, err := data.file(reference)
			if err == nil {
				_, err = os.Lstat(path)
			}
			return err == nil
		},
		Job: func(name string) (board.Job, error) {
			state, _, err := data.readJob(cmd.Context(), name)
			return state.Job, err
		},
	}
	if known.Instruments, err = instruments.List(); err != nil {
		return err
	}
	out := cmd.OutOrStdout()
	job, err := setup.Wizard(stoppable{cmd.Context(), in}, out, known, !f.byVoice)
	if cmd.Context().Err() != nil {
		return cmd.Context().Err()
	}
	if err != nil {
		return err
	}
	if f.byVoice {
		if job, err = f.listen(cmd, job); err != nil {
			return err
		}
	}
	path := f.write
	if path == "" {
		path = job.Reference + ".yaml"
	}
	var text bytes.Buffer
	if err := board.Write(&text, job); err != nil {
		return err
	}
	if err := writeNew(path, text.Bytes()); err != nil {
		return err
	}
	if err := instruments.Put(job.Instrument); err != nil {
		fmt.Fprintf(cmd.ErrOrStderr(), "waycall: %v\n", err) // the board file is what was asked for
	}
	_, err = fmt.Fprintf(out, "\nWritten: %s (%s). Look it over; it is plain text.\nNext: waycall start %s\n", path, strings.Join(waysOf(job), "; "), path)
	return err
}

// stoppable is an input that ends with its context.
type stoppable struct {
	ctx context.Context
	in  io.Reader
}

func (s stoppable) Read(b []byte) (int, error) {
	type got struct {
		n   int
		err error
	}
	read := make(chan got, 1)
	own := make([]byte, len(b))
	go func() {
		n, err := s.in.Read(own)
		read <- got{n, err}
	}()
	select {
	case <-s.ctx.Done():
		return 0, s.ctx.Err()
	case g := <-read:
		return copy(b, own[:g.n]), g.err
	}
}

// writeNew writes a board file that is not there yet, whole or not at all. It names
// people and an address.
func writeNew(path string, text []byte) error {
	err := writeFile(path, 0o600, true, func(w io.Writer) error { _, err := w.Write(text); return err })
	switch {
	case err == nil || errors.As(err, new(usageError)):
		return err
	case errors.Is(err, fs.ErrExist):
		return fmt.Errorf("board file %s is there already, and stays as it was; name another with --write", path)
	}
	return fmt.Errorf("board file was not written: %w; or name another with --write", err)
}

// listen has the ways of the boards said.
func (f *askFlags) listen(cmd *cobra.Command, job board.Job) (board.Job, error) {
	e, _, closeEar, err := f.ear.openNamed("setup")
	if err != nil {
		return job, err
	}
	defer closeEar()
	voice, err := espeak.Open(f.wpm)
	if err != nil {
		return job, err
	}
	loud, err := speaker.Open(f.speaker)
	if err != nil {
		return job, err
	}
	defer loud.Close()
	source, err := mic.Open(f.mic)
	if err != nil {
		return job, err
	}
	defer source.Close()
	show := newScreen(cmd.OutOrStdout())
	return setup.Listen(cmd.Context(), setup.Room{
		Source: source, Ear: e, Voice: voice, Player: loud, Said: show.Speaking,
		Heard: func(h hear.Heard) { show.Heard(h) }, TooLong: func(p audio.Phrase) { show.TooLong(p.Sound.Duration()) },
	}, job)
}

func newJobsBoard() *cobra.Command {
	var data dataFlag
	cmd := &cobra.Command{
		Use:   "board JOB",
		Short: "Print the board file of a job, to set up another like it",
		Long: `Prints the description of a job as a board file. Give it another reference, and
change what is different; waycall new then sets that job up.`,
		Example: "  waycall jobs board TER-0107 >next.yaml",
		Args:    wantArgs(1, 1, "one job"),
		RunE: func(cmd *cobra.Command, args []string) error {
			state, _, err := data.readJob(cmd.Context(), args[0])
			if err != nil {
				return err
			}
			return board.Write(cmd.OutOrStdout(), state.Job)
		},
	}
	data.add(cmd)
	return cmd
}
