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
		small, err := smaller(b.picture())
		if err == nil {
			err = os.WriteFile(filepath.Join(out, name+".png"), small, 0o644)
		}
		if err != nil {
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
	for name, last := range map[string]int64{"read-back": 94, "stored": 67} {
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
