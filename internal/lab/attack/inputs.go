package attack

import (
	"bytes"
	"context"
	"encoding/binary"
	"fmt"
	"net"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"time"
)

var inputAttacks = []Attack{
	{
		Name: "special", Group: groupHostile, Title: "what is no plain file (FIFO, device, folder, socket, links, gigabytes of nothing), given to every command that reads",
		Bar: "refused with words, without waiting; at most 768 MiB", Long: len(readers) * len(specials), Short: 14, Trial: specialFile,
	},
	{
		Name: "input", Group: groupHostile, Title: "board files, CSV, JSON, WAV, FLAC and others, mutated or made to hurt, given to every command that reads",
		Bar: "an answer or an error; never a crash, never hanging; at most 768 MiB; nothing printed that moves a cursor", Long: 400, Short: 12, Trial: hostileInput,
	},
	{
		Name: "output", Group: groupHostile, Title: "a file to write to that is the job, another job, a device, a FIFO, a folder or a link to one of them",
		Bar: "what was there is there, as it was", Long: 60, Short: 6, Trial: hostileOutput,
	},
	{
		Name: "term", Group: groupHostile, Title: "the first SIGTERM to a command that waits for a FIFO whose other end is open", Bar: "it ends", Long: len(readers), Short: 2, Trial: firstTerm,
	},
}

// reader is a command that reads a file.
type reader struct {
	name string
	end  string // of the file's name
	good string // a file that it takes, below testdata
	args func(t *Trial, file string) []string
	ears bool // it loads the recognisers
}

var readers = []reader{
	{"new", ".yaml", "boards/terrace.yaml", func(_ *Trial, f string) []string { return []string{"new", f} }, false},
	{"new --ways", ".csv", "", func(t *Trial, f string) []string { return []string{"new", t.board(), "--ways", f} }, false},
	{"new --board-from", ".json", "schedule", func(_ *Trial, f string) []string {
		return []string{"new", "--board-from", f, "--reference", "NEW-1", "--write", "new.yaml"}
	}, false},
	{"check", ".yaml", "boards/terrace.yaml", func(_ *Trial, f string) []string { return []string{"check", f, "--readings", f} }, false},
	{"check --readings csv", ".csv", "readings/workshop.csv", func(t *Trial, f string) []string { return []string{"check", t.board(), "--readings", f} }, false},
	{"check --readings yaml", ".yaml", "readings/store.yaml", func(t *Trial, f string) []string { return []string{"check", t.board(), "--readings", f} }, false},
	{"due", ".yaml", "boards/annexe.yaml", func(_ *Trial, f string) []string { return []string{"due", f} }, false},
	{"schedule --from", ".json", "schedule", func(_ *Trial, f string) []string { return []string{"schedule", "--from", f} }, false},
	{"hear", ".wav", "wav", func(_ *Trial, f string) []string { return []string{"hear", "--json", f} }, true},
	{"hear flac", ".flac", "audio/0004-af_heart.flac", func(_ *Trial, f string) []string { return []string{"hear", "--json", f} }, true},
	{"hear --board", ".yaml", "boards/annexe.yaml", func(t *Trial, f string) []string {
		return []string{"hear", "--board", f, filepath.Join(t.testdata(), "audio", "0004-af_heart.flac")}
	}, true},
	{"listen --file", ".wav", "wav", func(_ *Trial, f string) []string { return []string{"listen", "--file", f} }, true},
	{"import", ".zip", "", func(_ *Trial, f string) []string { return []string{"import", f} }, false},
	{"verify", ".waycall", "", func(_ *Trial, f string) []string { return []string{"verify", f} }, false},
	{"settings", ".yaml", "", func(t *Trial, f string) []string {
		at := filepath.Join(t.path("config"), "waycall")
		t.must(os.MkdirAll(at, 0o755))
		t.must(joined(os.Remove(filepath.Join(at, "settings.yaml"))))
		t.must(os.Symlink(f, filepath.Join(at, "settings.yaml")))
		return []string{"settings"}
	}, false},
}

// board is a board file that is sound.
func (t *Trial) board() string { return filepath.Join(t.testdata(), "boards", "workshop.yaml") }

// example is a file that a reader takes.
func (t *Trial) example(ctx context.Context, r reader) []byte {
	switch r.good {
	case "":
		return []byte("way,feeds\n1,Lighting\n")
	case "wav":
		return wave(16000, 1, 16, 1, 32000)
	case "schedule":
		t.clean(cutAt)
		return []byte(t.waycall(ctx, "schedule", "--json", jobName).out)
	}
	b, err := os.ReadFile(filepath.Join(t.testdata(), r.good))
	t.must(err)
	return b
}

// special makes something that is no plain file, or no small one.
type special struct {
	name string
	make func(t *Trial, path string) error
}

var specials = []special{
	{"a FIFO", func(_ *Trial, p string) error { return syscall.Mkfifo(p, 0o600) }},
	{"/dev/zero", func(_ *Trial, p string) error { return os.Symlink("/dev/zero", p) }},
	{"/dev/full", func(_ *Trial, p string) error { return os.Symlink("/dev/full", p) }},
	{"/dev/urandom", func(_ *Trial, p string) error { return os.Symlink("/dev/urandom", p) }},
	{"a folder", func(_ *Trial, p string) error { return os.Mkdir(p, 0o755) }},
	{"a socket", func(t *Trial, p string) error {
		l, err := net.Listen("unix", p)
		if err != nil { // its name is too long for one
			return syscall.Mkfifo(p, 0o600)
		}
		t.After(func() { l.Close() })
		return nil
	}},
	{"a link to nothing", func(_ *Trial, p string) error { return os.Symlink("nowhere", p) }},
	{"a link to itself", func(_ *Trial, p string) error { return os.Symlink(filepath.Base(p), p) }},
	{"4 GB of zeros", func(_ *Trial, p string) error {
		f, err := os.Create(p)
		if err != nil {
			return err
		}
		defer f.Close()
		return f.Truncate(4 << 30)
	}},
	{"an empty file", func(_ *Trial, p string) error { return os.WriteFile(p, nil, 0o600) }},
}

// quickly is how long a command may do nothing, or work, that has only to refuse.
const quickly = 60 * time.Second

func specialFile(ctx context.Context, t *Trial) {
	r := readers[(t.Number-1)%len(readers)]
	s := specials[(t.Number-1)/len(readers)%len(specials)]
	if t.short() { // FIFOs for most
		s = specials[(t.Number-1)%4%3]
	}
	file := t.path("hostile" + r.end)
	t.must(s.make(t, file))
	got := t.waycallFor(ctx, quickly, nil, r.args(t, file)...)
	t.bears(r.name+" of "+s.name, got)
}

// bears fails where a command did not bear what it was given.
func (t *Trial) bears(what string, r ran) {
	switch {
	case r.hung:
		t.Failf("%s: hung", what)
	case r.crashed():
		t.Failf("%s: %s", what, r)
	case r.code != 0 && strings.TrimSpace(r.err) == "":
		t.Failf("%s: exit %d without a word", what, r.code)
	case r.code == 0:
		t.Saw("answered")
	default:
		t.Saw("refused")
	}
	if r.peak > mostAtAll {
		t.Failf("%s: %d MiB of memory", what, r.peak>>20)
	}
	t.printable(what, r)
}

// wave is a WAV file with a header as given and so many bytes of sound.
func wave(rate, channels, bits, format, size int) []byte {
	var b bytes.Buffer
	b.WriteString("RIFF")
	put := func(v any) { _ = binary.Write(&b, binary.LittleEndian, v) }
	put(uint32(36 + size))
	b.WriteString("WAVEfmt ")
	put(uint32(16))
	put(uint16(format))
	put(uint16(channels))
	put(uint32(rate))
	put(uint32(rate * channels * bits / 8))
	put(uint16(channels * bits / 8))
	put(uint16(bits))
	b.WriteString("data")
	put(uint32(size))
	for i := range min(size, 1<<16) {
		b.WriteByte(byte(i * 7))
	}
	return b.Bytes()
}

// hostiles make content that hurts out of content that does not.
var hostiles = []func(t *Trial, good []byte) []byte{
	func(t *Trial, good []byte) []byte { // flips
		for range 1 + t.Rand.IntN(10) {
			good = flip(t.Rand, good)
		}
		return good
	},
	func(t *Trial, good []byte) []byte { return cutShort(t.Rand, good) },
	func(t *Trial, good []byte) []byte { return sector(t.Rand, good) },
	func(t *Trial, good []byte) []byte { // a line or a piece said again and again
		from := t.Rand.IntN(len(good))
		to := min(len(good), from+1+t.Rand.IntN(200))
		return append(good[:to:to], append(bytes.Repeat(good[from:to], 1+t.Rand.IntN(2000)), good[to:]...)...)
	},
	func(t *Trial, good []byte) []byte { // a hostile value in the place of a number or a word
		words := [][]byte{[]byte("99999999999999999999"), []byte("-1"), []byte("1e999"), []byte("NaN"), []byte("\x1b[2J"), []byte("\u202e"), []byte("\x00"), []byte("*x"), []byte("&x [*x]"), []byte("!!binary x"), []byte(`"\ud800"`), []byte("0x7fffffffffffffff")}
		at := t.Rand.IntN(len(good))
		return append(good[:at:at], append(words[t.Rand.IntN(len(words))], good[at:]...)...)
	},
	func(t *Trial, _ []byte) []byte { return junk(t.Rand, 1+t.Rand.IntN(1<<16)) },
	func(t *Trial, _ []byte) []byte {
		return bytes.Repeat([]byte{"[{(\"'\n,:-"[t.Rand.IntN(9)]}, 1<<(10+t.Rand.IntN(12)))
	},
	func(_ *Trial, _ []byte) []byte { // aliases of aliases
		var b strings.Builder
		b.WriteString("a0: &a0 [x, x, x, x, x, x, x, x, x, x]\n")
		for i := 1; i < 12; i++ {
			fmt.Fprintf(&b, "a%d: &a%d [%s]\n", i, i, strings.TrimSuffix(strings.Repeat(fmt.Sprintf("*a%d, ", i-1), 10), ", "))
		}
		return []byte(b.String())
	},
	func(t *Trial, _ []byte) []byte { // sound with a hostile header
		pick := func(v ...int) int { return v[t.Rand.IntN(len(v))] }
		return wave(pick(0, 1, 16000, 44100, 1<<31-1), pick(0, 1, 2, 255, 65535), pick(0, 1, 8, 12, 16, 24, 32, 64), pick(0, 1, 3, 6, 0xfffe), pick(0, 1, 4000, 32000, 1<<31-1, 1<<32-1))
	},
	func(t *Trial, good []byte) []byte { return append([]byte("\xef\xbb\xbf"), good...) },
	func(t *Trial, good []byte) []byte {
		return bytes.ReplaceAll(good, []byte("\n"), []byte([]string{"\r", "\r\n", "\n\n", "\u2028"}[t.Rand.IntN(4)]))
	},
}

func hostileInput(ctx context.Context, t *Trial) {
	n := (t.Number - 1) % len(readers)
	r := readers[n]
	if t.short() && r.ears {
		r = readers[0]
	}
	good := t.example(ctx, r)
	file := t.path("hostile" + r.end)
	t.must(os.WriteFile(file, hostiles[t.Rand.IntN(len(hostiles))](t, good), 0o600))
	t.bears(r.name, t.waycallFor(ctx, patience, nil, r.args(t, file)...))
}

func hostileOutput(ctx context.Context, t *Trial) {
	b := t.clean(cutAt)
	another := filepath.Join(t.jobs(), "OTHER-1.waycall")
	t.must(copyFile(t.other(ctx), another))
	target := t.path("target")
	at := target // what must stay
	kind := t.Number % 8
	switch kind {
	case 0:
		target, at = b.path, b.path
	case 1:
		target, at = another, another
	case 2:
		if err := syscall.Mknod(target, syscall.S_IFCHR|0o600, 1<<8|3); err != nil {
			t.Saw("no device may be made here")
			return
		}
	case 3:
		t.must(syscall.Mkfifo(target, 0o600))
	case 4:
		t.must(os.Mkdir(target, 0o755))
	case 5:
		t.must(os.Symlink(b.path, target))
		at = b.path
	case 6:
		t.must(os.Symlink("/dev/null", target))
	case 7:
		at = t.path("database")
		target = at
		t.must(os.WriteFile(at, t.foreign(), 0o600))
	}
	info, err := os.Lstat(target)
	t.must(err)
	var before []byte
	if plain, err := os.Stat(at); err == nil && plain.Mode().IsRegular() { // to read a FIFO is to wait
		before, err = os.ReadFile(at)
		t.must(err)
	}
	args := [][]string{
		{"schedule", jobName, "--out", target}, {"schedule", jobName, "--format", "pdf", "--out", target}, {"schedule", jobName, "--json", "--out", target},
		{"export", jobName, target}, {"schedule", jobName, "--format", "xlsx", "--out", target},
	}[t.Rand.IntN(5)]
	r := t.waycallFor(ctx, quickly, nil, args...)
	t.bears(strings.Join(args, " "), r)
	now, err := os.Lstat(target)
	if err != nil || now.Mode() != info.Mode() || !os.SameFile(now, info) {
		t.Failf("%s: it was replaced (%v): %s", strings.Join(args, " "), err, r)
		return
	}
	if before != nil {
		if after, err := os.ReadFile(at); err != nil || !bytes.Equal(before, after) {
			t.Failf("%s: it was written over: %s", strings.Join(args, " "), r)
		}
	}
}

// firstTerm has a command read a FIFO into which nobody writes, though it is open, and
// ends it with one SIGTERM. Where it is refused at once that is as good.
func firstTerm(ctx context.Context, t *Trial) {
	r := readers[(t.Number-1)%len(readers)]
	file := t.path("hostile" + r.end)
	t.must(syscall.Mkfifo(file, 0o600))
	hold, err := os.OpenFile(file, os.O_RDWR, 0) // so that opening it does not wait
	t.must(err)
	defer hold.Close()
	args := r.args(t, file)
	s := t.begin(t.env(), false, t.Binary, args...)
	select {
	case <-s.ended:
		s.wait()
		t.Saw("refused at once")
		return
	case <-time.After(5 * time.Second):
	}
	s.signal(syscall.SIGTERM)
	select {
	case <-s.ended:
		t.Saw("ended by SIGTERM")
	case <-time.After(quickly):
		t.Failf("%s: waits for ever, and SIGTERM does not end it", r.name)
		s.kill()
	}
	s.wait()
}
