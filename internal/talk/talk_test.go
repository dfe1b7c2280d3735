package talk

import (
	"encoding/json"
	"math/rand/v2"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"waycall/internal/board"
	"waycall/internal/board/boardtest"
	"waycall/internal/check"
	"waycall/internal/phrase"
	"waycall/internal/reading"
	"waycall/internal/record"
	"waycall/internal/sequence"
)

var commands = []phrase.Command{
	"", phrase.Confirm, phrase.No, phrase.Scratch, phrase.SayAgain, phrase.WhatsNext, phrase.WhatsLeft, phrase.Skip,
	phrase.NotApplicable, phrase.Limitation, phrase.GoBack, phrase.GoTo, phrase.ReadBack, phrase.TestAgain, phrase.Pause,
	phrase.CarryOn, phrase.Finish, phrase.Note, phrase.First, phrase.Second, phrase.Reason, sequence.Isolated,
	sequence.ProvedDead, sequence.LampsOut, sequence.LoadsOut, sequence.SwitchesOn, sequence.SurgeOut, phrase.LeadsChecked,
	phrase.Correct, phrase.Incorrect, phrase.GoToBoard, phrase.DeadTestsComplete, phrase.ReadyForLive, "hum",
	phrase.OnlyBound, phrase.OnlyWay, phrase.OnlyTest, phrase.Undo, phrase.Undo, phrase.Replace, phrase.Several, phrase.SayAgainSlow,
	phrase.Slower, phrase.Faster, phrase.Brief, phrase.InFull, sequence.NoticesUp, sequence.IndicatorOK, sequence.TestedDead, phrase.TwoFifty,
	sequence.ElectronicsOut, sequence.LinksAsFound, sequence.LeadsJoined, sequence.LeadsApart, phrase.NotPossible, phrase.EnergisedAgain, phrase.Observation,
}

// likely are what a conversation is mostly made of.
var likely = []phrase.Command{"", "", "", phrase.Confirm, phrase.Confirm, phrase.No, phrase.Scratch, phrase.First, phrase.Correct, phrase.GoToBoard, phrase.ReadyForLive}

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

var someTests = []reading.Test{"", "", "", "", "", reading.LNE, reading.LN, reading.LE, reading.NE, reading.LL, reading.L1E, reading.L1L2, reading.Zs, reading.Ze, reading.RA,
	reading.PFC, reading.PSC, reading.R1R2, reading.R2, reading.RingR1, reading.RingRn, reading.RingR2, reading.RingLN, reading.RingLE,
	reading.Earthing, reading.Bonding, reading.RCD1x, reading.RCD5x, reading.RCDRamp}

var judgedTests = []reading.Test{reading.Polarity, reading.Polarity, reading.Functional, reading.RCDButton, reading.RCDHalf, reading.PhaseSequence}

// someJobs are what is tested: insulation alone, one board whole, three boards.
func someJobs(t testing.TB) []board.Job {
	whole := boardtest.Read(t, "terrace.yaml")
	whole.Tests = nil
	return []board.Job{boardtest.Read(t, "terrace.yaml"), whole, boardtest.Read(t, "workshop.yaml")}
}

// pick chooses one of n. Conversations are drawn by rapid, which shrinks what
// fails; evenly at random, which reaches what rapid's liking for small numbers
// seldom does; and from the bytes of a fuzzer.
type pick func(n int) int

func one[T any](p pick, from []T) T { return from[p(len(from))] }

func drawn(t *rapid.T) pick {
	return func(n int) int { return rapid.IntRange(0, n-1).Draw(t, "pick") }
}

func anyMeaning(p pick) phrase.Meaning {
	command := one(p, [][]phrase.Command{likely, commands})
	way := one(p, []int{0, 0, 0, 1, 2, 3, 8, 10, 31})
	switch c := one(p, command); c {
	case "":
		m := meaning("", way, one(p, someTests), one(p, values), one(p, []reading.Unit{"", "", "", reading.Megohm, reading.Ohm}), "")
		m.OverRange = m.Quantity.Bound == ""
		if p(6) == 0 {
			m = ends(way, one(p, values[2:]), one(p, values[2:]), one(p, values[2:]))
		}
		return m
	case phrase.Correct, phrase.Incorrect:
		return meaning(c, way, one(p, judgedTests), "", "", "")
	case phrase.GoToBoard:
		return phrase.Meaning{Command: c, Board: p(5)}
	case phrase.No:
		return meaning(c, 0, "", one(p, values), "", "")
	case phrase.GoTo, phrase.ReadBack, phrase.TestAgain, phrase.OnlyWay:
		return meaning(c, way, "", "", "", "")
	case phrase.OnlyBound:
		return phrase.Meaning{Command: c, Quantity: reading.Quantity{Bound: one(p, []reading.Bound{reading.GreaterThan, reading.LessThan})}}
	case phrase.OnlyTest:
		return meaning(c, 0, one(p, someTests[5:]), "", "", "")
	case phrase.Undo:
		return meaning(c, max(way, 1), one(p, someTests), "", "", "")
	case phrase.Replace:
		return meaning(c, max(way, 1), one(p, someTests[5:]), one(p, values[2:]), "", "")
	case phrase.Several:
		m := meaning(c, max(way, 1), one(p, someTests[5:]), one(p, []string{"", ">999", ">99", "200"}), "", "")
		m.OverRange, m.Last = m.Quantity.Bound == "", m.Way+p(5)
		return m
	case sequence.LeadsJoined, sequence.LeadsApart:
		m := meaning(c, 0, "", one(p, values), "", "")
		m.OverRange = m.Quantity.Bound == ""
		return m
	case phrase.Observation:
		return phrase.Meaning{Command: c, Way: way, Code: "C2"}
	default:
		return meaning(c, 0, "", "", "", one(p, []string{"", "no access"}))
	}
}

// ends are the ends of a ring in one breath.
func ends(way int, r1, rn, r2 string) phrase.Meaning {
	m := meaning("", way, reading.RingR1, r1, reading.Ohm, "")
	for i, text := range []string{rn, r2} {
		m.Then[i] = phrase.Part{Test: [...]reading.Test{reading.RingRn, reading.RingR2}[i], Quantity: meaning("", 0, "", text, reading.Ohm, "").Quantity}
	}
	return m
}

// anyValue is a reading without a place, the usual thing to dispute.
func anyValue(p pick) phrase.Meaning { return meaning("", 0, "", one(p, values[2:]), "", "") }

func anyTurn(p pick, at time.Time) Event {
	switch p(22) {
	case 20:
		return Tapped{at, one(p, []phrase.Command{phrase.Confirm, phrase.Confirm, phrase.No, phrase.SayAgain})}
	case 21:
		return Interrupted{at}
	case 0:
		return Silence{at}
	case 1:
		return NotUnderstood{at, p(2) == 0, p(2) == 0}
	case 2:
		return Beyond{at, anyMeaning(p)}
	case 3:
		return Failed{At: at, What: "The disk is full.", Lost: p(2) == 0, Unsure: p(4) == 0, Next: Next(p(3))}
	case 4:
		if p(2) == 0 {
			return Dictated{At: at, Phrase: record.Phrase{Text: one(p, []string{"", "a lid is cracked", "scratch that"})}, Cut: p(9) == 0}
		}
		return Begin{At: at}
	case 5, 6:
		return Heard{At: at, Meaning: anyValue(p), Candidates: []phrase.Meaning{anyValue(p)}}
	case 7:
		h := Heard{At: at, Meaning: anyMeaning(p)}
		for range p(3) {
			h.Candidates = append(h.Candidates, anyMeaning(p))
		}
		return h
	}
	return Heard{At: at, Meaning: anyMeaning(p), Phrase: record.Phrase{Agreed: true}}
}

// talker is a player that also checks how readings get onto the schedule.
type talker struct {
	player
	heard  string // what was said last
	passed bool   // and a tone said that it passes
	habit  record.Habit
}

func newTalker(t testing.TB, job board.Job) *talker { return newTalkerOf(t, job, record.Each) }

func newTalkerOf(t testing.TB, job board.Job, habit record.Habit) *talker {
	p := &talker{player: player{t: t, at: start}, habit: habit}
	p.do(Begin{At: start, Job: job, Habit: habit})
	return p
}

func (p *talker) do(e Event) {
	p.t.Helper()
	// While nothing can be taken nothing is asked, and no phrase is either: the session
	// asks again first.
	if f, failed := e.(Failed); failed && (f.Next == Holds || f.Next == Ends) {
		if out := strings.Join(p.step(f), " "); strings.Contains(out, "Confirm?") || strings.Contains(out, "Say them again") {
			p.t.Fatalf("%#v asks: %s", e, out)
		}
		e = Failed{At: f.At, What: "The record can be written again.", Next: Asks}
	}
	p.at = p.at.Add(time.Second)
	if b, ok := e.(Begin); ok {
		b.Habit = p.habit
		e = b
	}
	before := p.state
	now := p.at.Second()%10 == 0 // it takes its time
	frozen := ""
	if now {
		text, _ := json.Marshal(before.Record)
		frozen = string(text)
	}
	out := p.step(e)
	if now {
		if after, _ := json.Marshal(before.Record); string(after) != frozen {
			p.t.Fatalf("%#v changed the state before it", e)
		}
	}
	r := p.state.Record
	if len(r.Readings) > len(before.Record.Readings) {
		h, ok := e.(Heard)
		added := r.Readings[len(before.Record.Readings):]
		tap, tapped := e.(Tapped)
		if before.unheard {
			p.t.Fatalf("%#v stores what was cut short", e)
		}
		if said := tapped && tap.Means == phrase.Confirm && added[0].ByKey || ok && !added[0].ByKey && h.Phrase.Agreed && (h.Meaning.Command == phrase.Confirm || h.Meaning.Command == phrase.Right); !said || added[0].Implied {
			if !ok || said || !added[0].Implied || !before.Record.Pending.MayBeImplied() || r.Habit != record.Agreed || !gives(h.Meaning) && !answersStep(h.Meaning, before.Record) {
				p.t.Fatalf("%#v put a reading on the schedule", e)
			}
		}
		p.stored(before, r.Readings[len(before.Record.Readings):])
	}
	for _, line := range out {
		if words, ok := strings.CutPrefix(line, "< "); ok {
			p.passed = slices.Contains(out, "* "+string(Passed)) || p.passed && words == p.heard
			p.heard = words
		}
	}
	// What is offered is in the record, for the screens, for as long as it is.
	if len(r.Offers) != len(p.state.offer) && !isCaught(e) {
		p.t.Fatalf("%#v: %v is offered, and the record says %v", e, p.state.offer, r.Offers)
	}
	// Whatever is said while something waits says it.
	if r.Pending != nil && !r.Paused && p.state.offer == nil && p.state.dictation == nil && len(out) > 0 && !isCaught(e) && !p.says(p.state, r.Pending.Each()) {
		p.t.Fatalf("%#v: %v waits, but what was said is %q", e, r.Pending, p.heard)
	}
}

// answersStep reports whether a phrase answers, by its own name, a step that is due once
// what waits is stored and that goes on with the work.
func answersStep(m phrase.Meaning, r record.State) bool {
	for _, s := range sequence.Steps(r.Job, r.Pending.Slot.Board) {
		if s.ID == string(m.Command) {
			return goesOn(s)
		}
	}
	return false
}

// isCaught reports whether an event is answered by a tone alone.
func isCaught(e Event) bool { _, ok := e.(NotUnderstood); return ok }

// says reports whether what was said last gives all that waits: its figures, and
// its places unless a value was said on its own, in answer to what is due.
func (p *talker) says(s State, all []record.Proposal) bool {
	was := turn{s: s}
	heard := strings.ToLower(p.heard)
	for _, x := range all {
		full := strings.TrimSpace(figure(x.Quantity, x.Doubted) + " " + unit(x.Quantity))
		words := []string{was.name(x.Slot), full}
		switch {
		case manyWays(all) && x.Slot.Test.Judged():
			words = []string{was.ways(all), x.Slot.Test.Spoken() + " " + x.Quantity.Spoken(), "confirm?"}
		case manyWays(all):
			words = []string{way(x.Slot.Way), was.tested(x.Slot), x.Quantity.Spoken(), "confirm?"}
		case len(all) > 1 && p.passed:
			words = []string{end(x.Slot.Test) + " " + figure(x.Quantity, false)}
		case len(all) > 1:
			words = []string{way(x.Slot.Way) + ".", end(x.Slot.Test) + " " + figure(x.Quantity, x.Doubted)}
		case p.passed:
			// In words, or figure by figure, and the place as far as it was named.
			spoken := strings.Replace(figure(x.Quantity, false), "greater than", "over", 1)
			grouped := strings.Replace(strings.ReplaceAll(x.Quantity.Grouped(), ", ", " "), "greater than", "over", 1)
			if said := " " + heard; !strings.Contains(said, " "+spoken+".") && !strings.Contains(said, " "+grouped+".") &&
				!strings.HasPrefix(said, " "+strings.TrimPrefix(spoken, "nought ")+".") {
				return false
			}
			words = nil
		}
		if p.passed && (x.Verdict.Result != check.Pass || x.Doubted && !manyWays(all)) {
			return false // it is not told by a tone
		}
		if x.Doubted && !strings.HasSuffix(heard, "confirm?") {
			return false
		}
		for _, w := range words {
			if !strings.Contains(heard, strings.ToLower(w)) {
				return false
			}
		}
	}
	return true
}

// stored checks that what was put on the schedule was just read back, and could
// be measured.
func (p *talker) stored(before State, readings []*record.Reading) {
	p.t.Helper()
	if len(readings) != 1+len(before.Record.Pending.Then) {
		p.t.Fatalf("%d readings were stored at once of %+v", len(readings), before.Record.Pending)
	}
	if !p.says(before, before.Record.Pending.Each()) {
		p.t.Fatalf("%v was stored, but what was said before was %q", readings, p.heard)
	}
	for _, x := range readings {
		on, live := before.Record.Answered(x.Slot.Board, sequence.ReadyForLive)
		off, dead := before.Record.Answered(x.Slot.Board, sequence.Isolated)
		again, energised := before.Record.Answered(x.Slot.Board, sequence.EnergisedAgain)
		proved, _ := before.Record.Answered(x.Slot.Board, sequence.ProvedDead)
		switch _, no := sequence.Blocked(before.Record, x.Slot); {
		case !sequence.Prepared(before.Record, x.Slot.Board):
			p.t.Fatalf("%v was stored before the preparation was answered", x)
		case no || sequence.Live(x.Slot) && !sequence.Ready(before.Record, x.Slot.Board):
			p.t.Fatalf("%v was stored before its board was ready for live tests", x)
		case !sequence.Live(x.Slot) && live && dead && off.EventID < on.EventID:
			p.t.Fatalf("%v was stored with the supply on", x)
		case !sequence.Live(x.Slot) && energised && proved.EventID < again.EventID:
			p.t.Fatalf("%v was stored after the supply was put on, and the board not proved dead", x)
		}
	}
}

func (p *talker) prepare() {
	p.t.Helper()
	for {
		d, due := sequence.Next(p.state.Record)
		if !due || d.Step == nil || d.Step.Live {
			return
		}
		m, _ := p.willing()
		p.phrase(m)
	}
}

func (p *talker) phrase(m phrase.Meaning) {
	p.t.Helper()
	p.do(Heard{At: p.at, Meaning: m, Phrase: record.Phrase{Agreed: true}})
}

// willing is what a willing electrician says now; false when all is done.
func (p *player) willing() (phrase.Meaning, bool) {
	r := p.state.Record
	d, due := p.state.due()
	switch {
	case r.Paused:
		return phrase.Meaning{Command: phrase.CarryOn}, true
	case p.state.offer != nil:
		return phrase.Meaning{Command: phrase.First}, true
	case p.state.reason != nil && p.state.reason.why != "":
		return phrase.Meaning{Command: phrase.Reason, Reason: "agreed with the client"}, true
	case p.state.reason != nil:
		return phrase.Meaning{Command: phrase.Reason, Reason: "no access"}, true
	case r.Pending != nil:
		return phrase.Meaning{Command: phrase.Confirm}, true
	case p.state.greater != nil:
		return meaning("", 0, "", ">500", "", ""), true
	case !due:
		return phrase.Meaning{}, false
	case p.state.stay != 0:
		return phrase.Meaning{Command: phrase.CarryOn}, true
	case d.Step != nil && d.Step.Unit == reading.Ohm:
		return meaning(sequence.LeadsJoined, 0, "", "0.1", "", ""), true
	case d.Step != nil && d.Step.Unit != "":
		return meaning(sequence.LeadsApart, 0, "", ">999", "", ""), true
	case d.Step != nil && d.Step.ID == sequence.WholeFirst:
		return phrase.Meaning{Command: sequence.WayByWay}, true
	case d.Step != nil:
		return phrase.Meaning{Command: phrase.Command(d.Step.ID)}, true
	case d.Slot.Test.Judged():
		return phrase.Meaning{Command: phrase.Correct, Test: d.Slot.Test}, true
	case d.Slot.Test.Insulation() && d.Volts == 500: // where the scale of the tests' boards ends is known
		return phrase.Meaning{OverRange: true}, true
	case d.Slot.Test.Insulation():
		return meaning("", 0, "", ">999", "", ""), true
	}
	return meaning("", 0, "", "0.2", "", ""), true
}

// finishWork answers whatever is asked, as a willing electrician would, and
// fails when that leads nowhere.
func (p *talker) finishWork() {
	p.t.Helper()
	if p.state.Record.Finished {
		p.do(Begin{At: p.at})
	}
	for range 1500 {
		m, more := p.willing()
		if more {
			p.phrase(m)
			continue
		}
		p.phrase(phrase.Meaning{Command: phrase.Finish})
		if !p.state.Record.Finished || len(sequence.Remaining(p.state.Record)) > 0 {
			p.t.Fatalf("finished with %v remaining", sequence.Remaining(p.state.Record))
		}
		again, err := record.Fold(p.log)
		if err != nil || !reflect.DeepEqual(again, p.state.Record) {
			p.t.Fatalf("the whole log gives another record, %v", err)
		}
		return
	}
	p.t.Fatalf("a dead end: %q after %+v", p.heard, p.state)
}

// rapidTB lets a property test use helpers made for testing.TB.
type rapidTB struct {
	testing.TB
	t *rapid.T
}

func (r rapidTB) Helper()                   {}
func (r rapidTB) Fatal(a ...any)            { r.t.Fatal(a...) }
func (r rapidTB) Fatalf(f string, a ...any) { r.t.Fatalf(f, a...) }

// converse plays a conversation of any turns, with crashes, to its end.
func converse(p pick, t testing.TB, job board.Job, turns int) {
	k := newTalkerOf(t, job, one(p, []record.Habit{record.Each, record.Agreed}))
	if p(3) > 0 {
		k.prepare()
	}
	if p(2) == 0 {
		// Somewhere in the middle of the work.
		for range p(400) {
			m, more := k.willing()
			if !more {
				break
			}
			k.phrase(m)
		}
	}
	for range turns {
		if m, more := k.willing(); more && p(4) == 0 {
			k.phrase(m)
			continue
		}
		k.do(anyTurn(p, k.at))
		if p(30) == 0 {
			k.state = State{Record: k.state.Record}
			k.do(Begin{At: k.at})
		}
	}
	k.finishWork()
}

// Whatever is said and misheard: only a reading that was just read back and
// agreed to by "confirm" is stored, the facts alone give the same record, no
// state is changed from behind, and the work can always be brought to its end.
func TestConversationProperties(t *testing.T) {
	jobs := someJobs(t)
	rapid.Check(t, func(rt *rapid.T) {
		converse(drawn(rt), rapidTB{t, rt}, rapid.SampledFrom(jobs).Draw(rt, "job"), rapid.IntRange(0, 40).Draw(rt, "turns"))
	})
}

func TestManyConversations(t *testing.T) {
	jobs := someJobs(t)
	for seed := range uint64(150) {
		t.Run(strconv.FormatUint(seed, 10), func(t *testing.T) {
			converse(rand.New(rand.NewPCG(seed, 1)).IntN, t, jobs[seed%3], 60)
		})
	}
}

// A disputed phrase never stores, drops, moves or ends anything, unless it is a
// value, which then is only offered or read back.
func TestDisputedNeverActs(t *testing.T) {
	jobs := someJobs(t)
	for seed := range uint64(300) {
		p := pick(rand.New(rand.NewPCG(seed, 2)).IntN)
		k := newTalker(t, jobs[seed%3])
		k.prepare()
		for range p(12) {
			k.do(anyTurn(p, k.at))
		}
		if k.state.Record.Finished {
			continue
		}
		h := Heard{At: k.at, Meaning: anyMeaning(p), Candidates: []phrase.Meaning{anyMeaning(p)}}
		n := len(k.log)
		k.do(h)
		for _, e := range k.log[n:] {
			switch e.Kind {
			case record.Heard, record.Said:
			case record.Dropped, record.Proposed:
				if !gives(h.Meaning) {
					t.Fatalf("seed %d: %+v gave %s", seed, h, e.Kind)
				}
			default:
				t.Fatalf("seed %d: %+v gave %s", seed, h, e.Kind)
			}
		}
	}
}

// FuzzStep reads a conversation from bytes.
func FuzzStep(f *testing.F) {
	jobs := someJobs(f)
	f.Add([]byte{1, 8, 0, 0, 0, 0, 2, 0, 8, 0, 0, 3})
	f.Add([]byte("any talk at all, as long as it goes on for some time"))
	f.Fuzz(func(t *testing.T, data []byte) {
		if len(data) > 300 {
			return
		}
		next := func(n int) int {
			if len(data) == 0 {
				return 0
			}
			k := int(data[0]) % n
			data = data[1:]
			return k
		}
		converse(next, t, jobs[next(len(jobs))], len(data)/6)
	})
}

// Every preparation step is answered by a phrase of the grammar.
func TestStepsAreAnsweredByPhrases(t *testing.T) {
	g := loadGrammar(t)
	for _, step := range sequence.Steps(someJobs(t)[1], 1) {
		text := step.ID
		if step.Unit != "" {
			text += " nought point one"
		}
		if m, ok := g.Meaning(text); !ok || string(m.Command) != step.ID {
			t.Errorf("%q means %+v", step.ID, m)
		}
		if !strings.Contains(strings.ToLower(step.Question), step.ID) || !strings.Contains(strings.ToLower(step.Brief), step.ID) {
			t.Errorf("%q and %q do not say how it is answered", step.Question, step.Brief)
		}
	}
}

// A log of an early version, whose steps were others, goes on and comes to its end.
func TestEarlyLogGoesOn(t *testing.T) {
	job := someJobs(t)[1]
	log := []record.Event{{Kind: record.Opened, Job: &job}}
	for _, id := range []string{"isolated and locked off", "proved dead", "surge protection out", "lamps removed", "loads disconnected", "switches on", "leads checked"} {
		log = append(log, record.Event{Kind: record.Prepared, Board: 1, Step: id, Answer: record.Done})
	}
	slot, q := record.Slot{Board: 1, Way: 1, Test: reading.LN}, meaning("", 0, "", "200", reading.Megohm, "").Quantity
	log = append(log, record.Event{Kind: record.Proposed, Slot: &slot, Quantity: &q, Verdict: &check.Verdict{Result: check.Pass}})
	for i := range log {
		log[i].ID, log[i].At = int64(i+1), start
	}
	s, err := record.Fold(log)
	if err != nil {
		t.Fatal(err)
	}
	p := &talker{player: player{t: t, at: start, state: State{Record: s}, kept: s, log: log}}
	p.do(Begin{At: start})
	if !strings.HasSuffix(p.heard, "Way one, live to neutral, two hundred megohms. Pass. Confirm?") {
		t.Errorf("it says %q", p.heard)
	}
	p.phrase(phrase.Meaning{Command: phrase.No})
	if !strings.HasSuffix(p.heard, "Are the notices up? Say, notices up.") {
		t.Errorf("it says %q", p.heard)
	}
	p.finishWork()
	audit(t, p.log, p.state.Record)
}

// The sound of the value, not that of the "confirm", is what a reading rests on.
func TestReadingRestsOnItsSound(t *testing.T) {
	p := newTalker(t, boardtest.Read(t, "terrace.yaml"))
	p.prepare()
	p.do(Heard{At: p.at, Meaning: meaning("", 0, "", "486", "", ""), Candidates: []phrase.Meaning{meaning("", 0, "", "46", "", "")}})
	disputed := p.state.Record.LastID - 1
	if o := p.state.Record.Offers; len(o) != 2 || o[0][0].Quantity.Figure() != "486" || o[1][0].Quantity.Figure() != "46" {
		t.Errorf("the record says that %v is offered", o)
	}
	p.phrase(phrase.Meaning{Command: phrase.Second})
	p.phrase(phrase.Meaning{Command: phrase.Confirm})
	r, ok := p.state.Record.Last()
	if !ok || r.Quantity.Figure() != "46" || r.HeardID != disputed || p.log[disputed-1].Kind != record.Heard {
		t.Errorf("reading %+v rests on %d, want %d", r, r.HeardID, disputed)
	}
}

func TestAnotherBoardIsRefused(t *testing.T) {
	job := boardtest.Read(t, "terrace.yaml")
	p := newTalker(t, job)
	other := job
	other.Address = "Elsewhere"
	n := len(p.log)
	p.do(Begin{At: p.at, Job: other})
	if len(p.log) != n || !strings.Contains(p.heard, "differs") {
		t.Errorf("facts %v, said %q", p.log[n:], p.heard)
	}
}

// A job that was begun under an older edition goes on under it, whatever edition is
// in force when its board file is read again.
func TestEditionStays(t *testing.T) {
	job := boardtest.Read(t, "terrace.yaml")
	old := job
	old.Edition = "" // as in a log of before there was a choice
	p := newTalker(t, old)
	p.do(Begin{At: p.at, Job: job})
	if strings.Contains(p.heard, "differs") || p.state.Record.Job.JudgedBy() != board.A2 {
		t.Fatalf("%q, judged by %s", p.heard, p.state.Record.Job.JudgedBy())
	}
	for _, e := range p.log {
		if e.Kind == record.Opened && e.Job.Edition != "" {
			t.Errorf("event %d judges by %s", e.ID, e.Job.Edition)
		}
	}
}

// A session that could not write keeps its state and can say so.
func TestFailedWritesNothing(t *testing.T) {
	p := newTalker(t, boardtest.Read(t, "terrace.yaml"))
	n := len(p.log)
	p.do(Failed{At: p.at, What: "The disk is full.", Lost: true})
	if len(p.log) != n || !strings.HasPrefix(p.heard, "The disk is full.") {
		t.Errorf("facts %v, said %q", p.log[n:], p.heard)
	}
}

func TestNoBoardIsRefused(t *testing.T) {
	next, effects := Step(State{}, Begin{At: start})
	if next.Record.Sessions != 0 || len(effects) != 2 {
		t.Errorf("%+v %+v", next, effects)
	}
}

// Times come back from a log without the monotonic clock, and so must be kept
// without it.
func TestTimesAreAsStored(t *testing.T) {
	next, _ := Step(State{}, Begin{At: time.Now(), Job: boardtest.Read(t, "terrace.yaml")})
	if at := next.Record.LastAt; at != at.Round(0) || at.Location() != time.UTC {
		t.Errorf("time %#v", at)
	}
}

// What is said on resuming goes by the stage: dead, live, isolated again, and a
// job that has live tests only.
func TestCautionOnResuming(t *testing.T) {
	job := boardtest.Read(t, "annexe.yaml")
	only := job
	only.Tests = []board.Kind{board.Live}
	prepared := func(step string) record.Event {
		return record.Event{Kind: record.Prepared, Board: 1, Step: step, Answer: record.Done}
	}
	for _, c := range []struct {
		job   board.Job
		steps []string
		live  bool
	}{
		{job, nil, false},
		{job, []string{sequence.Isolated, sequence.DeadComplete}, false},
		{job, []string{sequence.Isolated, sequence.DeadComplete, sequence.ReadyForLive}, true},
		{job, []string{sequence.Isolated, sequence.ReadyForLive, sequence.Isolated}, false},
		{only, nil, true},
	} {
		log := []record.Event{{Kind: record.Opened, Job: &c.job}}
		for _, step := range c.steps {
			log = append(log, prepared(step))
		}
		for i := range log {
			log[i].ID = int64(i + 1)
		}
		s, err := record.Fold(log)
		if err != nil {
			t.Fatal(err)
		}
		if got := cautionOnResuming(s); strings.Contains(got, "supply may be on") != c.live || strings.Contains(got, "prove dead") == c.live {
			t.Errorf("after %q of %v: %q", c.steps, c.job.Tests, got)
		}
	}
}
