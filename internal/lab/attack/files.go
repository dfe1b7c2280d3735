package attack

import (
	"context"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"database/sql"
)

var fileAttacks = []Attack{
	{
		Name: "file-gone", Group: groupSession, Title: "a file of the record removed, renamed, replaced, cut or written over while a session runs",
		Bar:  "what is announced afterwards, or said to be \"Stored.\", is in a record on the disk; what an open file still holds is not lost",
		Long: 3 * len(fileActs), Short: 6, Trial: fileGone,
	},
	{
		Name: "locked", Group: groupSession, Title: "another program holds the record locked for 8 s", Bar: stored + "; the session goes on",
		Long: 3, Short: 0, Trial: lockedOut,
	},
}

// fileAct is something that is done to the files of a session that runs.
type fileAct struct {
	name string
	do   func(t *Trial, job, other, older string) error
	open bool // the session still has the whole record in a file that is open, so nothing may be lost
}

var fileActs = []fileAct{
	{"job removed", func(t *Trial, job, _, _ string) error { return os.Remove(job) }, true},
	{"job and log removed", func(t *Trial, job, _, _ string) error {
		return joined(os.Remove(job), os.Remove(job+"-wal"), os.Remove(job+"-shm"))
	}, true},
	{"job renamed", func(t *Trial, job, _, _ string) error { return os.Rename(job, job+".old") }, true},
	{"another job moved over it", func(t *Trial, job, other, _ string) error { return os.Rename(other, job) }, true},
	{"an older copy moved over it", func(t *Trial, job, _, older string) error { return os.Rename(older, job) }, true},
	{"another job written over it", func(t *Trial, job, other, _ string) error { return copyFile(other, job) }, false},
	{"an older copy written over it", func(t *Trial, job, _, older string) error { return copyFile(older, job) }, false},
	{"job cut to nothing", func(t *Trial, job, _, _ string) error { return os.Truncate(job, 0) }, false},
	{"job cut to a page", func(t *Trial, job, _, _ string) error { return os.Truncate(job, 4096) }, false},
	{"log removed", func(t *Trial, job, _, _ string) error { return os.Remove(job + "-wal") }, true},
	{"log cut to nothing", func(t *Trial, job, _, _ string) error { return os.Truncate(job+"-wal", 0) }, false},
	{"log cut by half", func(t *Trial, job, _, _ string) error { return half(job + "-wal") }, false},
	{"log written over", func(t *Trial, job, _, _ string) error { return scribble(job+"-wal", 4096) }, false},
	{"-shm removed", func(t *Trial, job, _, _ string) error { return os.Remove(job + "-shm") }, true},
	{"lock file removed", func(t *Trial, job, _, _ string) error { return os.Remove(job + ".lock") }, true},
	{"folder removed", func(t *Trial, job, _, _ string) error { return os.RemoveAll(filepath.Dir(job)) }, true},
	{"folder renamed", func(t *Trial, job, _, _ string) error { return os.Rename(filepath.Dir(job), filepath.Dir(job)+".old") }, true},
	{"a folder in the place of the job", func(t *Trial, job, _, _ string) error { return joined(os.Remove(job), os.Mkdir(job, 0o755)) }, true},
	{"a link in the place of the job", func(t *Trial, job, other, _ string) error { return joined(os.Remove(job), os.Symlink(other, job)) }, true},
}

func joined(errs ...error) error {
	for _, err := range errs {
		if err != nil && !os.IsNotExist(err) {
			return err
		}
	}
	return nil
}

func half(path string) error {
	info, err := os.Stat(path)
	if err != nil {
		return err
	}
	return os.Truncate(path, info.Size()/2)
}

// scribble writes zeros into the middle of a file.
func scribble(path string, n int) error {
	f, err := os.OpenFile(path, os.O_WRONLY, 0)
	if err != nil {
		return err
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return err
	}
	_, err = f.WriteAt(make([]byte, n), info.Size()/2)
	return err
}

// fileGone does something to the files of a session between two phrases: before a
// reading, before the "confirm" to it, or some readings on. Then four more lines are said.
func fileGone(ctx context.Context, t *Trial) {
	act := fileActs[(t.Number-1)%len(fileActs)]
	more := []int{0, 1, 4}[(t.Number-1)/len(fileActs)%3]
	if t.short() {
		act, more = fileActs[[]int{0, 3, 5, 7, 10, 15}[(t.Number-1)%6]], 1
	}
	t.Logf("%s after %d lines", act.name, more)
	before := t.clean(firstReading).told
	older := t.path("older")
	t.must(copyFile(t.job(), older))
	other := t.path("other")
	t.must(copyFile(t.other(ctx), other))
	v := Victim{Job: t.job(), From: firstReading, Stepped: true}
	s := t.attacked(v)
	if !s.until(func(e event) bool { return e.Event == "line" }) {
		t.Fatalf("the attack itself failed: %s", s.errs.String())
	}
	for range 4 + more {
		s.step()
	}
	early := append(before, s.stored()...)
	said := len(s.spoken())
	t.must(act.do(t, t.job(), other, older))
	after := time.Now()
	for range 4 {
		if !s.step() {
			break
		}
	}
	code := s.finish()
	late := append(before, s.stored()...)[len(early):]
	t.Logf("announced afterwards: %d events, in %v", len(late), time.Since(after))

	all := everywhere(t.Dir, t.Dir)
	all = slices.DeleteFunc(all, func(h held) bool { return h.file == other || h.file == older })
	has := func(list []told) bool {
		return slices.ContainsFunc(all, func(h held) bool { return h.lacks(list) == "" })
	}
	switch {
	case len(late) == 0:
		t.Saw("nothing more announced")
	case has(late):
		t.Saw("more announced, and there")
	default:
		t.Failf("%s: %d events were announced as stored afterwards that are in no file; said: %q", act.name, len(late), s.spoken()[said:])
	}
	if slices.ContainsFunc(s.spoken()[said:], func(w string) bool { return strings.HasPrefix(w, "Stored.") }) && !has(append(early, late...)) {
		t.Failf("%s: \"Stored.\" was said, and no file has it", act.name)
	}
	warned := s.words(said, "gone", "stop", "replaced", "changed", "cannot", "could not", "session has ended", "not stored", "failed")
	switch {
	case has(early):
		t.Saw("nothing lost")
	case act.open:
		t.Failf("%s: what was stored before is in no file, though the session had it open; said: %q", act.name, s.spoken()[said:])
	default:
		t.Saw("record destroyed from outside")
	}
	if !has(append(early, late...)) && !warned {
		t.Failf("%s: not a word of it; said: %q", act.name, s.spoken()[said:])
	}
	if code != 0 && !s.words(said, "session has ended") {
		t.Failf("%s: the session ended without words: exit %d, last %q: %s", act.name, code, s.last(), brief(s.errs.String()))
	}
}

// other is a job of something else.
func (t *Trial) other(ctx context.Context) string {
	t.bases.mu.Lock()
	defer t.bases.mu.Unlock()
	path := filepath.Join(t.Out, "work", "other.waycall")
	if _, err := os.Stat(path); err != nil {
		s := t.attacked(Victim{Job: path, Lines: 5})
		s.wait()
	}
	return path
}

// lockedOut holds the record locked while a phrase is to be stored.
func lockedOut(ctx context.Context, t *Trial) {
	before := t.clean(firstReading).told
	v := Victim{Job: t.job(), From: firstReading, Stepped: true}
	s := t.attacked(v)
	s.until(func(e event) bool { return e.Event == "line" })
	for range 2 + t.Number {
		s.step()
	}
	db, err := sql.Open("sqlite3", "file:"+t.job()+"?mode=rw&_txlock=immediate&_busy_timeout=2000")
	t.must(err)
	tx, err := db.BeginTx(ctx, nil)
	t.must(err)
	free := make(chan struct{})
	time.AfterFunc(8*time.Second, func() {
		defer close(free)
		_ = tx.Rollback()
		_ = db.Close()
	})
	said, announced := len(s.spoken()), len(s.stored())
	for range 2 {
		s.step()
	}
	select {
	case <-free:
	default:
		if s.words(said, "could not be written", "cannot be written", "no reading can be stored", "not stored") {
			t.Saw("said so")
		}
		if len(s.stored()) > announced {
			t.Failf("something was announced as stored while another program held the record locked")
		}
	}
	<-free // before more is said
	for range 4 {
		if !s.step() {
			break
		}
	}
	if code := s.finish(); code != 0 {
		t.Failf("the session ended: exit %d, last %q: %s", code, s.last(), brief(s.errs.String()))
	}
	if len(s.stored()) == announced {
		t.Failf("it is free again, and nothing more is stored; last %q", s.last())
	}
	t.isIn(ctx, v.Job, append(before, s.stored()...))
	t.Saw("went on")
}
