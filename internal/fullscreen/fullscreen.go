// Package fullscreen shows a session on the whole of a terminal, to be read from three
// metres: the way very large, what it feeds, the test in words, the last reading
// with its verdict, whether waycall listens or speaks, the level of the
// microphone, and what is left.
//
// It is told what happens as a session.Watcher and works out the rest from the
// facts that were stored, as package record folds them. Being told takes no time:
// it notes what it hears, and the terminal is drawn beside the session, ten times a
// second, so that a slow or a stuck terminal holds nothing up. What is drawn is a
// function of the noted facts and of the size alone (see draw).
//
// No key is needed. Ctrl-C does what it does without the full screen; no other key
// does anything, so that nothing is lost by a slip.
//
// Colours are the terminal's own, and nothing is said by colour alone. NO_COLOR is
// respected.
package fullscreen

import (
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"sync"
	"time"

	tea "charm.land/bubbletea/v2"
	"golang.org/x/term"

	"waycall/internal/audio"
	"waycall/internal/hear"
	"waycall/internal/record"
	"waycall/internal/show"
)

// Screen is a full screen that watches a session. It may watch several, one after
// the other, of one job.
type Screen struct {
	mu    sync.Mutex
	f     facts
	state record.State
	stale bool // f is behind state
	lost  bool // state is behind the record
}

// New returns a Screen that knows of no job yet.
func New() *Screen { return &Screen{stale: true, f: facts{level: math.Inf(-1)}} }

// Begin is told what is known of the job when a session begins.
func (w *Screen) Begin(state record.State) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.state, w.stale, w.lost = state, true, false
}

// note changes what is known.
func (w *Screen) note(change func(f *facts)) {
	w.mu.Lock()
	defer w.mu.Unlock()
	change(&w.f)
}

// Speaking is told what waycall is about to say.
func (w *Screen) Speaking(text string) {
	w.note(func(f *facts) { f.turn, f.said, f.level = speaking, text, math.Inf(-1) })
}

// Listening is told that it listens from now on, and what may be said.
func (w *Screen) Listening(choices string) {
	w.note(func(f *facts) { f.turn, f.choices = listening, choices })
}

// Heard is told what was heard, and shows what becomes of it.
func (w *Screen) Heard(h hear.Heard) {
	text := h.Best().Text
	switch {
	case h.Missed:
		text = "(not understood)"
	case h.Outcome == hear.Note:
		text = "“" + text + "”"
	case h.Outcome == hear.None:
		text = "(talk, not for waycall)"
	case h.Outcome == hear.Misplaced:
		text += "  (not on this board)"
	case !h.Agreed:
		text += "  (disputed)"
	}
	w.note(func(f *facts) { f.heard = text })
}

// TooLong is told that somebody spoke without a pause for d.
func (w *Screen) TooLong(d time.Duration) {
	w.note(func(f *facts) {
		f.heard = fmt.Sprintf("(talk of more than %d s without a pause, ignored)", int(d.Seconds()))
	})
}

// Sound is told news of the sound devices.
func (w *Screen) Sound(n audio.News) { w.note(func(f *facts) { f.sound = n }) }

// Stored is told the facts that are on the disk.
func (w *Screen) Stored(stored []record.Event) {
	w.mu.Lock()
	defer w.mu.Unlock()
	for _, e := range stored {
		next, err := w.state.Apply(e)
		if err != nil { // better no figures than wrong ones
			w.lost = true
			break
		}
		w.state = next
		if e.Kind == record.Tapped {
			w.f.heard = e.Text + "  (by the key)"
		}
	}
	w.stale = true
}

// Stage shows how far a demonstration is, and what it is about to show.
func (w *Screen) Stage(at, text string) { w.note(func(f *facts) { f.stage = at + ": " + text }) }

// Said returns the last thing that waycall said.
func (w *Screen) Said() string {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.f.said
}

// falls is by how many dB the meter falls with a frame, so that it can be read.
const falls = 1.2

// Meter returns source with its level shown.
func (w *Screen) Meter(source audio.Source) audio.Source { return metered{source, w} }

type metered struct {
	audio.Source
	screen *Screen
}

func (m metered) Next(ctx context.Context) (audio.Clip, error) {
	frame, err := m.Source.Next(ctx)
	if err == nil {
		level := min(frame.Level(), 0) // what is louder is no sound, and would stay
		m.screen.note(func(f *facts) {
			if f.level -= falls; math.IsNaN(level) || f.level > level {
				return
			}
			f.level = level
		})
	}
	return frame, err
}

// shot returns what is known now.
func (w *Screen) shot() facts {
	w.mu.Lock()
	f, state, stale, lost := w.f, w.state, w.stale, w.lost
	w.stale = false
	w.mu.Unlock()
	if stale {
		if f.Facts = show.Of(state); lost {
			f.Facts = show.Facts{Job: f.Job, Place: "?", Label: "THE SCREEN IS BEHIND", Due: "Go by what waycall says. The record is not touched by this."}
		}
		w.mu.Lock()
		now := w.f
		now.Facts = f.Facts // the rest was told meanwhile and is newer
		w.f, f = now, now
		w.mu.Unlock()
	}
	switch {
	case state.Finished && f.turn != speaking:
		f.turn = finished
	case state.Paused && f.turn == listening:
		f.turn = paused
	}
	return f
}

// Can reports whether out is a terminal that can show a full screen.
func Can(out any) bool {
	f, ok := out.(*os.File)
	return ok && term.IsTerminal(int(f.Fd())) && os.Getenv("TERM") != "dumb" && os.Getenv("TERM") != ""
}

// Show draws on the terminal out until the function it returns is called, which
// gives the terminal back as it was. Keys are taken from in when that is a
// terminal; Ctrl-C there calls stop. The error of the returned function says that
// the screen could not be shown to the end; the session is not touched by that.
func (w *Screen) Show(in, out *os.File, stop func()) (end func() error) {
	options := []tea.ProgramOption{tea.WithOutput(out), tea.WithoutSignalHandler(), tea.WithInput(nil)}
	keys := term.IsTerminal(int(in.Fd()))
	if keys {
		options[2] = tea.WithInput(in)
	}
	p := tea.NewProgram(model{screen: w, stop: stop, keys: keys, colour: os.Getenv("NO_COLOR") == ""}, options...)
	done := make(chan error, 1)
	go func() {
		_, err := p.Run()
		done <- err
	}()
	return func() error {
		go p.Quit() // waits where the terminal takes nothing
		select {
		case err := <-done:
			if err != nil {
				return fmt.Errorf("full screen: %w; go on without --full", err)
			}
			return nil
		case <-time.After(patience):
			go p.Kill()
			return errors.New("full screen: the terminal takes nothing; go on without --full, and give reset if it stays so")
		}
	}
}

// patience is how long a terminal may take to be given back.
const patience = 2 * time.Second

// model is a Screen as bubbletea draws it.
type model struct {
	screen        *Screen
	stop          func()
	keys          bool // something reads what the terminal answers
	colour, light bool
	w, h          int
	f             facts
}

type tick struct{}

func next() tea.Cmd {
	return tea.Tick(100*time.Millisecond, func(time.Time) tea.Msg { return tick{} })
}

func (m model) Init() tea.Cmd {
	if m.keys {
		return tea.Batch(next(), tea.RequestBackgroundColor)
	}
	return next()
}

func (m model) Update(msg tea.Msg) (tea.Model, tea.Cmd) {
	switch msg := msg.(type) {
	case tick:
		m.f = m.screen.shot()
		return m, next()
	case tea.WindowSizeMsg:
		m.w, m.h = msg.Width, msg.Height
	case tea.BackgroundColorMsg:
		m.light = !msg.IsDark()
	case tea.KeyPressMsg:
		if msg.String() == "ctrl+c" {
			m.stop()
		}
	}
	return m, nil
}

func (m model) View() tea.View {
	v := tea.NewView(draw(m.f, palette{m.colour, m.light}, m.w, m.h))
	v.AltScreen = true
	return v
}
