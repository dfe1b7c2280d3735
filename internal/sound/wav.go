// This file reads and writes WAV.

package sound

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
)

// The rates that are read, in samples a second.
const (
	MinRate = 8000
	MaxRate = 192000
)

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

// ReadWAV reads a RIFF WAVE file up to its sound: a header, then chunks, of which "fmt "
// says how the sound is written, "data" holds it, and the rest are passed over. r is
// left where the sound begins.
func ReadWAV(r io.Reader) (*WAV, error) {
	var head [12]byte
	if _, err := io.ReadFull(r, head[:]); err != nil {
		return nil, errWAVHeader
	}
	if string(head[8:]) != "WAVE" {
		return nil, errors.New("it is a RIFF file but not WAV; convert it to WAV or FLAC")
	}
	var format *WAV
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
			format.Size = size
			return format, nil
		default:
			// Chunks are padded to an even length.
			if _, err := io.CopyN(io.Discard, r, size+size%2); err != nil {
				return nil, errWAVHeader
			}
		}
	}
}

// WAV is how the sound of a WAV file is written.
type WAV struct {
	Channels int   // 1 to 64
	Rate     int   // samples a second, MinRate to MaxRate
	Bits     int   // a sample, as the file says
	Bytes    int   // a sample takes
	Float    bool  // or whole numbers
	Size     int64 // bytes of sound, as the file says
}

// OpenEnded reports whether the file does not know how long its sound is: a recorder
// that writes to a pipe says 0 or the largest number, and the sound runs to the end.
func (f *WAV) OpenEnded() bool {
	return f.Size == 0 || f.Size >= math.MaxUint32-1 || f.Size == math.MaxInt32
}

func parseWAVFormat(b []byte) (*WAV, error) {
	if len(b) < 16 {
		return nil, fmt.Errorf("its WAV format has %d bytes, and 16 are needed; record it again", len(b))
	}
	tag, bits, align := le16(b), int(le16(b[14:])), int(le16(b[12:]))
	f := &WAV{Channels: int(le16(b[2:])), Rate: int(le32(b[4:])), Bits: bits}
	if tag == wavExtensible {
		if len(b) < 40 || !bytes.Equal(b[26:40], extensibleTail) {
			return nil, errors.New("its extended WAV format is not known; convert it to an ordinary WAV or to FLAC")
		}
		tag = le16(b[24:])
	}
	if f.Channels < 1 || f.Channels > mostChannels {
		return nil, fmt.Errorf("it says that it has %d channels; 1 to %d can be read", f.Channels, mostChannels)
	}
	if f.Rate < MinRate || f.Rate > MaxRate {
		return nil, fmt.Errorf("its rate is %d Hz; convert it to one from %d to %d Hz", f.Rate, MinRate, MaxRate)
	}
	// Samples of, say, 20 bits lie in 3 bytes, at the top: reading the whole
	// bytes is right.
	f.Bytes = (bits + 7) / 8
	f.Float = tag == wavFloat
	switch {
	case tag == wavPCM && f.Bytes >= 1 && f.Bytes <= 4:
	case tag == wavFloat && (bits == 32 || bits == 64):
	case tag != wavPCM && tag != wavFloat:
		return nil, fmt.Errorf("its WAV coding %d is not known; convert it to PCM or FLAC", tag)
	default:
		return nil, fmt.Errorf("its samples have %d bits; convert it to 16-bit WAV or FLAC", bits)
	}
	if align != f.Channels*f.Bytes {
		return nil, fmt.Errorf("its WAV format contradicts itself (%d channels of %d bytes in blocks of %d); record it again", f.Channels, f.Bytes, align)
	}
	return f, nil
}

// Sample returns the sample at the beginning of b, from -1 to 1 unless it is floating
// point, which may be anything.
func (f *WAV) Sample(b []byte) float64 {
	switch {
	case f.Float && f.Bytes == 4:
		return float64(math.Float32frombits(le32(b)))
	case f.Float:
		return math.Float64frombits(uint64(le32(b)) | uint64(le32(b[4:]))<<32)
	case f.Bytes == 1: // 8-bit WAV alone is unsigned
		return float64(int(b[0])-128) / 128
	case f.Bytes == 2:
		return float64(int16(le16(b))) / (1 << 15)
	case f.Bytes == 3:
		return float64(int32(uint32(b[0])<<8|uint32(b[1])<<16|uint32(b[2])<<24)) / (1 << 31)
	}
	return float64(int32(le32(b))) / (1 << 31)
}

func le16(b []byte) uint16 { return binary.LittleEndian.Uint16(b) }
func le32(b []byte) uint32 { return binary.LittleEndian.Uint32(b) }

// WAVHead is the length in bytes of the head that AppendWAVHead writes.
const WAVHead = 44

// AppendWAVHead adds the head of a 16-bit mono WAV file of rate samples a second and so
// many bytes of sound to b.
func AppendWAVHead(b []byte, rate int, size uint32) []byte {
	le := binary.LittleEndian
	b = append(b, "RIFF"...)
	b = le.AppendUint32(b, 36+size)
	b = append(b, "WAVEfmt "...)
	b = le.AppendUint32(b, 16)
	b = le.AppendUint16(b, wavPCM)
	b = le.AppendUint16(b, 1) // channels
	b = le.AppendUint32(b, uint32(rate))
	b = le.AppendUint32(b, uint32(2*rate)) // bytes a second
	b = le.AppendUint16(b, 2)              // bytes a sample frame
	b = le.AppendUint16(b, 16)             // bits a sample
	b = append(b, "data"...)
	return le.AppendUint32(b, size)
}

// EncodeWAV returns samples as a 16-bit mono WAV file of rate samples a second, each
// as it is.
func EncodeWAV(samples []int16, rate int) []byte {
	size := uint32(2 * len(samples))
	b := AppendWAVHead(make([]byte, 0, WAVHead+size), rate, size)
	for _, x := range samples {
		b = binary.LittleEndian.AppendUint16(b, uint16(x))
	}
	return b
}
