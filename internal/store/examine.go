package store

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"waycall/internal/english"
	"waycall/internal/store/internal/jobfile"
)

// This file asks what a session that was cut off, or a file that was put back, left of a
// job, where SQLite says nothing: whether the write-ahead log is damaged, cut short or
// gone, and whether the record is as long as it was said to be.

// condition is how the file of a job and what belongs to it lie there, before it is read.
type condition struct {
	path    string
	version int // of its tables
	// cut says that the file is in WAL mode: its last session was cut off, or one is
	// running. hadLog: something lay in its log.
	cut, hadLog bool
	// told is what the file beside it says; toldErr why it says nothing.
	told    jobfile.Told
	toldErr error
}

// examined is what is to be said of a job beside what is in it.
type examined struct {
	// lost says that events that were stored are not in the record, or may not be: nil
	// when nothing says so.
	lost  *Finding
	notes []Finding
	// doubt says that the end of the record may be missing, and that nothing tells.
	doubt bool
	aloud []string // of the notes that somebody at work must hear, in words to be spoken
}

const (
	adviceLost  = "waycall start puts the damaged files aside, whole, and goes on with what is there; first look for a whole copy of the job"
	adviceCut   = "work can go on; look through what is recorded, and test again what is missing"
	adviceNoted = "nothing need be done"
)

// examine looks at an open job. It writes nothing. Of a job that a session has open, live,
// the log is not read: the session saw to it.
func (c condition) examine(ctx context.Context, log jobfile.Rower, live bool) (x examined, err error) {
	if x.notes = setAside(c.path); len(x.notes) > 0 {
		x.aloud = append(x.aloud, "Damaged files of this job were put aside. What was recorded or taken back last may be missing. Look through the record.")
	}
	if c.version < jobfile.Chained {
		return x, nil // of a waycall that noted nothing
	}
	var s jobfile.LogScan
	if c.cut && c.hadLog && !live {
		page := 4096
		_ = log.QueryRowContext(ctx, "PRAGMA page_size").Scan(&page)
		if s, err = jobfile.ReadLog(c.path, page); err != nil {
			return x, err
		}
	}
	wal := c.path + "-wal"
	now, err := jobfile.HeadOf(ctx, log)
	if err != nil && s.Behind > jobfile.Torn {
		x.lost = &Finding{0, fmt.Sprintf("its write-ahead log %s is damaged at byte %d, %s behind it, and what is left cannot be read",
			wal, s.End, commits(s.Behind, "lies", "lie")), adviceLost}
		return x, nil
	}
	if err != nil {
		return x, err
	}
	missing := c.missing(now)
	if c.toldErr == nil && c.told.First == now.First && c.told.ID <= now.ID && c.told.ID > 0 {
		sum, err := jobfile.SumAt(ctx, log, c.told.ID)
		if err != nil {
			return x, err
		}
		if string(sum) != string(c.told.Sum[:]) {
			x.note(fmt.Sprintf("its event %d is another one than was stored here: a copy that was worked on elsewhere was put in its place, or it was altered", c.told.ID),
				"look for the other one, and compare the two", "This record is not the one that was here before.")
		}
	}
	if !c.cut {
		x.note(c.shorter(now, missing))
		return x, nil
	}
	switch known := c.toldErr == nil; {
	case missing > 0:
		why := "its write-ahead log " + wal
		switch {
		case !c.hadLog:
			why += " is gone or empty"
		case s.Behind > 0:
			why += fmt.Sprintf(" is damaged at byte %d, and %s it", s.End, commits(s.Behind, "lies", "lie")+" behind")
		default:
			why += " is cut short or damaged at its end"
		}
		x.lost = &Finding{now.ID + 1, fmt.Sprintf("%s stored and %s not here: %s", span(now.ID+1, c.told.ID, "was", "were"), isAre(missing), why), adviceLost}
	case s.Headless && s.Behind > jobfile.Torn && known && c.told.First == now.First && c.told.ID == now.ID:
		// A write of the header failed that was to begin a new round, most likely. SQLite
		// begins one when every frame of the round before is in the file, and the head
		// agrees; after a power cut the head may be behind, so there is a doubt.
		x.doubt = true
		x.note(fmt.Sprintf("the beginning of its write-ahead log, %s, is damaged: a write failed there, and nothing that was told to be stored is missing", wal), adviceCut,
			"The log of the last session is damaged at its beginning. Look whether the last readings are there.")
	case s.Behind > jobfile.Torn && known && c.told.ID == now.ID:
		x.lost = &Finding{0, fmt.Sprintf("its write-ahead log %s is damaged at byte %d, though nothing that was told to be stored is missing", wal, s.End), adviceLost}
	case s.Behind > jobfile.Torn:
		x.lost = &Finding{now.ID + 1, fmt.Sprintf("its write-ahead log %s is damaged at byte %d, and %s behind it: what was stored after event %d may be missing",
			wal, s.End, commits(s.Behind, "lies", "lie"), now.ID), adviceLost}
	case live || known && (c.told.First == now.First || c.told.ID == 0):
	case !c.hadLog:
		x.doubt = true
		x.note(fmt.Sprintf("its last session was cut off, and the log of that, %s, is not here: what it stored last may be missing", wal), adviceCut,
			"The log of the last session is not here. What was recorded or taken back last may be missing.")
	default:
		x.doubt = true
		x.note(fmt.Sprintf("its last session was cut off, and the file that says how far it had come, %s, is not here, cannot be read or is of another job: whether the end of its log is all there cannot be told", c.path+jobfile.HeadEnd), adviceCut, "")
	}
	return x, nil
}

// refuseLost is examine for who goes no further where something is lost.
func (c condition) refuseLost(ctx context.Context, log jobfile.Rower, live bool) (examined, error) {
	x, err := c.examine(ctx, log, live)
	if err == nil && x.lost != nil {
		err = &jobfile.Error{Reason: ErrDamaged, Also: ErrLog, Detail: x.lost.What, Do: x.lost.Do}
	}
	return x, err
}

// blameLog makes ErrLog, too, of damage to a job that has a log: it may be that alone.
func (c condition) blameLog(err error, live bool) error {
	var ours *jobfile.Error
	switch {
	case err == nil || !c.hadLog || live || errors.Is(err, ErrLog):
		return err
	case errors.As(err, &ours):
		if !errors.Is(ours.Reason, ErrDamaged) {
			return err
		}
	case errors.Is(jobfile.ReasonFor(err), ErrDamaged):
		ours = &jobfile.Error{Detail: jobfile.OneLine(err.Error())}
	default:
		return err
	}
	return &jobfile.Error{Reason: ErrDamaged, Also: ErrLog, Detail: "the file with its write-ahead log: " + ours.Detail, Do: adviceLost, Cause: err}
}

func (x *examined) note(what, do, aloud string) {
	if what != "" {
		x.notes = append(x.notes, Finding{What: what, Do: do})
	}
	if aloud != "" {
		x.aloud = append(x.aloud, aloud)
	}
}

// missing returns how many of the events that were told to be stored are not at the end of
// a log that ends as now says. Of another job's, it knows nothing.
func (c condition) missing(now jobfile.Told) int64 {
	if c.toldErr != nil || now.ID > 0 && c.told.First != now.First {
		return 0
	}
	return max(0, c.told.ID-now.ID)
}

// shorter says what the file beside a job that was closed in order tells of it, if that is
// not what is in it. An older copy that was put back is like that, and no damage.
func (c condition) shorter(now jobfile.Told, missing int64) (what, do, aloud string) {
	name := c.path + jobfile.HeadEnd
	const blind = "nothing of the record is lost by that, but whether it is as long as it was cannot be told"
	switch {
	case errors.Is(c.toldErr, ErrDamaged):
		return fmt.Sprintf("the file that says how far it had come, %s, is damaged: %s", name, blind), "nothing need be done; the next session makes it anew", ""
	case c.toldErr != nil && !errors.Is(c.toldErr, fs.ErrNotExist):
		return fmt.Sprintf("the file that says how far it had come, %s, cannot be read (%s): %s", name, unreadable(name, c.toldErr), blind),
			"the next session makes it anew; where a folder lies in its place that holds something, move that away", ""
	case missing > 0 && now.ID > 0:
		return fmt.Sprintf("it is shorter than it was: it ends with event %d, and here event %d had been stored; an older copy was put back, or events were taken off its end", now.ID, c.told.ID),
			"look for the longer one before you go on with this", "This record is shorter than it was."
	case c.toldErr != nil || now.ID == 0 || c.told.First == now.First:
		return "", "", ""
	}
	return fmt.Sprintf("%s is of another job, and is not gone by", name), adviceNoted, ""
}

// unreadable says why a file beside a job cannot be read.
func unreadable(name string, err error) string {
	if info, gone := os.Lstat(name); gone == nil && !info.Mode().IsRegular() {
		return "it is not a plain file"
	}
	return jobfile.OneLine(WithoutPath(err))
}

// commits says how many there are: "1 commit lies", "29 commits lie".
func commits(n int, one, more string) string {
	return english.Count(n, "commit") + " " + english.Plural(n, one, more)
}

// span names events: "event 3 was", "events 3 to 5 were".
func span(from, to int64, one, more string) string {
	if from == to {
		return fmt.Sprintf("event %d %s", from, one)
	}
	return fmt.Sprintf("events %d to %d %s", from, to, more)
}

func isAre(n int64) string { return english.Plural(int(n), "is", "are") }

// ofUnsure says what became of the events of which it had been said that they may be
// stored.
func (c condition) ofUnsure(now jobfile.Told) (f Finding, aloud string) {
	from, to := c.told.ID+1, c.told.Unsure
	if c.toldErr != nil || to < from || now.ID > 0 && c.told.ID > 0 && c.told.First != now.First {
		return f, ""
	}
	f = Finding{Event: from, What: span(from, to, "was", "were") + " said to be stored or not, and "}
	if now.ID >= to {
		f.What += isAre(to-c.told.ID) + " stored"
		f.Do = "do not say again what is there; waycall show lists it"
		aloud = "What may not have been stored is stored."
	} else {
		f.What += isAre(to-c.told.ID) + " not stored"
		f.Do = "say again what was said last"
		aloud = "What may not have been stored is not stored. Say it again."
	}
	return f, aloud
}

// setAside notes the folders that PutLogAside made.
func setAside(path string) (notes []Finding) {
	for n := 1; ; n++ {
		dir := asideOf(path, n)
		f, err := jobfile.OpenPlain(filepath.Join(dir, asideWhy))
		if err != nil { // most likely there is none
			return notes
		}
		why := make([]byte, 1024)
		got, _ := f.Read(why)
		f.Close()
		notes = append(notes, Finding{What: fmt.Sprintf("damaged files of this job were put aside in %s, because %s", dir, jobfile.OneLine(string(why[:got]))),
			Do: "look through what is recorded, and test again what is missing; keep that folder, for more may be got out of it"})
	}
}
