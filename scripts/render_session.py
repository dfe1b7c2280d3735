"""Renders the phrases of the long session with the speech renderer.

usage: render_session.py SPEECH_TOOL VOICE WORK SESSION   (called by render-demo)

What is said several times is rendered up to three times, a little faster or slower,
and these are used in turn. Sounds that are there already stay as they are.
"""
import collections
import json
import os
import random
import re
import subprocess
import sys

import soundfile

tool, voice, work, session = sys.argv[1:]
pace = random.Random(2)
sound = os.path.join(session, "sound")
os.makedirs(sound, exist_ok=True)
texts = [json.loads(line)["text"] for line in open(os.path.join(session, "script.jsonl"))]
wanted = {}
for text, times in collections.Counter(texts).items():
    for n in range(min(times, 3)):
        name = re.sub(r"[^a-z]+", "-", text.lower()).strip("-") + f"-{n + 1}"
        wanted[name] = {"text": text, "voice": voice, "speed": round(pace.uniform(0.96, 1.12), 3), "file": name + ".wav"}
for old in os.listdir(sound):
    if old.removesuffix(".flac") not in wanted:
        os.remove(os.path.join(sound, old))
missing = [n for n in wanted if not os.path.exists(os.path.join(sound, n + ".flac"))]
if missing:
    with open(os.path.join(work, "phrases.jsonl"), "w") as out:
        for name in missing:
            out.write(json.dumps(wanted[name]) + "\n")
    subprocess.run(
        [sys.executable, os.path.join(tool, "render.py"), "phrases.jsonl", "out", "--voices", voice],
        cwd=work, check=True)
    for name in missing:
        speech, rate = soundfile.read(os.path.join(work, "out", name + ".wav"))
        soundfile.write(os.path.join(sound, name + ".flac"), speech, rate, subtype="PCM_16")
print(f"{len(missing)} of {len(wanted)} phrases rendered in {sound}")
