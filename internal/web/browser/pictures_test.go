package browser

import (
	"bytes"
	"cmp"
	"image"
	"image/color"
	"image/png"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"testing"
)

// TestPictures makes the pictures in docs/ of the pages, from the demonstration's
// job. It is run by scripts/pictures/draw review, which names the folder.
func TestPictures(t *testing.T) {
	out := os.Getenv("WAYCALL_PICTURES")
	if out == "" {
		t.Skip("WAYCALL_PICTURES names no folder to put them in; scripts/pictures/draw review makes them")
	}
	out, err := filepath.Abs(out)
	if err != nil {
		t.Fatal(err)
	}
	save := func(b *tab, name string) {
		t.Helper()
		small, err := smaller(b.picture())
		if err == nil {
			err = os.WriteFile(filepath.Join(out, name+".png"), small, 0o644)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	// A job of several boards, which internal/web writes, and the demonstration's.
	jobs := os.Getenv("WAYCALL_JOBS")
	if jobs == "" {
		t.Fatal("WAYCALL_JOBS names no folder with the job of several boards; scripts/pictures/draw review does")
	}
	workshop, terrace := serve(t, jobs), serve(t, finished(t))
	for _, p := range []struct {
		s                  *site
		name, path, scheme string
		width, height      int64
	}{
		{workshop, "review-board-1440", "", "light", 1440, 900},
		{workshop, "review-board-820", "", "dark", 820, 1000},
		{workshop, "review-board-360", "", "light", 360, 740},
		{workshop, "review-queue-1440", "/queue?kind=disputed", "light", 1440, 1000},
		{workshop, "review-queue-820", "/queue?kind=disputed", "dark", 820, 1100},
		{workshop, "review-queue-360", "/queue?kind=disputed", "light", 360, 740},
		{terrace, "review-way-1440", "/way/1/9", "light", 1440, 900},
		{terrace, "review-way-360", "/way/1/9", "dark", 360, 740},
		{terrace, "review-notes-1440", "#notes", "light", 1440, 900},
		{terrace, "review-notes-820", "#notes", "light", 820, 1000},
		{terrace, "review-notes-360", "#notes", "dark", 360, 740},
		{terrace, "review-session-1440", "/session?only=doubt", "dark", 1440, 900},
		{terrace, "review-session-360", "/session?only=doubt", "light", 360, 740},
	} {
		s := p.s
		b := newTab(t, p.width, p.height)
		b.scheme(p.scheme)
		s.enter(b)
		b.open(s.url + "/job/" + jobID(b) + p.path)
		save(b, p.name)
	}

	// A session that runs: something is read back, and something has failed.
	for name, last := range map[string]int64{"read-back": until(t, wayFiveFails), "stored": until(t, wayEightDue)} {
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
			if name == "stored" && p.name != "1440" {
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

// smaller is a picture in its 256 most frequent colours, which is a third of the size
// and, of pages in flat colours, looks the same.
func smaller(data []byte) ([]byte, error) {
	full, err := png.Decode(bytes.NewReader(data))
	if err != nil {
		return nil, err
	}
	at := full.Bounds()
	count := map[color.Color]int{}
	for y := at.Min.Y; y < at.Max.Y; y++ {
		for x := at.Min.X; x < at.Max.X; x++ {
			count[full.At(x, y)]++
		}
	}
	colours := slices.SortedFunc(maps.Keys(count), func(a, b color.Color) int { return cmp.Compare(count[b], count[a]) })
	palette := color.Palette(colours[:min(256, len(colours))])
	nearest := map[color.Color]uint8{}
	for _, c := range colours {
		nearest[c] = uint8(palette.Index(c))
	}
	few := image.NewPaletted(at, palette)
	for y := at.Min.Y; y < at.Max.Y; y++ {
		for x := at.Min.X; x < at.Max.X; x++ {
			few.SetColorIndex(x, y, nearest[full.At(x, y)])
		}
	}
	var b bytes.Buffer
	err = (&png.Encoder{CompressionLevel: png.BestCompression}).Encode(&b, few)
	return b.Bytes(), err
}
