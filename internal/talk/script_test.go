package talk

import (
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"waycall/grammar"
	"waycall/internal/board"
	"waycall/internal/board/boardtest"
	"waycall/internal/phrase"
	"waycall/internal/record"
	"waycall/internal/report"
	"waycall/internal/report/plaintext"
	"waycall/internal/say"
	"waycall/internal/sequence"
)

var update = flag.Bool("update", false, "rewrite the answers in testdata/talk")

func loadGrammar(t testing.TB) *phrase.Grammar {
	t.Helper()
	g, err := phrase.Load(grammar.Files)
	if err != nil {
		t.Fatal(err)
	}
	return g
}

var start = time.Date(2026, 3, 14, 9, 0, 0, 0, time.UTC)

// player runs a conversation the way a session does, and checks what must hold
// at every step.
type player struct {
	t     testing.TB
	state State
	log   []record.Event
	kept  record.State // what the log folds to
	at    time.Time
}

func (p *player) step(e Event) (out []string) {
	p.t.Helper()
	next, effects, err := step(p.state, e)
	if err != nil {
		p.t.Fatalf("%#v: %v", e, err)
	}
	var said string
	spoken := false
	for i, effect := range effects {
		switch x := effect.(type) {
		case Append:
			if spoken {
				p.t.Fatalf("%#v: a fact after something was said: %+v", e, x.Event)
			}
			if first := i == 0 && isHeard(e); (x.Event.Kind == record.Heard) != first && !(first && isDictated(e)) {
				p.t.Fatalf("%#v: the heard phrase must be the first fact and the only one", e)
			}
			p.log = append(p.log, x.Event)
			if x.Event.Kind == record.Said {
				said = x.Event.Text
			} else if x.Event.Kind != record.Heard {
				out = append(out, "+ "+factText(x.Event))
			}
		case Say:
			spoken = true
			if _, failed := e.(Failed); !failed && x.Text != said && said != "" {
				p.t.Fatalf("%#v: said %q but wrote %q", e, x.Text, said)
			}
			if strings.Contains(strings.ToLower(x.Text), "safe") {
				p.t.Fatalf("said %q", x.Text)
			}
			// The voice stops after forty seconds, and the question comes last.
			if words, ok := spokenWhole(x.Text); !ok {
				p.t.Fatalf("%q is cut to %q", x.Text, words)
			}
			out = append(out, "< "+x.Text)
		case Tone:
			spoken = true
			if (x == Listening) != (i == len(effects)-1) {
				p.t.Fatalf("%#v: %v", e, effects)
			}
			if x == NotCaught || x == Passed {
				out = append(out, "* "+string(x))
			}
		case Stop:
			out = append(out, "= stop")
		}
	}
	for _, fact := range p.log[p.kept.LastID:] {
		if p.kept, err = p.kept.Apply(fact); err != nil {
			p.t.Fatal(err)
		}
	}
	if !reflect.DeepEqual(p.kept, next.Record) {
		p.t.Fatalf("%#v: replaying the facts gives another record:\n%s", e, cmp.Diff(p.kept, next.Record))
	}
	if choices, waits := next.Choices(), next.Record.Sessions > 0 && !next.Record.Finished; (choices != "") != waits {
		p.t.Fatalf("%#v: what may be said now is %q", e, choices)
	}
	p.state = next
	return out
}

// whole remembers what was found to be spoken to its end: most sentences come again.
var whole sync.Map

// spokenWhole reports whether a voice speaks a text to its end, or what it speaks.
func spokenWhole(text string) (words string, ok bool) {
	if _, known := whole.Load(text); known {
		return "", true
	}
	if words = say.Words(text); !strings.HasSuffix(words, lastWord(text)) {
		return words, false
	}
	whole.Store(text, true)
	return words, true
}

func lastWord(s string) string {
	words := strings.Fields(say.Words(s[max(0, len(s)-40):]))
	return words[len(words)-1]
}

func isHeard(e Event) bool {
	_, heard := e.(Heard)
	_, dictated := e.(Dictated)
	return heard || dictated
}

// isDictated reports whether an event is a note, which may turn out to be none.
func isDictated(e Event) bool { _, ok := e.(Dictated); return ok }

func factText(e record.Event) string {
	words := []string{string(e.Kind)}
	add := func(s string) {
		if s != "" {
			words = append(words, s)
		}
	}
	add(e.Step)
	add(string(e.Answer))
	if e.Kind == record.Prepared && e.Board > 1 {
		add(fmt.Sprintf("board %d", e.Board))
	}
	if e.Slot != nil {
		if e.Slot.Board > 1 {
			add(fmt.Sprintf("board %d", e.Slot.Board))
		}
		add(fmt.Sprintf("way %d", e.Slot.Way))
		add(string(e.Slot.Test))
		if e.Slot.Position > 0 {
			add(fmt.Sprintf("position %d", e.Slot.Position))
		}
	}
	if e.Quantity != nil {
		add(e.Quantity.String())
	}
	if e.Doubted {
		add("doubted")
	}
	if e.Habit != "" {
		add(string(e.Habit))
	}
	if e.Verdict != nil {
		add(string(e.Verdict.Result))
	}
	for _, f := range e.Then {
		if f.Slot.Way != e.Slot.Way {
			add(fmt.Sprintf("and way %d", f.Slot.Way))
		} else {
			add("and")
		}
		add(fmt.Sprintf("%s %s %s", f.Slot.Test, f.Quantity, f.Verdict.Result))
	}
	add(e.Code)
	if e.Kind == record.Noted || e.Kind == record.Observed {
		add("\"" + e.Text + "\"")
	}
	if e.Of != 0 {
		add(fmt.Sprintf("of event %d", e.Of))
	}
	if e.Reason != "" {
		add("(" + e.Reason + ")")
	}
	return strings.Join(words, " ")
}

// TestScripts plays testdata/talk/*.txt. A line there begins with
//
//	#        a remark
//	board    the board file in testdata/boards; "agreed" after it is the habit of the
//	         session, to accept what passes when the next reading begins, and "brief"
//	         that its prompts are
//	agreed   the session begins again, with that habit
//	>        a phrase both witnesses agree on
//	?        a disputed phrase: what it may have been, best first, between bars
//	!        a phrase that the grammar of this board rules out
//	note     the free speech of a note; "note+" when it was too long
//	~        speech without a meaning; "~ noise" and "~ noise, with a key" in much noise
//	tap      a tap of the key that means this command
//	cut      what was said just before was cut short
//	.        silence
//	x        a failure outside; "x lost" when the last phrase was not stored, "x
//	         unsure" when it may not be; then "holds" when nothing can be taken
//	         for now, "asks" when it can again, "ends" when that ends the session
//	restart  the session is killed and begins again from its log
//	prepare  the steps before dead tests are answered
//	ahead    the work goes on, with readings that do not fail, until the place,
//	         the test and the position given are due, as "2 Zs" or "0 bonding 2",
//	         or "live" until the steps before live tests are, or "end"
//	schedule the schedule of the record is written, each line after a bar
//
// and each is followed by what came of it: + a fact, * a tone but those for
// listening and for what is stored, < what was said, = stop.
// go test ./internal/talk -update writes these.
func TestScripts(t *testing.T) {
	g := loadGrammar(t)
	files, err := filepath.Glob("../../testdata/talk/*.txt")
	if err != nil || len(files) == 0 {
		t.Fatalf("no scripts: %v", err)
	}
	for _, file := range files {
		t.Run(strings.TrimSuffix(filepath.Base(file), ".txt"), func(t *testing.T) {
			data, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			got := play(t, g, string(data))
			if *update {
				if err := os.WriteFile(file, []byte(got), 0o644); err != nil {
					t.Fatal(err)
				}
				return
			}
			if diff := cmp.Diff(string(data), got); diff != "" {
				t.Errorf("run go test ./internal/talk -update if this is meant:\n%s", diff)
			}
		})
	}
}

// schedule is the schedule of a log, line by line.
func schedule(t *testing.T, log []record.Event) (lines []string) {
	t.Helper()
	s, err := record.Fold(log)
	if err != nil {
		t.Fatal(err)
	}
	var text strings.Builder
	if err := plaintext.Write(&text, report.Build(s)); err != nil {
		t.Fatal(err)
	}
	for line := range strings.SplitSeq(strings.TrimRight(text.String(), "\n"), "\n") {
		lines = append(lines, strings.TrimRight("| "+line, " "))
	}
	return lines
}

func play(t *testing.T, g *phrase.Grammar, script string) string {
	t.Helper()
	meaning := func(text string) phrase.Meaning {
		m, ok := g.Meaning(text)
		if !ok {
			t.Fatalf("the grammar does not have %q", text)
		}
		return m
	}
	p := &player{t: t, at: start}
	var job board.Job
	var out, ahead []string
	for _, line := range strings.Split(strings.TrimRight(script, "\n"), "\n") {
		mark, rest, _ := strings.Cut(line, " ")
		if mark == "+" || mark == "<" || mark == "=" || mark == "*" || mark == "|" {
			continue
		}
		out = append(out, line)
		p.at = p.at.Add(5 * time.Second)
		var e Event
		switch mark {
		case "", "#":
			continue
		case "board":
			words := strings.Fields(rest)
			job = boardtest.Read(t, words[0])
			b := Begin{At: p.at, Job: job}
			if slices.Contains(words, "brief") {
				b.Prompts = Brief
			}
			if slices.Contains(words, "agreed") {
				b.Habit = record.Agreed
			}
			e = b
		case "agreed":
			e = Begin{At: p.at, Job: job, Habit: record.Agreed}
		case "restart":
			s, err := record.Fold(p.log)
			if err != nil {
				t.Fatal(err)
			}
			p.state, e = State{Record: s}, Begin{At: p.at, Job: job, Habit: s.Habit}
		case "schedule":
			out = append(out, schedule(t, p.log)...)
			continue
		case "prepare":
			var got []string
			for {
				d, _ := sequence.Next(p.state.Record)
				if d.Step == nil || d.Step.Live {
					break
				}
				m, _ := p.willing()
				got = p.step(Heard{At: p.at, Meaning: m, Phrase: record.Phrase{Agreed: true}})
			}
			out = append(out, got...)
			continue
		case "ahead":
			for range 500 {
				d, due := sequence.Next(p.state.Record)
				if !due && rest != "end" {
					t.Fatalf("%s never comes", line)
				} else if !due && p.state.Record.Pending == nil {
					break
				}
				at := fmt.Sprintf("%d %s", d.Slot.Way, d.Slot.Test)
				if d.Slot.Position > 0 {
					at += fmt.Sprintf(" %d", d.Slot.Position)
				}
				if d.Step != nil && d.Step.Live && d.Step.Back == "" {
					at = "live"
				}
				if p.state.Record.Pending == nil && at == rest {
					break
				}
				m, _ := p.willing()
				p.at = p.at.Add(5 * time.Second)
				last := p.step(Heard{At: p.at, Meaning: m, Phrase: record.Phrase{Agreed: true}})
				if next, _ := sequence.Next(p.state.Record); p.state.Record.Pending == nil && (next.Slot != d.Slot || next.Step != nil && (d.Step == nil || next.Step.ID != d.Step.ID)) {
					ahead = last
				}
			}
			out = append(out, ahead...)
			continue
		case ">":
			m := meaning(rest)
			e = Heard{At: p.at, Meaning: m, Phrase: record.Phrase{Agreed: true, Text: rest, Meaning: record.Meaning{Command: string(m.Command)}}}
		case "?":
			h := Heard{At: p.at, Phrase: record.Phrase{Text: rest}}
			for _, words := range strings.Split(rest, "|") {
				h.Candidates = append(h.Candidates, meaning(strings.TrimSpace(words)))
			}
			h.Meaning = h.Candidates[0]
			e = h
		case "!":
			e = Beyond{p.at, meaning(rest)}
		case "note", "note+":
			e = Dictated{At: p.at, Phrase: record.Phrase{Outcome: "note", Text: rest}, Cut: mark == "note+"}
		case "~":
			e = NotUnderstood{At: p.at, Noise: rest != "", HasKey: rest == "noise, with a key"}
		case "tap":
			e = Tapped{p.at, phrase.Command(rest)}
		case "cut":
			e = Interrupted{p.at}
		case ".":
			e = Silence{p.at}
		case "x":
			f := Failed{At: p.at}
			rest, f.Lost = strings.CutPrefix(rest, "lost ")
			rest, f.Unsure = strings.CutPrefix(rest, "unsure ")
			for word, next := range map[string]Next{"holds ": Holds, "asks ": Asks, "ends ": Ends} {
				if what, ok := strings.CutPrefix(rest, word); ok {
					rest, f.Next = what, next
				}
			}
			f.What = rest
			e = f
		default:
			t.Fatalf("cannot read the line %q", line)
		}
		out = append(out, p.step(e)...)
	}
	return strings.Join(out, "\n") + "\n"
}

// TestFasterThanPaper counts what is said in the dialogues of somebody in a hurry: 180
// words a minute for waycall, 150 for a person and a second for each phrase, as a whole
// ten-way board on paper takes six to seven minutes (issue 20 of the project, measured
// there; no published source).
func TestFasterThanPaper(t *testing.T) {
	for _, bar := range []struct {
		file           string
		phrases, words int
		minutes        float64
	}{
		{"quick", 95, 600, 7.5},
		{"quick-insulation", 40, 400, 4},
	} {
		data, err := os.ReadFile(filepath.Join("../../testdata/talk", bar.file+".txt"))
		if err != nil {
			t.Fatal(err)
		}
		var phrases, said, spoken int
		for line := range strings.Lines(string(data)) {
			mark, words, _ := strings.Cut(strings.TrimSpace(line), " ")
			switch mark {
			case ">":
				phrases++
				said += len(strings.Fields(words))
			case "<":
				spoken += len(strings.Fields(words))
			}
		}
		minutes := float64(spoken)/180 + float64(said)/150 + float64(phrases)/60
		t.Logf("%s: %d phrases, %d words of waycall, %d of the person, %.1f minutes", bar.file, phrases, spoken, said, minutes)
		if phrases > bar.phrases || spoken > bar.words || minutes > bar.minutes {
			t.Errorf("%s: more than %d phrases, %d words or %v minutes", bar.file, bar.phrases, bar.words, bar.minutes)
		}
		if !strings.Contains(string(data), "No tests are left.") {
			t.Errorf("%s does not come to its end", bar.file)
		}
	}
}
