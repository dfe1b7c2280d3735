package talk

import (
	"encoding/json"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"waycall/internal/board"
	"waycall/internal/phrase"
	"waycall/internal/reading"
	"waycall/internal/record"
	"waycall/internal/sequence"
)

var commands = []phrase.Command{
	"", phrase.Confirm, phrase.No, phrase.Scratch, phrase.SayAgain, phrase.WhatsNext, phrase.WhatsLeft, phrase.Skip,
	phrase.NotApplicable, phrase.Limitation, phrase.GoBack, phrase.GoTo, phrase.ReadBack, phrase.TestAgain, phrase.Pause,
	phrase.CarryOn, phrase.Finish, phrase.Note, phrase.First, phrase.Second, phrase.Reason, phrase.Isolated,
	phrase.ProvedDead, phrase.LampsOut, phrase.LoadsOut, phrase.SwitchesOn, phrase.SurgeOut, phrase.LeadsChecked,
	phrase.PolarityCorrect, phrase.PolarityWrong, "hum",
}

// likely are what a conversation is mostly made of.
var likely = []phrase.Command{"", "", "", phrase.Confirm, phrase.Confirm, phrase.No, phrase.Scratch, phrase.First}

var values = []string{"", "", ">999", "206", "260", "0.4", "1.5", "<5", ">99", "999", "1200", "0", "3.10"}

func meaning(command phrase.Command, way int, test reading.Test, value string, unit reading.Unit, reason string) phrase.Meaning {
	m := phrase.Meaning{Command: command, Way: way, Test: test, Reason: reason}
	if value != "" {
		q, err := reading.ParseQuantity(value, unit)
		if err != nil {
			panic(err)
		}
		m.Quantity = q
	}
	return m
}

var someTests = []reading.Test{"", "", "", reading.LNE, reading.LN, reading.LE, reading.NE, reading.LL, reading.Zs}

func anyMeaning(t *rapid.T) phrase.Meaning {
	command := rapid.OneOf(rapid.SampledFrom(likely), rapid.SampledFrom(commands)).Draw(t, "command")
	way := rapid.SampledFrom([]int{0, 0, 0, 1, 2, 3, 8, 10, 31}).Draw(t, "way")
	switch command {
	case "":
		m := meaning("", way, rapid.SampledFrom(someTests).Draw(t, "test"), rapid.SampledFrom(values).Draw(t, "value"),
			rapid.SampledFrom([]reading.Unit{"", "", "", reading.Megohm, reading.Ohm}).Draw(t, "unit"), "")
		m.OverRange = m.Quantity.Bound == ""
		return m
	case phrase.No:
		return meaning(command, 0, "", rapid.SampledFrom(values).Draw(t, "value"), "", "")
	case phrase.GoTo, phrase.ReadBack, phrase.TestAgain:
		return meaning(command, way, "", "", "", "")
	}
	return meaning(command, 0, "", "", "", rapid.SampledFrom([]string{"", "no access"}).Draw(t, "reason"))
}

func anyTurn(t *rapid.T, at time.Time) Event {
	switch rapid.IntRange(0, 19).Draw(t, "event") {
	case 0:
		return Silence{at}
	case 1:
		return NotUnderstood{at}
	case 2:
		return Beyond{at, anyMeaning(t)}
	case 3:
		return Failed{at, "The disk is full.", rapid.Bool().Draw(t, "lost")}
	case 4:
		return Begin{At: at}
	case 5, 6, 7:
		h := Heard{At: at, Meaning: anyMeaning(t)}
		for range rapid.IntRange(0, 3).Draw(t, "candidates") {
			h.Candidates = append(h.Candidates, anyMeaning(t))
		}
		return h
	}
	return Heard{At: at, Meaning: anyMeaning(t), Phrase: record.Phrase{Agreed: true}}
}

// talker is a player that also checks how readings get onto the schedule.
type talker struct {
	player
	heard string // what was said last
}

func newTalker(t testing.TB, job board.Job) *talker {
	p := &talker{player: player{t: t, at: start}}
	p.do(Begin{start, job})
	return p
}

func (p *talker) do(e Event) {
	p.t.Helper()
	p.at = p.at.Add(time.Second)
	before := p.state
	frozen, _ := json.Marshal(before.Record)
	out := p.step(e)
	if after, _ := json.Marshal(before.Record); string(after) != string(frozen) {
		p.t.Fatalf("%#v changed the state before it", e)
	}
	r := p.state.Record
	if len(r.Readings) > len(before.Record.Readings) {
		h, ok := e.(Heard)
		if !ok || !h.Phrase.Agreed || h.Meaning.Command != phrase.Confirm {
			p.t.Fatalf("%#v put a reading on the schedule", e)
		}
		x := r.Readings[len(r.Readings)-1]
		for _, words := range []string{capital(named(x.Slot)), x.Quantity.Spoken(), "Confirm?"} {
			if !strings.Contains(p.heard, words) {
				p.t.Fatalf("%v was stored, but what was said before was %q", x, p.heard)
			}
		}
		if !sequence.Prepared(before.Record) {
			p.t.Fatalf("%v was stored before the preparation was answered", x)
		}
	}
	for _, line := range out {
		if words, ok := strings.CutPrefix(line, "< "); ok {
			p.heard = words
		}
	}
	// Whatever was said while something waits ends by saying it.
	if r.Pending != nil && !r.Paused && p.state.offer == nil && len(out) > 0 && !strings.HasSuffix(p.heard, "Confirm?") {
		p.t.Fatalf("%#v: %v waits, but what was said is %q", e, r.Pending, p.heard)
	}
}

func (p *talker) phrase(m phrase.Meaning) {
	p.t.Helper()
	p.do(Heard{At: p.at, Meaning: m, Phrase: record.Phrase{Agreed: true}})
}

// finishWork answers whatever is asked, as a willing electrician would, and
// fails when that leads nowhere.
func (p *talker) finishWork() {
	p.t.Helper()
	for range 400 {
		r := p.state.Record
		d, due := sequence.Next(r)
		switch {
		case r.Finished:
			p.do(Begin{At: p.at})
		case r.Paused:
			p.phrase(phrase.Meaning{Command: phrase.CarryOn})
		case p.state.offer != nil:
			p.phrase(phrase.Meaning{Command: phrase.First})
		case p.state.reason != nil:
			p.phrase(phrase.Meaning{Command: phrase.Reason, Reason: "no access"})
		case r.Pending != nil:
			p.phrase(phrase.Meaning{Command: phrase.Confirm})
		case !due:
			p.phrase(phrase.Meaning{Command: phrase.Finish})
			if !p.state.Record.Finished || len(sequence.Remaining(p.state.Record)) > 0 {
				p.t.Fatalf("finished with %v remaining", sequence.Remaining(p.state.Record))
			}
			return
		case d.Step != nil:
			p.phrase(phrase.Meaning{Command: phrase.Command(d.Step.ID)})
		default:
			p.phrase(phrase.Meaning{OverRange: true})
		}
	}
	p.t.Fatalf("a dead end: %+v", p.state)
}

// rapidTB lets a property test use helpers made for testing.TB.
type rapidTB struct {
	testing.TB
	t *rapid.T
}

func (r rapidTB) Helper()                   {}
func (r rapidTB) Fatal(a ...any)            { r.t.Fatal(a...) }
func (r rapidTB) Fatalf(f string, a ...any) { r.t.Fatalf(f, a...) }

// Whatever is said and misheard: only a reading that was just read back and
// agreed to by "confirm" is stored, the facts alone give the same record, no
// state is changed from behind, and the work can always be brought to its end.
func TestConversationProperties(t *testing.T) {
	job := readJob(t, "terrace.yaml")
	rapid.Check(t, func(rt *rapid.T) {
		p := newTalker(rapidTB{t, rt}, job)
		if rapid.Bool().Draw(rt, "prepared") {
			for _, step := range sequence.Steps(job) {
				p.phrase(phrase.Meaning{Command: phrase.Command(step.ID)})
			}
		}
		for range rapid.IntRange(0, 40).Draw(rt, "turns") {
			p.do(anyTurn(rt, p.at))
			if rapid.IntRange(0, 30).Draw(rt, "crash") == 0 {
				p.state = State{Record: p.state.Record}
				p.do(Begin{At: p.at})
			}
		}
		p.finishWork()
	})
}

// A disputed phrase never stores, drops, moves or ends anything, unless it is a
// value, which then is only offered or read back.
func TestDisputedNeverActs(t *testing.T) {
	job := readJob(t, "terrace.yaml")
	rapid.Check(t, func(rt *rapid.T) {
		p := newTalker(rapidTB{t, rt}, job)
		for _, step := range sequence.Steps(job) {
			p.phrase(phrase.Meaning{Command: phrase.Command(step.ID)})
		}
		for range rapid.IntRange(0, 10).Draw(rt, "turns") {
			p.do(anyTurn(rt, p.at))
		}
		if p.state.Record.Finished {
			return
		}
		h := Heard{At: p.at, Meaning: anyMeaning(rt), Candidates: []phrase.Meaning{anyMeaning(rt)}}
		n := len(p.log)
		p.do(h)
		for _, e := range p.log[n:] {
			switch e.Kind {
			case record.Heard, record.Said:
			case record.Dropped, record.Proposed:
				if !h.Meaning.HasValue() && (h.Meaning != phrase.Meaning{}) {
					rt.Fatalf("%+v gave %s", h, e.Kind)
				}
			default:
				rt.Fatalf("%+v gave %s", h, e.Kind)
			}
		}
	})
}

// FuzzStep reads a conversation from bytes, four to a turn.
func FuzzStep(f *testing.F) {
	job := readJob(f, "terrace.yaml")
	f.Add([]byte{8, 21, 0, 0, 8, 22, 0, 0, 8, 26, 0, 0, 8, 23, 0, 0, 8, 24, 0, 0, 8, 25, 0, 0, 8, 27, 0, 0, 8, 0, 0, 2, 8, 1, 0, 0})
	f.Add([]byte("any talk at all"))
	f.Fuzz(func(t *testing.T, data []byte) {
		if len(data) > 400 {
			return
		}
		p := newTalker(t, job)
		for ; len(data) >= 4; data = data[4:] {
			command := commands[int(data[1])%len(commands)]
			m := meaning(command, int(data[2]%12), someTests[int(data[2]/12)%len(someTests)], values[int(data[3])%len(values)], "", []string{"", "no access"}[data[3]>>7])
			switch data[0] % 12 {
			case 0:
				p.do(Silence{p.at})
			case 1:
				p.do(NotUnderstood{p.at})
			case 2:
				p.do(Beyond{p.at, m})
			case 3:
				p.do(Failed{p.at, "The microphone is gone.", data[3]&1 == 1})
			case 4:
				p.do(Begin{At: p.at})
			case 5:
				other := m
				other.OverRange = true
				p.do(Heard{At: p.at, Meaning: m, Candidates: []phrase.Meaning{other}})
			default:
				p.phrase(m)
			}
		}
		p.finishWork()
	})
}

// Every preparation step is answered by a phrase of the grammar.
func TestStepsAreAnsweredByPhrases(t *testing.T) {
	g := loadGrammar(t)
	for _, step := range sequence.Steps(readJob(t, "terrace.yaml")) {
		if m, ok := g.Meaning(step.ID); !ok || string(m.Command) != step.ID {
			t.Errorf("%q means %+v", step.ID, m)
		}
		if !strings.Contains(strings.ToLower(step.Question), step.ID) {
			t.Errorf("%q does not say how it is answered", step.Question)
		}
	}
}

// The sound of the value, not that of the "confirm", is what a reading rests on.
func TestReadingRestsOnItsSound(t *testing.T) {
	p := newTalker(t, readJob(t, "terrace.yaml"))
	for _, step := range sequence.Steps(p.state.Record.Job) {
		p.phrase(phrase.Meaning{Command: phrase.Command(step.ID)})
	}
	p.do(Heard{At: p.at, Meaning: meaning("", 0, "", "486", "", ""), Candidates: []phrase.Meaning{meaning("", 0, "", "46", "", "")}})
	disputed := p.state.Record.LastID - 1
	p.phrase(phrase.Meaning{Command: phrase.Second})
	p.phrase(phrase.Meaning{Command: phrase.Confirm})
	r, ok := p.state.Record.Last()
	if !ok || r.Quantity.Figure() != "46" || r.HeardID != disputed || p.log[disputed-1].Kind != record.Heard {
		t.Errorf("reading %+v rests on %d, want %d", r, r.HeardID, disputed)
	}
}

func TestAnotherBoardIsRefused(t *testing.T) {
	job := readJob(t, "terrace.yaml")
	p := newTalker(t, job)
	other := job
	other.Address = "Elsewhere"
	n := len(p.log)
	p.do(Begin{p.at, other})
	if len(p.log) != n || !strings.Contains(p.heard, "differs") {
		t.Errorf("facts %v, said %q", p.log[n:], p.heard)
	}
}

// A session that could not write keeps its state and can say so.
func TestFailedWritesNothing(t *testing.T) {
	p := newTalker(t, readJob(t, "terrace.yaml"))
	n := len(p.log)
	p.do(Failed{p.at, "The disk is full.", true})
	if len(p.log) != n || !strings.HasPrefix(p.heard, "The disk is full.") {
		t.Errorf("facts %v, said %q", p.log[n:], p.heard)
	}
}
