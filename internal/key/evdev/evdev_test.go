package evdev

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"
	"unsafe"

	"golang.org/x/sys/unix"

	"waycall/internal/audio"
	"waycall/internal/key"
)

const listed = `I: Bus=0019 Vendor=0000 Product=0001 Version=0000
N: Name="Power Button"
H: Handlers=kbd event0
B: EV=3
B: KEY=10000000000000 0

I: Bus=0011 Vendor=0001 Product=0001 Version=ab41
N: Name="Laptop keyboard"
H: Handlers=sysrq kbd event1 leds
B: EV=120013
B: KEY=402000000 3803078f800d001 feffffdfffefffff fffffffffffffffe

I: Bus=0003 Vendor=0000 Product=0000 Version=0110
N: Name="Foot switch"
H: Handlers=kbd event2
B: EV=3
B: KEY=1000000000000

I: Bus=0003 Vendor=0000 Product=0000 Version=0110
N: Name="Foot rest"
H: Handlers=kbd event3
B: EV=3
B: KEY=2

I: Bus=0019 Vendor=0000 Product=0000 Version=0000
N: Name="Lid"
H: Handlers=event4
B: EV=21
`

// machine is a system whose devices are pipes.
type machine struct {
	system
	t       *testing.T
	mu      sync.Mutex
	grabbed []string
}

func (m *machine) open(name string) (*Key, error) { return m.system.open(name, nil) }

func newMachine(t *testing.T) *machine {
	t.Helper()
	dir := t.TempDir()
	m := &machine{t: t, system: system{list: filepath.Join(dir, "devices"), dir: dir, wait: 5 * time.Millisecond}}
	m.system.grab = func(f *os.File) error {
		m.mu.Lock()
		defer m.mu.Unlock()
		m.grabbed = append(m.grabbed, filepath.Base(f.Name()))
		return nil
	}
	if err := os.WriteFile(m.list, []byte(listed), 0o600); err != nil {
		t.Fatal(err)
	}
	return m
}

// pipe makes a device and returns what presses its keys. Open for both ways, it does not
// wait for who reads it.
func (m *machine) pipe(event string) *os.File {
	m.t.Helper()
	path := filepath.Join(m.dir, event)
	if err := unix.Mkfifo(path, 0o600); err != nil {
		m.t.Fatal(err)
	}
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		m.t.Fatal(err)
	}
	m.t.Cleanup(func() { f.Close() })
	return f
}

// input is what the system writes of a key.
func input(kind, code uint16, value int32) []byte {
	var b bytes.Buffer
	b.Write(make([]byte, unsafe.Sizeof(unix.Timeval{})))
	for _, x := range []any{kind, code, value} {
		if err := binary.Write(&b, binary.NativeEndian, x); err != nil {
			panic(err)
		}
	}
	return b.Bytes()
}

func put(t *testing.T, f *os.File, all ...[]byte) {
	t.Helper()
	for _, b := range all {
		if _, err := f.Write(b); err != nil {
			t.Fatal(err)
		}
	}
}

// wait waits for a gesture, and returns it.
func wait(t *testing.T, k *Key) key.Gesture {
	t.Helper()
	for end := time.Now().Add(30 * time.Second); time.Now().Before(end); time.Sleep(5 * time.Millisecond) {
		if all := k.Next(); len(all) > 0 {
			return all[0]
		}
	}
	t.Fatal("nothing was done with the key")
	return key.Gesture{}
}

func TestKey(t *testing.T) {
	m := newMachine(t)
	pedal, board := m.pipe("event2"), m.pipe("event1")
	k, err := m.open("foot SWITCH")
	if err != nil {
		t.Fatal(err)
	}
	defer k.Close()
	if got := fmt.Sprint(m.grabbed); got != "[event2]" {
		t.Errorf("taken alone: %s", got)
	}
	// What another keyboard types, and what is no key, means nothing. A press that the
	// system repeats is one.
	put(t, board, input(1, 30, 1), input(1, 30, 0))
	put(t, pedal, input(4, 4, 7), input(0, 0, 0), input(1, 48, 1), input(1, 48, 2), input(1, 48, 2))
	if g := wait(t, k); g.Kind != key.Held {
		t.Errorf("held: %+v", g)
	}
	put(t, pedal, input(1, 48, 0))
	if g := wait(t, k); g.Kind != key.Released {
		t.Errorf("let go: %+v", g)
	}
	time.Sleep(50 * time.Millisecond) // a press that follows sooner is a bounce
	put(t, pedal, input(1, 48, 1), input(1, 48, 0))
	if g := wait(t, k); g.Kind != key.Tap {
		t.Errorf("tapped: %+v", g)
	}
}

// A key of a keyboard is that key alone, and the keyboard is left to the others.
func TestKeyOfKeyboard(t *testing.T) {
	m := newMachine(t)
	board := m.pipe("event1")
	if _, err := m.open("laptop"); err == nil || !strings.Contains(err.Error(), "all letters") || !strings.Contains(err.Error(), "laptop:88") {
		t.Errorf("a whole keyboard: %v", err)
	}
	k, err := m.open("laptop:88")
	if err != nil {
		t.Fatal(err)
	}
	defer k.Close()
	if len(m.grabbed) > 0 {
		t.Errorf("the keyboard of the computer is taken: %v", m.grabbed)
	}
	put(t, board, input(1, 30, 1), input(1, 30, 0), input(1, 28, 1), input(1, 28, 0), input(1, 88, 1))
	if g := wait(t, k); g.Kind != key.Held {
		t.Errorf("%+v", g)
	}
}

// A key that goes away while it is held is let go; once it is back it is read again.
func TestKeyGoneAndBack(t *testing.T) {
	m := newMachine(t)
	pedal := m.pipe("event2")
	news := make(chan audio.News, 10)
	k, err := m.system.open("Foot switch", func(n audio.News) { news <- n })
	if err != nil {
		t.Fatal(err)
	}
	defer k.Close()
	put(t, pedal, input(1, 48, 1))
	if g := wait(t, k); g.Kind != key.Held || !k.There() {
		t.Errorf("held: %+v", g)
	}
	if err := os.Remove(filepath.Join(m.dir, "event2")); err != nil {
		t.Fatal(err)
	}
	pedal.Close()
	if g := wait(t, k); g.Kind != key.Released {
		t.Errorf("gone: %+v", g)
	}
	if n := <-news; !n.Gone || k.There() {
		t.Errorf("told %+v", n)
	}
	pedal = m.pipe("event2")
	if n := <-news; n.Gone || !k.There() {
		t.Errorf("told %+v", n)
	}
	put(t, pedal, input(1, 48, 1))
	if g := wait(t, k); g.Kind != key.Held {
		t.Errorf("held again: %+v", g)
	}
	// A second time it is told again.
	if err := os.Remove(filepath.Join(m.dir, "event2")); err != nil {
		t.Fatal(err)
	}
	pedal.Close()
	if n := <-news; !n.Gone {
		t.Errorf("told %+v", n)
	}
}

func TestKeyRefused(t *testing.T) {
	m := newMachine(t)
	m.pipe("event2")
	for name, want := range map[string]string{
		"foot":   `may be "Foot rest" or "Foot switch"`,
		"lid":    `no device is called "lid"`,
		"nobody": `there are "Foot rest", "Foot switch", "Laptop keyboard", "Power Button"`,
		"power":  "no such file",
	} {
		if _, err := m.open(name); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: %v, want %s", name, err, want)
		}
	}
	m.system.grab = func(*os.File) error { return errors.New("busy") }
	if _, err := m.open("Foot switch"); err == nil || !strings.Contains(err.Error(), "end the other program") {
		t.Errorf("taken by another: %v", err)
	}
	m.list = "/nonexistent"
	if _, err := m.open("Foot switch"); err == nil || !strings.Contains(err.Error(), "Linux") {
		t.Errorf("no Linux: %v", err)
	}
}
