package talk

import (
	"flag"
	"math/rand/v2"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"waycall/grammar"
	"waycall/internal/board"
	"waycall/internal/board/boardtest"
	"waycall/internal/phrase"
	"waycall/internal/reading"
	"waycall/internal/record"
)

// smallJobs are what can be brought to its end in few phrases: insulation alone,
// with a two-way switch, surge protection, alarms and a spare way; and a board
// with two ways whole.
func smallJobs(t testing.TB) []board.Job {
	terrace := boardtest.Read(t, "terrace.yaml")
	b := &terrace.Boards[0]
	var ways []board.Way
	for _, w := range b.Ways {
		switch w.Number {
		case 1, 2, 3, 8, 10:
			w.Number = len(ways) + 1
			ways = append(ways, w)
		}
	}
	b.Ways = ways
	return []board.Job{terrace, boardtest.Read(t, "annexe.yaml")}
}

// spokenAt makes up phrases of the grammar that may be said at a job, of every kind
// alike.
func spokenAt(t testing.TB, job board.Job, n int) (all []phrase.Meaning) {
	g := loadGrammar(t)
	sampler, err := phrase.NewSampler(grammar.Files, "phrases", nil)
	if err != nil {
		t.Fatal(err)
	}
	rng := rand.New(rand.NewPCG(6, uint64(len(job.Boards[0].Ways))))
	most := len(job.Boards[0].Ways) + 1 // one way that it does not have
	for _, rule := range []string{"phrases.reading", "phrases.value", "phrases.several", "phrases.answer", "phrases.repair", "phrases.order", "phrases.preparation", "phrases.judgement"} {
		for of := 0; of < n; {
			text, err := sampler.Phrase(rule, rng)
			if err != nil {
				t.Fatal(err)
			}
			m, ok := g.Meaning(text)
			if !ok {
				t.Fatalf("no meaning: %q", text)
			}
			if m.Way > 0 {
				m.Way = 1 + m.Way%most
			}
			if m.Last > 0 {
				m.Last = 1 + m.Last%most
			}
			if m.Board > 0 {
				m.Board = 1 + m.Board%2
			}
			all = append(all, m)
			of++
		}
	}
	return all
}

// misheard plays a conversation in which one phrase in five is heard as another
// one of the grammar, for certain or disputed, and brings it to its end.
func misheard(p pick, t testing.TB, job board.Job, phrases []phrase.Meaning, habit record.Habit, turns int) {
	k := newTalkerOf(t, job, habit)
	for range p(30) {
		// Somewhere on the way.
		m, more := k.willing()
		if !more {
			break
		}
		k.phrase(m)
	}
	for range turns {
		meant, more := k.willing()
		if !more || p(4) == 0 {
			meant = one(p, phrases)
		}
		e := Heard{At: k.at, Meaning: meant, Phrase: record.Phrase{Agreed: true}}
		if p(5) == 0 {
			other := one(p, phrases)
			switch p(3) {
			case 0:
				e.Meaning = other
			case 1:
				e.Phrase.Agreed, e.Candidates = false, []phrase.Meaning{meant, other}
			case 2:
				e.Meaning = other
				e.Phrase.Agreed, e.Candidates = false, []phrase.Meaning{other, meant}
			}
		}
		k.do(e)
		switch p(16) {
		case 0: // a slip of the foot, or meant
			k.do(Tapped{At: k.at, Means: phrase.Confirm})
		case 1:
			k.do(Tapped{At: k.at, Means: phrase.No})
		case 2, 3:
			k.do(Interrupted{k.at})
		}
		if p(40) == 0 {
			k.state = State{Record: k.state.Record}
			k.do(Begin{At: k.at})
		}
	}
	k.finishWork()
	audit(t, k.log, k.state.Record)
}

// audit goes through a log by itself and checks what stands on the schedule: it
// was proposed, read back, and confirmed or, in the second habit, followed by
// another reading; and it was not dropped, taken back, replaced or measured before
// work.
func audit(t testing.TB, log []record.Event, end record.State) {
	t.Helper()
	stands := map[record.Slot]reading.Quantity{}
	var habit record.Habit
	var waits *record.Event
	var said string // since it waits
	for i := range log {
		e := &log[i]
		if byKey := i > 0 && log[i-1].Kind == record.Tapped && log[i-1].Text == "confirm"; e.Kind == record.Confirmed && byKey != (e.Answer == record.ByKey) {
			t.Fatalf("event %d confirms by the key: %v, but a tap before it: %v", e.ID, !byKey, byKey)
		}
		switch e.Kind {
		case record.Opened:
			habit = e.Habit
		case record.Proposed:
			waits, said = e, ""
		case record.Said:
			said += " " + strings.ToLower(e.Text)
		case record.Dropped:
			waits = nil
		case record.Withdrawn:
			if e.Slot != nil {
				delete(stands, *e.Slot)
			}
		case record.Retest:
			for slot := range stands {
				if slot.Board == e.Slot.Board && slot.Way == e.Slot.Way {
					delete(stands, slot)
				}
			}
		case record.Confirmed:
			if waits == nil {
				t.Fatalf("event %d confirms nothing", e.ID)
			}
			all := append([]record.Further{{Slot: *waits.Slot, Quantity: *waits.Quantity, Verdict: *waits.Verdict}}, waits.Then...)
			for _, x := range all {
				full, digits := strings.ToLower(figure(x.Quantity, false)), strings.ToLower(figure(x.Quantity, true))
				brief := over(strings.ReplaceAll(digits, ", ", " "))
				if !slices.ContainsFunc([]string{full, over(full), digits, brief, strings.TrimPrefix(full, "nought ")}, func(as string) bool { return strings.Contains(said, as) }) {
					t.Fatalf("event %d stores %v, which was not read back: %q", e.ID, x, said)
				}
				if e.Answer == record.Accepted && (habit != record.Agreed || waits.Doubted || x.Verdict.Result != "pass") {
					t.Fatalf("event %d stores %v unsaid", e.ID, x)
				}
				stands[x.Slot] = x.Quantity
			}
			waits = nil
		}
	}
	n := 0
	for _, r := range end.Readings {
		if r.Standing != record.Stands {
			continue
		}
		n++
		if q, ok := stands[r.Slot]; !ok || q != r.Quantity {
			t.Fatalf("%v stands, but the log gives %v, %v", r, q, ok)
		}
	}
	if n != len(stands) {
		t.Fatalf("%d readings stand, of %d in the log", n, len(stands))
	}
}

// With one phrase in five misheard: only what was read back and confirmed, or in
// the second habit not undone, is on the schedule; the log gives the same state;
// and the work can be brought to its end from wherever the mishearing led. The
// long form plays 100,000 conversations.
func TestMisheardConversations(t *testing.T) {
	checks := flag.Lookup("rapid.checks").Value
	was := checks.String()
	n := 1500
	if os.Getenv("WAYCALL_TEST_LONG") != "" {
		n = 100000
	}
	const parts = 4 // beside each other
	if err := checks.Set(strconv.Itoa(n / parts)); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { checks.Set(was) })
	jobs := smallJobs(t)
	var phrases [][]phrase.Meaning
	for _, job := range jobs {
		phrases = append(phrases, spokenAt(t, job, 400))
	}
	for part := range parts {
		t.Run(strconv.Itoa(part), func(t *testing.T) {
			t.Parallel()
			rapid.Check(t, func(rt *rapid.T) {
				job := 0
				if rapid.IntRange(0, 9).Draw(rt, "job") == 9 {
					job = 1
				}
				habit := rapid.SampledFrom([]record.Habit{record.Each, record.Agreed}).Draw(rt, "habit")
				// Rapid likes small numbers, so it gives the seed of a conversation.
				p := rand.New(rand.NewPCG(rapid.Uint64().Draw(rt, "seed"), 3)).IntN
				misheard(p, rapidTB{t, rt}, jobs[job], phrases[job], habit, rapid.IntRange(5, 60).Draw(rt, "turns"))
			})
		})
	}
}
