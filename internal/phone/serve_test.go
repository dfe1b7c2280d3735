package phone

import (
	"bytes"
	"context"
	"encoding/json"
	"io"
	"log/slog"
	"net/http"
	"net/http/cookiejar"
	"net/http/httptest"
	"strings"
	"testing"

	"waycall/internal/audio"
	"waycall/internal/show"
	"waycall/internal/web/door"
)

// served is a Line behind its pages, and a browser that was let in.
func served(t *testing.T) (*Line, string, *http.Client) {
	t.Helper()
	l, server := NewLine(), httptest.NewUnstartedServer(nil)
	key := door.NewKey()
	s := NewServer(l, Options{Hosts: []string{server.Listener.Addr().String()}, Key: key, Code: door.NewCode(), Log: slog.New(slog.DiscardHandler)})
	server.Config.Handler = s
	server.Start()
	t.Cleanup(func() { s.Close(); server.Close() })
	jar, err := cookiejar.New(nil)
	if err != nil {
		t.Fatal(err)
	}
	c := &http.Client{Jar: jar}
	if status, _ := do(t, c, http.MethodGet, server.URL+"/enter/"+key, nil); status != http.StatusOK {
		t.Fatalf("not let in: %d", status)
	}
	return l, server.URL, c
}

func do(t *testing.T, c *http.Client, method, url string, body []byte) (status int, text string) {
	t.Helper()
	r, err := http.NewRequestWithContext(t.Context(), method, url, bytes.NewReader(body))
	if err != nil {
		t.Fatal(err)
	}
	got, err := c.Do(r)
	if err != nil {
		t.Fatal(err)
	}
	defer got.Body.Close()
	all, err := io.ReadAll(got.Body)
	if err != nil {
		t.Fatal(err)
	}
	return got.StatusCode, string(all)
}

// Sound from a device that was not let in, from another page, of another rate, of 10 MB,
// or played again from an earlier page is refused, with words, and nothing of it is heard.
func TestHostileSound(t *testing.T) {
	l, url, c := served(t)
	if status, text := do(t, c, http.MethodPost, url+"/join?page="+one, nil); status != http.StatusOK {
		t.Fatalf("%d %s", status, text)
	}
	good := make([]byte, audio.Rate/5)
	for _, tc := range []struct {
		name   string
		client *http.Client
		query  string
		body   []byte
		status int
	}{
		{"a device that was not let in", &http.Client{}, "n=0&rate=16000&after=0&page=" + one, good, http.StatusForbidden},
		{"another page", c, "n=0&rate=16000&after=0&page=" + two, good, http.StatusConflict},
		{"a page of yesterday", c, "n=7&rate=16000&after=3&page=0123456789abcdef", good, http.StatusConflict},
		{"no page", c, "n=0&rate=16000&after=0", good, http.StatusConflict},
		{"no number", c, "rate=16000&after=0&page=" + one, good, http.StatusBadRequest},
		{"a number that is none", c, "n=zero&rate=16000&after=0&page=" + one, good, http.StatusBadRequest},
		{"another rate", c, "n=0&rate=12&after=0&page=" + one, good, http.StatusBadRequest},
		{"a rate beyond all", c, "n=0&rate=99999999999999999999&after=0&page=" + one, good, http.StatusBadRequest},
		{"10 MB", c, "n=0&rate=48000&after=0&page=" + one, make([]byte, 10<<20), http.StatusBadRequest},
		{"nothing", c, "n=0&rate=16000&after=0&page=" + one, nil, http.StatusBadRequest},
		{"half a sample", c, "n=0&rate=16000&after=0&page=" + one, good[1:], http.StatusBadRequest},
		{"quiet that is none", c, "n=0&rate=16000&after=0&quiet=x&page=" + one, nil, http.StatusBadRequest},
	} {
		status, text := do(t, tc.client, http.MethodPost, url+"/sound?"+tc.query, tc.body)
		if status != tc.status || text == "" {
			t.Errorf("%s: %d %s, want %d", tc.name, status, text, tc.status)
		}
	}
	if clip, _ := read(t, l); len(clip) > 0 {
		t.Errorf("%d samples were heard", len(clip))
	}
	status, text := do(t, c, http.MethodPost, url+"/sound?n=0&rate=16000&after=0&page="+one, good)
	if status != http.StatusOK || strings.TrimSpace(text) != `{"next":1}` {
		t.Errorf("good sound: %d %s", status, text)
	}
	if clip, _ := read(t, l); len(clip) != len(good)/2 {
		t.Errorf("%d samples were heard", len(clip))
	}
}

// The pages are for who was let in: not without a cookie, not under another name, not from
// another site.
func TestPagesAreGuarded(t *testing.T) {
	_, url, c := served(t)
	for _, path := range []string{"/", "/events?page=" + one} {
		if status, text := do(t, &http.Client{CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}, http.MethodGet, url+path, nil); status != http.StatusSeeOther || strings.Contains(text, "Begin") {
			t.Errorf("%s without a cookie: %d", path, status)
		}
	}
	r, err := http.NewRequestWithContext(t.Context(), http.MethodPost, url+"/join?take=1&page="+one, nil)
	if err != nil {
		t.Fatal(err)
	}
	r.Header.Set("Origin", "http://elsewhere.example")
	r.Header.Set("Sec-Fetch-Site", "cross-site")
	got, err := c.Do(r)
	if err != nil {
		t.Fatal(err)
	}
	got.Body.Close()
	if got.StatusCode != http.StatusForbidden {
		t.Errorf("from another site: %d", got.StatusCode)
	}
	r, err = http.NewRequestWithContext(t.Context(), http.MethodGet, url+"/", nil)
	if err != nil {
		t.Fatal(err)
	}
	r.Host = "elsewhere.example"
	if got, err = c.Do(r); err != nil {
		t.Fatal(err)
	}
	got.Body.Close()
	if got.StatusCode != http.StatusMisdirectedRequest {
		t.Errorf("under another name: %d", got.StatusCode)
	}
	if status, text := do(t, c, http.MethodGet, url+`/pair?code="><script>`, nil); status != http.StatusOK || strings.Contains(text, "<script>") {
		t.Errorf("pair: %d %s", status, text)
	}
	for _, path := range []string{"/assets/../serve.go", "/assets/phone.html", "/assets/nothing.js", "/elsewhere"} {
		if status, _ := do(t, c, http.MethodGet, url+path, nil); status != http.StatusNotFound {
			t.Errorf("%s: %d", path, status)
		}
	}
}

// A page is told what to show, what to say, that it is to stop, and that another took over.
func TestEvents(t *testing.T) {
	l, url, c := served(t)
	if _, err := l.Join(one, false); err != nil {
		t.Fatal(err)
	}
	r, err := http.NewRequestWithContext(t.Context(), http.MethodGet, url+"/events?page="+one, nil)
	if err != nil {
		t.Fatal(err)
	}
	got, err := c.Do(r)
	if err != nil {
		t.Fatal(err)
	}
	defer got.Body.Close()
	buffer, rest := make([]byte, 1<<20), ""
	want := func(what string) {
		t.Helper()
		for !strings.Contains(rest, what) {
			n, err := got.Body.Read(buffer)
			if rest += string(buffer[:n]); err != nil && !strings.Contains(rest, what) {
				t.Fatalf("it ended before %q: %v", what, err)
			}
		}
		_, rest, _ = strings.Cut(rest, what)
	}
	want("event: view\ndata: null")
	ctx, stop := context.WithCancel(t.Context())
	done := make(chan error)
	go func() { done <- l.Play(ctx, make(audio.Clip, 160)) }()
	want(`event: say` + "\n" + `data: {"n":1,"wav":"`)
	stop()
	<-done
	want("event: hush")
	if _, err := l.Join(two, true); err != nil {
		t.Fatal(err)
	}
	want("event: taken")
}

// A QR code of an address can be read: every module of it, in two rows to a line.
func TestPicture(t *testing.T) {
	lines := strings.Split(picture("https://192.168.1.20:43817/pair?code=ABCD-EFGH"), "\n")
	for i, l := range lines {
		l = strings.TrimSuffix(strings.TrimPrefix(l, "\x1b[30;107m"), "\x1b[0m")
		if n := len([]rune(l)); n < 25 || (n+1)/2 != len(lines) {
			t.Errorf("line %d of %d has %d modules", i, len(lines), n)
		}
	}
	if picture(strings.Repeat("x", 5000)) != "" {
		t.Error("a picture of what does not fit")
	}
}

// What is shown has one line and nothing hidden, whatever a board file or a voice put there.
func TestViewIsHarmless(t *testing.T) {
	for _, text := range []string{"a\u202eb", "line\nbreak", "\x1b[31mred", strings.Repeat("x", 10000)} {
		var v View
		v.Said = show.Short(text)
		b, err := json.Marshal(v)
		if err != nil || strings.ContainsAny(v.Said, "\n\x1b\u202e") || len(v.Said) > show.Longest+10 {
			t.Errorf("%q is shown as %s (%v)", text, b, err)
		}
	}
}
