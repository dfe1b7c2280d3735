"""Renders words in many voices: confusion_render.py WORDS TALK OUT.

scripts/lab/confusion runs it. WORDS has a word or phrase a line, each rendered in every
voice; of TALK a few sentences are taken, for the babble in the noise. Writes FLAC
files and a manifest.jsonl; a file that is there already stays.
"""

import json
import os
import pathlib
import random
import re
import sys
import types

sys.path.insert(0, str(pathlib.Path(__file__).parent.parent.parent / "models/adapt"))
import speech  # noqa: E402

# Voices that training has not heard, alone and in pairs, which make further voices;
# and a few that it has, to compare. The table tells the latter by their mark.
UNHEARD = [[v] for v in speech.TEST + speech.FIT] + [
    ["bf_alice", "bm_lewis"], ["bf_lily", "bm_fable"], ["bm_fable", "bf_alice"], ["af_bella", "am_michael"]]
TRAINED = [["bf_emma"], ["am_adam"]]
SENTENCES = 30


def wanted(words, talk):
    """Each item to be rendered: what, by whom and how fast."""
    for text in words:
        for voices in UNHEARD + TRAINED:
            yield item(text, voices, {"kind": "command", "phrase": text})
    for i, text in enumerate(talk[:: max(1, len(talk) // SENTENCES)][:SENTENCES]):
        yield item(text, UNHEARD[i % len(UNHEARD)], {"kind": "none"})


def item(text, voices, want):
    voice = "+".join(voices) + (" (in training)" if voices in TRAINED else "")
    name = re.sub(r"[^a-z]+", "-", text.lower().replace("'", "")).strip("-")[:60]
    return {
        "file": f"{name}-{'+'.join(voices)}.flac", "text": text, "voice": voice, "want": want,
        "mix": [[v, 1 / len(voices)] for v in voices],
        "speed": round(random.Random(f"{text} {voice}").uniform(0.85, 1.25), 3),
    }


def add_phonemes(items):
    import kokoro_onnx
    from kokoro_onnx.tokenizer import Tokenizer

    vocab = json.load(open(os.path.join(os.path.dirname(kokoro_onnx.__file__), "config.json")))["vocab"]
    tokenizer, known = Tokenizer(), {}
    for it in items:
        text = it["text"]
        for old, new in speech.VOICED:
            text = re.sub(old, new, text)
        key = text, "en-gb" if it["mix"][0][0][0] == "b" else "en-us"
        if key not in known:
            known[key] = [vocab[c] for c in tokenizer.phonemize(*key) if c in vocab]
        it["ids"] = known[key]


def lines(path):
    return [line.strip() for line in open(path) if line.strip() and line[0] != "#"]


def main():
    words, talk, out = lines(sys.argv[1]), lines(sys.argv[2]), pathlib.Path(sys.argv[3])
    out.mkdir(parents=True, exist_ok=True)
    items = list(wanted(words, talk))
    missing = [it for it in items if not (out / it["file"]).exists()]
    print(f"{len(items)} pieces of sound, {len(missing)} of them new", file=sys.stderr)
    if missing:
        import soundfile

        add_phonemes(missing)
        a = types.SimpleNamespace(gpu=False, jobs=0, model=None, styles=None)
        for it, sound in zip(missing, speech.rendered(missing, a)):
            part = out / (it["file"] + ".part")
            soundfile.write(part, sound, speech.RATE, subtype="PCM_16", format="FLAC")
            part.rename(out / it["file"])
    with open(out / "manifest.part", "w") as manifest:
        for it in items:
            manifest.write(json.dumps({k: it[k] for k in ("file", "text", "voice", "speed", "want")}) + "\n")
    (out / "manifest.part").rename(out / "manifest.jsonl")


if __name__ == "__main__":
    main()
