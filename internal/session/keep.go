package session

import (
	"context"
	"errors"
	"time"

	"waycall/internal/store"
	"waycall/internal/talk"
)

// told is what was said about the disks and the clock, so that it is said once.
type told struct {
	stuck  string // why nothing can be stored; empty when it can
	behind bool   // the copy is not up to date
	clock  bool   // the clock went back
}

// clockSlip is how far the clock may go back without a word: a computer that sets
// its clock by the network moves it by less.
const clockSlip = 2 * time.Second

// lookAfter says, before the next phrase is listened for, what keeps it from being
// stored, that the copy is behind, and that the clock went back: each once, and once
// more when it is put right.
func (r *run) lookAfter(ctx context.Context) error {
	if last := r.state.Record.LastAt; !r.told.clock && r.Now().Before(last.Add(-clockSlip)) {
		r.told.clock = true
		if err := r.warn(ctx, "The clock of this computer has gone back. The order of the readings is kept, but their times are not right. Set the clock.", false); err != nil {
			return err
		}
	}
	if r.Keeper == nil {
		return nil
	}
	if what := whyStuck(r.Keeper.Ready()); what != r.told.stuck {
		r.told.stuck = what
		if what == "" {
			what = unstuck
		}
		if err := r.warn(ctx, what, false); err != nil {
			return err
		}
	}
	if behind := r.Keeper.Copied() != nil; behind != r.told.behind {
		r.told.behind = behind
		what := "The copy of the record is up to date again."
		if behind {
			what = "The copy of the record cannot be written. The record itself is kept, and the copy is tried again."
		}
		return r.warn(ctx, what, false)
	}
	return nil
}

const unstuck = "The record can be written again."

// stuck reports whether nothing can be stored still, and says so when a phrase is
// lost by it. It looks again only when it was so before.
func (r *run) stuck(ctx context.Context, lost bool) (bool, error) {
	if r.told.stuck == "" {
		return false, nil
	}
	if what := whyStuck(r.Keeper.Ready()); what != "" {
		if !lost {
			return true, nil
		}
		r.told.stuck = what
		return true, r.warn(ctx, what, true)
	}
	r.told.stuck = ""
	return false, r.warn(ctx, unstuck, false)
}

// warn says something that is not part of the conversation.
func (r *run) warn(ctx context.Context, what string, lost bool) error {
	_, err := r.answer(ctx, talk.Failed{At: r.Now(), What: what, Lost: lost}, nil)
	return err
}

// whyStuck says aloud why nothing can be stored, or nothing.
func whyStuck(err error) string {
	switch {
	case err == nil:
		return ""
	case errors.Is(err, store.ErrFull):
		return "Stop: the disk is full, so no reading can be stored. Make room on it."
	case errors.Is(err, store.ErrReadOnly):
		return "Stop: the disk takes nothing, so no reading can be stored."
	case errors.Is(err, store.ErrGone):
		return "Stop: the file of the record is gone, so no reading can be stored. Put it back."
	}
	return "Stop: the disk has failed, so no reading can be stored."
}
