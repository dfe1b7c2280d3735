package web

import (
	"bytes"
	"fmt"
	"io"
	"net/http"
	"strings"

	"waycall/internal/english"
	"waycall/internal/report"
	"waycall/internal/report/paper"
	"waycall/internal/report/spreadsheet"
)

// form is a form in which the schedule is handed over.
type form struct {
	File, Name, For string
	kind            string
	write           func(io.Writer, report.Schedule) error
}

var forms = []form{
	{"schedule.pdf", "PDF", "A4 landscape, to print, read and sign, with plots and notes", "application/pdf", paper.Write},
	{"schedule.xlsx", "Spreadsheet", "a workbook with boards, circuits and every reading", "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet", spreadsheet.XLSX},
	{"schedule.csv", "CSV", "one table, for any spreadsheet", "text/csv; charset=utf-8", spreadsheet.CSV},
	{"schedule.json", "JSON", "for other programs", "application/json", report.Write},
}

// schedulePage is the page of the downloads.
type schedulePage struct {
	ID       string
	Forms    []form
	Signed   bool
	By, Name string
	At       string
	Open     int
	Sum      string
	Events   int64
	Cautions []string
}

func (s *server) schedule(w http.ResponseWriter, r *http.Request, snap *seen) {
	p := schedulePage{ID: snap.ID, Forms: forms, Open: snap.Open(), Sum: snap.Head, Events: snap.State.LastID, Cautions: snap.Schedule().Cautions}
	if off := snap.State.Signed; off != nil {
		p.Signed, p.By, p.Name, p.At = true, off.By, off.Name, off.At.Local().Format("2 January 2006, 15:04")
	}
	s.render(w, r, http.StatusOK, "schedule", page{Title: snap.State.Job.Reference + ": schedule", Job: s.head(snap), Tab: "schedule", Body: p})
}

// download serves the schedule as a file.
func (s *server) download(w http.ResponseWriter, r *http.Request, snap *seen) {
	for _, f := range forms {
		if f.File != r.PathValue("file") {
			continue
		}
		var b bytes.Buffer
		if err := f.write(&b, snap.Schedule()); err != nil {
			s.Log.Error("a schedule could not be made", "form", f.Name)
			s.fail(w, r, http.StatusInternalServerError, "The schedule could not be made", english.Sentence(err.Error()), "Try another form, and please report it.")
			return
		}
		w.Header().Set("Content-Type", f.kind)
		w.Header().Set("Content-Disposition", fmt.Sprintf("attachment; filename=%q", fileName(snap.State.Job.Reference)+"-"+f.File))
		w.Write(b.Bytes())
		return
	}
	s.notFound(w, r)
}

// fileName makes a reference fit for the name of a file anywhere.
func fileName(reference string) string {
	name := strings.Map(func(r rune) rune {
		switch {
		case r >= 'a' && r <= 'z', r >= 'A' && r <= 'Z', r >= '0' && r <= '9', r == '-', r == '_':
			return r
		}
		return '_'
	}, reference)
	if len(name) > 64 {
		name = name[:64]
	}
	if name == "" {
		return "job"
	}
	return name
}
