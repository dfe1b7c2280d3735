// A ring hands samples from the sound device's thread to a reader without a lock,
// without memory of its own and without Go: one thread writes, one reads. What does
// not fit is lost and counted. testdata/race.c runs it under ThreadSanitizer.
#ifndef WAYCALL_RING_H
#define WAYCALL_RING_H

#include <stdatomic.h>
#include <stdint.h>
#include <string.h>

// What was lost so far.
typedef struct {
	uint64_t device;  // times that the device says it lost something before we had it
	uint64_t full;    // times that the ring was full
	uint64_t samples; // that did not fit into the full ring
} waycall_losses;

typedef struct {
	float *buf;
	uint64_t size; // a power of two
	_Atomic uint64_t written, taken; // samples since the beginning
	_Atomic uint64_t device, full, samples;
	_Atomic uint64_t broken; // the sample before which something was lost last
	uint64_t seen;           // losses that the reader was told of; its own
} waycall_ring;

// Adds as much of n samples as there is room for. overrun says that the device lost
// something before them.
static inline void waycall_ring_write(waycall_ring *r, const float *in, uint64_t n, int overrun) {
	uint64_t w = atomic_load_explicit(&r->written, memory_order_relaxed);
	if (overrun) {
		// Counted before the samples are published: who sees them sees it.
		atomic_store_explicit(&r->broken, w, memory_order_relaxed);
		atomic_fetch_add_explicit(&r->device, 1, memory_order_release);
	}
	uint64_t room = r->size - (w - atomic_load_explicit(&r->taken, memory_order_acquire));
	uint64_t fits = n < room ? n : room;
	uint64_t at = w & (r->size - 1);
	uint64_t first = r->size - at < fits ? r->size - at : fits;
	memcpy(r->buf + at, in, first * sizeof *in);
	memcpy(r->buf, in + first, (fits - first) * sizeof *in);
	atomic_store_explicit(&r->written, w + fits, memory_order_release);
	if (fits < n) {
		atomic_store_explicit(&r->broken, w + fits, memory_order_relaxed);
		atomic_fetch_add_explicit(&r->samples, n - fits, memory_order_relaxed);
		atomic_fetch_add_explicit(&r->full, 1, memory_order_release);
	}
}

static inline waycall_losses waycall_ring_losses(waycall_ring *r) {
	waycall_losses l;
	l.device = atomic_load_explicit(&r->device, memory_order_acquire);
	l.full = atomic_load_explicit(&r->full, memory_order_acquire);
	l.samples = atomic_load_explicit(&r->samples, memory_order_relaxed);
	return l;
}

// Moves up to max samples into out and returns how many. Where something was lost
// since the last call, it takes none but skips what came before the loss and returns
// -1: what is taken next does not continue what was taken before.
static inline int64_t waycall_ring_take(waycall_ring *r, float *out, uint64_t max) {
	// The samples first: a loss before them is then counted already.
	uint64_t w = atomic_load_explicit(&r->written, memory_order_acquire);
	uint64_t t = atomic_load_explicit(&r->taken, memory_order_relaxed);
	waycall_losses l = waycall_ring_losses(r);
	if (l.device + l.full != r->seen) {
		r->seen = l.device + l.full;
		uint64_t b = atomic_load_explicit(&r->broken, memory_order_relaxed);
		if (b > t) atomic_store_explicit(&r->taken, b, memory_order_release);
		return -1;
	}
	uint64_t n = w - t < max ? w - t : max;
	uint64_t at = t & (r->size - 1);
	uint64_t first = r->size - at < n ? r->size - at : n;
	memcpy(out, r->buf + at, first * sizeof *out);
	memcpy(out + first, r->buf, (n - first) * sizeof *out);
	atomic_store_explicit(&r->taken, t + n, memory_order_release);
	return (int64_t)n;
}

// Forgets what is there, and what was lost so far. Returns how many losses the
// reader was not told of.
static inline uint64_t waycall_ring_discard(waycall_ring *r) {
	waycall_losses l = waycall_ring_losses(r);
	uint64_t untold = l.device + l.full - r->seen;
	r->seen += untold;
	atomic_store_explicit(&r->taken, atomic_load_explicit(&r->written, memory_order_acquire), memory_order_release);
	return untold;
}

#endif
