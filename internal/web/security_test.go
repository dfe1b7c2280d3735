package web

import (
	"bytes"
	"context"
	"io/fs"
	"log/slog"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"golang.org/x/net/html"

	"waycall/internal/reading"
	"waycall/internal/record"
	"waycall/internal/web/door"
	"waycall/internal/web/jobcache"
)

// office is a server over the workshop's job, which is over.
func office(t testing.TB, change ...func(*Options)) (c *client, job, dir string) {
	t.Helper()
	dir = t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, "WKS-0231.waycall"), whole(t), 0o600); err != nil {
		t.Fatal(err)
	}
	return serve(t, dir, change...), "/job/" + jobcache.IDOf("WKS-0231"), dir
}

var made []byte

// whole is the file of the workshop's job, which is over. It is made once.
func whole(t testing.TB) []byte {
	t.Helper()
	if made == nil {
		dir := t.TempDir()
		w := workshop(t, dir)
		w.do(nil, record.Event{Kind: record.Finished})
		w.close()
		var err error
		if made, err = os.ReadFile(filepath.Join(dir, "WKS-0231.waycall")); err != nil {
			t.Fatal(err)
		}
	}
	return made
}

// pagesOf are the pages of a job.
func pagesOf(job string) []string {
	return []string{"/", job, job + "/way/2/1", job + "/way/1/0", job + "/session", job + "/session?only=doubt&page=2", job + "/queue", job + "/queue?kind=missing&n=2",
		job + "/edit?board=2&way=1&test=Zs", job + "/sign", job + "/schedule", "/live/" + strings.TrimPrefix(job, "/job/")}
}

// settling is the form that lets the first thing of the queue stand.
func settling(c *client, job string) url.Values {
	c.t.Helper()
	page := c.get(job + "/queue")
	form := url.Values{"reason": {"Looked at on site"}, "by": {"QX"}}
	for _, name := range []string{"board", "way", "test", "position", "replaces"} {
		m := regexp.MustCompile(`name="` + name + `" value="([^"]*)"`).FindStringSubmatch(page)
		if m == nil {
			c.t.Fatalf("the queue has no %s", name)
		}
		form.Set(name, strings.ReplaceAll(m[1], "&#43;", "+"))
	}
	return form
}

// events is how many events a job has.
func events(c *client, job string) int {
	c.t.Helper()
	s, err := c.server.s.Jobs.Open(c.t.Context(), strings.TrimPrefix(job, "/job/"))
	if err != nil {
		c.t.Fatal(err)
	}
	return len(s.Events)
}

// A page of another site sends a form to this server, with the reviewer's cookie if
// the browser can be brought to send it.
func TestForgedRequests(t *testing.T) {
	c, job, _ := office(t)
	form, before := settling(c, job), events(c, job)
	for _, path := range []string{"/edit", "/settle", "/withdraw", "/sign", "/finish"} {
		for name, header := range map[string][2]string{
			"another site":         {"Sec-Fetch-Site", "cross-site"},
			"another port":         {"Sec-Fetch-Site", "same-site"},
			"an old browser":       {"Origin", "http://attacker.example"},
			"a page from a file":   {"Origin", "null"},
			"another local server": {"Origin", "http://127.0.0.1:9999"},
		} {
			r := c.request("POST", job+path, form)
			r.Header.Del("Sec-Fetch-Site")
			r.Header.Set(header[0], header[1])
			if a := c.do(r); a.Code != http.StatusForbidden {
				t.Errorf("%s from %s: %d", path, name, a.Code)
			}
		}
	}
	// A request that changes something is never one that a link or a picture makes.
	for _, path := range []string{"/settle", "/withdraw", "/finish"} {
		if a := c.do(c.request("GET", job+path+"?"+form.Encode(), nil)); a.Code == http.StatusOK {
			t.Errorf("GET %s is answered", path)
		}
	}
	c.do(c.request("GET", job+"/edit?"+form.Encode()+"&value=0.11", nil))
	if now := events(c, job); now != before {
		t.Errorf("the record has %d events, not %d", now, before)
	}
	if code, page := c.post(job+"/settle", form); code != http.StatusSeeOther || events(c, job) != before+1 {
		t.Errorf("the same form from its own page gave %d: %s", code, text(page))
	}
}

// The cookie is for this server alone and out of the reach of scripts.
func TestCookie(t *testing.T) {
	c, _, _ := office(t)
	if k := c.cookie; !k.HttpOnly || k.SameSite != http.SameSiteStrictMode || k.Path != "/" || k.Domain != "" || len(k.Value) < 32 {
		t.Errorf("the cookie is %v", k)
	}
	s, _, _ := office(t, func(o *Options) { o.Secure = true })
	if k := s.cookie; !k.Secure || !strings.HasPrefix(k.Name, "__Host-") {
		t.Errorf("the cookie of a server with TLS is %v", k)
	}
}

// active lists what in a page could run, be styled from within it, or lead elsewhere.
func active(page string) (found []string) {
	z := html.NewTokenizer(strings.NewReader(page))
	script := false
	for {
		switch kind := z.Next(); kind {
		case html.ErrorToken:
			return found
		case html.TextToken:
			if script && len(strings.TrimSpace(string(z.Text()))) > 0 {
				found = append(found, "a script in the page")
			}
		case html.StartTagToken, html.SelfClosingTagToken:
			tag := z.Token()
			script = tag.Data == "script" && kind == html.StartTagToken
			switch tag.Data {
			case "style", "iframe", "object", "embed", "base", "img":
				found = append(found, tag.String())
			}
			for _, a := range tag.Attr {
				value := strings.ToLower(strings.TrimSpace(a.Val))
				leads := a.Key == "src" || a.Key == "href" || a.Key == "action" || a.Key == "formaction" || a.Key == "srcset"
				if strings.HasPrefix(a.Key, "on") || a.Key == "style" || leads && (strings.HasPrefix(value, "//") || strings.Contains(strings.Split(value, "/")[0], ":")) {
					found = append(found, tag.String())
				}
			}
		default:
			script = false
		}
	}
}

// The policy forbids whatever a page does not load from here, and no page needs it
// loosened.
func TestPolicy(t *testing.T) {
	c, job, _ := office(t)
	for _, path := range append(pagesOf(job), "/nothing", "/job/none") {
		a := c.do(c.request("GET", path, nil))
		h, page := a.Header(), a.Body.String()
		csp := h.Get("Content-Security-Policy")
		if !strings.HasPrefix(csp, "default-src 'none';") || strings.Contains(csp, "unsafe") || strings.Contains(csp, "*") || strings.Contains(csp, "data:") {
			t.Errorf("%s has the policy %q", path, csp)
		}
		for _, want := range []string{"frame-ancestors 'none'", "base-uri 'none'", "form-action 'self'"} {
			if !strings.Contains(csp, want) {
				t.Errorf("the policy of %s lacks %s", path, want)
			}
		}
		if h.Get("X-Content-Type-Options") != "nosniff" || h.Get("Cache-Control") != "no-store" || h.Get("X-Frame-Options") != "DENY" {
			t.Errorf("%s has the headers %v", path, h)
		}
		for _, what := range active(page) {
			t.Errorf("%s has in it %s", path, what)
		}
	}
}

// A name of the attacker's is made to point at this machine (DNS rebinding).
func TestRebinding(t *testing.T) {
	c, job, _ := office(t)
	for _, host := range []string{"attacker.example", "attacker.example:8420", "127.0.0.1", "127.0.0.1:8421", "localhost.attacker.example:8420", "127.0.0.1:8420.attacker.example", "[::1]:8420", ""} {
		for _, path := range []string{"/", job, job + "/sound/4", "/enter/" + c.server.s.Key, "/assets/x/app.css"} {
			r := c.request("GET", path, nil)
			r.Host = host
			if a := c.do(r); a.Code != http.StatusMisdirectedRequest || strings.Contains(a.Body.String(), "WKS") || len(a.Result().Cookies()) > 0 {
				t.Errorf("Host %q, %s: %d", host, path, a.Code)
			}
		}
	}
}

// Without the cookie nobody sees a page, a sound or a file.
func TestStrangers(t *testing.T) {
	c, job, _ := office(t)
	stranger := c.other()
	wrong := *c.cookie
	wrong.Value = strings.Repeat("A", len(wrong.Value))
	guesser := c.other()
	guesser.cookie = &wrong
	sound := heardIn(c, job)
	for _, who := range []*client{stranger, guesser} {
		for _, path := range append(pagesOf(job), job+"/schedule.pdf", job+"/schedule.csv", job+"/schedule.json", job+sound, "/live"+strings.TrimPrefix(job, "/job")+"/events", "/nothing") {
			// A stream that is let in would go on for ever.
			ctx, stop := context.WithTimeout(t.Context(), 10*time.Second)
			a := who.do(who.request("GET", path, nil).WithContext(ctx))
			stop()
			if a.Code != http.StatusForbidden || strings.Contains(a.Body.String(), "WKS") || strings.Contains(a.Body.String(), "Example Yard") {
				t.Errorf("%s: %d to a stranger", path, a.Code)
			}
		}
	}
	if a := c.do(c.request("GET", job+sound, nil)); a.Code != http.StatusOK || a.Header().Get("Content-Type") != "audio/wav" {
		t.Errorf("the sound gives %d to the reviewer", a.Code)
	}
	for _, key := range []string{"", "x", strings.Repeat("0", 32), c.server.s.Key + "0", "%00"} {
		if a := stranger.do(stranger.request("GET", "/enter/"+key, nil)); a.Code == http.StatusOK || len(a.Result().Cookies()) > 0 {
			t.Errorf("the key %q lets a stranger in: %d", key, a.Code)
		}
	}
}

// The key that the browser was started with serves once.
func TestKeyForOne(t *testing.T) {
	once := door.NewKey()
	c, _, _ := office(t, func(o *Options) { o.Once = once })
	c.other().enter(once)
	if a := c.other().do(c.other().request("GET", "/enter/"+once, nil)); a.Code != http.StatusForbidden || len(a.Result().Cookies()) > 0 {
		t.Errorf("the second use gave %d", a.Code)
	}
}

// heardIn is the path of a sound below a job.
func heardIn(c *client, job string) string {
	c.t.Helper()
	m := regexp.MustCompile(`src="[^"]*(/sound/[0-9]+)"`).FindStringSubmatch(c.get(job + "/session"))
	if m == nil {
		c.t.Fatal("the session has no sound")
	}
	return m[1]
}

// A request is larger than any form of this server.
func TestLargeRequests(t *testing.T) {
	c, job, _ := office(t)
	form, before := settling(c, job), events(c, job)
	form.Set("reason", strings.Repeat("x", 2*door.MaxBody))
	if code, _ := c.post(job+"/settle", form); code != http.StatusRequestEntityTooLarge {
		t.Errorf("a form of %d bytes gave %d", len(form.Encode()), code)
	}
	many := url.Values{}
	for i := range 5000 {
		many.Add("reason", strings.Repeat("y", i%7))
	}
	if code, _ := c.post(job+"/settle", many); code < 400 {
		t.Errorf("5000 fields gave %d", code)
	}
	if now := events(c, job); now != before {
		t.Errorf("the record has %d events, not %d", now, before)
	}
}

// No part of a request reaches the disk.
func TestPathsOutside(t *testing.T) {
	c, job, dir := office(t)
	secret := filepath.Join(filepath.Dir(dir), "secret.waycall")
	if err := os.WriteFile(secret, []byte("secret"), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, "notes.txt"), []byte("secret"), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, path := range []string{
		"/job/..%2fsecret", "/job/%2e%2e%2fsecret.waycall", "/job/WKS-0231", "/job/WKS-0231.waycall", "/job/notes.txt", "/job/" + url.PathEscape(secret), "/job/%00",
		job + "/notes.txt", job + "/..%2f..%2fnotes.txt", job + "/schedule.pdf%00", job + "/sound/..%2f1", job + "/sound/1.wav", job + "/sound/999999", job + "/sound/-1",
		"/assets/x/..%2fapp.css", "/assets/x/..%2f..%2fweb.go", "/assets/..%2f..%2fetc/passwd", "/assets/x/nothing.css",
		job + "/way/..%2f1/1", job + "/way/1/99", job + "/way/-1/1", job + "/way/1/1e0", job + "/way/%31%30%30%30/1",
	} {
		a := c.do(c.request("GET", path, nil))
		if a.Code != http.StatusNotFound || strings.Contains(a.Body.String(), "secret") && !strings.Contains(path, "secret") || strings.Contains(a.Body.String(), dir) {
			t.Errorf("%s gave %d: %s", path, a.Code, text(a.Body.String()))
		}
	}
}

// Files that the review writes are for their owner alone.
func TestFilesForTheirOwner(t *testing.T) {
	c, job, dir := office(t)
	if code, page := c.post(job+"/settle", settling(c, job)); code != http.StatusSeeOther {
		t.Fatalf("settling gave %d: %s", code, text(page))
	}
	for _, path := range pagesOf(job) {
		c.do(c.request("GET", path, nil))
	}
	err := filepath.WalkDir(dir, func(path string, e fs.DirEntry, err error) error {
		if err != nil || e.IsDir() {
			return err
		}
		info, err := e.Info()
		if err == nil && info.Mode().Perm()&0o077 != 0 {
			t.Errorf("%s has the mode %v", e.Name(), info.Mode())
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
}

// What is logged names no key, cookie, job, place, person or phrase.
func TestLogsKeepSecrets(t *testing.T) {
	var logged bytes.Buffer
	c, job, dir := office(t, func(o *Options) {
		o.Log = slog.New(slog.NewTextHandler(&logged, &slog.HandlerOptions{Level: slog.LevelDebug}))
	})
	for _, path := range append(pagesOf(job), job+heardIn(c, job), job+"/schedule.pdf", "/nothing?secret=WKS-0231", "/job/WKS-0231", job+"/session?page=x&only=Example") {
		c.do(c.request("GET", path, nil))
	}
	c.post(job+"/settle", settling(c, job))
	form := settling(c, job)
	form.Set("by", "12345")
	c.post(job+"/withdraw", form)
	c.other().do(c.other().request("GET", "/enter/"+c.server.s.Key+"x", nil))
	// A file that is no job, and one that goes away.
	if err := os.WriteFile(filepath.Join(dir, "Mrs-Example.waycall"), []byte("not a job"), 0o600); err != nil {
		t.Fatal(err)
	}
	c.get("/")
	c.do(c.request("GET", "/job/"+jobcache.IDOf("Mrs-Example"), nil))
	if !strings.Contains(logged.String(), "GET /job/{job}/session") {
		t.Fatalf("nothing was logged: %s", logged.String())
	}
	for _, secret := range []string{c.server.s.Key, c.cookie.Value, c.cookie.Name, jobcache.IDOf("WKS-0231"), "WKS-0231", "Example", "QX", "Looked at", dir, "12345", "neutral"} {
		if strings.Contains(logged.String(), secret) {
			t.Errorf("the log has %q in it", secret)
		}
	}
}

// Hostile text in every field of a job is shown, and does nothing.
func TestHostileText(t *testing.T) {
	hostile := map[string]string{
		"script":    `<script src="//attacker.example/x.js"></script><img src=x onerror=alert(1)>`,
		"attribute": `" autofocus onfocus="alert(1)" x="`,
		"address":   `javascript:alert(1)`,
		"template":  `{{.Job}} ${7*7} &lt;b&gt; </title></textarea></svg><style>*{display:none}</style>`,
		"bidi":      "safe \u202egnorw\u202c \u2066 \u200b \ufeff",
		"long":      strings.Repeat("word", 2500),
		"emoji":     "⚡️👷🏽‍♀️ \U000E0041",
		"lines":     "one\r\ntwo\ttab",
		"control":   "\x1b]0;x\x07 \x00 end",
		"bytes":     "\xff\xfe\xc3(",
	}
	for name, evil := range hostile {
		t.Run(name, func(t *testing.T) {
			dir := t.TempDir()
			job := testJob()
			job.Address, job.Tester, job.Instrument.Serial = evil, evil, evil
			job.Boards[0].Name, job.Boards[0].Ways[0].Feeds, job.Boards[0].Ways[0].Device.Standard = evil, evil, evil
			job.Boards[0].Bonding = []string{evil}
			w := begin(t, dir, job)
			q := quantityOf(t, "0.40", reading.Ohm)
			slot := record.Slot{Board: 1, Way: 1, Test: reading.R1R2}
			v := *verdictOf(w, slot, q)
			v.Reason, v.Source, v.Next = evil, evil, evil
			ev := heard("reading", evil, evil, evil)
			ev.Phrase.Words[evil] = evil
			w.do(w.sound(0.3), ev, record.Event{Kind: record.Proposed, Slot: &slot, Quantity: &q, Verdict: &v, HeardID: w.state.LastID + 1}, record.Event{Kind: record.Said, Text: evil})
			w.do(nil, record.Event{Kind: record.Confirmed})
			w.do(nil, record.Event{Kind: record.Skipped, Slot: &record.Slot{Board: 1, Way: 1, Test: reading.Zs}, Answer: record.Limitation, Reason: evil})
			w.do(nil, record.Event{Kind: record.Finished})
			w.close()
			c := serve(t, dir)
			at := "/job/" + jobcache.IDOf(job.Reference)
			pages := []string{"/", at, at + "/way/1/1", at + "/way/1/0", at + "/session", at + "/queue", at + "/queue?n=2", at + "/edit?board=1&way=1&test=R1%2BR2", at + "/sign", at + "/schedule", "/live/" + jobcache.IDOf(job.Reference)}
			var all []string
			for _, p := range pages {
				all = append(all, c.get(p))
			}
			// The same in every field of a form, which comes back to its writer.
			form := url.Values{"board": {"1"}, "way": {"1"}, "test": {"R1+R2"}, "replaces": {"4"}, "value": {evil}, "reason": {evil}, "by": {evil}, "back": {evil}, "kind": {evil}, "n": {evil}}
			for _, p := range []string{"/edit", "/settle", "/withdraw"} {
				code, page := c.post(at+p, form)
				if code < 400 {
					t.Errorf("%s with hostile fields gave %d", p, code)
				}
				all = append(all, page)
			}
			code, last := c.post(at+"/sign", url.Values{"name": {evil}, "by": {evil}, "sum": {evil}, "agree": {evil}})
			if code < 400 {
				t.Errorf("sign with hostile fields gave %d", code)
			}
			for _, page := range append(all, last) {
				for _, what := range active(page) {
					t.Errorf("a page has in it %.300s", what)
				}
				if strings.ContainsAny(page, "\x00\x1b\x07\u202e\u202c\u2066\ufeff\u200b") {
					i := strings.IndexAny(page, "\x00\x1b\x07\u202e\u202c\u2066\ufeff\u200b")
					t.Errorf("a page has a character that cannot be seen: %q", page[max(0, i-80):min(len(page), i+40)])
				}
				if n := strings.Count(page, "</html>"); n != 1 {
					t.Errorf("a page ends %d times", n)
				}
			}
			for _, f := range forms {
				c.get(at + "/" + f.File)
			}
		})
	}
}
