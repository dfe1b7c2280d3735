// The part of the whisper witness that must be C: it reads the model's logits,
// which the Go binding does not show, and holds decoding to a mask.
#ifndef WAYCALL_DECODE_H
#define WAYCALL_DECODE_H

#include <stdint.h>
#include <whisper.h>

// A mask over tokens. In state s the tokens token[from[s]] to
// token[from[s+1]-1], in ascending order, may come next and lead to the states
// in next; the text may end where final is not zero. State 0 is the beginning.
typedef struct {
    int32_t         n_states;
    const int32_t * from;
    const int32_t * token;
    const int32_t * next;
    const uint8_t * final;
} wc_mask;

// The most tokens of a phrase, beyond which it is none, and of any text: half of the
// model's context.
#define WC_PHRASE 64
#define WC_TEXT 224

// What a decoding gave. Log-probabilities are natural and taken over all text
// tokens and the end of text, never over what a mask left, so that phrases of
// different length and branches can be compared.
typedef struct {
    int32_t n;            // tokens, without the end of text
    int32_t token[WC_TEXT];
    float   logprob;      // of the whole text with its end
    float   weakest;      // of the least likely token, the end of text included
    int32_t ended;        // 1 when the text ended by itself
} wc_text;

// A loaded model with the text that its decoder went through last, over the present
// encoder output, and the log-probability of each token of it after those before it. A
// text that begins the same goes on from there. It begins with none.
typedef struct {
    struct whisper_context * ctx;
    int32_t n;
    int32_t token[WC_TEXT];
    float   logprob[WC_TEXT];
} wc_model;

// Computes the encoder output of the samples (16 kHz mono) over a context of
// audio_ctx frames of 20 ms, which every decoding after it uses. Returns 0 or
// an error of whisper.cpp.
int wc_encode(wc_model * m, const float * samples, int n_samples, int audio_ctx, int threads);

// Takes the likeliest token at each step until the end of text, free when mask
// is NULL and otherwise within the mask; at most `most` of them.
int wc_decode(wc_model * m, const wc_mask * mask, int most, int threads, wc_text * out);

// Gives the log-probability of a text already in out->token.
int wc_score(wc_model * m, int threads, wc_text * out);

// Gives the log-probability of each of n tokens coming next after the text.
int wc_next(wc_model * m, int threads, const wc_text * text, int n, const int32_t * token, float * logprob);

// The branches that wc_together names at each step beside the token it took.
#define WC_BRANCHES 2

// A token that was not taken, though both models together found it likely.
typedef struct {
    int32_t at;         // its place in the text
    int32_t token;
    float   logprob[2]; // by each model, of the text up to it and of it
} wc_branch;

// What two models made of one sound together.
typedef struct {
    int32_t   n;                // tokens, without the end of text
    int32_t   token[WC_PHRASE];
    float     logprob[2];       // by each model, of the whole text with its end
    int32_t   ended;            // 1 when the text ended by itself
    int32_t   n_branches;
    wc_branch branch[WC_BRANCHES * (WC_PHRASE + 1)];
} wc_joint;

// Decodes what both models have encoded, two of one vocabulary: at each step
// it takes the token that is likeliest to both, by the sum of their log-probabilities,
// free when mask is NULL and otherwise within the mask. out->token holds the first
// out->n tokens already, of the log-probabilities in out->logprob.
int wc_together(wc_model * a, wc_model * b, const wc_mask * mask, int threads, wc_joint * out);

// Silences whisper.cpp's own messages.
void wc_quiet(void);

#endif
