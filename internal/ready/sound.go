package ready

// Whether a microphone is good enough: the quiet, a phrase, and what was understood of it.

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"strings"
	"time"

	"waycall/internal/audio"
	"waycall/internal/audio/mic"
	"waycall/internal/hear"
	"waycall/internal/phrase"
	"waycall/internal/session"
)

// TestPhrase has what recognition stands on: a way, a test, a bound and figures.
const TestPhrase = "way three live to earth over nine nine nine"

// Sound is what was found of a microphone, or of a recording.
type Sound struct {
	State    State             `json:"state"`
	Device   string            `json:"device"`    // or the file
	Rate     int               `json:"rate"`      // of the device in Hz; 0 for a file
	NoiseDB  float64           `json:"noise_db"`  // dBFS, as all levels
	SpeechDB *float64          `json:"speech_db"` // null where nothing was said, as all below
	RatioDB  *float64          `json:"ratio_db"`  // of speech to noise
	PeakDB   float64           `json:"peak_db"`   // the loudest sample
	Clipped  float64           `json:"clipped"`   // share of the speech
	Narrow   bool              `json:"narrow"`    // a telephone's band
	Lost     int               `json:"lost"`      // times that sound was lost
	Wanted   string            `json:"wanted"`
	Heard    string            `json:"heard"`
	Agreed   bool              `json:"agreed"`
	Words    map[string]string `json:"words"` // witness -> its words
	Findings []Finding         `json:"findings"`
}

const (
	quietTime = 3 * time.Second
	askTime   = 20 * time.Second // for the phrase, from when it is asked for
)

// NewSound returns one that nothing is known of yet; wanted is the phrase to be said.
func NewSound(wanted string) *Sound { return &Sound{Wanted: wanted, Words: map[string]string{}} }

// Record listens to the quiet and to the phrase at the microphone of that name, and
// returns all of the sound. What to do is printed on say.
func (s *Sound) Record(ctx context.Context, name string, say io.Writer) (audio.Clip, error) {
	m, err := mic.Open(name)
	if err != nil {
		return nil, err
	}
	defer m.Close()
	m.Tell = func(n audio.News) { fmt.Fprintln(say, n.Text) }
	s.Device, s.Rate = m.Device().Name, m.Device().Rate
	fmt.Fprintf(say, "Listening to %s.\nBe quiet for three seconds, please.\n", s.Device)
	ends := audio.NewEndpointer(audio.Settings{})
	var all audio.Clip
	asked := false
	for all.Duration() < quietTime+askTime {
		frame, err := m.Next(ctx)
		if b := new(audio.Break); errors.As(err, &b) {
			ends.Reset()
			continue
		}
		if err != nil {
			return nil, err
		}
		all = append(all, frame...)
		s.Lost = m.Lost()
		for _, e := range ends.Push(frame) {
			if e.Kind == audio.Ended && asked {
				return all, nil
			}
		}
		if !asked && all.Duration() >= quietTime {
			asked = true
			ends.Reset() // what was said before is not the phrase
			fmt.Fprintf(say, "Now say: %q\n", s.Wanted)
		}
	}
	return all, nil
}

// Judge hears the phrase and says what is good enough and what is not.
func (s *Sound) Judge(e *hear.Ear, sound audio.Clip) error {
	q, spoken := audio.Measure(sound)
	s.NoiseDB, s.PeakDB, s.Narrow, s.Clipped = tenth(q.Noise), tenth(q.Peak), q.Narrow, q.Clipped
	s.Findings = append([]Finding{{"microphone", Good, s.from(), ""}}, judgeSound(q, spoken, s.Lost)...)
	if spoken {
		speech, ratio := tenth(q.Speech), tenth(q.Ratio())
		s.SpeechDB, s.RatioDB = &speech, &ratio
		scope := phrase.Scope{}
		if err := e.Prepare(scope); err != nil {
			return err
		}
		h, _, err := session.HearClip(e, scope, sound)
		if err != nil {
			return err
		}
		s.Heard, s.Agreed = h.Best().Text, h.Agreed
		for w, words := range h.Words {
			s.Words[w] = words
		}
		s.Findings = append(s.Findings, judgeHeard(s.Wanted, h))
	}
	s.State = Worst(s.Findings)
	return nil
}

func (s *Sound) from() string {
	if s.Rate == 0 {
		return s.Device
	}
	return fmt.Sprintf("%s, %d Hz", s.Device, s.Rate)
}

func tenth(x float64) float64 { return math.Round(10*x) / 10 }

// Where the limits come from: docs/bench. With site noise 20 dB below the speech, as
// many readings are right as in quiet; at 10 dB one in twenty more is asked for again,
// at 5 dB one in four. A level from -40 dBFS to one that is clipped hard makes no
// difference to what is heard; but what is clipped is hard to listen to afterwards.
const (
	goodRatio     = 20.0 // dB
	leastRatio    = 10.0
	quietSpeech   = -45.0 // dBFS
	leastSpeech   = -60.0
	clippedLittle = 0.001 // share of the samples of speech
	farOffset     = 0.05
)

// judgeSound judges what was measured.
func judgeSound(q audio.Quality, spoken bool, lost int) []Finding {
	var all []Finding
	add := func(part string, s State, found, do string) { all = append(all, Finding{part, s, found, do}) }
	switch {
	case lost > 0:
		add("whole", Missing, fmt.Sprintf("sound was lost %d times", lost), "end other programs: this computer is too busy to listen")
	default:
		add("whole", Good, "no sound was lost", "")
	}
	noise := fmt.Sprintf("%.0f dB", q.Noise)
	if !spoken {
		switch {
		case q.Peak <= audio.Silence:
			add("speech", Missing, "digital silence: the microphone is off or muted", "switch it on, or take it off mute in the system's sound settings")
		default:
			add("speech", Missing, fmt.Sprintf("nothing was said, or it was too quiet to be told from the noise (%s)", noise), "speak as to somebody across a table, move the microphone nearer, or turn it up")
		}
		return all
	}
	ratio := fmt.Sprintf("%.0f dB below the speech, at %s", q.Ratio(), noise)
	switch {
	case q.Ratio() < leastRatio:
		add("noise", Missing, ratio, "move the microphone nearer to the mouth, or wait until it is quieter")
	case q.Ratio() < goodRatio:
		add("noise", Look, ratio, "move the microphone nearer to the mouth: more will be asked again than need be")
	default:
		add("noise", Good, ratio, "")
	}
	level := fmt.Sprintf("%.0f dB", q.Speech)
	switch {
	case q.Speech < leastSpeech:
		add("level", Missing, level, "turn the microphone up in the system's sound settings, or move it nearer")
	case q.Speech < quietSpeech:
		add("level", Look, level+", which is quiet", "turn the microphone up in the system's sound settings, or move it nearer")
	default:
		add("level", Good, level, "")
	}
	switch {
	case q.Clipped > clippedLittle:
		add("clipping", Look, fmt.Sprintf("%.1f %% of the speech is clipped", 100*q.Clipped), "turn the microphone down in the system's sound settings, or move it away: the recordings are kept with the record")
	default:
		add("clipping", Good, fmt.Sprintf("none; the loudest is at %.0f dB", q.Peak), "")
	}
	if math.Abs(q.Offset) > farOffset {
		add("offset", Look, fmt.Sprintf("the sound is off its middle by %.0f %%", 100*math.Abs(q.Offset)), "try another socket or another headset: this one is faulty")
	}
	if q.Narrow {
		add("band", Good, "a telephone's, up to 4 kHz, as of a wireless headset that plays, too; it is heard as well as a full one", "")
	}
	return all
}

// judgeHeard judges what was understood of the phrase.
func judgeHeard(wanted string, h hear.Heard) Finding {
	const part, again = "phrase", "say it again as it is printed; then try another microphone, or a quieter place"
	text := h.Best().Text
	switch {
	case text == "" || h.Outcome == hear.None:
		return Finding{part, Missing, "it was taken for talk that is not for waycall", again}
	case !sameWords(text, wanted):
		return Finding{part, Missing, fmt.Sprintf("heard as %q", text), again}
	case !h.Agreed:
		return Finding{part, Look, fmt.Sprintf("heard as %q, but the recognisers differ", text), "say it once more; in a session you would be asked"}
	}
	return Finding{part, Good, fmt.Sprintf("heard as %q; the recognisers agree", text), ""}
}

// sameWords compares phrases by their words.
func sameWords(a, b string) bool {
	words := func(s string) string {
		return strings.Join(strings.FieldsFunc(strings.ToLower(s), func(r rune) bool { return r == ' ' || r == ',' || r == '.' }), " ")
	}
	return words(a) == words(b)
}

// Write prints what was found and how good that is.
func (s *Sound) Write(w io.Writer) error {
	if err := Write(w, s.Findings); err != nil {
		return err
	}
	verdict := map[State]string{Good: "good enough", Look: "good enough for a session, but not as good as it could be", Missing: "not good enough"}[s.State]
	_, err := fmt.Fprintf(w, "\n%s: %s\n", s.Device, verdict)
	return err
}
