"""Serves faster-whisper to package rivals over standard input and output.

    faster.py MODEL THREADS

Each line in is a JSON object: "sound", 16 kHz mono as little-endian 32-bit floats
in base64, and "prompt". Each line out is one with "text", or with "error". The
first line out, before any sound, is {"ready": VERSION}.
"""

import base64
import json
import os
import sys

out = os.fdopen(os.dup(1), "w", buffering=1)
os.dup2(2, 1)  # whatever a library prints goes to standard error


def say(**answer):
    out.write(json.dumps(answer) + "\n")


try:
    import faster_whisper
    import numpy

    model = faster_whisper.WhisperModel(
        sys.argv[1], device="cpu", compute_type="int8",
        cpu_threads=int(sys.argv[2]), num_workers=1, local_files_only=True)
except Exception as e:
    say(error=f"{type(e).__name__}: {e}")
    sys.exit(1)
say(ready=faster_whisper.__version__)

for line in sys.stdin:
    try:
        asked = json.loads(line)
        sound = numpy.frombuffer(base64.b64decode(asked["sound"]), dtype="<f4")
        # All else is as the library has it: beam 5, falling back to higher
        # temperatures, the full context of 30 s. Time stamps are of no use here
        # and cost time.
        segments, _ = model.transcribe(
            sound, language="en", beam_size=5, without_timestamps=True,
            vad_filter=False, initial_prompt=asked["prompt"])
        say(text=" ".join(s.text.strip() for s in segments))
    except Exception as e:
        say(error=f"{type(e).__name__}: {e}")
