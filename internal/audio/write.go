package audio

import (
	"encoding/binary"
	"fmt"
	"math"
	"path/filepath"

	"github.com/google/renameio/v2"
)

// EncodeWAV returns c as a 16-bit mono WAV file. Samples beyond full scale are
// clipped, and those that are not numbers become silence.
func EncodeWAV(c Clip) []byte {
	b := wavHead(len(c), Rate)
	for _, x := range c {
		v := math.Round(float64(x) * (1 << 15))
		if math.IsNaN(v) {
			v = 0
		}
		b = binary.LittleEndian.AppendUint16(b, uint16(int16(min(max(v, math.MinInt16), math.MaxInt16))))
	}
	return b
}

// EncodeWAV16 returns samples as a 16-bit mono WAV file of rate samples a second, each
// as it is.
func EncodeWAV16(samples []int16, rate int) []byte {
	b := wavHead(len(samples), rate)
	for _, x := range samples {
		b = binary.LittleEndian.AppendUint16(b, uint16(x))
	}
	return b
}

// wavHead is what precedes n samples, with room for them.
func wavHead(n, rate int) []byte {
	size := uint32(2 * n)
	b := make([]byte, 0, 44+size)
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

// WriteWAV writes c to path as EncodeWAV gives it. The file appears whole or not
// at all: it is written beside its place and moved there once it is on the disk,
// so that a full disk or a power cut leaves what was there before.
func WriteWAV(path string, c Clip) error {
	err := renameio.WriteFile(path, EncodeWAV(c), 0o644, renameio.WithTempDir(filepath.Dir(path)))
	if err != nil {
		return fmt.Errorf("cannot write sound to %s: %w; check that there is room and that the folder may be written to", path, err)
	}
	return nil
}
