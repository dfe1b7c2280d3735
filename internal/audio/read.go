package audio

import (
	"bufio"
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
	"strings"
	"time"

	"github.com/mewkiz/flac"

	"waycall/internal/plainfile"
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
	case string(magic) == "fLaC", string(magic[:3]) == "ID3":
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
func readFLAC(r io.Reader) (c Clip, err error) {
	// The decoder is fed whatever is in the file; should it trip over itself,
	// that is a damaged file, not the end of the session.
	defer func() {
		if x := recover(); x != nil {
			c, err = nil, errors.New("its FLAC data cannot be followed; record it again")
		}
	}()
	stream, err := flac.New(r)
	if err != nil {
		if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
			return nil, errors.New("it ends inside its FLAC header; record it again")
		}
		return nil, fmt.Errorf("its FLAC header is damaged (%v); record it again", err) //nolint:errorlint // an end within it is none of the file
	}
	info := stream.Info
	channels := int(info.NChannels)
	in, err := newIntake(channels, int(info.SampleRate))
	if err != nil {
		return nil, err
	}
	declared := int64(info.NSamples)
	if declared/int64(info.SampleRate) > int64(LongestFile/time.Second) {
		return nil, errTooLong
	}
	scale := 1 / float64(int64(1)<<(info.BitsPerSample-1))
	for {
		f, err := stream.ParseNext()
		if err == io.EOF { //nolint:errorlint // wrapped, it is within a frame
			return in.finish(declared, false)
		}
		if err != nil || len(f.Subframes) != channels {
			if in.taken == 0 {
				return nil, errors.New("its FLAC data is damaged from the beginning; record it again")
			}
			return in.finish(declared, true)
		}
		n := len(f.Subframes[0].Samples)
		for _, sub := range f.Subframes {
			n = min(n, len(sub.Samples))
		}
		for i := range n {
			err := in.frame(func(ch int) float64 { return float64(f.Subframes[ch].Samples[i]) * scale })
			if err != nil {
				return nil, err
			}
		}
	}
}

// limits of a believable WAV.
const (
	mostChannels  = 64
	longestFormat = 4096 // bytes in the fmt chunk
)

// WAV format tags, from Microsoft's mmreg.h (from memory).
const (
	wavPCM        = 1
	wavFloat      = 3
	wavExtensible = 0xFFFE
)

// extensibleTail ends every WAVE_FORMAT_EXTENSIBLE sub-format identity; the two
// bytes before it are an ordinary format tag (from memory).
var extensibleTail = []byte{0x00, 0x00, 0x00, 0x00, 0x10, 0x00, 0x80, 0x00, 0x00, 0xAA, 0x00, 0x38, 0x9B, 0x71}

var errWAVHeader = errors.New("it ends inside its WAV header; record it again")

// readWAV reads a RIFF WAVE file: a header, then chunks, of which "fmt " says how
// the sound is written, "data" holds it, and the rest are passed over.
func readWAV(r *bufio.Reader) (Clip, error) {
	var head [12]byte
	if _, err := io.ReadFull(r, head[:]); err != nil {
		return nil, errWAVHeader
	}
	if string(head[8:]) != "WAVE" {
		return nil, errors.New("it is a RIFF file but not WAV; convert it to WAV or FLAC")
	}
	var format *wavFormat
	for {
		var chunk [8]byte
		if _, err := io.ReadFull(r, chunk[:]); err != nil {
			return nil, errWAVHeader
		}
		size := int64(le32(chunk[4:]))
		switch string(chunk[:4]) {
		case "fmt ":
			if size > longestFormat {
				return nil, fmt.Errorf("its WAV format takes %d bytes, which cannot be; record it again", size)
			}
			body := make([]byte, size+size%2)
			if _, err := io.ReadFull(r, body); err != nil {
				return nil, errWAVHeader
			}
			f, err := parseWAVFormat(body[:size])
			if err != nil {
				return nil, err
			}
			format = f
		case "data":
			if format == nil {
				return nil, errors.New("its WAV data comes before the format; convert it to FLAC or record it again")
			}
			return readWAVData(r, format, size)
		default:
			// Chunks are padded to an even length.
			if _, err := io.CopyN(io.Discard, r, size+size%2); err != nil {
				return nil, errWAVHeader
			}
		}
	}
}

// wavFormat is what a "fmt " chunk says.
type wavFormat struct {
	channels, rate, bytes int
	float                 bool
}

func parseWAVFormat(b []byte) (*wavFormat, error) {
	if len(b) < 16 {
		return nil, fmt.Errorf("its WAV format has %d bytes, and 16 are needed; record it again", len(b))
	}
	tag, bits, align := le16(b), int(le16(b[14:])), int(le16(b[12:]))
	f := &wavFormat{channels: int(le16(b[2:])), rate: int(le32(b[4:]))}
	if tag == wavExtensible {
		if len(b) < 40 || !bytes.Equal(b[26:40], extensibleTail) {
			return nil, errors.New("its extended WAV format is not known; convert it to an ordinary WAV or to FLAC")
		}
		tag = le16(b[24:])
	}
	if f.channels < 1 || f.channels > mostChannels {
		return nil, fmt.Errorf("it says that it has %d channels; 1 to %d can be read", f.channels, mostChannels)
	}
	if f.rate < MinRate || f.rate > MaxRate {
		return nil, fmt.Errorf("its rate is %d Hz; convert it to one from %d to %d Hz", f.rate, MinRate, MaxRate)
	}
	// Samples of, say, 20 bits lie in 3 bytes, at the top: reading the whole
	// bytes is right.
	f.bytes = (bits + 7) / 8
	f.float = tag == wavFloat
	switch {
	case tag == wavPCM && f.bytes >= 1 && f.bytes <= 4:
	case tag == wavFloat && (bits == 32 || bits == 64):
	case tag != wavPCM && tag != wavFloat:
		return nil, fmt.Errorf("its WAV coding %d is not known; convert it to PCM or FLAC", tag)
	default:
		return nil, fmt.Errorf("its samples have %d bits; convert it to 16-bit WAV or FLAC", bits)
	}
	if align != f.channels*f.bytes {
		return nil, fmt.Errorf("its WAV format contradicts itself (%d channels of %d bytes in blocks of %d); record it again", f.channels, f.bytes, align)
	}
	return f, nil
}

func readWAVData(r io.Reader, f *wavFormat, size int64) (Clip, error) {
	in, err := newIntake(f.channels, f.rate)
	if err != nil {
		return nil, err
	}
	width := f.channels * f.bytes
	declared := size / int64(width)
	// A recorder that writes to a pipe cannot know the length: it says 0 or the
	// largest number, and the sound runs to the end of the file.
	if size == 0 || size >= math.MaxUint32-1 || size == math.MaxInt32 {
		declared = 0
		size = math.MaxInt64
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
		if err := in.frame(func(ch int) float64 { return f.sample(block[ch*f.bytes:]) }); err != nil {
			return nil, err
		}
	}
}

// sample returns the sample at the beginning of b.
func (f *wavFormat) sample(b []byte) float64 {
	switch {
	case f.float && f.bytes == 4:
		return float64(math.Float32frombits(le32(b)))
	case f.float:
		return math.Float64frombits(uint64(le32(b)) | uint64(le32(b[4:]))<<32)
	case f.bytes == 1: // 8-bit WAV alone is unsigned
		return float64(int(b[0])-128) / 128
	case f.bytes == 2:
		return float64(int16(le16(b))) / (1 << 15)
	case f.bytes == 3:
		return float64(int32(uint32(b[0])<<8|uint32(b[1])<<16|uint32(b[2])<<24)) / (1 << 31)
	}
	return float64(int32(le32(b))) / (1 << 31)
}

func le16(b []byte) uint16 { return binary.LittleEndian.Uint16(b) }
func le32(b []byte) uint32 { return binary.LittleEndian.Uint32(b) }
