// Package evdev reads one key from the input devices of Linux: a foot switch, the button of
// a headset or a Bluetooth clicker, all of which are keyboards to the system.
//
// A key is named by its device, so that what is typed on another keyboard means nothing
// here; and the device is taken for waycall alone while it runs, so that the key types
// nothing into another window. All keys of such a device are one key. A device with all
// letters may be the keyboard of the computer: of that one key alone is taken, by its
// number, and it is left to the other windows, too.
package evdev

import (
	"bufio"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"
	"unsafe"

	"golang.org/x/sys/unix"

	"waycall/internal/advice"
	"waycall/internal/audio"
	"waycall/internal/key"
)

// Key is a key that is being read. Next is for one goroutine.
type Key struct {
	sys    system
	news   func(audio.News)
	code   int // the only key that counts; 0 for any
	edges  chan edge
	means  key.Gestures
	closed chan struct{}
	mu     sync.Mutex
	open   []*os.File
	ended  bool
	work   sync.WaitGroup
}

type edge struct {
	down bool
	at   time.Time
}

// system is where the devices are, other in tests.
type system struct {
	list string // what is there, as /proc/bus/input/devices
	dir  string // the devices, as /dev/input
	grab func(*os.File) error
	wait time.Duration // before a device that is gone is looked for again
}

var linux = system{list: "/proc/bus/input/devices", dir: "/dev/input", grab: grab, wait: time.Second}

// grab takes the device for this program alone, until it is closed.
func grab(f *os.File) error {
	const eviocgrab = 0x40044590 // _IOW('E', 0x90, int) of linux/input.h
	c, err := f.SyscallConn()
	if err != nil {
		return err
	}
	var failed error
	if err := c.Control(func(fd uintptr) { failed = unix.IoctlSetInt(int(fd), eviocgrab, 1) }); err != nil {
		return err
	}
	return failed
}

// Open begins to read the key of the one device whose name holds the given text, whatever
// the case, or with ":" and a number after it that key of the device alone. The error says
// what to do.
// tell is told when the key is gone and when it is back, and returns quickly.
func Open(name string, tell func(audio.News)) (*Key, error) { return linux.open(name, tell) }

func (s system) open(name string, tell func(audio.News)) (*Key, error) {
	part, code := split(name)
	found, err := s.find(part)
	if err != nil {
		return nil, err
	}
	if found[0].letters && code == 0 {
		return nil, advice.Errorf(fmt.Sprintf("name the one key that counts by its number, as in --key %q, one that nothing else uses", part+":88"),
			"key: %q has all letters, and any slip on it would count", found[0].name)
	}
	k := &Key{sys: s, news: tell, code: code, edges: make(chan edge, 256), closed: make(chan struct{})}
	for _, d := range found {
		f, err := s.take(d)
		if err != nil {
			k.Close()
			return nil, err
		}
		k.follow(f, d)
	}
	return k, nil
}

// split takes the number of a key off the name of its device.
func split(name string) (device string, code int) {
	if at := strings.LastIndex(name, ":"); at >= 0 {
		if n, err := strconv.Atoi(name[at+1:]); err == nil && n > 0 {
			return name[:at], n
		}
	}
	return name, 0
}

// device is one that the system lists. Several may have one name, as one for the letters of
// a clicker and one for its other keys.
type device struct {
	name, event string // event is as "event3"
	letters     bool   // it has all letters
}

// find returns the devices of the one name that holds the text.
func (s system) find(part string) ([]device, error) {
	all, err := s.devices()
	if err != nil {
		return nil, advice.Errorf("a key can be used on Linux alone", "key: %w", err)
	}
	var found []device
	var names, there []string
	for _, d := range all {
		if there = append(there, strconv.Quote(d.name)); strings.Contains(strings.ToLower(d.name), strings.ToLower(part)) {
			found, names = append(found, d), append(names, strconv.Quote(d.name))
		}
	}
	if exact := slices.DeleteFunc(slices.Clone(found), func(d device) bool { return d.name != part }); len(exact) > 0 {
		return exact, nil
	}
	slices.Sort(names)
	slices.Sort(there)
	switch names = slices.Compact(names); len(names) {
	case 0:
		return nil, advice.Errorf("connect it, or name another one with --key: there are "+strings.Join(slices.Compact(there), ", "), "key: no device is called %q", part)
	case 1:
		return found, nil
	}
	return nil, advice.Errorf("give one of the names whole", "key: %q may be %s", part, strings.Join(names, " or "))
}

// devices lists the devices that have keys.
func (s system) devices() ([]device, error) {
	f, err := os.Open(s.list)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	var all []device
	var d device
	lines := bufio.NewScanner(io.LimitReader(f, 1<<20))
	for lines.Scan() {
		line := lines.Text()
		switch {
		case line == "":
			d = device{}
		case strings.HasPrefix(line, "N: Name="):
			d.name = strings.Trim(strings.TrimPrefix(line, "N: Name="), `"`)
		case strings.HasPrefix(line, "H: Handlers="):
			for _, h := range strings.Fields(strings.TrimPrefix(line, "H: Handlers=")) {
				if strings.HasPrefix(h, "event") && filepath.Base(h) == h {
					d.event = h
				}
			}
		case strings.HasPrefix(line, "B: KEY="):
			d.letters = lettersIn(strings.Fields(strings.TrimPrefix(line, "B: KEY=")))
			if d.event != "" && d.name != "" {
				all = append(all, d)
			}
		}
	}
	return all, lines.Err()
}

// lettersIn reports whether all letters are among the keys: bits by the numbers of
// linux/input-event-codes.h in words of 64, the highest first.
func lettersIn(words []string) bool {
	if len(words) == 0 {
		return false
	}
	low, err := strconv.ParseUint(words[len(words)-1], 16, 64)
	for _, row := range [][2]int{{16, 25}, {30, 38}, {44, 50}} {
		for code := row[0]; code <= row[1]; code++ {
			if err != nil || low&(1<<code) == 0 {
				return false
			}
		}
	}
	return true
}

// take opens a device, for this program alone unless it has all letters.
func (s system) take(d device) (*os.File, error) {
	f, err := os.OpenFile(filepath.Join(s.dir, d.event), os.O_RDONLY|unix.O_NONBLOCK, 0)
	if errors.Is(err, fs.ErrPermission) {
		return nil, advice.Errorf("let this user read input devices: sudo usermod -aG input $USER, then log in anew", "key %q: %w", d.name, err)
	}
	if err != nil {
		return nil, advice.Errorf("connect it again", "key %q: %w", d.name, err)
	}
	if !d.letters {
		if err := s.grab(f); err != nil {
			f.Close()
			return nil, advice.Errorf("end the other program that has taken it", "key %q cannot be had alone: %w", d.name, err)
		}
	}
	return f, nil
}

// follow reads a device until it is gone, and then waits for it to come back.
func (k *Key) follow(f *os.File, d device) {
	k.mu.Lock()
	defer k.mu.Unlock()
	if k.ended {
		f.Close()
		return
	}
	k.open = append(k.open, f)
	k.work.Go(func() {
		k.read(f)
		for gone := false; ; {
			k.forget(f)
			select {
			case <-k.closed:
				return
			case <-time.After(k.sys.wait):
			}
			if !gone {
				gone = true
				k.tell(audio.News{Text: "The key is gone: switch it on or connect it again; what is said is heard as before", Gone: true})
			}
			if again, ok := k.again(d); ok {
				f = again
				k.tell(audio.News{Text: "The key is back"})
				k.read(f)
				gone = false
			}
		}
	})
}

// again opens a device that was gone, if it is there.
func (k *Key) again(d device) (*os.File, bool) {
	all, err := k.sys.devices()
	at := slices.IndexFunc(all, func(x device) bool { return x.name == d.name && x.letters == d.letters })
	if err != nil || at < 0 {
		return nil, false
	}
	f, err := k.sys.take(all[at])
	if err != nil {
		return nil, false
	}
	k.mu.Lock()
	defer k.mu.Unlock()
	if k.ended {
		f.Close()
		return nil, false
	}
	k.open = append(k.open, f)
	return f, true
}

func (k *Key) forget(f *os.File) {
	f.Close()
	k.mu.Lock()
	defer k.mu.Unlock()
	k.open = slices.DeleteFunc(k.open, func(x *os.File) bool { return x == f })
}

func (k *Key) tell(n audio.News) {
	if k.news != nil {
		k.news(n)
	}
}

// read gives the edges of a device until it ends. A key that is down then counts as let go.
func (k *Key) read(f *os.File) {
	const (
		evKey = 1 // EV_KEY of linux/input-event-codes.h
		head  = int(unsafe.Sizeof(unix.Timeval{}))
	)
	buf := make([]byte, head+8) // struct input_event: the time, type, code and value
	down := map[int]bool{}
	for {
		if _, err := io.ReadFull(f, buf); err != nil {
			break
		}
		kind := binary.NativeEndian.Uint16(buf[head:])
		code := int(binary.NativeEndian.Uint16(buf[head+2:]))
		value := int32(binary.NativeEndian.Uint32(buf[head+4:])) // 0 up, 1 down, 2 repeats
		if kind != evKey || value < 0 || value > 1 || k.code != 0 && code != k.code {
			continue
		}
		was := len(down) > 0
		if value == 1 {
			down[code] = true
		} else {
			delete(down, code)
		}
		if is := len(down) > 0; is != was {
			k.give(is)
		}
	}
	if len(down) > 0 {
		k.give(false)
	}
}

// give hands an edge on. Where nobody has asked for long, the key has meant nothing anyway.
func (k *Key) give(down bool) {
	select {
	case k.edges <- edge{down, time.Now()}:
	case <-k.closed:
	}
}

// Next returns, without waiting, what was done with the key since it was last asked.
func (k *Key) Next() []key.Gesture {
	var all []key.Gesture
	for {
		select {
		case e := <-k.edges:
			all = append(all, k.means.Edge(e.down, e.at)...)
		default:
			return append(all, k.means.Wait(time.Now())...)
		}
	}
}

// There reports whether the device is there.
func (k *Key) There() bool {
	k.mu.Lock()
	defer k.mu.Unlock()
	return len(k.open) > 0
}

// Close gives the device back.
func (k *Key) Close() {
	k.mu.Lock()
	if !k.ended {
		k.ended = true
		close(k.closed)
	}
	for _, f := range k.open {
		f.Close()
	}
	k.mu.Unlock()
	k.work.Wait()
}
