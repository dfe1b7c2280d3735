package audio

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"math"
	"strings"
	"time"

	"waycall/internal/plainfile"
	"waycall/internal/sound"
)

// LongestFile is the longest sound that ReadFile takes. A test phrase lasts
// seconds; half an hour is a recording of something else.
const LongestFile = 30 * time.Minute

// Damage is the error for sound that could be read only in part. The clip that
// comes with it holds everything that was there, and may well be good enough:
//
//	c, err := audio.ReadFile(path)
//	var damage *audio.Damage
//	if errors.As(err, &damage) {
//		warn(err) // and go on with c
//	} else if err != nil {
//		return err
//	}
type Damage struct {
	CutShort   bool          // the file ends before its sound does, or cannot be followed further
	Missing    time.Duration // how much is missing, where the file says; otherwise 0
	BadSamples int           // samples that were not numbers, replaced by silence
}

// Error says what is wrong with the sound and what to do.
func (d *Damage) Error() string {
	var parts []string
	if d.CutShort && d.Missing > 0 {
		parts = append(parts, fmt.Sprintf("the last %.2f s are missing", d.Missing.Seconds()))
	} else if d.CutShort {
		parts = append(parts, "its end is missing")
	}
	if d.BadSamples > 0 {
		parts = append(parts, fmt.Sprintf("%d samples are not numbers and were taken as silence", d.BadSamples))
	}
	return "sound is damaged: " + strings.Join(parts, ", ") + "; what was there is used, so listen to it and record it again if words are lost"
}

// ReadFile reads a WAV or FLAC file, of any rate from MinRate to MaxRate and any
// number of channels (which are averaged), as a Clip. What the file holds decides,
// not its name. WAV may be PCM of 8, 16, 24 or 32 bits, or floating point of 32
// or 64 bits.
//
// A file whose header is whole but whose sound is cut short or holds samples that
// are not numbers gives the sound and a *Damage. Every other error, and a file
// longer than LongestFile, gives a nil Clip.
func ReadFile(path string) (Clip, error) {
	f, err := plainfile.Open(path)
	if err != nil {
		return nil, fmt.Errorf("cannot read sound: %w; check the name and that the file may be read", err)
	}
	defer f.Close()
	c, err := Read(f)
	if err != nil {
		return c, fmt.Errorf("cannot read sound from %s: %w", path, err)
	}
	return c, nil
}

// Read reads WAV or FLAC from r as ReadFile does.
func Read(r io.Reader) (Clip, error) {
	br := bufio.NewReaderSize(r, 1<<16)
	magic, err := br.Peek(4)
	switch {
	case len(magic) == 0 && err == io.EOF:
		return nil, errors.New("it is empty; record it again")
	case err == io.EOF:
		return nil, errors.New("it ends inside its header; record it again")
	case err != nil:
		return nil, fmt.Errorf("%w; check the disk or the connection it comes from", err)
	}
	switch {
	case string(magic) == "RIFF":
		return readWAV(br)
	case sound.IsFLAC(magic), string(magic[:3]) == "ID3":
		return readFLAC(br)
	case string(magic) == "RF64", string(magic) == "RIFX":
		return nil, fmt.Errorf("its kind of WAV (%s) is not known; convert it to an ordinary WAV or to FLAC", magic)
	}
	return nil, errors.New("it is neither WAV nor FLAC; convert it to one of them")
}

// An intake turns decoded samples into a Clip: it mixes the channels, mends what
// is not a number, resamples and refuses what is too long. The sound is converted
// as it is read, so that half an hour at 192 kHz costs no more memory than half
// an hour at 16 kHz.
type intake struct {
	channels int
	rate     int
	resample *Resampler
	mono     []float32
	clip     Clip
	bad      int
	taken    int64 // sample frames taken in
}

func newIntake(channels, rate int) (*intake, error) {
	r, err := NewResampler(rate, Rate)
	if err != nil {
		return nil, err
	}
	return &intake{channels: channels, rate: rate, resample: r, clip: Clip{}}, nil
}

// frame takes one sample frame: a sample of each channel.
func (in *intake) frame(sample func(channel int) float64) error {
	sum := 0.0
	for ch := range in.channels {
		x := sample(ch)
		if math.IsNaN(x) || math.IsInf(x, 0) {
			in.bad++
			x = 0
		}
		sum += min(max(x, -1), 1)
	}
	in.mono = append(in.mono, float32(sum/float64(in.channels)))
	in.taken++
	if len(in.mono) == 4096 {
		return in.convert()
	}
	return nil
}

func (in *intake) convert() error {
	in.clip = append(in.clip, in.resample.Push(in.mono)...)
	in.mono = in.mono[:0]
	if in.clip.Duration() > LongestFile {
		return errTooLong
	}
	return nil
}

var errTooLong = fmt.Errorf("it is longer than %.0f minutes; cut it into phrases", LongestFile.Minutes())

// finish returns the clip, with a *Damage when something was wrong with it.
// declared is the number of sample frames that the header promised, 0 if it did
// not say.
func (in *intake) finish(declared int64, cut bool) (Clip, error) {
	if err := in.convert(); err != nil {
		return nil, err
	}
	in.clip = append(in.clip, in.resample.Flush()...)
	for i, x := range in.clip {
		in.clip[i] = min(max(x, -1), 1)
	}
	d := &Damage{CutShort: cut, BadSamples: in.bad}
	if in.taken < declared {
		d.CutShort = true
		// A hostile header can promise anything; more than the longest file is
		// not a length worth quoting.
		rate := int64(in.rate)
		if missing := declared - in.taken; missing/rate < int64(LongestFile/time.Second) {
			d.Missing = time.Duration(missing * int64(time.Second) / rate)
		}
	}
	if d.CutShort || d.BadSamples > 0 {
		return in.clip, d
	}
	return in.clip, nil
}

// readFLAC reads a FLAC stream.
func readFLAC(r io.Reader) (Clip, error) {
	f, err := sound.OpenFLAC(r)
	if err != nil {
		return nil, err
	}
	in, err := newIntake(f.Channels, f.Rate)
	if err != nil {
		return nil, err
	}
	if f.Frames/int64(f.Rate) > int64(LongestFile/time.Second) {
		return nil, errTooLong
	}
	scale := 1 / float64(int64(1)<<(f.Bits-1))
	for {
		channels, err := f.Next()
		switch {
		case errors.Is(err, io.EOF):
			return in.finish(f.Frames, false)
		case err != nil && in.taken == 0:
			return nil, errors.New("its FLAC data is damaged from the beginning; record it again")
		case err != nil:
			return in.finish(f.Frames, true)
		}
		for i := range channels[0] {
			if err := in.frame(func(ch int) float64 { return float64(channels[ch][i]) * scale }); err != nil {
				return nil, err
			}
		}
	}
}

// readWAV reads a WAV file.
func readWAV(r io.Reader) (Clip, error) {
	f, err := sound.ReadWAV(r)
	if err != nil {
		return nil, err
	}
	in, err := newIntake(f.Channels, f.Rate)
	if err != nil {
		return nil, err
	}
	width, size := f.Channels*f.Bytes, f.Size
	declared := size / int64(width)
	if f.OpenEnded() {
		declared, size = 0, math.MaxInt64
	}
	lr := bufio.NewReaderSize(io.LimitReader(r, size), 1<<16)
	block := make([]byte, width)
	for {
		_, err := io.ReadFull(lr, block)
		if err == io.EOF || err == io.ErrUnexpectedEOF {
			return in.finish(declared, false)
		}
		if err != nil {
			return nil, fmt.Errorf("%w; check the disk it is on", err)
		}
		if err := in.frame(func(ch int) float64 { return f.Sample(block[ch*f.Bytes:]) }); err != nil {
			return nil, err
		}
	}
}
