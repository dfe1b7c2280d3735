package browser

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/http/cookiejar"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"waycall/internal/audio"
	"waycall/internal/board"
	"waycall/internal/check"
	"waycall/internal/demo"
	"waycall/internal/reading"
	"waycall/internal/record"
	"waycall/internal/sequence"
	"waycall/internal/store"
)

const (
	manyWays    = 400
	manyPhrases = 5000
)

// large writes a job of manyWays ways and manyPhrases phrases, each with a sound of
// the demonstration, into dir. Some readings fail, are corrected or were disputed.
func large(t testing.TB, dir string) {
	t.Helper()
	job := board.Job{Reference: "LARGE-1", Address: "An invented place", Date: "2026-03-18", Tester: "JW", Instrument: board.Instrument{Serial: "1", OverRange: 999}}
	for b := range 5 {
		one := board.Board{Number: b + 1, Name: fmt.Sprintf("Board %d", b+1), Earthing: board.TNS, Voltage: 230, Phases: 1}
		for w := range manyWays / 5 {
			one.Ways = append(one.Ways, board.Way{Number: w + 1, Feeds: fmt.Sprintf("Circuit %d of the board", w+1), Device: board.Device{Standard: board.MCB, Type: "B", Rating: 16, Breaking: 10},
				Wiring: board.Radial, Phases: 1, Line: 2.5, CPC: 1.5, Length: float64(5 + w%40), Material: board.Copper})
		}
		job.Boards = append(job.Boards, one)
	}
	log, err := store.Create(filepath.Join(dir, "LARGE-1.waycall"))
	if err != nil {
		t.Fatal(err)
	}
	defer log.Close()
	lines, err := demo.Script()
	if err != nil {
		t.Fatal(err)
	}
	var sounds [][]byte // as a session stores them, some 50 kB
	for _, l := range lines {
		if len(l.Sound) > 0 {
			sounds = append(sounds, audio.EncodeWAV(l.Sound[:min(len(l.Sound), 3*audio.Rate/2)]))
		}
	}
	var state record.State
	at, phrases := time.Date(2026, 3, 18, 8, 0, 0, 0, time.UTC), 0
	do := func(sound []byte, events ...record.Event) {
		t.Helper()
		for i := range events {
			events[i].ID, events[i].At = state.LastID+1, at
			if state, err = state.Apply(events[i]); err != nil {
				t.Fatal(err)
			}
		}
		if _, err := log.Append(t.Context(), events, sound); err != nil {
			t.Fatal(err)
		}
		at = at.Add(3 * time.Second)
	}
	heard := func(text string, agreed bool) record.Event {
		phrases++
		p := record.Phrase{Outcome: "reading", Agreed: agreed, Text: text, Words: map[string]string{"whisper": text, "sphinx": text}}
		if !agreed {
			p.Others, p.Words["sphinx"] = []string{"something else"}, "something else"
		}
		return record.Event{Kind: record.Heard, Phrase: &p}
	}
	sound := func() []byte { return sounds[phrases%len(sounds)] }
	do(nil, record.Event{Kind: record.Opened, Job: &job})
	var earlier []check.Earlier
	say := func(slot record.Slot, n int) {
		text, unit := map[bool]string{true: ">999", false: fmt.Sprintf("0.%02d", 20+n%50)}[slot.Test.Insulation() && n%23 != 0], slot.Test.Unit()
		if slot.Test.Insulation() && n%23 == 0 {
			text = []string{"14.2", "0.4", "350"}[n%3]
		}
		q := reading.Correct
		if !slot.Test.Judged() {
			if q, err = reading.ParseQuantity(text, unit); err != nil {
				t.Fatal(err)
			}
		}
		v := check.Judge(check.Input{Job: job, Slot: slot, Quantity: q, Earlier: earlier})
		id := state.LastID + 1
		do(sound(), heard(q.Spoken(), n%37 != 0), record.Event{Kind: record.Proposed, Slot: &slot, Quantity: &q, Verdict: &v, HeardID: id},
			record.Event{Kind: record.Said, Text: fmt.Sprintf("Way %d, %s, %s. %s Confirm?", slot.Way, slot.Test.Spoken(), q.Spoken(), v.Reason)})
		do(sound(), heard("confirm", true), record.Event{Kind: record.Confirmed, HeardID: state.LastID + 1}, record.Event{Kind: record.Said, Text: "Stored."})
		earlier = append(earlier, check.Earlier{Slot: slot, Quantity: q})
	}
	due := sequence.Remaining(state)
	for n, d := range due {
		if d.Step != nil {
			do(sound(), heard("done", true), record.Event{Kind: record.Prepared, Board: d.Board, Step: d.Step.ID, Answer: record.Done, HeardID: state.LastID + 1})
		} else if phrases < manyPhrases {
			say(d.Slot, n)
		}
	}
	for n := 0; phrases < manyPhrases; n++ {
		if d := due[n%len(due)]; d.Step == nil {
			say(d.Slot, n+5)
		}
	}
	do(nil, record.Event{Kind: record.Finished})
}

// BenchmarkLarge measures waycall review itself with a job of 400 ways and 5,000
// phrases: how long each kind of page takes on the server (p95 of what a client on
// this machine waits), the first paint in the browser, and the most memory that the
// server took, with fifty live views open. Run it once:
//
//	go test -run '^$' -bench Large -benchtime 1x -v ./internal/web/browser
func BenchmarkLarge(b *testing.B) {
	dir := b.TempDir()
	large(b, dir)
	path, err := program()
	if err != nil {
		b.Fatal(err)
	}
	cmd := command(b.Context(), path, "review", "--data", dir)
	printed, err := cmd.StdoutPipe()
	if err != nil {
		b.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		b.Fatal(err)
	}
	defer func() { cmd.Process.Kill(); cmd.Wait() }()
	first, err := bufio.NewReader(printed).ReadString('\n')
	if err != nil {
		b.Fatal(err)
	}
	enter := regexp.MustCompile(`http://\S+`).FindString(first)
	base := enter[:strings.Index(enter, "/enter/")]
	jar, err := cookiejar.New(nil)
	if err != nil {
		b.Fatal(err)
	}
	client := &http.Client{Jar: jar, Transport: &http.Transport{MaxIdleConnsPerHost: 100}}
	get := func(address string) (string, time.Duration) {
		began := time.Now()
		resp, err := client.Get(address)
		if err != nil {
			b.Fatal(err)
		}
		defer resp.Body.Close()
		text, err := io.ReadAll(resp.Body)
		if err != nil || resp.StatusCode != http.StatusOK {
			b.Fatalf("%s: %s %v %.300s", address, resp.Status, err, text)
		}
		return string(text), time.Since(began)
	}
	get(enter)
	home, cold := get(base + "/")
	b.Logf("first look at the jobs: %v", cold)
	id := regexp.MustCompile(`/job/([0-9a-f]+)`).FindStringSubmatch(home)[1]
	job := base + "/job/" + id
	_, cold = get(job)
	b.Logf("first look at the job: %v", cold)
	sounds := regexp.MustCompile(`/job/[0-9a-f]+/sound/\d+`).FindAllString(func() string { s, _ := get(job + "/session?page=7"); return s }(), -1)

	// Fifty live views are open meanwhile.
	ctx, stop := context.WithCancel(b.Context())
	var viewers sync.WaitGroup
	for range 50 {
		r, err := http.NewRequestWithContext(ctx, http.MethodGet, base+"/live/"+id+"/events?after=0", nil)
		if err != nil {
			b.Fatal(err)
		}
		resp, err := client.Do(r)
		if err != nil || resp.StatusCode != http.StatusOK {
			b.Fatalf("live view: %v %v", resp, err)
		}
		viewers.Go(func() {
			defer resp.Body.Close()
			io.Copy(io.Discard, resp.Body)
		})
	}
	for b.Loop() {
		for _, p := range []struct {
			name string
			at   func(n int) string
		}{
			{"jobs", func(int) string { return base + "/" }},
			{"board", func(int) string { return job }},
			{"way", func(n int) string { return fmt.Sprintf("%s/way/%d/%d", job, 1+n%5, 1+n%80) }},
			{"session", func(n int) string { return fmt.Sprintf("%s/session?page=%d", job, 1+n*3) }},
			{"queue", func(n int) string { return fmt.Sprintf("%s/queue?n=%d", job, 1+n) }},
			{"sign", func(int) string { return job + "/sign" }},
			{"schedule", func(int) string { return job + "/schedule" }},
			{"live", func(int) string { return base + "/live/" + id }},
			{"sound", func(n int) string { return base + sounds[n%len(sounds)] }},
		} {
			var took []time.Duration
			for n := range 60 {
				_, d := get(p.at(n))
				took = append(took, d)
			}
			slices.Sort(took)
			p50, p95 := took[len(took)/2], took[len(took)*95/100]
			b.Logf("%-9s p50 %6.1f ms, p95 %6.1f ms", p.name, ms(p50), ms(p95))
			b.ReportMetric(ms(p95), p.name+"-p95-ms")
		}
		for _, file := range []string{"schedule.pdf", "schedule.xlsx", "schedule.csv", "schedule.json"} {
			_, d := get(job + "/" + file)
			b.Logf("%s: %.0f ms", file, ms(d))
			b.ReportMetric(ms(d), file+"-ms")
		}
		for _, p := range []string{"/", "/job/" + id, "/job/" + id + "/way/3/40", "/job/" + id + "/session", "/job/" + id + "/queue", "/job/" + id + "/schedule", "/live/" + id} {
			b.Logf("first paint of %s: %.0f ms", kindOf(p), paint(b, enter, base+p))
		}
	}
	status, err := os.ReadFile("/proc/" + strconv.Itoa(cmd.Process.Pid) + "/status")
	if err != nil {
		b.Fatal(err)
	}
	kB, err := strconv.ParseFloat(regexp.MustCompile(`VmHWM:\s+(\d+)`).FindStringSubmatch(string(status))[1], 64)
	if err != nil {
		b.Fatal(err)
	}
	b.Logf("most memory: %.0f MiB", kB/1024)
	b.ReportMetric(kB/1024, "MiB")
	stop()
	viewers.Wait()
}

func ms(d time.Duration) float64 { return float64(d.Microseconds()) / 1000 }

// paint is when a browser that has nothing of the page yet first shows some of it,
// ms after it was asked for; the best of three, as the machine does other things.
func paint(b *testing.B, enter, address string) float64 {
	best := 0.0
	for range 3 {
		ctx, stop := chromedp.NewContext(chrome, chromedp.WithNewBrowserContext())
		err := chromedp.Do(ctx)
		if err == nil {
			err = chromedp.Do(ctx, chromedp.Navigate(enter), chromedp.WaitReady(chromedp.CSS("main")), chromedp.Navigate(address))
		}
		at, evalErr := chromedp.Run(ctx, chromedp.Evaluate[float64](`new Promise((yes) => {
			const look = () => { const p = performance.getEntriesByName("first-contentful-paint")[0]; if (p) yes(p.startTime); else setTimeout(look, 20); };
			look();
		})`, chromedp.EvalAwaitPromise))
		stop()
		if err = errors.Join(err, evalErr); err != nil {
			b.Fatal(err)
		}
		if best == 0 || at < best {
			best = at
		}
	}
	return best
}
