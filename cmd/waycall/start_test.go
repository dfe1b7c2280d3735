package main

import (
	"bytes"
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"waycall/internal/board/boardtest"
	"waycall/internal/jobs"
	"waycall/internal/record"
	"waycall/internal/screen"
	"waycall/internal/store"
)

// What is printed last after Ctrl-C was looked at: that all is kept only where it is.
func TestLastLine(t *testing.T) {
	for name, c := range map[string]struct {
		do   func(path string) error
		kept bool
		says string
	}{
		"nothing happened": {func(string) error { return nil }, true, ""},
		"removed":          {os.Remove, true, "is written back as"},
		"replaced": {func(p string) error {
			return errors.Join(os.WriteFile(p+".other", []byte("not a job"), 0o600), os.Rename(p+".other", p))
		}, false, "job-rescued.waycall"},
		"its log cut": {func(p string) error { return os.Truncate(p+"-wal", 0) }, false, "not all of what was stored is there"},
	} {
		t.Run(name, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "job.waycall")
			log, err := store.Create(path)
			if err != nil {
				t.Fatal(err)
			}
			job := boardtest.Read(t, "terrace.yaml")
			if _, err := log.Append(t.Context(), []record.Event{{ID: 1, At: time.Now(), Kind: record.Opened, Job: &job}}, nil); err != nil {
				t.Fatal(err)
			}
			if err := c.do(path); err != nil {
				t.Fatal(err)
			}
			var printed bytes.Buffer
			got := closeJob(log, context.Canceled, &printed)
			if kept := errors.As(got, new(keptError)); kept != c.kept || errors.Is(got, context.Canceled) != c.kept {
				t.Errorf("it ends with %v", got)
			}
			if !strings.Contains(printed.String()+got.Error(), c.says) {
				t.Errorf("it says %q and %v", printed.String(), got)
			}
		})
	}
}

// The quicker habit is offered by its name where a job is begun, and goes on for the same
// tester, who is told so.
func TestHabitIsOffered(t *testing.T) {
	job := boardtest.Read(t, "terrace.yaml")
	folder := jobs.Folder(t.TempDir())
	log, err := folder.Create(t.Context(), job, time.Now())
	if err != nil {
		t.Fatal(err)
	}
	defer log.Close()
	begun, err := jobs.Fold(t.Context(), log)
	if err != nil {
		t.Fatal(err)
	}
	again := begun
	for _, e := range []record.Event{
		{ID: 2, Kind: record.Opened, Job: &job, Habit: record.Agreed},
		{ID: 3, Kind: record.Said, Text: "Going on."},
	} {
		e.At = time.Now()
		if again, err = again.Apply(e); err != nil {
			t.Fatal(err)
		}
	}
	for name, c := range map[string]struct {
		from                 record.State
		accept, tester, says string
		want                 record.Habit
	}{
		"begun":                     {begun, "", "", screen.Quicker, record.Each},
		"begun, and chosen":         {begun, "agreed", "", "", record.Agreed},
		"gone on with":              {again, "", "", screen.GoesOnQuicker, record.Agreed},
		"gone on with, each":        {again, "each", "", "", record.Each},
		"gone on with by the same":  {again, "", job.Tester, screen.GoesOnQuicker, record.Agreed},
		"gone on with by another":   {again, "", "ZZ", "", record.Each},
		"agreed, chosen once again": {again, "agreed", "", "", record.Agreed},
	} {
		o := startOptions{accept: c.accept, tester: c.tester}
		if says := o.chooseHabit(c.from); says != c.says || habits[o.accept] != c.want {
			t.Errorf("%s: says %q, habit %q; want %q, %q", name, says, habits[o.accept], c.says, c.want)
		}
	}
}
