package web

import (
	"fmt"
	"maps"
	"net/http/httptest"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"waycall/internal/board"
	"waycall/internal/reading"
	"waycall/internal/record"
	"waycall/internal/sequence"
	"waycall/internal/web/jobcache"
)

// estate is a job of five boards with 80 ways each, all tested as far as 5,000 phrases
// go: a reading and its confirmation are two. One in twenty was disputed.
func estate(t testing.TB, dir string) {
	t.Helper()
	const boards, ways, phrases = 5, 80, 5000
	job := testJob()
	job.Reference, job.Boards = "ESTATE-1", nil
	for b := 1; b <= boards; b++ {
		one := board.Board{Number: b, Name: fmt.Sprintf("Distribution board %d", b), Earthing: board.TNCS, Voltage: 230, Phases: 1, Supply: board.Supply{DeclaredZe: 0.35, DeclaredPFC: 16},
			Main: board.Device{Standard: board.SwitchIsolator, Rating: 125}}
		if b > 1 {
			one.Supply = board.Supply{From: 1, FromWay: b - 1}
		}
		for w := 1; w <= ways; w++ {
			way := board.Way{Number: w, Feeds: fmt.Sprintf("Circuit %d of board %d", w, b), Device: board.Device{Standard: board.MCB, Type: "B", Rating: 16, Breaking: 10},
				Wiring: board.Radial, Line: 2.5, CPC: 1.5, Length: 18, Phases: 1, Points: 4, Use: board.Fixed}
			if b == 1 && w < boards {
				way.Supplies, way.Use, way.Line, way.CPC, way.Device.Rating = w+1, board.Distribution, 10, 10, 50
			}
			one.Ways = append(one.Ways, way)
		}
		job.Boards = append(job.Boards, one)
	}
	w := begin(t, dir, job)
	w.prepared()
	values := map[reading.Test]string{reading.R1R2: "0.36", reading.Ze: "0.21", reading.Zs: "0.58", reading.PFC: "1.1", reading.PSC: "1.2", reading.Earthing: "0.03"}
	spoken := func() int {
		w.before = nil // judged each by itself: that is quicker, and not what is measured
		return w.phrases
	}
	n := 0
	for _, b := range job.Boards {
		for way := 0; way <= ways; way++ {
			for _, slot := range sequence.Required(job, b.Number, way) {
				if spoken() >= phrases {
					break
				}
				q := reading.Correct
				switch {
				case slot.Test.Insulation():
					q = reading.Quantity{Value: 999, Bound: reading.GreaterThan, Unit: reading.Megohm}
				case !slot.Test.Judged():
					text := values[slot.Test]
					if text == "" {
						text = "1.0"
					}
					q = quantityOf(t, text, slot.Test.Unit())
				}
				var others []string
				if n++; n%20 == 0 {
					others = []string{"way fifteen"}
				}
				w.say(slot, q, true, others...)
			}
		}
	}
	for spoken() < phrases { // read again until there are as many
		slot := sequence.Required(job, 5, 1+n%ways)[0]
		q := quantityOf(t, fmt.Sprintf("0.%d", 30+n%10), reading.Ohm)
		n++
		w.say(slot, q, true)
	}
	w.do(nil, record.Event{Kind: record.Finished})
	w.close()
}

// BenchmarkPages asks for each kind of page of a job of 400 ways and 5,000 phrases, one
// after another and every time another way or part of the session, and reports the
// 95th percentile. The first look at the job, which reads its whole log, and the first
// after a change are reported for themselves.
func BenchmarkPages(b *testing.B) {
	dir := os.Getenv("WAYCALL_BENCH_JOBS") // a folder that keeps the job between runs
	if dir == "" {
		dir = b.TempDir()
	}
	if _, err := os.Stat(filepath.Join(dir, "ESTATE-1.waycall")); err != nil {
		estate(b, dir)
	}
	c := serve(b, dir)
	job := "/job/" + jobcache.IDOf("ESTATE-1")
	begun, busy := time.Now(), processor()
	c.get(job)
	first, firstBusy := time.Since(begun), processor()-busy
	pages := map[string]func(i int) string{
		"jobs":     func(int) string { return "/" },
		"boards":   func(int) string { return job },
		"way":      func(i int) string { return fmt.Sprintf("%s/way/%d/%d", job, 1+i%5, i/5%81) },
		"session":  func(i int) string { return job + "/session?page=" + strconv.Itoa(1+i%200) },
		"doubt":    func(i int) string { return job + "/session?only=doubt&page=" + strconv.Itoa(1+i%6) },
		"queue":    func(i int) string { return job + "/queue?n=" + strconv.Itoa(1+i%100) },
		"edit":     func(i int) string { return fmt.Sprintf("%s/edit?board=%d&way=%d&test=Zs", job, 1+i%5, 1+i/5%80) },
		"sign":     func(int) string { return job + "/sign" },
		"schedule": func(int) string { return job + "/schedule" },
		"sound":    func(i int) string { return job + "/sound/" + strconv.FormatInt(soundAt(c, job, i), 10) },
		"pdf":      func(int) string { return job + "/schedule.pdf" },
		"csv":      func(int) string { return job + "/schedule.csv" },
	}
	for _, name := range slices.Sorted(maps.Keys(pages)) {
		b.Run(name, func(b *testing.B) {
			var took []time.Duration
			size, busy := 0, processor()
			for i := range b.N {
				r := c.request("GET", pages[name](i), nil)
				a := httptest.NewRecorder()
				begun := time.Now()
				c.server.ServeHTTP(a, r)
				took = append(took, time.Since(begun))
				if a.Code != 200 {
					b.Fatalf("%s gave %d", r.URL, a.Code)
				}
				size = a.Body.Len()
			}
			b.ReportMetric(float64((processor()-busy).Microseconds())/1000/float64(b.N), "cpu-ms")
			slices.Sort(took)
			b.ReportMetric(float64(took[len(took)*95/100].Microseconds())/1000, "p95-ms")
			b.ReportMetric(float64(took[len(took)-1].Microseconds())/1000, "most-ms")
			b.ReportMetric(float64(size)/1024, "KB")
		})
	}
	b.Run("first-look", func(b *testing.B) {
		b.ReportMetric(float64(first.Milliseconds()), "first-ms")
		b.ReportMetric(float64(firstBusy.Milliseconds()), "cpu-ms")
	})
	b.Run("after-a-change", func(b *testing.B) {
		it := snapshot(c, job).Queue()[0]
		begun, busy := time.Now(), processor()
		code, page := c.post(job+"/settle", formFor(it.Slot, it.Of()))
		changed := time.Since(begun)
		b.ReportMetric(float64((processor() - busy).Milliseconds()), "change-cpu-ms")
		if code != 303 {
			b.Fatalf("settling gave %d: %s", code, text(page))
		}
		begun, busy = time.Now(), processor()
		c.get(job + "/queue")
		b.ReportMetric(float64((processor() - busy).Milliseconds()), "next-cpu-ms")
		b.ReportMetric(float64(changed.Milliseconds()), "change-ms")
		b.ReportMetric(float64(time.Since(begun).Milliseconds()), "next-ms")
	})
	b.Run("memory", func(b *testing.B) {
		runtime.GC()
		var m runtime.MemStats
		runtime.ReadMemStats(&m)
		b.ReportMetric(float64(m.HeapAlloc)/(1<<20), "heap-MB")
		b.ReportMetric(peakMemory(), "peak-MB")
		runtime.KeepAlive(c)
	})
}

// processor is how long this process has had a processor: on a machine with other work
// it says more than the clock.
func processor() time.Duration {
	var u syscall.Rusage
	if syscall.Getrusage(syscall.RUSAGE_SELF, &u) != nil {
		return 0
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

func soundAt(c *client, job string, i int) int64 {
	s := snapshot(c, job)
	all := s.entries()
	e := all[i%len(all)]
	for ; !e.heard; i++ {
		e = all[i%len(all)]
	}
	return s.Events[e.from].ID
}

// peakMemory is the most memory that this process ever had in MB, or 0 where the
// system does not say.
func peakMemory() float64 {
	b, err := os.ReadFile("/proc/self/status")
	if err != nil {
		return 0
	}
	_, after, _ := strings.Cut(string(b), "VmHWM:")
	kb, _ := strconv.ParseFloat(strings.TrimSpace(strings.Split(after, "kB")[0]), 64)
	return kb / 1024
}
