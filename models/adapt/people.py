#!/usr/bin/env python3
"""Recordings of people, to train and fit on and to measure with.

    people.py texts CORPUS --fold test|fit|train              # every text, one a line, for lab phrases --label
    people.py sets CORPUS LABELS OUT --fold test|fit          # labelled sets, each a folder with a manifest.jsonl
    people.py pack CORPUS LABELS OUT --fold train|fit         # OUT.npy and OUT.jsonl, as train.py reads them

CORPUS is a folder with a manifest.jsonl: file, text, speaker, use, source, seconds.
What it says may only be measured with is in no fold but test. The split is by
speaker, by the hash of his name, so that nobody is heard in two folds.

Words are cut out of the longer recordings by the times in people-words.jsonl, which
pocketsphinx 5.0.4 aligned to their texts. What is glued of single words has gaps of 20
to 600 ms between them, filled with noise as quiet as the speaker's own. Needs av and
numpy (the reference environment of scripts/setup --tests). Reproducible: what is drawn
hangs on the fold alone.
"""
import argparse, collections, hashlib, json, os, random, wave
import numpy as np

RATE = 16000
HELD_BACK = ('fsdd-george', 'fsdd-jackson', 'fsdd-nicolas')  # measured by others; never here
DIGITS = 'zero one two three four five six seven eight nine'.split()
FIGURES = set(DIGITS) | {'oh'}
TENS = 'twenty thirty forty fifty sixty seventy eighty ninety'.split()
TEENS = 'ten eleven twelve thirteen fourteen fifteen sixteen seventeen eighteen nineteen'.split()
NUMBERS = FIGURES | set(TENS) | set(TEENS) | {'hundred', 'thousand', 'and'}
ALIKE = set('ate for fore four too to two tree won or o b'.split())  # nobody can tell them from a figure when said alone
GAPS = .02, .6  # s


def fold_of(line):
    if line['use'] != 'train':
        return 'test'
    name = line['speaker'] or line['file']  # of the orders no two are known to be one speaker's
    share = int(hashlib.sha256(name.encode()).hexdigest()[:8], 16) / 2 ** 32
    return 'test' if share < .25 else 'fit' if share < .42 else 'train'


class Clip:
    """A recording, or a stretch of one."""

    def __init__(self, corpus, line, begin=None, end=None):
        self.path, self.line, self.begin, self.end = os.path.join(corpus, line['file']), line, begin, end

    def sound(self):
        x = whole(self.path)
        if self.begin is None:
            return x
        return x[quietest(x, self.begin):quietest(x, self.end)]


loaded = {}


def decoded(path):
    """16 kHz mono sound, by whichever library is there."""
    try:
        import av
    except ImportError:
        import soundfile
        return soundfile.read(path, dtype='float32')[0]
    resampler, parts = av.AudioResampler('flt', 'mono', RATE), []
    with av.open(path) as file:
        for frame in file.decode(audio=0):
            parts += [f.to_ndarray()[0] for f in resampler.resample(frame)]
        parts += [f.to_ndarray()[0] for f in resampler.resample(None)]
    return np.concatenate(parts)


def whole(path):
    """A recording as floats, as loud as a headset makes it."""
    if path not in loaded:
        x = decoded(path)
        loaded[path] = x * min(8, .5 / max(.01, float(np.abs(x).max())))
    return loaded[path]


def quietest(x, at, within=.03):
    """Where it is quietest near a boundary between words, as a sample."""
    low, high = (int(RATE * t) for t in (max(0, at - within), at + within))
    part = np.abs(x[low:high])
    if len(part) < 160:
        return min(len(x), max(0, int(at * RATE)))
    return low + int(np.convolve(part, np.ones(160), 'valid').argmin()) + 80


def level(x):
    step = RATE // 100
    return np.sqrt(np.mean(x[:len(x) // step * step].reshape(-1, step) ** 2, axis=1) + 1e-12)


def trim(x):
    """Without what lies around a word: all that is 30 dB under its loudest part, or no louder than its quiet."""
    l = level(x)
    loud = np.flatnonzero(l > max(.03 * l.max(), 2 * np.quantile(l, .1)))
    if not len(loud):
        return x
    return x[max(0, loud[0] - 4) * 160:(loud[-1] + 6) * 160]


def quiet(x):
    """The level of a recording where nobody speaks."""
    return float(np.clip(np.quantile(level(x), .05), 1e-5, 3e-3))


def glue(parts, gaps, rng, noise):
    """Words with gaps before each, noise throughout the gaps."""
    pause = lambda s: rng.normal(0, noise, int(RATE * s)).astype(np.float32)
    made = []
    for i, p in enumerate(parts):
        made += [pause(gaps[i]), p] if i else [p]
    return np.concatenate(made)


class Corpus:
    def __init__(self, folder, fold):
        self.folder, self.fold = folder, fold
        self.rng = random.Random(f'people {fold}')
        lines = [json.loads(l) for l in open(os.path.join(folder, 'manifest.jsonl'))]
        self.lines = [l for l in lines if fold_of(l) == fold and l['speaker'] not in HELD_BACK]
        here = os.path.dirname(os.path.abspath(__file__))
        times = (json.loads(l) for l in open(os.path.join(here, 'people-words.jsonl')))
        self.words = {f: w for f, *w in times}
        self.bank = collections.defaultdict(lambda: collections.defaultdict(list))
        for l in self.lines:
            text = l['text'] or ''
            if text in FIGURES:
                self.bank[l['speaker']][text].append(Clip(folder, l))
            elif l['file'] in self.words and set(text.split()) & NUMBERS:
                for w, a, b in self.words[l['file']]:
                    if w in NUMBERS:
                        self.bank[l['speaker']][w].append(Clip(folder, l, a, b))

    def of(self, folder):
        return [l for l in self.lines if l['file'].startswith(folder + '/')]

    # Each of these gives (text, speaker, clips, gaps before each, what it must be labelled as).

    def one(self, l):
        return l['text'] or '(words not known)', l['speaker'] or 'unknown', [Clip(self.folder, l)], [0], None

    def runs(self, among):
        """Runs of such words in the long recordings: the line and its words with their times."""
        for l in self.of('an4') + self.of('sphinx_tests'):
            run = []
            for w in self.words.get(l['file'], []) + [('', 0, 0)]:
                if w[0] in among:
                    run.append(w)
                    continue
                if run:
                    yield l, run
                run = []

    def stretch(self, l, words, gaps=None):
        text = ' '.join(w for w, *_ in words)
        if gaps is None:
            return text, l['speaker'], [Clip(self.folder, l, words[0][1], words[-1][2])], [0], 'reading'
        return text, l['speaker'], [Clip(self.folder, l, a, b) for _, a, b in words], gaps, 'reading'

    def gaps(self, n):
        low, high = GAPS
        return [0] + [low * (high / low) ** self.rng.random() for _ in range(n - 1)]

    def natural(self):
        """Two to four figures cut out of longer strings, or a whole short one."""
        for l, run in self.runs(FIGURES):
            at = 0
            while len(run) - at >= 2:
                n = self.rng.choice([2, 3, 3, 3, 4])
                part = run[at:at + n]
                at += n
                if len(part) > 1 and part[0][0] not in ('zero', 'oh'):
                    yield self.stretch(l, part)

    def numbers(self, apart):
        """Teens, tens, hundreds, as they were said, or their words apart."""
        for l, run in self.runs(NUMBERS):
            for at in range(len(run)):
                for n in (1, 2, 3, 4):
                    part = run[at:at + n]
                    if len(part) == n and not all(w[0] in FIGURES for w in part) and (n > 1 or not apart):
                        yield self.stretch(l, part, self.gaps(n) if apart else None)

    def glued(self, count, least=2, most=3):
        """Figures of one speaker, each spoken alone; none follows itself."""
        able = sorted(s for s, b in self.bank.items() if len(set(b) & FIGURES) > 1)
        for _ in range(count if able else 0):
            speaker = self.rng.choice(able)
            mine = sorted(set(self.bank[speaker]) & FIGURES)
            said = [self.rng.choice([w for w in mine if w not in ('zero', 'oh')] or mine)]
            for _ in range(self.rng.randint(least, most) - 1):
                said.append(self.rng.choice([w for w in mine if w != said[-1]]))
            yield self.put(speaker, said)

    def repeated(self, count):
        """One figure three times, or twice with another."""
        for k in range(count):
            figure = self.rng.choice(DIGITS[1:] if k % 2 else ['nine'])
            able = sorted(s for s, b in self.bank.items() if figure in b)
            if not able:
                continue
            most = max(len(self.bank[s][figure]) for s in able)
            able = [s for s in able if len(self.bank[s][figure]) >= min(most, self.rng.choice([1, 2, 3]))]
            yield self.put(self.rng.choice(able), [figure] * 3)

    def put(self, speaker, said):
        takes = {w: self.rng.sample(self.bank[speaker][w], len(self.bank[speaker][w])) for w in dict.fromkeys(said)}
        clips = []
        for w in said:
            clips.append(takes[w][0])
            takes[w].append(takes[w].pop(0))  # another take where there is one
        return ' '.join(said), speaker, clips, self.gaps(len(said)), 'reading'

    def some(self, items, count):
        """So many of them, of as many speakers as there are."""
        by = collections.defaultdict(list)
        for i in items:
            by[i[1]].append(i)
        for v in by.values():
            self.rng.shuffle(v)
        order = sorted((k, self.rng.random(), s) for s, v in by.items() for k in range(len(v)))
        return [by[s][k] for k, _, s in order[:count]]


def drawn(c):
    """The sets of a fold: name to items."""
    commands, fsdd = c.of('speech_commands'), c.of('fsdd')
    single = [l for l in commands if l['text'] in DIGITS]
    answer = [l for l in c.lines if l['text'] in ('yes', 'no')]
    stray = [l for l in c.lines if l['text'] and l not in answer and l['text'] not in FIGURES and len(l['text'].split()) == 1 and not l['file'].startswith('sphinx')]
    talk = c.of('orders') + c.of('grid_s1') + c.of('sphinx_tests') + [l for l in c.of('an4') if len(l['text'].split()) > 1 and not set(l['text'].split()) <= NUMBERS]
    ones = lambda lines, n: c.some([c.one(l) for l in lines], n)
    return {
        'natural': c.some(list(c.natural()), 150),
        'numbers': c.some([i for i in c.numbers(False) if i[0] != 'and'], 80),
        'digits': ones(single, 160) + ones(fsdd, 40),
        'yes-no': ones(answer, 120),
        'glued': c.some([i for i in c.glued(400)], 120),
        'glued-numbers': c.some(list(c.numbers(True)), 60),
        'repeated': c.some(list(c.repeated(120)), 48),
        'words': ones([l for l in stray if l['text'] not in ALIKE], 240),
        'alike': ones([l for l in stray if l['text'] in ALIKE], 40),
        'talk': ones(talk, 140),
    }


FOR_US = {'natural', 'numbers', 'digits', 'yes-no', 'glued', 'glued-numbers', 'repeated'}


def fits(name, want):
    """Whether a text belongs in a set: some numbers are in no phrase of the grammar, and some stray words are one."""
    return (want['kind'] != 'none') == (name in FOR_US)


def spoken(item, seed):
    rng = np.random.default_rng(seed)
    text, _, clips, gaps, _ = item
    if len(clips) == 1:
        sound, noise = clips[0].sound(), quiet(clips[0].sound())
    else:
        noise = max(quiet(c.sound()) for c in clips)
        sound = glue([trim(c.sound()) if c.begin is None else c.sound() for c in clips], gaps, rng, noise)
    edge = lambda: rng.normal(0, noise, int(.3 * RATE)).astype(np.float32)
    return np.concatenate([edge(), sound, edge()])


def labels(path):
    return {i['text']: i['want'] for i in map(json.loads, open(path))}


def write_sets(c, known, out):
    for name, items in drawn(c).items():
        folder, lines = os.path.join(out, 'people-' + name + ('' if c.fold == 'test' else '-' + c.fold)), []
        items = [i for i in items if fits(name, known[i[0]])]
        if not items:
            continue
        os.makedirs(folder, exist_ok=True)
        for k, item in enumerate(items):
            text, speaker, clips, gaps, _ = item
            file = f'{k:04d}-{speaker}.wav'
            with wave.open(os.path.join(folder, file), 'wb') as f:
                f.setnchannels(1), f.setsampwidth(2), f.setframerate(RATE)
                f.writeframes((np.clip(spoken(item, k), -1, 1) * 32767).astype('<i2').tobytes())
            lines.append({'file': file, 'text': text, 'voice': speaker, 'want': known[text], 'accent': clips[0].line['accent'], 'source': clips[0].line['source']}
                         | ({'gaps': [round(g, 3) for g in gaps[1:]]} if len(gaps) > 1 else {}))
        with open(os.path.join(folder, 'manifest.jsonl'), 'w') as f:
            f.writelines(json.dumps(l) + '\n' for l in lines)
        print(f'{folder}: {len(lines)} of {len({l["voice"] for l in lines})} speakers')


def lesson(c):
    """What is learnt of people, each item as often as it stands here: figures said together, one by one and
    repeated, and as much that is no figure."""
    say = [c.one(l) for l in c.lines if l['text']]
    plain = [i for i in say if len(i[0].split()) == 1]
    stray = [i for i in plain if i[0] not in FIGURES | {'yes', 'no'}]
    long = [i for i in say if len(i[0].split()) > 1]
    answers = [i for i in plain if i[0] in ('yes', 'no')]
    natural = list(c.natural()) + list(c.natural())
    numbers = c.some([i for i in c.numbers(False) if i[0] not in ('and', 'hundred', 'thousand')], 700)
    apart = c.some(list(c.numbers(True)), 500)
    broken = [c.stretch(l, part, c.gaps(len(part))) for l, run in c.runs(FIGURES) for at in range(0, len(run) - 1, 2)
              for part in [run[at:at + c.rng.choice([2, 3, 3])]] if len(part) > 1]
    return plain * 2 + long * 2 + answers + stray + natural + numbers + apart + broken + list(c.glued(1300)) + list(c.repeated(700))


def write_pack(c, known, out):
    sounds, lines = [], []
    items = lesson(c) if c.fold == 'train' else [i for name, some in drawn(c).items() for i in some if name not in ('talk', 'alike') and fits(name, known[i[0]])]
    for k, item in enumerate(items):
        x = (np.clip(spoken(item, k), -1, 1) * 32767).astype(np.int16)
        x = x[1600:] if c.fold == 'train' else x  # train.py takes the renderer's 0.2 s before and 0.3 s behind
        sounds.append(x)
        lines.append(json.dumps({'text': item[0], 'want': known.get(item[0], {'kind': 'none'}), 'voice': item[1], 'samples': len(x)}) + '\n')
    np.save(out + '.npy', np.concatenate(sounds))
    open(out + '.jsonl', 'w').writelines(lines)
    print(f'{len(lines)} phrases, {sum(map(len, sounds)) / RATE / 3600:.2f} hours, {len({i[1] for i in items})} speakers')


def main():
    p = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    sub = p.add_subparsers(dest='what', required=True)
    for name, more in (('texts', ()), ('sets', ('labels', 'out')), ('pack', ('labels', 'out'))):
        s = sub.add_parser(name)
        for x in ('corpus',) + more:
            s.add_argument(x)
        s.add_argument('--fold', choices=['test', 'fit', 'train'], required=True)
    a = p.parse_args()
    c = Corpus(a.corpus, a.fold)
    if a.what == 'texts':
        items = lesson(c) if a.fold == 'train' else [i for some in drawn(c).values() for i in some]
        print('\n'.join(sorted({i[0] for i in items})))
    else:
        (write_sets if a.what == 'sets' else write_pack)(c, labels(a.labels), a.out)


if __name__ == '__main__':
    main()
