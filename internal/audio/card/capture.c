#include "capture.h"

// What PortAudio calls on a thread of its own. It is C to the end: Go's garbage
// collector and scheduler cannot hold it up.
static int on_sound(const void *in, void *out, unsigned long frames,
		const PaStreamCallbackTimeInfo *at, PaStreamCallbackFlags flags, void *ring) {
	if (in) waycall_ring_write(ring, in, frames, (flags & paInputOverflow) != 0);
	return paContinue;
}

PaError waycall_capture(PaStream **stream, int device, double latency, double rate, waycall_ring *ring) {
	PaStreamParameters p = {device, 1, paFloat32, latency, NULL};
	return Pa_OpenStream(stream, &p, NULL, rate, paFramesPerBufferUnspecified, paNoFlag, on_sound, ring);
}

void waycall_call(waycall_ring *ring, const float *in, unsigned long n, int overflow) {
	on_sound(in, NULL, n, NULL, overflow ? paInputOverflow : 0, ring);
}
