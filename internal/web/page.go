package web

import (
	"bytes"
	"context"
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"errors"
	"fmt"
	"html/template"
	"io/fs"
	"net/http"
	"path"
	"strings"
	"time"

	"waycall/internal/english"
	"waycall/internal/mishap"
	"waycall/internal/printable"
	"waycall/internal/store"
	"waycall/internal/web/jobcache"
	"waycall/internal/words"
)

//go:embed templates/*.html assets/*
var files embed.FS

// view is one parsed page with the frame around it.
type view = template.Template

// page is what the frame of every page is made from.
type page struct {
	Title string
	Job   *jobHead // nil outside a job
	Tab   string   // which of the job's pages this is
	Wide  bool     // it uses the whole width of the screen
	Live  bool     // the live view: no frame but its own
	Told  string   // what was just done
	Body  any
}

// jobHead is what stands at the top of every page of a job.
type jobHead struct {
	ID, Reference, Address string
	Open                   int // items of the queue
	Running, Signed        bool
}

// asset is a file of ours that pages load.
type asset struct {
	kind string
	data []byte
}

// assets are found by their names, and version changes with any of them, so that
// browsers keep them for as long as they stay the same.
var assets, version = func() (map[string]asset, string) {
	kinds := map[string]string{".css": "text/css; charset=utf-8", ".js": "text/javascript; charset=utf-8", ".svg": "image/svg+xml"}
	all, sum := map[string]asset{}, sha256.New()
	names, err := fs.Glob(files, "assets/*")
	if err != nil {
		panic(err) // the pattern is constant
	}
	for _, name := range names {
		b, err := files.ReadFile(name)
		if err != nil {
			panic(err) // it is in the program
		}
		fmt.Fprintf(sum, "%s %d\n%s", name, len(b), b)
		all[path.Base(name)] = asset{kinds[path.Ext(name)], b}
	}
	return all, hex.EncodeToString(sum.Sum(nil)[:6])
}()

func (s *server) asset(w http.ResponseWriter, r *http.Request) {
	a, ok := assets[r.PathValue("name")]
	if !ok || a.kind == "" {
		s.notFound(w, r)
		return
	}
	w.Header().Set("Content-Type", a.kind)
	if r.PathValue("version") == version {
		w.Header().Set("Cache-Control", "public, max-age=31536000, immutable")
	}
	w.Write(a.data)
}

// helpers are the functions that templates may call.
var helpers = template.FuncMap{
	"asset": func(name string) string { return "/assets/" + version + "/" + name },
	"unit":  words.Unit,
	"clock": func(t time.Time) string { return t.Local().Format("15:04:05") },
	"when":  func(t time.Time) string { return t.Local().Format("2 Jan 2006, 15:04") },
	"plain": printable.Line,
	"many":  english.Count,
	"add":   func(a, b int) int { return a + b },
}

func parsePages() (map[string]*view, error) {
	names, err := fs.Glob(files, "templates/*.html")
	if err != nil {
		return nil, err
	}
	frame := template.New("frame").Funcs(helpers)
	for _, shared := range []string{"templates/frame.html", "templates/parts.html"} {
		if _, err := frame.ParseFS(files, shared); err != nil {
			return nil, fmt.Errorf("the pages of this program: %w; please report it", err)
		}
	}
	all := map[string]*view{}
	for _, name := range names {
		base := strings.TrimSuffix(path.Base(name), ".html")
		if base == "frame" || base == "parts" {
			continue
		}
		one, err := frame.Clone()
		if err == nil {
			_, err = one.ParseFS(files, name)
		}
		if err != nil {
			return nil, fmt.Errorf("the page %s of this program: %w; please report it", base, err)
		}
		all[base] = one
	}
	return all, nil
}

// render answers with a page. It is made whole before anything is sent, so that a
// fault in it is an error page and not half a page.
func (s *server) render(w http.ResponseWriter, r *http.Request, status int, name string, p page) {
	var b bytes.Buffer
	if err := s.pages[name].ExecuteTemplate(&b, "frame.html", p); err != nil {
		s.Log.Error("a page could not be made", "page", name)
		http.Error(w, "This page failed: waycall has a fault here and nothing was changed. Go back, and please report what you did.", http.StatusInternalServerError)
		return
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.WriteHeader(status)
	w.Write(b.Bytes())
}

func (s *server) notFound(w http.ResponseWriter, r *http.Request) {
	s.fail(w, r, http.StatusNotFound, "There is no such page", "", "Go to the list of jobs and choose one.")
}

// problem is the content of an error page.
type problem struct {
	What, Why, Do string
	Back          string // a page of this server to go back to; "" for the list of jobs
}

// fail answers with an error page: what failed, why, and what to do.
func (s *server) fail(w http.ResponseWriter, r *http.Request, status int, what, why, do string) {
	s.render(w, r, status, "problem", page{Title: what, Body: problem{What: what, Why: why, Do: do}})
}

// note logs what went wrong beside the requests; a fault in waycall with its stack.
func (s *server) note(where string, err error) {
	var fault *mishap.Error
	if errors.As(err, &fault) {
		fault.Log(s.Log)
		return
	}
	s.Log.Warn(where, "trouble", jobcache.Trouble(err))
}

// withJob finds the job that a request names, or says what is wrong with it.
func (s *server) withJob(next func(http.ResponseWriter, *http.Request, *seen)) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		snap, err := s.Jobs.Open(r.Context(), r.PathValue("job"))
		if err != nil {
			s.jobFailed(w, r, err)
			return
		}
		next(w, r, s.gallery.of(snap))
	}
}

// jobFailed answers for a job that could not be read or worked on.
func (s *server) jobFailed(w http.ResponseWriter, r *http.Request, err error) {
	switch {
	case errors.Is(err, context.Canceled):
		// The browser went away.
	case errors.Is(err, jobcache.ErrNoJob):
		s.fail(w, r, http.StatusNotFound, "This job is not here", "It may have been renamed, put away or deleted while it was open. Nothing was changed.", "Go to the list of jobs and open it from there.")
	case errors.Is(err, store.ErrInUse):
		s.fail(w, r, http.StatusConflict, "A session is running on this job", "While it runs, only the session writes to the record. Nothing was changed.", "Finish the session, then go back and send the form again.")
	case errors.Is(err, store.ErrDamaged):
		s.fail(w, r, http.StatusInternalServerError, "The record of this job is damaged", jobcache.Trouble(err), "Leave the file as it is, take a copy from a backup, and run waycall verify on both.")
	default:
		s.fail(w, r, http.StatusInternalServerError, "This job cannot be opened", jobcache.Trouble(err), "")
	}
}

// mark is how a status is shown: a shape, a word and a colour, so that none of them
// is needed to tell it.
type mark struct {
	Class string // of the style sheet, and the name of the shape
	Word  string
}

// markOf returns the mark of a result of package check, a status of package report
// or a kind of the queue.
func markOf(status string) mark {
	switch status {
	case "pass", "done":
		return mark{"pass", "Pass"}
	case "fail":
		return mark{"fail", "Fail"}
	case "investigate":
		return mark{"look", "Investigate"}
	case "cannot say":
		return mark{"doubt", "Cannot say"}
	case "to do", "due":
		return mark{"due", "To do"}
	case "skipped":
		return mark{"out", "Left out"}
	case "limitation", "waived", "not applicable", "not verified":
		return mark{"out", english.Capital(status)}
	case "nothing":
		return mark{"none", "Nothing asked for"}
	case "missing": // and a reviewer lets it be so
		return mark{"out", "Not made"}
	case "by the board":
		return mark{"none", "By the board's reading"}
	case "not asked":
		return mark{"none", "Not asked for"}
	case "waiting":
		return mark{"due", "Waiting"}
	case "replaced", "withdrawn", "before work", "at full voltage":
		return mark{"old", english.Capital(status)}
	case "spare":
		return mark{"none", "Spare"}
	}
	return mark{"none", status}
}
