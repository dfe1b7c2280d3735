package fullscreen

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
	"unicode"

	tea "charm.land/bubbletea/v2"
	"github.com/charmbracelet/x/ansi"
	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"waycall/internal/audio"
	"waycall/internal/board"
	"waycall/internal/check"
	"waycall/internal/demo"
	"waycall/internal/hear"
	"waycall/internal/reading"
	"waycall/internal/record"
	"waycall/internal/show"
)

var update = flag.Bool("update", false, "write the golden screens anew")

var (
	_ audio.Source = metered{}
)

// scenes are what the golden screens show.
func scenes() map[string]facts {
	stored := facts{
		Facts: show.Facts{
			Job: "TER-0107", Board: 1, Name: "Consumer unit, hall cupboard",
			Boards: []show.Board{{Number: 1, Name: "Consumer unit, hall cupboard", Left: 27}},
			Place:  "7", Label: "WAY", Feeds: "Smoke and heat alarms", Due: "Live and neutral to earth",
			With:  "insulation tester at the board, 250 V, at least 1 MΩ",
			Last:  &show.Last{Place: "6", Where: "way 6, Live and neutral to earth", Figure: ">999", Unit: "MΩ", Result: check.Pass, Because: "The limit is 1 MΩ."},
			Tests: 27, Done: 12, Recorded: 12, All: 39, Estimate: 21 * time.Minute, Estimated: true,
		},
		turn: listening, said: "Stored. Way seven, Smoke and heat alarms, live and neutral to earth, at two hundred and fifty volts.",
		heard: "confirm", level: -31,
		choices: "the figure in megohms, greater than and the figure, or over range; another way or test by its name; skip this one, not applicable, or limitation, and the reason",
	}
	failing := facts{
		Facts: show.Facts{
			Job: "WRK-0042", Board: 2, Name: "Sub-board, machine shop",
			Boards: []show.Board{{Number: 1, Name: "Main board"}, {Number: 2, Name: "Sub-board, machine shop", Left: 61}, {Number: 3, Name: "Sub-board, yard", Left: 34}},
			Place:  "12", Label: "WAY", Feeds: "Extraction fan, spray booth", Due: "Line to earth",
			With:  "Read back. Say confirm, or correct it.",
			Last:  &show.Last{Waits: true, Place: "12", Where: "way 12, Line to earth", Figure: "0.48", Unit: "MΩ", Result: check.Fail, Because: "The limit is 1 MΩ: " + string(board.Current) + " Table 64, from memory."},
			Tests: 90, Steps: 5, Done: 71, Recorded: 70, LeftOut: 1, All: 163, Waiting: 2, Estimate: 96 * time.Minute, Estimated: true,
		},
		turn: speaking, said: "Way twelve, line to earth, nought point four eight megohms. That fails: the limit is one megohm. Confirm or correct?",
		heard: "nought point four eight", level: math.Inf(-1),
	}
	step := facts{
		Facts: show.Facts{
			Job: "TER-0107", Board: 1, Boards: stored.Boards, Place: "B1", Label: "BEFORE THE DEAD TESTS",
			Feeds: "Consumer unit, hall cupboard", Due: "Isolated and locked off?", Tests: 39, Steps: 7, All: 39,
		},
		said: "Is the board isolated and locked off? Answer, isolated and locked off.",
		turn: listening, level: math.Inf(-1), choices: "isolated and locked off",
	}
	end := stored
	end.Place, end.Label, end.Feeds, end.With, end.Due = "END", "NOTHING LEFT TO ASK", "", "", "Say finish here, or name a way to go back to."
	end.turn, end.Tests, end.Done, end.Recorded, end.LeftOut = paused, 0, 39, 38, 1
	end.Last, end.Tally = nil, []show.Count{{N: 1, Result: check.Fail}, {N: 1, Result: check.CannotSay}, {N: 2, Result: check.Investigate}, {N: 34, Result: check.Pass}, {N: 1}}
	doubtful := failing
	doubtful.Last = &show.Last{Waits: true, Place: "12", Where: "way 12, r1", Figure: "12345.6", Unit: "Ω", Result: check.CannotSay, Because: "The other end is not known.", Others: "r1 0.31 Ω, rn 0.32 Ω"}
	// What failed is stored, and then tested again: the way that is due is another.
	undone := stored
	undone.Place, undone.Feeds, undone.Due = "7", "Smoke and heat alarms", "Live and neutral to earth"
	undone.Last = &show.Last{Place: "12", Where: "way 12, Live and neutral to earth", Figure: "0.02", Unit: "MΩ", Gone: "BEFORE WORK", Result: check.Fail, Because: "The limit is 1 MΩ."}
	question := stored
	question.Options = []show.Option{{Place: "7", Text: "350 MΩ"}, {Place: "7", Text: "315 MΩ"}}
	question.said, question.heard = "Three, five, nought, or three, one, five? Say option one, option two, or say it again.", "three fifty  (disputed)"
	end.choices, question.choices = "carry on", "the first, the second, or no"
	return map[string]facts{"undone": undone, "question": question, "stored": stored, "failing": failing, "step": step, "end": end, "doubtful": doubtful}
}

// The golden screens, from which the pictures in docs are drawn, too.
func TestScreens(t *testing.T) {
	for name, f := range scenes() {
		for _, size := range [][2]int{{80, 24}, {120, 40}, {44, 18}, {30, 8}, {200, 60}} {
			got := draw(f, palette{colour: true}, size[0], size[1])
			inside(t, got, size[0], size[1])
			file := filepath.Join("testdata", fmt.Sprintf("%s-%dx%d.ansi", name, size[0], size[1]))
			if *update {
				if err := os.WriteFile(file, []byte(got+"\n"), 0o644); err != nil {
					t.Fatal(err)
				}
				continue
			}
			want, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			if diff := cmp.Diff(string(want), got+"\n"); diff != "" {
				t.Errorf("%s at %v (go test ./internal/fullscreen -update after looking at it):\n%s", name, size, diff)
			}
		}
	}
}

type failer interface {
	Helper()
	Errorf(format string, args ...any)
}

// inside checks that a screen fits, that nothing in it controls a terminal but
// styles of ours, and that each row ends without one.
func inside(t failer, screen string, w, h int) {
	t.Helper()
	rows := strings.Split(screen, "\n")
	if len(rows) > h {
		t.Errorf("%d rows in %d", len(rows), h)
	}
	for y, row := range rows {
		text := row
		for _, p := range []palette{{}, {true, false}, {true, true}} {
			for s := plain; s <= bad; s++ {
				if q := p.sgr(s); q != "" {
					text = strings.ReplaceAll(text, q, "")
				}
			}
		}
		if strings.Count(row, "\x1b[") != 2*strings.Count(row, "\x1b[m") {
			t.Errorf("row %d has a style that does not end: %q", y, row)
		}
		text = strings.ReplaceAll(text, "\x1b[m", "")
		if i := strings.IndexFunc(text, func(r rune) bool {
			return unicode.IsControl(r) || unicode.In(r, unicode.Cf, unicode.Zl, unicode.Zp) || unicode.Is(unicode.Regional_Indicator, r)
		}); i >= 0 {
			t.Errorf("row %d controls the terminal: %q", y, text)
		}
		// Terminals measure by character or by cluster.
		if width(text) > w || ansi.StringWidth(text) > w || ansi.StringWidthWc(text) > w {
			t.Errorf("row %d is %d wide in %d: %q", y, width(text), w, text)
		}
	}
}

// nasty is text that a name should not be.
func nasty() *rapid.Generator[string] {
	return rapid.OneOf(rapid.String(), rapid.SampledFrom([]string{
		"", "Cooker", "\x1b[2J\x1b]0;own\x07", "\u202eevil\u202c", "a\u0301\u0301\u0301\u0301\u0301", "\u0301", "👩‍👩‍👧‍👦🇬🇧👍🏽", "厨房の照明回路その一", "ــــ سلام", "\xff\xfe", "e\u2028f\u2066g",
		strings.Repeat("x", 300), strings.Repeat("wide words ", 40), "각", "1️⃣", "\u0e33\u0e33", "न्दी", "\u00ad\u034f\u180e",
	}))
}

func anyFacts() *rapid.Generator[facts] {
	return rapid.Custom(func(t *rapid.T) facts {
		text := func(name string) string { return nasty().Draw(t, name) }
		n := rapid.IntRange(-1, 1000000)
		f := facts{
			Facts: show.Facts{
				Job: text("job"), Board: n.Draw(t, "board"), Name: text("name"),
				Place: rapid.OneOf(nasty(), rapid.SampledFrom([]string{"1", "12", "99", "B12", "END"})).Draw(t, "place"),
				Label: rapid.OneOf(nasty(), rapid.Just("WAY")).Draw(t, "label"),
				Feeds: text("feeds"), Due: text("due"), With: text("with"),
				Tests: n.Draw(t, "tests"), Steps: n.Draw(t, "steps"), Waiting: n.Draw(t, "waiting"),
				Estimate: time.Duration(rapid.Int64().Draw(t, "estimate")), Estimated: true,
			},
			said: text("said"), heard: text("heard"), stage: text("stage"),
			turn: turn(rapid.IntRange(0, 5).Draw(t, "turn")), level: rapid.OneOf(rapid.Float64(), rapid.Float64Range(-90, 10), rapid.Just(math.NaN())).Draw(t, "level"),
		}
		f.All = rapid.IntRange(0, 100000).Draw(t, "all")
		f.Done = rapid.IntRange(0, f.All).Draw(t, "done")
		for range rapid.IntRange(0, 9).Draw(t, "boards") {
			f.Boards = append(f.Boards, show.Board{Number: n.Draw(t, "number"), Name: text("board name"), Left: n.Draw(t, "left")})
		}
		if rapid.Bool().Draw(t, "reading") {
			f.Last = &show.Last{
				Waits: rapid.Bool().Draw(t, "waits"), Gone: rapid.SampledFrom([]string{"", "TAKEN OFF", "BEFORE WORK"}).Draw(t, "gone"), Where: text("where"), Place: rapid.OneOf(nasty(), rapid.SampledFrom([]string{"1", "12", "B12"})).Draw(t, "last place"), Unit: text("unit"), Others: text("others"), Because: text("because"),
				Figure: rapid.OneOf(nasty(), rapid.SampledFrom([]string{">999", "0.47", "99999", "<0.00001", "CORRECT"})).Draw(t, "figure"),
				Result: rapid.SampledFrom([]check.Result{check.Pass, check.Fail, check.Investigate, check.CannotSay, "", "later"}).Draw(t, "result"),
			}
		}
		for range rapid.IntRange(0, 3).Draw(t, "options") {
			f.Options = append(f.Options, show.Option{Place: text("of"), Text: rapid.OneOf(nasty(), rapid.SampledFrom([]string{"350 MΩ", "0.0001 Ω"})).Draw(t, "option")})
		}
		for range rapid.IntRange(0, 5).Draw(t, "tally") {
			f.Tally = append(f.Tally, show.Count{N: n.Draw(t, "count"), Result: rapid.SampledFrom([]check.Result{check.Pass, check.Fail, "", "later"}).Draw(t, "of result")})
		}
		return f
	})
}

// Whatever the names are and however large the screen is, it fits.
func TestFits(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		w, h := rapid.IntRange(-1, 250).Draw(t, "w"), rapid.IntRange(-1, 90).Draw(t, "h")
		f := anyFacts().Draw(t, "facts")
		p := palette{rapid.Bool().Draw(t, "colour"), rapid.Bool().Draw(t, "light")}
		screen := draw(f, p, w, h)
		if w <= 0 || h <= 0 {
			if screen != "" {
				t.Errorf("a screen of %d by %d shows %q", w, h, screen)
			}
			return
		}
		inside(t, screen, w, h)
		if !p.colour && (strings.Contains(screen, ";9") || strings.Contains(screen, "38;")) {
			t.Errorf("colour where none is wanted: %q", screen)
		}
	})
}

func FuzzClean(f *testing.F) {
	for _, s := range []string{"Cooker", "\x1b[2J", "\u202eevil", "a\u0301\u0301\u0301", "🇬🇧"} {
		f.Add(s, 10, 2)
	}
	f.Fuzz(func(t *testing.T, s string, w, rows int) {
		w, rows = w%300, rows%50
		got := clean(s)
		if again := clean(got); again != got {
			t.Errorf("%q cleaned is %q, and again %q", s, got, again)
		}
		lines := wrap(got, w, rows)
		if len(lines) > max(0, rows) {
			t.Errorf("%d lines of %d", len(lines), rows)
		}
		for _, line := range lines {
			if width(line) > w {
				t.Errorf("%q is wider than %d", line, w)
			}
		}
		inside(t, draw(facts{Facts: show.Facts{Feeds: s, Place: "4", Label: "WAY", Last: &show.Last{Figure: s}}, said: s}, palette{}, 80, 24), 80, 24)
	})
}

func TestClean(t *testing.T) {
	for in, want := range map[string]string{
		"Cooker,  hall\tcupboard ": "Cooker, hall cupboard",
		"\x1b[31mred\x1b[m":        "?[31mred?[m",
		"pay\u202etxt.exe":         "pay?txt.exe",
		"a\u200db\ufeff":           "ab?",
		"cafe\u0301\u0301\u0301":   "cafe\u0301\u0301",
		"\u0301x":                  "x",
		"🇬🇧":                       "??",
		"\xffx":                    "?x",
	} {
		if got := clean(in); got != want {
			t.Errorf("%q became %q, want %q", in, got, want)
		}
	}
}

// The name of a way is cut where it must be, and shown whole where it fits.
func TestNamesAreShown(t *testing.T) {
	f := scenes()["stored"]
	for _, size := range [][2]int{{80, 24}, {120, 40}, {44, 18}, {30, 12}} {
		text := strings.Join(strings.Fields(ansi.Strip(draw(f, palette{}, size[0], size[1]))), " ")
		for _, want := range []string{"LISTENING", "Smoke and", "PASS", "WAY 7", "27 tests"} {
			if !strings.Contains(text, want) {
				t.Errorf("%v does not show %q:\n%s", size, want, text)
			}
		}
	}
}

// story is the events of a session as the store would number them.
type story struct {
	events []record.Event
}

func (s *story) add(e record.Event) {
	e.ID, e.At = int64(len(s.events)+1), time.Date(2026, 3, 14, 9, 0, 0, 0, time.UTC).Add(time.Duration(len(s.events))*10*time.Second)
	s.events = append(s.events, e)
}

// What is stored is what is shown: the step, the test, the reading that waits, the
// one that is stored.
func TestFollowsTheRecord(t *testing.T) {
	job, err := demo.Board()
	if err != nil {
		t.Fatal(err)
	}
	job.Tests = nil
	w := New()
	if f := w.shot(); f.turn != starting {
		t.Errorf("before anything it shows %+v", f)
	}
	s := story{}
	tell := func(e record.Event) facts {
		t.Helper()
		s.add(e)
		w.Stored(s.events[len(s.events)-1:])
		return w.shot()
	}
	f := tell(record.Event{Kind: record.Opened, Job: &job})
	if f.Place != "B1" || f.Label != "BEFORE THE DEAD TESTS" || f.Job != job.Reference || f.Tests == 0 || f.Steps == 0 || f.All == 0 {
		t.Fatalf("opened: %+v", f)
	}
	before := f.Tests
	slot := record.Slot{Board: 1, Way: 1, Test: reading.LNE}
	q := reading.Quantity{Value: 999, Bound: reading.GreaterThan, Unit: reading.Megohm}
	v := check.Verdict{Result: check.Pass, Reason: "Above 1 megohm."}
	f = tell(record.Event{Kind: record.Proposed, Slot: &slot, Quantity: &q, Verdict: &v})
	if f.Place != "1" || f.Feeds != "Upstairs lighting" || f.Due != "Live and neutral to earth" || f.Last == nil || !f.Last.Waits || f.Last.Figure != ">999" || f.Last.Unit != "MΩ" {
		t.Fatalf("read back: %+v, %+v", f, f.Last)
	}
	f = tell(record.Event{Kind: record.Confirmed})
	if f.Last == nil || f.Last.Waits || f.Last.Result != check.Pass || f.Tests >= before || f.Done != 1 {
		t.Errorf("confirmed: %+v, %+v", f, f.Last)
	}
	w.Listening("confirm, or no")
	if f = w.shot(); f.turn != listening {
		t.Errorf("it shows turn %v", f.turn)
	}
	tell(record.Event{Kind: record.Paused})
	if f = w.shot(); f.turn != paused {
		t.Errorf("paused it shows turn %v", f.turn)
	}
	tell(record.Event{Kind: record.CarriedOn})
	tell(record.Event{Kind: record.Finished})
	if f = w.shot(); f.turn != finished {
		t.Errorf("finished it shows turn %v", f.turn)
	}

	// From the log it shows the same.
	state, err := record.Fold(s.events)
	if err != nil {
		t.Fatal(err)
	}
	again := New()
	again.Begin(state)
	again.Listening("confirm, or no")
	if diff := cmp.Diff(f, again.shot(), cmp.AllowUnexported(facts{})); diff != "" {
		t.Errorf("from the log it shows something else:\n%s", diff)
	}

	// Facts that do not follow are not shown as if they did, until it is told anew.
	again.Stored([]record.Event{{ID: 99, Kind: record.Paused}})
	if f := again.shot(); f.Place != "?" || f.Last != nil || f.All != 0 || f.turn == starting {
		t.Errorf("having missed something it shows %+v", f)
	}
	again.Begin(state)
	if f := again.shot(); f.All == 0 || f.Tally == nil {
		t.Errorf("told anew it shows %+v", f)
	}
}

type oneFrame struct {
	audio.Source
	frames []audio.Clip
}

func (o *oneFrame) Next(context.Context) (audio.Clip, error) {
	if len(o.frames) == 0 {
		return nil, io.EOF
	}
	f := o.frames[0]
	o.frames = o.frames[1:]
	return f, nil
}

func TestMeter(t *testing.T) {
	w := New()
	frame := func(x float32) audio.Clip { return audio.Clip{x, -x, x, -x} }
	nan, inf := float32(math.NaN()), float32(math.Inf(1))
	src := w.Meter(&oneFrame{frames: []audio.Clip{frame(0.1), frame(0), frame(nan), frame(1), frame(inf), frame(0)}})
	for _, want := range []float64{-20, -20 - falls, -20 - 2*falls, 0, 0, -falls} {
		if _, err := src.Next(t.Context()); err != nil {
			t.Fatal(err)
		}
		if got := w.shot().level; math.Abs(got-want) > 0.01 {
			t.Errorf("level %v, want %v", got, want)
		}
	}
	if _, err := src.Next(t.Context()); !errors.Is(err, io.EOF) {
		t.Errorf("error %v", err)
	}
}

func TestHeard(t *testing.T) {
	w := New()
	w.Heard(hear.Heard{Outcome: hear.None})
	if f := w.shot(); f.heard != "(talk, not for waycall)" {
		t.Errorf("it shows %q", f.heard)
	}
	w.Heard(hear.Heard{Outcome: hear.Command, Candidates: []hear.Candidate{{Text: "confirm"}}})
	if f := w.shot(); f.heard != "confirm  (disputed)" {
		t.Errorf("it shows %q", f.heard)
	}
	w.TooLong(15 * time.Second)
	w.Speaking("Say it again.")
	if f := w.shot(); !strings.Contains(f.heard, "15 s") || f.turn != speaking || w.Said() != "Say it again." {
		t.Errorf("it shows %+v", f)
	}
}

// Ctrl-C asks to stop, and no other key does anything.
func TestKeys(t *testing.T) {
	stopped := 0
	var m tea.Model = model{screen: New(), stop: func() { stopped++ }}
	m, _ = m.Update(tea.WindowSizeMsg{Width: 80, Height: 24})
	before := m.View().Content
	for _, k := range []tea.Key{{Code: 'q', Text: "q"}, {Code: tea.KeyEscape}, {Code: tea.KeyEnter}, {Code: 'z', Mod: tea.ModCtrl}, {Code: 'd', Mod: tea.ModCtrl}} {
		var cmd tea.Cmd
		if m, cmd = m.Update(tea.KeyPressMsg(k)); cmd != nil || stopped != 0 || m.View().Content != before {
			t.Errorf("key %v did something", k)
		}
	}
	m.Update(tea.KeyPressMsg{Code: 'c', Mod: tea.ModCtrl})
	if stopped != 1 {
		t.Errorf("Ctrl-C stopped %d times", stopped)
	}
	m, _ = m.Update(tea.WindowSizeMsg{Width: 33, Height: 7})
	inside(t, m.View().Content, 33, 7)
}

// Where the output is no terminal there is no full screen.
func TestCan(t *testing.T) {
	f, err := os.Create(filepath.Join(t.TempDir(), "out"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if Can(f) || Can(&strings.Builder{}) {
		t.Error("a file is taken for a terminal")
	}
}

// A terminal that takes nothing holds up neither the session nor its end.
func TestStuckTerminal(t *testing.T) {
	in, err := os.Open(os.DevNull)
	if err != nil {
		t.Fatal(err)
	}
	defer in.Close()
	r, out, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	if err := out.SetWriteDeadline(time.Now().Add(10 * time.Millisecond)); err != nil {
		t.Fatal(err)
	}
	for err == nil { // until it is full
		_, err = out.Write(make([]byte, 4096))
	}
	if err := out.SetWriteDeadline(time.Time{}); err != nil {
		t.Fatal(err)
	}
	w := New()
	end := w.Show(in, out, func() {})
	for range 1000 {
		w.Speaking("Way one.")
		w.Listening("confirm, or no")
	}
	if err := end(); err == nil || !strings.Contains(err.Error(), "; ") {
		t.Errorf("error %v", err)
	}
}

// A terminal that takes what it is given is given back.
func TestShow(t *testing.T) {
	in, err := os.Open(os.DevNull)
	if err != nil {
		t.Fatal(err)
	}
	defer in.Close()
	r, out, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	all := make(chan []byte)
	go func() {
		b, _ := io.ReadAll(r)
		all <- b
	}()
	w := New()
	end := w.Show(in, out, func() {})
	w.Speaking("Way one.")
	if err := end(); err != nil {
		t.Errorf("error %v", err)
	}
	out.Close()
	if got := string(<-all); strings.Count(got, ansi.SetModeAltScreenSaveCursor) != strings.Count(got, ansi.ResetModeAltScreenSaveCursor) {
		t.Errorf("the terminal was not given back: %q", got)
	}
}

// A microphone that is gone takes the place of its level; what was lost stands beside it.
func TestSound(t *testing.T) {
	w := New()
	w.Listening("confirm, or no")
	for name, tt := range map[string]struct {
		news audio.News
		want string
	}{
		"gone": {audio.News{Text: "The microphone is gone (Headset)", Gone: true, Lost: 2}, "✗ The microphone is gone (Headset)"},
		"lost": {audio.News{Text: "Sound was lost (2 so far)", Lost: 2}, "lost 2"},
	} {
		w.Sound(tt.news)
		for _, s := range []struct{ w, h int }{{80, 24}, {120, 40}, {200, 60}} {
			if screen := draw(w.shot(), palette{}, s.w, s.h); !strings.Contains(ansi.Strip(screen), tt.want) {
				t.Errorf("%s at %dx%d: no %q in\n%s", name, s.w, s.h, tt.want, screen)
			}
		}
	}
	w.Sound(audio.News{Text: "The microphone is back", Lost: 0})
	if screen := ansi.Strip(draw(w.shot(), palette{}, 80, 24)); strings.Contains(screen, "gone") || strings.Contains(screen, "lost") {
		t.Errorf("it is back:\n%s", screen)
	}
}
