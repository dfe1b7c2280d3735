// This file has the pages where a job is set up. Package setup has what is done there.

package web

import (
	"bytes"
	"cmp"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"net/http"
	"net/url"
	"strconv"
	"strings"

	"waycall/internal/advice"
	"waycall/internal/board"
	"waycall/internal/english"
	"waycall/internal/web/door"
	"waycall/internal/web/jobcache"
	"waycall/internal/web/setup"
)

func (s *server) setupRoutes(mux *http.ServeMux) {
	mux.HandleFunc("GET /new", s.beginForm)
	mux.HandleFunc("POST /new", s.begin)
	mux.HandleFunc("GET /new/{draft}", s.draft)
	mux.HandleFunc("POST /new/{draft}", s.draftChange)
	mux.HandleFunc("GET /new/{draft}/board.yaml", s.draftFile)
}

// beginPage is where a person chooses what a new job begins from.
type beginPage struct {
	Jobs      []jobcache.Listed
	Templates []setup.Template
	Pasted    string // what was pasted and could not be taken
	Wrong     string
	Ways      string
}

func (s *server) beginForm(w http.ResponseWriter, r *http.Request) {
	s.showBegin(w, r, http.StatusOK, beginPage{})
}

func (s *server) showBegin(w http.ResponseWriter, r *http.Request, status int, p beginPage) {
	list, err := s.Jobs.List(r.Context())
	if err != nil {
		s.jobFailed(w, r, err)
		return
	}
	for _, l := range list {
		if l.Problem == "" {
			p.Jobs = append(p.Jobs, l)
		}
	}
	p.Templates, p.Ways = setup.Templates, cmp.Or(p.Ways, "10")
	s.render(w, r, status, "begin", page{Title: "Set up a job", Body: p})
}

// begin makes a draft of what was chosen.
func (s *server) begin(w http.ResponseWriter, r *http.Request) {
	if !s.formRead(w, r) {
		return
	}
	form := r.PostForm
	d, said, err := s.chosen(r, form)
	if err != nil {
		wrong := english.Sentence(err.Error())
		if what := advice.What(err); what != "" && advice.Do(err) != "" {
			wrong = english.Sentence(what) + " " + english.Sentence(english.Capital(advice.Do(err)))
		}
		s.showBegin(w, r, http.StatusUnprocessableEntity, beginPage{Pasted: form.Get("table"), Wrong: wrong, Ways: form.Get("ways")})
		return
	}
	said = append(said, s.usual(r, &d)...)
	id, err := s.drafts.Begin(d, said)
	if err != nil {
		s.fail(w, r, http.StatusInternalServerError, "The job could not be begun", jobcache.Trouble(err), "")
		return
	}
	http.Redirect(w, r, "/new/"+id, http.StatusSeeOther)
}

// chosen is the draft that a form of the page asks for.
func (s *server) chosen(r *http.Request, form url.Values) (setup.Draft, []string, error) {
	switch form.Get("from") {
	case "blank":
		n, err := strconv.Atoi(strings.TrimSpace(form.Get("ways")))
		if err != nil || n < 1 || n > 99 {
			return setup.Draft{}, nil, advice.Errorf("write how many ways the board has, 1 to 99", "%q is not a number of ways", form.Get("ways"))
		}
		return setup.Draft{Format: setup.Format, Fields: setup.Values{}, Boards: []setup.Board{setup.Blank(n)}}, nil, nil
	case "usual":
		if d, ok := setup.FromTemplate(form.Get("usual")); ok {
			return d, []string{"The ways are what is usual on such a board, not what is on yours. Put right what differs; sizes and lengths are left open."}, nil
		}
		return setup.Draft{}, nil, advice.New("no board was chosen", "choose one of the usual boards")
	case "job":
		snap, err := s.Jobs.Open(r.Context(), form.Get("job"))
		if err != nil {
			return setup.Draft{}, nil, advice.New("that job could not be opened", "choose another, or look at it in the list of jobs")
		}
		d := setup.Of(snap.State.Job)
		d.From = "job " + snap.State.Job.Reference
		for _, name := range []string{"reference", "date", "edition"} { // the edition in force judges a new job
			delete(d.Fields, name)
		}
		return d, []string{"The boards are as they were described for " + d.From + ". What was measured then is not taken over."}, nil
	case "table":
		return setup.Pasted(form.Get("table"))
	}
	return setup.Draft{}, nil, advice.New("nothing was chosen to begin from", "choose one of the ways to begin")
}

// usual fills in what the last job of this folder says of the person and the instrument,
// and today's date, where the draft says nothing; and says so.
func (s *server) usual(r *http.Request, d *setup.Draft) (said []string) {
	if d.Fields["date"] == "" {
		d.Fields["date"] = s.Now().Local().Format("2006-01-02")
	}
	if d.Fields["tester"] == "" {
		d.Fields.Set("tester", s.door.Initials(r))
	}
	if d.Fields["instrument.serial"] != "" {
		return nil
	}
	list, err := s.Jobs.List(r.Context())
	if err != nil {
		return nil
	}
	for _, l := range list {
		if l.Problem != "" {
			continue
		}
		snap, err := s.Jobs.Open(r.Context(), l.ID)
		if err != nil {
			return nil
		}
		for name, text := range setup.Of(snap.State.Job).Fields {
			if strings.HasPrefix(name, "instrument.") || name == "tester" && d.Fields[name] == "" {
				d.Fields[name] = text
			}
		}
		return []string{"Initials and instrument are those of job " + l.Reference + "; look whether they are right."}
	}
	return nil
}

// editorPage is the form of a draft on its page.
type editorPage struct {
	setup.Form
	ID, Page       string // Page is a name for what was sent, so that its own changes are none to it
	Version        int
	Said           []string
	Compared       bool
	Stale, CanUndo bool
	Refused        string // why it was not set up
	Lists          map[string][]string
}

func editor(id string, st setup.State, all bool) editorPage {
	return editorPage{Form: st.Draft.Form(all), ID: id, Page: door.NewKey(), Version: st.Version, Said: st.Said, CanUndo: st.CanUndo, Lists: setup.Lists}
}

func (s *server) draft(w http.ResponseWriter, r *http.Request) {
	id := r.PathValue("draft")
	st, err := s.drafts.Get(id)
	if err != nil {
		s.draftFailed(w, r, err)
		return
	}
	s.showEditor(w, r, http.StatusOK, editor(id, st, false))
}

func (s *server) showEditor(w http.ResponseWriter, r *http.Request, status int, p editorPage) {
	s.render(w, r, status, "editor", page{Title: "Set up a job", Wide: true, Body: p})
}

func (s *server) draftFailed(w http.ResponseWriter, r *http.Request, err error) {
	if errors.Is(err, setup.ErrNone) {
		s.fail(w, r, http.StatusNotFound, "This draft is not here", "It was set up as a job, or removed.", "Go to the list of jobs.")
		return
	}
	s.fail(w, r, http.StatusInternalServerError, "The draft could not be kept", jobcache.Trouble(err), "")
}

// draftChange takes the form of a draft and does what its button says.
func (s *server) draftChange(w http.ResponseWriter, r *http.Request) {
	if !s.formRead(w, r) {
		return
	}
	id, form := r.PathValue("draft"), r.PostForm
	version, err := strconv.Atoi(form.Get("version"))
	if err != nil {
		version = 0
	}
	base, err := s.drafts.Base(id, version)
	if err != nil {
		s.draftFailed(w, r, err)
		return
	}
	d := base.Filled(form)
	what, at := setup.Asked(form.Get("do"))
	if what == "drop" {
		s.drop(w, r, id, version, d)
		return
	}
	said, where := d.Do(what, at, form)
	now, err := s.drafts.Put(id, version, form.Get("page"), d, said...)
	switch {
	case r.Header.Get("Accept") == "application/json":
		s.checked(w, id, d, form.Get("all") != "", now, err)
	case errors.Is(err, setup.ErrStale):
		s.showStaleDraft(w, r, id, d, now)
	case err != nil:
		s.draftFailed(w, r, err)
	case what == "create":
		s.create(w, r, id, setup.State{Draft: d, Version: now, CanUndo: true})
	default:
		if what == "undo" {
			if _, err := s.drafts.Undo(id); err != nil {
				s.draftFailed(w, r, err)
				return
			}
		}
		http.Redirect(w, r, "/new/"+id+where, http.StatusSeeOther)
	}
}

// checked answers a script that has sent the form while it is written.
func (s *server) checked(w http.ResponseWriter, id string, d setup.Draft, all bool, version int, err error) {
	judged := d.Judged(all)
	answer := struct {
		Version int               `json:"version"`
		Stale   bool              `json:"stale"`
		Failed  string            `json:"failed,omitempty"`
		Status  string            `json:"status"`
		At      map[string]string `json:"at"` // what is wrong, by field
	}{version, errors.Is(err, setup.ErrStale), "", judged.Status, judged.At}
	if err != nil && !answer.Stale {
		answer.Failed = "Not kept: " + jobcache.Trouble(err)
	}
	b, err := json.Marshal(answer)
	if err != nil {
		s.note("the answer about draft "+id, err)
	}
	w.Header().Set("Content-Type", "application/json")
	w.Write(b)
}

// showStaleDraft shows what was written on a page since whose making another wrote.
func (s *server) showStaleDraft(w http.ResponseWriter, r *http.Request, id string, d setup.Draft, now int) {
	p := editor(id, setup.State{Draft: d, Version: now, CanUndo: true}, false)
	p.Stale = true
	s.showEditor(w, r, http.StatusConflict, p)
}

// drop removes a draft, as the page that asks for it shows it.
func (s *server) drop(w http.ResponseWriter, r *http.Request, id string, version int, d setup.Draft) {
	now, err := s.drafts.Put(id, version, r.PostForm.Get("page"), d)
	if errors.Is(err, setup.ErrStale) {
		s.showStaleDraft(w, r, id, d, now)
		return
	}
	if err == nil {
		err = s.drafts.Drop(id)
	}
	if err != nil {
		s.draftFailed(w, r, err)
		return
	}
	http.Redirect(w, r, "/", http.StatusSeeOther)
}

// create sets the job of a draft up, or shows why not, at the fields.
func (s *server) create(w http.ResponseWriter, r *http.Request, id string, st setup.State) {
	judged := st.Draft.Judged(true)
	p := editor(id, st, true)
	p.Compared = r.PostForm.Get("compared") != ""
	switch {
	case !judged.Sound():
		p.Refused = "Not set up yet: " + english.Lower(p.Status) + " Each is told at its field."
	case st.Draft.From != "" && !p.Compared:
		p.Refused = "Not set up yet: tick that you have compared the ways with the board."
	default:
		_, err := s.setUp(r, judged.Job)
		if err == nil {
			if err := s.drafts.Drop(id); err != nil {
				s.note("the draft of a job that was set up", err)
			}
			http.Redirect(w, r, "/job/"+jobcache.IDOf(judged.Job.Reference)+"?new=1", http.StatusSeeOther)
			return
		}
		p.Refused = "Not set up: " + jobcache.Trouble(err)
		if errors.Is(err, fs.ErrExist) {
			p.Refused = "Not set up: a job " + judged.Job.Reference + " is there already. Give this one another reference."
			p.Job[0].Error = "A job of this reference is there already; write another."
		}
	}
	s.showEditor(w, r, http.StatusUnprocessableEntity, p)
}

// setUp makes the record of a job.
func (s *server) setUp(r *http.Request, job board.Job) (string, error) {
	st, err := s.Jobs.Dir().Create(r.Context(), job, s.Now())
	if err != nil {
		return "", err
	}
	return st.Path(), st.Close()
}

// draftFile sends the draft as a board file, when it is one.
func (s *server) draftFile(w http.ResponseWriter, r *http.Request) {
	st, err := s.drafts.Get(r.PathValue("draft"))
	if err != nil {
		s.draftFailed(w, r, err)
		return
	}
	judged := st.Draft.Judged(true)
	var b bytes.Buffer
	if judged.Sound() {
		err = board.Write(&b, judged.Job)
	}
	if !judged.Sound() || err != nil {
		s.showEditor(w, r, http.StatusUnprocessableEntity, func() editorPage {
			p := editor(r.PathValue("draft"), st, true)
			p.Refused = "There is no board file of it yet: " + english.Lower(p.Status)
			return p
		}())
		return
	}
	w.Header().Set("Content-Type", "application/yaml; charset=utf-8")
	w.Header().Set("Content-Disposition", fmt.Sprintf(`attachment; filename="%s.yaml"`, judged.Job.Reference))
	w.Write(b.Bytes())
}
