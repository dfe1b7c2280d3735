"""Cuts a labelled set out of recordings of people: human_speech.py DEBS OUT [DIGITS].

scripts/lab/human-speech runs it. The phrases are joined from words that were spoken one
by one, with pauses as between figures read off a display; which words is drawn with
a fixed seed, so that the set is the same each time.
"""

import json
import pathlib
import random
import sys
import wave

import av
import numpy as np

RATE = 16000
debs, out = pathlib.Path(sys.argv[1]), pathlib.Path(sys.argv[2])
digits = pathlib.Path(sys.argv[3]) if len(sys.argv) > 3 and sys.argv[3] else None
out.mkdir(parents=True)
rng = random.Random(4)
lines = []

NAMES = "zero one two three four five six seven eight nine ten eleven twelve thirteen fourteen fifteen sixteen seventeen eighteen nineteen".split()
TENS = "- - twenty thirty forty fifty sixty seventy eighty ninety".split()
NONE = {"kind": "none"}


def load(path):
    """Any sound file as 16 kHz mono; a .raw is 16-bit sound of that rate already."""
    if path.suffix == ".raw":
        return np.fromfile(path, "<i2").astype(np.float32) / 32768
    resampler = av.AudioResampler("flt", "mono", RATE)
    parts = []
    with av.open(str(path)) as file:
        for frame in file.decode(audio=0):
            parts += [f.to_ndarray()[0] for f in resampler.resample(frame)]
        parts += [f.to_ndarray()[0] for f in resampler.resample(None)]
    return np.concatenate(parts)


def trim(sound):
    """Without the silence around a word: what lies 34 dB under its loudest part."""
    frame = RATE // 100
    level = np.sqrt(np.mean(sound[: len(sound) // frame * frame].reshape(-1, frame) ** 2, axis=1))
    loud = np.flatnonzero(level > 0.02 * level.max())
    return sound[max(0, loud[0] - 3) * frame : (loud[-1] + 4) * frame]


def join(parts):
    pause = lambda low, high: np.zeros(int(RATE * rng.uniform(low, high)), np.float32)
    sound = [pause(0.1, 0.2)]
    for p in parts:
        sound += [trim(p), pause(0.04, 0.12)]
    return np.concatenate(sound + [pause(0.1, 0.2)])


def add(sound, text, voice, want, source):
    name = f"{len(lines):04d}-{voice}.wav"
    with wave.open(str(out / name), "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(RATE)
        file.writeframes((np.clip(sound, -1, 1) * 32767).astype("<i2").tobytes())
    lines.append({"file": name, "text": text, "voice": voice, "speed": 1.0, "want": want, "source": source})


def value(number, bound="=", **more):
    return {"kind": "reading", "bound": bound, "value": number, **more}


def figures():
    """Two or three figures as read off a display; none follows itself, and the first
    is no nought."""
    got = [rng.randint(1, 9)]
    for _ in range(rng.randint(1, 2)):
        got.append(rng.choice([d for d in range(10) if d != got[-1]]))
    return got


def digit_speakers(folder):
    takes = {}
    for f in sorted((folder / "recordings").glob("*.wav")):
        digit, speaker, _ = f.stem.split("_")
        takes.setdefault((speaker, int(digit)), []).append(f)
    for speaker in sorted({s for s, _ in takes}):
        for _ in range(20):
            said = figures()
            sound = join([load(rng.choice(takes[speaker, d])) for d in said])
            add(sound, " ".join(NAMES[d] for d in said), "fsdd-" + speaker, value(int("".join(map(str, said)))), "Free Spoken Digit Dataset")


def prompts(folder):
    """A telephone exchange's announcements: its numbers, and sentences as talk."""
    source = "asterisk-core-sounds-en-g722"
    voice = "exchange"
    word = lambda name: load(folder / f"{name}.g722")

    def below_hundred(n):
        if n < 20:
            return [("digits/%d" % n, NAMES[n])]
        return [("digits/%d" % (n // 10 * 10), TENS[n // 10])] + ([("digits/%d" % (n % 10), NAMES[n % 10])] if n % 10 else [])

    def number():
        """(number, words) in one of the ways in which numbers are said."""
        way = rng.randrange(3)
        if way == 0:
            said = figures()
            return int("".join(map(str, said))), [("digits/%d" % d, NAMES[d]) if d or rng.random() < 0.5 else ("digits/oh", "oh") for d in said]
        if way == 1:
            n = rng.randint(11, 99)
            return n, below_hundred(n)
        hundreds, rest = rng.randint(1, 9), rng.randint(0, 99)
        words = [("digits/%d" % hundreds, NAMES[hundreds]), ("digits/hundred", "hundred")]
        if rest:
            words += [("vm-and", "and")] + below_hundred(rest)
        return 100 * hundreds + rest, words

    bounds = {">": ("letters/ascii62", "greater than"), "<": ("letters/ascii60", "less than")}
    tests = {
        "R1+R2": "r r one 1 plus plus r r two 2",
        "R2": "r r two 2",
        "Zs": "zed zed s s",
        "Ze": "zed zed e e",
    }

    def say(words, want):
        add(join([word(name) for name, _ in words]), " ".join(w for _, w in words), voice, want, source)

    for _ in range(40):
        n, words = number()
        say(words, value(n))
    for bound in [">", "<"] * 10:
        n, words = number()
        say([bounds[bound]] + words, value(n, bound))
    for test in list(tests) * 4:
        n, words = number()
        pairs = tests[test].split()
        named = [("digits/" + name if name.isdigit() else "letters/" + name, w) for w, name in zip(pairs[::2], pairs[1::2])]
        say(named + words, value(n, test=test))

    for f in sorted(folder.glob("*.g722")):
        if any(x in f.stem for x in ("tone", "beep", "monkey", "weasel", "less-than", "silence")):
            continue
        sound = load(f)
        if 1.2 <= len(sound) / RATE <= 12:
            add(sound, f"(announcement {f.stem})", voice, NONE, source)


def sphinx(folder):
    source = "pocketsphinx-testdata"
    for path, text, want in [
        ("goforward.raw", "go forward ten meters", NONE),
        ("something.raw", "go somewhere and do something", NONE),
        ("numbers.raw", "(numbers in a row that are no value)", NONE),
        ("tidigits/dhd.2934z.raw", "two nine three four zero", NONE),
        ("cards/001.wav", "ten of clubs", NONE),
        ("cards/002.wav", "four queen of clubs", NONE),
        ("cards/003.wav", "seven of clubs", NONE),
        ("cards/004.wav", "five five", value(55)),
        ("cards/005.wav", "eight of spades four of clubs seven of hearts", NONE),
    ]:
        add(load(folder / path), text, "sphinx-test", want, source)
    for line in (folder / "librivox/transcription").read_text().splitlines():
        text, name = line.replace("<s>", "").split("</s>")
        add(load(folder / "librivox" / (name.strip(" ()") + ".wav")), text.strip(), "novel", NONE, source)


sphinx(debs / "pocketsphinx-testdata/usr/share/pocketsphinx/test/data")
prompts(debs / "asterisk-core-sounds-en-g722/usr/share/asterisk/sounds/en_US_f_Allison")
if digits:
    digit_speakers(digits)
(out / "manifest.jsonl").write_text("".join(json.dumps(l) + "\n" for l in lines))
kinds = [l["want"]["kind"] for l in lines]
print(f"{len(lines)} phrases: {kinds.count('reading')} values and readings, {kinds.count('none')} to ignore")
