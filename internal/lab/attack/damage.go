package attack

import (
	"bytes"
	"context"
	"io/fs"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"waycall/internal/hear/engines"
)

const (
	groupDamage = "damage"
	noticed     = "noticed, or harmless: never \"whole\" with something gone, never another figure, never a crash"
)

var damageAttacks = []Attack{
	{
		Name: "wal-flip", Group: groupDamage, Title: "a bit flipped in the write-ahead log of a session that was cut off", Bar: noticed + "; the log is put aside before anything is written",
		Long: 370, Short: 6, Trial: logDamage(flip),
	},
	{
		Name: "wal-cut", Group: groupDamage, Title: "that log cut short", Bar: noticed + "; the log is put aside before anything is written",
		Long: 100, Short: 4, Trial: logDamage(cutShort),
	},
	{
		Name: "wal-sector", Group: groupDamage, Title: "a sector of that log zeroed, random, doubled or swapped", Bar: noticed + "; the log is put aside before anything is written",
		Long: 60, Short: 2, Trial: logDamage(sector),
	},
	{Name: "wal-gone", Group: groupDamage, Title: "the job without its log, or with that of another", Bar: noticed, Long: 8, Short: 2, Trial: logGone},
	{Name: "shm", Group: groupDamage, Title: "a bit flipped in the -shm, or it is cut or gone", Bar: "the record is read whole", Long: 30, Short: 2, Trial: shmDamage},
	{Name: "job-flip", Group: groupDamage, Title: "a bit flipped anywhere in the job's file", Bar: noticed, Long: 300, Short: 5, Trial: jobDamage(flip)},
	{Name: "job-header", Group: groupDamage, Title: "a bit flipped in the job's first page", Bar: noticed, Long: 150, Short: 4, Trial: jobDamage(flipHeader)},
	{Name: "job-cut", Group: groupDamage, Title: "the job's file cut short", Bar: noticed, Long: 80, Short: 2, Trial: jobDamage(cutShort)},
	{Name: "job-sector", Group: groupDamage, Title: "a sector of it zeroed, random, doubled or swapped", Bar: noticed, Long: 150, Short: 3, Trial: jobDamage(sector)},
	{Name: "beside", Group: groupDamage, Title: "the note beside the job flipped, cut, emptied, gone, or that of another", Bar: "the record is read whole; a note that is damaged is told, and made anew by the next session", Long: 60, Short: 4, Trial: noteDamage},
	{Name: "copy", Group: groupDamage, Title: "the copy damaged between two sessions", Bar: "the record is whole; the copy is refused with words, or right", Long: 40, Short: 2, Trial: copyDamage},
	{Name: "export", Group: groupDamage, Title: "an exported file flipped, cut or with a sector gone", Bar: "refused and nothing left behind, or the same record", Long: 120, Short: 3, Trial: exportDamage},
	{Name: "settings", Group: groupDamage, Title: "the settings and the register of instruments damaged", Bar: "an answer or an error that says what to do; never a crash", Long: 80, Short: 3, Trial: settingsDamage},
	{Name: "model", Group: groupDamage, Title: "the speech model flipped or cut, with its sum and without", Bar: "with its sum refused; never a crash", Long: 24, Short: 0, Trial: modelDamage},
}

// damager damages the content of a file.
type damager func(r *rand.Rand, b []byte) []byte

func flip(r *rand.Rand, b []byte) []byte {
	b[r.IntN(len(b))] ^= 1 << r.IntN(8)
	return b
}

func flipHeader(r *rand.Rand, b []byte) []byte {
	b[r.IntN(min(len(b), 4096))] ^= 1 << r.IntN(8)
	return b
}

func cutShort(r *rand.Rand, b []byte) []byte { return b[:r.IntN(len(b))] }

func sector(r *rand.Rand, b []byte) []byte {
	size := []int{512, 4096}[r.IntN(2)]
	if len(b) < 2*size {
		return flip(r, b)
	}
	n := len(b) / size
	x, y := b[r.IntN(n)*size:][:size], b[r.IntN(n)*size:][:size]
	switch r.IntN(4) {
	case 0:
		clear(x)
	case 1:
		for i := range x {
			x[i] = byte(r.Uint32())
		}
	case 2:
		copy(x, y)
	case 3:
		kept := slices.Clone(x)
		copy(x, y)
		copy(y, kept)
	}
	return b
}

// damage damages a file, and returns what it holds then.
func (t *Trial) damage(path string, how damager) []byte {
	b, err := os.ReadFile(path)
	t.must(err)
	before := slices.Clone(b)
	for range 20 { // a sector swapped with one like it is none
		if b = how(t.Rand, b); !bytes.Equal(before, b) {
			break
		}
	}
	t.must(os.WriteFile(path, b, 0o600))
	return b
}

// judge asks waycall about a damaged job and holds it against what SQLite alone sees and
// what the job was. It reports whether anything of the record is gone or changed.
func (t *Trial) judge(ctx context.Context, b base, known verdict) (lost bool) {
	h, err := readHeld(b.path, t.Dir)
	intact := err == nil && len(h.wrong) == 0 && h.head == b.head
	r := t.waycall(ctx, "verify", "--json", b.path)
	v := readVerdict(r)
	news := len(v.Problems) > 0 || slices.ContainsFunc(v.Notes, func(n finding) bool { return !slices.Contains(known.Notes, n) })
	switch {
	case r.crashed():
		t.Failf("verify: %s", r)
	case r.code != 0 && len(v.Problems) == 0 && r.err == "":
		t.Failf("verify fails without words: %s", r)
	case r.code != 0 || news:
		t.Saw(map[bool]string{true: "noticed, nothing gone", false: "noticed"}[intact])
	case intact:
		t.Saw("harmless")
	default:
		t.Failf("not noticed: %d of %d events are left (%v), and verify says that the record is whole", h.count(), len(b.told), err)
	}
	return !intact
}

// asked is what is printed of a job.
var asked = [][]string{{"show", "--json", jobName}, {"schedule", "--json", jobName}, {"due", "--json", jobName}}

// sameAnswers fails where what is printed of a damaged job without a word of warning is
// other than what is printed of the job when it was whole.
func (t *Trial) sameAnswers(ctx context.Context, want map[string]string) {
	for _, args := range asked {
		if t.Rand.IntN(2) > 0 {
			continue
		}
		r := t.waycall(ctx, args...)
		switch {
		case r.crashed():
			t.Failf("%s", r)
		case r.code == 0 && r.err == "" && t.plain(r.out) != want[args[0]]:
			t.Failf("%s prints something else, and no warning", args[0])
			t.Logf("whole: %s\nnow: %s", want[args[0]], r.out)
		}
	}
}

// answers is what is printed of the trial's job while it is whole; kind names the job it
// was copied from.
func (t *Trial) answers(ctx context.Context, kind string) map[string]string {
	t.bases.mu.Lock()
	defer t.bases.mu.Unlock()
	if t.bases.answers == nil {
		t.bases.answers = map[string]map[string]string{}
	}
	if t.bases.answers[kind] == nil {
		all := map[string]string{}
		for _, args := range asked {
			r := t.waycall(ctx, args...)
			if r.code != 0 {
				t.Fatalf("a job that is whole: %s", r)
			}
			all[args[0]] = t.plain(r.out)
		}
		t.bases.answers[kind] = all
	}
	return t.bases.answers[kind]
}

// plain is what was printed without the folder of the trial.
func (t *Trial) plain(out string) string { return strings.ReplaceAll(out, t.Dir, "FOLDER") }

// jobName is what the job of the attacks is called, and finding what verify says.
const jobName = "COT-0204"

type finding = struct {
	What string `json:"what"`
}

func logDamage(how damager) func(context.Context, *Trial) {
	return func(ctx context.Context, t *Trial) {
		t.cutOff()
		known := t.knownOfCut(ctx)
		want := t.answers(ctx, "cut off")
		t.must(os.RemoveAll(t.jobs())) // reading may have moved things
		b := t.cutOff()
		left := t.damage(b.path+"-wal", how)
		lost := t.judge(ctx, b, known)
		if !lost {
			return
		}
		t.sameAnswers(ctx, want)
		if t.Rand.IntN(3) > 0 && !t.short() {
			return
		}
		// A session that begins on it keeps what it cannot read.
		s := t.attacked(Victim{Job: b.path, From: cutAt, Lines: 2})
		code := s.wait()
		kept := false
		_ = filepath.WalkDir(t.jobs(), func(path string, d fs.DirEntry, err error) error {
			if err == nil && d.Type().IsRegular() {
				if c, err := os.ReadFile(path); err == nil && bytes.Equal(c, left) {
					kept = true
				}
			}
			return nil
		})
		switch {
		case len(left) == 0:
		case !kept:
			t.Failf("a session was begun (exit %d), and the damaged log is gone for good", code)
		case code != 0:
			t.Saw("session refused")
		default:
			t.Saw("log put aside")
		}
	}
}

// knownOfCut is what verify says of the job that was cut off, undamaged.
func (t *Trial) knownOfCut(ctx context.Context) verdict {
	t.bases.mu.Lock()
	defer t.bases.mu.Unlock()
	if t.bases.known == nil {
		r := t.waycall(ctx, "verify", "--json", t.job())
		v := readVerdict(r)
		if r.code != 0 || v.Head != t.bases.cut.head {
			t.Fatalf("verify of a job that was cut off: %s", r)
		}
		t.bases.known = &v
	}
	return *t.bases.known
}

func logGone(ctx context.Context, t *Trial) {
	b := t.cutOff()
	known := t.knownOfCut(ctx)
	switch t.Number % 2 {
	case 1:
		t.must(os.Remove(b.path + "-wal"))
		if t.Rand.IntN(2) == 0 {
			t.must(joined(os.Remove(b.path + "-shm")))
		}
	case 0:
		other := t.path("another")
		s := t.attacked(Victim{Job: other, Lines: 0, Stepped: true})
		s.until(func(e event) bool { return e.Event == "line" })
		for range 3 {
			s.step()
		}
		s.kill()
		s.wait()
		t.must(copyFile(other+"-wal", b.path+"-wal"))
	}
	t.judge(ctx, b, known)
}

func shmDamage(ctx context.Context, t *Trial) {
	b := t.cutOff()
	switch t.Number % 4 {
	case 0:
		t.must(os.Remove(b.path + "-shm"))
	case 1:
		t.damage(b.path+"-shm", cutShort)
	default:
		t.damage(b.path+"-shm", flip)
	}
	t.isIn(ctx, b.path, b.told)
	t.Saw("read whole")
}

func jobDamage(how damager) func(context.Context, *Trial) {
	return func(ctx context.Context, t *Trial) {
		b := t.clean(cutAt)
		want := t.answers(ctx, "clean")
		t.damage(b.path, how)
		t.judge(ctx, b, verdict{})
		t.sameAnswers(ctx, want)
		if t.Rand.IntN(4) == 0 {
			s := t.attacked(Victim{Job: b.path, From: cutAt, Lines: 1})
			if code := s.wait(); code < 0 || strings.Contains(s.errs.String(), "panic:") {
				t.Failf("a session on it: exit %d: %s", code, brief(s.errs.String()))
			}
		}
	}
}

// noteDamage damages the note beside a clean or a cut off job, which says how far the
// record had come, or takes it away.
func noteDamage(ctx context.Context, t *Trial) {
	t.clean(firstReading)
	another, err := os.ReadFile(t.job() + noteEnd)
	t.must(err)
	t.wipe()
	b := t.clean(cutAt)
	if t.Rand.IntN(2) == 0 {
		b = t.cutOff()
	}
	note, gone := b.path+noteEnd, false
	switch t.Rand.IntN(7) {
	case 0:
		gone = true
		t.must(os.Remove(note))
	case 1:
		t.must(os.Truncate(note, 0))
	case 2:
		t.must(os.WriteFile(note, bytes.Repeat([]byte("\xff\x00"), 1+t.Rand.IntN(1<<20)), 0o600))
	case 3:
		t.must(joined(os.Remove(note), os.Mkdir(note, 0o755)))
	case 4:
		t.damage(note, cutShort)
	case 5:
		t.must(os.WriteFile(note, another, 0o600))
	default:
		t.damage(note, flip)
	}
	h, err := readHeld(b.path, t.Dir)
	t.must(err)
	if h.head != b.head {
		t.Failf("the record changed")
	}
	r := t.waycall(ctx, "verify", "--json", b.path)
	if r.crashed() {
		t.Failf("verify: %s", r)
	}
	switch v := readVerdict(r); {
	case v.Events == nil || *v.Events != int64(len(b.told)):
		t.Failf("verify cannot read the record: %s", r)
	case r.code != 0 || len(v.Notes) > 0:
		t.Saw("read whole, noticed")
	case gone:
		t.Saw("read whole, gone without a word") // as with a job from elsewhere
	default:
		t.Failf("the note is damaged, and verify says nothing")
	}
	s := t.attacked(Victim{Job: b.path, From: cutAt, Lines: 2})
	if code := s.wait(); code != 0 {
		t.Saw("session refused")
		return
	}
	h, err = readHeld(b.path, t.Dir)
	t.must(err)
	if what := h.lacks(append(b.told, s.stored()...)); what != "" {
		t.Failf("after a session: %s", what)
	}
	aside, err := filepath.Glob(b.path + "-damaged-*")
	t.must(err)
	r = t.waycall(ctx, "verify", "--json", b.path)
	if v := readVerdict(r); len(aside) == 0 && (r.code != 0 || len(v.Notes) > 0) {
		t.Failf("after a session verify still says something: %s %v", r, v.Notes)
	}
}

// noteEnd is the ending of the note beside a job.
const noteEnd = "-head"

func copyDamage(ctx context.Context, t *Trial) {
	b := t.clean(firstReading)
	v := Victim{Job: b.path, CopyTo: t.stick(), From: firstReading, Lines: 2}
	s := t.attacked(v)
	if s.wait() != 0 {
		t.Fatalf("no copy to damage: %s", s.errs.String())
	}
	all := append(b.told, s.stored()...)
	left := t.damage(t.copied(v), []damager{flip, flipHeader, cutShort, sector}[t.Rand.IntN(4)])
	v.From += 2
	s = t.attacked(v)
	code := s.wait()
	all = append(all, s.stored()...)
	h := t.isIn(ctx, b.path, all)
	c, err := readHeld(t.copied(v), t.Dir)
	now, _ := os.ReadFile(t.copied(v))
	right := err == nil && c.head == h.head && len(c.wrong) == 0
	switch {
	case right:
		t.Saw("copy right")
	case s.words(0, "copy") || code != 0 && s.errs.Len() > 0:
		t.Saw("copy refused with words")
		if !bytes.Equal(now, left) {
			t.Saw("and written to")
		}
	default:
		// Damage where nothing was read: verify must tell it.
		if r := t.waycall(ctx, "verify", t.copied(v)); r.code == 0 {
			t.Failf("the copy is damaged and verify says that it is whole (%v)", c.wrong)
		} else {
			t.Saw("copy went on, verify tells")
		}
	}
}

func exportDamage(ctx context.Context, t *Trial) {
	from := t.packed(ctx)
	want, err := readHeld(t.job(), t.Dir)
	t.must(err)
	t.wipe()
	zip := t.path("damaged.zip")
	t.must(copyFile(from, zip))
	t.damage(zip, []damager{flip, flip, cutShort, sector}[t.Rand.IntN(4)])
	r := t.waycall(ctx, "import", zip)
	switch {
	case r.crashed():
		t.Failf("%s", r)
	case r.code == 0:
		h, err := readHeld(t.job(), t.Dir)
		if err != nil || h.head != want.head || len(h.wrong) > 0 {
			t.Failf("imported something else: %v %v", err, h.wrong)
		}
		t.Saw("imported, the same")
	default:
		t.Saw("refused")
		t.nothingLeft()
	}
}

// nothingLeft fails where a file lies in the folder of jobs.
func (t *Trial) nothingLeft() {
	_ = filepath.WalkDir(t.jobs(), func(path string, d fs.DirEntry, err error) error {
		if err == nil && !d.IsDir() && !strings.HasSuffix(path, ".lock") {
			t.Failf("left behind: %s", path)
		}
		return nil
	})
}

func settingsDamage(ctx context.Context, t *Trial) {
	t.clean(firstReading)
	config := filepath.Join(t.path("config"), "waycall")
	t.must(os.MkdirAll(config, 0o755))
	settings := filepath.Join(config, "settings.yaml")
	t.must(os.WriteFile(settings, []byte("pause: 600ms\nspeech-rate: 200\nmic: headset\nthreads: 2\ncopy-to: ~/stick\n"), 0o600))
	if r := t.waycall(ctx, "instruments", "put", "0058213", "--checked", "2026-03-02", "--over-range", "999"); r.code != 0 {
		t.Fatalf("the attack itself failed: no register: %s", r)
	}
	register, _ := filepath.Glob(filepath.Join(t.jobs(), "instruments*"))
	if len(register) == 0 {
		t.Fatalf("the attack itself failed: no register in %s", t.jobs())
	}
	files := append(register, settings)
	target := files[t.Rand.IntN(len(files))]
	switch t.Rand.IntN(5) {
	case 0:
		t.damage(target, cutShort)
	case 1:
		t.must(os.WriteFile(target, junk(t.Rand, 1+t.Rand.IntN(1<<16)), 0o600))
	case 2:
		t.must(joined(os.Remove(target), os.Mkdir(target, 0o755)))
	default:
		for range 1 + t.Rand.IntN(4) {
			t.damage(target, flip)
		}
	}
	for _, args := range [][]string{{"settings", "--json"}, {"instruments", "--json"}, {"jobs", "--json"}, {"show", jobName}} {
		r := t.waycall(ctx, args...)
		switch {
		case r.crashed():
			t.Failf("%s", r)
		case r.code != 0 && !strings.Contains(r.err, ";"):
			t.Failf("the error does not say what to do: %s", r)
		case r.code != 0:
			t.Saw("refused")
		default:
			t.Saw("answered")
		}
	}
}

// junk is so many random bytes.
func junk(r *rand.Rand, n int) []byte {
	b := make([]byte, n)
	for i := range b {
		b[i] = byte(r.Uint32())
	}
	return b
}

func modelDamage(ctx context.Context, t *Trial) {
	model := t.path("models/" + engines.Model)
	t.must(os.MkdirAll(filepath.Dir(model), 0o755))
	t.must(copyFile(t.model(), model))
	withSum := t.Number%2 == 0
	if withSum {
		t.must(copyFile(t.model()+".sha256", model+".sha256"))
	}
	head := func(r *rand.Rand, b []byte) []byte { b[r.IntN(60)] ^= 1 << r.IntN(8); return b }
	how := []damager{head, head, flip, cutShort, sector}[t.Rand.IntN(5)]
	t.damage(model, how)
	clip := filepath.Join(t.Root, "testdata", "audio", "0004-af_heart.flac")
	r := t.waycall(ctx, "hear", "--json", "--model", model, clip)
	switch {
	case r.crashed():
		t.Failf("%s", r)
	case r.code != 0:
		t.Saw("refused")
	case withSum:
		t.Failf("a damaged model with its sum is used")
	default:
		t.Saw("used, there is no sum")
	}
}
