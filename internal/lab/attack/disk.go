package attack

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"syscall"
	"time"
)

var diskAttacks = []Attack{
	{
		Name: "disk-full", Group: groupSession, Title: "the disk is full while a session listens; later there is room again", Bar: stored + "; the session says so and goes on",
		Long: 12, Short: 1, Needs: asRoot(), Trial: diskFull,
	},
	{
		Name: "power-cut", Group: "power cuts", Title: "power cut by snapshot: the job on ext4 in an image, the image copied while the process stands still, mounted elsewhere",
		Bar: stored, Long: 120, Short: 1, Needs: asRoot("mke2fs", "losetup", "mount", "umount"), Trial: powerCut,
	},
}

// diskFull fills the disk on which the job is, between two phrases, and makes room later.
func diskFull(ctx context.Context, t *Trial) {
	disk := t.path("disk")
	t.must(os.MkdirAll(disk, 0o755))
	if err := syscall.Mount("tmpfs", disk, "tmpfs", 0, "size=24m"); err != nil {
		t.Saw("no tmpfs here")
		return
	}
	t.After(func() { _ = syscall.Unmount(disk, syscall.MNT_DETACH) })
	t.clean(firstReading)
	path := filepath.Join(disk, jobFile)
	t.must(copyJob(t.job(), path))
	h, err := readHeld(path, t.Dir)
	t.must(err)
	v := Victim{Job: path, From: firstReading, Stepped: true}
	s := t.attacked(v)
	s.until(func(e event) bool { return e.Event == "line" })
	for range 1 + t.Rand.IntN(8) {
		s.step()
	}
	said := len(s.spoken())
	ballast := filepath.Join(disk, "ballast")
	left := int64(0)
	if t.Number%3 == 2 {
		left = 200_000
	}
	t.must(fill(disk, ballast, left))
	for range 5 {
		if !s.step() {
			break
		}
	}
	if left == 0 && !s.words(said, "full", "room") {
		t.Failf("the disk is full and it says %q", s.spoken()[said:])
	}
	t.must(os.Remove(ballast))
	announced := len(s.stored())
	for range 6 {
		if !s.step() {
			break
		}
	}
	if code := s.finish(); code != 0 {
		t.Failf("the session ended: exit %d, last %q: %s", code, s.last(), brief(s.errs.String()))
	}
	if len(s.stored()) == announced {
		t.Failf("there is room again, and nothing more is stored; last %q", s.last())
	}
	t.isIn(ctx, path, append(h.events, s.stored()...))
	t.Saw("went on")
}

// fill takes all room of a disk but so many bytes.
func fill(disk, ballast string, left int64) error {
	f, err := os.Create(ballast)
	if err != nil {
		return err
	}
	defer f.Close()
	var fs syscall.Statfs_t
	if err := syscall.Statfs(disk, &fs); err != nil {
		return err
	}
	room := int64(fs.Bavail)*fs.Bsize - left
	block := make([]byte, 64<<10)
	for room > 0 {
		n, err := f.Write(block[:min(room, int64(len(block)))])
		room -= int64(n)
		if err != nil {
			break // full it is
		}
	}
	return nil
}

// powerCut copies the image of the file system that a stopped session writes to, as a
// power cut would leave it, and reads the record in the copy.
func powerCut(ctx context.Context, t *Trial) {
	image, disk := t.path("image"), t.path("disk")
	t.must(os.MkdirAll(disk, 0o755))
	f, err := os.Create(image)
	t.must(err)
	t.must(f.Truncate(24 << 20))
	t.must(f.Close())
	t.must(command("mke2fs", "-q", "-F", "-t", "ext4", image))
	unmount, err := mountImage(image, disk)
	if err != nil {
		t.Saw("no loop device here")
		t.Logf("%v", err)
		return
	}
	t.After(unmount)
	from := []int{0, firstReading}[t.Rand.IntN(2)]
	v := Victim{Job: filepath.Join(disk, jobFile), From: from, Lines: 20}
	var before []told
	if from > 0 {
		before = t.clean(from).told
		t.must(copyJob(t.job(), v.Job))
		t.must(command("sync", "-f", v.Job))
	}
	if t.Rand.IntN(2) == 0 { // on the same disk
		v.CopyTo = filepath.Join(disk, "stick")
		t.must(os.MkdirAll(v.CopyTo, 0o755))
		t.must(command("sync", "-f", disk))
	}
	after := 1 + t.Rand.IntN(18)
	pause := time.Duration(t.Rand.IntN(50_000)) * time.Microsecond
	s := t.attacked(v)
	if s.until(func(e event) bool {
		if e.Event == "stored" {
			after--
		}
		return after == 0
	}) {
		time.Sleep(pause)
	}
	s.signal(syscall.SIGSTOP)
	// What it printed before it stood still is announced, too.
	for stopped := false; !stopped && s.alive(); time.Sleep(time.Millisecond) {
		stopped = standsStill(s.cmd.Process.Pid)
	}
	all := append(before, s.settled()...)
	t.must(command("cp", "--sparse=always", image, t.path("cut")))
	s.kill()
	s.wait()
	unmount()

	t.must(os.MkdirAll(t.path("after"), 0o755))
	again, err := mountImage(t.path("cut"), t.path("after"))
	t.must(err)
	t.After(again)
	if len(all) == 0 {
		t.Saw("nothing announced yet")
		return
	}
	t.saws("events announced", len(all)-len(before))
	path := filepath.Join(t.path("after"), jobFile)
	h := t.isIn(ctx, path, all)
	if v.CopyTo != "" {
		w := Victim{Job: path, CopyTo: filepath.Join(t.path("after"), "stick")}
		t.copyIsPart(w, all)
	}
	if t.Number%4 == 0 { // the session goes on there
		w := Victim{Job: path, From: s.lines, Lines: 2}
		if b := t.attacked(w); b.wait() != 0 {
			t.Failf("the job does not open again: %s", brief(b.errs.String()))
		} else {
			t.isIn(ctx, path, append(h.events, b.stored()...))
		}
	}
}

// settled is what was announced once nothing more comes from a session that stands still.
func (s *session) settled() []told {
	n := -1
	for all := s.stored(); len(all) != n; all = s.stored() {
		n = len(all)
		time.Sleep(20 * time.Millisecond)
	}
	return s.stored()
}

// standsStill reports whether every thread of a process is stopped.
func standsStill(pid int) bool {
	tasks, err := filepath.Glob(fmt.Sprintf("/proc/%d/task/*/stat", pid))
	if err != nil || len(tasks) == 0 {
		return false
	}
	for _, task := range tasks {
		stat := readText(task)
		for i := len(stat) - 1; i > 1; i-- {
			if stat[i] == ')' {
				if i+2 < len(stat) && stat[i+2] != 'T' && stat[i+2] != 'Z' {
					return false
				}
				break
			}
		}
	}
	return true
}

// mountImage mounts a file system in a file; the function that it returns takes it away.
func mountImage(image, at string) (func(), error) {
	if err := command("mount", "-o", "loop", image, at); err != nil {
		return nil, err
	}
	done := false
	return func() {
		if !done {
			done = true
			if command("umount", at) != nil {
				_ = command("umount", "-l", at)
			}
		}
	}, nil
}

func command(name string, args ...string) error {
	out, err := exec.Command(name, args...).CombinedOutput()
	if err != nil {
		return fmt.Errorf("%s %v: %w: %s", name, args, err, out)
	}
	return nil
}
