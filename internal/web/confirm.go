package web

import (
	"errors"
	"fmt"
	"net/http"
	"strconv"
	"strings"

	"waycall/internal/advice"
	"waycall/internal/printable"
	"waycall/internal/reading"
	"waycall/internal/record"
	"waycall/internal/review"
	"waycall/internal/words"
)

// This file is what stands between a figure that a reviewer typed and the record: the
// figure is read by the one rule of reading.ParseTyped, shown with what waycall would
// say of it, and stored only when the reviewer has confirmed just that. What was done
// is said on the page that follows.

// quantity reads the figure of an edit.
func (f changeForm) quantity(s *seen) (reading.Quantity, error) {
	q, err := reading.ParseTyped(f.Value, f.Slot.Test.Unit(), s.scaleEnd(f.Slot))
	if err != nil {
		return q, &review.InvalidError{Field: "quantity", What: printable.Line(advice.What(err)), Do: advice.Do(err)}
	}
	return q, nil
}

// scaleEnd is where the instrument's scale ends for the test at a place, in its unit,
// or 0 where that is not known. A job says it of insulation, for each test voltage.
func (s *seen) scaleEnd(slot record.Slot) float64 {
	if !slot.Test.Insulation() {
		return 0
	}
	end, _ := s.State.Job.Instrument.ScaleEnd(s.placeView(slot).Volts)
	return end
}

// unconfirmedError is that a figure was not confirmed as it would be stored.
type unconfirmedError struct {
	snap   *seen          // of the record that the figure was judged with
	events []record.Event // that would be stored
}

func (*unconfirmedError) Error() string { return "the figure was not confirmed" }

// shownOf is what a reviewer confirms: the figure with all that is said of it.
func shownOf(events []record.Event) string {
	e := events[len(events)-1]
	return fmt.Sprintf("%s, %s: %s", e.Quantity, e.Verdict.Result, e.Verdict.Reason)
}

// edit shows a figure, and stores it once it is confirmed as it was shown.
func (s *server) edit(w http.ResponseWriter, r *http.Request, snap *seen) {
	shown := r.PostForm.Get("shown")
	s.act(w, r, snap, "edit", func(now *seen, f changeForm) ([]record.Event, error) {
		q, err := f.quantity(now)
		if err != nil {
			return nil, err
		}
		c := f.change(s.Now())
		c.Quantity = q
		events, err := review.Edit(now.State, c)
		if err == nil && shown != shownOf(events) {
			err = &unconfirmedError{now, events}
		}
		return events, err
	})
}

// confirmPage shows a figure before it is stored.
type confirmPage struct {
	changeForm
	Where, Feeds string
	View         *readingView // as it would stand
	Spoken       string       // the figure in words, as it would be read back
	Old          string       // what stands there now; "" when nothing does
	Shown        string       // what is confirmed
	Changed      bool         // it was confirmed, and what is said of it is no longer the same
}

func (s *server) showConfirm(w http.ResponseWriter, r *http.Request, f changeForm, u *unconfirmedError) {
	now := u.snap
	with, err := now.With(u.events)
	if err != nil { // review.Edit has applied them
		s.jobFailed(w, r, err)
		return
	}
	after := &seen{Snapshot: with}
	q := u.events[len(u.events)-1].Quantity
	p := confirmPage{changeForm: f, Where: now.where(record.Slot{Board: f.Slot.Board, Way: f.Slot.Way}), View: after.placeView(f.Slot),
		Spoken: q.Spoken(), Shown: shownOf(u.events), Changed: strings.HasPrefix(r.PostForm.Get("shown"), q.String()+", ")}
	p.View.Edited = ""
	if way := now.State.Job.Way(f.Slot.Board, f.Slot.Way); way != nil {
		p.Feeds = way.Feeds
	}
	if old, ok := now.State.Latest(f.Slot); ok {
		p.Old = words.Quantity(old.Quantity)
	}
	s.render(w, r, http.StatusOK, "confirm", page{Title: now.State.Job.Reference + ": is this right?", Job: s.head(now), Tab: "queue", Body: p})
}

// told says what a reviewer's change did, by the number of its event in the log. It is
// "" where that event is no such change.
func (s *seen) told(event int64) string {
	for i := len(s.Events) - 1; event > 0 && i >= 0; i-- {
		e := s.Events[i]
		if e.ID != event || e.Slot == nil {
			continue
		}
		where, old := strings.ToLower(s.where(record.Slot{Board: e.Slot.Board, Way: e.Slot.Way}))+", "+words.Short(e.Slot.Test), ""
		for _, r := range s.State.Readings {
			if e.Replaces != 0 && r.ConfirmedID == e.Replaces {
				old = " " + words.Quantity(r.Quantity)
			}
		}
		switch {
		case e.Kind == record.Edited && e.Quantity != nil && e.Verdict != nil:
			text := fmt.Sprintf("Stored: %s %s, %s.", where, words.Quantity(*e.Quantity), e.Verdict.Result)
			if old != "" {
				text += " It takes the place of" + old + "."
			}
			return text
		case e.Kind == record.Settled && old == "":
			return "Accepted without a reading: " + where + "."
		case e.Kind == record.Settled:
			return "Let stand: " + where + old + "."
		case e.Kind == record.Withdrawn:
			return "Taken off: " + where + old + "."
		}
		return ""
	}
	return ""
}

// toldIn is what the address of a page asks to be told.
func (s *seen) toldIn(r *http.Request) string {
	event, _ := strconv.ParseInt(r.URL.Query().Get("stored"), 10, 64)
	return s.told(event)
}

// asUnconfirmed reports whether err is that a figure is yet to be confirmed.
func asUnconfirmed(err error) (*unconfirmedError, bool) {
	var u *unconfirmedError
	return u, errors.As(err, &u)
}
