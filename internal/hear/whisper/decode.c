#include "decode.h"

#include <math.h>
#include <pthread.h>
#include <stdbool.h>
#include <stddef.h>

static bool stop_before_encoder(struct whisper_context * ctx, struct whisper_state * state, void * user) {
    (void) ctx; (void) state; (void) user;
    return false;
}

int wc_encode(wc_model * m, const float * samples, int n_samples, int audio_ctx, int threads) {
    m->n = 0;
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
    int err = whisper_full(m->ctx, p, samples, n_samples);
    if (err != 0) {
        return err;
    }
    return whisper_encode(m->ctx, 0, threads);
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

// How many tokens of a text the decoder has gone through already.
static int shared(const wc_model * m, const int32_t * token, int n) {
    int k = 0;
    while (k < n && k < m->n && m->token[k] == token[k]) {
        k++;
    }
    return k;
}

// One walk serves decoding and scoring: with given >= 0 the text is the one
// that out holds already, of that many tokens.
static int walk(wc_model * m, const wc_mask * mask, int given, int max, int threads, wc_text * out) {
    const int eot = whisper_token_eot(m->ctx);
    whisper_token feed[4];
    int past = 0, n_feed = begin(m->ctx, feed);
    int32_t state = 0;
    out->logprob = 0;
    out->weakest = 0;
    out->ended   = 0;
    const int known = shared(m, out->token, given);
    m->n = known;
    if (known > 0) {
        // Only the last of them is gone through again, for what comes after it.
        past    = n_feed + known - 1;
        feed[0] = out->token[known - 1];
        n_feed  = 1;
    }
    for (int n = 0; n < known; n++) {
        out->logprob += m->logprob[n];
        out->weakest  = fminf(out->weakest, m->logprob[n]);
    }
    for (int n = known;; n++) {
        int err = whisper_decode(m->ctx, feed, n_feed, past, threads);
        if (err != 0) {
            m->n = 0;
            return err;
        }
        past += n_feed;
        // one row for each token fed; the last tells what comes next
        const float * logits = whisper_get_logits(m->ctx) + (size_t) (n_feed - 1) * whisper_n_vocab(m->ctx);
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
        out->token[n]    = best;
        m->token[n]   = best;
        m->logprob[n] = lp;
        m->n          = n + 1; // it is fed next
        state   = to;
        feed[0] = best;
        n_feed  = 1;
    }
}

int wc_decode(wc_model * m, const wc_mask * mask, int most, int threads, wc_text * out) {
    return walk(m, mask, -1, most, threads, out);
}

int wc_score(wc_model * m, int threads, wc_text * out) {
    return walk(m, NULL, out->n, WC_TEXT, threads, out);
}

int wc_next(wc_model * m, int threads, const wc_text * text, int n, const int32_t * token, float * logprob) {
    whisper_token feed[4 + WC_TEXT];
    int past = 0, n_feed = begin(m->ctx, feed);
    const int known = shared(m, text->token, text->n);
    m->n = known;
    if (known > 0) {
        past   = n_feed + known - 1;
        n_feed = 0;
    }
    for (int k = known > 0 ? known - 1 : 0; k < text->n; k++) {
        feed[n_feed++] = text->token[k];
    }
    int err = whisper_decode(m->ctx, feed, n_feed, past, threads);
    if (err != 0) {
        m->n = 0;
        return err;
    }
    const float * logits = whisper_get_logits(m->ctx) + (size_t) (n_feed - 1) * whisper_n_vocab(m->ctx);
    const float norm = log_sum(logits, whisper_token_eot(m->ctx) + 1);
    for (int k = 0; k < n; k++) {
        logprob[k] = logits[token[k]] - norm;
    }
    return 0;
}

// One token among those that may come next.
typedef struct {
    int32_t token, to;
    float   lp[2];
} choice;

static float both(const choice * c) { return c->lp[0] + c->lp[1]; }

// Puts c into the list of the likeliest so far, n of them, best first.
static int rank(choice * list, int n, int most, choice c) {
    int k = n < most ? n : most - 1;
    if (n == most && both(&list[k]) >= both(&c)) {
        return n;
    }
    for (; k > 0 && both(&list[k - 1]) < both(&c); k--) {
        list[k] = list[k - 1];
    }
    list[k] = c;
    return n < most ? n + 1 : n;
}

// One decoding step of one of two models.
typedef struct {
    struct whisper_context * ctx;
    const whisper_token *    feed;
    int n_feed, past, threads, err;
} step;

static void * take(void * of) {
    step * s = of;
    s->err = whisper_decode(s->ctx, s->feed, s->n_feed, s->past, s->threads);
    return NULL;
}

// Takes both steps, beside each other where each has one thread and a model of its own.
static int take_both(step s[2]) {
    pthread_t other;
    const bool beside = s[1].threads == 1 && s[0].ctx != s[1].ctx && pthread_create(&other, NULL, take, &s[1]) == 0;
    take(&s[0]);
    if (beside) {
        pthread_join(other, NULL);
    } else {
        take(&s[1]);
    }
    return s[0].err != 0 ? s[0].err : s[1].err;
}

int wc_together(wc_model * a, wc_model * b, const wc_mask * mask, int threads, wc_joint * out) {
    struct whisper_context * ctx[2] = { a->ctx, b->ctx };
    const int eot = whisper_token_eot(a->ctx);
    whisper_token feed[4 + WC_PHRASE];
    int past = 0, n_feed = begin(a->ctx, feed);
    int32_t state = 0;
    a->n = b->n = 0;
    out->ended      = 0;
    out->n_branches = 0;
    for (int n = 0; n < out->n; n++) {
        feed[n_feed++] = out->token[n];
        if (mask != NULL) {
            int32_t k = mask->from[state];
            while (k < mask->from[state + 1] && mask->token[k] != out->token[n]) {
                k++;
            }
            if (k == mask->from[state + 1]) {
                return -1; // the text given is not of this mask
            }
            state = mask->next[k];
        }
    }
    for (int n = out->n;; n++) {
        const float * logits[2];
        float norm[2];
        step steps[2] = { { a->ctx, feed, n_feed, past, threads, 0 }, { b->ctx, feed, n_feed, past, threads, 0 } };
        const int err = take_both(steps);
        if (err != 0) {
            return err;
        }
        for (int k = 0; k < 2; k++) {
            logits[k] = whisper_get_logits(ctx[k]) + (size_t) (n_feed - 1) * whisper_n_vocab(ctx[k]);
            norm[k]   = log_sum(logits[k], eot + 1);
        }
        past += n_feed;

        choice best[1 + WC_BRANCHES];
        int n_best = 0;
        const int32_t first = mask == NULL ? 0 : mask->from[state];
        const int32_t last  = mask == NULL ? eot + 1 : mask->from[state + 1];
        for (int32_t k = first; k < last; k++) {
            const int32_t token = mask == NULL ? k : mask->token[k];
            n_best = rank(best, n_best, 1 + WC_BRANCHES, (choice){ token, mask == NULL ? 0 : mask->next[k], { logits[0][token] - norm[0], logits[1][token] - norm[1] } });
        }
        if (mask != NULL && mask->final[state]) {
            n_best = rank(best, n_best, 1 + WC_BRANCHES, (choice){ eot, 0, { logits[0][eot] - norm[0], logits[1][eot] - norm[1] } });
        }
        if (n_best == 0) {
            return -1; // a mask state that leads nowhere: the mask is broken
        }
        for (int k = 1; k < n_best; k++) {
            out->branch[out->n_branches++] = (wc_branch){ n, best[k].token, { out->logprob[0] + best[k].lp[0], out->logprob[1] + best[k].lp[1] } };
        }
        out->logprob[0] += best[0].lp[0];
        out->logprob[1] += best[0].lp[1];
        out->n = n;
        if (best[0].token == eot) {
            out->ended = 1;
            return 0;
        }
        if (n == WC_PHRASE) {
            return 0;
        }
        out->token[n] = best[0].token;
        state   = best[0].to;
        feed[0] = best[0].token;
        n_feed  = 1;
    }
}

static void drop(enum ggml_log_level level, const char * text, void * user) {
    (void) level; (void) text; (void) user;
}

void wc_quiet(void) {
    whisper_log_set(drop, NULL);
}
