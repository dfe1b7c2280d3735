package whisper

// #include "decode.h"
import "C"

import (
	"cmp"
	"runtime"
	"slices"

	"waycall/internal/advice"
	"waycall/internal/hear"
	"waycall/internal/phrase"
)

// How far phrases decoded together are followed: after the likeliest at most
// detours more, each of which leaves one found before it at a token that lies no
// further than apart below the likeliest phrase, in natural log-probability by both
// models.
const (
	detours = 3
	apart   = 10
)

// Together decodes what both models have taken in from the same sound: at each step
// the token that is likeliest to both. free is so without a grammar; held are the
// likeliest phrases of the automaton, best first. Where the two differ, this is
// right more often than either (models/adapt/README.md gives figures). other must be a
// Model, too.
func (m *Model) Together(other hear.First, a *phrase.Automaton) (free hear.Joint, held []hear.Joint, err error) {
	o, ok := other.(*Model)
	if !ok || len(o.text) != len(m.text) {
		return free, nil, advice.New("hearing: two models of different kinds cannot decode together", "run scripts/setup")
	}
	var out C.wc_joint
	if err := m.check(C.wc_together(&m.c, &o.c, nil, C.int(m.decode), &out)); err != nil {
		return free, nil, err
	}
	free = m.joint(&out)
	c, pin, err := m.pinned(a)
	if err != nil {
		return free, nil, err
	}
	defer pin.Unpin()
	type start struct {
		tokens []C.int32_t
		lp     [2]C.float
	}
	both := func(lp [2]C.float) float64 { return float64(lp[0] + lp[1]) }
	open := []start{{}}
	for n := 0; n <= detours && len(open) > 0; n++ {
		slices.SortFunc(open, func(x, y start) int { return cmp.Compare(both(y.lp), both(x.lp)) })
		s := open[0]
		open = open[1:]
		if len(held) > 0 && both(s.lp) < held[0].Both()-apart {
			break
		}
		if k := len(s.tokens); k > 0 && s.tokens[k-1] == C.int32_t(m.eot) { // whole already
			out = C.wc_joint{n: C.int32_t(k - 1), logprob: s.lp, ended: 1}
			copy(out.token[:], s.tokens[:k-1])
		} else {
			out = C.wc_joint{n: C.int32_t(k), logprob: s.lp}
			copy(out.token[:], s.tokens)
			if err := m.check(C.wc_together(&m.c, &o.c, c, C.int(m.decode), &out)); err != nil {
				return free, nil, err
			}
		}
		for _, b := range out.branch[:out.n_branches] {
			open = append(open, start{append(slices.Clone(out.token[:b.at]), b.token), b.logprob})
		}
		if out.ended == 1 {
			held = append(held, m.joint(&out))
		}
		slices.SortStableFunc(held, func(x, y hear.Joint) int { return cmp.Compare(y.Both(), x.Both()) })
	}
	return free, held, nil
}

// pinned returns the automaton's mask as C reads it, with what holds it in place.
func (m *Model) pinned(a *phrase.Automaton) (*C.wc_mask, *runtime.Pinner, error) {
	k := m.mask(a)
	if len(k.token) == 0 {
		return nil, nil, errNothing
	}
	pin := new(runtime.Pinner)
	pin.Pin(&k.from[0])
	pin.Pin(&k.token[0])
	pin.Pin(&k.next[0])
	pin.Pin(&k.final[0])
	return &C.wc_mask{
		n_states: C.int32_t(len(k.final)),
		from:     (*C.int32_t)(&k.from[0]),
		token:    (*C.int32_t)(&k.token[0]),
		next:     (*C.int32_t)(&k.next[0]),
		final:    (*C.uint8_t)(&k.final[0]),
	}, pin, nil
}

func (m *Model) joint(t *C.wc_joint) hear.Joint {
	return hear.Joint{Words: m.spelled(t.token[:t.n]), LogProb: [2]float64{float64(t.logprob[0]), float64(t.logprob[1])}, Ended: t.ended == 1}
}
