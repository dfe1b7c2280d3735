// Package key makes of the presses of one key what was meant by them: a tap, a double
// tap, or that the key is held. A foot switch, the button of a headset and a Bluetooth
// clicker are such keys; key/evdev reads them.
//
// It has no clock: it is told when an edge came, and what time it is now. What is
// doubtful means nothing, or the harmless of the two:
//
//   - a contact that bounces is one press: for 25 ms after an edge others are not looked
//     at, and then the key is as it is;
//   - a tap is known only once a second one can no longer follow, 350 ms after it, so that
//     a "no" is never first a "confirm"; a third tap changes nothing of the two before;
//   - a tap that a long press follows at once is no tap: it may have been a double one
//     whose second press was long;
//   - a key that is held for more than 20 s is stuck: what was meant by it is void, and
//     until it is let go it means nothing.
package key

import "time"

const (
	bounce = 25 * time.Millisecond
	within = 350 * time.Millisecond // a second press follows the end of the first
	long   = 300 * time.Millisecond // a press from which on it is held, and no tap
)

// Longest is how long a key may be held.
const Longest = 20 * time.Second

// Kind is what was done with the key.
type Kind int

// The kinds. Held comes while the key is still down, and Released or Stuck ends it.
const (
	Tap Kind = iota + 1
	Double
	Held
	Released
	Stuck
)

// Gesture is something done with the key. Began is when the key first went down for it.
type Gesture struct {
	Kind  Kind
	Began time.Time
}

// Gestures tells gestures from the edges of a key. The zero Gestures is a key that is up.
type Gestures struct {
	raw  bool      // as the contact is
	down bool      // as the key is taken to be
	edge time.Time // of the last change of down

	pressed time.Time // when it last went down
	began   time.Time // when the first press of the taps did
	taps    int       // short presses, each soon after the one before
	up      time.Time // when the last of them ended
	held    bool      // Held was told, and neither Released nor Stuck
	stuck   bool      // until it is let go
}

// Edge is told that the contact closed or opened. What that ends is returned, in order.
func (g *Gestures) Edge(down bool, at time.Time) []Gesture {
	all := g.Wait(at)
	g.raw = down
	return append(all, g.settle(at)...)
}

// Wait is told what time it is, and returns what is known by now.
func (g *Gestures) Wait(now time.Time) []Gesture {
	// A change within the bounce counts from when that was over.
	var all []Gesture
	if over := g.edge.Add(bounce); g.raw != g.down && !now.Before(over) {
		all = append(all, g.settle(over)...)
	}
	switch {
	case g.down && !g.held && !g.stuck && now.Sub(g.pressed) >= long:
		g.held, g.taps = true, 0
		all = append(all, Gesture{Held, g.pressed})
	case !g.down && g.taps > 0 && now.Sub(g.up) >= within:
		if g.taps == 1 {
			all = append(all, Gesture{Tap, g.began})
		}
		g.taps = 0
	}
	if g.held && now.Sub(g.pressed) >= Longest {
		g.held, g.stuck = false, true
		all = append(all, Gesture{Stuck, g.pressed})
	}
	return all
}

// settle takes the key to be as its contact is, unless it still bounces.
func (g *Gestures) settle(at time.Time) []Gesture {
	if g.raw == g.down || at.Sub(g.edge) < bounce {
		return nil
	}
	g.down, g.edge = g.raw, at
	switch {
	case g.down:
		g.pressed = at
		if g.taps == 0 {
			g.began = at
		}
	case g.stuck:
		g.stuck = false
	case g.held:
		g.held = false
		return []Gesture{{Released, g.pressed}}
	default:
		g.up = at
		if g.taps++; g.taps == 2 {
			return []Gesture{{Double, g.began}}
		}
	}
	return nil
}
