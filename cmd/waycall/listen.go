package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"waycall/internal/audio"
	"waycall/internal/audio/mic"
	"waycall/internal/hear"
	"waycall/internal/phrase"
	"waycall/internal/session"
)

// testPhrase has what recognition stands on: a way, a test, a bound and figures.
const testPhrase = "way three live to earth over nine nine nine"

// soundTest is what waycall listen found.
type soundTest struct {
	State    state             `json:"state"`
	Device   string            `json:"device"` // or the file
	Rate     int               `json:"rate"`   // of the device in Hz; 0 for a file
	NoiseDB  float64           `json:"noise_db"`
	SpeechDB *float64          `json:"speech_db"` // null where nothing was said, as all below
	RatioDB  *float64          `json:"ratio_db"`  // of speech to noise
	PeakDB   float64           `json:"peak_db"`
	Clipped  float64           `json:"clipped"` // share of the speech
	Narrow   bool              `json:"narrow"`  // a telephone's band
	Lost     int               `json:"lost"`    // times that sound was lost
	Wanted   string            `json:"wanted"`
	Heard    string            `json:"heard"`
	Agreed   bool              `json:"agreed"`
	Words    map[string]string `json:"words"` // witness -> its words
	Findings []finding         `json:"findings"`
}

func newListen() *cobra.Command {
	var (
		ear     earFlags
		micName string
		file    string
		wanted  string
		asJSON  bool
	)
	cmd := &cobra.Command{
		Use:   "listen",
		Short: "Try the microphone with a phrase, and say whether it is good enough",
		Long: `Listens to the quiet for three seconds, then to a phrase that it asks for, and
tells the noise, the level of the speech, whether it is clipped, whether sound was
lost, and what was understood of the phrase; then whether the microphone is good
enough for a session, and if not, why and what to do. Stand as you will stand at
the board. Nothing is kept.

With --file it judges a recording of the phrase, with a second of quiet before it.

Exit code 0: good enough. 3: not good enough. 4: a session will do, but something
is to be looked into.`,
		Example: "  waycall listen\n  waycall listen --mic headset\n  waycall listen --file phrase.wav --json",
		Args:    wantArgs(0, 0, "no arguments"),
		RunE: func(cmd *cobra.Command, args []string) error {
			if len(wanted) > 200 || strings.TrimSpace(wanted) == "" {
				return usageError{errors.New("--phrase is empty or longer than 200 letters; give a phrase of the grammar")}
			}
			// Before anything is asked of anybody: the recognisers may be missing.
			e, _, closeEar, err := ear.open()
			if err != nil {
				return err
			}
			defer closeEar()
			s := soundTest{Wanted: wanted, Words: map[string]string{}}
			var sound audio.Clip
			if file != "" {
				s.Device = file
				if sound, err = audio.ReadFile(file); sound == nil {
					return err
				}
			} else {
				say := cmd.ErrOrStderr()
				if sound, err = s.record(cmd.Context(), micName, say); err != nil {
					return err
				}
			}
			if err := s.judge(e, sound); err != nil {
				return err
			}
			if asJSON {
				err = printJSON(cmd.OutOrStdout(), s)
			} else {
				err = s.write(cmd.OutOrStdout())
			}
			switch {
			case err != nil:
				return err
			case s.State == missing:
				return foundError{exitFails, "not good enough; do as said above, then run waycall listen again"}
			case s.State == look:
				return foundError{exitDoubtful, "a session will do, but look into what is marked above"}
			}
			return nil
		},
	}
	ear.add(cmd)
	textSetting(cmd, &micName, "mic")
	cmd.Flags().StringVar(&file, "file", "", "judge this WAV or FLAC file in place of the microphone")
	cmd.Flags().StringVar(&wanted, "phrase", testPhrase, "the phrase that is said")
	cmd.Flags().BoolVar(&asJSON, "json", false, "print JSON; what to say goes to standard error")
	return cmd
}

const (
	quietTime = 3 * time.Second
	askTime   = 20 * time.Second // for the phrase, from when it is asked for
)

// record listens to the quiet and to the phrase, and returns all of the sound.
func (s *soundTest) record(ctx context.Context, name string, say io.Writer) (audio.Clip, error) {
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

// judge hears the phrase and says what is good enough and what is not.
func (s *soundTest) judge(e *hear.Ear, sound audio.Clip) error {
	q, spoken := audio.Measure(sound)
	s.NoiseDB, s.PeakDB, s.Narrow, s.Clipped = tenth(q.Noise), tenth(q.Peak), q.Narrow, q.Clipped
	s.Findings = append([]finding{{"microphone", good, s.from(), ""}}, judgeSound(q, spoken, s.Lost)...)
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
	s.State = worst(s.Findings)
	return nil
}

func (s *soundTest) from() string {
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
func judgeSound(q audio.Quality, spoken bool, lost int) []finding {
	var all []finding
	add := func(part string, s state, found, do string) { all = append(all, finding{part, s, found, do}) }
	switch {
	case lost > 0:
		add("whole", missing, fmt.Sprintf("sound was lost %d times", lost), "end other programs: this computer is too busy to listen")
	default:
		add("whole", good, "no sound was lost", "")
	}
	noise := fmt.Sprintf("%.0f dB", q.Noise)
	if !spoken {
		switch {
		case q.Peak <= audio.Silence:
			add("speech", missing, "digital silence: the microphone is off or muted", "switch it on, or take it off mute in the system's sound settings")
		default:
			add("speech", missing, fmt.Sprintf("nothing was said, or it was too quiet to be told from the noise (%s)", noise), "speak as to somebody across a table, move the microphone nearer, or turn it up")
		}
		return all
	}
	ratio := fmt.Sprintf("%.0f dB below the speech, at %s", q.Ratio(), noise)
	switch {
	case q.Ratio() < leastRatio:
		add("noise", missing, ratio, "move the microphone nearer to the mouth, or wait until it is quieter")
	case q.Ratio() < goodRatio:
		add("noise", look, ratio, "move the microphone nearer to the mouth: more will be asked again than need be")
	default:
		add("noise", good, ratio, "")
	}
	level := fmt.Sprintf("%.0f dB", q.Speech)
	switch {
	case q.Speech < leastSpeech:
		add("level", missing, level, "turn the microphone up in the system's sound settings, or move it nearer")
	case q.Speech < quietSpeech:
		add("level", look, level+", which is quiet", "turn the microphone up in the system's sound settings, or move it nearer")
	default:
		add("level", good, level, "")
	}
	switch {
	case q.Clipped > clippedLittle:
		add("clipping", look, fmt.Sprintf("%.1f %% of the speech is clipped", 100*q.Clipped), "turn the microphone down in the system's sound settings, or move it away: the recordings are kept with the record")
	default:
		add("clipping", good, fmt.Sprintf("none; the loudest is at %.0f dB", q.Peak), "")
	}
	if math.Abs(q.Offset) > farOffset {
		add("offset", look, fmt.Sprintf("the sound is off its middle by %.0f %%", 100*math.Abs(q.Offset)), "try another socket or another headset: this one is faulty")
	}
	if q.Narrow {
		add("band", good, "a telephone's, up to 4 kHz, as of a wireless headset that plays, too; it is heard as well as a full one", "")
	}
	return all
}

// judgeHeard judges what was understood of the phrase.
func judgeHeard(wanted string, h hear.Heard) finding {
	const part, again = "phrase", "say it again as it is printed; then try another microphone, or a quieter place"
	text := h.Best().Text
	switch {
	case text == "" || h.Outcome == hear.None:
		return finding{part, missing, "it was taken for talk that is not for waycall", again}
	case !sameWords(text, wanted):
		return finding{part, missing, fmt.Sprintf("heard as %q", text), again}
	case !h.Agreed:
		return finding{part, look, fmt.Sprintf("heard as %q, but the recognisers differ", text), "say it once more; in a session you would be asked"}
	}
	return finding{part, good, fmt.Sprintf("heard as %q; the recognisers agree", text), ""}
}

// sameWords compares phrases by their words.
func sameWords(a, b string) bool {
	words := func(s string) string {
		return strings.Join(strings.FieldsFunc(strings.ToLower(s), func(r rune) bool { return r == ' ' || r == ',' || r == '.' }), " ")
	}
	return words(a) == words(b)
}

func (s *soundTest) write(w io.Writer) error {
	if err := writeFindings(w, s.Findings); err != nil {
		return err
	}
	verdict := map[state]string{good: "good enough", look: "good enough for a session, but not as good as it could be", missing: "not good enough"}[s.State]
	_, err := fmt.Fprintf(w, "\n%s: %s\n", s.Device, verdict)
	return err
}
