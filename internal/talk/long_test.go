package talk

import (
	"strings"
	"testing"

	"waycall/internal/board/boardtest"
	"waycall/internal/phrase"
	"waycall/internal/reading"
	"waycall/internal/sequence"
)

// However much there is to say of what one breath gave, the question at its end is
// spoken: three ends of a ring that replace others and are all odd, and twelve ways.
func TestQuestionIsSpoken(t *testing.T) {
	p := newTalker(t, boardtest.Read(t, "annexe.yaml"))
	p.prepare()
	for _, m := range []phrase.Meaning{ends(2, ">0.2", "0.2", "0.21"), ends(2, "0.00", "<92", "0.033")} {
		p.phrase(m)
		if len(p.heard) > longest || !strings.HasSuffix(p.heard, "Confirm?") {
			t.Errorf("%d characters: %q", len(p.heard), p.heard)
		}
		p.phrase(phrase.Meaning{Command: phrase.Confirm})
	}
	// All at 250 V, as ways of one breath are: the surge protection stays in.
	job := boardtest.Read(t, "terrace.yaml")
	job.Instrument.OverRange250 = 999
	b := &job.Boards[0]
	for n := range 22 {
		w := b.Ways[0]
		w.Number = n + 1
		w.Separated = n%2 == 1 // another limit, and so another reason
		if n < len(b.Ways) {
			b.Ways[n] = w
		} else {
			b.Ways = append(b.Ways, w)
		}
	}
	p = newTalker(t, job)
	for d, _ := sequence.Next(p.state.Record); d.Step.ID != sequence.SurgeOut; d, _ = sequence.Next(p.state.Record) {
		m, _ := p.willing()
		p.phrase(m)
	}
	p.phrase(phrase.Meaning{Command: phrase.TwoFifty})
	p.prepare()
	for _, m := range []phrase.Meaning{
		{Command: phrase.Several, Way: 2, Last: 13, Test: reading.LNE, OverRange: true},
		{Command: phrase.Several, Way: 2, Last: 13, Test: reading.LNE, Quantity: reading.Quantity{Value: 0.6, Places: 1, Bound: reading.GreaterThan}},
		{Command: phrase.Several, Way: 2, Last: 13, Test: reading.LN, Quantity: reading.Quantity{Value: 2, Bound: reading.GreaterThan}},
	} {
		p.phrase(m)
		if q := p.state.Record.Pending; q == nil || len(q.Then) != 11 || len(p.heard) > longest || !strings.HasSuffix(p.heard, "Confirm?") {
			t.Errorf("%d characters: %q", len(p.heard), p.heard)
		}
		t.Log(p.heard)
		p.phrase(phrase.Meaning{Command: phrase.No})
	}
}
