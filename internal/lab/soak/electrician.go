package soak

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"slices"
	"strings"
	"time"

	"waycall/internal/audio"
	"waycall/internal/board"
	"waycall/internal/hear"
	"waycall/internal/lab/noise"
	"waycall/internal/record"
	"waycall/internal/say"
)

// spec says how a phrase was made to sound, so that it can be made again.
type spec struct {
	text    string
	take    int // which of its recordings
	degrade noise.Condition
	seed    uint64
	at, cut int // where so many samples of it were lost
}

// act is what the electrician does next.
type act string

const (
	giveValue act = "value"   // says a reading
	confirm   act = "confirm" // says that it is right
	reject    act = "no"      // says that it is not
	answer    act = "step"    // answers a preparation step
	again     act = "again"   // asks for a way to be tested again
	toBoard   act = "board"   // goes to another board
	scratch   act = "scratch" // takes the last reading back
	ask       act = "ask"     // asks what is next
	note      act = "note"    // asks for a note
	dictate   act = "dictate" // and says it
	carryOn   act = "carry on"
	finish    act = "finish"
	chat      act = "talk"    // says something to somebody else
	rest      act = "silence" // says nothing
	racket    act = "noise"   // nor does he, but somebody drills
)

// electrician is who works with waycall: the microphone, the loudspeaker and the
// screen of a session at once. He hears what waycall says and nothing else, and keeps
// the ledger.
type electrician struct {
	rand    *rand.Rand
	phrases phrases
	placed  []placed
	fixes   map[string]string
	ears    *listener
	ledger  ledger
	watch   func(samples int) // told of the time that passes, in samples
	trouble *trouble          // what a site does to the session

	clip    audio.Clip // what is still to be heard of what he does now
	doing   act
	saying  said   // the reading being given, or that waits to be confirmed
	waits   bool   // it was read back rightly and waits
	sure    bool   // he has said "confirm" to it
	way     int    // that is to be tested again
	step    string // being answered
	tries   int    // how often the same was said without an answer
	lost    int    // turns without progress
	heard   string // what waycall said since he last spoke
	stored  bool   // with the tone for it
	ended   bool   // the time is up
	gone    bool   // the session was killed, so nobody hears it any more
	Counts  Counts
	journal []string // the last exchanges, for when something is wrong
}

// Counts is what happened in a soak.
type Counts struct {
	Phrases     int `json:"phrases"` // said to waycall
	Values      int `json:"values"`  // of them with a reading
	OutOfOrder  int `json:"out_of_order"`
	Talk        int `json:"talk"` // said to somebody else
	Noises      int `json:"noises"`
	Silences    int `json:"silences"`
	Notes       int `json:"notes"`
	Corrections int `json:"corrections"` // a reading dropped or changed though it was heard rightly
	Scratched   int `json:"scratched"`   // stored readings taken back
	Retests     int `json:"retests"`     // ways tested again
	Misheard    int `json:"misheard"`    // read back wrongly, or asked about, and said again
	Unanswered  int `json:"unanswered"`  // said again because nothing was answered
	Intruders   int `json:"intruders"`   // talk or noise that waycall answered as a reading; rejected when it was read back
	Sessions    int `json:"sessions"`
	Kills       int `json:"kills"` // sessions killed
	PulledPlugs int `json:"pulled_plugs"`
	Faults      int `json:"faults"` // of the microphone, which failed and came back
	Gaps        int `json:"gaps"`   // in the sound of a phrase
}

func newElectrician(seed uint64, p phrases, job board.Job) *electrician {
	return &electrician{
		rand: rand.New(rand.NewPCG(seed, 8)), phrases: p, placed: p.withPlace(), fixes: p.corrections(), ears: newListener(job),
		watch: func(int) {}, trouble: &trouble{},
	}
}

func (e *electrician) log(format string, args ...any) {
	e.journal = append(e.journal, fmt.Sprintf(format, args...))
	if len(e.journal) > 60 {
		e.journal = slices.Clone(e.journal[len(e.journal)-40:])
	}
}

// --- what a session is given

var errStuck = errors.New("soak: the electrician and waycall do not get on")

// Next gives the next frame of what he does, and has him think when that is over.
func (e *electrician) Next(ctx context.Context) (audio.Clip, error) {
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	if len(e.clip) == 0 {
		if err := e.think(); err != nil {
			return nil, err
		}
	}
	if err := e.trouble.listening(e); err != nil {
		return nil, err
	}
	n := min(audio.FrameSize, len(e.clip))
	frame := e.clip[:n:n]
	e.clip = e.clip[n:]
	e.watch(n)
	return frame, nil
}

func (e *electrician) Discard()     { e.clip = nil }
func (e *electrician) Close() error { return nil }

var storedTone = say.Tone("stored")

// Play hears what waycall says, to its end.
func (e *electrician) Play(ctx context.Context, sound audio.Clip) error {
	if err := e.trouble.speaking(e); err != nil {
		return err
	}
	if !e.gone && len(sound) >= len(storedTone) && slices.Equal(sound[:len(storedTone)], storedTone) {
		e.stored = true
	}
	e.watch(len(sound))
	return ctx.Err()
}

func (e *electrician) Speaking(text string) {
	if !e.gone {
		e.log("< %s", text)
		e.heard = strings.TrimSpace(e.heard + " " + text)
	}
}

func (e *electrician) Listening(string)      {}
func (e *electrician) Stored([]record.Event) {}
func (e *electrician) TooLong(time.Duration) {}
func (e *electrician) Heard(h hear.Heard) {
	e.log("  (%s %q %v)", h.Outcome, h.Best().Text, h.Words)
}

// --- what he makes of it

// gap is the quiet after a phrase, long enough to end a note.
const gap = 1700 * time.Millisecond

func quiet(d time.Duration) audio.Clip { return make(audio.Clip, int(d.Seconds()*audio.Rate)) }

// think takes in what was answered, and decides what to do next.
func (e *electrician) think() error {
	heard, stored := e.heard, e.stored
	e.heard, e.stored = "", false
	before := e.ears.at.Board
	e.ears.listen(heard)
	if heard == "" && !stored {
		return e.unanswered()
	}
	e.tries = 0
	if e.lost++; e.lost > 40 {
		return fmt.Errorf("%w:\n%s", errStuck, strings.Join(e.journal, "\n"))
	}
	resumed := strings.HasPrefix(heard, "Going on where this job stopped.")
	if resumed && e.waits && e.sure && !readBack(heard) {
		// "Confirm" was said, and it does not wait any more: it was stored
		// before the session was cut off.
		e.accepted()
		return e.goOn()
	}
	switch {
	case strings.Contains(heard, "Say carry on when you are ready"):
		return e.say(carryOn, "carry on")
	case offers(heard):
		e.Counts.Misheard++
		if e.waits || e.doing != giveValue || e.tries > 2 {
			return e.say(reject, "no")
		}
		return e.speak(giveValue, e.saying.spec.text)
	case readBack(heard):
		return e.readBack(heard)
	}
	switch e.doing {
	case confirm:
		if stored && e.waits {
			e.accepted()
			return e.goOn()
		}
		if e.waits && !resumed {
			e.waits, e.sure = false, false // it was heard as something else
			return e.say(ask, "what's next")
		}
	case answer:
		if stored {
			e.lost = 0
		}
	case again:
		if strings.HasPrefix(heard, "Way "+cardinal(e.way)+" is tested again") {
			e.ledger.retest(before, e.way)
			e.Counts.Retests++
			e.lost = 0
		}
	case scratch:
		if last := e.ledger.last(); last != nil && strings.Contains(heard, "taken off the schedule") {
			if !strings.Contains(plain(heard), plain(last.quantity().Spoken())+" is taken off the schedule") {
				return fmt.Errorf("soak: %s was to be taken back, and waycall says %q", last.written, heard)
			}
			last.standing = record.TakenOff
			e.Counts.Scratched++
		}
	case note:
		if strings.Contains(heard, "Say the note.") {
			return e.speak(dictate, pick(e.rand, notes))
		}
	case dictate:
		if strings.HasPrefix(heard, "Noted: ") {
			e.ledger.notes++
			e.Counts.Notes++
		}
	case finish:
		return io.EOF
	}
	e.waits, e.sure = false, false
	return e.goOn()
}

// unanswered is after quiet: what he said was not for waycall, or was missed.
func (e *electrician) unanswered() error {
	switch e.doing {
	case "", chat, rest, racket, finish:
		e.tries = 0
		return e.goOn()
	}
	e.Counts.Unanswered++
	if e.tries++; e.tries >= 3 {
		e.tries = 0
		if e.lost++; e.lost > 40 {
			return fmt.Errorf("%w:\n%s", errStuck, strings.Join(e.journal, "\n"))
		}
		if e.doing == dictate {
			return e.goOn()
		}
		return e.say(ask, "what's next")
	}
	switch e.doing {
	case giveValue, dictate:
		return e.speak(e.doing, e.said())
	case confirm:
		return e.say(confirm, pick(e.rand, yes))
	}
	return e.say(e.doing, e.said())
}

// said is what he said last.
func (e *electrician) said() string { return e.saying.spec.text }

// readBack is a reading read back: confirmed only if it is his.
func (e *electrician) readBack(heard string) error {
	given := e.doing == giveValue || e.waits || e.doing == ask || e.doing == note || e.doing == dictate || e.doing == confirm
	if !given || e.saying.slot == (record.Slot{}) || !e.ears.readsBack(heard, e.saying) {
		switch e.doing {
		case giveValue, confirm, ask:
			e.Counts.Misheard++
		case chat, racket, rest:
			e.Counts.Intruders++
		}
		e.waits, e.sure = false, false
		return e.say(reject, "no")
	}
	first := !e.waits
	e.waits = true
	if e.doing == dictate && strings.HasPrefix(heard, "Noted: ") {
		e.ledger.notes++
		e.Counts.Notes++
	}
	if first && e.doing == giveValue {
		e.lost = 0
		switch n := e.rand.IntN(1000); {
		case n < 15: // the instrument's last figure was still moving
			e.waits = false
			e.Counts.Corrections++
			return e.say(reject, "no")
		case n < 35:
			if text, written, ok := e.correction(); ok {
				e.Counts.Corrections++
				e.saying.written, e.waits = written, false
				return e.speak(giveValue, text)
			}
		case n < 40:
			return e.say(note, "make a note")
		}
	}
	e.sure = true
	return e.say(confirm, pick(e.rand, yes))
}

// correction is another figure for what waits, such as there is sound of.
func (e *electrician) correction() (text, written string, ok bool) {
	var fit []string
	for text, written := range e.fixes {
		if (value{written: written}).suits(e.saying.slot.Test) {
			fit = append(fit, text)
		}
	}
	if len(fit) == 0 {
		return "", "", false
	}
	slices.Sort(fit)
	text = pick(e.rand, fit)
	return text, e.fixes[text], true
}

// accepted is that the reading which waited is on the schedule.
func (e *electrician) accepted() {
	e.ledger.stored(e.saying)
	e.waits, e.sure, e.lost = false, false, 0
}

// goOn decides what to do when nothing waits.
func (e *electrician) goOn() error {
	if e.ended && !e.waits {
		return e.say(finish, "finish here")
	}
	switch n := e.rand.IntN(1000); {
	case n < 40:
		e.Counts.Talk++
		return e.speak(chat, pick(e.rand, chatter))
	case n < 40+e.silences():
		return e.pause()
	case n < 110+e.silences() && n >= 90+e.silences():
		e.Counts.Noises++
		kind := pick(e.rand, []noise.Kind{noise.Drill, noise.Hammer, noise.Fan, noise.Hum})
		seconds := 1 + e.rand.IntN(6)
		sound, err := noise.Noise(kind, seconds*audio.Rate, nil, e.rand.Uint64())
		if err != nil {
			return err
		}
		level := []float32{0.01, 0.03, 0.08}[e.rand.IntN(3)]
		for i := range sound {
			sound[i] *= level
		}
		e.doing = racket
		e.log("> (%s, %d s)", kind, seconds)
		e.clip = append(sound, quiet(4*time.Second)...)
		return nil
	case n >= 994:
		return e.say(note, "make a note")
	case n >= 988:
		return e.say(ask, "what's next")
	case n >= 978 && e.ledger.last() != nil && e.doing == confirm:
		return e.say(scratch, "scratch that")
	}
	switch d := e.ears.due; d.kind {
	case "step":
		e.step = d.step
		return e.say(answer, pick(e.rand, steps[d.step]))
	case "test":
		if e.rand.IntN(12) == 0 && e.elsewhere(d.slot) {
			e.Counts.OutOfOrder++
			return e.speak(giveValue, e.saying.spec.text)
		}
		list := values[d.slot.Test]
		v := pick(e.rand, list)
		if d.slot.Test.Insulation() && e.rand.IntN(150) == 0 {
			v = lowMegohms
		}
		e.saying = said{slot: d.slot, written: v.written}
		return e.speak(giveValue, v.said)
	case "nothing":
		if e.rand.IntN(4) == 0 && len(e.ears.job.Boards) > 1 {
			return e.say(toBoard, "board "+cardinal(1+e.rand.IntN(len(e.ears.job.Boards))))
		}
		if b := e.ears.job.Board(e.ears.at.Board); b != nil {
			e.way = b.Ways[e.rand.IntN(len(b.Ways))].Number
			return e.say(again, "test way "+cardinal(e.way)+" again")
		}
	}
	return e.say(ask, "what's next")
}

// silences is how often in a thousand turns he says nothing for a while.
func (e *electrician) silences() int { return 260 }

// pause is a while without a word.
func (e *electrician) pause() error {
	e.Counts.Silences++
	e.doing = rest
	d := time.Duration(2+e.rand.IntN(40)) * time.Second
	e.log("> (%v of silence)", d)
	e.clip = quiet(d)
	return nil
}

// elsewhere finds a reading that is not what is due: on another way of the board, or
// in place of one that stands.
func (e *electrician) elsewhere(due record.Slot) bool {
	var fit []placed
	for _, p := range e.placed {
		w := e.ears.job.Way(due.Board, p.way)
		if w == nil || w.TwoWay || p.test.Live() != due.Test.Live() || p.way == due.Way && p.test == due.Test {
			continue
		}
		if p.replace && !slices.ContainsFunc(e.ledger.entries, func(x entry) bool {
			return x.standing == record.Stands && x.slot == record.Slot{Board: due.Board, Way: p.way, Test: p.test}
		}) {
			continue
		}
		fit = append(fit, p)
	}
	if len(fit) == 0 {
		return false
	}
	p := pick(e.rand, fit)
	e.saying = said{slot: record.Slot{Board: due.Board, Way: p.way, Test: p.test}, written: p.written, place: true}
	e.saying.spec.text = p.said
	return true
}

// say says something that is no reading; the one that waits is kept in mind.
func (e *electrician) say(what act, text string) error {
	clip, _, err := e.sound(text)
	if err != nil {
		return err
	}
	if !e.waits {
		e.saying = said{}
	}
	if e.saying.slot == (record.Slot{}) {
		e.saying.spec.text = text
	}
	return e.begin(what, text, clip)
}

// speak says something whose sound matters: a reading, a note or talk.
func (e *electrician) speak(what act, text string) error {
	clip, spec, err := e.sound(text)
	if err != nil {
		return err
	}
	if what == giveValue {
		e.Counts.Values++
		e.saying.spec = spec
	} else if !e.waits {
		e.saying = said{spec: spec}
	}
	return e.begin(what, text, clip)
}

func (e *electrician) begin(what act, text string, clip audio.Clip) error {
	e.doing = what
	if what != chat {
		e.Counts.Phrases++
	}
	e.log("> %s", text)
	e.clip = append(slices.Clone(clip), quiet(gap)...)
	e.trouble.arm(e, what, len(clip))
	return nil
}

// sound makes the sound of a phrase, in one of its recordings, as it may sound on site.
func (e *electrician) sound(text string) (audio.Clip, spec, error) {
	text = plain(text)
	takes := e.phrases[text]
	if len(takes) == 0 {
		return nil, spec{}, fmt.Errorf("soak: there is no sound of %q", text)
	}
	s := spec{text: text, take: e.rand.IntN(len(takes)), seed: e.rand.Uint64()}
	c := &s.degrade
	if e.rand.IntN(2) == 0 {
		c.Speed = 0.95 + 0.15*e.rand.Float64()
	}
	c.Levelled, c.Level = true, -32+14*e.rand.Float64()
	switch n := e.rand.IntN(100); {
	case n < 4:
		c.Reverb = true
	case n < 20:
		c.Noise = []noise.Added{{Kind: noise.Site, SNR: 20 + 10*e.rand.Float64()}}
	case n < 25:
		c.Noise = []noise.Added{{Kind: pick(e.rand, []noise.Kind{noise.Fan, noise.Drill, noise.Hum}), SNR: 14 + 6*e.rand.Float64()}}
	}
	clip, err := e.remake(s)
	return clip, s, err
}

// remake makes the sound of a phrase again.
func (e *electrician) remake(s spec) (audio.Clip, error) {
	clip, err := s.degrade.Apply(e.phrases[s.text][s.take], nil, s.seed)
	if err != nil {
		return nil, err
	}
	return without(clip, s.at, s.cut), nil
}

// without is a clip from which samples were lost.
func without(clip audio.Clip, at, cut int) audio.Clip {
	return append(clip[:at:at], clip[min(at+cut, len(clip)):]...)
}
