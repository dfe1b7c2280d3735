#include "full.h"

#include <stdlib.h>
#include <string.h>

int wr_full(struct whisper_context * ctx, const float * samples, int n_samples, int threads,
            const char * prompt, const wr_grammar * grammar, char * out, int size) {
    struct whisper_full_params p = whisper_full_default_params(WHISPER_SAMPLING_BEAM_SEARCH);
    p.n_threads        = threads;
    p.language         = "en";
    p.initial_prompt   = prompt;
    p.no_context       = true; // nothing of the phrase before
    p.no_timestamps    = true;
    p.print_progress   = false;
    p.print_timestamps = false;

    const whisper_grammar_element ** rules = NULL;
    if (grammar != NULL) {
        rules = malloc(grammar->n_rules * sizeof *rules);
        if (rules == NULL) {
            return -100;
        }
        for (int32_t r = 0; r < grammar->n_rules; r++) {
            rules[r] = grammar->element + grammar->from[r];
        }
        p.grammar_rules   = rules;
        p.n_grammar_rules = grammar->n_rules;
        p.i_start_rule    = 0;
        p.grammar_penalty = 100.0f; // the command line's
    }
    int err = whisper_full(ctx, p, samples, n_samples);
    free(rules);
    if (err != 0) {
        return err;
    }
    int used = 0;
    for (int i = 0; i < whisper_full_n_segments(ctx); i++) {
        const char * text = whisper_full_get_segment_text(ctx, i);
        int n = (int) strlen(text);
        if (used + n >= size) {
            n = size - 1 - used;
        }
        memcpy(out + used, text, n);
        used += n;
    }
    out[used] = 0;
    return 0;
}

static void drop(enum ggml_log_level level, const char * text, void * user) {
    (void) level; (void) text; (void) user;
}

void wr_quiet(void) {
    whisper_log_set(drop, NULL);
}
