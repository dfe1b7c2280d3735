package talk

import (
	"testing"

	"waycall/internal/board/boardtest"
	"waycall/internal/phrase"
	"waycall/internal/record"
)

// heardOf is an undisputed phrase as a session gives it.
func heardOf(p *player, c phrase.Command) Heard {
	return Heard{At: p.at, Meaning: phrase.Meaning{Command: c}, Phrase: record.Phrase{Agreed: true, Meaning: record.Meaning{Command: string(c)}}}
}

// What somebody chose by voice outlives a session that was killed, for himself: nobody
// else is spoken to so, and what a session is begun with counts for more where it is
// meant to.
func TestMannerIsKept(t *testing.T) {
	job := boardtest.Read(t, "terrace.yaml")
	for name, c := range map[string]struct {
		said []phrase.Command
		with Begin
		pace int
		form form
	}{
		"nothing said":        {nil, Begin{Prompts: Full}, 0, inFull},
		"slower":              {[]phrase.Command{phrase.Slower}, Begin{}, -1, shortening},
		"slower than can be":  {[]phrase.Command{phrase.Slower, phrase.Slower, phrase.Slower, phrase.Faster}, Begin{}, -1, shortening},
		"faster":              {[]phrase.Command{phrase.Faster, phrase.Faster, phrase.Faster}, Begin{}, 2, shortening},
		"brief":               {[]phrase.Command{phrase.Brief}, Begin{}, 0, inBrief},
		"brief, set full":     {[]phrase.Command{phrase.Brief}, Begin{Prompts: Full}, 0, inBrief},
		"brief, begun full":   {[]phrase.Command{phrase.Brief}, Begin{Prompts: Full, Insists: true}, 0, inFull},
		"brief, begun usual":  {[]phrase.Command{phrase.Brief}, Begin{Prompts: Usual, Insists: true}, 0, shortening},
		"brief, then in full": {[]phrase.Command{phrase.Brief, phrase.Slower, phrase.InFull}, Begin{Prompts: Brief}, -1, inFull},
		"another tester":      {[]phrase.Command{phrase.Brief, phrase.Slower}, Begin{Tester: "ZZ"}, 0, shortening},
		"the same by name":    {[]phrase.Command{phrase.Brief, phrase.Slower}, Begin{Tester: job.Tester}, -1, inBrief},
	} {
		t.Run(name, func(t *testing.T) {
			p := &player{t: t, at: start}
			p.step(Begin{At: p.at, Job: job})
			for _, c := range c.said {
				p.step(heardOf(p, c))
			}
			if len(c.said) == 0 {
				p.step(heardOf(p, phrase.WhatsNext))
			}
			kept, err := record.Fold(p.log)
			if err != nil {
				t.Fatal(err)
			}
			p.state, c.with.At = State{Record: kept}, p.at
			next, effects, err := step(p.state, c.with)
			if err != nil {
				t.Fatal(err)
			}
			want := c.pace
			if c.form == inBrief {
				want = min(want+1, record.Fastest)
			}
			for _, e := range effects {
				if said, ok := e.(Say); ok && said.Pace != want {
					t.Errorf("going on is said at %d, want %d", said.Pace, want)
				}
			}
			if next.form != c.form || next.Record.Manner.Pace != c.pace {
				t.Errorf("form %v and pace %d, want %v and %d", next.form, next.Record.Manner.Pace, c.form, c.pace)
			}
		})
	}
}

// The commands are named alike where they are heard and where they are folded, and what
// was disputed changes nothing.
func TestMannerByName(t *testing.T) {
	for in, want := range map[phrase.Command]string{phrase.Slower: record.Slower, phrase.Faster: record.Faster, phrase.Brief: record.Brief, phrase.InFull: record.InFull} {
		if string(in) != want {
			t.Errorf("%q is folded as %q", in, want)
		}
	}
	p := &player{t: t, at: start}
	p.step(Begin{At: p.at, Job: boardtest.Read(t, "terrace.yaml")})
	h := heardOf(p, phrase.Slower)
	h.Phrase.Agreed, h.Candidates = false, []phrase.Meaning{h.Meaning, {Command: phrase.Faster}}
	p.step(h)
	if m := p.state.Record.Manner; m != (record.Manner{}) {
		t.Errorf("a disputed phrase gives %+v", m)
	}
}
