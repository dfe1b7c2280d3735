package session

import (
	"context"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"waycall/internal/audio"
	"waycall/internal/board/boardtest"
	"waycall/internal/hear"
	"waycall/internal/record"
	"waycall/internal/report"
	"waycall/internal/say/espeak"
	"waycall/internal/screen"
	"waycall/internal/store"
	"waycall/internal/talk"
)

// aloud is a loudspeaker that measures what it is given.
type aloud struct{ lasts time.Duration }

func (a *aloud) Play(_ context.Context, sound audio.Clip) error {
	a.lasts += sound.Duration()
	return nil
}

// shownSession shows a session as waycall start does, counts what is said in it, and holds
// what is heard against what was said.
type shownSession struct {
	*screen.Lines
	t              *testing.T
	source         *speaker
	phrases, words int
	right          int
}

func (s *shownSession) Speaking(text string) {
	s.words += len(strings.Fields(text))
	s.Lines.Speaking(text)
}

func (s *shownSession) Heard(h hear.Heard) {
	line := s.source.lines[s.source.at-1]
	if line.Stage != "" {
		s.Stage("", line.Stage)
	}
	s.phrases++
	switch heard := h.Best().Text; {
	case h.Agreed && h.Outcome != hear.None && heard != line.Text:
		s.t.Errorf("said %q, heard %q for certain", line.Text, heard)
	case h.Agreed && heard == line.Text:
		s.right++
	default:
		s.t.Logf("said %q: %s %q, agreed %v, %v", line.Text, h.Outcome, heard, h.Agreed, h.Words)
	}
	s.Lines.Heard(h)
}

// speech is how long somebody speaks in a sound, without the quiet at its ends: from the
// first to the last hundredth of a second that is at most 40 dB below the loudest.
func speech(sound audio.Clip) time.Duration {
	const step = audio.Rate / 100
	loudest := math.Inf(-1)
	var levels []float64
	for at := 0; at+step <= len(sound); at += step {
		levels = append(levels, sound[at:at+step].Level())
		loudest = max(loudest, levels[len(levels)-1])
	}
	loud := func(level float64) bool { return level >= loudest-40 }
	first, last := slices.IndexFunc(levels, loud), len(levels)
	for last > 0 && !loud(levels[last-1]) {
		last--
	}
	return time.Duration(last-max(first, 0)) * 10 * time.Millisecond
}

// The ten-way board of testdata/talk/quick.txt is tested whole by sound, in and out: nothing
// is heard wrongly, and it takes no more phrases, words and time than is asked of it, of
// which the dialogue alone says the words (TestFasterThanPaper in package talk): here the
// voice speaks them, and a person's phrases take as long as their sound without the quiet
// at its ends. A second is counted for each turn. "Whole board first" is of another voice
// than the others, whose own was taken for talk. The short form ends in the continuity tests. What is shown goes
// to the file that WAYCALL_WRITE_SESSION names.
func TestTenWaysThroughSound(t *testing.T) {
	lines := wholeLines(t, filepath.Join(wholeFolder, "tenway"))
	long := os.Getenv("WAYCALL_TEST_LONG") != ""
	if !long {
		lines = lines[:20]
	}
	shown := io.Discard
	if name := os.Getenv("WAYCALL_WRITE_SESSION"); name != "" {
		f, err := os.Create(name)
		if err != nil {
			t.Fatal(err)
		}
		defer f.Close()
		shown = f
	}
	voice, err := espeak.Open(espeak.DefaultSpeed)
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "tenway.waycall")
	log, err := store.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	defer log.Close()
	source, player := &speaker{lines: lines}, &aloud{}
	watch := &shownSession{Lines: screen.New(shown), t: t, source: source}
	clock := time.Date(2026, 11, 23, 9, 0, 0, 0, time.UTC)
	s := Session{
		Source: source, Ear: realEar(t), Voice: voice, Player: player, Log: log, Watch: watch,
		Habit: record.Agreed, Prompts: talk.Brief,
		Now: func() time.Time { clock = clock.Add(4 * time.Second); return clock },
	}
	job := boardtest.Read(t, "house.yaml")
	state, err := s.Run(t.Context(), job, record.State{})
	if err != nil {
		t.Fatal(err)
	}
	var spoken time.Duration
	for _, l := range lines {
		spoken += speech(l.sound)
	}
	turns := time.Duration(watch.phrases) * time.Second
	took := spoken + player.lasts + turns
	t.Logf("%d phrases of which %d were heard at once, %d words of waycall; the person spoke %.0f s, waycall %.0f s, with turns %.1f minutes; %d readings",
		watch.phrases, watch.right, watch.words, spoken.Seconds(), player.lasts.Seconds(), took.Minutes(), len(state.Readings))
	if watch.right < len(lines)*9/10 {
		t.Errorf("%d of %d phrases were heard at once", watch.right, len(lines))
	}
	if !long {
		if len(state.Readings) < 4 {
			t.Errorf("%d readings stand", len(state.Readings))
		}
		return
	}
	if watch.phrases > 95 || watch.words > 600 || took > 7*time.Minute+30*time.Second {
		t.Errorf("more than 95 phrases, 600 words or 7.5 minutes")
	}
	if made := report.Build(state); !made.Record.Complete || len(made.ToDo) > 0 {
		t.Errorf("complete %v, to do %q", made.Record.Complete, made.ToDo)
	}
	if !state.Finished {
		t.Error("it did not come to its end")
	}
}
