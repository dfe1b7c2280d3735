package soak

import (
	"os"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"time"

	"golang.org/x/sys/unix"

	"waycall/internal/audio"
	"waycall/internal/hear"
	"waycall/internal/lab/bench"
	"waycall/internal/phrase"
	"waycall/internal/session"
)

// moment is a time on the clock and of the processor, all threads of this program
// together.
type moment struct{ wall, cpu time.Duration }

func now() moment {
	var t unix.Timespec
	if err := unix.ClockGettime(unix.CLOCK_PROCESS_CPUTIME_ID, &t); err != nil {
		t = unix.Timespec{}
	}
	return moment{time.Since(begun), time.Duration(t.Nano())}
}

var begun = time.Now()

func since(m moment) moment {
	n := now()
	return moment{n.wall - m.wall, n.cpu - m.cpu}
}

// Took is what one phrase took, ms: on the clock, and of the processor.
type Took struct {
	At      float64 `json:"at_min"`             // simulated time, minutes
	Wall    float64 `json:"ms"`                 // on the clock, ms
	CPU     float64 `json:"cpu_ms"`             // of the processor, ms
	Seconds float64 `json:"seconds,omitempty"`  // how long the phrase was, of hearing
	Fixed   float64 `json:"fixed_ms,omitempty"` // of the processor, for a fixed piece of work just after it: how slow the machine was then
}

// Minute is what was seen at the end of a minute of simulated time.
type Minute struct {
	At         float64 `json:"at_min"`       // simulated time, minutes
	RSS        float64 `json:"rss_mib"`      // resident, all
	Heap       float64 `json:"heap_mib"`     // of Go, in use
	Goroutines int     `json:"goroutines"`   // and
	Files      int     `json:"files"`        // open file descriptors
	Database   float64 `json:"database_mb"`  // the job with its write-ahead log
	Phrases    int     `json:"phrases"`      // so far
	Readings   int     `json:"readings"`     // confirmed so far
	HearP50    float64 `json:"hear_p50_ms"`  // since the minute before, by the processor
	HearP95    float64 `json:"hear_p95_ms"`  // likewise
	StoreP50   float64 `json:"store_p50_ms"` // on the clock
	StoreP95   float64 `json:"store_p95_ms"` // likewise
}

// meter measures a soak.
type meter struct {
	samples int // of simulated time
	path    string
	e       *electrician
	Hearing []Took
	Storing []Took
	Minutes []Minute
	seen    [2]int // how many of Hearing and Storing are in minutes already
	tell    func(Minute)
}

func (m *meter) time() time.Duration { return time.Duration(m.samples) * time.Second / audio.Rate }

// passes takes in that simulated time passes.
func (m *meter) passes(samples int) {
	before := m.samples / (60 * audio.Rate)
	m.samples += samples
	for at := before + 1; at <= m.samples/(60*audio.Rate); at++ {
		m.look(float64(at))
	}
}

func (m *meter) look(at float64) {
	var mem runtime.MemStats
	runtime.ReadMemStats(&mem)
	one := Minute{
		At: at, RSS: resident(), Heap: float64(mem.HeapInuse) / (1 << 20), Goroutines: runtime.NumGoroutine(), Files: open(),
		Phrases: m.e.Counts.Phrases, Readings: len(m.e.ledger.entries),
	}
	for _, name := range []string{m.path, m.path + "-wal"} {
		if s, err := os.Stat(name); err == nil {
			one.Database += float64(s.Size()) / 1e6
		}
	}
	cpu := func(t Took) float64 { return t.CPU }
	wall := func(t Took) float64 { return t.Wall }
	one.HearP50, one.HearP95 = quantile(m.Hearing[m.seen[0]:], 0.5, cpu), quantile(m.Hearing[m.seen[0]:], 0.95, cpu)
	one.StoreP50, one.StoreP95 = quantile(m.Storing[m.seen[1]:], 0.5, wall), quantile(m.Storing[m.seen[1]:], 0.95, wall)
	m.seen = [2]int{len(m.Hearing), len(m.Storing)}
	m.Minutes = append(m.Minutes, one)
	if m.tell != nil {
		m.tell(one)
	}
}

// resident is the memory of this program, MiB.
func resident() float64 {
	b, err := os.ReadFile("/proc/self/statm")
	if err != nil {
		return 0
	}
	if f := strings.Fields(string(b)); len(f) > 1 {
		pages, _ := strconv.Atoi(f[1])
		return float64(pages*os.Getpagesize()) / (1 << 20)
	}
	return 0
}

// open is how many files this program holds.
func open() int {
	d, err := os.ReadDir("/proc/self/fd")
	if err != nil {
		return 0
	}
	return len(d) - 1 // without the folder itself
}

// quantile is the value that a share of them does not exceed; 0 for none.
func quantile(all []Took, share float64, of func(Took) float64) float64 {
	var list []float64
	for _, t := range all {
		list = append(list, of(t))
	}
	slices.Sort(list)
	return bench.Percentile(list, 100*share)
}

func (m *meter) took(t moment) Took {
	ms := func(d time.Duration) float64 { return float64(d.Microseconds()) / 1000 }
	return Took{At: m.time().Minutes(), Wall: ms(t.wall), CPU: ms(t.cpu)}
}

func (m *meter) storing(t moment) { m.Storing = append(m.Storing, m.took(t)) }

// timedEar is an ear whose work is measured: from the pause in which it begins, to the
// meaning.
type timedEar struct {
	session.Ear
	meter *meter
}

func (t timedEar) Begin(s phrase.Scope) hear.Utterance {
	return &timedUtterance{Utterance: t.Ear.Begin(s), meter: t.meter}
}

type timedUtterance struct {
	hear.Utterance
	meter *meter
	at    moment
}

func (u *timedUtterance) Pause(sound []float32) {
	u.at = now()
	u.Utterance.Pause(sound)
}

func (u *timedUtterance) End(sound []float32) (hear.Heard, error) {
	if u.at == (moment{}) {
		u.at = now()
	}
	h, err := u.Utterance.End(sound)
	if err == nil {
		took := u.meter.took(since(u.at))
		took.Seconds, took.Fixed = float64(len(sound))/audio.Rate, fixedWork()
		u.meter.Hearing = append(u.meter.Hearing, took)
	}
	return h, err
}

var fixed = make([]float32, 1<<19)

// fixedWork does always the same, over 2 MB of memory, and returns the milliseconds of
// the processor that it took: some five.
func fixedWork() float64 {
	at := now()
	for range 6 {
		for i := range fixed {
			fixed[i] = fixed[i]*0.5 + float32(i&7)
		}
	}
	return float64(since(at).cpu.Microseconds()) / 1000
}
