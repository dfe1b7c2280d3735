package session

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"strings"
	"testing"
	"time"

	"waycall/grammar"
	"waycall/internal/audio"
	"waycall/internal/board"
	"waycall/internal/hear"
	"waycall/internal/phrase"
	"waycall/internal/reading"
	"waycall/internal/record"
	"waycall/internal/say"
	"waycall/internal/store"
)

// ear hears the phrases it is given, one for each sound, and notes the scopes.
type ear struct {
	t      *testing.T
	g      *phrase.Grammar
	say    []string
	scopes []phrase.Scope
	err    error
}

func (e *ear) Prepare(phrase.Scope) error { return nil }

func (e *ear) Hear(s phrase.Scope, sound []float32) (hear.Heard, error) {
	e.scopes = append(e.scopes, s)
	if e.err != nil {
		return hear.Heard{}, e.err
	}
	if len(e.say) == 0 {
		e.t.Fatal("more was heard than was said")
	}
	text := e.say[0]
	e.say = e.say[1:]
	h := hear.Heard{Outcome: hear.None, Agreed: true, Words: map[string]string{"test": text}}
	m, ok := e.g.Meaning(text)
	if !ok {
		return h, nil
	}
	h.Outcome = hear.Reading
	if m.Command != "" {
		h.Outcome = hear.Command
	}
	if !e.g.Narrow(s).Accepts(text) {
		h.Outcome = hear.Misplaced
	}
	h.Candidates = []hear.Candidate{{Text: text, Meaning: m}}
	return h, nil
}

// log is a record in memory that can fail.
type log struct {
	events []record.Event
	sounds map[int64]int // bytes of sound by event
	fail   error
}

func (l *log) Append(_ context.Context, batch []record.Event, sound []byte) ([]record.Event, error) {
	if l.fail != nil {
		return nil, l.fail
	}
	for _, e := range batch {
		if e.Kind == record.Heard {
			l.sounds[e.ID] = len(sound)
		}
	}
	l.events = append(l.events, batch...)
	return batch, nil
}

type voice struct{ said []string }

func (v *voice) Speak(text string) (audio.Clip, error) {
	v.said = append(v.said, text)
	return make(audio.Clip, 800), nil
}

type watcher struct {
	talk    int
	tooLong int
}

func (w *watcher) Speaking(string)       {}
func (w *watcher) Listening()            {}
func (w *watcher) Stored([]record.Event) {}
func (w *watcher) TooLong(time.Duration) { w.tooLong++ }
func (w *watcher) Heard(h hear.Heard) {
	if h.Outcome == hear.None {
		w.talk++
	}
}

// tone stands for a phrase: loud for a while, then quiet.
func tone(d time.Duration) audio.Clip {
	c := make(audio.Clip, int((d+time.Second).Seconds()*audio.Rate))
	for i := range int(d.Seconds() * audio.Rate) {
		t := float64(i) / audio.Rate
		c[i] = float32(0.3 * math.Sin(2*math.Pi*300*t) * (0.6 + 0.4*math.Sin(2*math.Pi*5*t)))
	}
	return c
}

// brokenSource gives its clips and then an error.
type brokenSource struct {
	audio.Source
	err error
}

func (b *brokenSource) Next(ctx context.Context) (audio.Clip, error) {
	f, err := b.Source.Next(ctx)
	if errors.Is(err, io.EOF) {
		err = b.err
	}
	return f, err
}

type rig struct {
	Session
	ear   *ear
	log   *log
	voice *voice
	watch *watcher
	job   board.Job
}

func newRig(t *testing.T, said ...string) *rig {
	t.Helper()
	g, err := phrase.Load(grammar.Files)
	if err != nil {
		t.Fatal(err)
	}
	f, err := os.Open("../../testdata/boards/terrace.yaml")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	job, err := board.Read(f, "terrace.yaml")
	if err != nil {
		t.Fatal(err)
	}
	quiet := make(audio.Clip, audio.Rate/2)
	clips := []audio.Clip{quiet}
	for range said {
		clips = append(clips, tone(600*time.Millisecond))
	}
	r := &rig{
		ear: &ear{t: t, g: g, say: said}, log: &log{sounds: map[int64]int{}}, voice: &voice{}, watch: &watcher{}, job: job,
	}
	clock := time.Date(2026, 3, 14, 9, 0, 0, 0, time.UTC)
	r.Session = Session{
		Source: audio.NewClipSource(clips...), Ear: r.ear, Voice: r.voice, Player: &say.Track{}, Log: r.log, Watch: r.watch,
		Now: func() time.Time { clock = clock.Add(time.Second); return clock },
	}
	return r
}

var preparation = []string{"isolated and locked off", "proved dead", "surge protection out", "lamps removed", "loads disconnected", "switches on", "leads checked"}

func TestSession(t *testing.T) {
	r := newRig(t, append(preparation, "over nine nine nine", "mind your head", "way thirty one live to earth two hundred", "confirm", "finish here")...)
	state, err := r.Run(t.Context(), r.job, record.State{})
	if err != nil {
		t.Fatal(err)
	}
	got, ok := state.Latest(record.Slot{Way: 1, Test: reading.LNE})
	if !ok || got.Quantity.String() != ">999 Mohm" || !state.Finished {
		t.Errorf("way 1 has %v, %v; finished %v", got.Quantity, ok, state.Finished)
	}
	if folded, err := record.Fold(r.log.events); err != nil || len(folded.Readings) != 1 {
		t.Errorf("the log folds to %d readings, %v", len(folded.Readings), err)
	}
	if r.watch.talk != 1 {
		t.Errorf("talk was heard %d times", r.watch.talk)
	}
	for _, e := range r.log.events {
		if e.Kind == record.Heard && e.Phrase.Text == "over nine nine nine" {
			if q := e.Phrase.Meaning.Quantity; q == nil || q.String() != ">999" {
				t.Errorf("the record keeps the meaning %+v", e.Phrase.Meaning)
			}
		}
	}
	// Talk and the way that is not there leave no sound; every phrase does.
	if want := len(preparation) + 3; len(r.log.sounds) != want {
		t.Errorf("%d sounds are kept, want %d", len(r.log.sounds), want)
	}
	for id, n := range r.log.sounds {
		if n < 16000 {
			t.Errorf("the sound of event %d has %d bytes", id, n)
		}
	}
	if last := r.ear.scopes[len(r.ear.scopes)-2]; last.Here != 1 || last.Unit != reading.Megohm || len(last.Ways) != 10 {
		t.Errorf("at the confirm the scope was %+v", last)
	}
}

// When the record cannot be written, that is said, nothing is taken as stored,
// and the session ends with the reason.
func TestRecordCannotBeWritten(t *testing.T) {
	r := newRig(t, "isolated and locked off")
	if _, err := r.Run(t.Context(), r.job, record.State{}); err != nil {
		t.Fatal(err)
	}
	before, err := record.Fold(r.log.events)
	if err != nil {
		t.Fatal(err)
	}
	full := fmt.Errorf("storing: %w", store.ErrFull)
	r2 := newRig(t, "proved dead")
	r2.log.events = r.log.events
	r2.log.fail = full
	state, err := r2.Run(t.Context(), board.Job{}, before)
	if !errors.Is(err, full) {
		t.Fatalf("error %v", err)
	}
	if state.LastID != before.LastID || len(state.Answers) != len(before.Answers) {
		t.Errorf("the state moved on to event %d from %d", state.LastID, before.LastID)
	}
	if said := strings.Join(r2.voice.said, " "); !strings.Contains(said, "because the disk is full") {
		t.Errorf("it said %q", said)
	}
}

func TestMicrophoneStops(t *testing.T) {
	r := newRig(t, "isolated and locked off")
	gone := errors.New("the microphone is gone")
	r.Source = &brokenSource{r.Source, gone}
	state, err := r.Run(t.Context(), r.job, record.State{})
	if !errors.Is(err, gone) || len(state.Answers) != 1 {
		t.Errorf("error %v, %d answers", err, len(state.Answers))
	}
	if last := r.voice.said[len(r.voice.said)-1]; !strings.Contains(last, "microphone has stopped") {
		t.Errorf("it said %q", last)
	}
}

// Ten minutes of talk without a pause are ignored, not hoarded.
func TestEndlessTalk(t *testing.T) {
	r := newRig(t, "isolated and locked off")
	r.Source = audio.NewClipSource(tone(10*time.Minute), tone(600*time.Millisecond))
	state, err := r.Run(t.Context(), r.job, record.State{})
	if err != nil || len(state.Answers) != 1 {
		t.Errorf("error %v, %d answers", err, len(state.Answers))
	}
	if r.watch.tooLong == 0 {
		t.Error("endless talk went unnoticed")
	}
}

func TestSilenceIsAnsweredOnce(t *testing.T) {
	r := newRig(t)
	r.Source = audio.NewClipSource(make(audio.Clip, 60*audio.Rate))
	if _, err := r.Run(t.Context(), r.job, record.State{}); err != nil {
		t.Fatal(err)
	}
	if len(r.voice.said) != 2 {
		t.Errorf("in a minute of silence it said %q", r.voice.said)
	}
}

func TestStopped(t *testing.T) {
	r := newRig(t, preparation...)
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := r.Run(ctx, r.job, record.State{}); !errors.Is(err, context.Canceled) {
		t.Errorf("error %v", err)
	}
}

func TestHearingFails(t *testing.T) {
	r := newRig(t, "isolated and locked off")
	r.ear.err = errors.New("the model stopped")
	if _, err := r.Run(t.Context(), r.job, record.State{}); !errors.Is(err, r.ear.err) {
		t.Errorf("error %v", err)
	}
}
