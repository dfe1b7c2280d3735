package web

import (
	"fmt"
	"math"
	"math/rand/v2"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"waycall/internal/board"
	"waycall/internal/board/boardtest"
	"waycall/internal/check"
	"waycall/internal/english"
	"waycall/internal/reading"
	"waycall/internal/readings"
	"waycall/internal/record"
	"waycall/internal/sequence"
	"waycall/internal/sound"
	"waycall/internal/store"
	"waycall/internal/web/door"
	"waycall/internal/web/jobcache"
)

// morning is when the work of the tests' jobs begins.
var morning = time.Date(2026, 3, 18, 9, 0, 0, 0, time.UTC)

// worker writes the job of a session into a store, a few seconds for each phrase.
type worker struct {
	t       testing.TB
	store   *store.Store
	state   record.State
	at      time.Time
	before  []check.Earlier
	rand    *rand.Rand
	phrases int // spoken so far
}

// begin sets up the record of a job in a folder.
func begin(t testing.TB, dir string, job board.Job) *worker {
	t.Helper()
	s, err := store.Create(filepath.Join(dir, job.Reference+".waycall"))
	if err != nil {
		t.Fatal(err)
	}
	w := &worker{t: t, store: s, at: morning, rand: rand.New(rand.NewPCG(1, 2))}
	w.do(nil, record.Event{Kind: record.Opened, Job: &job})
	return w
}

// do stores events in one go.
func (w *worker) do(sound []byte, events ...record.Event) {
	w.t.Helper()
	next := w.state
	if sound != nil {
		w.phrases++
	}
	for i := range events {
		events[i].ID, events[i].At = next.LastID+1, w.at
		w.at = w.at.Add(400 * time.Millisecond)
		var err error
		if next, err = next.Apply(events[i]); err != nil {
			w.t.Fatal(err)
		}
	}
	if _, err := w.store.Append(w.t.Context(), events, sound); err != nil {
		w.t.Fatal(err)
	}
	w.state = next
}

// prepared answers every step of every board.
func (w *worker) prepared() {
	for _, number := range sequence.Boards(w.state.Job) {
		for _, step := range sequence.Steps(w.state.Job, number) {
			if step.Back != "" || step.Alone {
				continue
			}
			if step.ID == sequence.WholeFirst {
				step.ID = sequence.WayByWay
			}
			w.at = w.at.Add(9 * time.Second)
			id := w.state.LastID + 1
			w.do(w.sound(0.9), heard("command", step.ID), record.Event{Kind: record.Prepared, Board: number, Step: step.ID, Answer: record.Done, HeardID: id})
		}
	}
}

// heard is a phrase that both witnesses heard so, or with others that one may have
// heard instead.
func heard(outcome, text string, others ...string) record.Event {
	words := map[string]string{"whisper": text, "sphinx": text}
	if len(others) > 0 {
		words["sphinx"] = others[0]
	}
	return record.Event{Kind: record.Heard, Phrase: &record.Phrase{Outcome: outcome, Agreed: len(others) == 0, Text: text, Others: others, Words: words}}
}

// say speaks a reading and confirms it, or drops it.
func (w *worker) say(slot record.Slot, q reading.Quantity, confirm bool, others ...string) {
	w.t.Helper()
	w.at = w.at.Add(6 * time.Second)
	v := check.Judge(check.Input{Job: w.state.Job, Slot: slot, Quantity: q, Earlier: w.before})
	text := fmt.Sprintf("way %s %s %s", reading.Cardinal(slot.Way), slot.Test.Spoken(), q.Spoken())
	if slot.Way == 0 {
		text = slot.Test.Spoken() + " " + q.Spoken()
	}
	id := w.state.LastID + 1
	w.do(w.sound(1.4), heard("reading", text, others...),
		record.Event{Kind: record.Proposed, Slot: &slot, Quantity: &q, Verdict: &v, HeardID: id},
		record.Event{Kind: record.Said, Text: english.Capital(text) + ". " + v.Reason})
	w.at = w.at.Add(2 * time.Second)
	if !confirm {
		w.do(w.sound(0.5), heard("command", "no"), record.Event{Kind: record.Dropped, Reason: "rejected"})
		return
	}
	w.do(w.sound(0.6), heard("command", "confirm"), record.Event{Kind: record.Confirmed}, record.Event{Kind: record.Said, Text: "Stored."})
	w.before = append(w.before, check.Earlier{Slot: slot, Quantity: q})
}

// sound is something like speech: bursts of a buzz, so that an outline has a shape.
func (w *worker) sound(seconds float64) []byte {
	const rate = 16000
	samples := make([]int16, int(seconds*rate))
	pitch := 90 + 60*w.rand.Float64()
	for i := range samples {
		at := float64(i) / rate
		loud := math.Pow(math.Abs(math.Sin(at*9+pitch)), 2) * math.Sin(math.Pi*at/seconds)
		samples[i] = int16(9000 * loud * (math.Sin(2*math.Pi*pitch*at) + 0.4*math.Sin(2*math.Pi*5*pitch*at) + 0.1*(w.rand.Float64()-0.5)))
	}
	return sound.EncodeWAV(samples, rate)
}

func (w *worker) close() {
	w.t.Helper()
	if err := w.store.Close(); err != nil {
		w.t.Fatal(err)
	}
}

// workshop is the job of three boards with what its sheet of readings has, some of it
// disputed, corrected, taken back or left out.
func workshop(t testing.TB, dir string) *worker {
	t.Helper()
	job := boardtest.Read(t, "workshop.yaml")
	w := begin(t, dir, job)
	w.prepared()
	path := filepath.Join("..", "..", "testdata", "readings", "workshop.csv")
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	all, err := readings.ReadCSV(f, path, job)
	if err != nil {
		t.Fatal(err)
	}
	for i, r := range all {
		switch {
		case i == 40:
			w.do(nil, record.Event{Kind: record.Skipped, Slot: &r.Slot, Answer: record.Limitation, Reason: "the far door is locked"})
			continue
		case i%17 == 5 && !r.Test.Judged():
			other := r.Quantity
			other.Value *= 10
			if other.Check() == nil {
				w.say(r.Slot, other, false)
			}
		case i == 30:
			w.at = w.at.Add(25 * time.Minute)
		}
		var others []string
		if i%13 == 7 {
			others = []string{fmt.Sprintf("way %s %s fifty", reading.Cardinal(r.Way), r.Test.Spoken())}
		}
		w.say(r.Slot, r.Quantity, true, others...)
	}
	return w
}

// client is a browser with a session, as far as these tests need one.
type client struct {
	t      testing.TB
	server *Server
	host   string
	cookie *http.Cookie
}

const testHost = "127.0.0.1:8420"

// serve is a server over a folder, and a client that has entered it.
func serve(t testing.TB, dir string, change ...func(*Options)) *client {
	t.Helper()
	o := Options{Jobs: jobcache.NewFolder(dir), Hosts: []string{testHost}, Key: door.NewKey()}
	for _, c := range change {
		c(&o)
	}
	s, err := New(o)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(s.Close)
	c := &client{t: t, server: s, host: testHost}
	c.enter(o.Key)
	return c
}

func (c *client) enter(key string) {
	c.t.Helper()
	a := c.do(c.request("GET", "/enter/"+key, nil))
	for _, cookie := range a.Result().Cookies() {
		c.cookie = cookie
	}
	if a.Code != http.StatusOK || c.cookie == nil {
		c.t.Fatalf("entering gave %d and the cookie %v", a.Code, c.cookie)
	}
}

// other is another browser at the same server, without a session.
func (c *client) other() *client { return &client{t: c.t, server: c.server, host: c.host} }

func (c *client) request(method, path string, form url.Values) *http.Request {
	r := httptest.NewRequest(method, "http://"+c.host+path, strings.NewReader(form.Encode()))
	if form != nil {
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		r.Header.Set("Sec-Fetch-Site", "same-origin")
	}
	if c.cookie != nil {
		r.AddCookie(c.cookie)
	}
	return r
}

func (c *client) do(r *http.Request) *httptest.ResponseRecorder {
	a := httptest.NewRecorder()
	c.server.ServeHTTP(a, r)
	return a
}

// get returns a page that must be there.
func (c *client) get(path string) string {
	c.t.Helper()
	a := c.do(c.request("GET", path, nil))
	if a.Code != http.StatusOK {
		c.t.Fatalf("GET %s gave %d: %s", path, a.Code, text(a.Body.String()))
	}
	return a.Body.String()
}

// post sends a form and returns the status and the page.
func (c *client) post(path string, form url.Values) (int, string) {
	c.t.Helper()
	a := c.do(c.request("POST", path, form))
	return a.Code, a.Body.String()
}

// text is the main part of a page without its tags, for messages.
func text(html string) string {
	if _, after, ok := strings.Cut(html, "<main"); ok {
		html = after
	}
	var b strings.Builder
	in := true
	for _, r := range html {
		switch {
		case r == '<':
			in = true
		case r == '>':
			in = false
			b.WriteRune(' ')
		case !in:
			b.WriteRune(r)
		}
	}
	return strings.Join(strings.Fields(b.String()), " ")
}

// TestWriteJob leaves a folder of jobs for people to look at, where
// WAYCALL_WRITE_JOBS names one.
func TestWriteJob(t *testing.T) {
	dir := os.Getenv("WAYCALL_WRITE_JOBS")
	if dir == "" {
		t.Skip("WAYCALL_WRITE_JOBS names no folder")
	}
	w := workshop(t, dir)
	w.do(nil, record.Event{Kind: record.Finished})
	w.close()
	w = small(t, dir)
	w.do(nil, record.Event{Kind: record.Finished})
	w.close()
}

// testJob is a small board.
func testJob() board.Job {
	return board.Job{Reference: "SMALL-1", Address: "1 Example Row", Date: "2026-03-18", Tester: "AB",
		Instrument: board.Instrument{Serial: "1", Checked: "2026-02-02", OverRange: 999},
		Boards: []board.Board{{Number: 1, Name: "Small board", Earthing: board.TNS, Voltage: 230, Phases: 1, Ways: []board.Way{
			{Number: 1, Feeds: "Lighting", Device: board.Device{Standard: board.MCB, Type: "B", Rating: 6, Breaking: 6}, Wiring: board.Radial, Line: 1.5, CPC: 1, Length: 12, Phases: 1},
			{Number: 2, Feeds: "Cooker", Device: board.Device{Standard: board.MCB, Type: "B", Rating: 32, Breaking: 6}, Wiring: board.Radial, Line: 6, CPC: 2.5, Length: 9, Phases: 1},
		}}}}
}

func quantityOf(t testing.TB, text string, unit reading.Unit) reading.Quantity {
	t.Helper()
	q, err := reading.ParseQuantity(text, unit)
	if err != nil {
		t.Fatal(err)
	}
	return q
}

func verdictOf(w *worker, slot record.Slot, q reading.Quantity) *check.Verdict {
	v := check.Judge(check.Input{Job: w.state.Job, Slot: slot, Quantity: q, Earlier: w.before})
	return &v
}

func TestWorseClass(t *testing.T) {
	order := []string{"", "pass", "doubt", "look", "fail"}
	for i, a := range order {
		for j, b := range order {
			if got := worseClass(a, b); got != order[max(i, j)] {
				t.Errorf("of %q and %q the worse is %q", a, b, got)
			}
		}
	}
}
