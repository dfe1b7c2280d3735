package web

import (
	"cmp"
	"fmt"
	"maps"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"waycall/internal/check"
	"waycall/internal/english"
	"waycall/internal/record"
	"waycall/internal/report/words"
	"waycall/internal/waymark"
	"waycall/internal/web/scale"
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
		own := e.Kind == record.Heard || e.Kind == record.Opened || e.By != "" || len(all) == 0
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
	return p, nil
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

func (v *entryView) add(s *seen, e *record.Event) {
	say := func(class, text string) { v.Lines = append(v.Lines, line{Who: "record", Class: class, Text: text}) }
	where := ""
	if e.Slot != nil {
		where = s.where(*e.Slot)
	}
	because := ""
	if e.Reason != "" {
		because = ": " + e.Reason
	}
	by := ""
	if e.By != "" {
		by = " by " + e.By
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
	case record.Said:
		v.Lines = append(v.Lines, line{Who: "waycall", Class: "said", Text: e.Text})
	case record.Opened:
		v.Title = "Session opened"
		if e.Tester != "" {
			say("note", "Tested by "+e.Tester)
		}
		if e.Habit == record.Agreed {
			say("note", "A reading that passes and that nothing speaks against is accepted when the next one begins")
		}
	case record.Prepared:
		say("note", "Step answered: "+e.Step+", "+string(e.Answer)+because)
		if e.Quantity != nil && e.Verdict != nil {
			m := markOf(string(e.Verdict.Result))
			v.Lines = append(v.Lines, line{Who: "understood", Class: m.Class, Text: "Leads: " + withOhm(e.Quantity.String()), Mark: &m, Why: e.Verdict.Reason})
		}
	case record.Proposed:
		if e.Quantity != nil && e.Verdict != nil {
			v.understood(s, *e.Slot, e.Quantity.String(), string(e.Verdict.Result), e.Verdict.Reason)
		}
		for _, f := range e.Then {
			v.understood(s, f.Slot, f.Quantity.String(), string(f.Verdict.Result), f.Verdict.Reason)
		}
	case record.Confirmed:
		if e.Answer == record.Accepted {
			say("good", "The reading before was accepted as this one began, and stored")
		} else {
			say("good", "Confirmed and stored")
		}
	case record.Dropped:
		say("bad", "Not stored"+because)
	case record.Noted:
		say("note", "Note, "+where+": "+e.Text)
	case record.Observed:
		v.Marks = append(v.Marks, codeMark(e.Code))
		say("note", "Observation "+e.Code+", "+where+": "+e.Text)
	case record.Withdrawn:
		if e.Of != 0 {
			say("bad", "Taken back: "+s.noteOf(e.Of)+because)
			break
		}
		say("bad", "Taken off"+by+": "+where+because)
		v.title("Taken off" + by)
	case record.Skipped:
		say("note", "Left out, "+string(e.Answer)+": "+where+because)
	case record.Moved:
		say("note", "Went to "+where)
	case record.Retest:
		say("note", "To be tested again after work: "+where+because)
	case record.Edited:
		v.title("Corrected" + by)
		if e.Quantity != nil && e.Verdict != nil {
			v.understood(s, *e.Slot, e.Quantity.String(), string(e.Verdict.Result), e.Verdict.Reason)
		}
		say("note", "Reason: "+e.Reason)
	case record.Settled:
		v.title("Looked at" + by)
		say("note", where+because)
	case record.Signed:
		v.title("Signed off" + by)
		say("good", e.Text)
	case record.Paused:
		say("note", "Paused")
	case record.CarriedOn:
		say("note", "Carried on")
	case record.Finished:
		v.title("Session ended" + by)
		say("note", "Finished"+by)
	default:
		v.title(english.Capital(string(e.Kind)))
		say("note", strings.Join(nonEmpty(where, e.Text, e.Reason), ": "))
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

func (v *entryView) understood(s *seen, slot record.Slot, quantity, result, why string) {
	m := markOf(result)
	v.Lines = append(v.Lines, line{Who: "understood", Class: m.Class, Text: s.where(slot) + ": " + withOhm(quantity), Mark: &m, Why: why})
}

// withOhm writes the unit of a quantity as a reader expects it.
func withOhm(quantity string) string {
	for _, u := range []string{"Mohm", "ohm"} {
		if rest, ok := strings.CutSuffix(quantity, " "+u); ok {
			return rest + " " + shownUnit(u)
		}
	}
	return quantity
}

// where names a place of the schedule in words.
func (s *seen) where(slot record.Slot) string {
	at := "way " + waymark.Print(slot.Way)
	if slot.Way == 0 {
		at = "board itself"
	}
	if len(s.State.Job.Boards) > 1 {
		at = fmt.Sprintf("board %d, %s", slot.Board, at)
		if slot.Way == 0 {
			at = fmt.Sprintf("board %d itself", slot.Board)
		}
	}
	if slot.Test == "" {
		return english.Capital(at)
	}
	at += ", " + words.ShortTest(slot)
	if p := s.position(slot); p != "" {
		at += ", " + p
	}
	return english.Capital(at)
}
