package waymark_test

import (
	"slices"
	"testing"

	"waycall/internal/waymark"
)

// What is stored for a way never changes.
func TestIdentity(t *testing.T) {
	for way, want := range map[string]int{"1": 1, "99": 99, "1L1": 101, "1L2": 201, "12L3": 312, "99L3": 399} {
		got, err := waymark.Parse(way)
		if err != nil || got != want || !waymark.Known(got) || waymark.Print(got) != way {
			t.Errorf("Parse(%q) = %d, %v; printed %q", way, got, err, waymark.Print(got))
		}
	}
	for _, n := range []int{-1, 0, 100, 200, 400, 401, 1 << 40} {
		if waymark.Known(n) {
			t.Errorf("%d is known", n)
		}
	}
}

func TestParseRefuses(t *testing.T) {
	for _, text := range []string{"", "0", "101", "1L", "1L0", "1L4", "L1", "1l1", "1L1L1", "1L12", " 1", "-1", "+1", "1 L1", "１", "1.0", "0L1", "001"} {
		if n, err := waymark.Parse(text); err == nil {
			t.Errorf("Parse(%q) = %d", text, n)
		}
	}
}

func TestAloud(t *testing.T) {
	for way, want := range map[int]string{7: "seven", 212: "twelve L two", 321: "twenty one L three"} {
		if got := waymark.Aloud(way); got != want {
			t.Errorf("Aloud(%d) = %q, want %q", way, got, want)
		}
	}
}

func TestOrder(t *testing.T) {
	ways := []int{302, 3, 101, 202, 301, 102, 201}
	slices.SortFunc(ways, waymark.Compare)
	if want := []int{101, 201, 301, 102, 202, 302, 3}; !slices.Equal(ways, want) {
		t.Errorf("order %v, want %v", ways, want)
	}
	if !waymark.Clash(1, 201) || waymark.Clash(101, 201) || waymark.Clash(1, 2) || waymark.Clash(5, 5) {
		t.Error("Clash")
	}
}

func FuzzParse(f *testing.F) {
	for _, s := range []string{"1", "1L2", "99L3", "L", "0L0"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		if n, err := waymark.Parse(s); err == nil {
			if back, err := waymark.Parse(waymark.Print(n)); err != nil || back != n || !waymark.Known(n) {
				t.Errorf("Parse(%q) = %d, printed %q, read again %d, %v", s, n, waymark.Print(n), back, err)
			}
		}
	})
}
