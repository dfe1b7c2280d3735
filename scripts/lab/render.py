"""Renders phrases with the speech renderer, those of the demonstration or of a long session.

usage: render.py demo|session SPEECH_TOOL VOICE WORK FOLDER   (called by render-demo)

FOLDER has script.jsonl, and sound/ for what is made. The pace varies a little from
phrase to phrase, as a person's does.

demo: a phrase with noise_db gets a drill of our own making:
harmonics of a wavering motor and hiss, that many dB below the speech.

session: what is said several times is rendered up to three times, a little faster or
slower, and these are used in turn.

Sounds that are there already stay as they are; those of the demonstration take the
number of their new place.
"""
import collections
import json
import os
import random
import re
import shutil
import subprocess
import sys

import numpy as np
import soundfile

kind, tool, voice, work, folder = sys.argv[1:]
sound = os.path.join(folder, "sound")


def slug(text):
    return re.sub(r"[^a-z]+", "-", text.lower()).strip("-")


def demo_phrases(script):
    """What is to be rendered of the demonstration, by name."""
    pace = random.Random(1)
    wanted = {}
    for item in script:
        if "text" in item:
            speed = round(pace.uniform(0.98, 1.12), 3)  # drawn for each, so that one more changes no other
            name = f"{len(wanted) + 1:02d}-" + slug(item["text"])
            wanted[name] = {"text": item["text"], "speed": item.get("speed", speed), "noise_db": item.get("noise_db")}
    return wanted


def session_phrases(script):
    """What is to be rendered of a session, by name."""
    pace = random.Random(2)
    wanted = {}
    for text, times in collections.Counter(item["text"] for item in script).items():
        for n in range(min(times, 3)):
            wanted[slug(text) + f"-{n + 1}"] = {"text": text, "speed": round(pace.uniform(0.96, 1.12), 3)}
    return wanted


def render(wanted):
    """Has the renderer speak the phrases; returns the sound of each and its rate, by name."""
    if not wanted:
        return {}
    with open(os.path.join(work, "phrases.jsonl"), "w") as out:
        for name, phrase in wanted.items():
            out.write(json.dumps({"text": phrase["text"], "voice": voice, "speed": phrase["speed"], "file": name + ".wav"}) + "\n")
    subprocess.run(
        [sys.executable, os.path.join(tool, "render.py"), "phrases.jsonl", "out", "--voices", voice],
        cwd=work, check=True)
    return {name: soundfile.read(os.path.join(work, "out", name + ".wav")) for name in wanted}


def drill(n, rng):
    t = np.arange(n) / 16000
    motor = sum(
        np.sin(2 * np.pi * f * t + 0.02 * f / 3 * np.sin(2 * np.pi * 3 * t) + rng.uniform(0, 6)) / k
        for k, f in enumerate((180, 360, 540, 1150, 2300), 1))
    hiss = np.convolve(rng.normal(size=n), np.ones(4) / 4, "same") * 2
    return motor / 2 + hiss


def beside_drill(speech, rate, noise):
    """The speech with a drill so many dB below it."""
    rng = np.random.default_rng(5)
    d = drill(len(speech), rng)
    spoken = speech[np.abs(speech) > 1e-3]
    mixed = speech + d * spoken.std() / d.std() / 10 ** (noise / 20)
    # The drill dies away at both ends, as when it is taken off the wall.
    edge = int(0.25 * rate)
    ramp = np.ones(len(mixed))
    ramp[:edge], ramp[-edge:] = np.linspace(0, 1, edge), np.linspace(1, 0, edge)
    return mixed / np.abs(mixed).max() * 0.6 * ramp


script = [json.loads(line) for line in open(os.path.join(folder, "script.jsonl"))]
wanted = {"demo": demo_phrases, "session": session_phrases}[kind](script)
os.makedirs(sound, exist_ok=True)


def unnumbered(name):
    return name.split("-", 1)[1].removesuffix(".flac")


if kind == "demo":
    kept = collections.defaultdict(list)
    for old in sorted(os.listdir(sound)):
        shutil.move(os.path.join(sound, old), os.path.join(work, old))
        kept[unnumbered(old)].append(old)
    for name in wanted:
        if kept[unnumbered(name)]:
            shutil.move(os.path.join(work, kept[unnumbered(name)].pop(0)), os.path.join(sound, name + ".flac"))
for old in os.listdir(sound):
    if old.removesuffix(".flac") not in wanted:
        os.remove(os.path.join(sound, old))
missing = {n: p for n, p in wanted.items() if not os.path.exists(os.path.join(sound, n + ".flac"))}
for name, (speech, rate) in render(missing).items():
    if missing[name].get("noise_db") is not None:
        speech = beside_drill(speech, rate, missing[name]["noise_db"])
    soundfile.write(os.path.join(sound, name + ".flac"), speech, rate, subtype="PCM_16")
print(f"{len(missing)} of {len(wanted)} phrases rendered in {sound}")
