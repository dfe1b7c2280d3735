"""Decodes a sound with CTranslate2, for comparison with whisper.cpp.

usage: ct2.py MODEL_DIR SAMPLES.f32 FILTERS.f32 MEL.f32 LOGITS.f32

Reads 16 kHz samples and mel filters (80 rows of 201), writes whisper's log-mel
features (80 rows of 3000) and the logits of every decoding step, and prints the
tokens.
"""
import sys

import ctranslate2
import numpy as np

model_dir, samples, filters, mel_out, logits_out = sys.argv[1:]
x = np.fromfile(samples, np.float32)
x = np.concatenate([x, np.zeros(480000 - len(x), np.float32)])
padded = np.pad(x, 200, mode="reflect")
window = np.hanning(401)[:-1]
frames = np.stack([padded[i * 160:i * 160 + 400] * window for i in range(3000)])
power = np.abs(np.fft.rfft(frames, axis=1)) ** 2
mel = np.fromfile(filters, np.float32).reshape(80, 201) @ power.T
log = np.log10(np.maximum(mel, 1e-10))
log = (np.maximum(log, log.max() - 8) + 4) / 4
log = np.ascontiguousarray(log, np.float32)
log.tofile(mel_out)

model = ctranslate2.models.Whisper(model_dir, device="cpu", compute_type="float32", intra_threads=2)
result = model.generate(
    ctranslate2.StorageView.from_array(log[None]), [[50257, 50362]], beam_size=1,
    suppress_blank=False, suppress_tokens=[], return_logits_vocab=True)[0]
np.concatenate([np.array(step, np.float32).reshape(-1) for step in result.logits[0]]).tofile(logits_out)
print(*result.sequences_ids[0])
