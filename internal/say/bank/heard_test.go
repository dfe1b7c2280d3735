package bank

import (
	"fmt"
	"math/rand/v2"
	"os"
	"runtime"
	"strings"
	"testing"

	"waycall/grammar"
	"waycall/internal/audio"
	"waycall/internal/hear"
	"waycall/internal/hear/engines"
	"waycall/internal/lab/noise"
	"waycall/internal/phrase"
	"waycall/internal/reading"
	"waycall/internal/say"
)

// What the bank says is heard by waycall's own ear, so a figure that could be taken for
// another would be noticed. With WAYCALL_TEST_LONG all figures, ways and tests are heard,
// also at 10 dB in the noise of a site, and espeak-ng beside it.
func TestHeardBack(t *testing.T) {
	v, other := shipped(t)
	g, err := phrase.Load(grammar.Files)
	if err != nil {
		t.Fatal(err)
	}
	ear, done, err := engines.Open(g, "../../../models/"+engines.Model, runtime.NumCPU())
	if err != nil {
		t.Fatalf("%v (make test does that)", err)
	}
	defer done()
	texts, long := toBeHeard(), os.Getenv("WAYCALL_TEST_LONG") != ""
	if !long {
		rand.New(rand.NewPCG(21, 0)).Shuffle(len(texts), func(i, j int) { texts[i], texts[j] = texts[j], texts[i] })
		texts = append(texts[:5], "Way fifteen, live to neutral, fifty megohms.", "Way three, live to neutral, thirteen megohms.", "Way five, live to neutral, thirty megohms.")
	}
	quiet := heardBack(t, g, ear, v, texts, nil)
	t.Logf("bank, in quiet: %s", quiet)
	// None may be taken for another. In the short form one or two may be asked about.
	if least := min(0.95*float64(len(texts)), float64(len(texts)-2)); len(quiet.wrong) > 0 || float64(quiet.sure) < least {
		t.Errorf("bank, in quiet: %s", quiet)
	}
	if !long {
		return
	}
	site := &noise.Condition{Noise: []noise.Added{{Kind: noise.Fan, SNR: 10}}}
	noisy := heardBack(t, g, ear, v, texts, site)
	t.Logf("bank, at 10 dB: %s", noisy)
	if float64(noisy.right) < 0.98*float64(len(texts)) {
		t.Errorf("bank, at 10 dB: %s", noisy)
	}
	t.Logf("espeak-ng, in quiet: %s", heardBack(t, g, ear, other, texts, nil))
	t.Logf("espeak-ng, at 10 dB: %s", heardBack(t, g, ear, other, texts, site))
}

// toBeHeard is every figure, way and test of the bank in a read-back.
func toBeHeard() (texts []string) {
	for n := 1; n < 1000; n++ {
		texts = append(texts, "Way two, live to neutral, "+reading.Cardinal(n)+" megohms.")
	}
	texts[0] = "Way two, live to neutral, one megohm."
	for n := range 100 {
		texts = append(texts, fmt.Sprintf("Way two, zed s, nought point %s ohms.", reading.Digits(fmt.Sprintf("%02d", n), " ")))
	}
	for n := 1; n <= phrase.MaxWay; n++ {
		texts = append(texts, "Way "+reading.Cardinal(n)+", zed s, nought point four two ohms.")
	}
	for _, test := range []reading.Test{reading.R1R2, reading.R2, reading.LNE, reading.LE, reading.NE, reading.LN, reading.Zs, reading.RCD1x} {
		q := reading.Quantity{Value: 46, Bound: reading.Exactly, Unit: test.Unit()}
		texts = append(texts, "Way two, "+test.Spoken()+", "+q.Spoken()+".")
	}
	return texts
}

// tally is what became of what was said.
type tally struct {
	right, sure, of int
	wrong           []string // taken for another, and surely
}

func (y tally) String() string {
	return fmt.Sprintf("%d of %d right, %d right and sure, %d taken for another: %s", y.right, y.of, y.sure, len(y.wrong), strings.Join(y.wrong, "; "))
}

func heardBack(t *testing.T, g *phrase.Grammar, ear *hear.Ear, v say.Voice, texts []string, c *noise.Condition) tally {
	t.Helper()
	y := tally{of: len(texts)}
	for i, text := range texts {
		said, err := v.Speak(text, 0)
		if err != nil {
			t.Fatal(err)
		}
		edge := make(audio.Clip, audio.Rate*3/10)
		sound := append(append(append(audio.Clip(nil), edge...), said...), edge...)
		if c != nil {
			if sound, err = c.Apply(sound, nil, uint64(i)); err != nil {
				t.Fatal(err)
			}
		}
		want, ok := g.Meaning(strings.ToLower(strings.NewReplacer(",", "", ".", "").Replace(text)))
		if !ok {
			t.Fatalf("%q is not in the grammar", text)
		}
		h, err := ear.Hear(phrase.Scope{}, sound)
		if err != nil {
			t.Fatal(err)
		}
		switch right := h.Best().Text != "" && h.Best().Meaning.Same(want); {
		case right:
			y.right++
			if h.Agreed {
				y.sure++
			}
		case h.Agreed:
			y.wrong = append(y.wrong, fmt.Sprintf("%q for %q", h.Best().Text, text))
		}
		if h.Best().Text == "" || !h.Best().Meaning.Same(want) || !h.Agreed {
			t.Logf("%q: heard %q, %s, agreed %v", text, h.Best().Text, h.Outcome, h.Agreed)
		}
	}
	return y
}
