package phone

import (
	"strings"
	"sync"

	"waycall/internal/audio"
	"waycall/internal/english"
	"waycall/internal/hear"
	"waycall/internal/record"
	"waycall/internal/session"
	"waycall/internal/show"
)

// View is what the page shows of a session, as JSON. Its texts are one line each, with
// nothing hidden in them.
type View struct {
	Turn    string   `json:"turn"` // speaking, listening, paused or finished
	Job     string   `json:"job"`
	Place   string   `json:"place"` // shown largest: see show.Facts
	Label   string   `json:"label"`
	Feeds   string   `json:"feeds"`
	Due     string   `json:"due"`
	With    string   `json:"with"`
	Options []Option `json:"options"`
	Last    *Last    `json:"last"`
	Tally   []string `json:"tally"` // how many tests ended how, once nothing is left
	Left    string   `json:"left"`
	Said    string   `json:"said"`    // what waycall says, or said last
	Heard   string   `json:"heard"`   // what it understood last
	Trouble string   `json:"trouble"` // what is wrong with the sound; "" while nothing is
}

// Option is one of several readings to choose from.
type Option struct {
	Place string `json:"place"`
	Text  string `json:"text"`
}

// Last is the last reading: see show.Last.
type Last struct {
	Waits   bool   `json:"waits"`
	Place   string `json:"place"`
	Gone    string `json:"gone"`
	Where   string `json:"where"`
	Figure  string `json:"figure"`
	Word    string `json:"word"`  // PASS, and its like
	Class   string `json:"class"` // pass, look or fail
	Because string `json:"because"`
}

// following follows a session and passes all that it is told on. It is a session.Watcher.
type following struct {
	session.Watcher
	told func(View)

	mu    sync.Mutex
	state record.State
	view  View
}

// Watch returns what follows a session on a job in state from, tells watch all of it, and
// tells show what a page is to show then.
func Watch(watch session.Watcher, from record.State, show func(View)) session.Watcher {
	w := &following{Watcher: watch, told: show, state: from}
	w.note(func(v *View) { v.Turn = "speaking" })
	return w
}

// note changes what is shown, and shows it.
func (w *following) note(change func(v *View)) {
	w.mu.Lock()
	defer w.mu.Unlock()
	change(&w.view)
	w.view.facts(w.state)
	w.told(w.view)
}

func (w *following) Speaking(text string) {
	w.note(func(v *View) { v.Turn, v.Said = "speaking", show.Short(text) })
	w.Watcher.Speaking(text)
}

func (w *following) Listening(choices string) {
	w.note(func(v *View) { v.Turn = "listening" })
	w.Watcher.Listening(choices)
}

func (w *following) Heard(h hear.Heard) {
	text := h.Best().Text
	switch {
	case h.Missed:
		text = "(not understood)"
	case h.Outcome == hear.None:
		text = "(talk, not for waycall)"
	}
	w.note(func(v *View) { v.Heard = show.Short(text) })
	w.Watcher.Heard(h)
}

func (w *following) Stored(facts []record.Event) {
	w.note(func(*View) {
		for _, e := range facts {
			if next, err := w.state.Apply(e); err == nil { // it is on the disk, so it was applied before
				w.state = next
			}
		}
	})
	w.Watcher.Stored(facts)
}

// Sound passes news of the phone on to where the session is shown.
func (w *following) Sound(n audio.News) {
	w.note(func(v *View) {
		if v.Trouble = ""; n.Gone {
			v.Trouble = show.Short(n.Text)
		}
	})
	if inner, ok := w.Watcher.(interface{ Sound(audio.News) }); ok {
		inner.Sound(n)
	}
}

// facts fills in what the record says.
func (v *View) facts(s record.State) {
	f := show.Of(s)
	v.Job, v.Place, v.Label, v.Feeds, v.Due, v.With = show.Short(f.Job), show.Short(f.Place), show.Short(f.Label), show.Short(f.Feeds), show.Short(f.Due), show.Short(f.With)
	v.Options, v.Tally, v.Last, v.Left = nil, nil, nil, ""
	for _, o := range f.Options {
		v.Options = append(v.Options, Option{show.Short(o.Place), show.Short(o.Text)})
	}
	for _, c := range f.Tally {
		word, _ := show.Verdict(c.Result)
		v.Tally = append(v.Tally, english.Count(c.N, "test")+": "+word)
	}
	if l := f.Last; l != nil {
		word, class := show.Verdict(l.Result)
		v.Last = &Last{l.Waits, show.Short(l.Place), l.Gone, show.Short(l.Where), strings.TrimSpace(l.Figure + " " + l.Unit), word, class, show.Short(l.Because)}
	}
	var left []string
	if f.Tests > 0 {
		left = append(left, english.Count(f.Tests, "test"))
	}
	if f.Steps > 0 {
		left = append(left, english.Count(f.Steps, "step"))
	}
	if len(left) > 0 {
		v.Left = english.List(left) + " left"
	}
	switch {
	case s.Finished && v.Turn != "speaking":
		v.Turn = "finished"
	case s.Paused && v.Turn == "listening":
		v.Turn = "paused"
	}
}
