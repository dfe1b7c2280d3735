package talk_test

import (
	"fmt"
	"math"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"waycall/grammar"
	"waycall/internal/board"
	"waycall/internal/board/boardtest"
	"waycall/internal/check"
	"waycall/internal/limits"
	"waycall/internal/phrase"
	"waycall/internal/reading"
	"waycall/internal/record"
	"waycall/internal/say"
	"waycall/internal/sequence"
	"waycall/internal/session"
	"waycall/internal/talk"
)

// site is an electrician at work with waycall: what he says must be in the
// grammar, narrowed as a session narrows it at that moment.
type site struct {
	t       *testing.T
	g       *phrase.Grammar
	may     map[string]*phrase.Automaton
	state   talk.State
	log     []record.Event
	at      time.Time
	said    string // what waycall said last
	phrases int
}

func openSite(t *testing.T, file string) *site {
	t.Helper()
	g, err := phrase.Load(grammar.Files)
	if err != nil {
		t.Fatal(err)
	}
	job := boardtest.Read(t, file)
	s := &site{t: t, g: g, may: map[string]*phrase.Automaton{}, at: time.Date(2026, 3, 18, 8, 30, 0, 0, time.UTC)}
	s.do(talk.Begin{At: s.at, Job: job})
	return s
}

func (s *site) do(e talk.Event) {
	s.t.Helper()
	next, effects := talk.Step(s.state, e)
	for _, f := range effects {
		switch f := f.(type) {
		case talk.Append:
			s.log = append(s.log, f.Event)
		case talk.Say:
			s.said = f.Text
			if words := say.Words(f.Text); len(words) < len(f.Text)*8/10 || strings.Contains(words, "safe") {
				s.t.Fatalf("%q is spoken as %q", f.Text, words)
			}
			if strings.Contains(f.Text, "mistake") {
				s.t.Fatalf("%+v: %s", e, f.Text)
			}
		}
	}
	s.state = next
}

// say speaks a phrase.
func (s *site) say(text string) {
	s.t.Helper()
	s.phrases++
	m, ok := s.g.Meaning(text)
	if !ok {
		s.t.Fatalf("the grammar does not have %q", text)
	}
	at, way, unit := s.state.InHand()
	scope := session.Scope(s.state.Record.Job, at)
	scope.Here, scope.Unit, scope.Due = way, unit, s.state.Judging()
	key := fmt.Sprint(at, way, unit, scope.Due)
	if s.may[key] == nil {
		s.may[key] = s.g.Narrow(scope)
	}
	if !s.may[key].Accepts(text) {
		s.t.Fatalf("%q may not be said at board %d, way %d, unit %q", text, at, way, unit)
	}
	s.at = s.at.Add(12 * time.Second)
	s.do(talk.Heard{At: s.at, Meaning: m, Phrase: record.Phrase{Agreed: true, Text: text}})
}

func (s *site) hears(words ...string) {
	s.t.Helper()
	for _, w := range words {
		if !strings.Contains(s.said, w) {
			s.t.Errorf("it does not say %q but %q", w, s.said)
		}
	}
}

// truth is what a sound site reads, from its description, in the unit of the
// test: the conductors of their length and size at the temperature of the board,
// a supply of 0.12 ohm, an electrode of 38 ohm. What the description leaves out
// is made up here: twenty metres, 1.5 mm2, and a steel armour of one and a half
// times the line.
func truth(job board.Job, slot record.Slot) reading.Quantity {
	b := job.Board(slot.Board)
	q := func(x float64, places int) reading.Quantity {
		p := math.Pow(10, float64(places))
		return reading.Quantity{Value: math.Round(x*p) / p, Places: places, Bound: reading.Exactly, Unit: slot.Test.Unit()}
	}
	ends := func(w *board.Way) (r1, r2 float64) {
		length, cpc := w.Length, w.CPC
		if length == 0 {
			length = 20
		}
		if cpc == 0 {
			cpc = 1.5
		}
		r1, _ = limits.Resistance(w.Material, w.Line, length, b.Ambient)
		r2, _ = limits.Resistance(w.Material, cpc, length, b.Ambient)
		if w.CPCKind == board.Steel {
			r2 = 1.5 * r1
		}
		return r1, r2
	}
	loop := func(b *board.Board) float64 {
		switch {
		case b.Earthing == board.TT:
			return 38
		case b.Supply.From == 0:
			return 0.12
		}
		r1, r2 := ends(job.Way(b.Supply.From, b.Supply.FromWay))
		return 0.12 + r1 + r2
	}
	var r1, r2 float64
	if slot.Way != 0 {
		w := job.Way(slot.Board, slot.Way)
		r1, r2 = ends(w)
		if slot.Test == reading.Zs && w.Wiring == board.Ring {
			r1, r2 = r1/4, r2/4
		}
	}
	switch t := slot.Test; {
	case t.Judged():
		return reading.Correct
	case t.Insulation():
		return reading.Quantity{Value: job.Instrument.OverRange, Bound: reading.GreaterThan, Unit: reading.Megohm}
	}
	switch slot.Test {
	case reading.Earthing:
		return q(0.02, 2)
	case reading.Bonding:
		return q(0.03, 2)
	case reading.R1R2:
		return q(r1+r2, 2)
	case reading.RingR1, reading.RingRn:
		return q(r1, 2)
	case reading.RingR2:
		return q(r2, 2)
	case reading.RingLN:
		return q(r1/2, 2)
	case reading.RingLE:
		return q((r1+r2)/4, 2)
	case reading.Ze, reading.RA:
		return q(loop(b), 2)
	case reading.Zs:
		return q(loop(b)+r1+r2, 2)
	case reading.PFC:
		return q(b.Voltage/loop(b)/1000, 3)
	case reading.PSC:
		return q(0.9, 1)
	case reading.RCD1x:
		if slot.Way == 0 {
			return q(187, 0) // both main switches are delayed
		}
		return q(24, 0)
	}
	return q(1, 0)
}

// words is a reading as a phrase: with its place, or alone in answer to what is
// due.
func words(slot record.Slot, q reading.Quantity, placed bool) string {
	switch {
	case slot.Test.Judged():
		text := slot.Test.Spoken() + " " + q.String()
		switch {
		case slot.Test == reading.RCDButton && q == reading.Correct:
			text = "test button works"
		case slot.Way != 0 && placed:
			text = "way " + reading.Cardinal(slot.Way) + " " + text
		}
		return text
	case !placed:
		return q.Spoken()
	case slot.Way == 0:
		return slot.Test.Spoken() + " " + q.Spoken()
	}
	return "way " + reading.Cardinal(slot.Way) + " " + slot.Test.Spoken() + " " + q.Spoken()
}

// fault is something wrong on the site: what is read because of it, what waycall
// must say then, and what is done about it in place of "confirm" or after it.
type fault struct {
	name   string
	reads  string // the value
	result check.Result
	named  []string
	say    []string
}

// The whole job by the conversation: three boards, dead and live, with seven
// faults, each found and named where it is read, put right and tested again.
func TestWholeSequence(t *testing.T) {
	s := openSite(t, "workshop.yaml")
	job := s.state.Record.Job
	at := func(board, way int, test reading.Test, position int) record.Slot {
		return record.Slot{Board: board, Way: way, Test: test, Position: position}
	}
	faults := map[record.Slot][]fault{
		at(3, 1, reading.R1R2, 0): {{"ways changed round, the first", "0.75", check.Investigate, []string{"More than the nought point two seven nine ohms"}, []string{"confirm"}}},
		at(3, 2, reading.R1R2, 0): {{"ways changed round", "0.28", check.Investigate, []string{"It fits way one and that fits this one, so are the two changed round?", "Check which cable is in which way."},
			[]string{"confirm", "test way one again", "test way two again", "way one"}}},
		at(2, 5, reading.R1R2, 0): {{"a slipped point", "3.9", check.Investigate, []string{"About ten times more than length and size give, so did the point slip?", "Read the display again."},
			[]string{"no nought point three nine", "confirm"}}},
		at(2, 3, reading.RingR2, 0): {{"the ring's protective conductor is open", ">1999", check.Fail, []string{"R two: fail.", "Look for the break in the protective conductor"},
			[]string{"confirm", "test way three again"}}},
		at(2, 4, reading.LNE, 1): {{"low insulation", "0.3", check.Fail, []string{"Fail. Below the limit of one megohm."}, []string{"confirm"}}},
		at(2, 4, reading.NE, 1): {{"low insulation of the neutral", "0.31", check.Fail, []string{"Way four, neutral to earth, switch position one", "Fail. Below the limit of one megohm."},
			[]string{"confirm", "test way four again"}}},
		at(2, 5, reading.Polarity, 0): {{"a socket is reversed", "wrong", check.Fail, []string{"A socket may be reversed", "Open the sockets"}, []string{"confirm", "test way five again"}}},
		at(1, 1, reading.Zs, 0): {{"Zs above the limit", "1.9", check.Fail, []string{"Way one, zed s, one point nine ohms. Fail. Above the limit of", "check each joint"},
			[]string{"confirm", "test way one again"}}},
		at(3, 2, reading.RCD1x, 0): {{"the RCD is too slow", "350", check.Fail, []string{"Slower than the three hundred milliseconds allowed."},
			[]string{"confirm", "way two r c d one times twenty six"}}},
	}
	lit := map[string]bool{} // boards with the supply on
	boards := 0
	for n := 0; ; n++ {
		if n > 2000 {
			t.Fatalf("it does not end: %s", s.said)
		}
		rec := s.state.Record
		if rec.Pending != nil {
			s.say("confirm")
			continue
		}
		d, ok := sequence.Next(rec)
		if !ok {
			break
		}
		if d.Step != nil {
			if !strings.Contains(strings.ToLower(s.said), d.Step.ID) {
				t.Errorf("it does not ask for %s but says %q", d.Step.ID, s.said)
			}
			if d.Board != boards {
				boards = d.Board
				s.hears("Board " + reading.Cardinal(d.Board) + ", " + job.Board(d.Board).Name + ".")
			}
			if d.Step.ID == sequence.ReadyForLive {
				s.hears("competent person", "local rules")
				lit[fmt.Sprint(d.Board)] = true
			}
			switch d.Step.Unit {
			case "":
				if d.Step.ID == sequence.WholeFirst {
					s.say("way by way")
				} else {
					s.say(d.Step.ID)
				}
			case reading.Ohm:
				s.say("leads joined nought point one two")
			default:
				s.say("leads apart over range")
			}
			continue
		}
		slots := []record.Slot{d.Slot}
		text := ""
		if d.Slot.Test == reading.RingR1 {
			// All three in one breath.
			slots = append(slots, at(d.Board, d.Slot.Way, reading.RingRn, 0), at(d.Board, d.Slot.Way, reading.RingR2, 0))
		}
		round := sequence.Together(rec, d)
		if faulty := slices.IndexFunc(round, func(x record.Slot) bool { return len(faults[x]) > 0 }); faulty >= 0 {
			// What is not as it should be is named first.
			slots, round = round[faulty:faulty+1], nil
		} else if round != nil {
			slots = round
		}
		var wrong []fault
		var values []reading.Quantity
		for _, slot := range slots {
			q := truth(job, slot)
			if f := faults[slot]; len(f) > 0 {
				wrong, faults[slot] = append(wrong, f[0]), f[1:]
				var err error
				if q, err = reading.ParseQuantity(f[0].reads, slot.Test.Unit()); err != nil {
					t.Fatal(err)
				}
			}
			values = append(values, q)
			if len(slots) > 1 && round == nil {
				text += strings.TrimPrefix(slot.Test.Spoken(), "ring ") + " " + q.Spoken() + " "
			}
		}
		switch {
		case round != nil:
			text = words(slots[0], values[0], false)
		case len(slots) == 1:
			text = words(slots[0], values[0], n%3 == 0 || slots[0] != d.Slot)
		}
		s.say(strings.TrimSpace(text))
		p := s.state.Record.Pending
		if p == nil {
			t.Fatalf("%q: %s", text, s.said)
		}
		for i, one := range p.Each() {
			if one.Slot != slots[i] || !one.Quantity.Equal(values[i]) {
				t.Fatalf("%q was taken as %+v, due %+v", text, one, slots[i])
			}
			switch r := one.Verdict.Result; {
			case len(wrong) > 0:
			case r == check.CannotSay && strings.Contains(one.Verdict.Reason, "should read is not known"): // a steel conduit, a circuit without documents
			case r != check.Pass:
				t.Errorf("%+v reads %s: %s, %s", one.Slot, one.Quantity, r, one.Verdict.Reason)
			}
		}
		for _, f := range wrong {
			each := p.Each()
			if r := each[len(each)-1].Verdict.Result; r != f.result {
				t.Errorf("%s: %s", f.name, r)
			}
			s.hears(f.named...)
			for _, phrase := range f.say {
				s.say(phrase)
			}
		}
	}
	for slot, f := range faults {
		if len(f) > 0 {
			t.Errorf("%s was never read at %+v", f[0].name, slot)
		}
	}
	if len(lit) != 3 {
		t.Errorf("the supply was put on at boards %v", lit)
	}
	s.hears("Nothing more is due. Board three, bonding was not asked for. It is not described which services are bonded, or that there is none. Say finish here to end.")
	s.say("what's left")
	s.hears("No tests are left.")
	s.say("finish here")
	rec := s.state.Record
	if left := sequence.Remaining(rec); len(left) > 0 || !rec.Finished {
		t.Errorf("left: %+v", left)
	}
	for _, o := range sequence.NotAsked(rec) {
		if o.Waiting {
			t.Errorf("%+v waits", o)
		}
	}
	stood := 0
	for _, b := range sequence.Boards(job) {
		if bad := sequence.Failing(rec, b); len(bad) > 0 {
			t.Errorf("board %d fails at %v", b, bad)
		}
		for _, w := range append([]int{0}, sequence.Order(job, b)...) {
			for _, slot := range sequence.Required(job, b, w) {
				if _, ok := rec.Latest(slot); !ok {
					t.Errorf("%+v has no reading", slot)
				}
				stood++
			}
		}
	}
	if again, err := record.Fold(s.log); err != nil || !reflect.DeepEqual(again, rec) {
		t.Errorf("the log folds to another record, %v", err)
	}
	t.Logf("%d phrases, %d readings of %d stand, %s at the board", s.phrases, stood, len(rec.Readings), s.at.Sub(s.log[0].At))
}

// How a test without a figure is answered is said in phrases of the grammar.
func TestAnswersAreInTheGrammar(t *testing.T) {
	s := openSite(t, "workshop.yaml")
	for _, test := range []reading.Test{reading.Polarity, reading.PhaseSequence, reading.Functional, reading.RCDButton, reading.RCDHalf} {
		for i, text := range strings.Split(talk.Answers(test), ", or ") {
			m, ok := s.g.Meaning(text)
			if want := []phrase.Command{phrase.Correct, phrase.Incorrect}[i]; !ok || m.Test != test || m.Command != want {
				t.Errorf("%q means %+v, %v", text, m, strconv.FormatBool(ok))
			}
		}
	}
}
