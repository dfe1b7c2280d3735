package session

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"waycall/internal/audio"
	"waycall/internal/audio/audiotest"
	"waycall/internal/record"
	"waycall/internal/store"
	"waycall/internal/store/faults"
)

// A disk that fails at any one write of a session, or from it on, ends no session without
// its last words, never asks where nobody listens, and takes nothing that was told to be
// stored. All of 44 sessions with WAYCALL_TEST_LONG, else some.
func TestEveryWriteOfASessionFails(t *testing.T) {
	most, step := 11, 11
	if os.Getenv("WAYCALL_TEST_LONG") != "" {
		step = 1
	}
	ran, went, waited := 0, 0, 0
	for i, with := range []syscall.Errno{syscall.EIO, syscall.ENOSPC} {
		for j, on := range []bool{false, true} {
			for at := 1 + i + j; at < most+1+i+j; at += step {
				plan := faults.Plan{At: at * 2, With: with, On: on}
				path := filepath.Join(t.TempDir(), "job.waycall")
				job, err := store.Create(path)
				if err != nil {
					t.Fatal(err)
				}
				r := newRig(t, "isolated and locked off", "isolated and locked off", "notices up", "notices up")
				clips := []audio.Clip{make(audio.Clip, audio.Rate/2)}
				for range 4 {
					clips = append(clips, tone(600*time.Millisecond), make(audio.Clip, 4*audio.Rate))
				}
				r.Source, r.Log, r.Session.Keeper = audiotest.Source(clips...), job, job
				if err := faults.Begin(plan); err != nil {
					t.Fatal(err)
				}
				state, err := r.Run(t.Context(), r.job, record.State{})
				faults.End()
				ran++
				all := strings.Join(r.voice.said, " ")
				if ended := strings.HasSuffix(all, "The session has ended."); ended != (err != nil) {
					t.Errorf("%v: it ended with %v: %q", plan, err, r.voice.said)
				}
				if strings.Contains(all, "Say them again") {
					t.Errorf("%v: it said %q", plan, r.voice.said)
				}
				if strings.Contains(all, unstuck) {
					went++
				}
				if !on && (err != nil || len(state.Answers) == 0) {
					t.Errorf("%v: one failed write, and it went on to %d answers, %v: %q", plan, len(state.Answers), err, r.voice.said)
				}
				if strings.Contains(all, "Stop: ") {
					waited++
				}
				job.Close()
				job.Close()
				check(t, path, state, plan)
			}
		}
	}
	t.Logf("%d sessions, %d were told to stop, %d of them went on", ran, waited, went)
	if waited == 0 || went == 0 {
		t.Error("the faults tested nothing")
	}
}

// check opens the job again: what the session knew to be stored is there.
func check(t *testing.T, path string, state record.State, what any) {
	t.Helper()
	again, err := store.Open(path)
	if err != nil {
		t.Fatalf("%v: %v", what, err)
	}
	defer again.Close()
	events, err := again.Events(t.Context())
	if err != nil || int64(len(events)) < state.LastID {
		t.Fatalf("%v: %d events are there, %d were told, %v", what, len(events), state.LastID, err)
	}
	kept, err := record.Fold(slices.Clone(events[:state.LastID]))
	if err != nil || fmt.Sprint(kept.Answers) != fmt.Sprint(state.Answers) {
		t.Errorf("%v: the record has the answers %v, %v were told, %v", what, kept.Answers, state.Answers, err)
	}
}
