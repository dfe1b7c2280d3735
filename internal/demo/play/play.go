// Package play plays the recorded demonstration through a session, with everything that
// a session at a board has but the microphone and the loudspeaker.
package play

import (
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"waycall/internal/audio"
	"waycall/internal/board"
	"waycall/internal/demo"
	"waycall/internal/jobs"
	"waycall/internal/record"
	"waycall/internal/say"
	"waycall/internal/session"
	"waycall/internal/store"
)

// New returns a player of a script; what is spoken on both sides goes onto the track.
func New(lines []demo.Line, track *audio.Recording) *Player {
	p := &Player{lines: lines, total: spoken(lines), track: track}
	p.source = p
	return p
}

func spoken(lines []demo.Line) int {
	n := 0
	for _, l := range lines {
		if l.Text != "" {
			n++
		}
	}
	return n
}

// Player speaks the electrician's lines: it is the microphone of the
// demonstration. What it gives while waycall listens goes onto the track too, so
// that the track holds both sides.
type Player struct {
	watch  Watcher
	source audio.Source // the player, or what shows its level
	track  *audio.Recording
	lines  []demo.Line
	at     int // the line that comes next
	said   int
	total  int
	clip   audio.Clip // what is left of the line being spoken
	file   string     // of the job
	spoke  readBacks
}

// Watcher watches a demonstration.
type Watcher interface {
	session.Watcher
	Begin(known record.State)
	Stage(at, text string) // how far it is, and what it is about to show
}

// gap is the quiet after a line, long enough to end a phrase, and a note. What is
// left of it when waycall answers is left out.
const gap = 1700 * time.Millisecond

// readBacks measures how long waycall speaks when it reads back, in brief form, a
// reading that passes and that nothing speaks against. It watches a session.
type readBacks struct {
	Watcher
	text  string
	facts []record.Event
	took  []time.Duration
}

func (r *readBacks) Speaking(text string) {
	r.text = text
	r.Watcher.Speaking(text)
}

func (r *readBacks) Stored(facts []record.Event) {
	r.facts = facts
	r.Watcher.Stored(facts)
}

func (r *readBacks) timed(t session.Timing) {
	read := slices.ContainsFunc(r.facts, func(e record.Event) bool { return e.Kind == record.Proposed })
	if read && !strings.HasSuffix(r.text, "Confirm?") { // in full it asks for the answer, too
		r.took = append(r.took, t.Speaks)
	}
	r.facts = nil
}

// String says how long, or nothing when nothing was read back in brief.
func (r *readBacks) String() string {
	if len(r.took) == 0 {
		return ""
	}
	slices.Sort(r.took)
	return fmt.Sprintf("Read back in brief, with the verdict and the tone: %d readings, %.2f s in the middle, %.2f s at most.\n",
		len(r.took), r.took[len(r.took)/2].Seconds(), r.took[len(r.took)-1].Seconds())
}

// Run plays the script, in as many sessions as it is cut into, on a job that it sets up
// in the folder, and returns what is known of the job then. source is the player itself,
// or what shows the level of what it gives.
func (p *Player) Run(ctx context.Context, folder jobs.Folder, job board.Job, e session.Ear, voice say.Voice, watch Watcher, source audio.Source) (record.State, error) {
	p.watch, p.source, p.file = watch, source, folder.File(job.Reference)
	var state record.State
	for p.at < len(p.lines) {
		log, err := p.open(ctx, folder, job)
		if err != nil {
			return state, err
		}
		state, err = p.session(ctx, log, e, voice)
		log.Close()
		if err != nil {
			return state, err
		}
	}
	return state, nil
}

func (p *Player) open(ctx context.Context, folder jobs.Folder, job board.Job) (*store.Store, error) {
	if p.at == 0 {
		return folder.Create(ctx, job, time.Now())
	}
	return store.Open(p.file)
}

// session runs until the script is cut or ends.
func (p *Player) session(ctx context.Context, log *store.Store, e session.Ear, voice say.Voice) (record.State, error) {
	from, err := jobs.Fold(ctx, log)
	if err != nil {
		return record.State{}, err
	}
	p.watch.Begin(from)
	p.spoke.Watcher = p.watch
	s := session.Session{
		Source: p.source, Ear: e, Voice: voice, Player: p, Log: log, Watch: &p.spoke, Now: time.Now, Timed: p.spoke.timed,
	}
	return s.Run(ctx, board.Job{}, from)
}

// Said returns how many phrases were spoken so far.
func (p *Player) Said() int { return p.said }

// ReadBacks says how long waycall took to read back in brief, with a line break, or
// nothing when nothing was.
func (p *Player) ReadBacks() string { return p.spoke.String() }

// Next gives the next of what the electrician says.
func (p *Player) Next(ctx context.Context) (audio.Clip, error) {
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	for len(p.clip) == 0 {
		if p.at == len(p.lines) {
			return nil, io.EOF
		}
		l := &p.lines[p.at]
		if l.Stage != "" {
			p.watch.Stage(fmt.Sprintf("%d of %d", p.said, p.total), l.Stage)
			l.Stage = ""
		}
		if l.Cut {
			l.Cut = false
			return nil, io.EOF
		}
		p.at++
		if l.Text != "" {
			p.said++
			p.clip = append(append(audio.Clip{}, l.Sound...), make(audio.Clip, int(gap.Seconds()*audio.Rate))...)
			l.Sound = nil // all of them are 12 MB
		}
	}
	n := min(audio.FrameSize, len(p.clip))
	frame := p.clip[:n:n]
	p.clip = p.clip[n:]
	return frame, p.track.Write(frame)
}

// Play puts what waycall says onto the track.
func (p *Player) Play(ctx context.Context, sound audio.Clip) error {
	return errors.Join(ctx.Err(), p.track.Write(sound))
}

// Discard leaves out what is left of the quiet after a line.
func (p *Player) Discard() { p.clip = nil }

// Close does nothing: the track is whose it was given by.
func (p *Player) Close() error { return nil }
