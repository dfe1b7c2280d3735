package key

import (
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"
)

var zero = time.Date(2026, 3, 4, 10, 0, 0, 0, time.UTC)

// ms is a moment, in milliseconds from the beginning.
func ms(n int) time.Time { return zero.Add(time.Duration(n) * time.Millisecond) }

// play gives a key the edges at those moments, the first one down, and asks it every 20 ms
// until some time later what was meant.
func play(edges []int, until int) (all []Gesture) {
	var g Gestures
	next := 0
	for now := 0; now <= until; now += 20 {
		for ; next < len(edges) && edges[next] <= now; next++ {
			all = append(all, g.Edge(next%2 == 0, ms(edges[next]))...)
		}
		all = append(all, g.Wait(ms(now))...)
	}
	return all
}

func TestGestures(t *testing.T) {
	for name, c := range map[string]struct {
		edges []int
		want  []Gesture
	}{
		"a tap":                          {[]int{1000, 1100}, []Gesture{{Tap, ms(1000)}}},
		"two taps apart":                 {[]int{1000, 1100, 2000, 2100}, []Gesture{{Tap, ms(1000)}, {Tap, ms(2000)}}},
		"a double tap":                   {[]int{1000, 1100, 1250, 1350}, []Gesture{{Double, ms(1000)}}},
		"three taps are two":             {[]int{1000, 1100, 1250, 1350, 1500, 1600}, []Gesture{{Double, ms(1000)}}},
		"four taps are two":              {[]int{1000, 1100, 1250, 1350, 1500, 1600, 1750, 1850}, []Gesture{{Double, ms(1000)}}},
		"held":                           {[]int{1000, 2500}, []Gesture{{Held, ms(1000)}, {Released, ms(1000)}}},
		"a tap, then held at once":       {[]int{1000, 1100, 1300, 2500}, []Gesture{{Held, ms(1300)}, {Released, ms(1300)}}},
		"held, then a tap":               {[]int{1000, 2500, 2600, 2700}, []Gesture{{Held, ms(1000)}, {Released, ms(1000)}, {Tap, ms(2600)}}},
		"bounces as it closes":           {[]int{1000, 1004, 1007, 1100}, []Gesture{{Tap, ms(1000)}}},
		"bounces as it opens":            {[]int{1000, 1100, 1103, 1106}, []Gesture{{Tap, ms(1000)}}},
		"bounces both times":             {[]int{1000, 1003, 1006, 1100, 1103, 1106}, []Gesture{{Tap, ms(1000)}}},
		"bounces while held":             {[]int{1000, 1005, 1010, 2500, 2504, 2508}, []Gesture{{Held, ms(1000)}, {Released, ms(1000)}}},
		"a flick shorter than a bounce":  {[]int{1000, 1010}, []Gesture{{Tap, ms(1000)}}},
		"held for a minute":              {[]int{1000, 61000}, []Gesture{{Held, ms(1000)}, {Stuck, ms(1000)}}},
		"held for a minute, then a tap":  {[]int{1000, 61000, 62000, 62100}, []Gesture{{Held, ms(1000)}, {Stuck, ms(1000)}, {Tap, ms(62000)}}},
		"never let go":                   {[]int{1000}, []Gesture{{Held, ms(1000)}, {Stuck, ms(1000)}}},
		"a double tap whose second held": {[]int{1000, 1100, 1200, 1900}, []Gesture{{Held, ms(1200)}, {Released, ms(1200)}}},
	} {
		if got := play(c.edges, 65000); !slices.Equal(got, c.want) {
			t.Errorf("%s: %v, want %v", name, got, c.want)
		}
	}
}

// A "no" must not be a "confirm" first: no tap is told before a second one could come.
func TestTapWaits(t *testing.T) {
	var g Gestures
	g.Edge(true, ms(0))
	g.Edge(false, ms(100))
	if got := g.Wait(ms(100 + 340)); len(got) != 0 {
		t.Errorf("a tap is told though a second one may follow: %v", got)
	}
	if got := g.Wait(ms(100 + 350)); !slices.Equal(got, []Gesture{{Tap, ms(0)}}) {
		t.Errorf("a tap is not told: %v", got)
	}
}

// Whatever a contact does: what is held is let go or stuck before anything else, no gesture
// comes within 350 ms of the press that ends it but by a longer press or a second one, and a
// key that is up and at rest means nothing more.
func TestAnyContact(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		at := 1000
		var edges []int
		for range rapid.IntRange(1, 12).Draw(t, "presses") * 2 {
			edges = append(edges, at)
			at += rapid.OneOf(rapid.IntRange(1, 40), rapid.IntRange(1, 900), rapid.IntRange(1, 25000)).Draw(t, "then")
		}
		all := play(edges, at+1000)
		held := false
		for _, g := range all {
			switch g.Kind {
			case Held:
				if held {
					t.Fatal("held twice:", all)
				}
				held = true
			case Released, Stuck:
				if !held {
					t.Fatal("let go, and was not held:", all)
				}
				held = false
			case Tap, Double:
				if held {
					t.Fatal("tapped while held:", all)
				}
			}
			if g.Began.Before(ms(edges[0])) || g.Began.After(ms(at+1000)) {
				t.Fatal("began when nobody touched it:", all)
			}
		}
		if held {
			t.Fatal("still held:", all)
		}
		if taps := len(all); taps > len(edges) {
			t.Fatal("more than was done:", all)
		}
	})
}
