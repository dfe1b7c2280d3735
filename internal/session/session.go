// Package session runs a spoken session: it wires sound, hearing, the
// conversation, the record and speech together.
//
// It decides nothing about readings. It cuts the sound into phrases, has them
// heard, gives them to the conversation (package talk), and carries out what
// the conversation answers: facts are written first, and only then is anything
// spoken. While it speaks it does not listen; a key can end what it says.
//
// What answers a step is one sound: a tone for what is stored or was not understood,
// then the words, then the tone for listening. After "make a note" the next that is
// said is free speech and kept as it was heard.
//
// A phrase is heard from the moment that a pause begins, so that the answer can
// follow as soon as the pause is long enough to end it; see Timing. Where what was
// heard is sure and nothing can follow it in the grammar, as after "confirm", the
// phrase ends there; after "two hundred" the pause is waited for.
package session

import (
	"context"
	"errors"
	"io"
	"slices"
	"sync"
	"time"

	"waycall/internal/audio"
	"waycall/internal/board"
	"waycall/internal/hear"
	"waycall/internal/phrase"
	"waycall/internal/reading"
	"waycall/internal/record"
	"waycall/internal/say"
	"waycall/internal/sequence"
	"waycall/internal/talk"
)

// Ear hears phrases; *hear.Ear is one. It is used by one goroutine but for
// Prepare, which may be called beside anything else.
type Ear interface {
	Begin(s phrase.Scope) hear.Utterance
	Note(sound []float32) (hear.Heard, error) // free speech
	Prepare(s phrase.Scope) error
}

// Log keeps facts; *store.Store is one.
type Log interface {
	Append(ctx context.Context, batch []record.Event, sound []byte) ([]record.Event, error)
}

// Keeper looks after the disks that the record is on; *store.Store is one.
type Keeper interface {
	Ready() error  // why the next phrase could not be stored, or nil; after an Append that failed a nil is tried, not guessed
	Copied() error // why the copy of the record is behind, or nil
	// Rescued is where the record was written to when its file was taken away or changed,
	// or "", and when; the file of the record itself when work goes on with it.
	Rescued() (path string, at time.Time)
}

// Watcher is told what happens, to show it. Its methods return quickly.
type Watcher interface {
	Speaking(text string)        // waycall is about to say this
	Listening(choices string)    // it listens from now on, for these; see talk.State.Choices
	Heard(h hear.Heard)          // a phrase or a note was heard, whether or not it is for us
	Stored(facts []record.Event) // these are on the disk
	TooLong(d time.Duration)     // somebody spoke without a pause for longer than a phrase can be
}

// Session holds what a session needs. All fields but Keeper, Settings, Warning, Timed,
// Key, Taps and Understood must be set.
type Session struct {
	Source   audio.Source
	Ear      Ear
	Voice    say.Voice
	Player   say.Player
	Log      Log
	Keeper   Keeper // asked before each phrase
	Watch    Watcher
	Now      func() time.Time
	Settings audio.Settings
	Habit    record.Habit // how readings are accepted
	Tester   string       // initials of who tests in this session; empty for the job's
	Prompts  talk.Prompts // how much is said, unless the tester said otherwise in a session before
	Insists  bool         // Prompts holds whatever he said then
	Practice bool         // the board is made up, see talk.Begin
	Warning  string       // what is said once before the first phrase, of how the record was found; may be empty
	Key      Key          // nil for none
	Taps     Taps         // what it means
	Timed    func(Timing) // told of every answer, just before it is played

	// Understood is told the sound of every phrase that was for us and that the
	// witnesses agreed on: what is said here, and no noise.
	Understood func(sound audio.Clip)
}

// quietAfter is the silence after which the conversation may repeat itself.
const quietAfter = 12 * time.Second

// Run opens the job, or opens it again where it stopped, and goes on until the
// conversation ends, the source ends or ctx ends. It returns what is known then.
// A zero job means the one that the record began with.
func (s *Session) Run(ctx context.Context, job board.Job, from record.State) (record.State, error) {
	r := &run{Session: s, state: talk.State{Record: from}, ends: audio.NewEndpointer(s.Settings)}
	done, err := r.begin(ctx, job)
	for !done && err == nil {
		done, err = r.listen(ctx)
	}
	if err != nil && ctx.Err() == nil {
		r.sayEnded(ctx, err)
	}
	return r.state.Record, err
}

type run struct {
	*Session
	state  talk.State
	ends   *audio.Endpointer
	timing *Timing // of the answer that is being made; nil when it is to no phrase
	told   told
	keyed  keyed
	cut    bool // the note is too long, and still being spoken
}

// prepare makes the ear ready for what may be said now and for what the session
// comes to next, while waycall speaks. The function it returns ends that.
func prepare(ctx context.Context, ear Ear, now phrase.Scope, known record.State) (stop func()) {
	ctx, cancel := context.WithCancel(ctx)
	var done sync.WaitGroup
	done.Go(func() {
		for _, s := range append([]phrase.Scope{now}, scopes(known, mostScopes)...) {
			// An error comes again, and is told, when the scope is come to.
			if ctx.Err() != nil || ear.Prepare(s) != nil {
				return
			}
		}
	})
	return func() { cancel(); done.Wait() }
}

// mostScopes bounds what is prepared ahead: each scope takes some 10 MB and a tenth of a
// second of the processor, and the second witness keeps but a few.
const mostScopes = 3

// scopes lists what a session comes to, in the order of the work that remains, so
// many at most. A test that only a failure asks for has the unit of another on its
// way.
func scopes(known record.State, most int) []phrase.Scope {
	var list []phrase.Scope
	type key struct {
		board, way int
		unit       reading.Unit
		due        reading.Test // of right or wrong
	}
	seen := map[key]bool{}
	whole := map[int]phrase.Scope{}
	add := func(k key) {
		if seen[k] || len(list) >= most {
			return
		}
		seen[k] = true
		s, ok := whole[k.board]
		if !ok {
			s = Scope(known.Job, k.board)
			whole[k.board] = s
		}
		s.Here, s.Unit, s.Due = k.way, k.unit, k.due
		list = append(list, s)
	}
	for _, d := range sequence.Remaining(known) {
		if d.Step != nil {
			add(key{board: d.Board})
		} else {
			k := key{board: d.Board, way: d.Slot.Way, unit: d.Slot.Test.Unit()}
			if d.Slot.Test.Judged() {
				k.due = d.Slot.Test
			}
			add(k)
		}
	}
	return list
}

// listen waits for the next phrase, or for a long silence, and answers it.
func (r *run) listen(ctx context.Context) (done bool, err error) {
	if err := r.lookAfter(ctx); err != nil {
		return false, err
	}
	note := r.state.Dictating()
	r.ends.Set(r.Settings)
	scope := r.scope() // nothing changes it until a phrase is answered
	if note {
		r.ends.Set(r.forNote())
	} else if err := r.Ear.Prepare(scope); err != nil {
		return false, fails(deaf, err)
	}
	r.Watch.Listening(r.state.Choices())
	var u hear.Utterance // while somebody speaks
	drop := func() {
		if u != nil {
			u.Drop()
			u = nil
		}
	}
	defer drop() // the witnesses are at rest before anything else happens
	quiet, waited := 0, 0
	for {
		frame, err := r.Source.Next(ctx)
		if errors.Is(err, io.EOF) {
			// The sound ends; what was said last may not have ended yet.
			for _, e := range r.ends.Flush() {
				if e.Kind == audio.Ended {
					return r.phrase(ctx, u, e)
				}
			}
			return true, nil
		}
		if broke := new(audio.Break); errors.As(err, &broke) {
			spoken := u != nil || r.ends.Skipping()
			drop() // half a phrase is none
			r.ends.Reset()
			r.keyed.gate.shut()
			if spoken || broke.Away > 0 {
				return false, r.broken(ctx, *broke, spoken)
			}
			continue
		}
		if err != nil {
			drop() // what was being said is lost: half a phrase is none
			return false, fails(noMicrophone, err)
		}
		did := r.gestures()
		if answered, done, err := r.tapped(ctx, did); answered {
			return done, err
		}
		for _, e := range r.notice(u, frame, did) {
			switch e.Kind {
			case audio.Started:
				if note {
					u = dictation{r.Ear}
				} else {
					u = r.Ear.Begin(scope)
				}
			case audio.Paused:
				u.Pause(e.Phrase.Sound)
			case audio.Dropped:
				drop()
			case audio.Ended:
				return r.phrase(ctx, u, e)
			}
		}
		if r.cut && !r.ends.Skipping() {
			r.cut = false
			return r.answer(ctx, talk.Dictated{At: r.Now(), Cut: true}, nil)
		}
		if quiet += len(frame); u != nil || r.cut {
			quiet = 0
		}
		if waited += len(frame); u != nil || r.told.stuck == nil {
			waited = 0
		}
		if lasts(waited) >= lookAgain {
			return false, nil
		}
		if lasts(quiet) >= quietAfter && r.told.stuck == nil {
			return r.answer(ctx, talk.Silence{At: r.Now()}, nil)
		}
	}
}

// cut takes the next sound and returns what the endpointer notices. What is being said
// ends with it where it is Over and the pause still goes on.
func cut(ends *audio.Endpointer, u hear.Utterance, sound audio.Clip) []audio.Event {
	events := ends.Push(sound)
	if len(events) == 0 && u != nil && u.Over() { // with no event, the pause is that of which it speaks
		return ends.Cut()
	}
	return events
}

// lasts is how long so many samples of sound last.
func lasts(samples int) time.Duration { return time.Duration(samples) * time.Second / audio.Rate }

// broken says that sound was lost while somebody spoke, or that the microphone is back.
func (r *run) broken(ctx context.Context, b audio.Break, spoken bool) error {
	what := "The microphone is back."
	if b.Away == 0 {
		what = "Some of the sound was lost."
	}
	r.cut = false
	next := talk.GoesOn
	if r.told.stuck != nil {
		next = talk.Holds
	}
	return r.warn(ctx, talk.Failed{What: what, Lost: spoken, Next: next})
}

// phrase ends a phrase, which ends where the event says, and answers it.
func (r *run) phrase(ctx context.Context, u hear.Utterance, ended audio.Event) (done bool, err error) {
	p := ended.Phrase
	if p.Truncated && r.holds() {
		r.Watch.TooLong(p.Sound.Duration())
		return false, r.warn(ctx, talk.Failed{What: heldTooLong, Lost: true})
	}
	if p.Truncated {
		r.Watch.TooLong(p.Sound.Duration())
		// A note is answered once they stop: the rest must not be taken for a phrase.
		r.cut = r.state.Dictating()
		return false, nil
	}
	start := time.Now()
	h, err := u.End(p.Sound)
	if err != nil {
		return false, fails(deaf, err)
	}
	r.timing = &Timing{Pause: ended.At - p.Spoken, Hearing: time.Since(start), Took: h.Took}
	defer func() { r.timing = nil }()
	r.Watch.Heard(h)
	if r.Understood != nil && h.Agreed && (h.Outcome == hear.Reading || h.Outcome == hear.Command) {
		r.Understood(p.Sound)
	}
	best := h.Best()
	if h.Outcome != hear.None {
		if stuck, err := r.stuck(ctx, h.Agreed && best.Meaning.Command == phrase.Finish); stuck || err != nil {
			return false, err
		}
	}
	switch h.Outcome {
	case hear.None:
		if h.Missed {
			return r.answer(ctx, talk.NotUnderstood{At: r.Now(), Noise: noisy(p.Sound), HasKey: r.Key != nil}, nil)
		}
	case hear.Reading, hear.Command:
		e := talk.Heard{
			At: r.Now(), Meaning: best.Meaning,
			Phrase: record.Phrase{
				Outcome: string(h.Outcome), Agreed: h.Agreed, Text: best.Text, Meaning: recorded(best.Meaning),
				Words: h.Words, Scores: h.Scores,
			},
		}
		for i, c := range h.Candidates {
			e.Candidates = append(e.Candidates, c.Meaning)
			if i > 0 {
				e.Phrase.Others = append(e.Phrase.Others, c.Text)
			}
		}
		return r.answer(ctx, e, p.Sound)
	case hear.Note:
		said := record.Phrase{Outcome: string(h.Outcome), Text: best.Text, Words: h.Words, Scores: h.Scores}
		return r.answer(ctx, talk.Dictated{At: r.Now(), Phrase: said}, p.Sound)
	case hear.Misplaced:
		return r.answer(ctx, talk.Beyond{At: r.Now(), Meaning: best.Meaning}, nil)
	}
	return false, nil
}

// leastRatio is how far speech stands out from the noise where it is still heard: at 10 dB one
// reading in twenty more is asked for again than in quiet (docs/bench).
const leastRatio = 10

// noisy reports whether what was not understood was said in too much noise.
func noisy(sound audio.Clip) bool {
	q, spoken := audio.Measure(sound)
	return spoken && q.Ratio() < leastRatio
}

// recorded is a meaning as the record keeps it.
func recorded(m phrase.Meaning) record.Meaning {
	r := record.Meaning{
		Command: string(m.Command), Board: m.Board, Way: m.Way, Last: m.Last, Test: m.Test, OverRange: m.OverRange, Reason: m.Reason, Code: m.Code,
	}
	if m.Quantity.Bound != "" {
		r.Quantity = &m.Quantity
	}
	for _, p := range m.Then {
		if p.Test != "" {
			r.Then = append(r.Then, record.Part{Test: p.Test, Quantity: p.Quantity})
		}
	}
	return r
}

// answer takes one step of the conversation and carries out its effects.
func (r *run) answer(ctx context.Context, e talk.Event, sound audio.Clip) (done bool, err error) {
	start := time.Now()
	next, effects := talk.Step(r.state, e)
	r.lap(func(t *Timing) *time.Duration { return &t.Conversation }, &start)
	var facts []record.Event
	var wav []byte
	for _, f := range effects {
		if a, ok := f.(talk.Append); ok {
			facts = append(facts, a.Event)
			if a.Event.Kind == record.Heard {
				wav = audio.EncodeWAV(sound)
			}
		}
	}
	if len(facts) > 0 {
		if _, err := r.Log.Append(ctx, facts, wav); err != nil {
			_, tapped := e.(talk.Tapped)
			return false, r.notStored(ctx, err, tapped || len(sound) > 0)
		}
		r.lap(func(t *Timing) *time.Duration { return &t.Store }, &start)
		r.Watch.Stored(facts)
	}
	r.state = next
	if !slices.ContainsFunc(effects, func(f talk.Effect) bool { return f == talk.Stop{} }) {
		defer prepare(ctx, r.Ear, r.scope(), r.state.Record)()
	}
	for _, f := range effects {
		_, stop := f.(talk.Stop)
		done = done || stop
	}
	return done, r.play(ctx, effects)
}

// play makes the tones and the words of a step heard, as one sound, and forgets what
// the microphone caught meanwhile: waycall never listens to itself.
func (r *run) play(ctx context.Context, effects []talk.Effect) error {
	var sound audio.Clip
	for _, f := range effects {
		switch f := f.(type) {
		case talk.Tone:
			sound = append(sound, say.Tone(string(f))...)
		case talk.Say:
			r.Watch.Speaking(f.Text)
			start := time.Now()
			words, err := r.Voice.Speak(say.Words(f.Text), f.Pace)
			if err != nil {
				return err
			}
			r.lap(func(t *Timing) *time.Duration { return &t.Speech }, &start)
			sound = append(sound, words...)
		}
	}
	if len(sound) == 0 {
		return nil
	}
	if r.timing != nil && r.Timed != nil {
		r.timing.Speaks = sound.Duration()
		r.Timed(*r.timing)
	}
	r.timing = nil // only the first of what is spoken is waited for
	if err := r.aloud(ctx, sound); err != nil {
		return err
	}
	r.Source.Discard()
	r.ends.Reset()
	r.keyed.gate.shut()
	return nil
}

// scope is what may be said now.
func (r *run) scope() phrase.Scope {
	at, way, unit := r.state.InHand()
	s := Scope(r.state.Record.Job, at)
	s.Here, s.Unit, s.Due = way, unit, r.state.Judging()
	return s
}

// Scope is what may be said about a board: the ways that it has, spare ones too,
// and the tests that each can have; those of the board itself under way 0; and
// the other boards of the job, by number and name.
func Scope(job board.Job, number int) phrase.Scope {
	s := phrase.Scope{Ways: map[int][]reading.Test{}}
	if b := job.Board(number); b != nil {
		for _, w := range b.Ways {
			s.Ways[w.Number] = sequence.Allowed(job, number, w.Number)
		}
		if own := sequence.Allowed(job, number, 0); len(own) > 0 {
			s.Ways[0] = own
		}
	}
	if len(job.Boards) > 1 {
		for _, b := range job.Boards {
			s.Boards = append(s.Boards, b.Number)
		}
		s.Names = job.NameWords()
	}
	return s
}
