"""Renders the phrases of waycall's voice, each to a file of its own.

usage: voice_render.py TOOL PHRASES CLIPS VOICE   (called by render-voice)

TOOL is the folder of the speech renderer. PHRASES is a text file: a line is a phrase as
it is said, its last mark included, since that gives the melody ("way two," goes on,
"way two." ends). "speed 1.2" says how fast what follows
is spoken, 1 being the renderer's own, and a line that begins with # is a remark.

CLIPS gets HASH.wav for each phrase, 16 kHz, where HASH is of its text; what is there
already stays. Several of these may run at once: each takes the next line that no other
has taken.
"""
import hashlib
import os
import sys

import onnxruntime
import soundfile

tool, phrases, clips, voice = sys.argv[1:5]
sys.path.insert(0, tool)
import render  # noqa: E402

RATE = 16000


class Quiet(onnxruntime.InferenceSession):
    """One thread, which does not spin: the machine has other work."""

    def __init__(self, path):
        options = onnxruntime.SessionOptions()
        options.intra_op_num_threads = 1
        super().__init__(path, options)


render.ort.InferenceSession = Quiet


def name(text):
    return os.path.join(clips, hashlib.sha1(text.encode()).hexdigest()[:16] + ".wav")


def save(text, sound):
    soundfile.write(name(text) + ".part", sound, RATE, subtype="PCM_16", format="WAV")
    os.rename(name(text) + ".part", name(text))


def main():
    os.makedirs(clips, exist_ok=True)
    engine, speed = render.Voices(), 1.0
    for line in open(phrases):
        line = line.strip()
        if not line or line.startswith("#"):
            continue
        if line.startswith("speed "):
            speed = float(line.split()[1])
            continue
        if os.path.exists(name(line)):
            continue
        try:
            os.close(os.open(name(line) + ".taken", os.O_CREAT | os.O_EXCL))
        except FileExistsError:
            continue
        save(line, engine.say(line, voice, speed))
        print(line, flush=True)


main()
