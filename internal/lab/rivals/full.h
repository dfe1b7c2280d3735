// whisper.cpp's own whisper_full for package rivals, with what the Go binding has
// no setter for: the prompt, the beam and the grammar.
#ifndef WAYCALL_RIVALS_FULL_H
#define WAYCALL_RIVALS_FULL_H

#include <stdint.h>
#include <whisper.h>

// A grammar as whisper.cpp takes it: all elements in a row, rule r beginning at
// from[r]. Rule 0 is where a phrase starts.
typedef struct {
    int32_t                         n_rules;
    const int32_t *                 from;
    const whisper_grammar_element * element;
} wr_grammar;

// Transcribes the samples (16 kHz mono) with the settings that the command line
// of whisper.cpp starts from, but for time stamps, which are left out. Within the
// grammar when it is not NULL. Writes the text, ended by a zero, to out. Returns 0
// or an error of whisper.cpp.
int wr_full(struct whisper_context * ctx, const float * samples, int n_samples, int threads,
            const char * prompt, const wr_grammar * grammar, char * out, int size);

// Silences whisper.cpp's own messages.
void wr_quiet(void);

#endif
