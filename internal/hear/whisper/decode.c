#include "decode.h"

#include <math.h>
#include <stdbool.h>
#include <stddef.h>

static bool stop_before_encoder(struct whisper_context * ctx, struct whisper_state * state, void * user) {
    (void) ctx; (void) state; (void) user;
    return false;
}

int wc_encode(struct whisper_context * ctx, const float * samples, int n_samples, int audio_ctx, int threads) {
    // Only whisper_full can set the audio context. It computes the features
    // too, and is stopped before it goes further.
    struct whisper_full_params p = whisper_full_default_params(WHISPER_SAMPLING_GREEDY);
    p.n_threads              = threads;
    p.audio_ctx              = audio_ctx;
    p.no_timestamps          = true;
    p.no_context             = true;
    p.print_progress         = false;
    p.language               = "en";
    p.encoder_begin_callback = stop_before_encoder;
    int err = whisper_full(ctx, p, samples, n_samples);
    if (err != 0) {
        return err;
    }
    return whisper_encode(ctx, 0, threads);
}

// The tokens that begin every decoding.
static int begin(struct whisper_context * ctx, whisper_token * prompt) {
    int n = 0;
    prompt[n++] = whisper_token_sot(ctx);
    if (whisper_is_multilingual(ctx)) {
        prompt[n++] = whisper_token_lang(ctx, whisper_lang_id("en"));
        prompt[n++] = whisper_token_transcribe(ctx);
    }
    prompt[n++] = whisper_token_not(ctx);
    return n;
}

// log of the sum of exp over text tokens and the end of text
static float log_sum(const float * logits, int n) {
    float top = logits[0];
    for (int i = 1; i < n; i++) {
        if (logits[i] > top) {
            top = logits[i];
        }
    }
    double sum = 0;
    for (int i = 0; i < n; i++) {
        sum += expf(logits[i] - top);
    }
    return top + (float) log(sum);
}

// One walk serves decoding and scoring: with given >= 0 the text is the one
// that out holds already, of that many tokens.
static int walk(struct whisper_context * ctx, const wc_mask * mask, int given, int max, int threads, wc_text * out) {
    const int eot = whisper_token_eot(ctx);
    whisper_token feed[4];
    int past = 0, n_feed = begin(ctx, feed);
    int32_t state = 0;
    out->logprob = 0;
    out->weakest = 0;
    out->ended   = 0;
    for (int n = 0;; n++) {
        int err = whisper_decode(ctx, feed, n_feed, past, threads);
        if (err != 0) {
            return err;
        }
        past += n_feed;
        // one row for each token fed; the last tells what comes next
        const float * logits = whisper_get_logits(ctx) + (size_t) (n_feed - 1) * whisper_n_vocab(ctx);
        const float norm = log_sum(logits, eot + 1);

        int best = -1;
        int32_t to = 0;
        if (given >= 0) {
            best = n < given ? out->token[n] : eot;
        } else if (mask == NULL) {
            best = eot;
            for (int i = 0; i < eot; i++) {
                if (logits[i] > logits[best]) {
                    best = i;
                }
            }
        } else {
            if (mask->final[state]) {
                best = eot;
            }
            for (int32_t k = mask->from[state]; k < mask->from[state + 1]; k++) {
                if (best < 0 || logits[mask->token[k]] > logits[best]) {
                    best = mask->token[k];
                    to   = mask->next[k];
                }
            }
            if (best < 0) {
                return -1; // a mask state that leads nowhere: the mask is broken
            }
        }

        const float lp = logits[best] - norm;
        out->logprob += lp;
        if (lp < out->weakest) {
            out->weakest = lp;
        }
        if (best == eot) {
            out->n     = n;
            out->ended = 1;
            return 0;
        }
        if (n == max) {
            out->n = n;
            return 0;
        }
        out->token[n] = best;
        state   = to;
        feed[0] = best;
        n_feed  = 1;
    }
}

int wc_decode(struct whisper_context * ctx, const wc_mask * mask, int most, int threads, wc_text * out) {
    return walk(ctx, mask, -1, most, threads, out);
}

int wc_score(struct whisper_context * ctx, int threads, wc_text * out) {
    return walk(ctx, NULL, out->n, WC_TEXT, threads, out);
}

static void drop(enum ggml_log_level level, const char * text, void * user) {
    (void) level; (void) text; (void) user;
}

void wc_quiet(void) {
    whisper_log_set(drop, NULL);
}
