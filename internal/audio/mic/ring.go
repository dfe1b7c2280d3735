package mic

import "sync/atomic"

// A ring hands samples from the sound device's thread to ours without a lock and
// without allocation: one goroutine writes, one reads. What does not fit is lost
// and counted.
type ring struct {
	buf     []float32 // a power of two long
	written atomic.Uint64
	read    atomic.Uint64
	gaps    atomic.Int64 // writes of which something was lost
}

func newRing(atLeast int) *ring {
	n := 1
	for n < atLeast {
		n *= 2
	}
	return &ring{buf: make([]float32, n)}
}

// write adds as much of s as there is room for.
func (r *ring) write(s []float32) {
	w := r.written.Load()
	room := len(r.buf) - int(w-r.read.Load())
	if len(s) > room {
		s = s[:room]
		r.gaps.Add(1)
	}
	at := int(w & uint64(len(r.buf)-1))
	n := copy(r.buf[at:], s)
	copy(r.buf, s[n:])
	r.written.Store(w + uint64(len(s)))
}

// take moves what is there into s and returns how much that was.
func (r *ring) take(s []float32) int {
	rd := r.read.Load()
	s = s[:min(len(s), int(r.written.Load()-rd))]
	at := int(rd & uint64(len(r.buf)-1))
	n := copy(s, r.buf[at:])
	copy(s[n:], r.buf)
	r.read.Store(rd + uint64(len(s)))
	return len(s)
}

// discard forgets what is there.
func (r *ring) discard() { r.read.Store(r.written.Load()) }
