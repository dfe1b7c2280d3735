// Writes numbers into the ring on one thread and takes them on another, both as fast
// as they can, with losses told by the device now and then. What is taken must go up
// by one between two losses, and every number is taken, lost or skipped by a loss.
// Built with -fsanitize=thread, it also fails where a datum is not ordered.
#define _GNU_SOURCE
#include <pthread.h>
#include <sched.h>
#include <stdio.h>
#include <stdlib.h>

#include "../ring.h"

enum { blocks = 4000, most = 96 };

static waycall_ring ring;

static void *writer(void *unused) {
	float block[most];
	uint32_t next = 0, random = 1;
	for (int i = 0; i < blocks; i++) {
		random = random * 1664525 + 1013904223;
		uint32_t n = random >> 16 & 63, overrun = random >> 28 == 0;
		if (overrun) next += 5; // the device lost these
		for (uint32_t k = 0; k < n; k++) block[k] = (float)(next++ & 0xffffff);
		// It waits for room, but now and then not.
		while (i % 64 && ring.size - (atomic_load_explicit(&ring.written, memory_order_relaxed) - atomic_load_explicit(&ring.taken, memory_order_relaxed)) < n) sched_yield();
		waycall_ring_write(&ring, block, n, (int)overrun);
	}
	return NULL;
}

int main(void) {
	ring.size = 256;
	ring.buf = calloc(ring.size, sizeof *ring.buf);
	pthread_t t;
	pthread_create(&t, NULL, writer, NULL);
	float got[most];
	uint64_t taken = 0, breaks = 0;
	int32_t last = -1;
	for (int joined = 0;;) {
		int64_t n = waycall_ring_take(&ring, got, most);
		if (n < 0) {
			breaks++;
			last = -1;
			continue;
		}
		for (int64_t i = 0; i < n; i++) {
			if (last >= 0 && (int32_t)got[i] != ((last + 1) & 0xffffff)) {
				printf("after %d comes %d without a word of a loss\n", last, (int)got[i]);
				return 1;
			}
			last = (int32_t)got[i];
		}
		taken += (uint64_t)n;
		if (n > 0) continue;
		if (joined) break;
		sched_yield();
		if (atomic_load(&ring.written) > 0 && pthread_tryjoin_np(t, NULL) == 0) joined = 1;
	}
	waycall_losses l = waycall_ring_losses(&ring);
	printf("%llu samples taken, %llu breaks, %llu lost by the device, %llu by the full ring\n",
		(unsigned long long)taken, (unsigned long long)breaks, (unsigned long long)l.device, (unsigned long long)l.full);
	return taken == 0 || breaks == 0 || l.device == 0;
}
