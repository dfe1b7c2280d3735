// Package practice leads a newcomer through ten readings of a made-up board, with
// everything that a session has, and says how each was heard. Its record lies in a folder
// of its own that is removed at the end: it is never among the jobs.
//
// The screen shows what the instrument would, and the newcomer says it. So what is heard
// can be held against what was to be said, which no session at a board can do.
package practice

import (
	"context"
	_ "embed"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"time"

	"waycall/internal/audio"
	"waycall/internal/board"
	"waycall/internal/jobs"
	"waycall/internal/reading"
	"waycall/internal/record"
	"waycall/internal/say"
	"waycall/internal/sequence"
	"waycall/internal/session"
	"waycall/internal/store"
)

//go:embed board.yaml
var boardFile string

// shown is what the instrument shows, in the order of testing: two readings of each way,
// live and neutral to earth and live to neutral. They take in what is said in several ways,
// what sounds alike, and one that fails, which is read back in full.
var shown = []reading.Quantity{
	{Value: 999, Bound: reading.GreaterThan, Unit: reading.Megohm},
	{Value: 560, Bound: reading.Exactly, Unit: reading.Megohm},
	{Value: 542, Bound: reading.Exactly, Unit: reading.Megohm},
	{Value: 999, Bound: reading.GreaterThan, Unit: reading.Megohm},
	{Value: 315, Bound: reading.Exactly, Unit: reading.Megohm},
	{Value: 206, Bound: reading.Exactly, Unit: reading.Megohm},
	{Value: 14.2, Places: 1, Bound: reading.Exactly, Unit: reading.Megohm},
	{Value: 999, Bound: reading.GreaterThan, Unit: reading.Megohm},
	{Value: 50, Bound: reading.Exactly, Unit: reading.Megohm},
	{Value: 0.31, Places: 2, Bound: reading.Exactly, Unit: reading.Megohm}, // last, as it would ask for more tests
}

// Watcher shows a practice as it goes.
type Watcher interface {
	session.Watcher
	Stage(at, text string) // how far it is, and what the instrument shows
}

// Practice is what it needs. All fields must be set.
type Practice struct {
	Source audio.Source
	Ear    session.Ear
	Voice  say.Voice
	Player say.Player
	Watch  Watcher
}

// Run practises until all readings are stored, the newcomer finishes, the sound ends or
// ctx ends, and returns how the readings were heard. Where it ended early the error says
// so, or is the context's.
func (p Practice) Run(ctx context.Context) (Result, error) {
	dir, err := os.MkdirTemp("", "waycall-practice-")
	if err != nil {
		return Result{}, fmt.Errorf("practice: %w; make room in the folder for temporary files", err)
	}
	defer os.RemoveAll(dir)
	job, err := board.Read(strings.NewReader(boardFile), "the practice board")
	if err != nil {
		return Result{}, err
	}
	log, from, err := prepare(ctx, jobs.Folder(dir), job)
	if err != nil {
		return Result{}, err
	}
	defer log.Close()
	c := newCoach(p.Watch, from)
	s := session.Session{
		Source: coached{p.Source, c}, Ear: p.Ear, Voice: p.Voice, Player: p.Player, Log: log, Keeper: log, Watch: c, Now: time.Now, Practice: true,
	}
	end, err := s.Run(ctx, board.Job{}, from)
	result := c.result()
	if err != nil {
		return result, err
	}
	if n := result.Stored; n < len(shown) && !end.Finished {
		return result, fmt.Errorf("the sound ended after %d of %d readings; begin again with waycall practise", n, len(shown))
	}
	return result, p.speak(ctx, result.Spoken())
}

// speak says the last words.
func (p Practice) speak(ctx context.Context, text string) error {
	p.Watch.Speaking(text)
	words, err := p.Voice.Speak(say.Words(text), 0)
	if err != nil {
		return err
	}
	return p.Player.Play(ctx, words)
}

// prepare sets the job up as if all that comes before its first test was answered. It is
// said of a board that is not there, and thrown away with its record.
func prepare(ctx context.Context, folder jobs.Folder, job board.Job) (*store.Store, record.State, error) {
	at := time.Now()
	log, err := folder.Create(ctx, job, at)
	if err != nil {
		return nil, record.State{}, err
	}
	var done []record.Event
	for _, step := range sequence.Steps(job, job.Boards[0].Number) {
		id := step.ID
		if id == sequence.WholeFirst {
			id = sequence.WayByWay // one reading for the board would leave too few
		}
		if step.Back == "" && !step.Live {
			done = append(done, record.Event{ID: int64(len(done) + 2), At: at.UTC(), Kind: record.Prepared, Board: job.Boards[0].Number, Step: id, Answer: record.Done})
		}
	}
	if _, err = log.Append(ctx, done, nil); err == nil {
		var from record.State
		if from, err = jobs.Fold(ctx, log); err == nil {
			return log, from, nil
		}
	}
	return nil, record.State{}, errors.Join(err, log.Close())
}

// coached is a source that ends when all readings are stored.
type coached struct {
	audio.Source
	coach *coach
}

func (s coached) Next(ctx context.Context) (audio.Clip, error) {
	if s.coach.done() {
		return nil, io.EOF
	}
	return s.Source.Next(ctx)
}
