"""Packs rendered phrases into waycall's bank, models/voice.zip.

usage: voice_pack.py PHRASES CLIPS VOICE OUT   (called by render-voice)

Each clip loses the quiet at its ends, is brought to one loudness (ITU-R BS.1770, as EBU R
128 wants, without its gate, since a word is shorter than the gate's window), fades in and
out, and is written as mu-law (ITU-T G.711), 16 kHz, which is a byte a sample.
"""
import hashlib
import io
import json
import os
import sys
import zipfile

import numpy as np
import scipy.signal
import soundfile

phrases, clips, voice, out = sys.argv[1:5]
RATE = 16000
LOUDNESS = -20.0  # LUFS, as loud as espeak-ng speaks
PEAK = 0.89
QUIET = 0.03  # of the loudest 5 ms: what is below is no speech
KEEP = RATE // 200  # samples of quiet kept at each end
FADE = RATE // 200


def weigh():
    """The K weighting of BS.1770 at 16 kHz, by the formulas for its two filters, from memory."""
    f, g, q = 1681.974450955533, 3.999843853973347, 0.7071752369554196
    k = np.tan(np.pi * f / RATE)
    vh = 10 ** (g / 20)
    vb = vh ** 0.4996667741545416
    a0 = 1 + k / q + k * k
    shelf = [(vh + vb * k / q + k * k) / a0, 2 * (k * k - vh) / a0, (vh - vb * k / q + k * k) / a0,
             1, 2 * (k * k - 1) / a0, (1 - k / q + k * k) / a0]
    f, q = 38.13547087602444, 0.5003270373238773
    k = np.tan(np.pi * f / RATE)
    a0 = 1 + k / q + k * k
    high = [1, -2, 1, 1, 2 * (k * k - 1) / a0, (1 - k / q + k * k) / a0]
    return np.array([shelf, high])


SOS = weigh()


def loudness(x):
    y = scipy.signal.sosfilt(SOS, np.concatenate([x, np.zeros(RATE // 20)]))[: len(x)]
    return -0.691 + 10 * np.log10(np.mean(y ** 2) + 1e-12)


def prepare(x):
    frame = RATE // 200
    level = np.sqrt(np.mean(x[: len(x) // frame * frame].reshape(-1, frame) ** 2, axis=1))
    loud = np.flatnonzero(level > QUIET * level.max())
    x = x[max(0, loud[0] * frame - KEEP): (loud[-1] + 1) * frame + KEEP]
    for _ in range(3):
        x = x * 10 ** ((LOUDNESS - loudness(x)) / 20)
        # A peak that is too high is bent, not cut: it is a sample or two.
        over = np.abs(x) > PEAK * 0.8
        x = np.where(over, np.sign(x) * (PEAK * 0.8 + PEAK * 0.2 * np.tanh((np.abs(x) - PEAK * 0.8) / (PEAK * 0.2))), x)
    fade = np.linspace(0, 1, FADE)
    x[:FADE] *= fade
    x[-FADE:] *= fade[::-1]
    return x


def main():
    texts = []
    for line in open(phrases):
        line = line.strip()
        if line and not line.startswith(("#", "speed ")):
            texts.append(line)
    texts = sorted(set(texts))
    index, files, seconds = {}, [], 0
    for text in texts:
        path = os.path.join(clips, hashlib.sha1(text.encode()).hexdigest()[:16] + ".wav")
        if not os.path.exists(path):
            print("not rendered:", text, file=sys.stderr)
            continue
        sound = prepare(soundfile.read(path)[0])
        seconds += len(sound) / RATE
        data = io.BytesIO()
        soundfile.write(data, sound, RATE, format="RAW", subtype="ULAW")
        name = f"{len(files):04d}.ul"
        index[text] = name
        files.append((name, data.getvalue()))
    head = json.dumps({"version": 1, "voice": voice, "phrases": index}, indent=1).encode()
    with zipfile.ZipFile(out + ".part", "w", zipfile.ZIP_STORED) as z:
        for name, data in [("voice.json", head), *files]:
            z.writestr(zipfile.ZipInfo(name, (1980, 1, 1, 0, 0, 0)), data)
    os.rename(out + ".part", out)
    print(f"{len(files)} phrases, {seconds:.0f} s, {os.path.getsize(out) / 1e6:.1f} MB")


main()
