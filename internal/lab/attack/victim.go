package attack

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"time"

	"waycall/grammar"
	"waycall/internal/audio"
	"waycall/internal/board"
	"waycall/internal/hear"
	"waycall/internal/hear/engines"
	"waycall/internal/phrase"
	"waycall/internal/record"
	"waycall/internal/say/espeak"
	hears "waycall/internal/session"
	"waycall/internal/store"
)

// Victim is a session to be attacked: endpointing, conversation, record and voice as in
// `waycall start`, with recorded clips in place of the microphone, faster than they were
// spoken. It prints the lines that `waycall start --json` prints, and says which line of
// the script comes next.
type Victim struct {
	Testdata string // the repository's folder of that name
	Job      string // its file; made when it is not there
	CopyTo   string // folder of the copy; empty for none
	From     int    // line of the script to begin with
	Lines    int    // so many; 0 for all
	Engines  bool   // hear with both recognisers; otherwise each clip is heard as the text it holds
	Models   string // folder of the speech models
	Stepped  bool   // wait for a line on the standard input before each phrase
}

// Run runs the session to its end.
func (v Victim) Run(ctx context.Context, in io.Reader, out io.Writer) error {
	lines, err := readScript(v.Testdata)
	if err != nil {
		return err
	}
	last := len(lines)
	if v.Lines > 0 {
		last = min(last, v.From+v.Lines)
	}
	log, job, err := v.open()
	if err != nil {
		return err
	}
	defer log.Close()
	events, err := log.Events(ctx)
	if err != nil {
		return err
	}
	known, err := record.Fold(events)
	if err != nil {
		return err
	}
	if v.CopyTo != "" {
		if err := log.CopyTo(v.CopyTo); err != nil {
			return err
		}
	}
	g, err := phrase.Load(grammar.Files)
	if err != nil {
		return err
	}
	voice, err := espeak.Open(0)
	if err != nil {
		return err
	}
	mouth := &mouth{lines: lines, at: v.From, last: last, print: printer{out}}
	if v.Stepped {
		mouth.steps = bufio.NewScanner(in)
	}
	var ear hears.Ear = textEar{g, mouth}
	if v.Engines {
		three, shut, err := engines.Open(g, filepath.Join(v.Models, engines.Model), 1)
		if err != nil {
			return err
		}
		defer shut()
		ear = three
	}
	s := hears.Session{
		Source: mouth, Ear: ear, Voice: voice, Player: mouth, Log: log, Keeper: log, Watch: mouth.print, Now: time.Now,
	}
	_, err = s.Run(ctx, job, known)
	return err
}

func (v Victim) open() (*store.Store, board.Job, error) {
	log, err := store.Open(v.Job)
	if !errors.Is(err, fs.ErrNotExist) {
		return log, board.Job{}, err
	}
	name := filepath.Join(v.Testdata, "session", "board.yaml")
	f, err := os.Open(name)
	if err != nil {
		return nil, board.Job{}, err
	}
	defer f.Close()
	job, err := board.Read(f, name)
	if err != nil {
		return nil, board.Job{}, err
	}
	log, err = store.Create(v.Job)
	return log, job, err
}

// line is a line of the script: what is said, and the file with its sound.
type line struct {
	Text string `json:"text"`
	file string
}

var noLetters = regexp.MustCompile(`[^a-z]+`)

// readScript reads the script of the long session, whose sound is read as it is said.
func readScript(testdata string) ([]line, error) {
	f, err := os.Open(filepath.Join(testdata, "session", "script.jsonl"))
	if err != nil {
		return nil, fmt.Errorf("%w; run it in the repository's root", err)
	}
	defer f.Close()
	sounds, err := os.ReadDir(filepath.Join(testdata, "session", "sound"))
	if err != nil {
		return nil, err
	}
	variants := map[string][]string{}
	for _, e := range sounds {
		slug := strings.TrimRight(strings.TrimSuffix(e.Name(), ".flac"), "-0123456789")
		variants[slug] = append(variants[slug], filepath.Join(testdata, "session", "sound", e.Name()))
	}
	var lines []line
	used := map[string]int{}
	for s := bufio.NewScanner(f); s.Scan(); {
		var l line
		if err := json.Unmarshal(s.Bytes(), &l); err != nil {
			return nil, err
		}
		slug := strings.Trim(noLetters.ReplaceAllString(strings.ToLower(l.Text), "-"), "-")
		takes := variants[slug]
		if len(takes) == 0 {
			return nil, fmt.Errorf("no sound of %q; scripts/lab/render-demo renders it", l.Text)
		}
		l.file = takes[used[slug]%len(takes)]
		used[slug]++
		lines = append(lines, l)
	}
	return lines, nil
}

// mouth is who speaks to a victim, and its loudspeaker.
type mouth struct {
	lines    []line
	at, last int // the line that comes next, and the one before which it ends
	rest     audio.Clip
	steps    *bufio.Scanner // nil where nothing is waited for
	print    printer
}

// gap is the quiet after a line, long enough to end a phrase, and a note.
const gap = 1700 * time.Millisecond

// Next gives the next frame of what is said.
func (m *mouth) Next(ctx context.Context) (audio.Clip, error) {
	if len(m.rest) == 0 {
		if m.at >= m.last {
			return nil, io.EOF
		}
		m.print.line(m.at)
		if m.steps != nil && !m.steps.Scan() {
			return nil, io.EOF
		}
		clip, err := audio.ReadFile(m.lines[m.at].file)
		if err != nil {
			return nil, err
		}
		m.at++
		m.rest = append(slices.Clone(clip), make(audio.Clip, int(gap.Seconds()*audio.Rate))...)
	}
	frame := m.rest[:min(audio.FrameSize, len(m.rest))]
	m.rest = m.rest[len(frame):]
	return frame, ctx.Err()
}

// Play hears what waycall says, in no time.
func (m *mouth) Play(ctx context.Context, sound audio.Clip) error { return ctx.Err() }

// Discard leaves out what is left of the quiet after a line.
func (m *mouth) Discard() { m.rest = nil }

// Close does nothing.
func (m *mouth) Close() error { return nil }

// textEar hears each clip as the text that it holds: for attacks on what comes after
// hearing.
type textEar struct {
	g     *phrase.Grammar
	mouth *mouth
}

func (e textEar) Prepare(phrase.Scope) error { return nil }

func (e textEar) text() string {
	return strings.ReplaceAll(e.mouth.lines[max(0, e.mouth.at-1)].Text, ",", "") // the grammar has words alone
}

func (e textEar) Note([]float32) (hear.Heard, error) {
	text := e.text()
	return hear.Heard{Outcome: hear.Note, Candidates: []hear.Candidate{{Text: text}}, Words: map[string]string{"script": text}}, nil
}

func (e textEar) Begin(phrase.Scope) hear.Utterance { return textUtterance{e} }

type textUtterance struct{ textEar }

func (textUtterance) Pause([]float32) {}
func (textUtterance) Over() bool      { return false }
func (textUtterance) Drop()           {}

func (u textUtterance) End([]float32) (hear.Heard, error) {
	text := u.text()
	h := hear.Heard{Outcome: hear.None, Agreed: true, Words: map[string]string{"script": text}}
	m, ok := u.g.Meaning(text)
	if !ok {
		return h, nil
	}
	h.Outcome = hear.Reading
	if m.Command != "" {
		h.Outcome = hear.Command
	}
	h.Candidates = []hear.Candidate{{Text: text, Meaning: m}}
	return h, nil
}

// printer prints what happens in a session, one JSON object a line.
type printer struct{ w io.Writer }

func (p printer) print(v any) {
	enc := json.NewEncoder(p.w)
	enc.SetEscapeHTML(false)
	_ = enc.Encode(v) // who does not listen any more has killed us
}

func (p printer) line(n int)           { p.print(map[string]any{"event": "line", "line": n}) }
func (p printer) Speaking(text string) { p.print(map[string]any{"event": "speaking", "text": text}) }
func (p printer) Listening(string)     { p.print(map[string]any{"event": "listening"}) }
func (p printer) Heard(h hear.Heard) {
	p.print(map[string]any{"event": "heard", "text": h.Best().Text})
}
func (p printer) Stored(facts []record.Event) {
	p.print(map[string]any{"event": "stored", "facts": facts})
}
func (p printer) TooLong(time.Duration) {}
