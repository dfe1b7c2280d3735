package session

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"waycall/grammar"
	"waycall/internal/audio"
	"waycall/internal/audio/audiotest"
	"waycall/internal/board"
	"waycall/internal/board/boardtest"
	"waycall/internal/hear"
	"waycall/internal/phrase"
	"waycall/internal/reading"
	"waycall/internal/record"
	"waycall/internal/store"
)

// ear hears the phrases it is given, one for each sound, and notes the scopes.
type ear struct {
	t      *testing.T
	g      *phrase.Grammar
	say    []string
	scopes []phrase.Scope
	open   int             // utterances that have neither ended nor been dropped
	whole  map[string]bool // texts of which it knows in the pause that nothing follows
	err    error
}

func (e *ear) Prepare(phrase.Scope) error { return nil }

func (e *ear) Note(sound []float32) (hear.Heard, error) {
	if e.err != nil {
		return hear.Heard{}, e.err
	}
	text := e.say[0]
	e.say = e.say[1:]
	return hear.Heard{Outcome: hear.Note, Candidates: []hear.Candidate{{Text: text}}, Words: map[string]string{"test": text}}, nil
}

func (e *ear) Begin(s phrase.Scope) hear.Utterance {
	e.open++
	return &utterance{ear: e, scope: s}
}

// utterance notes that it was ended or dropped.
type utterance struct {
	ear    *ear
	scope  phrase.Scope
	paused []float32
	over   bool
}

func (u *utterance) Pause(sound []float32) { u.paused = sound }

func (u *utterance) Over() bool {
	return u.paused != nil && len(u.ear.say) > 0 && u.ear.whole[u.ear.say[0]]
}

func (u *utterance) Drop() {
	if !u.over {
		u.over = true
		u.ear.open--
	}
}

func (u *utterance) End(sound []float32) (hear.Heard, error) {
	u.Drop()
	if !slices.Equal(u.paused, sound) {
		u.ear.t.Error("a phrase ended with another sound than its last pause promised")
	}
	return u.ear.hear(u.scope)
}

func (e *ear) hear(s phrase.Scope) (hear.Heard, error) {
	e.scopes = append(e.scopes, s)
	if e.err != nil {
		return hear.Heard{}, e.err
	}
	if len(e.say) == 0 {
		e.t.Fatal("more was heard than was said")
	}
	text := e.say[0]
	e.say = e.say[1:]
	h := hear.Heard{Outcome: hear.None, Agreed: true, Words: map[string]string{"test": text}, Missed: text == "way three live to"}
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

type voice struct {
	said  []string
	paces []int
}

func (v *voice) Speak(text string, pace int) (audio.Clip, error) {
	v.said, v.paces = append(v.said, text), append(v.paces, pace)
	return make(audio.Clip, 800), nil
}

type watcher struct {
	talk    int
	tooLong int
	choices []string
}

func (w *watcher) Speaking(string)          {}
func (w *watcher) Listening(choices string) { w.choices = append(w.choices, choices) }
func (w *watcher) Stored([]record.Event)    {}
func (w *watcher) TooLong(time.Duration)    { w.tooLong++ }
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
	job := boardtest.Read(t, "terrace.yaml")
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
		Source: audiotest.Source(clips...), Ear: r.ear, Voice: r.voice, Player: mute{}, Log: r.log, Watch: r.watch,
		Now: func() time.Time { clock = clock.Add(time.Second); return clock },
	}
	return r
}

var preparation = []string{
	"isolated and locked off", "notices up", "indicator proved", "tested dead", "proved dead", "surge protection out", "lamps removed",
	"loads disconnected", "electronics out", "way by way", "switches on", "links as found", "leads joined nought point oh two", "leads apart over range",
}

func TestSession(t *testing.T) {
	r := newRig(t, append(preparation, "over nine nine nine", "mind your head", "way thirty one live to earth two hundred", "confirm", "finish here")...)
	state, err := r.Run(t.Context(), r.job, record.State{})
	if err != nil {
		t.Fatal(err)
	}
	got, ok := state.Latest(record.Slot{Board: 1, Way: 1, Test: reading.LNE})
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
	// What may be said is told each time that it listens.
	for at, want := range map[int]string{0: "isolated and locked off", 1: "notices up", len(preparation): "the figure in megohms, ", len(preparation) + 1: "confirm, or no; "} {
		if len(r.watch.choices) <= at || !strings.HasPrefix(r.watch.choices[at], want) {
			t.Errorf("it may be said %q, the %d of which is not %q", r.watch.choices, at, want)
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
	if last := r.ear.scopes[len(r.ear.scopes)-2]; last.Here != 1 || last.Unit != reading.Megohm || len(last.Ways) != 11 {
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
	r2 := newRig(t, "notices up")
	r2.log.events = r.log.events
	r2.log.fail = full
	state, err := r2.Run(t.Context(), board.Job{}, before)
	if !errors.Is(err, full) {
		t.Fatalf("error %v", err)
	}
	if state.LastID != before.LastID || len(state.Answers) != len(before.Answers) {
		t.Errorf("the state moved on to event %d from %d", state.LastID, before.LastID)
	}
	if said := strings.Join(r2.voice.said, " "); !strings.Contains(said, "the disk is full") || !strings.HasSuffix(said, "The session has ended.") {
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

// A headset that is pulled out in the middle of a phrase, or in the pause after it,
// leaves nothing: half a reading could be another reading.
func TestMicrophoneStopsInAPhrase(t *testing.T) {
	for _, d := range []time.Duration{0, 300 * time.Millisecond} {
		r := newRig(t, "isolated and locked off")
		gone := errors.New("the microphone is gone")
		half := tone(time.Second)[:audio.Rate+int(d.Seconds()*audio.Rate)]
		r.Source = &brokenSource{audiotest.Source(make(audio.Clip, audio.Rate), half), gone}
		before := len(r.log.events)
		state, err := r.Run(t.Context(), r.job, record.State{})
		if !errors.Is(err, gone) || len(state.Answers) != 0 || len(r.log.sounds) != 0 {
			t.Errorf("%v into the pause: error %v, %d answers, %d sounds, %d events", d, err, len(state.Answers), len(r.log.sounds), len(r.log.events)-before)
		}
		if r.ear.open != 0 {
			t.Errorf("%v into the pause: an utterance is still open", d)
		}
		if last := r.voice.said[len(r.voice.said)-1]; !strings.Contains(last, "microphone has stopped") {
			t.Errorf("it said %q", last)
		}
	}
}

// Every answer to a phrase is timed, and nothing else is.
func TestTimed(t *testing.T) {
	r := newRig(t, "isolated and locked off", "mind your head", "notices up")
	var times []Timing
	r.Timed = func(t Timing) { times = append(times, t) }
	if _, err := r.Run(t.Context(), r.job, record.State{}); err != nil {
		t.Fatal(err)
	}
	if len(times) != 2 {
		t.Fatalf("%d answers were timed", len(times))
	}
	for _, x := range times {
		// The endpointer sees the end of the speech to a few blocks.
		if x.Pause < 450*time.Millisecond || x.Pause > 550*time.Millisecond || x.Conversation <= 0 || x.Total() < x.Pause {
			t.Errorf("timed %+v", x)
		}
	}
}

// A phrase that nothing can follow ends when it is heard, any other with its pause; and
// one that goes on is not cut.
func TestWholePhraseEndsInItsPause(t *testing.T) {
	r := newRig(t, "isolated and locked off", "notices up", "proved dead")
	r.ear.whole = map[string]bool{"isolated and locked off": true, "proved dead": true}
	slow := tone(600 * time.Millisecond)[:audio.Rate*1000/1000] // goes on after 400 ms
	r.Source = audiotest.Source(make(audio.Clip, audio.Rate/2), tone(600*time.Millisecond), slow, tone(600*time.Millisecond), tone(600*time.Millisecond))
	var pauses []time.Duration
	r.Timed = func(tm Timing) { pauses = append(pauses, tm.Pause) }
	if _, err := r.Run(t.Context(), r.job, record.State{}); err != nil {
		t.Fatal(err)
	}
	if len(pauses) != 3 || pauses[0] > 350*time.Millisecond || pauses[1] < 450*time.Millisecond || pauses[2] > 350*time.Millisecond {
		t.Errorf("the pauses lasted %v", pauses)
	}
}

func TestScopes(t *testing.T) {
	r := newRig(t)
	list := scopes(record.State{Job: r.job}, 200)
	if len(list) < 2 || list[0].Here != 0 || list[1].Here != 1 || list[1].Unit != reading.Megohm {
		t.Errorf("the scopes are %+v", list)
	}
	r.job.Tests = nil
	for n := range 99 {
		r.job.Boards[0].Ways = append(r.job.Boards[0].Ways, board.Way{Number: 100 + n, Phases: 1, Wiring: board.Radial})
	}
	if n := len(scopes(record.State{Job: r.job}, mostScopes)); n != mostScopes {
		t.Errorf("%d scopes of a large board", n)
	}
}

func workshop(t testing.TB) board.Job {
	t.Helper()
	return boardtest.Read(t, "workshop.yaml")
}

// What may be said on each of three boards: the tests of the board itself, the
// other boards, and at every test that comes due its answer.
func TestScopesOfBoards(t *testing.T) {
	job := workshop(t)
	g, err := phrase.Load(grammar.Files)
	if err != nil {
		t.Fatal(err)
	}
	first := Scope(job, 1)
	if !slices.Equal(first.Boards, []int{1, 2, 3}) || !slices.Contains(first.Ways[0], reading.Ze) || slices.Contains(first.Ways[0], reading.RA) {
		t.Errorf("board 1: %+v", first)
	}
	if ra := Scope(job, 3); !slices.Contains(ra.Ways[0], reading.RA) {
		t.Errorf("board 3: %+v", ra)
	}
	list := scopes(record.State{Job: job}, 200)
	if len(list) < 30 {
		t.Errorf("%d scopes", len(list))
	}
	said := map[string]func(phrase.Scope) bool{
		"board three":                 func(phrase.Scope) bool { return true },
		"board four":                  func(phrase.Scope) bool { return false },
		"zed e nought point two":      func(s phrase.Scope) bool { return s.Here == 0 || slices.Contains(s.Ways[0], reading.Ze) },
		"bonding nought point oh two": func(s phrase.Scope) bool { return s.Here == 0 || slices.Contains(s.Ways[0], reading.Bonding) },
		"way three r one nought point three one r n nought point three one r two nought point five two": func(s phrase.Scope) bool { return slices.Contains(s.Ways[3], reading.RingR1) },
		"two hundred milliseconds": func(s phrase.Scope) bool { return s.Unit == "" || s.Unit == reading.Millisec },
		"ready for live tests":     func(phrase.Scope) bool { return true },
	}
	seen := map[string]bool{}
	for _, s := range list {
		key := fmt.Sprint(s)
		if seen[key] {
			t.Errorf("the scope %+v is prepared twice", s)
		}
		seen[key] = true
	}
	for _, s := range []phrase.Scope{list[0], list[len(list)/3], list[len(list)/2], list[len(list)-1]} {
		a := g.Narrow(s)
		for text, may := range said {
			if a.Accepts(text) != may(s) {
				t.Errorf("%q at way %d, unit %q: %v", text, s.Here, s.Unit, !may(s))
			}
		}
	}
}

// A breath with three readings is kept in the record with all three.
func TestRecordedMeaning(t *testing.T) {
	g, err := phrase.Load(grammar.Files)
	if err != nil {
		t.Fatal(err)
	}
	m, _ := g.Meaning("way four r one nought point three one r n nought point three two r two nought point five two")
	r := recorded(m)
	if len(r.Then) != 2 || r.Then[1].Test != reading.RingR2 || r.Then[1].Quantity.String() != "0.52 ohm" || r.Quantity.String() != "0.31 ohm" {
		t.Errorf("%+v", r)
	}
	m, _ = g.Meaning("board two")
	if r := recorded(m); r.Board != 2 || r.Then != nil {
		t.Errorf("%+v", r)
	}
}

func TestStreamClip(t *testing.T) {
	r := newRig(t, "proved dead", "mind your head")
	two := slices.Concat(make(audio.Clip, audio.Rate), tone(600*time.Millisecond), tone(time.Second))
	got, err := StreamClip(t.Context(), r.ear, Scope(r.job, 1), two, audio.Settings{Pause: 300 * time.Millisecond})
	if err != nil || len(got) != 2 || got[0].Heard.Best().Text != "proved dead" || got[1].Heard.Outcome != hear.None {
		t.Fatalf("heard %+v, %v", got, err)
	}
	if p := got[0].Timing.Pause; p < 250*time.Millisecond || p > 350*time.Millisecond {
		t.Errorf("the pause took %v", p)
	}
	r.ear.say, r.ear.whole = []string{"proved dead", "mind your head"}, map[string]bool{"proved dead": true}
	got, err = StreamClip(t.Context(), r.ear, Scope(r.job, 1), two, audio.Settings{})
	if err != nil || len(got) != 2 || got[0].Timing.Pause > 350*time.Millisecond || got[1].Timing.Pause < 450*time.Millisecond {
		t.Errorf("with a whole phrase: %+v, %v", got, err)
	}
	if got, err := StreamClip(t.Context(), r.ear, Scope(r.job, 1), make(audio.Clip, audio.Rate), audio.Settings{}); err != nil || len(got) != 0 {
		t.Errorf("in silence: %+v, %v", got, err)
	}
	r.ear.say, r.ear.err = []string{"proved dead"}, errors.New("the model stopped")
	if _, err := StreamClip(t.Context(), r.ear, Scope(r.job, 1), two, audio.Settings{}); !errors.Is(err, r.ear.err) {
		t.Errorf("error %v", err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := StreamClip(ctx, r.ear, Scope(r.job, 1), two, audio.Settings{}); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled: %v", err)
	}
	if r.ear.open != 0 {
		t.Errorf("%d utterances are still open", r.ear.open)
	}
}

// Ten minutes of talk without a pause are ignored, not hoarded.
func TestEndlessTalk(t *testing.T) {
	r := newRig(t, "isolated and locked off")
	r.Source = audiotest.Source(tone(10*time.Minute), tone(600*time.Millisecond))
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
	r.Source = audiotest.Source(make(audio.Clip, 60*audio.Rate))
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
