package audio

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

func sine(hz float64, rate, n int) []float32 {
	s := make([]float32, n)
	for i := range s {
		s[i] = float32(0.5 * math.Sin(2*math.Pi*hz*float64(i)/float64(rate)))
	}
	return s
}

// The outside reference is the sine itself: what comes out at the new rate must
// be the samples that the sine has there.
func TestResampleKeepsASine(t *testing.T) {
	for _, rate := range []int{8000, 11025, 12000, 16000, 22050, 24000, 32000, 44100, 47999, 48000, 88200, 96000, 192000} {
		for _, hz := range []float64{60, 1000, 3300, 6500} {
			if hz > 0.42*float64(rate) {
				continue
			}
			got, err := Resample(sine(hz, rate, rate), rate)
			if err != nil {
				t.Fatal(err)
			}
			if want := Rate; len(got) != want {
				t.Fatalf("%d Hz: one second gave %d samples, want %d", rate, len(got), want)
			}
			want := sine(hz, Rate, Rate)
			noise, signal := 0.0, 0.0
			for i := Rate / 10; i < Rate-Rate/10; i++ { // away from the edges
				d := float64(got[i] - want[i])
				noise += d * d
				signal += float64(want[i]) * float64(want[i])
			}
			if snr := 10 * math.Log10(signal/(noise+1e-30)); snr < 75 {
				t.Errorf("%.0f Hz at %d Hz: signal to noise %.1f dB, want 75", hz, rate, snr)
			}
		}
	}
}

func TestResampleDoesNotAlias(t *testing.T) {
	for _, rate := range []int{22050, 44100, 48000, 192000} {
		for _, hz := range []float64{8100, 9000, 10000, 20000, 60000} {
			if hz >= float64(rate)/2 {
				continue
			}
			got, err := Resample(sine(hz, rate, rate), rate)
			if err != nil {
				t.Fatal(err)
			}
			if level := got[Rate/10 : Rate-Rate/10].Level(); level > -80 {
				t.Errorf("%.0f Hz at %d Hz comes through at %.1f dB, want below -80", hz, rate, level)
			}
		}
	}
}

func TestResampleRefusesOtherRates(t *testing.T) {
	for _, rate := range []int{-1, 0, 7999, 192001} {
		if _, err := Resample(nil, rate); err == nil {
			t.Errorf("rate %d was taken", rate)
		}
	}
}

func TestResampleInPieces(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		from := rapid.SampledFrom([]int{8000, 16000, 22050, 44100, 48000, 47999}).Draw(t, "from")
		to := rapid.SampledFrom([]int{8000, 16000, 48000}).Draw(t, "to")
		in := rapid.SliceOfN(rapid.Float32Range(-1, 1), 0, 2000).Draw(t, "in")
		whole, err := NewResampler(from, to)
		if err != nil {
			t.Fatal(err)
		}
		want := append(whole.Push(in), whole.Flush()...)
		if n := (len(in)*to + from - 1) / from; len(want) != n {
			t.Fatalf("%d samples gave %d, want %d", len(in), len(want), n)
		}
		pieces, _ := NewResampler(from, to)
		var got []float32
		for rest := in; len(rest) > 0; {
			n := rapid.IntRange(1, len(rest)).Draw(t, "piece")
			got = append(got, pieces.Push(rest[:n])...)
			rest = rest[n:]
		}
		got = append(got, pieces.Flush()...)
		if len(got) != len(want) {
			t.Fatalf("in pieces %d samples, whole %d", len(got), len(want))
		}
		for i := range got {
			if got[i] != want[i] {
				t.Fatalf("sample %d is %v in pieces and %v whole", i, got[i], want[i])
			}
		}
	})
}
