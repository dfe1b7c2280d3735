#ifndef WAYCALL_CAPTURE_H
#define WAYCALL_CAPTURE_H

#include <portaudio.h>

#include "ring.h"

// Opens a mono stream of a device into a ring.
PaError waycall_capture(PaStream **stream, int device, double latency, double rate, waycall_ring *ring);

// Calls the callback as PortAudio does.
void waycall_call(waycall_ring *ring, const float *in, unsigned long n, int overflow);

#endif
