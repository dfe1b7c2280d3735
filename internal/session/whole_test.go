package session

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"waycall/internal/audio"
	"waycall/internal/board"
	"waycall/internal/hear"
	"waycall/internal/reading"
	"waycall/internal/record"
	"waycall/internal/report"
	"waycall/internal/store"
)

const wholeFolder = "../../testdata/session"

// wholeLine is one thing that is said in the long session.
type wholeLine struct {
	Stage string `json:"stage"`
	Text  string `json:"text"`
	sound audio.Clip
}

var noLetters = regexp.MustCompile(`[^a-z]+`)

// wholeLines reads the script of a session in a folder, and the sound of each line: what
// is said often was rendered up to three times, and these are used in turn.
func wholeLines(t testing.TB, folder string) []wholeLine {
	t.Helper()
	src, err := os.ReadFile(filepath.Join(folder, "script.jsonl"))
	if err != nil {
		t.Fatal(err)
	}
	var lines []wholeLine
	used := map[string]int{}
	for s := bufio.NewScanner(bytes.NewReader(src)); s.Scan(); {
		var l wholeLine
		if err := json.Unmarshal(s.Bytes(), &l); err != nil {
			t.Fatal(err)
		}
		slug := strings.Trim(noLetters.ReplaceAllString(strings.ToLower(l.Text), "-"), "-")
		variants, err := filepath.Glob(filepath.Join(folder, "sound", slug+"-[0-9].flac"))
		if err != nil || len(variants) == 0 {
			t.Fatalf("no sound of %q; scripts/lab/render-demo renders it (%v)", l.Text, err)
		}
		l.sound = readClip(t, variants[used[slug]%len(variants)])
		used[slug]++
		lines = append(lines, l)
	}
	return lines
}

// speaker is a microphone into which the lines are spoken, each once the one before
// it was answered or let pass.
type speaker struct {
	lines []wholeLine
	at    int // lines begun
	rest  audio.Clip
}

func (s *speaker) Next(ctx context.Context) (audio.Clip, error) {
	if len(s.rest) == 0 {
		if s.at == len(s.lines) {
			return nil, io.EOF
		}
		s.rest = append(slices.Clone(s.lines[s.at].sound), make(audio.Clip, 2*audio.Rate)...)
		s.at++
	}
	frame := s.rest[:min(audio.FrameSize, len(s.rest))]
	s.rest = s.rest[len(frame):]
	return frame, ctx.Err()
}

// Discard leaves out what is left of the quiet after a line.
func (s *speaker) Discard()     { s.rest = nil }
func (s *speaker) Close() error { return nil }

// account notes what was heard of each line.
type account struct {
	watcher
	source *speaker
	heard  []string
}

func (a *account) Heard(h hear.Heard) {
	a.heard = append(a.heard, fmt.Sprintf("%d %q: %s %q, agreed %v, %v", a.source.at, a.source.lines[a.source.at-1].Text, h.Outcome, h.Best().Text, h.Agreed, h.Words))
}

// wholeWant is the schedule of the long session, by hand from its script.
var wholeWant = map[record.Slot]string{
	{Board: 1, Test: reading.Earthing}: "0.04 ohm", {Board: 1, Test: reading.Bonding, Position: 1}: "0.02 ohm", {Board: 1, Test: reading.Bonding, Position: 2}: "0.03 ohm",
	{Board: 1, Test: reading.Polarity}: "correct", {Board: 1, Test: reading.Ze}: "0.21 ohm", {Board: 1, Test: reading.PFC}: "1.06 kA", {Board: 1, Test: reading.PSC}: "1.2 kA",

	{Board: 1, Way: 1, Test: reading.R1R2}: "0.13 ohm", {Board: 1, Way: 1, Test: reading.Polarity}: "correct", {Board: 1, Way: 1, Test: reading.LNE}: ">999 Mohm",
	{Board: 1, Way: 1, Test: reading.LN}: ">999 Mohm", {Board: 1, Way: 1, Test: reading.Zs}: "0.34 ohm", {Board: 1, Way: 1, Test: reading.RCD1x}: "22 ms",
	{Board: 1, Way: 1, Test: reading.RCDButton}: "correct", {Board: 1, Way: 1, Test: reading.Functional}: "correct",

	{Board: 1, Way: 2, Test: reading.RingR1}: "0.42 ohm", {Board: 1, Way: 2, Test: reading.RingRn}: "0.42 ohm", {Board: 1, Way: 2, Test: reading.RingR2}: "0.69 ohm",
	{Board: 1, Way: 2, Test: reading.RingLN}: "0.21 ohm", {Board: 1, Way: 2, Test: reading.RingLE}: "0.28 ohm", {Board: 1, Way: 2, Test: reading.Polarity}: "correct",
	{Board: 1, Way: 2, Test: reading.LNE}: "680 Mohm", {Board: 1, Way: 2, Test: reading.LN}: ">999 Mohm", {Board: 1, Way: 2, Test: reading.Zs}: "0.49 ohm",
	{Board: 1, Way: 2, Test: reading.RCD1x}: "18 ms", {Board: 1, Way: 2, Test: reading.RCDButton}: "correct", {Board: 1, Way: 2, Test: reading.Functional}: "correct",

	{Board: 1, Way: 3, Test: reading.R1R2}: "0.18 ohm", {Board: 1, Way: 3, Test: reading.Polarity}: "correct", {Board: 1, Way: 3, Test: reading.LNE}: "486 Mohm",
	{Board: 1, Way: 3, Test: reading.LN}: "512 Mohm", {Board: 1, Way: 3, Test: reading.Zs}: "0.39 ohm", {Board: 1, Way: 3, Test: reading.Functional}: "correct",

	{Board: 1, Way: 4, Test: reading.R1R2}: "1.25 ohm", {Board: 1, Way: 4, Test: reading.Polarity}: "correct",
	{Board: 1, Way: 4, Test: reading.LNE, Position: 1}: ">999 Mohm", {Board: 1, Way: 4, Test: reading.LN, Position: 1}: ">999 Mohm",
	{Board: 1, Way: 4, Test: reading.LNE, Position: 2}: "824 Mohm", {Board: 1, Way: 4, Test: reading.LN, Position: 2}: ">999 Mohm",
	{Board: 1, Way: 4, Test: reading.Zs}: "1.46 ohm", {Board: 1, Way: 4, Test: reading.RCD1x}: "27 ms", {Board: 1, Way: 4, Test: reading.RCDButton}: "correct",
	{Board: 1, Way: 4, Test: reading.Functional}: "correct",

	{Board: 1, Way: 5, Test: reading.R1R2}: "0.22 ohm", {Board: 1, Way: 5, Test: reading.Polarity}: "correct", {Board: 1, Way: 5, Test: reading.LNE}: "206 Mohm",
	{Board: 1, Way: 5, Test: reading.LN}: ">999 Mohm", {Board: 1, Way: 5, Test: reading.Zs}: "0.43 ohm", {Board: 1, Way: 5, Test: reading.RCD1x}: "31 ms",
	{Board: 1, Way: 5, Test: reading.RCDButton}: "correct", {Board: 1, Way: 5, Test: reading.Functional}: "correct",
}

// A whole board, from the isolation to the last live test, through sound: rendered
// speech, both recognisers, the conversation and the record. Nothing wrong may be on
// the schedule, and in the long form everything right must be. The short form ends
// after the continuity of the ring.
func TestWholeBoardThroughSound(t *testing.T) {
	lines := wholeLines(t, wholeFolder)
	if len(lines) < 120 {
		t.Fatalf("the session has %d phrases", len(lines))
	}
	long := os.Getenv("WAYCALL_TEST_LONG") != ""
	if !long {
		lines = lines[:44]
	}
	f, err := os.Open(filepath.Join(wholeFolder, "board.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	job, err := board.Read(f, "board.yaml")
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "whole.waycall")
	log, err := store.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	defer log.Close()
	source := &speaker{lines: lines}
	watch := &account{source: source}
	clock := time.Date(2026, 4, 9, 9, 0, 0, 0, time.UTC)
	s := Session{
		Source: source, Ear: realEar(t), Voice: &voice{}, Player: mute{}, Log: log, Watch: watch,
		Now: func() time.Time { clock = clock.Add(4 * time.Second); return clock },
	}
	if _, err := s.Run(t.Context(), job, record.State{}); err != nil {
		t.Fatal(err)
	}
	events, err := log.Events(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	state, err := record.Fold(events)
	if err != nil {
		t.Fatal(err)
	}
	wrong := 0
	got := map[record.Slot]bool{}
	for _, r := range state.Readings {
		if r.Standing != record.Stands {
			continue
		}
		got[r.Slot] = true
		text := r.Quantity.String()
		if r.Quantity.Unit == reading.NoUnit {
			text = map[bool]string{true: "correct", false: "wrong"}[r.Quantity.Equal(reading.Correct)]
		}
		if want := wholeWant[r.Slot]; text != want {
			t.Errorf("%+v has %s, want %s", r.Slot, text, want)
			wrong++
		}
		if sound, err := log.Sound(t.Context(), r.HeardID); err != nil || len(sound) < 8000 {
			t.Errorf("%+v: its sound has %d bytes, %v", r.Slot, len(sound), err)
		}
	}
	t.Logf("%d phrases, %d readings stand, %d of %d right, %d wrong", len(lines), len(got), len(got)-wrong, len(wholeWant), wrong)
	if long {
		for slot, want := range wholeWant {
			if !got[slot] {
				t.Errorf("%+v is missing, want %s", slot, want)
			}
		}
		schedule := report.Build(state)
		if !schedule.Record.Complete || len(schedule.Observations) != 1 || len(schedule.Notes) != 1 {
			t.Errorf("complete %v, to do %q, %d observations, %d notes", schedule.Record.Complete, schedule.ToDo, len(schedule.Observations), len(schedule.Notes))
		}
		for _, n := range schedule.Notes {
			t.Logf("note: %q", n.Text)
		}
		for _, o := range schedule.Observations {
			t.Logf("observation: %s %q", o.Code, o.Text)
		}
	} else if len(got) < 15 {
		t.Errorf("%d readings stand", len(got))
	}
	if t.Failed() {
		t.Log(strings.Join(watch.heard, "\n"))
	}
	if err := log.Close(); err != nil {
		t.Error(err)
	}
	if r, err := store.Verify(t.Context(), path); err != nil || len(r.Problems) != 0 {
		t.Errorf("%+v, %v", r, err)
	}
}
