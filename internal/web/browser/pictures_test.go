package browser

import (
	"os"
	"path/filepath"
	"testing"
)

// TestPictures makes the pictures in docs/ of the pages, from the demonstration's
// job. It is run by scripts/review-pictures, which names the folder.
func TestPictures(t *testing.T) {
	out := os.Getenv("WAYCALL_PICTURES")
	if out == "" {
		t.Skip("WAYCALL_PICTURES names no folder to put them in; scripts/review-pictures makes them")
	}
	out, err := filepath.Abs(out)
	if err != nil {
		t.Fatal(err)
	}
	save := func(b *tab, name string) {
		t.Helper()
		if err := os.WriteFile(filepath.Join(out, name+".png"), b.picture(), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	s := serve(t, finished(t))
	for _, p := range []struct {
		name, path, scheme string
		width, height      int64
	}{
		{"review-board-1440", "", "light", 1440, 900},
		{"review-board-820", "", "dark", 820, 1000},
		{"review-board-360", "", "light", 360, 740},
		{"review-queue-1440", "/queue", "light", 1440, 900},
		{"review-queue-820", "/queue", "dark", 820, 1000},
		{"review-queue-360", "/queue", "light", 360, 740},
		{"review-way-1440", "/way/1/3", "light", 1440, 900},
		{"review-way-360", "/way/1/3", "dark", 360, 740},
		{"review-session-1440", "/session", "dark", 1440, 900},
		{"review-session-360", "/session", "light", 360, 740},
	} {
		b := newTab(t, p.width, p.height)
		b.scheme(p.scheme)
		s.enter(b)
		b.open(s.url + "/job/" + jobID(b) + p.path)
		save(b, p.name)
	}

	// A session that runs: something is read back, and something has failed.
	for name, last := range map[string]int64{"waits": 94, "pass": 57} {
		dir := t.TempDir()
		recorded(t, dir, last)
		s := serve(t, dir)
		for _, p := range []struct {
			name, scheme  string
			width, height int64
		}{
			{"1440", "dark", 1440, 900},
			{"820", "light", 820, 1180},
			{"360", "light", 360, 740},
		} {
			if name == "pass" && p.name != "1440" {
				continue
			}
			b := newTab(t, p.width, p.height)
			b.scheme(p.scheme)
			s.live(b)
			b.until(`document.querySelector(".lv-turn.on, .lv-turn.wait")`)
			save(b, "review-live-"+name+"-"+p.name)
		}
	}
}
