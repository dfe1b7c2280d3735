package noise

import (
	"cmp"
	"math"
	"slices"
	"time"
)

// How a phrase is spoken.

const (
	frame  = Rate / 25  // 40 ms: a few periods of the lowest voice
	search = Rate / 100 // 10 ms each way: one period of a voice of 100 Hz
)

// Speed returns sound spoken speed times as fast, with its pitch kept, as a person
// in a hurry speaks: waveform-similarity overlap-add. Frames are taken from the
// sound at the wanted pace, and each is moved by up to 10 ms to where it goes on
// from the frame before most smoothly.
func Speed(sound []float32, speed float64) []float32 {
	s := clean(sound)
	n := int(math.Round(float64(len(s)) / speed))
	if speed == 1 || len(s) < 2*frame {
		return s // a click has no pace
	}
	const hop = frame / 2
	at := func(i int) float32 {
		if i < 0 || i >= len(s) {
			return 0
		}
		return s[i]
	}
	out := make([]float32, n+frame)
	from := 0
	for to := 0; to < n; to += hop {
		if to > 0 {
			next := from + hop // what follows the frame before, where it came from
			from = likest(at, next, int(float64(to)*speed))
		}
		for i := range frame {
			if to == 0 && i < hop {
				out[i] = at(i) // nothing fades in at the beginning
				continue
			}
			w := (1 - math.Cos(2*math.Pi*(float64(i)+0.5)/frame)) / 2
			out[to+i] += float32(w) * at(from+i)
		}
	}
	return out[:n]
}

// likest returns the position near want whose sound is most like that at next.
func likest(at func(int) float32, next, want int) int {
	best, most := want, math.Inf(-1)
	for from := want - search; from <= want+search; from++ {
		dot, energy := 0.0, 1e-9
		for i := 0; i < frame/2; i += 2 { // every other sample is enough to compare voices
			a, b := float64(at(next+i)), float64(at(from+i))
			dot += a * b
			energy += b * b
		}
		if like := dot / math.Sqrt(energy); like > most {
			best, most = from, like
		}
	}
	return best
}

// Pause returns sound with a silence of length d put in at the quietest point in
// the middle half of the phrase, which usually is between two words. The silence
// is filled with what the sound's own quiet sounds like, if it has any.
func Pause(sound []float32, d time.Duration) []float32 {
	s := clean(sound)
	from, to := span(s)
	if to-from < 4*blockSize {
		return s
	}
	cut, quietest := 0, math.Inf(1)
	for i := from + (to-from)/4; i+blockSize <= to-(to-from)/4; i += blockSize / 4 {
		if l := rms(s[i : i+blockSize]); l < quietest {
			cut, quietest = i+blockSize/2, l
		}
	}
	return PauseAt(sound, cut, d)
}

// PauseAt is Pause after so many samples of the sound.
func PauseAt(sound []float32, at int, d time.Duration) []float32 {
	s := clean(sound)
	return slices.Concat(fadeOut(s[:at]), quiet(s, count(d)), fadeIn(s[at:]))
}

// Quietest returns where in the speech of a sound it is quietest, quietest first: at most
// n points, in samples, none within 100 ms of another or of the ends of the speech.
func Quietest(sound []float32, n int) (points []int) {
	s := clean(sound)
	from, to := span(s)
	apart := count(100 * time.Millisecond)
	type point struct {
		at    int
		level float64
	}
	var all []point
	for i := from + apart; i+blockSize <= to-apart; i += blockSize / 4 {
		all = append(all, point{i + blockSize/2, rms(s[i : i+blockSize])})
	}
	slices.SortStableFunc(all, func(a, b point) int { return cmp.Compare(a.level, b.level) })
	for _, p := range all {
		near := func(q int) bool { return max(q-p.at, p.at-q) < apart }
		if len(points) < n && !slices.ContainsFunc(points, near) {
			points = append(points, p.at)
		}
	}
	return points
}

// Join returns two phrases spoken in one breath: the quiet between them is cut to
// 120 ms.
func Join(first, second []float32) []float32 {
	a, b := clean(first), clean(second)
	_, end := span(a)
	begin, _ := span(b)
	return slices.Concat(fadeOut(a[:end]), quiet(a, count(120*time.Millisecond)), fadeIn(b[begin:]))
}

// FalseStart returns the first 300 ms of a phrase, broken off, and after 200 ms
// the phrase from its beginning: "four sev- ... four eight six".
func FalseStart(sound []float32) []float32 {
	s := clean(sound)
	from, to := span(s)
	cut := min(from+count(300*time.Millisecond), to)
	if cut <= from {
		return s
	}
	return slices.Concat(fadeOut(s[:cut]), quiet(s, count(200*time.Millisecond)), fadeIn(s[from:]))
}

// quiet returns n samples of what s sounds like while nobody speaks: its quietest
// 80 ms, to and fro, or silence if nothing in it is well below the speech.
func quiet(s []float32, n int) []float32 {
	out := make([]float32, n)
	levels := blockLevels(s)
	const blocks = 4
	at, quietest := -1, math.Inf(1)
	for i := 0; i+blocks < len(levels); i++ { // the last block may be short
		l := slices.Max(levels[i : i+blocks])
		if l < quietest {
			at, quietest = i, l
		}
	}
	if at < 0 || quietest > slices.Max(levels)*amplitude(-activeDB) {
		return out
	}
	const size = blocks * blockSize
	from := s[at*blockSize:][:size]
	for i := range out {
		if k := i % (2 * size); k < size {
			out[i] = from[k]
		} else {
			out[i] = from[2*size-1-k]
		}
	}
	return out
}

const fade = Rate / 100 // 10 ms: short enough for a cut, long enough not to click

func fadeOut(s []float32) []float32 {
	out := slices.Clone(s)
	n := min(fade, len(out))
	for i := range n {
		out[len(out)-1-i] *= float32(i) / float32(n)
	}
	return out
}

func fadeIn(s []float32) []float32 {
	out := slices.Clone(s)
	n := min(fade, len(out))
	for i := range n {
		out[i] *= float32(i) / float32(n)
	}
	return out
}
