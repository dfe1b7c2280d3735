package web

import (
	"cmp"
	"context"
	"maps"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"time"

	"waycall/internal/check"
	"waycall/internal/english"
	"waycall/internal/reading"
	"waycall/internal/record"
	"waycall/internal/show"
	"waycall/internal/web/scale"
	"waycall/internal/words"
)

// entry is one part of the time line: a phrase with all that followed from it, the
// beginning of a session, or what a reviewer did.
type entry struct {
	from, to int  // of the events
	heard    bool // it begins with a phrase
	doubt    bool // the witnesses did not agree, or what was understood did not pass or was not stored
	review   bool
}

// perPage is how many entries a page of the time line has.
const perPage = 25

// entries divides the log into the entries of the time line.
func (s *seen) entries() []entry { return s.entriesOnce.Get(s.divide) }

func (s *seen) divide() []entry {
	var all []entry
	for i := range s.Events {
		e := &s.Events[i]
		own := e.Kind == record.Heard || e.Kind == record.Tapped || e.Kind == record.Opened || e.By != "" || len(all) == 0
		if own {
			all = append(all, entry{from: i, heard: e.Kind == record.Heard, review: e.By != ""})
		}
		last := &all[len(all)-1]
		last.to = i + 1
		switch {
		case e.Phrase != nil && e.Phrase.Disputed():
			last.doubt = true
		case e.Verdict != nil && e.Verdict.Result != "pass":
			last.doubt = true
		case e.Kind == record.Dropped || e.Kind == record.Withdrawn || e.Kind == record.Observed && e.Code == danger:
			last.doubt = true
		}
	}
	return all
}

// sessionPage is one page of the time line.
type sessionPage struct {
	ID           string
	Only         string // "" for all, doubt or review
	Total, Shown int    // entries; of those chosen
	First, Last  int    // of this page, from 1
	Page, Pages  int
	Entries      []entryView
	Strip        []stripMark
	StripFrom    float64 // of this page on the strip, 0 to 1000
	StripWidth   float64
	Began, Ended time.Time
	Phrases      int
	Doubtful     int
	Reviewed     int
	Times        []timesRow // on the first page
}

// timesRow is how the time on a board went, as the page has it.
type timesRow struct {
	show.Times
	All, Spoken, Said, Quiet string
}

type stripMark struct {
	X     float64
	Class string
}

// entryView is an entry as it is shown.
type entryView struct {
	ID      int64 // of its first event
	At      time.Time
	Gap     string // the quiet before it, where it was long
	Day     string // where the date is another than before
	Title   string
	Heard   []witness
	Alike   string // who heard just the title
	Agreed  bool
	IsHeard bool
	Others  []string
	Play    *play
	Lines   []line
	Marks   []mark
	Review  bool
}

type witness struct{ Name, Words string }

// line is one thing that followed.
type line struct {
	Who   string // "understood", "waycall" or "record"
	Class string
	Text  string
	Mark  *mark
	Why   string
}

// session is the page of the time line.
func (s *server) session(w http.ResponseWriter, r *http.Request, snap *seen) {
	q := r.URL.Query()
	p, err := s.timeline(r, snap, q)
	if err != nil {
		s.jobFailed(w, r, err)
		return
	}
	s.render(w, r, http.StatusOK, "session", page{Title: snap.State.Job.Reference + ": session", Job: s.head(snap), Tab: "session", Body: p})
}

func (s *server) timeline(r *http.Request, snap *seen, q url.Values) (sessionPage, error) {
	all := snap.entries()
	p := sessionPage{ID: snap.ID, Total: len(all)}
	var chosen []entry
	for _, e := range all {
		if e.heard {
			p.Phrases++
		}
		if e.doubt {
			p.Doubtful++
		}
		if e.review {
			p.Reviewed++
		}
	}
	switch p.Only = q.Get("only"); p.Only {
	case "doubt":
		for _, e := range all {
			if e.doubt {
				chosen = append(chosen, e)
			}
		}
	case "review":
		for _, e := range all {
			if e.review {
				chosen = append(chosen, e)
			}
		}
	default:
		p.Only, chosen = "", all
	}
	p.Shown = len(chosen)
	p.Pages = max(1, (len(chosen)+perPage-1)/perPage)
	p.Page, _ = strconv.Atoi(q.Get("page"))
	if at, err := strconv.ParseInt(q.Get("at"), 10, 64); err == nil { // the page with an event
		for i, e := range chosen {
			if snap.Events[e.from].ID <= at {
				p.Page = i/perPage + 1
			}
		}
	}
	p.Page = min(max(p.Page, 1), p.Pages)
	from := (p.Page - 1) * perPage
	to := min(from+perPage, len(chosen))
	p.First, p.Last = from+1, to
	if to == from {
		p.First = 0
	}
	if n := len(snap.Events); n > 0 {
		p.Began, p.Ended = snap.Events[0].At, snap.Events[n-1].At
	}
	var heard []int64
	for _, e := range chosen[from:to] {
		if e.heard {
			heard = append(heard, snap.Events[e.from].ID)
		}
	}
	waves, err := s.waves.Of(r.Context(), s.Jobs, snap.Snapshot, heard)
	if err != nil {
		return p, err
	}
	var before *record.Event
	if from > 0 {
		before = &snap.Events[chosen[from-1].from]
	}
	for _, e := range chosen[from:to] {
		v := snap.view(e, before, p.Only == "")
		if e.heard {
			v.Play = &play{Source: soundPath(snap.ID, v.ID), Label: "Phrase at " + v.At.Local().Format("15:04:05")}
			v.Play.draw(waves[0])
			waves = waves[1:]
		}
		p.Entries = append(p.Entries, v)
		before = &snap.Events[e.from]
	}
	p.strip(snap, chosen, from, to)
	if p.Page > 1 {
		return p, nil
	}
	for _, t := range snap.timesOnce.Get(func() []show.Times { return s.times(r.Context(), snap) }) {
		p.Times = append(p.Times, timesRow{t, show.Clock(t.Seconds), show.Clock(t.Tester), show.Clock(t.Waycall), show.Clock(t.Between)})
	}
	return p, nil
}

// times returns how the time on each board went. Where the sounds cannot be read, which
// the page says of each, the phrases are estimated by their words.
func (s *server) times(ctx context.Context, snap *seen) []show.Times {
	lengths, _ := s.Jobs.Lengths(context.WithoutCancel(ctx), snap.ID)
	return show.TimesOf(snap.Events, lengths)
}

// stripColumns is how finely the strip of the whole session is divided.
const stripColumns = 200

// strip draws the whole session in one line, and where this page lies in it.
func (p *sessionPage) strip(snap *seen, chosen []entry, from, to int) {
	if len(chosen) == 0 {
		return
	}
	classes := make([]string, min(stripColumns, len(chosen)))
	for i, e := range chosen {
		at := i * len(classes) / len(chosen)
		class := "pass"
		for k := e.from; k < e.to; k++ {
			ev := &snap.Events[k]
			if ev.Verdict != nil {
				class = worseClass(class, markOf(string(ev.Verdict.Result)).Class)
			}
			if ev.Phrase != nil && ev.Phrase.Disputed() {
				class = worseClass(class, "doubt")
			}
		}
		classes[at] = worseClass(classes[at], class)
	}
	width := 1000 / float64(len(classes))
	for i, c := range classes {
		p.Strip = append(p.Strip, stripMark{scale.Round((float64(i) + 0.5) * width), c})
	}
	p.StripFrom = scale.Round(1000 * float64(from) / float64(len(chosen)))
	p.StripWidth = max(6, scale.Round(1000*float64(to-from)/float64(len(chosen))))
}

// worseClass is the one of two classes of results that is the more severe.
func worseClass(a, b string) string {
	if b == "" {
		return a
	}
	for _, r := range check.Results() {
		switch markOf(string(r)).Class {
		case a:
			return b
		case b:
			return cmp.Or(a, b)
		}
	}
	return a
}

// longGap is the quiet that the time line mentions.
const longGap = 2 * time.Minute

// view makes an entry ready to be shown. before is the first event of the one above
// it, or nil.
func (s *seen) view(e entry, before *record.Event, gaps bool) entryView {
	first := &s.Events[e.from]
	v := entryView{ID: first.ID, At: first.At, Review: e.review, Agreed: true}
	if before == nil || before.At.Local().Format(time.DateOnly) != first.At.Local().Format(time.DateOnly) {
		v.Day = first.At.Local().Format("Monday 2 January 2006")
	} else if d := first.At.Sub(before.At); gaps && d >= longGap {
		v.Gap = english.Count(int(d.Minutes()), "minute") + " later"
	} else if d < 0 {
		v.Gap = "The clock of the machine went back here; the order is that of the record."
	}
	for i := e.from; i < e.to; i++ {
		v.add(s, &s.Events[i])
	}
	if v.Title == "" {
		v.Title = "Session"
	}
	return v
}

// classes are how a line of the record is set off, by the kind of its event; the others
// are notes.
var classes = map[record.Kind]string{record.Confirmed: "good", record.Signed: "good", record.Dropped: "bad", record.Withdrawn: "bad"}

func (v *entryView) add(s *seen, e *record.Event) {
	told := words.OfEvent(s.State, *e)
	say := func(text string) {
		v.Lines = append(v.Lines, line{Who: "record", Class: cmp.Or(classes[e.Kind], "note"), Text: text})
	}
	if e.Kind == record.Tapped {
		v.title(told.Text())
	} else if e.By != "" || e.Kind == record.Opened || e.Kind == record.Finished {
		v.title(told.What)
	}
	switch e.Kind {
	case record.Heard:
		v.IsHeard = true
		if p := e.Phrase; p != nil {
			v.Title, v.Agreed, v.Others = p.Text, !p.Disputed(), p.Others
			v.Heard, v.Alike = witnesses(*p)
			if p.Disputed() {
				v.Marks = append(v.Marks, mark{"doubt", "Disputed"})
			}
		}
	case record.Tapped: // the title says it
	case record.Said:
		v.Lines = append(v.Lines, line{Who: "waycall", Class: "said", Text: e.Text})
	case record.Opened:
		if e.Tester != "" {
			say("Tested by " + e.Tester)
		}
		if e.Habit == record.Agreed {
			say("A reading that passes and that nothing speaks against is accepted when the next one begins")
		}
	case record.Prepared:
		say(told.Text())
		if e.Quantity != nil && e.Verdict != nil {
			v.understood("Leads", *e.Quantity, *e.Verdict)
		}
	case record.Proposed, record.Edited:
		if e.Slot != nil && e.Quantity != nil && e.Verdict != nil {
			v.understood(s.where(*e.Slot), *e.Quantity, *e.Verdict)
		}
		for _, f := range e.Then {
			v.understood(s.where(f.Slot), f.Quantity, f.Verdict)
		}
		if e.Kind == record.Edited {
			say("Reason: " + e.Reason)
		}
	case record.Observed:
		v.Marks = append(v.Marks, codeMark(e.Code))
		say(told.Text())
	default:
		if e.By != "" && v.Title == told.What && (told.Where != "" || told.Why != "") {
			told.What = "" // the title says it
		}
		say(told.Text())
	}
}

// witnesses are what each witness heard, in the order of their names; or, where all
// heard the words of the phrase, who they are.
func witnesses(p record.Phrase) (all []witness, alike string) {
	names := slices.Sorted(maps.Keys(p.Words))
	same := len(names) > 1
	for _, name := range names {
		all = append(all, witness{name, p.Words[name]})
		same = same && p.Words[name] == p.Text
	}
	if same {
		return nil, english.Capital(english.List(names)) + " heard it so"
	}
	return all, ""
}

func (v *entryView) title(s string) {
	if v.Title == "" {
		v.Title = s
	}
}

// understood adds a reading with its verdict. what is whose it is.
func (v *entryView) understood(what string, q reading.Quantity, judged check.Verdict) {
	m := markOf(string(judged.Result))
	v.Lines = append(v.Lines, line{Who: "understood", Class: m.Class, Text: what + ": " + words.Quantity(q), Mark: &m, Why: judged.Reason})
}

// where names a place of the schedule in words.
func (s *seen) where(slot record.Slot) string { return words.Where(s.State.Job, slot) }
