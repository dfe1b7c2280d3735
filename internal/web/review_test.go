package web

import (
	"database/sql"
	"fmt"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	_ "github.com/mattn/go-sqlite3" // the driver that damage uses

	"waycall/internal/board"
	"waycall/internal/check"
	"waycall/internal/printable"
	"waycall/internal/reading"
	"waycall/internal/record"
	"waycall/internal/sequence"
	"waycall/internal/store"
	"waycall/internal/web/jobcache"
)

// small is a job of two ways, with everything recorded but a Zs that fails; some of it
// came through doubt.
func small(t testing.TB, dir string) *worker {
	t.Helper()
	job := testJob()
	job.Tests = []board.Kind{board.Continuity, board.Live}
	w := begin(t, dir, job)
	w.prepared()
	values := map[reading.Test]string{reading.R1R2: "0.38", reading.Ze: "0.35", reading.Zs: "0.70", reading.PFC: "0.8", reading.PSC: "0.9", reading.Earthing: "0.04"}
	for _, way := range []int{0, 1, 2} {
		for _, slot := range sequence.Required(job, 1, way) {
			q := reading.Correct
			if !slot.Test.Judged() {
				text := values[slot.Test]
				if way == 2 && slot.Test == reading.R1R2 {
					text = "0.11"
				}
				if way == 2 && slot.Test == reading.Zs {
					text = "4.60" // above the limit of a B32
				}
				if text == "" {
					text = "1.0"
				}
				q = quantityOf(t, text, slot.Test.Unit())
			}
			w.say(slot, q, true)
		}
	}
	return w
}

// reviewSmall is a client at the small job, whose session is over.
func reviewSmall(t testing.TB) (c *client, job, dir string) {
	t.Helper()
	dir = t.TempDir()
	w := small(t, dir)
	w.do(nil, record.Event{Kind: record.Finished})
	w.close()
	return serve(t, dir), "/job/" + jobcache.IDOf("SMALL-1"), dir
}

func snapshot(c *client, job string) *seen {
	c.t.Helper()
	s, err := c.server.s.Jobs.Open(c.t.Context(), strings.TrimPrefix(job, "/job/"))
	if err != nil {
		c.t.Fatal(err)
	}
	return c.server.s.gallery.of(s)
}

// zs is the place of the reading that fails.
var zs = record.Slot{Board: 1, Way: 2, Test: reading.Zs}

func formFor(slot record.Slot, replaces int64, more ...string) url.Values {
	f := url.Values{"board": {strconv.Itoa(slot.Board)}, "way": {strconv.Itoa(slot.Way)}, "test": {string(slot.Test)}, "position": {strconv.Itoa(slot.Position)},
		"replaces": {strconv.FormatInt(replaces, 10)}, "back": {"queue"}, "reason": {"Read from the instrument's memory"}, "by": {"qx"}}
	for i := 0; i+1 < len(more); i += 2 {
		f.Set(more[i], more[i+1])
	}
	return f
}

func TestCorrecting(t *testing.T) {
	c, job, _ := reviewSmall(t)
	old, _ := snapshot(c, job).State.Latest(zs)
	if old.Verdict.Result != check.Fail {
		t.Fatalf("the reading to be corrected is %v", old)
	}
	before := events(c, job)
	// What is wrong is said, with what was written, and nothing is changed.
	for name, f := range map[string]url.Values{
		"is not a figure":       formFor(zs, old.ConfirmedID, "value", "zero point four six"),
		"Nothing was changed":   formFor(zs, old.ConfirmedID, "value", "-1"),
		"There is no reason":    formFor(zs, old.ConfirmedID, "value", "0.46", "reason", "  "),
		"There are no initials": formFor(zs, old.ConfirmedID, "value", "0.46", "by", ""),
		"are no initials":       formFor(zs, old.ConfirmedID, "value", "0.46", "by", "Q1"),
		"more than 500 char":    formFor(zs, old.ConfirmedID, "value", "0.46", "reason", strings.Repeat("a", 501)),
		"stands there already":  formFor(zs, old.ConfirmedID, "value", "4.60"),
		"cannot be seen":        formFor(zs, old.ConfirmedID, "value", "0.46", "reason", "left\u202eright"),
	} {
		code, page := c.post(job+"/edit", f)
		if code != http.StatusUnprocessableEntity || !strings.Contains(text(page), name) {
			t.Errorf("%s: %d, %s", name, code, text(page))
		}
		if !strings.Contains(page, `value="`+printable.Line(strings.TrimSpace(f.Get("value")))+`"`) {
			t.Errorf("%s: what was written is lost", name)
		}
	}
	if n := events(c, job); n != before {
		t.Errorf("the record has %d events, not %d", n, before)
	}
	// As a person writes it: with the unit, small letters.
	code, page := c.correct(job, formFor(zs, old.ConfirmedID, "value", " 0.46 Ω", "n", "1"))
	if code != http.StatusSeeOther {
		t.Fatalf("correcting gave %d: %s", code, text(page))
	}
	s := snapshot(c, job)
	now, ok := s.State.Latest(zs)
	if !ok || now.Quantity.String() != "0.46 ohm" || !now.Edited || now.By != "QX" || now.Replaces != old.ConfirmedID || now.Verdict.Result != check.Pass {
		t.Errorf("there is %v now", now)
	}
	way := text(c.get(job + "/way/1/2"))
	for _, want := range []string{"0.46 Ω", "Put here by QX on review: Read from the instrument's memory", "Readings that no longer stand", "4.60 Ω"} {
		if !strings.Contains(strings.ReplaceAll(way, "&#39;", "'"), want) {
			t.Errorf("the way does not say %q: %s", want, way)
		}
	}
	if page := c.get(job + "/session?only=review"); !strings.Contains(text(page), "Corrected by QX") {
		t.Errorf("the session does not tell of the review: %s", text(page))
	}
	// The initials are offered again.
	if page := c.get(job + "/edit?board=1&way=1&test=Zs"); !strings.Contains(page, `value="QX"`) {
		t.Error("the initials are not offered again")
	}
}

func TestTwoReviewers(t *testing.T) {
	c, job, _ := reviewSmall(t)
	old, _ := snapshot(c, job).State.Latest(zs)
	second := c.other()
	second.enter(c.server.s.Key)
	if code, page := c.correct(job, formFor(zs, old.ConfirmedID, "value", "0.46", "by", "AA", "reason", "Heard it")); code != http.StatusSeeOther {
		t.Fatalf("the first got %d: %s", code, text(page))
	}
	before := events(c, job)
	for _, action := range []string{"/edit", "/settle", "/withdraw"} {
		code, page := second.post(job+action, formFor(zs, old.ConfirmedID, "value", "0.64", "by", "BB", "reason", "Mine <b>"))
		if code != http.StatusConflict {
			t.Fatalf("%s of the second gave %d: %s", action, code, text(page))
		}
		for _, want := range []string{"Somebody changed this", "0.46", "Put there by AA", "Heard it", "BB: Mine &lt;b&gt;"} {
			if !strings.Contains(text(page), want) {
				t.Errorf("%s: the second is not shown %q: %s", action, want, text(page))
			}
		}
	}
	if events(c, job) != before {
		t.Error("what the second wanted was done without being asked again")
	}
	now, _ := snapshot(c, job).State.Latest(zs)
	if code, _ := second.correct(job, formFor(zs, now.ConfirmedID, "value", "0.64", "by", "BB", "reason", "Mine")); code != http.StatusSeeOther {
		t.Errorf("choosing his own gave %d", code)
	}
	// The first, who still has a page from before, takes off what is not there any more.
	now, _ = snapshot(c, job).State.Latest(zs)
	if code, _ := second.post(job+"/withdraw", formFor(zs, now.ConfirmedID, "by", "BB")); code != http.StatusSeeOther {
		t.Errorf("taking it off gave %d", code)
	}
	code, page := c.post(job+"/edit", formFor(zs, now.ConfirmedID, "value", "0.99", "by", "AA"))
	if code != http.StatusConflict || !strings.Contains(text(page), "taken off by BB") {
		t.Errorf("editing what was taken off gave %d: %s", code, text(page))
	}
}

// The whole way: refused while something is open, then signed, then a draft again.
func TestSigningOff(t *testing.T) {
	c, job, _ := reviewSmall(t)
	sign := func(more ...string) (int, string) {
		f := url.Values{"name": {"A. Reviewer"}, "by": {"ar"}, "agree": {"yes"}, "sum": {snapshot(c, job).Head}}
		for i := 0; i+1 < len(more); i += 2 {
			f.Set(more[i], more[i+1])
		}
		return c.post(job+"/sign", f)
	}
	open := snapshot(c, job).Queue()
	if len(open) == 0 {
		t.Fatal("nothing is open")
	}
	if page := text(c.get(job + "/sign")); !strings.Contains(page, "Not yet") || !strings.Contains(page, "Fails 1") || strings.Contains(page, "Your full name") {
		t.Errorf("the page offers to sign: %s", page)
	}
	code, page := sign()
	if code != http.StatusConflict || !strings.Contains(text(page), "board 1, way 2, Zs: fail") {
		t.Errorf("signing with something open gave %d: %s", code, text(page))
	}
	for range open {
		it := snapshot(c, job).Queue()[0]
		if code, page := c.post(job+"/settle", formFor(it.Slot, it.Of(), "reason", "Seen on site")); code != http.StatusSeeOther {
			t.Fatalf("settling %s gave %d: %s", it, code, text(page))
		}
	}
	if page := text(c.get(job + "/queue")); !strings.Contains(page, "Nothing is open") {
		t.Errorf("the queue says %s", page)
	}
	for _, bad := range [][]string{{"agree", ""}, {"name", " "}, {"name", "a\nb"}, {"by", "1"}} {
		if code, page := sign(bad...); code != http.StatusUnprocessableEntity {
			t.Errorf("%q: %d %s", bad, code, text(page))
		}
	}
	if code, page := sign("sum", "00"); code != http.StatusConflict || !strings.Contains(text(page), "changed since") {
		t.Errorf("signing a page of before gave %d: %s", code, text(page))
	}
	head := snapshot(c, job).Head
	if code, page := sign(); code != http.StatusSeeOther {
		t.Fatalf("signing gave %d: %s", code, text(page))
	}
	off := snapshot(c, job).State.Signed
	if off == nil || off.Name != "A. Reviewer" || off.By != "AR" || off.Sum != head {
		t.Fatalf("the record is signed off by %v", off)
	}
	if code, page := sign(); code != http.StatusUnprocessableEntity || !strings.Contains(text(page), "signed off") {
		t.Errorf("signing again gave %d: %s", code, text(page))
	}
	for _, path := range []string{"", "/sign", "/schedule"} {
		if page := text(c.get(job + path)); !strings.Contains(page, "igned off by A. Reviewer (AR)") {
			t.Errorf("%s does not say who signed: %s", path, page)
		}
	}
	r, _ := snapshot(c, job).State.Latest(zs)
	if code, _ := c.post(job+"/withdraw", formFor(zs, r.ConfirmedID)); code != http.StatusSeeOther {
		t.Fatalf("a change after signing gave %d", code)
	}
	if page := text(c.get(job + "/schedule")); !strings.Contains(page, "draft until") {
		t.Errorf("the schedule is no draft after a change: %s", page)
	}
}

// A job whose session was cut off is ended by the reviewer.
func TestEndingASession(t *testing.T) {
	dir := t.TempDir()
	small(t, dir).close()
	c, job := serve(t, dir), "/job/"+jobcache.IDOf("SMALL-1")
	if page := text(c.get(job + "/queue?kind=not+finished")); !strings.Contains(page, "The session was not ended") {
		t.Errorf("the queue says %s", page)
	}
	if code, page := c.post(job+"/finish", url.Values{"by": {"12"}}); code != http.StatusUnprocessableEntity || !strings.Contains(text(page), "initials") {
		t.Errorf("without initials: %d %s", code, text(page))
	}
	if code, page := c.post(job+"/finish", url.Values{"by": {"qx"}}); code != http.StatusSeeOther {
		t.Errorf("ending it gave %d: %s", code, text(page))
	}
	if s := snapshot(c, job); !s.State.Finished || s.Events[len(s.Events)-1].By != "QX" {
		t.Errorf("the last event is %v", s.Events[len(s.Events)-1])
	}
}

// While a session has the job, the review looks and does not touch.
func TestSessionRunning(t *testing.T) {
	dir := t.TempDir()
	w := small(t, dir)
	defer w.store.Close()
	c, job := serve(t, dir), "/job/"+jobcache.IDOf("SMALL-1")
	if page := text(c.get(job)); !strings.Contains(page, "session running") && !strings.Contains(c.get(job), "session running") {
		t.Errorf("the page does not say that a session runs: %s", page)
	}
	old, _ := w.state.Latest(zs)
	code, page := c.post(job+"/edit", formFor(zs, old.ConfirmedID, "value", "0.46"))
	if code != http.StatusConflict || !strings.Contains(text(page), "A session is running on this job") {
		t.Errorf("changing it gave %d: %s", code, text(page))
	}
	if !strings.Contains(page, `value="0.46"`) || !strings.Contains(page, `value="Read from the instrument&#39;s memory"`) {
		t.Errorf("what was written is lost: %s", text(page))
	}
	// What the session adds is there with the next look.
	w.say(record.Slot{Board: 1, Way: 1, Test: reading.Zs}, quantityOf(t, "1.23", reading.Ohm), true)
	if page := text(c.get(job + "/way/1/1")); !strings.Contains(page, "1.23") {
		t.Errorf("the new reading is not there: %s", page)
	}
}

// A job is deleted, renamed or replaced while it is open.
func TestJobGoesAway(t *testing.T) {
	c, job, dir := reviewSmall(t)
	old, _ := snapshot(c, job).State.Latest(zs)
	c.get(job)
	path := filepath.Join(dir, "SMALL-1.waycall")
	if err := os.Rename(path, path+".away"); err != nil {
		t.Fatal(err)
	}
	for _, p := range []string{"", "/way/1/2", "/session", "/queue", "/sign", "/schedule", "/schedule.pdf", "/sound/4"} {
		if a := c.do(c.request("GET", job+p, nil)); a.Code != http.StatusNotFound || !strings.Contains(a.Body.String(), "renamed, put away or deleted") {
			t.Errorf("%s gave %d: %s", p, a.Code, text(a.Body.String()))
		}
	}
	for _, p := range []string{"/edit", "/settle", "/withdraw", "/sign", "/finish"} {
		if code, page := c.post(job+p, formFor(zs, old.ConfirmedID, "value", "0.46")); code != http.StatusNotFound || !strings.Contains(page, "Nothing was changed") {
			t.Errorf("%s gave %d: %s", p, code, text(page))
		}
	}
	if page := text(c.get("/")); strings.Contains(page, "SMALL-1") {
		t.Errorf("the list still has it: %s", page)
	}
	// Another record lies there now: it is shown, not a mixture.
	other := begin(t, dir, testJob())
	other.close()
	if s := snapshot(c, job); len(s.Events) != 1 || len(s.State.Readings) != 0 {
		t.Errorf("of the new record there are %d events and %d readings", len(s.Events), len(s.State.Readings))
	}
	if err := os.Remove(path); err != nil {
		t.Fatal(err)
	}
	if err := os.Rename(path+".away", path); err != nil {
		t.Fatal(err)
	}
	if s := snapshot(c, job); len(s.State.Readings) == 0 {
		t.Error("the job is back, and its readings are not")
	}
}

// A sound that is damaged in the file costs that sound and nothing else.
func TestDamagedSound(t *testing.T) {
	c, job, dir := reviewSmall(t)
	r, _ := snapshot(c, job).State.Latest(zs)
	damage(t, filepath.Join(dir, "SMALL-1.waycall"), r.HeardID)
	sound := fmt.Sprintf("%s/sound/%d", job, r.HeardID)
	if a := c.do(c.request("GET", sound, nil)); a.Code != http.StatusUnprocessableEntity || !strings.Contains(a.Body.String(), "This sound is damaged") {
		t.Errorf("the sound gave %d: %s", a.Code, text(a.Body.String()))
	}
	for _, p := range []string{"/way/1/2", "/queue", fmt.Sprintf("/session?at=%d", r.HeardID)} {
		page := c.get(job + p)
		if !strings.Contains(page, "sound of this phrase is damaged") || strings.Contains(page, sound) {
			t.Errorf("%s does not say so: %s", p, text(page))
		}
		if !strings.Contains(page, "audio") && p != "/queue" {
			t.Errorf("%s lost the other sounds", p)
		}
	}
	if code, page := c.post(job+"/settle", formFor(zs, r.ConfirmedID)); code != http.StatusSeeOther {
		t.Errorf("letting it stand gave %d: %s", code, text(page))
	}
}

// damage changes a byte of a sound, as a bad disk would.
func damage(t testing.TB, path string, heard int64) {
	t.Helper()
	db, err := sql.Open("sqlite3", path)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	var trigger string
	if err := db.QueryRow("SELECT sql FROM sqlite_schema WHERE name = 'sounds_stay'").Scan(&trigger); err != nil {
		t.Fatal(err)
	}
	for _, do := range []string{"DROP TRIGGER sounds_stay", fmt.Sprintf("UPDATE sounds SET data = CAST(substr(data, 1, 60) || x'5555' || substr(data, 63) AS BLOB) WHERE event_id = %d", heard), trigger} {
		if _, err := db.Exec(do); err != nil {
			t.Fatal(err)
		}
	}
}

// A file among the jobs that is none is said to be none.
func TestBrokenFilesAmongJobs(t *testing.T) {
	c, job, dir := reviewSmall(t)
	for name, content := range map[string]string{"noise": "not a job at all", "empty": ""} {
		if err := os.WriteFile(filepath.Join(dir, name+".waycall"), []byte(content), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	page := text(c.get("/"))
	for _, want := range []string{"SMALL-1", "noise", "empty", "Cannot be read"} {
		if !strings.Contains(page, want) {
			t.Errorf("the list lacks %q: %s", want, page)
		}
	}
	if strings.Contains(page, dir) {
		t.Error("the list has the path of the folder")
	}
	if a := c.do(c.request("GET", "/job/"+jobcache.IDOf("noise"), nil)); a.Code != http.StatusInternalServerError || !strings.Contains(a.Body.String(), "cannot be opened") {
		t.Errorf("it gave %d: %s", a.Code, text(a.Body.String()))
	}
	c.get(job)
}

// A clock that goes back is said, and the order stays that of the record.
func TestClockGoesBack(t *testing.T) {
	dir := t.TempDir()
	w := small(t, dir)
	w.at = w.at.Add(-48 * time.Hour)
	w.say(record.Slot{Board: 1, Way: 1, Test: reading.Zs}, quantityOf(t, "1.23", reading.Ohm), true)
	w.at = w.at.Add(-30 * time.Minute)
	w.say(record.Slot{Board: 1, Way: 1, Test: reading.Zs}, quantityOf(t, "1.24", reading.Ohm), true)
	w.do(nil, record.Event{Kind: record.Finished})
	w.close()
	c, job := serve(t, dir), "/job/"+jobcache.IDOf("SMALL-1")
	if page := text(c.get(job + "/session?page=99")); !strings.Contains(page, "clock of the machine went back") {
		t.Errorf("the session does not say so: %s", page)
	}
	// The reviewer's clock may be behind the record, too.
	late := serve(t, dir, func(o *Options) { o.Now = func() time.Time { return morning.Add(-time.Hour) } })
	r, _ := snapshot(late, job).State.Latest(zs)
	if code, page := late.post(job+"/settle", formFor(zs, r.ConfirmedID)); code != http.StatusSeeOther {
		t.Errorf("a change by a clock that is behind gave %d: %s", code, text(page))
	}
}

// The sound is served whole and in parts, as players ask for it.
func TestSound(t *testing.T) {
	c, job, dir := reviewSmall(t)
	r, _ := snapshot(c, job).State.Latest(zs)
	path := fmt.Sprintf("%s/sound/%d", job, r.HeardID)
	st, err := store.OpenReadOnly(filepath.Join(dir, "SMALL-1.waycall"))
	if err != nil {
		t.Fatal(err)
	}
	defer st.Close()
	kept, err := st.Sound(t.Context(), r.HeardID)
	if err != nil {
		t.Fatal(err)
	}
	whole := c.do(c.request("GET", path, nil))
	if whole.Code != http.StatusOK || whole.Body.String() != string(kept) {
		t.Fatalf("%d, %d bytes of %d", whole.Code, whole.Body.Len(), len(kept))
	}
	q := c.request("GET", path, nil)
	q.Header.Set("Range", "bytes=100-199")
	if part := c.do(q); part.Code != http.StatusPartialContent || part.Body.String() != string(kept[100:200]) {
		t.Errorf("a part gave %d and %d bytes", part.Code, part.Body.Len())
	}
}

// More jobs than are kept in memory are listed and opened all the same.
func TestManyJobs(t *testing.T) {
	dir := t.TempDir()
	for i := range jobcache.Most + 3 {
		job := testJob()
		job.Reference = fmt.Sprintf("JOB-%d", i)
		w := begin(t, dir, job)
		w.at = w.at.Add(time.Duration(i) * time.Hour)
		w.do(nil, record.Event{Kind: record.Said, Text: "Ready."})
		w.close()
	}
	c := serve(t, dir)
	for range 3 {
		page := text(c.get("/"))
		for i := range jobcache.Most + 3 {
			c.get("/job/" + jobcache.IDOf(fmt.Sprintf("JOB-%d", i)))
			if !strings.Contains(page, fmt.Sprintf("JOB-%d", i)) {
				t.Fatalf("the list lacks job %d: %s", i, page)
			}
		}
		// What was written last comes first.
		if strings.Index(page, "JOB-6") > strings.Index(page, "JOB-0") {
			t.Errorf("the order is %s", page)
		}
	}
}

// A reading was read back when the session was cut off: the queue offers it, and the
// reviewer puts it on the schedule or lets it go.
func TestReadingThatWaits(t *testing.T) {
	dir := t.TempDir()
	w := small(t, dir)
	slot, q := record.Slot{Board: 1, Way: 1, Test: reading.Zs}, quantityOf(t, "1.23", reading.Ohm)
	w.do(w.sound(0.5), heard("reading", "one point two three"), record.Event{Kind: record.Proposed, Slot: &slot, Quantity: &q, Verdict: verdictOf(w, slot, q), HeardID: w.state.LastID + 1})
	w.close()
	c, job := serve(t, dir), "/job/"+jobcache.IDOf("SMALL-1")
	page := c.get(job + "/queue?kind=not+confirmed")
	for _, want := range []string{"never confirmed: 1.23 Ω", `name="value" class="big" value="1.23"`, "one point two three"} {
		if !strings.Contains(page, want) && !strings.Contains(text(page), want) {
			t.Errorf("the queue lacks %q: %s", want, text(page))
		}
	}
	old, _ := snapshot(c, job).State.Latest(slot)
	if code, page := c.correct(job, formFor(slot, old.ConfirmedID, "value", "1.23")); code != http.StatusSeeOther {
		t.Fatalf("%d: %s", code, text(page))
	}
	if now, _ := snapshot(c, job).State.Latest(slot); now.Quantity != q || snapshot(c, job).State.Pending != nil {
		t.Errorf("there is %v, and %v waits", now.Quantity, snapshot(c, job).State.Pending)
	}
}

// Many reviewers send the same change at once, while others look: one is taken, the
// others are shown it.
func TestReviewersAtOnce(t *testing.T) {
	c, job, _ := reviewSmall(t)
	old, _ := snapshot(c, job).State.Latest(zs)
	before := events(c, job)
	var all sync.WaitGroup
	codes, forms := make([]int, 6), make([]url.Values, 6)
	for i := range forms { // each is shown his figure before any is stored
		_, page := c.post(job+"/edit", formFor(zs, old.ConfirmedID, "value", fmt.Sprintf("0.%d", 40+i)))
		forms[i] = shownForm(page)
	}
	for i := range codes {
		all.Go(func() {
			codes[i] = c.do(c.request("POST", job+"/edit", forms[i])).Code
		})
		all.Go(func() {
			for _, path := range pagesOf(job)[:7] {
				c.do(c.request("GET", path, nil))
			}
		})
	}
	all.Wait()
	slices.Sort(codes)
	if want := []int{303, 409, 409, 409, 409, 409}; !slices.Equal(codes, want) {
		t.Errorf("they got %v", codes)
	}
	if now := events(c, job); now != before+1 {
		t.Errorf("%d events were added", now-before)
	}
}

// What was noted and observed is on the pages of its way, of the boards and of the
// session, danger on top of the queue, and how a reading was accepted beside it; what
// was taken back is on the time line alone.
func TestNotesAndObservations(t *testing.T) {
	dir := t.TempDir()
	w := small(t, dir)
	job := w.state.Job
	free := func(text string) record.Event {
		return record.Event{Kind: record.Heard, Phrase: &record.Phrase{Outcome: "note", Text: text, Words: map[string]string{"whisper": text}}}
	}
	said := func(e record.Event) {
		id := w.state.LastID + 1
		e.HeardID = id
		w.do(w.sound(1), free(e.Text), e)
	}
	w.do(nil, record.Event{Kind: record.Opened, Job: &job, Habit: record.Agreed, Tester: "EF"})
	way := func(n int) *record.Slot { return &record.Slot{Board: 1, Way: n} }
	said(record.Event{Kind: record.Observed, Slot: way(1), Code: "C1", Text: "a live part can be <b>touched</b>"})
	first := w.state.LastID
	said(record.Event{Kind: record.Observed, Slot: way(0), Code: "C1", Text: "the cover is off"})
	said(record.Event{Kind: record.Noted, Slot: way(1), Text: "the client", Of: first})
	said(record.Event{Kind: record.Observed, Slot: way(0), Code: "C3", Text: "no label on the board"})
	said(record.Event{Kind: record.Noted, Slot: way(1), Text: "the loft hatch was stuck"})
	said(record.Event{Kind: record.Noted, Slot: way(1), Text: "said of the wrong way"})
	w.do(nil, record.Event{Kind: record.Withdrawn, Of: w.state.LastID})
	slot, q := record.Slot{Board: 1, Way: 2, Test: reading.LN}, quantityOf(t, ">999", reading.Megohm)
	id := w.state.LastID + 1
	w.do(w.sound(1), heard("reading", "over range"), record.Event{Kind: record.Proposed, Slot: &slot, Quantity: &q, Verdict: verdictOf(w, slot, q), HeardID: id})
	w.do(nil, record.Event{Kind: record.Confirmed, Answer: record.Accepted})
	slot.Test, id = reading.LNE, w.state.LastID+1
	w.do(w.sound(1), heard("reading", "over range"), record.Event{Kind: record.Proposed, Slot: &slot, Quantity: &q, Verdict: verdictOf(w, slot, q), HeardID: id})
	w.do(nil, record.Event{Kind: record.Tapped, Text: "confirm"}, record.Event{Kind: record.Confirmed, Answer: record.ByKey})
	w.do(nil, record.Event{Kind: record.Finished})
	w.close()
	c := serve(t, dir)
	base := "/job/" + jobcache.IDOf("SMALL-1")
	// The gravest first, and a note says that it is one.
	if page := text(c.get(base)); !regexp.MustCompile(`(?s)C1, Danger.*C3, Improvement.*Note.*the loft hatch`).MatchString(page) {
		t.Errorf("the order of what was remarked is not that of its weight: %s", page)
	}
	for path, want := range map[string][]string{
		"":                {"a live part can be", "no label on the board", "the loft hatch was stuck", "C3, Improvement recommended"},
		"/way/1/1":        {"a live part can be", "the loft hatch was stuck", "C1, Danger present", "Told: the client. Noted there afterwards: The loft hatch was stuck."},
		"/way/1/0":        {"no label on the board", "It is not said who was told. No note says what was done about it."},
		"/way/1/2":        {"Accepted when the next reading began; it was not confirmed aloud. Tested by EF.", "Confirmed by a tap of the key, not aloud. Tested by EF."},
		"/queue":          {"Danger was observed", "a live part can be", "Told: the client."},
		"/session":        {"How the time went", "The tester spoke", " phrases"},
		"/session?page=9": {"Observation C1, way 1: a live part", "Note, way 1: the loft hatch", "Taken back: said of the wrong way", "Tested by EF", "was accepted as this one began", "Key tapped: confirm", "Confirmed by the key and stored"},
	} {
		page := c.get(base + path)
		if strings.Contains(page, "<b>touched") {
			t.Errorf("%s has the text as it came", path)
		}
		for _, w := range want {
			if !strings.Contains(text(page), w) {
				t.Errorf("%s: %q is not in %s", path, w, text(page))
			}
		}
		if strings.Contains(page, "said of the wrong way") != (path == "/session?page=9") {
			t.Errorf("%s: what was taken back is where it should not be, or the other way round", path)
		}
	}
}
