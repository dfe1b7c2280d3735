package main

// waycall new where it asks: question by question on the terminal, or by voice.

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
	"waycall/internal/board"
	"waycall/internal/command"
	"waycall/internal/hear"
	"waycall/internal/newjob"
	"waycall/internal/screen"
)

// askOptions are the flags of waycall new where it asks.
type askOptions struct {
	desk    deskFlags
	byVoice bool
	write   string
}

func (o *askOptions) add(cmd *cobra.Command) {
	o.desk.add(cmd)
	cmd.Flags().BoolVar(&o.byVoice, "by-voice", false, "say the ways of each board instead of typing them")
	cmd.Flags().StringVar(&o.write, "write", "", "board file to write (default: REFERENCE.yaml here)")
}

// runAsk asks for a job and writes its board file.
func runAsk(ctx context.Context, std streams, o askOptions, data dataFlag) error {
	in, isFile := std.in.(*os.File)
	if !isFile || !term.IsTerminal(int(in.Fd())) {
		return command.UsageError{Err: errors.New("waycall new asks questions, and there is no terminal to answer them; give a board file, such as testdata/boards/terrace.yaml")}
	}
	if o.write != "" {
		if err := target(o.write); err != nil {
			return err
		}
	}
	instruments, err := data.register()
	if err != nil {
		return err
	}
	known, err := data.knownTo(ctx)
	if err != nil {
		return err
	}
	if known.Instruments, err = instruments.List(); err != nil {
		return err
	}
	job, err := newjob.Wizard(newjob.Stoppable(ctx, in), std.out, known, !o.byVoice)
	if ctx.Err() != nil {
		return ctx.Err()
	}
	if err != nil {
		return err
	}
	if o.byVoice {
		if job, err = o.listen(ctx, std, job); err != nil {
			return err
		}
	}
	path := o.write
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
		fmt.Fprintf(std.err, "waycall: %v\n", err) // the board file is what was asked for
	}
	_, err = fmt.Fprintf(std.out, "\nWritten: %s (%s). Look it over; it is plain text.\nNext: waycall start %s\n", path, strings.Join(waysOf(job), "; "), path)
	return err
}

// knownTo returns what the questions know of earlier jobs; the instruments are not in it.
func (d *dataFlag) knownTo(ctx context.Context) (newjob.Known, error) {
	folder, err := d.folder()
	return newjob.Known{
		Today: time.Now().Format(time.DateOnly),
		Taken: func(reference string) bool {
			_, err := os.Lstat(folder.File(reference))
			return err == nil
		},
		Job: func(name string) (board.Job, error) {
			known, err := d.read(ctx, name)
			return known.State.Job, err
		},
	}, err
}

// writeNew writes a board file that is not there yet, whole or not at all. It names
// people and an address.
func writeNew(path string, text []byte) error {
	err := writeFile(path, 0o600, true, func(w io.Writer) error { _, err := w.Write(text); return err })
	switch {
	case err == nil || errors.As(err, new(command.UsageError)):
		return err
	case errors.Is(err, fs.ErrExist):
		return fmt.Errorf("board file %s is there already, and stays as it was; name another with --write", path)
	}
	return fmt.Errorf("board file was not written: %w; or name another with --write", err)
}

// listen has the ways of the boards said.
func (o askOptions) listen(ctx context.Context, std streams, job board.Job) (board.Job, error) {
	d, err := o.desk.open(setupGrammar, nil)
	if err != nil {
		return job, err
	}
	defer d.Close()
	show := screen.New(std.out)
	return newjob.Listen(ctx, newjob.Room{
		Source: d.source, Ear: d.ear, Voice: d.voice, Player: d.player, Said: show.Speaking,
		Heard: func(h hear.Heard) { show.Heard(h) }, TooLong: func(p audio.Phrase) { show.TooLong(p.Sound.Duration()) },
	}, job)
}
