package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"waycall/grammar"
	"waycall/internal/audio"
	"waycall/internal/command"
	"waycall/internal/hear"
	"waycall/internal/jobs"
	"waycall/internal/phrase"
	"waycall/internal/reading"
	"waycall/internal/screen"
	"waycall/internal/sequence"
	"waycall/internal/session"
	"waycall/internal/waymark"
)

// hearOptions are the flags of waycall hear.
type hearOptions struct {
	ear       earFlags
	json      bool
	board     string
	due       string
	words     string
	overRange float64
}

func newHear() *cobra.Command {
	var o hearOptions
	cmd := &cobra.Command{
		Use:   "hear {FILE... | --words TEXT}",
		Short: "Say what is understood in sound files, one phrase each",
		Long: `Hears WAV or FLAC files of any rate, one phrase in each, and says what was
understood. Without --board, ways 1 to 24 and every test are possible. With --words
nothing is heard: the words are taken as heard for certain, so that one can try what may
be said and what it means. Nothing is stored by either.`,
		Example: `  waycall hear --json phrase.wav
  waycall hear --board board.yaml --due 3:LN-E phrase.flac
  waycall hear --json --words "way three, live to earth, over range"`,
		Args: func(cmd *cobra.Command, args []string) error {
			if cmd.Flags().Changed("words") {
				return command.Args(0, 0, "sound files or --words, not both")(cmd, args)
			}
			return command.Args(1, 1<<20, "at least one sound file, or --words")(cmd, args)
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			if cmd.Flags().Changed("words") {
				return runWords(streamsOf(cmd), o)
			}
			return runHear(cmd.Context(), streamsOf(cmd), o, args)
		},
	}
	o.ear.add(cmd)
	cmd.Flags().BoolVar(&o.json, "json", false, "print one JSON object a line")
	cmd.Flags().StringVar(&o.board, "board", "", "board file that says which ways and tests exist")
	cmd.Flags().StringVar(&o.due, "due", "", "test that is due, as WAY:TEST, such as 3:LN-E")
	cmd.Flags().StringVar(&o.words, "words", "", "what these words mean, in place of a sound")
	cmd.Flags().Float64Var(&o.overRange, "over-range", 999, "end of the insulation tester's scale, Mohm, when no board is given")
	return cmd
}

func runHear(ctx context.Context, std streams, o hearOptions, files []string) error {
	place, err := readPlace(o.board, o.due, o.overRange)
	if err != nil {
		return err
	}
	// Opening the recognisers takes a second: not for names that are wrong.
	if !slices.ContainsFunc(files, isFile) {
		return fmt.Errorf("no sound file %s; check the name", strings.Join(files, ", "))
	}
	e, closeEar, err := o.ear.open(sessionGrammar)
	if err != nil {
		return err
	}
	defer closeEar()
	if err := e.Prepare(place.scope); err != nil {
		return err
	}
	var failed error
	for _, file := range files {
		if err := ctx.Err(); err != nil {
			return err
		}
		line, err := hearFile(e, place, file)
		if err != nil {
			// One bad file does not keep the others from being heard.
			complain(err)
			failed = errors.New("not every file could be heard; see above")
			continue
		}
		if err := o.print(std, line); err != nil {
			return err
		}
	}
	return failed
}

// runWords says what a text means.
func runWords(std streams, o hearOptions) error {
	place, err := readPlace(o.board, o.due, o.overRange)
	if err != nil {
		return err
	}
	text, err := hear.Typed(o.words)
	if err != nil {
		return command.UsageError{Err: fmt.Errorf("--words: %w", err)}
	}
	g, err := phrase.LoadNamed(grammar.Files, sessionGrammar)
	if err != nil {
		return err
	}
	h, why := hear.Words(g, place.scope, text)
	line := screen.NoPhrase("")
	line.Note = why
	line.Fill(h, place.way, place.test, place.overRange)
	return o.print(std, line)
}

func (o hearOptions) print(std streams, line screen.Phrase) error {
	if o.json {
		return screen.Print(std.out, line)
	}
	return line.Write(std.out)
}

func isFile(name string) bool {
	_, err := os.Stat(name)
	return err == nil
}

// place is where phrases are heard: the scope, the slot that a value on its own
// belongs to, and the end of the instrument's scale.
type place struct {
	scope     phrase.Scope
	way       int
	test      reading.Test
	overRange float64
}

func readPlace(boardFile, due string, overRange float64) (place, error) {
	p := place{overRange: overRange}
	if err := (reading.Quantity{Value: overRange, Bound: reading.GreaterThan}).Check(); err != nil || overRange == 0 {
		return p, command.UsageError{Err: fmt.Errorf("--over-range is %v; give the end of the instrument's scale in Mohm", overRange)}
	}
	if boardFile != "" {
		job, err := jobs.ReadBoard(boardFile)
		if err != nil {
			return p, err
		}
		p.scope, p.overRange = session.Scope(job, sequence.Boards(job)[0]), job.Instrument.OverRange
	}
	if due == "" {
		return p, nil
	}
	way, test, ok := strings.Cut(due, ":")
	n, err := waymark.Parse(way)
	t, testErr := reading.ParseTest(test)
	if !ok || err != nil || testErr != nil {
		return p, command.UsageError{Err: fmt.Errorf("--due is %q; give a way and a test, such as 3:LN-E", due)}
	}
	if tests, exists := p.scope.Ways[n]; p.scope.Ways != nil && (!exists || !slices.Contains(tests, t)) {
		return p, command.UsageError{Err: fmt.Errorf("--due %s: way %s of %s has no such test; see the board file", due, waymark.Print(n), boardFile)}
	}
	p.way, p.test = n, t
	p.scope.Here, p.scope.Unit, p.scope.Due = n, t.Unit(), t
	return p, nil
}

func hearFile(e *hear.Ear, p place, file string) (screen.Phrase, error) {
	line := screen.NoPhrase(file)
	clip, err := audio.ReadFile(file)
	if err != nil {
		if clip == nil {
			return line, err
		}
		line.Note = err.Error() // damaged but usable
	}
	line.AudioMS = screen.MS(clip.Duration())
	start := time.Now()
	h, note, err := session.HearClip(e, p.scope, clip)
	if err != nil {
		return line, fmt.Errorf("%s: %w", file, err)
	}
	line.MS = screen.MS(time.Since(start))
	if note != "" {
		line.Note = note
	}
	line.Fill(h, p.way, p.test, p.overRange)
	return line, nil
}
