package audio

import (
	"math"
	"slices"
	"time"
)

// Settings says when a phrase is over. The zero Settings are good for speaking
// to waycall at a board.
type Settings struct {
	// Pause is the silence that ends a phrase: 250 ms to 5 s, or 0 for 500 ms.
	// A value outside that range is moved to its nearer end.
	Pause time.Duration
	// Longest is the longest phrase: 1 s to 25 s, or 0 for 15 s. A value outside
	// that range is moved to its nearer end. No recogniser here takes 30 s.
	Longest time.Duration
}

func (s Settings) filled() Settings {
	if s.Pause == 0 {
		s.Pause = 500 * time.Millisecond
	}
	if s.Longest == 0 {
		s.Longest = 15 * time.Second
	}
	s.Pause = min(max(s.Pause, 250*time.Millisecond), 5*time.Second)
	s.Longest = min(max(s.Longest, time.Second), 25*time.Second)
	return s
}

// A Phrase is the sound of one thing said.
type Phrase struct {
	Sound     Clip          // the speech, with up to 200 ms of quiet on each side
	Start     time.Duration // where Sound begins, from the beginning of the stream
	Spoken    time.Duration // where the speech in it ends, from the beginning of the stream
	Truncated bool          // it went on beyond the longest phrase and the rest is lost: not to be taken as heard
}

// A Kind says what an Event tells.
type Kind int

// The kinds of event, in the order they can occur for one phrase: Started, then
// any number of Paused and Resumed in turn, then Ended or Dropped.
const (
	Started Kind = iota + 1 // somebody began to speak
	Paused                  // 200 ms of quiet; if the pause goes on, Phrase is what Ended will bring, sample for sample
	Resumed                 // they went on speaking before the pause was long enough to end the phrase
	Ended                   // the phrase is over and Phrase holds it
	Dropped                 // it was a click, or a steady noise that had just begun; there is no phrase
)

// An Event is what an Endpointer noticed.
type Event struct {
	Kind   Kind
	At     time.Duration // when it was noticed, from the beginning of the stream
	Phrase Phrase        // for Paused and Ended
}

// The endpointer works in blocks of 10 ms.
const (
	blockSize    = Rate / 100
	leadBlocks   = 20 // quiet kept before speech
	tailBlocks   = 20 // quiet kept after it
	onsetBlocks  = 3  // loud blocks in a row that begin a phrase
	resumeBlocks = 2  // loud blocks in a row that end a pause
	clickBlocks  = 6  // a phrase with fewer loud blocks is a click

	onsetDB    = 8   // speech begins this far above the noise floor
	releaseDB  = 5   // and goes on while it is this far above it
	rangeDB    = 42  // what lies further below the phrase's loudest is its echo, not speech
	forgetDB   = 0.1 // how much of that loudness is forgotten with each block after the phrase
	quietestDB = -68 // full-scale level that no speech into a microphone is below
)

// An Endpointer cuts a stream of sound into phrases.
//
// It follows the noise floor, the quietest level of the last seconds, and takes
// as speech what stands out from it; the levels are measured above the mains hum.
// A steady noise, however loud, so becomes silence within about three seconds.
// Any offset (DC) is removed from the sound, and samples that are not numbers
// become silence.
//
// How the stream is divided into Push calls makes no difference to what comes
// out. Memory stays within the longest phrase however long the stream is.
type Endpointer struct {
	pause, longest int // blocks

	meter meter
	floor floor
	block int64   // whole blocks so far
	level float64 // smoothed level of the last block, dB

	state   state
	buf     Clip      // the phrase so far; outside one, what would be its lead
	begin   int64     // stream position of buf[0], in samples
	levels  []float64 // of the blocks since the onset
	run     int       // loud blocks in a row
	last    int64     // last block of speech
	loudest float64   // in this phrase, or what is remembered of the last one, dB
	paused  bool      // Paused was sent and neither Resumed nor Ended
}

type state int

const (
	waiting  state = iota // for somebody to speak
	speaking              // collecting a phrase
	skipping              // a phrase was too long: waiting for its end
)

// NewEndpointer returns an Endpointer at the beginning of a stream.
func NewEndpointer(s Settings) *Endpointer {
	e := &Endpointer{loudest: floorPrior}
	e.Set(s)
	e.floor.reset()
	return e
}

// Set changes when a phrase is over, from now on; for one that is running, too.
func (e *Endpointer) Set(s Settings) {
	s = s.filled()
	e.pause = int(s.Pause / (10 * time.Millisecond))
	e.longest = int(s.Longest / (10 * time.Millisecond))
}

// Push takes the next sound and returns what was noticed in it, in order.
func (e *Endpointer) Push(sound Clip) []Event {
	var events []Event
	for _, x := range sound {
		clean, full, level := e.meter.sample(x)
		e.buf = append(e.buf, clean)
		if full {
			events = e.blockDone(level, events)
		}
	}
	return events
}

// Flush ends the stream: a phrase that is still running ends with it. The
// Endpointer can go on afterwards with sound that follows without a gap.
func (e *Endpointer) Flush() []Event {
	if e.state != speaking {
		e.state = waiting
		return nil
	}
	return e.end(nil, false)
}

// Cut ends a phrase in whose pause the stream is, as the rest of the pause would. It
// returns what Push would return then, and nothing where nobody pauses or where speech
// may just be going on.
func (e *Endpointer) Cut() []Event {
	if e.state != speaking || !e.paused || e.run > 0 {
		return nil
	}
	return e.end(nil, false)
}

// Reset forgets a phrase that is still running, because the sound that follows is
// not the continuation of it: waycall itself has been speaking. What was learnt
// about the noise stays.
func (e *Endpointer) Reset() {
	e.begin += int64(len(e.buf))
	e.buf = e.buf[:0]
	e.wait()
}

func (e *Endpointer) wait() {
	e.state, e.run, e.paused = waiting, 0, false
	e.levels = e.levels[:0]
}

// Skipping reports whether somebody still speaks on after a phrase that was too long.
func (e *Endpointer) Skipping() bool { return e.state == skipping }

// now returns the stream position in samples.
func (e *Endpointer) now() int64 { return e.begin + int64(len(e.buf)) }

func (e *Endpointer) event(events []Event, k Kind, p Phrase) []Event {
	return append(events, Event{Kind: k, At: span(e.now()), Phrase: p})
}

// blockDone is called when the last sample of a block is in buf.
func (e *Endpointer) blockDone(level float64, events []Event) []Event {
	e.block++
	e.level = level
	e.floor.push(level)
	if e.state == waiting {
		e.loudest -= forgetDB
	}
	onset := max(e.floor.level()+onsetDB, quietestDB, e.loudest-rangeDB)

	switch e.state {
	case waiting:
		if level > onset {
			e.run++
		} else {
			e.run = 0
		}
		// Keep the lead and the loud blocks that may become an onset.
		e.levels = append(e.levels, level)
		if e.run < onsetBlocks {
			e.keepLast((leadBlocks + e.run) * blockSize)
			if n := len(e.levels) - onsetBlocks; n > 0 {
				e.levels = slices.Delete(e.levels, 0, n)
			}
			return events
		}
		e.keepLast((leadBlocks + onsetBlocks) * blockSize)
		e.state, e.run, e.last = speaking, 0, e.block
		e.loudest = slices.Max(e.levels)
		return e.event(events, Started, Phrase{})

	case speaking:
		e.levels = append(e.levels, level)
		e.loudest = max(e.loudest, level)
		resumed := e.hearMore(onset)
		quiet := int(e.block - e.last)
		switch {
		case quiet >= e.pause:
			return e.end(events, false)
		case len(e.buf) >= e.longest*blockSize:
			return e.end(events, true)
		case resumed && e.paused:
			e.paused = false
			return e.event(events, Resumed, Phrase{})
		case quiet == tailBlocks:
			e.paused = true
			return e.event(events, Paused, e.phrase(false))
		}

	case skipping:
		e.hearMore(onset)
		e.keepLast(leadBlocks * blockSize)
		if int(e.block-e.last) >= e.pause {
			e.wait()
		}
	}
	return events
}

// hearMore notes whether the speech goes on in the last block, and reports
// whether it does. After a gap it takes more to go on than it does to continue,
// so that a rattle does not hold a phrase open.
func (e *Endpointer) hearMore(onset float64) bool {
	threshold, need := max(e.floor.level()+releaseDB, quietestDB, e.loudest-rangeDB), 1
	if e.block-e.last > 10 {
		threshold, need = onset, resumeBlocks
	}
	if e.level > threshold {
		e.run++
	} else {
		e.run = 0
	}
	if e.run >= need {
		e.last = e.block
		return true
	}
	return false
}

// keepLast drops all but the last n samples of buf.
func (e *Endpointer) keepLast(n int) {
	if drop := len(e.buf) - n; drop > 0 {
		e.buf = e.buf[:copy(e.buf, e.buf[drop:])]
		e.begin += int64(drop)
	}
}

// phrase returns a copy of the phrase so far: up to the last of the speech and
// the tail after it.
func (e *Endpointer) phrase(truncated bool) Phrase {
	end := (e.last+tailBlocks)*blockSize - e.begin
	end = min(end, int64(len(e.buf)))
	return Phrase{
		Sound: slices.Clone(e.buf[:end]), Start: span(e.begin),
		Spoken: span(e.last * blockSize), Truncated: truncated,
	}
}

// end ends the phrase.
func (e *Endpointer) end(events []Event, truncated bool) []Event {
	p := e.phrase(truncated)
	// Now that the floor is better known, was there speech at all? What a noise
	// that has just begun leaves above its own floor is nothing.
	loud, onset := 0, max(e.floor.level()+onsetDB, quietestDB)
	for _, level := range e.levels {
		if level > onset {
			loud++
		}
	}
	if loud < clickBlocks {
		events = e.event(events, Dropped, Phrase{})
	} else {
		events = e.event(events, Ended, p)
	}
	// What follows the tail may be the lead of the next phrase.
	e.keepLast(min(len(e.buf)-len(p.Sound), leadBlocks*blockSize))
	e.wait()
	if truncated {
		e.state = skipping
	}
	return events
}

// Trim returns the speech in a whole sound as one phrase, whatever pauses it
// holds: it cuts the quiet at the beginning and the end. Sound is empty when
// there is no speech in it. Settings.Pause plays no part.
func Trim(c Clip, s Settings) Phrase {
	s = s.filled()
	var m meter
	clean := make(Clip, len(c))
	var levels []float64
	for i, x := range c {
		out, full, level := m.sample(x)
		clean[i] = out
		if full {
			levels = append(levels, level)
		}
	}
	if len(levels) == 0 {
		return Phrase{}
	}
	// The whole sound is at hand, so the floor need not be guessed. Where there
	// is no quiet at all (a word cut out tightly), the speech's own range bounds
	// it, and too little is trimmed rather than too much.
	sorted := slices.Sorted(slices.Values(levels))
	loudest := sorted[len(sorted)-1]
	quiet := min(sorted[len(sorted)/20], loudest-2*onsetDB)
	onset := max(quiet+onsetDB, quietestDB, loudest-rangeDB)
	first, last, loud, run := -1, -1, 0, 0
	for i, level := range levels {
		if level <= onset {
			run = 0
			continue
		}
		run++
		loud++
		if run >= resumeBlocks {
			if first < 0 {
				first = i - run + 1
			}
			last = i
		}
	}
	// A sound that hardly varies is noise.
	steady := loudest-sorted[len(sorted)/20] < onsetDB
	if first < 0 || loud < clickBlocks || (steady && len(levels) > 100) {
		return Phrase{}
	}
	// Weak sounds at the edges of the speech belong to it.
	release := max(quiet+releaseDB, quietestDB, loudest-rangeDB)
	for first > 0 && levels[first-1] > release {
		first--
	}
	for last < len(levels)-1 && levels[last+1] > release {
		last++
	}
	begin := max(0, first-leadBlocks) * blockSize
	end := min(len(clean), (last+1+tailBlocks)*blockSize)
	p := Phrase{
		Sound: clean[begin:end:end], Start: span(int64(begin)),
		Spoken: span(int64(last+1) * blockSize),
	}
	if longest := samples(s.Longest); len(p.Sound) > longest {
		p.Sound, p.Truncated = p.Sound[:longest:longest], true
		p.Spoken = min(p.Spoken, p.Start+s.Longest)
	}
	return p
}

// A meter removes the offset from a stream and measures its level.
type meter struct {
	begun    bool
	in, out  float64 // offset remover
	x1, x2   float64 // level filter
	y1, y2   float64
	sum      float64    // energy of this block
	n        int        // samples in it
	energies [3]float64 // of the last blocks
	blocks   int
}

// Coefficients of the level filter, a second-order Butterworth high-pass at 200
// Hz: it takes out mains hum (50 and 100 Hz) and the rumble of a building, and
// leaves enough of the lowest voices.
var hp = func() (c struct{ b, a1, a2 float64 }) {
	w := math.Tan(math.Pi * 200 / Rate)
	n := 1 / (1 + math.Sqrt2*w + w*w)
	c.b, c.a1, c.a2 = n, 2*n*(w*w-1), n*(1-math.Sqrt2*w+w*w)
	return c
}()

// sample takes one sample and returns it without offset. When it completes a
// block, full is true and level is the mean level of the last three, in dB
// relative to full scale.
func (m *meter) sample(v float32) (clean float32, full bool, level float64) {
	x := float64(v)
	if math.IsNaN(x) || math.IsInf(x, 0) {
		x = m.in
	}
	x = min(max(x, -1), 1)
	if !m.begun {
		m.begun, m.in = true, x // an offset that was always there is no step
	}
	m.out = x - m.in + 0.996*m.out // one pole at 10 Hz
	m.in = x
	y := hp.b*(m.out-2*m.x1+m.x2) - hp.a1*m.y1 - hp.a2*m.y2
	m.x2, m.x1, m.y2, m.y1 = m.x1, m.out, m.y1, y
	m.sum += y * y
	clean = float32(min(max(m.out, -1), 1))
	if m.n++; m.n < blockSize {
		return clean, false, 0
	}
	m.energies[m.blocks%len(m.energies)] = m.sum / blockSize
	m.blocks++
	m.sum, m.n = 0, 0
	mean := 0.0
	for _, e := range m.energies {
		mean += e / float64(min(m.blocks, len(m.energies)))
	}
	return clean, true, 10 * math.Log10(mean+1e-12)
}

// A floor follows the noise: the least level of the last three seconds or so,
// kept as the minima of eight spans. Speech never stays loud so long without a
// gap, and noise never gets quieter than itself.
type floor struct {
	minima [8]float64
	n      int // blocks in the current span
}

const (
	floorSpan   = 40  // blocks in one span
	floorPrior  = -70 // dB: until there is evidence, the room is taken as quiet
	floorLowest = -80 // dB: digital silence is no measure of the noise
)

func (f *floor) reset() {
	for i := range f.minima {
		f.minima[i] = math.Inf(1)
	}
	for i := range 4 { // the prior lasts four spans, 1.6 s
		f.minima[i] = floorPrior
	}
}

func (f *floor) push(level float64) {
	if f.n == floorSpan {
		copy(f.minima[:], f.minima[1:])
		f.minima[len(f.minima)-1] = math.Inf(1)
		f.n = 0
	}
	f.n++
	newest := &f.minima[len(f.minima)-1]
	*newest = min(*newest, level)
}

func (f *floor) level() float64 {
	return max(slices.Min(f.minima[:]), floorLowest)
}
