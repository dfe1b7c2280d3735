package web

import (
	"bytes"
	"cmp"
	"fmt"
	"html/template"
	"net/http"
	"net/url"
	"strconv"
	"strings"

	"waycall/internal/check"
	"waycall/internal/english"
	"waycall/internal/reading"
	"waycall/internal/record"
	"waycall/internal/report"
	"waycall/internal/review"
	"waycall/internal/sequence"
	"waycall/internal/waymark"
	"waycall/internal/web/scale"
	"waycall/internal/words"
)

// boardsPage is the picture of every board.
type boardsPage struct {
	ID       string
	Address  string
	Date     string
	Tester   string
	Bar      bar
	Open     int
	Tally    []tally
	Boards   []boardPicture
	Several  bool
	ToDo     []string
	Estimate string
	Finished bool
	Signed   *record.SignOff
	Limited  string
	Terms    []report.Term
	Prepared []report.Step
	Notes    []noteView // of all boards, observations first
	Cautions []string
	Rails    template.HTML
}

// tally is how many ways have a mark.
type tally struct {
	Mark mark
	Ways int
}

type boardPicture struct {
	Number int
	Name   string
	About  string
	Itself tile
	Tiles  []tile
	Idle   bool // no test is asked for on it
}

// tile is one way of a board, or the board itself.
type tile struct {
	Way    int
	Label  string // the number of the way
	Feeds  string
	Device string
	Spare  bool
	Mark   mark
	Word   string // what there is to know beside the mark
	Count  string // tests done
	Href   string
}

// boards is the page of a job: its boards as pictures.
func (s *server) boards(w http.ResponseWriter, r *http.Request, snap *seen) {
	p := snap.picture()
	p.Rails = snap.railsOnce.Get(func() template.HTML {
		var b bytes.Buffer
		if err := s.pages["boards"].ExecuteTemplate(&b, "rails", p); err != nil {
			s.Log.Error("the boards could not be drawn")
		}
		return template.HTML(b.String()) // made by a template, which escaped what is in it
	})
	told := ""
	if r.URL.Query().Has("new") {
		told = "The job is set up. In a terminal, waycall start " + snap.State.Job.Reference + " begins the tests; its live view shows them here."
	}
	s.render(w, r, http.StatusOK, "boards", page{Title: snap.State.Job.Reference + ": boards", Job: s.head(snap), Tab: "boards", Wide: true, Told: told, Body: p})
}

func (s *seen) picture() boardsPage { return s.picturesOnce.Get(s.draw) }

func (s *seen) draw() boardsPage {
	sched, job := s.Schedule(), s.State.Job
	n := sequence.Count(s.State)
	p := boardsPage{ID: s.ID, Address: job.Address, Date: job.Date, Tester: job.Tester, Bar: barOf(n.Tests, n.Recorded, n.LeftOut), Open: s.Open(),
		Several: len(job.Boards) > 1, Finished: s.State.Finished, Signed: s.State.Signed, Cautions: sched.Cautions, Prepared: sched.Preparation, Terms: sched.Terms, Notes: s.notes()}
	if left, ok := sequence.Estimate(s.State); ok && left > 0 {
		p.Estimate = fmt.Sprintf("about %d min at the pace so far", int(left.Minutes()+0.5))
	}
	for _, k := range job.Tests {
		p.Limited += ", " + string(k)
	}
	p.Limited = strings.TrimPrefix(p.Limited, ", ")
	open := map[[2]int]int{}
	for _, it := range s.Queue() {
		if it.Kind != review.Unfinished && it.Kind != review.Missing {
			open[[2]int{it.Slot.Board, it.Slot.Way}]++
		}
	}
	count := map[mark]int{}
	for i := range sched.Boards {
		b := &sched.Boards[i]
		one := boardPicture{Number: b.Number, Name: b.Name, Idle: b.OnlyIsolated, About: about(*b)}
		one.Itself = tileOf([]report.Tested{b.Tested}, open[[2]int{b.Number, 0}])
		one.Itself.Label, one.Itself.Feeds, one.Itself.Device = "Board", "Supply, earthing and main switch", deviceOf(b.Main)
		one.Itself.Href = wayPath(s.ID, b.Number, 0)
		var tested []report.Tested
		for k, l := range sched.Lines {
			if l.Board != b.Number {
				continue
			}
			tested = append(tested, l.Tested)
			if k+1 < len(sched.Lines) && sched.Lines[k+1].Board == l.Board && sched.Lines[k+1].Way == l.Way {
				continue // the other position of the switch
			}
			t := tileOf(tested, open[[2]int{b.Number, l.Way}])
			tested = nil
			t.Way, t.Label, t.Feeds, t.Device, t.Spare = l.Way, waymark.Print(l.Way), l.Feeds, deviceOf(l.Device), l.Spare
			t.Href = wayPath(s.ID, b.Number, l.Way)
			if l.Spare {
				t.Mark, t.Word, t.Count, t.Feeds = markOf("spare"), "", "", "Spare"
			} else {
				count[t.Mark]++
			}
			one.Tiles = append(one.Tiles, t)
		}
		p.Boards = append(p.Boards, one)
	}
	for _, status := range []string{"fail", "investigate", "cannot say", "to do", "skipped", "not verified", "pass", "not asked", "nothing"} {
		for m, n := range count {
			if m.Class == markOf(status).Class && (m == markOf(status) || status == "pass") {
				p.Tally = append(p.Tally, tally{m, n})
			}
		}
	}
	p.ToDo = sched.ToDo
	return p
}

// passOf is the mark of what passed: of a job that was limited it says to what, because
// it is a pass of no more.
func passOf(covers string) mark {
	m := markOf("pass")
	if covers != "" {
		m.Word = english.Capital(covers) + ": pass"
	}
	return m
}

// tileOf sums up what became of the tests of a way. What needs a person comes
// before what is only not done yet.
func tileOf(all []report.Tested, open int) tile {
	var t tile
	worst, covers, outside, done, asked, out := "", "", "", 0, 0, 0
	for _, one := range all {
		outside = cmp.Or(outside, one.Outside)
		covers = cmp.Or(covers, one.Covers)
		if check.Result(one.Result).Severity() > check.Result(worst).Severity() {
			worst = one.Result
		}
		for _, c := range one.Cells {
			switch c.Status {
			case report.Recorded:
				done, asked = done+1, asked+1
			case report.ToDo, report.Waiting:
				asked++
			case report.Skipped, report.Limitation, report.NotVerified, report.Waived, report.NotApplicable:
				out++
			}
		}
	}
	switch {
	case worst == "fail", worst == "investigate":
		t.Mark = markOf(worst)
	case open > 0 || worst == "cannot say":
		t.Mark = markOf("cannot say")
	case done < asked:
		t.Mark = markOf("to do")
	case worst == "pass":
		t.Mark = passOf(covers)
	case out > 0:
		t.Mark = markOf("skipped")
	case outside != "":
		t.Mark = markOf(outside)
	default:
		t.Mark = markOf("nothing")
	}
	if asked > 0 {
		t.Count = fmt.Sprintf("%d of %d", done, asked)
	}
	var words []string
	if open > 0 {
		words = append(words, fmt.Sprintf("%d to look at", open))
	}
	if out > 0 {
		words = append(words, fmt.Sprintf("%d left out", out))
	}
	t.Word = strings.Join(words, ", ")
	return t
}

func wayPath(id string, board, way int) string {
	return fmt.Sprintf("/job/%s/way/%d/%d", url.PathEscape(id), board, way)
}

// deviceOf is a device as it is marked: "B32, 30 mA RCD".
func deviceOf(d report.Device) string {
	if d.Rating == 0 && d.Standard == "" {
		return ""
	}
	text := d.Type + strconv.FormatFloat(d.Rating, 'f', -1, 64)
	if len(d.Type) != 1 {
		text = strings.TrimSpace(d.Type + " " + strconv.FormatFloat(d.Rating, 'f', -1, 64) + " A")
	}
	if d.RCDRated > 0 {
		text += fmt.Sprintf(", %g mA", d.RCDRated)
		if d.RCDDelayed {
			text += " S"
		}
	}
	return text
}

func about(b report.Board) string {
	parts := []string{b.Earthing, fmt.Sprintf("%g V to earth", b.Voltage)}
	if b.Phases == 3 {
		parts = append(parts, "three-phase")
	}
	if b.FedFrom > 0 {
		parts = append(parts, "fed from "+words.FedFrom(b.FedFrom, b.FedFromWay))
	}
	if b.SurgeProtection {
		parts = append(parts, "surge protection fitted")
	}
	return strings.Join(parts, " · ")
}

// wayPage is one way with its readings.
type wayPage struct {
	ID         string
	Board, Way int
	Name       string // of the board
	Feeds      string
	Label      string
	Spare      bool
	Facts      []fact
	Remarks    []string
	Readings   []readingView
	Others     []readingView // not asked for, left out
	Earlier    []readingView
	Notes      []noteView // observations first
	Prev, Next *neighbour
}

type fact struct{ Name, Value string }

type neighbour struct{ Href, Label string }

// readingView is one test of a way as pages show it.
type readingView struct {
	Slot     record.Slot
	Name     string // in words
	Letters  string
	Position string
	report.Cell
	Mark    mark
	Scale   *scale.Scale
	Play    *play
	Edited  string // who put it there, and why
	Settled string // who let it stand, and why
	How     string // it was accepted, where it was not confirmed aloud, and who tested, where that was another
	Open    []string
	Replace int64 // of a change
	CanEdit bool
}

// way is the page of one way of a board, or with way 0 of the board itself.
func (s *server) way(w http.ResponseWriter, r *http.Request, snap *seen) {
	number, okB := smallNumber(r.PathValue("board"))
	way, okW := smallNumber(r.PathValue("way"))
	b := snap.State.Job.Board(number)
	if !okB || !okW || b == nil || way != 0 && b.Way(way) == nil {
		s.fail(w, r, http.StatusNotFound, "There is no such way", "This job has no way of that number on that board.", "Go to the boards of the job and choose one.")
		return
	}
	p := snap.wayOf(number, way)
	for _, n := range snap.notes() {
		if n.Board == number && n.Way == way {
			p.Notes = append(p.Notes, n)
		}
	}
	p.around(snap)
	if err := s.drawSounds(r, snap, p.Readings, p.Others, p.Earlier); err != nil {
		s.jobFailed(w, r, err)
		return
	}
	s.render(w, r, http.StatusOK, "way", page{Title: snap.State.Job.Reference + ": " + words.At(number, way, true), Job: s.head(snap), Tab: "boards", Wide: true, Told: snap.toldIn(r), Body: p})
}

// smallNumber reads the number of a board, a way or a position.
func smallNumber(text string) (int, bool) {
	n, err := strconv.Atoi(text)
	return n, err == nil && n >= 0 && n <= 999 && len(text) <= 3
}

func (s *seen) wayOf(number, way int) wayPage {
	sched := s.Schedule()
	p := wayPage{ID: s.ID, Board: number, Way: way}
	open := map[record.Slot]review.Item{}
	for _, it := range s.Queue() {
		if it.Slot.Board == number && it.Slot.Way == way {
			open[it.Slot] = it
		}
	}
	add := func(t report.Tested, guides func(report.Cell) []scale.Guide) {
		p.Remarks = append(p.Remarks, t.Remarks...)
		for _, c := range t.Cells {
			v := s.reading(record.Slot{Board: number, Way: way, Test: c.Test, Position: c.Position}, c, guides(c), open)
			switch c.Status {
			case report.Recorded, report.ToDo, report.Waiting:
				p.Readings = append(p.Readings, v)
			default:
				p.Others = append(p.Others, v)
			}
		}
		for _, c := range t.Earlier {
			v := s.reading(record.Slot{Board: number, Way: way, Test: c.Test, Position: c.Position}, c, guides(c), nil)
			v.CanEdit = false
			p.Earlier = append(p.Earlier, v)
		}
	}
	insulation := func(c report.Cell) []scale.Guide {
		if !c.Test.Insulation() {
			return nil
		}
		for _, l := range sched.Limits {
			for _, of := range l.Ways {
				if l.Board == number && of == way {
					return []scale.Guide{{Class: "limit", Value: l.Least, Words: "at least", Least: true}}
				}
			}
		}
		return nil
	}
	for i := range sched.Boards {
		if b := &sched.Boards[i]; b.Number == number {
			p.Name = b.Name
			if way == 0 {
				p.Label, p.Feeds = words.At(number, 0, true), b.Name
				p.boardFacts(*b)
				add(b.Tested, insulation)
			}
		}
	}
	for _, l := range sched.Lines {
		if l.Board != number || l.Way != way || way == 0 {
			continue
		}
		if p.Label == "" {
			p.Label, p.Feeds, p.Spare = words.At(number, way, false), l.Feeds, l.Spare
			p.wayFacts(l)
		}
		add(l.Tested, func(c report.Cell) []scale.Guide {
			switch {
			case c.Test == reading.Zs && l.MaxZs != nil:
				all := []scale.Guide{{Class: "limit", Value: l.MaxZs.Measured, Words: "at most, cold", Most: true}}
				if l.MaxZs.Ohm != l.MaxZs.Measured {
					all = append(all, scale.Guide{Class: "hot", Value: l.MaxZs.Ohm, Words: "greatest permitted, hot"})
				}
				return all
			case (c.Test == reading.R1R2) && l.Expected > 0:
				return []scale.Guide{{Class: "expected", Value: l.Expected, Words: "from length and size"}}
			}
			return insulation(c)
		})
	}
	return p
}

// around finds the ways before and after.
func (p *wayPage) around(s *seen) {
	var all []neighbour
	at := -1
	for _, b := range s.picture().Boards {
		here := func(way int) {
			if b.Number == p.Board && way == p.Way {
				at = len(all)
			}
			all = append(all, neighbour{wayPath(s.ID, b.Number, way), words.At(b.Number, way, b.Number != p.Board)})
		}
		here(0)
		for _, t := range b.Tiles {
			here(t.Way)
		}
	}
	if at > 0 {
		p.Prev = &all[at-1]
	}
	if at >= 0 && at+1 < len(all) {
		p.Next = &all[at+1]
	}
}

// reading makes a cell ready to be shown. open holds what needs a person; nil for a
// reading that no longer stands.
func (s *seen) reading(slot record.Slot, c report.Cell, guides []scale.Guide, open map[record.Slot]review.Item) readingView {
	v := readingView{Slot: slot, Name: words.Name(slot.Test), Letters: words.Letters(slot.Test), Position: slot.Which(s.State.Job, strconv.Itoa), Cell: c, CanEdit: slot.Check(s.State.Job) == nil}
	v.Mark = markOf(string(c.Status))
	var verdict *check.Verdict
	if c.Status == report.Recorded {
		v.Mark = markOf(c.Result)
		if r, ok := s.Latest()[slot]; ok {
			verdict, v.Replace = &r.Verdict, r.ConfirmedID
			if r.Edited {
				v.Edited = fmt.Sprintf("Put here by %s on review: %s", r.By, r.Reason)
			}
			v.How = s.accepted(r)
		}
	}
	v.Scale = scale.Of(c, words.Unit(c.Unit), markOf(c.Result).Class, verdict, guides)
	if c.Heard > 0 {
		v.Play = &play{Source: soundPath(s.ID, c.Heard), Label: "Sound of " + v.Name + " " + c.Text, Session: sessionPath(s.ID, c.Heard)}
	}
	if open != nil {
		if t, ok := s.State.SettledAt(slot); ok {
			v.Settled = fmt.Sprintf("Looked at by %s: %s", t.By, t.Reason)
		}
		if it, ok := open[slot]; ok {
			v.Open = kindsOf(it)
		}
	}
	return v
}

func kindsOf(it review.Item) []string {
	all := []string{string(it.Kind)}
	for _, k := range it.Also {
		all = append(all, string(k))
	}
	return all
}

func (p *wayPage) fact(name, value string) {
	if value != "" {
		p.Facts = append(p.Facts, fact{name, value})
	}
}

func amount(x float64, unit string) string {
	if x == 0 {
		return ""
	}
	return strconv.FormatFloat(x, 'f', -1, 64) + " " + unit
}

func (p *wayPage) wayFacts(l report.Line) {
	p.fact("Device", strings.TrimSpace(l.Device.Standard+" "+deviceOf(l.Device)))
	p.fact("Breaking capacity", amount(l.Device.Breaking, "kA"))
	p.fact("Wiring", words.Join(", ", l.Wiring, map[bool]string{true: "three-phase"}[l.Phases == 3], l.Phase))
	p.fact("Conductors", words.Join(", ", amount(l.Line, "mm²"), cpc(l)))
	p.fact("Length", amount(l.Length, "m"))
	if l.Points > 0 {
		p.fact("Points", strconv.Itoa(l.Points))
	}
	p.fact("Reference method", l.MethodWords())
	p.fact("Used for", l.Use)
	p.fact("Kind of circuit", l.KindWords())
	if l.AFDD {
		p.fact("AFDD", "fitted")
	}
	if l.MaxZs != nil {
		p.fact("Greatest Zs", scale.Figure(l.MaxZs.Ohm)+" Ω ("+scale.Figure(l.MaxZs.Measured)+" Ω cold)")
	}
	if l.Supplies > 0 {
		p.fact("Feeds board", strconv.Itoa(l.Supplies))
	}
}

func cpc(l report.Line) string {
	if l.CPC == 0 {
		return ""
	}
	return "cpc " + amount(l.CPC, "mm²")
}

func (p *wayPage) boardFacts(b report.Board) {
	p.fact("Supply", about(b))
	for _, one := range b.Particulars {
		p.fact(one.Name, strings.ReplaceAll(one.Value, " ohm", " Ω"))
	}
}

// Anchor is the id of a reading on its page.
func (v readingView) Anchor() string {
	return fmt.Sprintf("r-%s-%d-%d", v.Slot.Test, v.Slot.Position, v.Event)
}

// Figure is the value without the sign of a bound.
func (v readingView) Figure() string { return strings.TrimLeft(v.Text, "<>") }

// EditHref is the page where a reviewer changes the reading.
func (v readingView) EditHref() string { return "../../edit" + placeQuery(v.Slot) }

// placeQuery names a place of the schedule in an address.
func placeQuery(slot record.Slot) string {
	q := url.Values{"board": {strconv.Itoa(slot.Board)}, "way": {strconv.Itoa(slot.Way)}, "test": {string(slot.Test)}}
	if slot.Position > 0 {
		q.Set("position", strconv.Itoa(slot.Position))
	}
	return "?" + q.Encode()
}
