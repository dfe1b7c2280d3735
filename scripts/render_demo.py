"""Renders the demonstration's phrases with the speech renderer.

usage: render_demo.py SPEECH_TOOL VOICE WORK DEMO   (called by render-demo)

The pace varies a little from phrase to phrase, as a person's does. A phrase with
noise_db gets a drill of our own making: harmonics of a wavering motor and hiss,
that many dB below the speech.
"""
import json
import os
import random
import re
import subprocess
import sys

import numpy as np
import soundfile

tool, voice, work, demo = sys.argv[1:]
pace = random.Random(1)
phrases = []
for line in open(os.path.join(demo, "script.jsonl")):
    item = json.loads(line)
    if "text" in item:
        name = f"{len(phrases) + 1:02d}-" + re.sub(r"[^a-z]+", "-", item["text"]).strip("-")
        speed = round(pace.uniform(0.98, 1.12), 3)  # drawn for each, so that one more changes no other
        phrases.append((name, item["text"], item.get("noise_db"), item.get("speed", speed)))

with open(os.path.join(work, "phrases.jsonl"), "w") as out:
    for name, text, _, speed in phrases:
        out.write(json.dumps({"text": text, "voice": voice, "speed": speed, "file": name + ".wav"}) + "\n")
subprocess.run(
    [sys.executable, os.path.join(tool, "render.py"), "phrases.jsonl", "out", "--voices", voice],
    cwd=work, check=True)


def drill(n, rng):
    t = np.arange(n) / 16000
    motor = sum(
        np.sin(2 * np.pi * f * t + 0.02 * f / 3 * np.sin(2 * np.pi * 3 * t) + rng.uniform(0, 6)) / k
        for k, f in enumerate((180, 360, 540, 1150, 2300), 1))
    hiss = np.convolve(rng.normal(size=n), np.ones(4) / 4, "same") * 2
    return motor / 2 + hiss


sound = os.path.join(demo, "sound")
os.makedirs(sound, exist_ok=True)
for old in os.listdir(sound):
    os.remove(os.path.join(sound, old))
for name, _, noise, _ in phrases:
    speech, rate = soundfile.read(os.path.join(work, "out", name + ".wav"))
    if noise is not None:
        rng = np.random.default_rng(5)
        d = drill(len(speech), rng)
        spoken = speech[np.abs(speech) > 1e-3]
        mixed = speech + d * spoken.std() / d.std() / 10 ** (noise / 20)
        # The drill dies away at both ends, as when it is taken off the wall.
        edge = int(0.25 * rate)
        ramp = np.ones(len(mixed))
        ramp[:edge], ramp[-edge:] = np.linspace(0, 1, edge), np.linspace(1, 0, edge)
        speech = mixed / np.abs(mixed).max() * 0.6 * ramp
    soundfile.write(os.path.join(sound, name + ".flac"), speech, rate, subtype="PCM_16")
print(f"{len(phrases)} phrases in {sound}")
