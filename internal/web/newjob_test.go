package web

import (
	"maps"
	"net/http"
	"net/url"
	"os"
	"reflect"
	"strings"
	"testing"

	"golang.org/x/net/html"

	"waycall/internal/board"
	"waycall/internal/board/boardtest"
	"waycall/internal/web/jobcache"
)

// formOf is what a browser without scripts would send of the form of a page with a field
// of this name in it.
func formOf(t testing.TB, page, field string) url.Values {
	t.Helper()
	root, err := html.Parse(strings.NewReader(page))
	if err != nil {
		t.Fatal(err)
	}
	attr := func(n *html.Node, key string) (string, bool) {
		for _, a := range n.Attr {
			if a.Key == key {
				return a.Val, true
			}
		}
		return "", false
	}
	var found url.Values
	for n := range root.Descendants() {
		if n.Type != html.ElementNode || n.Data != "form" {
			continue
		}
		form := url.Values{}
		for f := range n.Descendants() {
			name, _ := attr(f, "name")
			switch value, _ := attr(f, "value"); {
			case f.Type != html.ElementNode || name == "":
			case f.Data == "input":
				kind, _ := attr(f, "type")
				if _, on := attr(f, "checked"); kind != "checkbox" || on {
					form.Add(name, value)
				}
			case f.Data == "textarea":
				form.Add(name, "")
			case f.Data == "select":
				form.Add(name, "")
				for o := range f.Descendants() {
					if _, on := attr(o, "selected"); on {
						v, _ := attr(o, "value")
						form.Set(name, v)
					}
				}
			}
		}
		if form.Has(field) {
			found = form
		}
	}
	if found == nil {
		t.Fatalf("the page has no form with %s: %.600s", field, text(page))
	}
	return found
}

// begun begins a draft, and returns its path.
func (c *client) begun(form url.Values) string {
	c.t.Helper()
	a := c.do(c.request("POST", "/new", form))
	if a.Code != http.StatusSeeOther {
		c.t.Fatalf("%d: %s", a.Code, text(a.Body.String()))
	}
	return a.Header().Get("Location")
}

// Without scripts, a job goes by plain forms from a blank board to a record, which holds
// what a board file would say.
func TestSetUp(t *testing.T) {
	dir := t.TempDir()
	c := serve(t, dir)
	if page := c.get("/"); !strings.Contains(text(page), "There are no jobs here yet") || !strings.Contains(page, `href="/new"`) {
		t.Errorf("an empty folder says %s", text(page))
	}
	path := c.begun(url.Values{"from": {"blank"}, "ways": {"2"}})
	code, page := c.post(path, with(formOf(t, c.get(path), "version"), "do", "create"))
	if code != http.StatusUnprocessableEntity || !strings.Contains(text(page), "Reference is missing; add it.") || !strings.Contains(text(page), "Name of the board is missing") {
		t.Errorf("a blank one gave %d: %s", code, text(page))
	}
	form := formOf(t, c.get(path), "version")
	for name, value := range map[string]string{
		"reference": "NEW-1", "address": "1 Example Row", "date": "2026-03-14", "tester": "JW", "instrument.serial": "0012", "instrument.checked": "2026-02-02", "instrument.over_range": "999",
		"boards[0].name": "Hall", "boards[0].earthing": "TN-C-S", "boards[0].surge_protection": "true",
		"boards[0].ways[0].feeds": "Lights", "boards[0].ways[0].device.standard": "mcb", "boards[0].ways[0].device.type": "B", "boards[0].ways[0].device.rating": "31", "boards[0].ways[0].wiring": "radial",
	} {
		form.Set(name, value)
	}
	if code, _ := c.post(path, with(form, "do", "remove 0 1")); code != http.StatusSeeOther {
		t.Fatal(code)
	}
	page = c.get(path)
	if !strings.Contains(text(page), "Way 2 was taken off.") || !strings.Contains(text(page), "No device to BS EN 60898 has a rating of 31 A; read it off the device again") {
		t.Errorf("it says %s", text(page))
	}
	code, page = c.post(path, with(formOf(t, page, "version"), "do", "create", "boards[0].ways[0].device.rating", "6"))
	if code != http.StatusSeeOther {
		t.Fatalf("%d: %s", code, text(page))
	}
	snap, err := c.server.s.Jobs.Open(t.Context(), jobcache.IDOf("NEW-1"))
	if err != nil {
		t.Fatal(err)
	}
	want, err := board.Read(strings.NewReader(`
reference: NEW-1
address: 1 Example Row
date: 2026-03-14
tester: JW
instrument: {serial: "0012", checked: 2026-02-02, over_range: 999}
board:
  name: Hall
  earthing: TN-C-S
  voltage: 230
  surge_protection: true
  ways:
    - {way: 1, feeds: Lights, device: {standard: BS EN 60898, type: B, rating: 6}, wiring: radial}
`), "written")
	if err != nil || !reflect.DeepEqual(snap.State.Job, want) {
		t.Errorf("%v\n%+v\n%+v", err, snap.State.Job, want)
	}
	if a := c.do(c.request("GET", path, nil)); a.Code != http.StatusNotFound {
		t.Errorf("the draft is still there: %d", a.Code)
	}
	if page := c.get("/job/" + jobcache.IDOf("NEW-1") + "?new=1"); !strings.Contains(text(page), "waycall start NEW-1") {
		t.Errorf("it is not said what to do next: %s", text(page))
	}
}

// with returns a copy of a form with fields set.
func with(form url.Values, pairs ...string) url.Values {
	c := maps.Clone(form)
	for i := 0; i < len(pairs); i += 2 {
		c[pairs[i]] = []string{pairs[i+1]}
	}
	return c
}

// An earlier job gives its boards and not its reference, and they are to be compared; a
// reference that is taken is told at its field, and the record that has it stays.
func TestSetUpFromJob(t *testing.T) {
	dir := t.TempDir()
	job := boardtest.Read(t, "terrace.yaml")
	job.Boards[0].Ways[0].Method = "C" // the form shows no such field
	begin(t, dir, job).close()
	c := serve(t, dir)
	path := c.begun(url.Values{"from": {"job"}, "job": {jobcache.IDOf("TER-0107")}})
	page := c.get(path)
	form := formOf(t, page, "version")
	if form.Get("reference") != "" || form.Get("address") != job.Address || form.Get("boards[0].ways[3].feeds") != "Kitchen ring" || !strings.Contains(text(page), "reference_method") {
		t.Errorf("%v", form)
	}
	for _, try := range []struct {
		reference, compared, want string
		code                      int
	}{
		{"TER-0107", "yes", "a job TER-0107 is there already", http.StatusUnprocessableEntity},
		{"TER-0108", "", "tick that you have compared", http.StatusUnprocessableEntity},
		{"TER-0108", "yes", "", http.StatusSeeOther},
	} {
		f := with(form, "reference", try.reference, "do", "create")
		if try.compared != "" {
			f.Set("compared", try.compared)
		}
		code, page := c.post(path, f)
		if code != try.code || !strings.Contains(text(page), try.want) {
			t.Errorf("%s, compared %q: %d, %s", try.reference, try.compared, code, text(page))
		}
		if try.want != "" && !strings.Contains(page, `value="`+try.reference+`"`) {
			t.Error("what was written is lost")
		}
	}
	snap, err := c.server.s.Jobs.Open(t.Context(), jobcache.IDOf("TER-0108"))
	if err != nil || !reflect.DeepEqual(snap.State.Job.Boards, job.Boards) {
		t.Errorf("%v", err)
	}
}

// Two pages of one draft: the second is told, keeps what was written on it, and may put it
// in place of the first, which can be taken back.
func TestTwoEditors(t *testing.T) {
	c := serve(t, t.TempDir())
	path := c.begun(url.Values{"from": {"blank"}, "ways": {"1"}})
	mine, theirs := formOf(t, c.get(path), "version"), formOf(t, c.get(path), "version")
	if code, page := c.post(path, with(theirs, "do", "copy 0 0", "address", "theirs")); code != http.StatusSeeOther {
		t.Fatal(code, text(page))
	}
	code, page := c.post(path, with(mine, "do", "save", "address", "mine"))
	if code != http.StatusConflict || !strings.Contains(text(page), "This was changed on another page") || !strings.Contains(page, `value="mine"`) {
		t.Fatalf("%d: %s", code, text(page))
	}
	if code, _ := c.post(path, with(mine, "do", "drop")); code != http.StatusConflict {
		t.Errorf("to remove what another wrote gave %d", code)
	}
	if f := formOf(t, c.get(path), "version"); f.Get("address") != "theirs" || !f.Has("boards[0].ways[1].feeds") {
		t.Error("theirs is lost")
	}
	// A script is told the same.
	r := c.request("POST", path, with(mine, "do", "save", "address", "mine"))
	r.Header.Set("Accept", "application/json")
	if a := c.do(r); !strings.Contains(a.Body.String(), `"stale":true`) {
		t.Error(a.Body.String())
	}
	if code, _ := c.post(path, with(formOf(t, page, "version"), "do", "save")); code != http.StatusSeeOther {
		t.Error(code)
	}
	if f := formOf(t, c.get(path), "version"); f.Get("address") != "mine" {
		t.Error(f.Get("address"))
	}
	if code, _ := c.post(path, with(formOf(t, c.get(path), "version"), "do", "undo")); code != http.StatusSeeOther {
		t.Error(code)
	}
	if f := formOf(t, c.get(path), "version"); f.Get("address") != "theirs" {
		t.Errorf("taken back: %s", f.Get("address"))
	}
}

// What cannot be taken is told with what to do, and stays where it was written.
func TestSetUpRefuses(t *testing.T) {
	dir := t.TempDir()
	c := serve(t, dir)
	for want, form := range map[string]url.Values{
		"1 to 99":                         {"from": {"blank"}, "ways": {"1000000"}},
		"Choose another":                  {"from": {"job"}, "job": {"../etc"}},
		"one of the usual boards":         {"from": {"usual"}, "usual": {"none"}},
		"does not name the columns":       {"from": {"table"}, "table": {"some words"}},
		"Choose one of the ways to begin": {},
	} {
		if code, page := c.post("/new", form); code != http.StatusUnprocessableEntity || !strings.Contains(text(page), want) {
			t.Errorf("%v: %d, %s", form, code, text(page))
		}
	}
	if _, page := c.post("/new", url.Values{"from": {"table"}, "table": {"some words"}}); !strings.Contains(page, "some words") {
		t.Error("what was pasted is lost")
	}
	if code, page := c.post("/new", url.Values{"from": {"table"}, "table": {strings.Repeat("x", 8<<20)}}); code != http.StatusRequestEntityTooLarge {
		t.Errorf("8 MiB: %d, %s", code, text(page))
	}
	path := c.begun(url.Values{"from": {"blank"}, "ways": {"1"}})
	form := formOf(t, c.get(path), "version")
	if code, _ := c.post(path, with(form, "do", "save", "address", "Row\u202e 3")); code != http.StatusSeeOther {
		t.Error(code)
	}
	if page := c.get(path); !strings.Contains(text(page), "a character that does not print; write it as one line") {
		t.Errorf("a hidden character: %s", text(page))
	}
	for _, do := range []string{"copy 0 99", "up -1 0", "remove 5 0", "copy x", "unboard 0", "group 0", "add 9", "nonsense", "drop 1 2 3 4"} {
		c.post(path, with(formOf(t, c.get(path), "version"), "do", do))
		if do != "drop 1 2 3 4" && c.do(c.request("GET", path, nil)).Code != http.StatusOK {
			t.Fatalf("after %q the draft is gone", do)
		}
	}
	for _, gone := range []string{path, path + "/board.yaml", "/new/0000000000000000"} {
		if a := c.do(c.request("GET", gone, nil)); a.Code != http.StatusNotFound {
			t.Errorf("%s: %d", gone, a.Code)
		}
	}
	r := c.request("POST", "/new", url.Values{"from": {"blank"}, "ways": {"1"}})
	r.Header.Set("Sec-Fetch-Site", "cross-site")
	if a := c.do(r); a.Code != http.StatusForbidden {
		t.Errorf("from another site: %d", a.Code)
	}
	if left, err := os.ReadDir(dir + "/drafts"); err != nil || len(left) != 0 {
		t.Errorf("left behind: %v, %v", left, err)
	}
}

// The board file of a draft is read back as what it says.
func TestDraftFile(t *testing.T) {
	dir := t.TempDir()
	job := boardtest.Read(t, "terrace.yaml")
	begin(t, dir, job).close()
	c := serve(t, dir)
	path := c.begun(url.Values{"from": {"job"}, "job": {jobcache.IDOf("TER-0107")}})
	if a := c.do(c.request("GET", path+"/board.yaml", nil)); a.Code != http.StatusUnprocessableEntity || !strings.Contains(text(a.Body.String()), "Reference is missing") {
		t.Errorf("without a reference: %d", a.Code)
	}
	c.post(path, with(formOf(t, c.get(path), "version"), "do", "save", "reference", "TER-0107", "date", job.Date))
	a := c.do(c.request("GET", path+"/board.yaml", nil))
	got, err := board.Read(a.Body, "sent")
	if a.Code != http.StatusOK || err != nil || !reflect.DeepEqual(got, job) {
		t.Errorf("%d, %v\n%+v\n%+v", a.Code, err, got, job)
	}
}
