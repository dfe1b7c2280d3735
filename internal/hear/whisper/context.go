package whisper

// #include "decode.h"
import "C"

// listenOver is Listen over a given audio context, in frames of 20 ms. It serves
// the measurement in context_test.go, which the choice of the context rests on and which
// may not use C itself.
func (m *Model) listenOver(sound []float32, frames int) error {
	return m.check(C.wc_encode(&m.c, (*C.float)(&sound[0]), C.int(len(sound)), C.int(frames), C.int(m.threads)))
}
