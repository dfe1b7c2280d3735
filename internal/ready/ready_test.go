package ready

import (
	"errors"
	"os"
	"path/filepath"
	"testing"
	"time"

	"waycall/internal/advice"
)

func TestJudgeClock(t *testing.T) {
	now := time.Date(2026, 3, 14, 9, 0, 0, 0, time.UTC)
	for name, tt := range map[string]struct {
		made, last time.Time
		set        bool
		want       State
	}{
		"kept":                         {now.AddDate(0, -1, 0), now.Add(-time.Second), true, Good},
		"nothing known":                {time.Time{}, time.Time{}, true, Good},
		"not kept":                     {now.AddDate(0, -1, 0), now.Add(-time.Second), false, Look},
		"made an hour later elsewhere": {now.Add(time.Hour), time.Time{}, true, Good},
		"back at the year of the chip": {now.AddDate(5, 0, 0), time.Time{}, true, Missing},
		"before the last event":        {now.AddDate(0, -1, 0), now.Add(time.Second), true, Missing},
	} {
		f := judgeClock(now, tt.made, tt.last, tt.set)
		if f.State != tt.want || (f.Do == "") != (f.State == Good) {
			t.Errorf("%s: %+v, want %s", name, f, tt.want)
		}
	}
}

func TestJudgeRoom(t *testing.T) {
	for free, want := range map[uint64]State{0: Missing, leastRoom - 1: Missing, leastRoom: Look, dayRoom - 1: Look, dayRoom: Good, 1 << 60: Good} {
		if f := judgeRoom("disk", free); f.State != want || (f.Do == "") != (f.State == Good) {
			t.Errorf("%d bytes free: %+v, want %s", free, f, want)
		}
	}
}

func TestLookFolder(t *testing.T) {
	dir := t.TempDir()
	mine, open, file := filepath.Join(dir, "mine"), filepath.Join(dir, "open"), filepath.Join(dir, "file")
	if err := errors.Join(os.Mkdir(mine, 0o700), os.Mkdir(open, 0o755), os.WriteFile(file, nil, 0o600)); err != nil {
		t.Fatal(err)
	}
	for path, want := range map[string]State{mine: Good, open: Look, file: Missing, filepath.Join(dir, "none"): Good, filepath.Join(file, "below"): Missing} {
		if f := lookFolder("folder", path); f.State != want {
			t.Errorf("%s: %+v, want %s", path, f, want)
		}
	}
	if left, _ := filepath.Glob(filepath.Join(dir, "*", ".ready-*")); len(left) > 0 {
		t.Errorf("left behind: %v", left)
	}
}

// What to do is a field of the error: what failed may hold a semicolon itself.
func TestFromError(t *testing.T) {
	if f := fromError("x", Missing, advice.New("no voice: none; a, b", "install it; or name another")); f.Found != "no voice: none; a, b" || f.Do != "install it; or name another" {
		t.Errorf("%+v", f)
	}
	if f := fromError("x", Missing, errors.New("no voice; a, b")); f.Found != "no voice; a, b" || f.Do == "" {
		t.Errorf("%+v", f)
	}
}
