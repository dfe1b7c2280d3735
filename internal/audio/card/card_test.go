package card

import (
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// The model is a plain queue of bounded length that remembers where it was broken.
func TestRingIsAQueue(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := newRing(rapid.IntRange(1, 40).Draw(t, "size"))
		defer r.free()
		size := int(r.c.size)
		var queue []float32
		var lost Losses
		next, broken := float32(0), -1 // index in queue before which something was lost last
		t.Repeat(map[string]func(*rapid.T){
			"call": func(t *rapid.T) {
				s := make([]float32, rapid.IntRange(1, 80).Draw(t, "n"))
				for i := range s {
					s[i] = next
					next++
				}
				overrun := rapid.Bool().Draw(t, "overrun")
				r.call(s, overrun)
				if overrun {
					lost.Device++
					broken = len(queue)
				}
				if room := size - len(queue); len(s) > room {
					lost.Full++
					lost.Samples += len(s) - room
					s = s[:room]
					broken = len(queue) + room
				}
				queue = append(queue, s...)
			},
			"take": func(t *rapid.T) {
				s := make([]float32, rapid.IntRange(1, 80).Draw(t, "n"))
				n, broke := r.take(s)
				if broke != (broken >= 0) {
					t.Fatalf("told of a loss: %v, want %v", broke, broken >= 0)
				}
				if broke {
					queue, broken = queue[broken:], -1
					s = nil
				}
				if n != min(len(s), len(queue)) || !slices.Equal(s[:n], queue[:n]) {
					t.Fatalf("took %v, want the first %d of %v", s[:n], len(s), queue)
				}
				queue = queue[n:]
			},
			"discard": func(t *rapid.T) {
				if told := r.discard(); (told > 0) != (broken >= 0) {
					t.Fatalf("%d losses forgiven, broken %d", told, broken)
				}
				queue, broken = nil, -1
			},
			"": func(*rapid.T) {},
		})
		if got := r.losses(); got != lost {
			t.Fatalf("%+v counted, want %+v", got, lost)
		}
	})
}

// The callback asks Go for nothing: no memory, and it is called by C alone, so that
// no goroutine or collection can hold it up.
func TestCallbackAllocatesNothing(t *testing.T) {
	r := newRing(4096)
	defer r.free()
	in, out := make([]float32, 256), make([]float32, 256)
	if n := testing.AllocsPerRun(1000, func() { r.call(in, true); r.call(in, false); r.take(out); r.take(out); r.take(out) }); n != 0 {
		t.Errorf("%v allocations for two calls and what takes them", n)
	}
}

// TestRingBetweenThreads has ThreadSanitizer look at the writer and the reader, which
// are C. The same program must be caught when the order of the two is taken away.
func TestRingBetweenThreads(t *testing.T) {
	source, err := os.ReadFile("ring.h")
	if err != nil {
		t.Fatal(err)
	}
	run := func(ring string) (string, error) {
		dir := t.TempDir()
		race, err := os.ReadFile("testdata/race.c")
		if err != nil {
			t.Fatal(err)
		}
		write(t, filepath.Join(dir, "ring.h"), ring)
		write(t, filepath.Join(dir, "below", "race.c"), string(race))
		bin := filepath.Join(dir, "race")
		if out, err := exec.Command("gcc", "-g", "-O2", "-fsanitize=thread", "-pthread", "-o", bin, filepath.Join(dir, "below", "race.c")).CombinedOutput(); err != nil {
			t.Fatalf("race.c: %v: %s", err, out)
		}
		// Without fixed addresses, ThreadSanitizer's memory may be taken already.
		cmd := exec.Command("setarch", "-R", bin)
		cmd.Env = append(os.Environ(), "TSAN_OPTIONS=halt_on_error=1")
		out, err := cmd.CombinedOutput()
		return string(out), err
	}
	out, err := run(string(source))
	if err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	t.Log(strings.TrimSpace(out))
	loose := strings.NewReplacer("memory_order_acquire", "memory_order_relaxed", "memory_order_release", "memory_order_relaxed").Replace(string(source))
	if out, err := run(loose); err == nil || !strings.Contains(out, "data race") {
		t.Errorf("without order between the threads: %v: %s", err, out)
	}
}

func write(t *testing.T, path, text string) {
	t.Helper()
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
}

func TestChoose(t *testing.T) {
	devices := []Device{{Name: "HDA: Analog (hw:0,0)"}, {Name: "Headset: USB (hw:1,0)"}, {Name: "Headset"}, {Name: "default", Default: true}}
	for name, want := range map[string]string{
		"": "default", "headset: usb": "Headset: USB (hw:1,0)", "Headset": "Headset", "hda": "HDA: Analog (hw:0,0)",
	} {
		if got, err := choose(devices, name, nil); err != nil || got.Name != want {
			t.Errorf("%q: %q, %v; want %q", name, got.Name, err, want)
		}
	}
	// What is not there is not replaced, and a reason is looked for.
	for name, tt := range map[string]struct {
		devices []Device
		held    []string
		want    string
	}{
		"blue": {devices, []string{"Blue is held by process 7 (arecord)"}, `none has "blue" in its name; there are: HDA: Analog (hw:0,0), Headset: USB (hw:1,0), Headset, default; Blue is held by process 7 (arecord)`},
		"":     {devices[:2], nil, "the system has no default; there are: HDA: Analog (hw:0,0), Headset: USB (hw:1,0)"},
		"any":  {nil, nil, "there is none"},
	} {
		if got, err := choose(tt.devices, name, tt.held); err == nil || err.Error() != tt.want {
			t.Errorf("%q: %v, %v; want %q", name, got, err, tt.want)
		}
	}
}

// The files are as the kernel's documentation of proc/asound shows them (from memory).
func TestHeld(t *testing.T) {
	proc := t.TempDir()
	status := func(pcm, text string) { write(t, filepath.Join(proc, "asound", pcm, "sub0", "status"), text) }
	status("card0/pcm0c", "closed\n")
	status("card1/pcm0c", "state: RUNNING\nowner_pid   : 4711\ntrigger_time: 1.2\n")
	status("card1/pcm0p", "state: RUNNING\nowner_pid   : 4712\n")
	write(t, filepath.Join(proc, "asound/card1/id"), "Headset\n")
	write(t, filepath.Join(proc, "4711/comm"), "arecord\n")
	for d, want := range map[Direction][]string{
		In: {"Headset is held by process 4711 (arecord)"}, Out: {"Headset is held by process 4712"},
	} {
		if got := held(proc, d); !slices.Equal(got, want) {
			t.Errorf("direction %v: %q, want %q", d, got, want)
		}
	}
	if got := held(t.TempDir(), In); got != nil {
		t.Errorf("without a sound driver: %q", got)
	}
}
