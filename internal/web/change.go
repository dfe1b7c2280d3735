package web

import (
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"time"

	"waycall/internal/english"
	"waycall/internal/reading"
	"waycall/internal/record"
	"waycall/internal/review"
	"waycall/internal/store"
	"waycall/internal/web/jobcache"
	"waycall/internal/words"
)

// changeForm is what the forms of a change are filled with: what the reviewer wrote,
// when the form comes back to him.
type changeForm struct {
	ID       string
	Slot     record.Slot
	Name     string // of the test, in words
	Letters  string
	Unit     string // as it is shown
	Judged   bool   // it is answered by correct or wrong
	Value    string
	Reason   string
	By       string
	Replaces int64
	Back     string // where it came from: queue or way
	Kind     string // of the queue
	N        int    // place in the queue
}

func (s *seen) form(slot record.Slot) changeForm {
	f := changeForm{ID: s.ID, Slot: slot, Name: words.Name(slot.Test), Letters: words.Letters(slot.Test), Unit: words.Unit(string(slot.Test.Unit())), Judged: slot.Test.Judged(), Back: "way"}
	if r, ok := s.Latest()[slot]; ok {
		f.Replaces = r.ConfirmedID
	}
	return f
}

// asked reads a form of a change, or the query that asks for one. The error is for a
// place that cannot be.
func (s *seen) asked(q url.Values) (changeForm, error) {
	number := func(name string, most int) (int, error) {
		text := q.Get(name)
		if text == "" {
			return 0, nil
		}
		n, err := strconv.Atoi(text)
		if err != nil || n < 0 || n > most {
			return 0, fmt.Errorf("the %s of the form is no number", name)
		}
		return n, nil
	}
	var slot record.Slot
	var err, e error
	slot.Board, err = number("board", 99)
	slot.Way, e = number("way", 99)
	err = errors.Join(err, e)
	slot.Position, e = number("position", 500)
	err = errors.Join(err, e)
	slot.Test, e = reading.ParseTest(q.Get("test"))
	if err = errors.Join(err, e); err != nil {
		return changeForm{}, err
	}
	if err := slot.Check(s.State.Job); err != nil {
		return changeForm{}, err
	}
	f := s.form(slot)
	f.Value, f.Reason, f.By = strings.TrimSpace(q.Get("value")), strings.TrimSpace(q.Get("reason")), strings.TrimSpace(q.Get("by"))
	if q.Get("back") == "queue" {
		f.Back = "queue"
	}
	if k := review.Kind(q.Get("kind")); k.Severity() >= 0 {
		f.Kind = string(k)
	}
	f.N, _ = number("n", 1_000_000)
	if text := q.Get("replaces"); text != "" {
		if f.Replaces, err = strconv.ParseInt(text, 10, 64); err != nil || f.Replaces < 0 {
			return changeForm{}, errors.New("what the form replaces is no number")
		}
	}
	return f, nil
}

// Return is where a reviewer goes after a change, or without one.
func (f changeForm) Return() string { return f.after(0) }

// after is the same after the change that an event is, which is told there.
func (f changeForm) after(event int64) string {
	v := url.Values{}
	if event > 0 {
		v.Set("stored", strconv.FormatInt(event, 10))
	}
	if f.Back == "queue" {
		if f.N > 1 {
			v.Set("n", strconv.Itoa(f.N))
		}
		if f.Kind != "" {
			v.Set("kind", f.Kind)
		}
		return "/job/" + url.PathEscape(f.ID) + "/queue?" + v.Encode()
	}
	path := wayPath(f.ID, f.Slot.Board, f.Slot.Way)
	if len(v) > 0 {
		path += "?" + v.Encode()
	}
	return path
}

// initials are those of a reviewer as they are kept, from what was typed.
func initials(typed string) string { return strings.ToUpper(strings.TrimSpace(typed)) }

// change is what a reviewer wants.
func (f changeForm) change(now time.Time) review.Change {
	return review.Change{Slot: f.Slot, Replaces: f.Replaces, Reason: f.Reason, By: initials(f.By), At: now.UTC()}
}

// editPage is the page where a reading is changed.
type editPage struct {
	changeForm
	Where, Feeds string
	View         *readingView
	Wrong        string // what was wrong with the form that was sent
	Field        string // which of its fields
	Running      bool
	Action       string // what was tried: edit, settle, withdraw
}

func (s *server) editForm(w http.ResponseWriter, r *http.Request, snap *seen) {
	f, err := snap.asked(r.URL.Query())
	if err != nil {
		s.fail(w, r, http.StatusNotFound, "There is no such place on the schedule", english.Sentence(err.Error()), "Go back to the way and choose a reading.")
		return
	}
	f.By = s.door.Initials(r)
	p := editPage{changeForm: f}
	if f.Value != "" { // it was typed, shown, and is to be changed
		p.Action = "edit"
	}
	s.showEdit(w, r, snap, http.StatusOK, p)
}

func (s *server) showEdit(w http.ResponseWriter, r *http.Request, snap *seen, status int, p editPage) {
	p.Where = snap.where(record.Slot{Board: p.Slot.Board, Way: p.Slot.Way})
	if way := snap.State.Job.Way(p.Slot.Board, p.Slot.Way); way != nil {
		p.Feeds = way.Feeds
	}
	p.View, p.Running = snap.placeView(p.Slot), snap.Running()
	s.render(w, r, status, "edit", page{Title: snap.State.Job.Reference + ": change a reading", Job: s.head(snap), Tab: "boards", Body: p})
}

// change reads the form of a request that changes something, and finds its job.
func (s *server) change(next func(http.ResponseWriter, *http.Request, *seen)) http.HandlerFunc {
	return s.withJob(func(w http.ResponseWriter, r *http.Request, snap *seen) {
		if s.formRead(w, r) {
			next(w, r, snap)
		}
	})
}

// formRead reads the form of a request, or answers why it cannot.
func (s *server) formRead(w http.ResponseWriter, r *http.Request) bool {
	err := r.ParseForm()
	var large *http.MaxBytesError
	switch {
	case err == nil:
		return true
	case errors.As(err, &large):
		s.fail(w, r, http.StatusRequestEntityTooLarge, "That was too much", "The form was longer than any of its fields may be. Nothing was changed.", "Go back, shorten it and send it again.")
	default:
		s.fail(w, r, http.StatusBadRequest, "The form could not be read", "Nothing was changed.", "Go back and send it again.")
	}
	return false
}

func (s *server) settle(w http.ResponseWriter, r *http.Request, snap *seen) {
	s.act(w, r, snap, "settle", func(now *seen, f changeForm) ([]record.Event, error) {
		return review.Settle(now.State, f.change(s.Now()))
	})
}

func (s *server) withdraw(w http.ResponseWriter, r *http.Request, snap *seen) {
	s.act(w, r, snap, "withdraw", func(now *seen, f changeForm) ([]record.Event, error) {
		return review.Withdraw(now.State, f.change(s.Now()))
	})
}

// act makes a change of one place, or shows why not with all that was written.
func (s *server) act(w http.ResponseWriter, r *http.Request, snap *seen, action string, events func(*seen, changeForm) ([]record.Event, error)) {
	f, err := snap.asked(r.PostForm)
	if err != nil {
		s.fail(w, r, http.StatusBadRequest, "There is no such place on the schedule", english.Sentence(err.Error())+" Nothing was changed.", "Go back to the way and choose a reading.")
		return
	}
	done := int64(0)
	err = s.work(r.Context(), snap.ID, func(now *seen) ([]record.Event, error) {
		snap = now
		made, err := events(now, f)
		if err == nil && len(made) > 0 {
			done = made[len(made)-1].ID
		}
		return made, err
	})
	if u, ok := asUnconfirmed(err); ok {
		s.showConfirm(w, r, f, u)
		return
	}
	var invalid *review.InvalidError
	var stale *review.StaleError
	switch {
	case err == nil:
		s.door.Remember(r, initials(f.By))
		http.Redirect(w, r, f.after(done), http.StatusSeeOther)
	case errors.As(err, &stale):
		s.showStale(w, r, snap, f, action, stale)
	case errors.As(err, &invalid):
		s.showEdit(w, r, snap, http.StatusUnprocessableEntity, editPage{changeForm: f, Action: action, Wrong: english.Sentence(invalid.Error()), Field: invalid.Field})
	case errors.Is(err, jobcache.ErrNoJob):
		s.jobFailed(w, r, err)
	default: // what was written is not lost
		status, why := notStored(err)
		s.showEdit(w, r, snap, status, editPage{changeForm: f, Action: action, Wrong: why})
	}
}

// notStored says why a change could not be stored, in a few sentences.
func notStored(err error) (status int, why string) {
	if errors.Is(err, store.ErrInUse) {
		return http.StatusConflict, "A session is running on this job, and only it writes to the record. Finish it, or what else has the job open, then send this again."
	}
	return http.StatusInternalServerError, jobcache.Trouble(err) + " What you wrote is below; send it again once that is put right."
}

// stalePage lets the second of two reviewers choose.
type stalePage struct {
	changeForm
	Where  string
	Action string
	Now    *readingView // what stands there now; nil when nothing does
	By     string       // who changed it, and why
	Mine   string
	Why    string // what this reviewer wrote
	Signed string // his initials
}

func (s *server) showStale(w http.ResponseWriter, r *http.Request, snap *seen, f changeForm, action string, stale *review.StaleError) {
	p := stalePage{changeForm: f, Where: snap.where(f.Slot), Action: action, Why: f.Reason, Signed: f.By}
	switch action {
	case "edit":
		p.Mine = f.Value + " " + f.Unit
	case "settle":
		p.Mine = "Let it stand"
	case "withdraw":
		p.Mine = "Take it off"
	}
	p.Replaces = 0
	if now := stale.Now; now != nil {
		p.Replaces = now.ConfirmedID
		p.Now = snap.placeView(f.Slot)
		p.By = "It was put there in the session."
		if now.Edited {
			p.By = fmt.Sprintf("Put there by %s at %s: %s", now.By, now.Confirmed.Local().Format("15:04 on 2 January 2006"), now.Reason)
		}
	} else {
		for _, e := range snap.Events {
			if e.Kind == record.Withdrawn && e.Slot != nil && *e.Slot == f.Slot {
				p.By = "The reading was taken off"
				if e.By != "" {
					p.By += " by " + e.By
				}
				p.By = english.Sentence(words.Join(": ", p.By, e.Reason))
			}
		}
	}
	s.render(w, r, http.StatusConflict, "stale", page{Title: "Changed meanwhile", Job: s.head(snap), Tab: "queue", Body: p})
}

// finish ends a session that was cut off.
func (s *server) finish(w http.ResponseWriter, r *http.Request, snap *seen) {
	by := initials(r.PostForm.Get("by"))
	err := s.work(r.Context(), snap.ID, func(now *seen) ([]record.Event, error) {
		return review.Finish(now.State, by, s.Now().UTC())
	})
	var invalid *review.InvalidError
	switch {
	case err == nil:
		s.door.Remember(r, by)
		http.Redirect(w, r, "/job/"+url.PathEscape(snap.ID)+"/queue", http.StatusSeeOther)
	case errors.As(err, &invalid):
		s.render(w, r, http.StatusUnprocessableEntity, "problem", page{Title: "The session was not ended", Job: s.head(snap), Tab: "queue",
			Body: problem{What: "The session was not ended", Why: english.Sentence(invalid.Error()), Back: "/job/" + url.PathEscape(snap.ID) + "/queue?kind=not+finished"}})
	default:
		s.jobFailed(w, r, err)
	}
}

// signPage is the page where the record is signed off.
type signPage struct {
	ID        string
	Open      []kindCount
	Count     int
	Signed    *record.SignOff
	Sum       string // of the last event that the page was made from
	Name, By  string
	Agree     bool
	Wrong     string
	Field     string
	Running   bool
	Statement string
	Declared  review.Declaration // what is signed besides
}

func (s *server) signPage(r *http.Request, snap *seen) signPage {
	p := signPage{ID: snap.ID, Count: snap.Open(), Open: snap.kinds(), Signed: snap.State.Signed, Sum: snap.Head, By: s.door.Initials(r), Running: snap.Running()}
	p.Statement, p.Declared = review.Statement, review.Declare(snap.State)
	return p
}

func (s *server) sign(w http.ResponseWriter, r *http.Request, snap *seen) {
	s.showSign(w, r, snap, http.StatusOK, s.signPage(r, snap))
}

func (s *server) showSign(w http.ResponseWriter, r *http.Request, snap *seen, status int, p signPage) {
	s.render(w, r, status, "sign", page{Title: snap.State.Job.Reference + ": sign off", Job: s.head(snap), Tab: "sign", Body: p})
}

// errChanged is that the record is not the one that the signer was shown.
var errChanged = errors.New("the record has changed since this page was made")

func (s *server) signOff(w http.ResponseWriter, r *http.Request, snap *seen) {
	form := r.PostForm
	sig := review.Signature{Name: strings.TrimSpace(form.Get("name")), By: initials(form.Get("by")), Sum: form.Get("sum"), At: s.Now().UTC()}
	back := func(status int, now *seen, wrong, field string) {
		p := s.signPage(r, now)
		p.Name, p.By, p.Agree, p.Wrong, p.Field = sig.Name, sig.By, form.Get("agree") != "", wrong, field
		s.showSign(w, r, now, status, p)
	}
	if form.Get("agree") == "" {
		back(http.StatusUnprocessableEntity, snap, "The statement is not ticked. Read it, and tick it if it is so.", "agree")
		return
	}
	err := s.work(r.Context(), snap.ID, func(now *seen) ([]record.Event, error) {
		snap = now
		shown := sig.Sum
		sig.Sum = now.Head // so that what else is wrong is said first
		events, err := review.SignOff(now.State, now.Events, sig)
		if err == nil && shown != now.Head {
			return nil, errChanged
		}
		return events, err
	})
	var invalid *review.InvalidError
	var open *review.OpenError
	switch {
	case err == nil:
		s.door.Remember(r, sig.By)
		http.Redirect(w, r, "/job/"+url.PathEscape(snap.ID)+"/schedule", http.StatusSeeOther)
	case errors.As(err, &open):
		back(http.StatusConflict, snap, english.Sentence(open.Error()), "")
	case errors.Is(err, errChanged):
		back(http.StatusConflict, snap, "The record has changed since this page was made. Look at what is new, then sign.", "")
	case errors.As(err, &invalid):
		back(http.StatusUnprocessableEntity, snap, english.Sentence(invalid.Error()), invalid.Field)
	case errors.Is(err, jobcache.ErrNoJob):
		s.jobFailed(w, r, err)
	default:
		status, why := notStored(err)
		back(status, snap, why, "")
	}
}

// Form is the forms of the page, that which was sent open.
func (p editPage) Form() formView { return formView{p.changeForm, p.Action} }

// FormView is the forms of an item of the queue, all closed.
func (v itemView) FormView() formView { return formView{v.Form, ""} }

// formView is the forms of the changes that a place may have, one of which may be
// open.
type formView struct {
	changeForm
	Open string // edit, settle or withdraw
}

// CanTakeOff reports whether there is something to take off.
func (f formView) CanTakeOff() bool { return f.Replaces > 0 }

// whyForm is the fields that every change has.
type whyForm struct {
	What    string // makes the ids of the fields differ between forms of one page
	Form    changeForm
	Reasons []string // offered while typing
}

// Why is the fields of one of the forms.
func (f formView) Why(what string) whyForm {
	return whyForm{what, f.changeForm, map[string][]string{
		"settle":   {"Listened to the recording: heard as stored", "Looked at on site: stands as read", "The description of the circuit is what differs"},
		"missing":  {"Could not be reached", "To be tested at the next visit", "Outside what was agreed"},
		"edit":     {"Listened to the recording", "Read from the instrument's memory", "Tested again"},
		"withdraw": {"Read on the wrong way", "Not a reading of this test", "To be tested again"},
	}[what]}
}
