package card

/*
#include <stdlib.h>
#include "capture.h"
*/
import "C"

import "unsafe"

// A ring is the memory between the device's thread and the reader. Its methods but
// call are for one goroutine.
type ring struct{ c *C.waycall_ring }

// newRing returns a ring for at least so many samples, to be freed.
func newRing(atLeast int) ring {
	n := 1
	for n < atLeast {
		n *= 2
	}
	c := (*C.waycall_ring)(C.calloc(1, C.sizeof_waycall_ring))
	c.buf = (*C.float)(C.calloc(C.size_t(n), C.sizeof_float))
	c.size = C.uint64_t(n)
	return ring{c}
}

func (r ring) free() {
	C.free(unsafe.Pointer(r.c.buf))
	C.free(unsafe.Pointer(r.c))
}

// take moves what is there into s and returns how much that was. broke says that
// something was lost: then nothing is taken, and what is taken next does not continue
// what was taken before.
func (r ring) take(s []float32) (n int, broke bool) {
	if len(s) == 0 {
		return 0, false
	}
	n = int(C.waycall_ring_take(r.c, (*C.float)(&s[0]), C.uint64_t(len(s))))
	return max(n, 0), n < 0
}

// discard forgets what is there and what was lost, and returns how many losses that
// take had not told of.
func (r ring) discard() int { return int(C.waycall_ring_discard(r.c)) }

func (r ring) losses() Losses {
	l := C.waycall_ring_losses(r.c)
	return Losses{Device: int(l.device), Full: int(l.full), Samples: int(l.samples)}
}

// call calls the callback as PortAudio does, for tests, whose own files may not use C.
func (r ring) call(s []float32, overflow bool) {
	var in *C.float
	if len(s) > 0 {
		in = (*C.float)(&s[0])
	}
	var flag C.int
	if overflow {
		flag = 1
	}
	C.waycall_call(r.c, in, C.ulong(len(s)), flag)
}

// Losses counts what was lost of a microphone's sound.
type Losses struct {
	Device  int // times that the device says it lost some before waycall had it (overflow)
	Full    int // times that nobody took the sound for so long that there was no more room
	Samples int // that found no room, at the device's rate; how many Device lost is not known
}

// Times is how often something was lost.
func (l Losses) Times() int { return l.Device + l.Full }
