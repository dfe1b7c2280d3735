package browser

import (
	"fmt"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"waycall/internal/record"
	"waycall/internal/store"
	"waycall/internal/web"
	"waycall/internal/web/door"
	"waycall/internal/web/jobcache"
)

// jobID is the first job on the list of jobs that b shows.
func jobID(b *tab) string {
	b.t.Helper()
	return eval[string](b, `document.querySelector("a[href^='/job/']").getAttribute("href").split("/")[2]`)
}

// live opens the live view of the only job there.
func (s *site) live(b *tab) {
	b.t.Helper()
	s.enter(b)
	b.open(s.url + "/live/" + jobID(b))
}

// The live view follows a session that another process runs, here the whole
// demonstration, from its first reading to its end, through a cut in the middle.
func TestLiveFollowsDemo(t *testing.T) {
	dir := t.TempDir()
	cmd := waycall(t, "demo", "--out", dir)
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	s := serve(t, dir)
	b := newTab(t, 1280, 800)
	ended := make(chan error, 1)
	go func() { ended <- cmd.Wait() }()
	for tail, begun := store.NewTail(filepath.Join(dir, terrace)), false; !begun; { // once the models are loaded
		select {
		case err := <-ended:
			t.Fatalf("the demonstration ended before it began: %v", err)
		case <-time.After(20 * time.Millisecond):
			events, err := tail.Next(t.Context())
			begun = err == nil && len(events) > 0
		}
	}
	s.live(b)
	// Every event that comes is written down on the page as well.
	b.run(`window.seen = []; new MutationObserver(() => {
		seen.push(document.getElementById("live").innerText);
	}).observe(document.getElementById("live"), {childList: true})`)
	b.until(`document.querySelector(".lv-state").innerText.includes("FINISHED")`)
	if err := <-ended; err != nil {
		t.Fatal(err)
	}
	b.has("FINISHED", "What stands on the schedule", "PASS", "LEFT OUT", "nothing left", "18 of 19 tests recorded, 1 left out")
	seen := eval[[]string](b, "seen")
	all := strings.Join(seen, "\n")
	for _, want := range []string{"SESSION RUNNING", "WAITS FOR CONFIRM", "Read back, not stored yet", "Stored", "FAIL", "LOOK INTO IT"} {
		if !strings.Contains(all, want) {
			t.Errorf("in %d views it never said %q", len(seen), want)
		}
	}
}

func TestLiveStepByStep(t *testing.T) {
	dir := t.TempDir()
	begun, end := until(t, wayThreeDue), until(t, wayFiveStored)
	log := recorded(t, dir, begun)
	s := serve(t, dir)
	b := newTab(t, 820, 1180)
	s.live(b)
	b.until(`document.querySelector(".lv-state").innerText.includes("SESSION RUNNING")`)
	sounds := clips(t)
	state, err := record.Fold(nil)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries(t) {
		if state, err = state.Apply(e.Event); err != nil {
			t.Fatal(err)
		}
		if e.ID <= begun || e.ID > end {
			continue
		}
		if _, err := log.Append(t.Context(), []record.Event{e.Event}, sounds[e.Clip]); err != nil {
			t.Fatal(err)
		}
		if e.Kind == record.Said || e.Kind == record.Heard {
			want := e.Text
			if e.Phrase != nil {
				want = e.Phrase.Text
			}
			b.until(fmt.Sprintf(`document.querySelector(".lv-log").innerText.includes(%q)`, want))
		}
		if e.Kind == record.Proposed {
			b.until(`document.querySelector(".lv-state").innerText.includes("WAITS FOR CONFIRM") && document.querySelector(".lv-last.waits")`)
		}
		if e.Kind == record.Confirmed {
			b.until(`document.querySelector(".lv-state").innerText.includes("SESSION RUNNING") && document.querySelector(".lv-last:not(.waits)")`)
		}
	}
	// For who cannot see it, the same in a sentence.
	if spoken := eval[string](b, `document.querySelector("[aria-live=polite]").textContent`); !strings.Contains(spoken, "Session running.") || !strings.Contains(spoken, "Last reading: way 5, Live and neutral to earth, 0.3 MΩ, fail.") || !strings.Contains(spoken, "Due: way 5, Live to earth.") {
		t.Errorf("a screen reader says %q", spoken)
	}
	// The session ends, another record lies there, and then none.
	if err := log.Close(); err != nil {
		t.Fatal(err)
	}
	b.until(`document.querySelector(".lv-state").innerText.includes("NO SESSION IS RUNNING")`)
	if err := os.Remove(filepath.Join(dir, terrace)); err != nil {
		t.Fatal(err)
	}
	b.until(`document.querySelector(".lv-trouble")?.innerText.includes("no longer there")`)
}

// A tablet whose connection breaks says so, comes back by itself, and has missed
// nothing.
func TestLiveComesBack(t *testing.T) {
	dir := t.TempDir()
	begun := until(t, wayThreeDue)
	log := recorded(t, dir, begun)
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	at := listener.Addr().String()
	s := &site{url: "http://" + at, key: door.NewKey(), dir: dir}
	pages, err := web.New(web.Options{Jobs: jobcache.NewFolder(dir), Hosts: []string{at}, Key: s.key})
	if err != nil {
		t.Fatal(err)
	}
	defer pages.Close()
	server := &http.Server{Handler: pages}
	go server.Serve(listener)
	b := newTab(t, 820, 1180)
	b.may("net::ERR_")
	s.live(b)
	b.until(`document.querySelector(".lv-state").innerText.includes("SESSION RUNNING")`)
	server.Close()
	b.until(`!document.getElementById("live-offline").hidden && document.body.innerText.includes("No connection to waycall")`)
	for _, fault := range b.shutsOut() {
		t.Error(fault)
	}
	sounds := clips(t)
	for _, e := range entries(t)[begun:until(t, wayEightRead)] {
		if _, err := log.Append(t.Context(), []record.Event{e.Event}, sounds[e.Clip]); err != nil {
			t.Fatal(err)
		}
	}
	if listener, err = net.Listen("tcp", at); err != nil {
		t.Fatal(err)
	}
	server = &http.Server{Handler: pages}
	defer server.Close()
	go server.Serve(listener)
	b.until(`document.getElementById("live-offline").hidden && document.querySelector(".lv-log").innerText.includes("four eight six")`)
	b.until(`document.querySelector(".lv-state").innerText.includes("WAITS FOR CONFIRM") && document.querySelector(".lv-figure").innerText.includes("486")`)

	// Started anew, the server knows nobody: the page says so, and does not go on
	// showing what was.
	b.may("status of 403")
	server.Close()
	if listener, err = net.Listen("tcp", at); err != nil {
		t.Fatal(err)
	}
	fresh, err := web.New(web.Options{Jobs: jobcache.NewFolder(dir), Hosts: []string{at}, Key: door.NewKey()})
	if err != nil {
		t.Fatal(err)
	}
	defer fresh.Close()
	server = &http.Server{Handler: fresh}
	defer server.Close()
	go server.Serve(listener)
	b.until(`!document.querySelector(".lv") && document.body.innerText.includes("no session here")`)
}
