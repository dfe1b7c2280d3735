// Package say is waycall's voice: what is to be said goes through Words, which
// makes it speakable, then a Voice, which makes sound of it, then a Player, which
// makes it heard.
//
// The engines are in packages of their own: say/espeak is the voice, say/speaker
// the loudspeaker.
package say

import (
	"context"
	"math"
	"regexp"
	"strings"
	"unicode"

	"waycall/internal/audio"
)

// A Voice makes speech of text.
type Voice interface {
	// Speak returns the sound of text, which may be anything: what cannot be
	// said is left out, and text with nothing to say gives an empty clip. The
	// pace is in steps from the usual one: see Factor. The clip is shared and
	// must not be changed.
	Speak(text string, pace int) (audio.Clip, error)
}

// Factor returns how much faster than usual a pace is: 1 at pace 0, then 1.18 times
// as fast for each step up and as slow for each step down, so that two steps are
// clearly heard as quick or slow. No pace is beyond four steps.
func Factor(pace int) float64 { return math.Pow(1.18, float64(min(max(pace, -4), 4))) }

// A Player makes sound heard.
type Player interface {
	// Play returns when the sound has been heard, or with the context's error
	// as soon as ctx ends.
	Play(ctx context.Context, sound audio.Clip) error
}

// longest is the most that is said at once, in characters: about forty seconds.
// Nobody at a board listens for longer, and the screen shows the rest.
const longest = 600

// written are the marks of the trade that a voice would misread, each with the
// words an electrician says. A unit is one only after a figure: "A" alone is a
// word.
var written = []struct {
	mark  *regexp.Regexp
	words string
}{
	{regexp.MustCompile(`(?i)\br([12])\s*\+\s*r([12])\b`), " r $1 plus r $2 "},
	{regexp.MustCompile(`(?i)\br([12n])\b`), " r $1 "},
	{regexp.MustCompile(`\br 1\b`), "r one"},
	{regexp.MustCompile(`\br 2\b`), "r two"},
	{regexp.MustCompile(`\bZ([es])\b`), " zed $1 "},
	{regexp.MustCompile(`\bRA\b`), " r a "},
	{regexp.MustCompile(`(?:>|≥)\s*(\d)`), " greater than $1"},
	{regexp.MustCompile(`(?:<|≤)\s*(\d)`), " less than $1"},
	{regexp.MustCompile(`(\d)\s*(?:MΩ|MΩ|Mohms?|MOhms?)`), "$1 megohms "},
	{regexp.MustCompile(`(?:MΩ|MΩ)`), " megohms "},
	{regexp.MustCompile(`(\d)\s*(?:Ω|Ω|[Oo]hms?\b)`), "$1 ohms "},
	{regexp.MustCompile(`[ΩΩ]`), " ohms "},
	{regexp.MustCompile(`(\d)\s*kA\b`), "$1 kiloamps "},
	{regexp.MustCompile(`(\d)\s*mA\b`), "$1 milliamps "},
	{regexp.MustCompile(`(\d)\s*ms\b`), "$1 milliseconds "},
	{regexp.MustCompile(`(\d)\s*V\b`), "$1 volts "},
	{regexp.MustCompile(`(\d)\s*A\b`), "$1 amps "},
	{regexp.MustCompile(`(\d)\s*mm[²2]`), "$1 square millimetres "},
	{regexp.MustCompile(`(\d)\s*(?:°C|degC\b)`), "$1 degrees "},
}

// spelt are names said letter by letter.
var spelt = regexp.MustCompile(`\b(RCBO|RCD|MCB|AFDD|SPD|PFC|PSC|TT|CPC|cpc)(s?)\b`)

// Words returns text as a voice can say it: marks of the trade become the words
// an electrician says ("R1+R2" is "r one plus r two", "500 V" is "500 volts"),
// anything that is not a letter, a figure or ordinary punctuation is left out,
// and so is all that goes beyond forty seconds. Figures stay figures: a reading
// is put into words by reading.Quantity, which knows what was meant.
func Words(text string) string {
	text = strings.ToValidUTF8(text, "")
	if r := []rune(text); len(r) > 2*longest {
		text = string(r[:2*longest]) // more than will be left, and a bound on the work
	}
	for _, w := range written {
		text = w.mark.ReplaceAllString(text, w.words)
	}
	text = strings.NewReplacer("&", " and ", "+", " plus ", "…", ",").Replace(text)
	text = spelt.ReplaceAllStringFunc(text, func(name string) string {
		plural := strings.HasSuffix(name, "s")
		name = strings.TrimSuffix(name, "s")
		name = strings.Join(strings.Split(strings.ToLower(name), ""), " ")
		if plural {
			name += "s"
		}
		return name
	})
	text = strings.Map(func(r rune) rune {
		switch {
		case unicode.IsLetter(r), unicode.IsDigit(r), strings.ContainsRune(".,?!:;'’-%", r):
			return r
		}
		return ' '
	}, text)
	words := strings.Fields(text)
	n := 0
	for i, w := range words {
		// A mark that has lost its word goes to the word before it.
		if i > 0 && strings.Trim(w, ".,?!:;") == "" {
			words[i] = ""
			if !strings.ContainsAny(words[i-1], ".,?!:;") {
				words[i-1] += w[:1]
			}
			continue
		}
		if n += len([]rune(w)) + 1; n > longest {
			words = words[:i]
			break
		}
	}
	out := strings.Join(strings.Fields(strings.Join(words, " ")), " ")
	if strings.IndexFunc(out, func(r rune) bool { return unicode.IsLetter(r) || unicode.IsDigit(r) }) < 0 {
		return ""
	}
	return out
}
