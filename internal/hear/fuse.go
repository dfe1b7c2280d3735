package hear

import (
	"cmp"
	"math"
	"slices"
	"strings"
	"sync"

	"waycall/internal/phrase"
)

// drawl is how much longer the sound is than the words account for, as a share.
func drawl(sound []float32, words string) float64 {
	return clamp((float64(len(sound))/16000-edge)/float64(1+len(words))/slow-1, 0, longestDrawl)
}

// noise says how little the speech stands out of the noise around and within it: 0
// from inQuiet on, 1 at inNoise and below.
func noise(sound []float32) float64 {
	const frame = 320 // 20 ms
	var levels []float64
	for part := range slices.Chunk(sound, frame) {
		power := 1e-10
		for _, x := range part {
			power += float64(x) * float64(x) / float64(len(part))
		}
		levels = append(levels, 10*math.Log10(power))
	}
	if len(levels) == 0 {
		return 1
	}
	slices.Sort(levels)
	at := func(share float64) float64 { return levels[int(share*float64(len(levels)-1))] }
	return clamp((inQuiet-(at(loudest)-at(quietest)))/(inQuiet-inNoise), 0, 1)
}

// goesOn returns what is likeliest to follow the figure at the end of text, and how much
// likelier that is to the first and the third than that the figure ends there, in natural
// log-probability.
func (w *weighing) goesOn(text string) (longer string, by float64, err error) {
	words, unit := w.figures.splitUnit(text)
	figure := strings.Join(words, " ")
	next := append([]string{unit}, w.figures.tails...)
	var first, third []float64
	err = beside(
		func() (err error) { first, err = w.first.Next(figure, next); return err },
		func() (err error) { third, err = w.Ear.third.Next(figure, next); return err })
	if err != nil {
		return "", 0, err
	}
	by = math.Inf(-1)
	for i, tail := range w.figures.tails {
		if strings.HasPrefix(unit, tail) {
			continue // "ohm" begins as "oh" does
		}
		if d := first[i+1] + third[i+1] - first[0] - third[0]; d > by {
			longer, by = strings.TrimSpace(figure+" "+tail+" "+unit), d
		}
	}
	return longer, by, nil
}

// fuse makes one phrase of what the witnesses heard in the sound. The first has
// taken it in already and can go on decoding and scoring. It is called with the
// witnesses to itself.
func (e *Ear) fuse(a *phrase.Automaton, sound []float32, free, held Text) (Heard, error) {
	h := nothing()
	h.note(WhisperFree, free)
	h.note(Sphinx, held)
	if e.first.Adapted() {
		h, err := e.weigh(h, a, sound, free, held)
		h.Missed = err == nil && h.Outcome == None && free.Ended && e.missed(h)
		return h, err
	}
	return e.weighPlain(h, a, free, held)
}

// missed reports whether what was heard as nothing for us was said to us all the
// same, and garbled: the adapted models, which write talk as talk, made fewestMissed
// words or more of it, and no word that the grammar lacks.
func (e *Ear) missed(h Heard) bool {
	for _, witness := range []string{WhisperFree, WhisperOther} {
		text, listened := h.Words[witness]
		words := strings.Fields(strings.TrimPrefix(text, brokenOff))
		if witness == WhisperOther && !listened {
			continue
		}
		if len(words) < fewestMissed {
			return false
		}
		for _, w := range words {
			if _, ok := e.grammar.Lexicon()[w]; !ok {
				return false
			}
		}
	}
	return true
}

// brokenOff is how the first witness writes a start that was broken off ("four
// sev- four eight six") before the phrase itself.
const brokenOff = "- "

// vote is what one witness heard.
type vote struct {
	Text
	meaning phrase.Meaning
	ok      bool // a phrase that may be said here
}

func (v vote) says(m phrase.Meaning) bool { return v.ok && v.meaning.Same(m) }

// candidate is a phrase being weighed.
type candidate struct {
	Candidate
	other float64 // log-probability by the third witness; 0 where it did not listen
}

func (c candidate) both() float64 { return c.LogProb + c.other }

// weighing is one phrase while the witnesses are set against each other.
type weighing struct {
	*Ear
	may    *phrase.Automaton
	votes  [3]vote // of the first, the second and the third
	third  bool    // the third listened
	joint  Joint   // what the first and the third heard together, freely
	held   []Joint // the likeliest phrases to both, best first
	noise  float64 // of the sound
	broken bool    // the first heard a broken-off start
	// The third heard it, too, before the same kind of phrase: it is asked about, since nobody
	// heard the sound as the phrase alone.
	brokenToBoth bool
	// How likely the figure of the likeliest goes on: 1 as likely as that it ends, 0 from
	// farBelowBoth behind.
	cutShort float64
	almost   bool        // the first heard what cannot be here, and nearly what can
	spoken   int         // words of the first, with such a start
	all      []candidate // no two mean the same
}

// weigh fuses the witnesses when the free words of the first can be compared with
// the grammar. The third listens only when the second does not hear what the first
// does, as in noise. Every phrase that a witness heard is then scored by the first
// and the third, and the likeliest to both is set against what they heard freely:
// talk that only sounds like a phrase is far likelier as talk.
func (e *Ear) weigh(h Heard, a *phrase.Automaton, sound []float32, free, held Text) (out Heard, err error) {
	if !free.Ended {
		return h, nil // it ran on: not a phrase
	}
	w := &weighing{Ear: e, may: a, noise: noise(sound), spoken: len(strings.Fields(free.Words))}
	words, broken := strings.CutPrefix(free.Words, brokenOff)
	m, ok := e.grammar.Meaning(words)
	if ok && !a.Accepts(words) {
		misplaced := h
		misplaced.Outcome = Misplaced
		misplaced.Candidates = []Candidate{{words, m, free.LogProb}}
		if !slices.ContainsFunc(e.figures.neighbours(words), a.Accepts) {
			return misplaced, nil
		}
		// "Way thirty" of twenty may be way thirteen.
		ok, w.almost = false, true
		defer func() {
			if err == nil && out.Outcome == None {
				out = misplaced
			}
		}()
	}
	free.Words, w.broken = words, broken
	w.votes[0] = vote{free, m, ok}
	m, ok = e.grammar.Meaning(held.Words)
	w.votes[1] = vote{held, m, ok}
	if e.third != nil && !(!broken && w.votes[0].ok && w.votes[1].says(w.votes[0].meaning) && drawl(sound, words) < suspicious) {
		if err := w.askThird(sound, &h); err != nil {
			return h, err
		}
	}
	first, second, third := w.votes[0], w.votes[1], w.votes[2]
	if !first.ok && !third.ok && !w.together() && !w.almost && (w.third || !second.ok) {
		return h, nil // nobody who can decline takes it for a phrase: talk
	}
	if err := w.gather(); err != nil {
		return h, err
	}
	if e.third != nil && !w.third && w.contested() {
		if err := w.askThird(sound, &h); err != nil {
			return h, err
		}
		w.all = nil
		if err := w.gather(); err != nil {
			return h, err
		}
	}
	if len(w.all) == 0 {
		return h, nil
	}
	w.order()
	if err := w.lengthen(); err != nil {
		return h, err
	}
	best := w.all[0]
	// The first and the third, of one kind, both lose one of a figure said again and again.
	missed := w.votes[1].ok && w.figures.oneMore(best.Text, w.votes[1].Words)
	w.all = slices.DeleteFunc(w.all, func(c candidate) bool {
		return c.both() < best.both()-plausible && !c.Meaning.Same(best.Meaning) && !(missed && w.votes[1].says(c.Meaning))
	})
	for _, c := range w.all {
		h.Candidates = append(h.Candidates, c.Candidate)
	}
	if w.agreed(best) == 0 && !w.hearTogether(best) && (broken || first.Words == "" || w.third && third.Words == "") {
		return h, nil // music and knocks come out so, too: nobody else heard a phrase at all
	}
	if w.alone(best) {
		return h, nil
	}
	h.Evidence = w.evidence(sound)
	d := Decide(h.Evidence, best.Candidate)
	// A figure that might be meant otherwise is never sure: "enter four fifty one" came out as
	// "under four fifty one".
	near := best.Meaning.Near && best.Meaning.HasValue()
	h.Confidence, h.Agreed = d.Confidence, d.Sure && !w.brokenToBoth && !missed && !near && !w.even(best)
	if d.ForUs {
		h.Outcome = kind(best.Meaning)
	}
	return h, nil
}

// askThird has the third witness listen, and notes what it and the two together heard.
func (w *weighing) askThird(sound []float32, h *Heard) error {
	heard, err := w.listenThird(sound)
	if err != nil {
		return err
	}
	h.note(WhisperOther, heard)
	if w.joint.Ended {
		h.note(WhisperBoth, Text{Words: w.joint.Words, LogProb: w.joint.Both()})
	}
	return nil
}

// listenThird returns what the third witness heard, a broken-off start included.
func (w *weighing) listenThird(sound []float32) (raw Text, err error) {
	w.third = true
	if err := w.Ear.third.Listen(sound); err != nil {
		return raw, err
	}
	raw, err = w.Ear.third.Free()
	if err != nil {
		return raw, err
	}
	heard := raw
	heard.Words, w.brokenToBoth = w.withoutStart(raw.Words)
	m, ok := w.grammar.Meaning(heard.Words)
	w.votes[2] = vote{heard, m, ok && heard.Ended && w.may.Accepts(heard.Words)}
	if first := w.votes[0]; w.noise < loud {
		// What they hear together, and what lies near it, takes longer than all the rest.
		// Where both write the same, each step together is the same, too; and what neither
		// takes for a phrase in quiet is talk.
		switch {
		case first.Ended && first.Words == heard.Words && !w.broken:
			w.joint = Joint{Words: heard.Words, LogProb: [2]float64{first.LogProb, heard.LogProb}, Ended: heard.Ended}
			return raw, nil
		case !first.ok && !w.votes[2].ok && !w.almost:
			return raw, nil
		}
	}
	if pair, ok := w.first.(Joining); ok {
		w.joint, w.held, err = pair.Together(w.Ear.third, w.may)
		w.joint.Words, _ = w.withoutStart(w.joint.Words)
	}
	return raw, err
}

// withoutStart takes the mark of a broken-off start off what another heard where the first
// heard one as well. Not before a figure: "nine, nine nine" may be no broken-off start,
// but the whole.
func (w *weighing) withoutStart(words string) (rest string, cut bool) {
	rest, cut = strings.CutPrefix(words, brokenOff)
	begin, _, _ := strings.Cut(rest, " ")
	if !cut || !w.broken || w.figures.begins(begin) {
		return words, false
	}
	return rest, true
}

// together reports whether what the first and the third heard together, freely, is a
// phrase that may be said here.
func (w *weighing) together() bool {
	_, ok := w.grammar.Meaning(w.joint.Words)
	return ok && w.joint.Ended && w.may.Accepts(w.joint.Words)
}

// hearTogether reports whether c is what they heard so.
func (w *weighing) hearTogether(c candidate) bool {
	m, ok := w.grammar.Meaning(w.joint.Words)
	return ok && w.joint.Ended && m.Same(c.Meaning)
}

// gather collects what the witnesses heard, and the neighbours of that. In noise it
// adds what the likeliest may be the rest of.
func (w *weighing) gather() error {
	for _, v := range w.votes {
		if v.ok {
			if err := w.consider(v.Words, v.meaning); err != nil {
				return err
			}
		}
	}
	var near []string
	if w.almost {
		near = w.figures.neighbours(w.votes[0].Words)
	}
	for _, c := range w.all {
		near = append(near, w.figures.neighbours(c.Text)...)
	}
	for _, j := range w.held {
		if m, ok := w.grammar.Meaning(j.Words); ok && !w.known(m) {
			w.all = append(w.all, candidate{Candidate{j.Words, m, j.LogProb[0]}, j.LogProb[1]})
		}
	}
	if len(w.all) > 0 {
		w.order()
		near = append(near, w.figures.neighbours(w.all[0].Text)...)
		if w.noise >= loud {
			near = append(near, w.figures.swallowed(w.all[0].Text)...)
		}
	}
	for _, text := range near {
		if m, ok := w.grammar.Meaning(text); ok && w.may.Accepts(text) {
			if err := w.consider(text, m); err != nil {
				return err
			}
		}
	}
	return nil
}

// lengthen looks whether the figure of the likeliest was cut short, as noise does: both
// models then lose the same word, or the end of one, and agree on what is left. Where a
// word more is likely, the phrase with it is weighed, too.
func (w *weighing) lengthen() error {
	best := w.all[0]
	if !w.third || !best.Meaning.HasValue() {
		return nil
	}
	longer, by, err := w.goesOn(best.Text)
	if err != nil {
		return err
	}
	for _, text := range w.figures.swallowed(best.Text) {
		m, _ := w.grammar.Meaning(text)
		for _, c := range w.all {
			if c.Meaning.Same(m) {
				by = max(by, c.both()-best.both())
			}
		}
	}
	w.cutShort = clamp(1+by/farBelowBoth, 0, 1)
	if m, ok := w.grammar.Meaning(longer); ok && w.cutShort > 0 && w.may.Accepts(longer) {
		if err := w.consider(longer, m); err != nil {
			return err
		}
		w.order()
	}
	return nil
}

// contested reports whether the two likeliest, to the first, lie so near each other that the
// third is asked though the second agrees: both can take "eighty" for "eighteen".
func (w *weighing) contested() bool {
	return len(w.all) > 1 && w.all[0].both()-w.all[1].both() < nearby
}

// alone reports whether the likeliest is one word, said once or again and again, that the
// third made out by itself, or the two models together: the first, the best judge of talk,
// heard something else, and the second nothing. Chords come out so, "four" to the first and
// "four four four" to the third, and stray words of people.
func (w *weighing) alone(best candidate) bool {
	words := strings.Fields(best.Text)
	slices.Sort(words)
	return len(slices.Compact(words)) == 1 && w.agreed(best) == 0 && !w.votes[0].says(best.Meaning) && w.votes[1].Words == ""
}

// even reports whether a neighbour of the likeliest, which differs from it by the end of a
// word, is nearly as likely to the models: all witnesses can lose that end.
func (w *weighing) even(best candidate) bool {
	apart := float64(evenly)
	if w.noise >= stirring {
		apart = evenlyInNoise
	}
	if w.third {
		apart *= 2
	}
	near := w.figures.neighbours(best.Text)
	return slices.ContainsFunc(w.all, func(c candidate) bool {
		return slices.Contains(near, c.Text) && !c.Meaning.Same(best.Meaning) && best.both()-c.both() < apart
	})
}

// known reports whether a candidate of that meaning is there.
func (w *weighing) known(m phrase.Meaning) bool {
	return slices.ContainsFunc(w.all, func(c candidate) bool { return c.Meaning.Same(m) })
}

// consider scores a phrase, unless one that means the same is there.
func (w *weighing) consider(text string, m phrase.Meaning) error {
	if w.known(m) {
		return nil
	}
	c := candidate{Candidate: Candidate{Text: text, Meaning: m}}
	err := beside(
		func() (err error) { c.LogProb, err = score(w.first, w.votes[0], text); return err },
		func() (err error) {
			if w.third {
				c.other, err = score(w.Ear.third, w.votes[2], text)
			}
			return err
		})
	if err == nil {
		w.all = append(w.all, c)
	}
	return err
}

// beside does what is asked of two witnesses at the same time: each decodes on one
// thread, so that a second core halves the wait.
func beside(a, b func() error) error {
	var other sync.WaitGroup
	var otherErr error
	other.Go(func() { otherErr = b() })
	err := a()
	other.Wait()
	return cmp.Or(err, otherErr)
}

// score is the log-probability of text by a witness. What it heard itself has one
// already.
func score(by First, heard vote, text string) (float64, error) {
	if text == heard.Words {
		return heard.LogProb, nil
	}
	t, err := by.Score(text)
	return t.LogProb, err
}

// agreed is how many witnesses heard c beside one.
func (w *weighing) agreed(c candidate) int {
	n := 0
	for _, v := range w.votes {
		if v.says(c.Meaning) {
			n++
		}
	}
	return max(n-1, 0)
}

// order puts first what two of three heard, then what is likelier to both models. A
// witness may lose a part of what was said, across a pause or in noise; it does not
// make one up. So, where no two agree, the whole stands before its part.
func (w *weighing) order() {
	slices.SortStableFunc(w.all, func(a, b candidate) int {
		return cmp.Or(cmp.Compare(w.agreed(b), w.agreed(a)), cmp.Compare(b.both(), a.both()))
	})
	if w.agreed(w.all[0]) > 0 {
		return
	}
	first, third, best := w.votes[0], w.votes[2], w.all[0]
	for i, c := range w.all {
		heard := first.ok && c.Text == first.Words || third.ok && c.Text == third.Words
		lost := partOf(first.Words, c.Text) || partOf(third.Words, c.Text) || partOf(best.Text, c.Text) && !repeats(c.Text, best.Text)
		if heard && lost {
			w.all = slices.Insert(slices.Delete(w.all, i, i+1), 0, c)
			return
		}
	}
}

// repeats reports whether whole is part with its first word twice, as in a false start.
func repeats(whole, part string) bool {
	word, _, _ := strings.Cut(part, " ")
	return whole == word+" "+part
}

// evidence is what speaks for and against the likeliest candidate.
func (w *weighing) evidence(sound []float32) Evidence {
	best := w.all[0]
	first, second, third := w.votes[0], w.votes[1], w.votes[2]
	e := make(Evidence, len(EvidenceNames))
	by := [3]bool{first.says(best.Meaning), second.says(best.Meaning), third.says(best.Meaning)}
	e[firstAndThird], e[firstAndSecond], e[secondAndThird] = one(by[0] && by[2]), one(by[0] && by[1]), one(by[1] && by[2])
	e[figure] = one(best.Meaning.HasValue())
	e[gap] = clamp((first.LogProb-best.LogProb)/farBelow, 0, 1)
	models := 1.0
	if w.third {
		models = 2
		e[thirdsGap] = clamp((third.LogProb-best.other)/farBelow, 0, 1)
		if w.joint.Ended {
			e[jointly] = one(w.hearTogether(best))
			e[jointGap] = clamp((w.joint.Both()-best.both())/farBelowBoth, 0, 1)
		}
	}
	if len(w.all) > 1 {
		e[rival] = clamp(1-(best.both()-w.all[1].both())/models/noRival, 0, 1)
	}
	e[weakest] = 1 - math.Exp(min(0, first.Weakest))
	e[eachWord] = clamp(-first.LogProb/float64(1+w.spoken), 0, worstWord)
	e[drawled] = drawl(sound, best.Text)
	e[more] = clamp(float64(len(strings.Fields(third.Words))-len(strings.Fields(best.Text)))/manyMore, 0, 1)
	e[brokenStart] = one(w.broken)
	e[noisy] = w.noise
	e[noisyAlone] = e[noisy] * (1 - e[firstAndSecond])
	e[part] = one(partOf(first.Words, best.Text) || partOf(third.Words, best.Text))
	e[cutShort] = w.cutShort
	return e
}

func clamp(x, low, high float64) float64 { return max(low, min(high, x)) }

func one(b bool) float64 {
	if b {
		return 1
	}
	return 0
}

// partOf reports whether the words of part stand together within the longer
// whole.
func partOf(part, whole string) bool {
	return part != "" && len(part) < len(whole) && strings.Contains(" "+whole+" ", " "+part+" ")
}

func nothing() Heard {
	return Heard{Outcome: None, Confidence: -1, Words: map[string]string{}, Scores: map[string]float64{}}
}

func (h *Heard) note(witness string, t Text) {
	h.Words[witness] = t.Words
	if !math.IsInf(t.LogProb, 0) && !math.IsNaN(t.LogProb) { // the record takes numbers only
		h.Scores[witness] = t.LogProb
	}
}

// settle compares the first witness's phrase with the second's.
func (e *Ear) settle(h Heard, c Candidate, weakest float64, held Text) (Heard, error) {
	h.Candidates = []Candidate{c}
	h.Outcome = kind(c.Meaning)
	other, ok := e.grammar.Meaning(held.Words)
	if ok && other.Same(c.Meaning) {
		h.Agreed = true
		return h, nil
	}
	doubt := Text{LogProb: math.Inf(-1)} // nothing heard: nothing against it
	if ok {
		var err error
		if doubt, err = e.first.Score(held.Words); err != nil {
			return h, err
		}
	}
	if !c.Meaning.HasValue() && weakest >= sureToken && c.LogProb-doubt.LogProb >= sureMargin {
		h.Agreed = true
		return h, nil
	}
	if ok {
		h.Candidates = append(h.Candidates, Candidate{held.Words, other, doubt.LogProb})
		h.order()
	}
	return h, nil
}

// weighPlain fuses the witnesses when the first is a model that was not adapted
// and writes "Way 3: >999": then only the phrase held to the grammar can be
// compared, and the free words serve to count how much was said.
func (e *Ear) weighPlain(h Heard, a *phrase.Automaton, free, held Text) (Heard, error) {
	masked, err := e.first.Held(a)
	if err != nil {
		return h, err
	}
	h.note(WhisperHeld, masked)
	m, ok := e.grammar.Meaning(masked.Words)
	if !ok || !masked.Ended || !free.Ended {
		return h, nil
	}
	second, ok := e.grammar.Meaning(held.Words)
	if !ok || !m.Same(second) || len(strings.Fields(free.Words)) > len(strings.Fields(masked.Words))+moreFree {
		return h, nil
	}
	return e.settle(h, Candidate{masked.Words, m, masked.LogProb}, masked.Weakest, held)
}

// order puts the likeliest candidate first and drops those that are not worth
// offering beside it.
func (h *Heard) order() {
	slices.SortFunc(h.Candidates, func(a, b Candidate) int {
		return cmp.Or(cmp.Compare(b.LogProb, a.LogProb), cmp.Compare(a.Text, b.Text))
	})
	h.Candidates = slices.DeleteFunc(h.Candidates, func(c Candidate) bool {
		return c.LogProb < h.Candidates[0].LogProb-plausible
	})
	h.Outcome = kind(h.Candidates[0].Meaning)
}

func kind(m phrase.Meaning) Outcome {
	if m.Command != "" {
		return Command
	}
	return Reading
}
