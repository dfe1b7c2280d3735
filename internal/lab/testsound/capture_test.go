//go:build linux

package testsound_test

import (
	"encoding/binary"
	"encoding/json"
	"flag"
	"fmt"
	"math"
	"os"
	"os/exec"
	"runtime"
	"strconv"
	"strings"
	"testing"
	"time"

	"waycall/internal/audio"
	"waycall/internal/audio/card"
	"waycall/internal/lab/testsound"
)

// captureFor is how long TestCapture listens; scripts/lab/measure-capture gives ten
// minutes.
var captureFor = flag.Duration("capture", 3*time.Second, "how long TestCapture listens under load")

// step makes a sequence of 16-bit samples of which each says where it stands: the
// n-th is n times step, and back is the way back.
const step, back = 40503, 30599

// captured is what one run of the role "capture" found.
type captured struct {
	Seconds  float64       // for which it listened
	Samples  int           // that were taken, from the first of the sequence
	Losses   card.Losses   // as the ring counts them
	Breaks   int           // losses that were told where they are
	Untold   int           // places where the sequence jumps without a word or a pause of the player: must be 0
	Silent   int           // samples of silence in the sequence: the player was late
	Latest   time.Duration // between two looks at the ring
	Load     float64       // cores that were busy on this machine, on average
	Garbage  int           // collections by Go meanwhile
	Cores    int
	RingSize float64 // seconds
}

// capture takes the sequence from the microphone for a time, with a ring for a time,
// and with busy goroutines beside it, and prints what came of it. Arguments: time,
// ring, how often it looks.
func capture(args []string) error {
	var d [3]time.Duration
	for i, a := range args {
		var err error
		if d[i], err = time.ParseDuration(a); err != nil {
			return err
		}
	}
	if err := card.Acquire(); err != nil {
		return err
	}
	defer card.Release()
	c, err := card.OpenCapture("", d[1])
	if err != nil {
		return err
	}
	defer c.Close()
	for range 2 * runtime.NumCPU() {
		go burn()
	}
	out := captured{Cores: runtime.NumCPU(), RingSize: d[1].Seconds()}
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	busy := busyTime()
	last, locked := uint16(0), false
	pause := uint16(0) // samples of silence since the last of the sequence
	buf := make([]float32, audio.Rate/10)
	begun, looked := time.Now(), time.Now()
	for time.Since(begun) < d[0] {
		out.Latest = max(out.Latest, time.Since(looked))
		looked = time.Now()
		for {
			n, broke := c.Take(buf)
			if broke {
				out.Breaks++
				locked = false
				continue
			}
			for _, x := range buf[:n] {
				v := uint16(int16(math.Round(float64(x) * 32768)))
				at := v * back
				switch {
				case !locked && v == 0:
					continue // before the sequence, or a pause of the player
				case locked && v == 0 && at != last+1:
					out.Silent++
					pause++
					continue
				case locked && at-last-1 > pause:
					// After a pause of the player the server leaves out a little of what came
					// too late for it: 13 to 98 samples, seen where the player was stopped.
					out.Untold++
				}
				last, locked, pause = at, true, 0
				out.Samples++
			}
			if n < len(buf) {
				break
			}
		}
		time.Sleep(d[2])
	}
	out.Seconds, out.Losses = time.Since(begun).Seconds(), c.Losses()
	out.Load = (busyTime() - busy) / out.Seconds
	runtime.ReadMemStats(&after)
	out.Garbage = int(after.NumGC - before.NumGC)
	if !c.Alive() {
		return fmt.Errorf("the stream ended by itself")
	}
	return json.NewEncoder(os.Stdout).Encode(out)
}

// burn keeps a core and Go's collector busy.
func burn() {
	keep := make([][]byte, 64)
	for i, x := 0, 1.0; ; i++ {
		for range 10000 {
			x = math.Sin(x) + 1.5
		}
		keep[i%len(keep)] = make([]byte, 1<<14+int(x))
	}
}

// busyTime is how long the cores of this machine have worked, in seconds.
func busyTime() float64 {
	text, _ := os.ReadFile("/proc/stat")
	line, _, _ := strings.Cut(string(text), "\n")
	sum := 0.0
	for i, f := range strings.Fields(line)[1:] {
		if n, err := strconv.ParseFloat(f, 64); err == nil && i != 3 && i != 4 && i < 8 { // without idle and waiting
			sum += n / 100
		}
	}
	return sum
}

// sequence plays the sequence into the room until the test ends.
func sequence(t *testing.T, room *testsound.Room) {
	t.Helper()
	cmd := exec.Command("pacat", "--playback", "--raw", "--device=waycall_voice", "--format=s16le",
		fmt.Sprintf("--rate=%d", audio.Rate), "--channels=1", "--latency-msec=2000")
	cmd.Env = room.Env()
	in, err := cmd.StdinPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	testsound.Hurry(cmd)
	t.Cleanup(func() { _ = cmd.Process.Kill(); _ = cmd.Wait() })
	go func() {
		buf := make([]byte, 2*4096)
		for n := uint16(1); ; {
			for i := 0; i < len(buf); i += 2 {
				binary.LittleEndian.PutUint16(buf[i:], n*step)
				n++
			}
			if _, err := in.Write(buf); err != nil {
				return
			}
		}
	}()
}

func runCapture(t *testing.T, room *testsound.Room, d, ring, look time.Duration) (out captured) {
	t.Helper()
	// Beside the goroutines in the process itself, another program wants each core.
	for range runtime.NumCPU() {
		other := inRoom(t, room.Env(), "burn")
		if err := other.Start(); err != nil {
			t.Fatal(err)
		}
		defer func() { _ = other.Process.Kill(); _ = other.Wait() }()
	}
	cmd := inRoom(t, room.Env(), "capture", d.String(), ring.String(), look.String())
	var complaint strings.Builder
	cmd.Stderr = &complaint
	text, err := cmd.Output()
	if err != nil {
		t.Fatalf("capture: %v: %s", err, complaint.String())
	}
	if err := json.Unmarshal(text, &out); err != nil {
		t.Fatalf("capture says %q: %v", text, err)
	}
	t.Logf("%+v", out)
	return out
}

// TestCapture takes a sequence from the microphone while every core has more to do
// than it can, and wants each sample of it. With a ring that is too small for a reader
// who is late, it wants to be told of every loss.
func TestCapture(t *testing.T) {
	room := testsound.Start(t)
	sequence(t, room)
	got := runCapture(t, room, *captureFor, 10*time.Second, 10*time.Millisecond)
	if got.Losses.Times() != 0 || got.Breaks != 0 || got.Untold != 0 {
		t.Errorf("sound was lost: %+v", got)
	}
	if whole := (*captureFor - 2*time.Second).Seconds() * audio.Rate * 0.9; float64(got.Samples+got.Silent) < whole {
		t.Errorf("%d samples came, and %d of silence, want %.0f", got.Samples, got.Silent, whole)
	}
	small := runCapture(t, room, 3*time.Second, 64*time.Millisecond, 50*time.Millisecond)
	if small.Losses.Full == 0 || small.Losses.Samples == 0 || small.Breaks == 0 {
		t.Errorf("a ring of 64 ms that is looked at every 50 ms, when it can, loses nothing: %+v", small)
	}
	if small.Untold != 0 {
		t.Errorf("%d losses were not told", small.Untold)
	}
}
