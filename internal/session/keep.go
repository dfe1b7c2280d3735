package session

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"strings"
	"time"

	"waycall/internal/audio"
	"waycall/internal/board"
	"waycall/internal/store"
	"waycall/internal/talk"
)

// told is what was said about the disks and the clock, so that it is said once.
type told struct {
	stuck  error     // why nothing can be stored; nil when it can
	lost   bool      // a phrase was not stored since
	behind bool      // the copy is not up to date
	clock  bool      // the clock went back
	found  bool      // how the record was found
	back   time.Time // when the file of the record was written back last
}

// lookAgain is how often it is looked, while nothing can be stored and nobody speaks,
// whether something can.
const lookAgain = 3 * time.Second

// clockSlip is how far the clock may go back without a word: a computer that sets
// its clock by the network moves it by less.
const clockSlip = 2 * time.Second

// lookAfter says, before the next phrase is listened for, what keeps it from being
// stored, that the copy is behind, and that the clock went back: each once, and once
// more when it is put right.
func (r *run) lookAfter(ctx context.Context) error {
	if r.Warning != "" && !r.told.found {
		r.told.found = true
		if err := r.warn(ctx, talk.Failed{What: r.Warning}); err != nil {
			return err
		}
	}
	if last := r.state.Record.LastAt; !r.told.clock && r.Now().Before(last.Add(-clockSlip)) {
		r.told.clock = true
		if err := r.warn(ctx, talk.Failed{What: "The clock of this computer has gone back. The order of the readings is kept, but their times are not right. Set the clock."}); err != nil {
			return err
		}
	}
	if r.Keeper == nil {
		return nil
	}
	if err := r.lookAtRecord(ctx); err != nil || r.told.stuck != nil {
		return err
	}
	if behind := r.Keeper.Copied() != nil; behind != r.told.behind {
		r.told.behind = behind
		what := "The copy of the record is up to date again."
		if behind {
			what = "The copy of the record cannot be written. The record itself is kept, and the copy is tried again."
		}
		return r.warn(ctx, talk.Failed{What: what})
	}
	return nil
}

const (
	writtenBack  = "Somebody took the file of the record away. It is written back to its place, with all that was stored."
	unstuck      = "The record can be written again."
	deaf         = "The hearing has stopped."
	noMicrophone = "The microphone has stopped."
)

// lookAtRecord says what keeps the next phrase from being stored, when that is news,
// and asks again once it can be.
func (r *run) lookAtRecord(ctx context.Context) error {
	was, now := r.told.stuck, r.Keeper.Ready()
	if _, at := r.Keeper.Rescued(); now == nil && !at.Equal(r.told.back) {
		r.told.back = at
		if was == nil {
			return r.warn(ctx, talk.Failed{What: writtenBack, Next: talk.Asks})
		}
		if err := r.warn(ctx, talk.Failed{What: writtenBack, Next: talk.Holds}); err != nil {
			return err
		}
	}
	if (now == nil) == (was == nil) && whyStuck(now) == whyStuck(was) {
		return nil
	}
	if now != nil && whyStuck(now) == "" {
		return r.stopped(now, false)
	}
	r.told.stuck = now
	if now != nil {
		return r.warn(ctx, talk.Failed{What: whyStuck(now), Next: talk.Holds})
	}
	lost := r.told.lost
	r.told.lost = false
	return r.warn(ctx, talk.Failed{What: unstuck, Lost: lost, Next: talk.Asks})
}

// stuck reports whether a phrase comes while nothing can be stored, and says so to it.
// It is lost by that, also when something can be stored again by now; or it ends the
// session, when that is what was asked for.
func (r *run) stuck(ctx context.Context, finish bool) (bool, error) {
	if r.told.stuck == nil {
		return false, nil
	}
	now := r.Keeper.Ready()
	r.told.stuck, r.told.lost = now, now != nil
	switch {
	case now == nil:
		// It is not taken: what it would answer was not asked since.
		return true, r.warn(ctx, talk.Failed{What: unstuck, Lost: true, Next: talk.Asks})
	case finish, whyStuck(now) == "":
		return true, r.stopped(now, true)
	}
	return true, r.warn(ctx, talk.Failed{What: whyStuck(now), Lost: true, Next: talk.Holds})
}

// notStored deals with facts that could not be written, said aloud or not. The
// conversation stays where it was before them. It waits for the record where that may
// come right, and otherwise returns why the session ends.
func (r *run) notStored(ctx context.Context, err error, lost bool) error {
	if ctx.Err() != nil || r.Keeper == nil || whyStuck(err) == "" {
		return r.stopped(err, lost)
	}
	r.told.stuck, r.told.lost = err, lost
	return r.warn(ctx, talk.Failed{What: whyStuck(err), Lost: lost, Unsure: lost && errors.Is(err, store.ErrUnsure), Next: talk.Holds})
}

// begin opens the job, as soon as that can be written.
func (r *run) begin(ctx context.Context, job board.Job) (done bool, err error) {
	for {
		done, err = r.answer(ctx, talk.Begin{At: r.Now(), Job: job, Habit: r.Habit, Tester: r.Tester, Prompts: r.Prompts, Insists: r.Insists, Practice: r.Practice}, nil)
		if r.told.stuck == nil || err != nil {
			return done, err
		}
		for waited := 0; r.told.stuck != nil; {
			frame, err := r.Source.Next(ctx)
			broke := new(audio.Break)
			switch {
			case errors.Is(err, io.EOF):
				return true, r.stopped(r.told.stuck, false)
			case err != nil && !errors.As(err, &broke):
				return false, fails(noMicrophone, err)
			}
			if waited += len(frame); lasts(waited) < lookAgain {
				continue
			}
			waited = 0
			r.told.stuck = r.Keeper.Ready()
			switch {
			case r.told.stuck == nil:
				if err := r.warn(ctx, talk.Failed{What: unstuck, Next: talk.Holds}); err != nil {
					return false, err
				}
			case whyStuck(r.told.stuck) == "":
				return false, r.stopped(r.told.stuck, false)
			}
		}
	}
}

// warn says something that is not part of the conversation.
func (r *run) warn(ctx context.Context, f talk.Failed) error {
	f.At = r.Now()
	_, effects := talk.Step(r.state, f)
	return r.play(ctx, effects)
}

// ending is an error that ends the session, and how that is said.
type ending struct {
	said talk.Failed
	error
}

func (e ending) Unwrap() error { return e.error }

// fails is the end by something other than the record.
func fails(what string, err error) error { return ending{talk.Failed{What: what}, err} }

// stopped is the end by the record.
func (r *run) stopped(err error, lost bool) error {
	what := cmp.Or(whyStuck(err), r.whyLost(err))
	return ending{talk.Failed{What: what, Lost: lost, Unsure: lost && errors.Is(err, store.ErrUnsure)}, fmt.Errorf("session stopped: %w", err)}
}

// whyLost says aloud why a record cannot be gone on with, and where it is.
func (r *run) whyLost(err error) string {
	switch {
	case errors.Is(err, store.ErrElsewhere) && r.Keeper != nil:
		path, _ := r.Keeper.Rescued()
		name := strings.TrimSuffix(filepath.Base(path), filepath.Ext(path))
		return fmt.Sprintf("Stop: the file of the record was changed or replaced by somebody. All that was stored is saved beside it, as %s. Begin again with that.", name)
	case errors.Is(err, store.ErrChanged):
		return "Stop: the file of the record was changed by somebody, and not all that was stored is there any more. Leave it as it is, and go on with the copy or a backup."
	}
	switch {
	case errors.Is(err, store.ErrOvertaken) && errors.Is(err, store.ErrUnsure):
		return "Stop: more is in the record than was said to be stored. Begin again, and look through it."
	case errors.Is(err, store.ErrOvertaken):
		return "Stop: another session has written to this record. Begin again."
	}
	return "Stop: the record cannot be used any more."
}

// sayEnded is the last that is said. Where that cannot be said either, what went
// wrong first is what counts.
func (r *run) sayEnded(ctx context.Context, err error) {
	e := ending{said: talk.Failed{What: "Stop: something in waycall has failed."}}
	_ = errors.As(err, &e)
	e.said.Next = talk.Ends
	_ = r.warn(ctx, e.said)
}

// whyStuck says aloud why nothing can be stored, where that may come right, or nothing.
func whyStuck(err error) string {
	switch {
	case errors.Is(err, store.ErrFull):
		return "Stop: the disk is full, so no reading can be stored. Make room on it."
	case errors.Is(err, store.ErrReadOnly):
		return "Stop: the disk takes nothing, so no reading can be stored."
	case errors.Is(err, store.ErrGone):
		return "Stop: the file of the record is gone, so no reading can be stored. Put it back."
	case errors.Is(err, store.ErrReplaced):
		return "Stop: another file lies in the place of the record, so no reading can be stored. Move it away."
	case errors.Is(err, store.ErrInUse):
		return "Stop: another program is using the record, so no reading can be stored. Close that program."
	case errors.Is(err, store.ErrDisk), errors.Is(err, store.ErrUnsure):
		return "Stop: the disk has failed, so no reading can be stored."
	}
	return ""
}
