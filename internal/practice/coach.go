package practice

// How the readings of a practice were heard.

import (
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"waycall/internal/english"
	"waycall/internal/hear"
	"waycall/internal/reading"
	"waycall/internal/record"
	"waycall/internal/sequence"
	"waycall/internal/show"
	"waycall/internal/waymark"
)

// Heard is how a reading was heard, in words.
type Heard string

// How a reading was heard, the best first.
const (
	AtOnce     Heard = "right at once"
	AskedAbout Heard = "asked about"    // it was disputed, or read back otherwise and then corrected
	NotCaught  Heard = "not understood" // at least once
	Mistaken   Heard = "stored as another figure"
	NotSaid    Heard = "not stored"
)

// Item is one reading of the practice.
type Item struct {
	Way    int          `json:"way"`
	Test   reading.Test `json:"test"`
	Shows  string       `json:"shows"`            // what the instrument shows, as 206 Mohm
	Heard  Heard        `json:"heard"`            // one of those above
	Stored string       `json:"stored,omitempty"` // what was stored
	Asked  int          `json:"asked"`            // how often it was asked which was meant
	Missed int          `json:"missed"`           // how often something was said that was not understood, or was taken for talk
	Others []string     `json:"others,omitempty"` // what else was read back for it

	slot record.Slot
	want reading.Quantity
}

// Result is what a practice comes to.
type Result struct {
	Readings []Item   `json:"readings"`
	Stored   int      `json:"stored"` // as the instrument showed them or not
	AtOnce   int      `json:"at_once"`
	Try      []string `json:"try"` // what to try next
}

// coach shows what the instrument shows and follows what becomes of it.
type coach struct {
	Watcher
	state  record.State
	items  []Item
	showed *Item
}

func newCoach(w Watcher, from record.State) *coach {
	c := &coach{Watcher: w, state: from}
	for _, d := range sequence.Remaining(from) {
		if d.Step == nil && len(c.items) < len(shown) {
			q := shown[len(c.items)]
			c.items = append(c.items, Item{Way: d.Slot.Way, Test: d.Slot.Test, Shows: q.String(), slot: d.Slot, want: q})
		}
	}
	return c
}

// of returns the reading of a place, or nil.
func (c *coach) of(slot record.Slot) *Item {
	for i := range c.items {
		if c.items[i].slot == slot {
			return &c.items[i]
		}
	}
	return nil
}

// current returns the reading that is waited for, or nil.
func (c *coach) current() *Item {
	if p := c.state.Pending; p != nil {
		return c.of(p.Slot)
	}
	if d, due := sequence.Next(c.state); due && d.Step == nil {
		return c.of(d.Slot)
	}
	return nil
}

// done reports whether all readings are stored.
func (c *coach) done() bool {
	return !slices.ContainsFunc(c.items, func(i Item) bool { return i.Stored == "" })
}

// Listening shows what the instrument shows now, once.
func (c *coach) Listening(choices string) {
	if i := c.current(); i != nil && i != c.showed && c.state.Pending == nil {
		c.showed = i
		at := slices.IndexFunc(c.items, func(x Item) bool { return x.slot == i.slot }) + 1
		c.Stage(fmt.Sprintf("%d of %d", at, len(c.items)), "the instrument shows "+figure(i.want))
	}
	c.Watcher.Listening(choices)
}

// Heard counts what was not heard surely.
func (c *coach) Heard(h hear.Heard) {
	if i := c.current(); i != nil {
		switch {
		case h.Outcome == hear.None, h.Outcome == hear.Misplaced:
			i.Missed++
		case h.Outcome != hear.Note && !h.Agreed:
			i.Asked++
		}
	}
	c.Watcher.Heard(h)
}

// TooLong counts what was said without an end.
func (c *coach) TooLong(d time.Duration) {
	if i := c.current(); i != nil {
		i.Missed++
	}
	c.Watcher.TooLong(d)
}

// Stored follows the record.
func (c *coach) Stored(facts []record.Event) {
	for _, e := range facts {
		waited := c.state.Pending
		next, err := c.state.Apply(e)
		if err != nil {
			break // the record refuses what does not follow before it is stored
		}
		c.state = next
		switch {
		case e.Kind == record.Proposed:
			for _, one := range next.Pending.Each() {
				if i := c.of(one.Slot); i != nil && !one.Quantity.Equal(i.want) {
					i.Others = append(i.Others, figure(one.Quantity))
				}
			}
		case e.Kind == record.Confirmed && waited != nil:
			for _, one := range waited.Each() {
				if i := c.of(one.Slot); i != nil {
					i.Stored = one.Quantity.String()
				}
			}
		case e.Kind == record.Withdrawn && e.Slot != nil:
			if i := c.of(*e.Slot); i != nil {
				i.Stored = ""
			}
		}
	}
	c.Watcher.Stored(facts)
}

// figure is a reading as an instrument shows it.
func figure(q reading.Quantity) string { return show.Figure(q) + " " + show.Unit(q.Unit) }

// result says how it went so far.
func (c *coach) result() Result {
	r := Result{Readings: slices.Clone(c.items), Try: []string{}}
	missed, asked, wrong := 0, 0, 0
	for k := range r.Readings {
		i := &r.Readings[k]
		switch {
		case i.Stored == "":
			i.Heard = NotSaid
		case i.Stored != i.Shows:
			i.Heard = Mistaken
			wrong++
		case i.Missed > 0:
			i.Heard = NotCaught
		case i.Asked > 0 || len(i.Others) > 0:
			i.Heard = AskedAbout
		default:
			i.Heard = AtOnce
			r.AtOnce++
		}
		if i.Stored != "" {
			r.Stored++
		}
		missed, asked = missed+min(i.Missed, 1), asked+min(i.Asked+len(i.Others), 1)
	}
	if wrong > 0 {
		r.Try = append(r.Try, `Listen to what is read back before you say "confirm". Where it is wrong, say "no" and the figure.`)
	}
	if missed > 1 || r.Stored == 0 {
		r.Try = append(r.Try, "waycall listen says whether the microphone is good enough, and what to do. Speak each phrase in one breath, then pause.", `"What can I say" tells what is understood now.`)
	}
	if asked > 1 {
		r.Try = append(r.Try, `Say the figures one by one, as "two nought six", or with the unit, "two hundred and six megohms".`)
	}
	if r.Stored == len(r.Readings) && len(r.Try) == 0 {
		r.Try = append(r.Try, `"Keep it brief" makes waycall say less, "faster" makes it quicker; waycall start JOB begins at your board.`)
	}
	return r
}

// Spoken is the result as it is said.
func (r Result) Spoken() string {
	return fmt.Sprintf("The practice is over. %s of %s were right at once. What to try is on the screen.",
		english.Capital(reading.Cardinal(r.AtOnce)), reading.Cardinal(len(r.Readings)))
}

// how says in print how a reading was heard.
func (i Item) how() string {
	text := string(i.Heard)
	switch {
	case i.Heard == Mistaken:
		text = "stored as " + i.Stored
	case i.Heard == NotCaught && i.Missed > 1:
		text += fmt.Sprintf(" %d times", i.Missed)
	}
	if len(i.Others) > 0 {
		text += ", read back as " + english.List(i.Others)
	}
	return text
}

// Write prints the result for a person; of a practice that did not begin, nothing.
func (r Result) Write(w io.Writer) error {
	if len(r.Readings) == 0 {
		return nil
	}
	var text strings.Builder
	fmt.Fprintf(&text, "\n%d of %d readings stored, %d of them right at once. Nothing of this is kept.\n", r.Stored, len(r.Readings), r.AtOnce)
	for _, i := range r.Readings {
		fmt.Fprintf(&text, "  way %s  %-5s %-10s %s\n", waymark.Print(i.Way), i.Test, figure(i.want), i.how())
	}
	for _, t := range r.Try {
		fmt.Fprintf(&text, "Try: %s\n", t)
	}
	_, err := io.WriteString(w, text.String())
	return err
}
