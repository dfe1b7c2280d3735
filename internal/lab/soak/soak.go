// Package soak plays a day of work through the whole of waycall, much faster than it
// would pass: real endpointing, both recognisers and their fusion, the conversation,
// the log with its sound, and the voice.
//
// An electrician who knows nothing but what he hears says readings, in the order in
// which they are asked for and out of it, corrects and takes back, tests ways again,
// talks to others and is silent, in the noise of a site. The microphone fails and comes
// back; the program is killed and begins again from its log. He keeps a ledger of what
// was read back rightly, confirmed and acknowledged, and at the end the record, its
// sound and the schedule are held against it.
//
// Time in a soak is that of the sound: each sample given to the session or played by it
// is a sixteen-thousandth of a second.
package soak

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"path/filepath"
	"time"

	"waycall/internal/audio"
	"waycall/internal/board"
	"waycall/internal/jobs"
	"waycall/internal/report"
	"waycall/internal/say"
	"waycall/internal/session"
	"waycall/internal/store"
)

// Plan says what a soak is.
type Plan struct {
	Testdata string           // the repository's folder of that name
	Folder   string           // where the job is kept; it must exist
	Hours    float64          // of simulated time, at least
	Phrases  int              // at least
	Seed     uint64           // the same seed gives the same day, as far as the recognisers do
	Trouble  float64          // share of phrases with a reading or a "confirm" that meet trouble
	Tell     func(Minute)     // told of every minute, if it is set
	Ear      session.Ear      // the recognisers
	Voice    say.Voice        // that speaks
	Enough   <-chan os.Signal // ends the day early, as its end would; may be nil
}

// Result is what a soak saw.
type Result struct {
	Hours   float64  `json:"hours"`   // simulated
	Took    float64  `json:"took_s"`  // on the clock
	CPU     float64  `json:"cpu_s"`   // of the processor
	Counts  Counts   `json:"counts"`  // what happened
	Audit   Audit    `json:"audit"`   // what became of the readings
	Bars    []Bar    `json:"bars"`    // what was to be reached
	Minutes []Minute `json:"minutes"` // one for each
	Hearing []Took   `json:"hearing"` // one for each phrase that was heard
	Storing []Took   `json:"storing"` // one for each that was stored
}

// Run makes a soak. The error is for one that could not be brought to its end; what it
// found wrong is in the result.
func Run(ctx context.Context, p Plan) (Result, error) {
	file, err := os.Open(filepath.Join(p.Testdata, "soak", "board.yaml"))
	if err != nil {
		return Result{}, fmt.Errorf("soak: %w; run it in the repository's root", err)
	}
	job, err := board.Read(file, file.Name())
	file.Close()
	if err != nil {
		return Result{}, err
	}
	sounds, err := loadPhrases(p.Testdata)
	if err != nil {
		return Result{}, err
	}
	if err := sounds.check(); err != nil {
		return Result{}, err
	}
	e := newElectrician(p.Seed, sounds, job)
	e.trouble = &trouble{rand: rand.New(rand.NewPCG(p.Seed, 9)), often: p.Trouble}
	m := &meter{e: e, tell: p.Tell}
	day := time.Date(2026, 5, 11, 8, 0, 0, 0, time.UTC)
	start := now()
	e.watch = func(samples int) {
		m.passes(samples)
		select {
		case <-p.Enough:
			e.ended = true
		default:
			e.ended = e.ended || m.time().Hours() >= p.Hours && e.Counts.Phrases >= p.Phrases
		}
	}
	m.path = jobs.Folder(p.Folder).File(job.Reference)
	log, err := store.Create(m.path)
	if err != nil {
		return Result{}, err
	}
	defer func() { log.Close() }()
	for {
		known, err := jobs.Fold(ctx, log)
		if err != nil {
			return Result{}, err
		}
		opening := board.Job{}
		if known.Sessions == 0 {
			opening = job
		}
		e.gone, e.heard, e.stored, e.clip, e.trouble.next = false, "", false, nil, ""
		e.Counts.Sessions++
		s := session.Session{
			Source: e, Ear: timedEar{p.Ear, m}, Voice: p.Voice, Player: e, Log: writes{log, e, m}, Keeper: log, Watch: e,
			Now: func() time.Time { return day.Add(m.time()) },
		}
		_, err = s.Run(ctx, opening, known)
		if err == nil {
			break
		}
		if !errors.Is(err, errKilled) && !errors.Is(err, errDevice) {
			return Result{}, err
		}
		e.watch(e.rand.IntN(20) * audio.Rate) // until it is started again
		again, err := reopen(log, m, e, errors.Is(err, errKilled) && e.Counts.Kills%4 == 0)
		if err != nil {
			return Result{}, err
		}
		log = again
	}
	if err := log.Close(); err != nil {
		return Result{}, err
	}
	took := since(start)
	r := Result{
		Hours: m.time().Hours(), Took: took.wall.Seconds(), CPU: took.cpu.Seconds(), Counts: e.Counts,
		Minutes: m.Minutes, Hearing: m.Hearing, Storing: m.Storing,
	}
	if err := audit(ctx, &r.Audit, m.path, e); err != nil {
		return r, err
	}
	r.Bars = bars(r, p)
	return r, nil
}

// reopen begins again from the log on the disk. With the plug pulled it goes on with
// what the disk has at this moment, the write-ahead log as it lies there: nothing is
// closed before.
func reopen(old *store.Store, m *meter, e *electrician, plug bool) (*store.Store, error) {
	if !plug {
		if err := old.Close(); err != nil {
			return nil, err
		}
		return store.Open(m.path)
	}
	e.Counts.PulledPlugs++
	copied := filepath.Join(filepath.Dir(m.path), fmt.Sprintf("plug-%d", e.Counts.PulledPlugs)+jobs.Ending)
	for _, end := range []string{"", "-wal", "-head"} {
		if err := copyFile(m.path+end, copied+end); err != nil && !(end != "" && errors.Is(err, os.ErrNotExist)) {
			return nil, err
		}
	}
	if err := old.Close(); err != nil {
		return nil, err
	}
	for _, end := range []string{"", "-wal", "-shm", "-head", ".lock"} {
		if err := os.Remove(m.path + end); err != nil && !errors.Is(err, os.ErrNotExist) {
			return nil, err
		}
	}
	m.path = copied
	return store.Open(copied)
}

func copyFile(from, to string) error {
	in, err := os.Open(from)
	if err != nil {
		return err
	}
	defer in.Close()
	out, err := os.Create(to)
	if err != nil {
		return err
	}
	_, err = io.Copy(out, in)
	return errors.Join(err, out.Close())
}

// audit holds the record against the ledger.
func audit(ctx context.Context, a *Audit, path string, e *electrician) error {
	checked, err := store.Verify(ctx, path)
	if err != nil {
		return err
	}
	for _, f := range checked.Problems {
		a.problem("verify: %s", f)
	}
	a.Integrity, a.Events, a.Head = len(checked.Problems) == 0, checked.Events, checked.Head
	log, err := store.OpenReadOnly(path)
	if err != nil {
		return err
	}
	defer log.Close()
	known, err := jobs.Fold(ctx, log)
	if err != nil {
		return err
	}
	size, err := os.Stat(path)
	if err != nil {
		return err
	}
	a.Bytes = size.Size()
	return e.ledger.against(a, known, report.Build(known), func(id int64) ([]byte, error) { return log.Sound(ctx, id) }, e.remake)
}
