package browser

import (
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/chromedp/chromedp/kb"
)

// kindOf is the kind of a page: its address without what tells jobs, ways and places
// in a list apart.
func kindOf(path string) string {
	u, err := url.Parse(path)
	if err != nil {
		return path
	}
	parts := strings.Split(u.Path, "/")
	if len(parts) > 2 {
		parts[2] = "JOB"
	}
	// Of the ways, the board itself and those that have what others have not: remarks, work
	// in between, a test left out, a doubt, nothing at all.
	if len(parts) == 6 && parts[3] == "way" && !slices.Contains([]string{"0", "3", "5", "7", "9", "10"}, parts[5]) {
		parts[5] = "N"
	}
	var query []string
	for name, values := range u.Query() {
		switch name {
		case "kind", "only", "test":
			name += "=" + values[0]
		}
		query = append(query, name)
	}
	slices.Sort(query)
	return strings.Join(parts, "/") + "?" + strings.Join(query, "&")
}

// pages are the addresses that can be reached by links from where b is, one or a few
// of each kind.
func pages(b *tab) []string {
	b.t.Helper()
	var all []string
	kinds, next := map[string]int{}, []string{eval[string](b, "location.pathname")}
	for len(next) > 0 && len(all) < 60 {
		at := next[0]
		next = next[1:]
		all = append(all, at)
		base := eval[string](b, "location.origin")
		b.open(base + at)
		for _, link := range eval[[]string](b, `[...document.querySelectorAll("a[href]:not([download])")].filter(a => a.origin === location.origin).map(a => a.pathname + a.search)`) {
			kind := kindOf(link)
			if kinds[kind]++; kinds[kind] == 1 && !slices.Contains(next, link) && !slices.Contains(all, link) {
				next = append(next, link)
			}
		}
	}
	return all
}

// Every page that a link leads to, on a phone, a tablet and a wide screen, light and
// dark: nothing to scroll to the side, and nothing that shuts people out.
func TestEveryPage(t *testing.T) {
	dir := finished(t)
	s := serve(t, dir)
	b := newTab(t, 1440, 900)
	s.enter(b)
	all := pages(b)
	seen := map[string]bool{}
	for _, p := range all {
		seen[kindOf(p)] = true
	}
	for _, must := range []string{"/?", "/job/JOB?", "/job/JOB/way/1/0?", "/job/JOB/way/1/3?", "/job/JOB/session?", "/job/JOB/queue?", "/job/JOB/sign?", "/job/JOB/schedule?", "/live/JOB?"} {
		if !seen[must] {
			t.Errorf("no link leads to %s; there are links to %v", must, all)
		}
	}
	t.Logf("%d pages", len(all))
	running := t.TempDir()
	recorded(t, running, until(t, wayFiveFails))
	r := serve(t, running)
	rb := newTab(t, 1440, 900)
	r.enter(rb)
	id := jobID(rb)
	for _, p := range []string{"/live/" + id, "/job/" + id, "/job/" + id + "/queue", "/job/" + id + "/sign"} {
		look(rb, r.url+p)
	}
	for _, p := range all {
		look(b, s.url+p)
	}
}

// look looks at one page in each scheme and width.
func look(b *tab, address string) {
	b.t.Helper()
	u, err := url.Parse(address)
	if err != nil {
		b.t.Fatal(err)
	}
	b.t.Run(strings.ReplaceAll(strings.TrimPrefix(u.RequestURI(), "/"), "/", "_"), func(t *testing.T) {
		was := b.t
		b.t = t
		defer func() { b.t = was }()
		b.open(address)
		for _, c := range []struct {
			scheme        string
			width, height int64
		}{{"light", 1440, 900}, {"dark", 360, 740}, {"light", 820, 1180}, {"dark", 640, 450}} { // the last is 200 % zoom at 1280
			b.size(c.width, c.height)
			b.scheme(c.scheme)
			b.until(fmt.Sprintf("innerWidth === %d && matchMedia('(prefers-color-scheme: %s)').matches", c.width, c.scheme))
			if wide := eval[string](b, `(() => {
				const width = document.documentElement.clientWidth;
				if (document.documentElement.scrollWidth <= width && document.body.scrollWidth <= width) return "";
				const out = [...document.querySelectorAll("body *")].filter(e => e.getBoundingClientRect().right > width + 1);
				return out.slice(0, 5).map(e => e.tagName + "." + (e.getAttribute("class") || "")).join(", ") || "the page";
			})()`); wide != "" {
				t.Errorf("%s at %d px: it scrolls sideways: %s", address, c.width, wide)
			}
			if small := eval[[]string](b, `[...document.querySelectorAll("a.button, button, summary, .tabs a, input:not([type=hidden]):not([type=checkbox]), select")].filter(e => {
				const r = e.getBoundingClientRect();
				return r.width > 0 && r.height > 0 && (r.height < 44 || r.width < 44);
			}).map(e => e.outerHTML.slice(0, 120))`); len(small) > 0 {
				t.Errorf("%s at %d px: too small for a finger: %s", address, c.width, strings.Join(small, "\n\t"))
			}
			for _, fault := range b.shutsOut() {
				t.Errorf("%s in %s at %d px: %s", address, c.scheme, c.width, fault)
			}
		}
		b.size(1440, 900)
		b.scheme("light")
	})
}

// The pages that no link leads to: what is wrong, what is not there, what is damaged.
func TestPagesOfTrouble(t *testing.T) {
	empty := serve(t, t.TempDir())
	b := newTab(t, 1440, 900)
	empty.enter(b)
	look(b, empty.url+"/")

	dir := finished(t)
	if err := os.WriteFile(filepath.Join(dir, "<b>bad\u202e.waycall"), []byte("not a job"), 0o600); err != nil {
		t.Fatal(err)
	}
	s := serve(t, dir)
	c := newTab(t, 1440, 900)
	c.may("status of 4")
	c.may("status of 5")
	s.enter(c)
	look(c, s.url+"/")
	c.open(s.url + "/")
	bad := eval[string](c, `[...document.querySelectorAll("a[href^='/job/']")].map(a => a.getAttribute("href")).find(h => true)`)
	id := jobID(c)
	for _, p := range []string{bad, "/nothing", "/job/0123456789abcdef", "/job/" + id + "/way/1/99", "/job/" + id + "/way/9/9", "/job/" + id + "/sound/1", "/job/" + id + "/sound/x", "/live/0123456789abcdef", "/enter/wrong"} {
		look(c, s.url+p)
	}
	// A form with something wrong in it.
	c.open(s.url + "/job/" + id + "/queue")
	c.keys("w")
	c.until("document.activeElement.matches('details[data-action=w] input')")
	c.run("document.activeElement.form.noValidate = true")
	c.leave(func() { c.keys(kb.Enter) })
	c.has("Nothing was changed")
	for _, scheme := range []string{"light", "dark"} {
		c.scheme(scheme)
		for _, fault := range c.shutsOut() {
			t.Errorf("a form with something wrong, %s: %s", scheme, fault)
		}
	}
	// The job is deleted while the form is open.
	if err := os.Remove(filepath.Join(dir, terrace)); err != nil {
		t.Fatal(err)
	}
	c.write("#reason-withdraw", "not this circuit")
	c.run("document.querySelector('#by-withdraw').value = 'JE'")
	c.leave(func() { c.run("document.querySelector('#by-withdraw').form.requestSubmit()") })
	c.has("This job is not here", "Nothing was changed", "list of jobs")
	// Who has no session.
	d := newTab(t, 1440, 900)
	d.may("status of 403")
	look(d, s.url+"/job/"+id)
	url, _, _ := serveLAN(t, dir)
	e := newTab(t, 360, 740)
	e.strangers()
	look(e, url+"/pair")
}

// The sound of a phrase plays: the browser decodes it, and its clock goes on.
func TestSoundPlays(t *testing.T) {
	s := serve(t, finished(t))
	b := newTab(t, 1440, 900)
	s.enter(b)
	b.open(s.url + "/job/" + jobID(b) + "/session")
	b.until("document.querySelectorAll('[data-play-button]').length > 5")
	b.click("[data-play-button]")
	b.until("document.querySelector('audio').currentTime > 0.2")
	if d := eval[float64](b, "document.querySelector('audio').duration"); d < 0.5 || d > 10 {
		t.Errorf("the phrase is %g s long", d)
	}
	// Another one stops it.
	b.run("document.querySelectorAll('[data-play-button]')[1].click()")
	b.until("document.querySelectorAll('audio')[1].currentTime > 0.1 && document.querySelector('audio').paused")
	// To the end, and from the start again.
	b.until("document.querySelectorAll('audio')[1].ended")
	b.run("document.querySelectorAll('[data-play-button]')[1].click()")
	b.until("!document.querySelectorAll('audio')[1].paused && document.querySelectorAll('audio')[1].currentTime > 0.05")
	// Browsers go to any place of it by ranges.
	if got := eval[string](b, `fetch(document.querySelector("audio").src, {headers: {Range: "bytes=44-143"}}).then(async r => r.status + " " + (await r.arrayBuffer()).byteLength + " " + r.headers.get("content-type"))`); got != "206 100 audio/wav" {
		t.Errorf("a range gives %s", got)
	}
}

// From open to signed: the sign-off is refused and says what is open, a reading is
// corrected with a reason, what was left out is let stand, and then it is signed.
func TestReviewFlow(t *testing.T) {
	s := serve(t, finished(t))
	b := newTab(t, 820, 1180)
	s.enter(b)
	b.has("TER-0107", "18 of 19")
	id := jobID(b)
	job := s.url + "/job/" + id
	b.follow("a[href='/job/" + id + "']")
	b.open(job + "/sign")
	b.has("Not yet", "open")
	if eval[bool](b, `!!document.querySelector("form[action$='/sign']")`) {
		t.Error("there is a form to sign with")
	}
	// Nor by force.
	b.may("status of 4")
	refused := eval[string](b, `fetch("/job/`+id+`/sign", {method: "POST", body: new URLSearchParams({name: "Jo Example", by: "JE", agree: "yes", sum: "0"})}).then(async r => r.status + " " + await r.text())`)
	if !strings.HasPrefix(refused, "4") || !strings.Contains(refused, "open") {
		t.Errorf("signed by force: %.300s", refused)
	}

	b.open(job + "/queue")
	b.has("Outside lighting and shed", "14.2", "Investigate")
	b.until("document.querySelector('[data-play-button]')")
	b.click("[data-play-button]")
	b.until("document.querySelector('audio').currentTime > 0.1")

	// A form that is not filled in goes nowhere, and one with nonsense says so.
	b.keys("c")
	b.until("document.activeElement.id === 'value'")
	b.run("document.activeElement.select()")
	b.keys("seven")
	b.write("#reason-edit", "looked again at the sheet")
	b.write("#by-edit", "JE")
	b.leave(func() { b.keys(kb.Enter) })
	b.has("Nothing was changed")
	b.until("document.querySelector('#value').value === 'seven' && document.querySelector('#reason-edit').value !== ''")
	b.run("document.querySelector('#value').focus(); document.querySelector('#value').select()")
	b.keys(">999")
	b.leave(func() { b.keys(kb.Enter) })
	b.has("Nothing is stored yet", ">999", "greater than nine nine nine megohms", "14.2")
	b.confirm()
	b.has("Stored: way 9", ">999", "pass")
	b.open(job + "/way/1/9")
	b.has(">999", "JE", "looked again at the sheet", "14.2", "Readings that no longer stand")

	// What was corrected aloud is listened to and let stand.
	for _, way := range []string{"Upstairs lighting", "Kitchen ring", "Smoke and heat alarms"} {
		b.open(job + "/queue")
		b.has(way, "Corrected")
		b.keys("s")
		b.until("document.activeElement.matches('details[data-action=s] input')")
		b.keys("listened to the recording: heard as stored")
		b.leave(func() { b.keys(kb.Enter) })
	}
	b.open(job + "/queue")
	b.has("Immersion heater", "Left out")
	b.keys("s")
	b.until("document.activeElement.matches('details[data-action=s] input')")
	b.keys("equipment cannot be taken off the circuit")
	b.leave(func() { b.keys(kb.Enter) })
	b.open(job + "/queue")
	b.has("Nothing is open")

	b.open(job + "/sign")
	b.write("#name", "Jo Example")
	b.run("document.querySelector('#by').value = 'JE'; document.querySelector('#agree').checked = true")
	b.leave(func() { b.run("document.querySelector('#by').form.requestSubmit()") })
	b.open(job + "/sign")
	b.has("Signed off by Jo Example (JE)")
	look(b, job+"/sign")
	b.open(job + "/schedule")
	b.has("Signed off by Jo Example (JE)")
	b.open(s.url + "/")
	b.has("signed")
	for _, file := range eval[[]string](b, `fetch("/job/`+id+`/schedule").then(r => r.text()).then(t => [...new DOMParser().parseFromString(t, "text/html").querySelectorAll("a[download]")].map(a => a.getAttribute("href")))`) {
		if got := eval[string](b, `fetch("`+file+`").then(async r => r.status + " " + ((await r.arrayBuffer()).byteLength > 1000))`); got != "200 true" {
			t.Errorf("%s gives %s", file, got)
		}
	}

	// A change after that makes it a draft again.
	b.open(job + "/way/1/1")
	b.follow("a[href*='/edit']")
	b.keys("w")
	b.until("document.activeElement.matches('details[data-action=w] input')")
	b.keys("the wrong circuit was connected")
	b.leave(func() { b.keys(kb.Enter) })
	b.open(job + "/schedule")
	b.has("draft")
}

// Two reviewers at one reading: the second sees what the first did, and chooses.
func TestTwoReviewers(t *testing.T) {
	s := serve(t, finished(t))
	first, second := newTab(t, 1440, 900), newTab(t, 1440, 900)
	second.may("status of 4")
	for _, b := range []*tab{first, second} {
		s.enter(b)
		b.open(s.url + "/job/" + jobID(b) + "/queue")
		b.has("14.2")
	}
	change := func(b *tab, value, by string) {
		b.keys("c")
		b.until("document.activeElement.id === 'value'")
		b.run("document.activeElement.value = ''")
		b.keys(value)
		b.write("#reason-edit", "read from the instrument's memory")
		b.run(fmt.Sprintf("document.querySelector('#by-edit').value = %q", by))
		b.leave(func() { b.keys(kb.Enter) })
	}
	change(first, "142", "AB")
	first.confirm()
	change(second, "41.2", "CD")
	second.has("Somebody changed this while you were looking", "142", "AB", "41.2", "CD")
	for _, fault := range second.shutsOut() {
		t.Error(fault)
	}
	second.leave(func() { second.run("document.querySelector('form button.main').click()") })
	second.confirm()
	second.open(s.url + "/job/" + jobIDOf(second) + "/way/1/9")
	second.has("41.2", "142", "14.2")
}

// confirm says yes to the figure that is shown.
func (b *tab) confirm() {
	b.t.Helper()
	b.has("Nothing is stored yet")
	b.leave(func() { b.run("document.querySelector('form[data-confirm] button').click()") })
}

// jobIDOf is the job of the page that b shows.
func jobIDOf(b *tab) string {
	b.t.Helper()
	return strings.Split(eval[string](b, "location.pathname"), "/")[2]
}

// By the keyboard alone: every page's controls can be reached with Tab, in an order
// that follows the page, each with a focus that is seen; and the queue can be worked.
func TestKeyboardOnly(t *testing.T) {
	s := serve(t, finished(t))
	b := newTab(t, 1440, 900)
	s.enter(b)
	id := jobID(b)
	for _, path := range []string{"/", "/job/" + id, "/job/" + id + "/queue", "/job/" + id + "/session", "/job/" + id + "/schedule", "/job/" + id + "/way/1/9", "/live/" + id} {
		b.open(s.url + path)
		want := eval[int](b, `[...document.querySelectorAll("a[href], button, summary, input:not([type=hidden]), select")].filter(e => e.tabIndex >= 0 && e.checkVisibility({visibilityProperty: true})).length`)
		b.run(`window.walked = []; document.addEventListener("focusin", (e) => {
			const r = e.target.getBoundingClientRect(), style = getComputedStyle(e.target);
			walked.push([e.target.outerHTML.slice(0, 80), style.outlineStyle !== "none" && parseFloat(style.outlineWidth) >= 2 && r.width > 0]);
		})`)
		b.keys(strings.Repeat("\t", min(want, 60)))
		walked := eval[[][2]any](b, "walked")
		if len(walked) < min(want, 60) {
			t.Errorf("%s: Tab came to %d of %d controls", path, len(walked), want)
		}
		for _, w := range walked {
			if w[1] != true {
				t.Errorf("%s: the focus is not seen on %v", path, w[0])
			}
		}
	}
	// The way past the head of the page.
	b.open(s.url + "/job/" + id)
	b.keys("\t\r")
	b.until("document.activeElement.id === 'main'")

	// j and k go through the queue, space plays, Escape leaves a form.
	b.open(s.url + "/job/" + id + "/queue")
	b.leave(func() { b.keys("j") })
	b.has("2 of 5")
	b.leave(func() { b.keys("k") })
	b.has("1 of 5")
	b.keys(" ")
	b.until("document.querySelector('[data-current] audio').currentTime > 0.1") // and not that of a danger above it
	b.keys(" ")
	b.until("document.querySelector('[data-current] audio').paused")
	b.keys("w")
	b.until("document.activeElement.matches('details[data-action=w][open] input')")
	b.keys("jk s c") // written, not obeyed
	b.until("document.activeElement.value === 'jk s c'")
	b.keys(kb.Escape)
	b.until("!document.querySelector('details.action[open]')")
	// j goes from phrase to phrase of the session.
	b.open(s.url + "/job/" + id + "/session")
	b.keys("jj")
	b.until("document.querySelectorAll('[data-item]')[1] === document.activeElement")
}
