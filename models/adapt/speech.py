#!/usr/bin/env python3
"""Render phrases in natural voices, here or on another machine.

    speech.py plan phrases.jsonl plan.jsonl --set train|fit|test|others [--seed 1]
    speech.py styles styles.npz               # the voices, packed to travel
    speech.py render plan.jsonl... --out DIR [--jobs N] [--gpu] [--model FILE] [--styles FILE] [--opus]
    speech.py unpack DIR                      # Opus shards -> FLAC files with a manifest
    speech.py files plan.jsonl DIR            # render straight to FLAC files with a manifest

Planning picks a voice, an accent and a speed for each phrase and turns its text
into phonemes; it needs the renderer's environment ($SPEECH_HOME). Rendering
needs only numpy, scipy and onnxruntime, or with --gpu torch and onnx in its
place, so it can run on a machine that has a GPU and no network. Both are reproducible: the choice hangs on the seed
and on the place of the phrase alone.

A set says which voices speak. Voices whose name begins with b are British,
with a American; the others speak English with the accent of another language.
"""
import argparse, glob, json, multiprocessing, os, random, re, sys
import numpy as np

HOME = os.environ.get('SPEECH_HOME', os.path.expanduser('~/.cache/speech-render'))
RATE = 16000
LEAD, TAIL = 0.2, 0.3  # silence around each phrase, s

# Kept out of training: those of `test` to measure with, those of `fit` to stop
# the training and to fit thresholds with.
TEST = ['bf_alice', 'bf_lily', 'bm_lewis', 'af_bella', 'hm_omega', 'jf_tebukuro', 'pm_alex']
FIT = ['bm_fable', 'am_michael', 'if_sara']
BRITISH = ['bf_emma', 'bf_isabella', 'bm_daniel', 'bm_george']
# Letters that stand alone, spelled so that the letter's name is said. Voiced is
# the plain way, which touches whole words only; SLURRED also bends a number after
# a final r ("four one" comes out nearly as "foura one"), as some renderings and
# some speakers do. Training hears both.
VOICED = [(r'\bzed s\b', 'zed ess'), (r'\br n\b', 'ar en'), (r'\br one\b', 'ar one'), (r'\br two\b', 'ar two')]
SLURRED = [('zed s', 'zed ess'), (' r n', ' ar en'), ('r one', 'ar one'), ('r two', 'ar two')]

# Where a speaker draws breath: round the name of a test, before a way that comes
# last, and after the word that a command begins with.
NUMBER = r'(?:nought|zero|oh|one|two|three|four|five|six|seven|eight|nine|ten|\w+teen|eleven|twelve|\w+ty|a|hundred|thousand|and|point|double|triple)'
NAMED = (r'(?:(?:live|line|neutral|lives|brown|black|grey)(?: and neutral| together)? to (?:earth|neutral|line|black|grey)'
        r'|(?:ring )?(?:r one plus r two|r one|r two|r n|line to neutral|line to earth)|zed [es]|(?:prospective |earth )?fault current'
        r'|r c d(?: one times| five times| times one| times five| half times| ramp)?)')
BREATH = re.compile(rf'(?<=\w)(?<!\band)(?<!\bring)(?<!\bplus) (?={NAMED}\b)|(?<=\w) (?=(?:way|circuit)\b)'
                    rf'|(?:(?<=\bearth)|(?<=\bneutral)|(?<=\br two)|(?<=\br one)|(?<=\br n)|(?<=\bzed e)|(?<=\bzed s)|(?<=\bcurrent)) (?=greater|more|less|over|under|{NUMBER}\b)'
                    r'|(?:(?<=^no)|(?<=^correction)|(?<=^skip this one)|(?<=^limitation)|(?<=^not applicable)) ')


# Where a figure is read off a display word by word: after a word of a number, before the next.
WORD_OF_NUMBER = r'(?:nought|zero|oh|one|two|three|four|five|six|seven|eight|nine|ten|\w+teen|eleven|twelve|\w+ty|hundred|thousand|point)'
APART = re.compile(rf'\b({WORD_OF_NUMBER}) (?={WORD_OF_NUMBER}\b)')


def one_by_one(text, rng):
    """The text with stops between the words of its numbers."""
    often = rng.choice([.5, 1])
    return APART.sub(lambda m: m.group(1) + (rng.choice(['. ', ', ', '. ', '... ', '; ']) if rng.random() < often else ' '), text)


def with_pauses(text, rng):
    """The text with punctuation where its speaker might draw breath."""
    return BREATH.sub(lambda m: rng.choice([', ', ', ', ', ', '. ', '… ', ' ']), text)


def voices_of(which):
    everyone = sorted(f[:-4] for f in os.listdir(os.path.join(HOME, 'voices')) if f.endswith('.bin'))
    return {'test': TEST, 'fit': FIT}.get(which) or [v for v in everyone if v not in TEST + FIT]


def pick_voice(which, rng):
    """Names, shares and accent: in training one voice or a blend of two."""
    voices = voices_of(which)
    if which in ('train', 'others'):
        kind = rng.random()
        pool = BRITISH if kind < .35 else [v for v in voices if v[0] == 'a'] if kind < .7 else voices
        mix = [[rng.choice(pool), 1.0]]
        if which == 'train' and rng.random() < .45:
            share = round(rng.uniform(.3, .7), 2)
            mix = [[mix[0][0], share], [rng.choice(voices), round(1 - share, 2)]]
        accent = 'en-gb' if mix[0][0][0] == 'b' else 'en-us'
        if which == 'train' and mix[0][0][0] != 'b' and rng.random() < .4:
            accent = 'en-gb'
        return mix, accent
    if which == 'test' and rng.random() < .6:
        voices = [v for v in voices if v[0] == 'b']
    voice = rng.choice(voices)
    return [[voice, 1.0]], 'en-gb' if voice[0] == 'b' else 'en-us'


def plan(a):
    import kokoro_onnx
    from kokoro_onnx.tokenizer import Tokenizer
    vocab = json.load(open(os.path.join(os.path.dirname(kokoro_onnx.__file__), 'config.json')))['vocab']
    tokenizer, known = Tokenizer(), {}
    with open(a.out, 'w') as out:
        for i, line in enumerate(l for l in open(a.phrases) if l.strip()):
            item = json.loads(line)
            rng = random.Random(f'{a.seed} {i}')
            mix, accent = pick_voice(a.set, rng)
            low, high = (.75, 1.4) if a.set == 'train' else (.85, 1.25)
            text = item['text']
            if item['want']['kind'] != 'none' and rng.random() < .5:
                text = with_pauses(text, rng)
            if item['want']['kind'] != 'none' and a.apart and rng.random() < a.apart:
                text = one_by_one(text, rng)
            slurred = rng.random() < (.5 if a.set in ('train', 'fit') else 0)
            for old, new in (SLURRED if slurred else VOICED):
                text = text.replace(old, new) if slurred else re.sub(old, new, text)
            key = text, accent
            if key not in known:
                known[key] = [vocab[c] for c in tokenizer.phonemize(*key) if c in vocab]
            item.update(voice='+'.join(v for v, _ in mix), mix=mix, speed=round(rng.uniform(low, high), 3), ids=known[key])
            out.write(json.dumps(item) + '\n')
            if i % 500 == 0:
                print(f'\r{i} planned', end='', file=sys.stderr, flush=True)
    print(f'\r{i + 1} planned', file=sys.stderr)


def pack_styles(a):
    """The first rows of each voice, in half precision: enough for phrases of up to 160 phonemes."""
    names = sorted(f[:-4] for f in os.listdir(os.path.join(HOME, 'voices')) if f.endswith('.bin'))
    np.savez_compressed(a.out, **{n: style_file(n)[:160].astype(np.float16) for n in names})


def style_file(name):
    return np.fromfile(os.path.join(HOME, 'voices', name + '.bin'), np.float32).reshape(-1, 256)


class Renderer:
    def __init__(self, model=None, styles=None, gpu=None):
        model = model or os.path.join(HOME, 'kokoro.onnx')
        if gpu is None:
            import onnxruntime
            options = onnxruntime.SessionOptions()
            options.intra_op_num_threads = 1
            session = onnxruntime.InferenceSession(model, options, providers=['CPUExecutionProvider'])
            self.run = lambda **feed: session.run(None, feed)[0]
        else:
            import torch
            from onnx_on_torch import Graph
            torch.set_num_threads(1)
            torch.cuda.set_device(gpu)
            graph = Graph(model, f'cuda:{gpu}')
            self.run = lambda **feed: graph.run(**feed)[0].cpu().numpy()
        packed = np.load(styles) if styles else None
        self.style = (lambda n: packed[n].astype(np.float32)) if packed else style_file
        self.loaded = {}

    def say(self, item):
        import scipy.signal
        n = len(item['ids'])
        style = 0
        for name, share in item['mix']:
            if name not in self.loaded:
                self.loaded[name] = self.style(name)
            style = style + share * self.loaded[name][min(n, len(self.loaded[name]) - 1)]
        sound = self.run(tokens=np.array([[0, *item['ids'], 0]], np.int64), style=style.reshape(1, 256).astype(np.float32),
                         speed=np.array([item['speed']], np.float32)).squeeze()
        sound = scipy.signal.resample_poly(sound, 16000, 24000).astype(np.float32)
        sound *= 0.5 / max(1e-3, float(np.abs(sound).max()))
        sound = np.concatenate([np.zeros(int(RATE * LEAD), np.float32), sound, np.zeros(int(RATE * TAIL), np.float32)])
        sound += np.random.default_rng(len(sound)).normal(0, 1e-4, len(sound)).astype(np.float32)
        return (np.clip(sound, -1, 1) * 32767).astype(np.int16)


def start(model, styles, gpus):
    global renderer
    number = multiprocessing.current_process()._identity[0]
    renderer = Renderer(model, styles, number % gpus if gpus else None)


def work(item):
    return renderer.say(item)


def rendered(items, a):
    """Yields the sound of each item in order, on all cores."""
    gpus = 0
    if a.gpu:
        import torch
        gpus = torch.cuda.device_count()
    with multiprocessing.get_context('spawn').Pool(a.jobs or os.cpu_count(), start, (a.model, a.styles, gpus)) as pool:
        for i, sound in enumerate(pool.imap(work, items, chunksize=4)):
            if i % 100 == 0 or i + 1 == len(items):
                print(f'\r{i + 1} of {len(items)} rendered', end='', file=sys.stderr, flush=True)
            yield sound
    print(file=sys.stderr)


def render(a):
    """One pack of sound and index for each plan: NAME.npy, or Opus shards, and NAME.jsonl."""
    os.makedirs(a.out, exist_ok=True)
    for path in a.plans:
        name = os.path.basename(path).split('.')[0]
        items = [json.loads(l) for l in open(path)]
        sounds = list(rendered(items, a))
        with open(os.path.join(a.out, name + '.jsonl'), 'w') as index:
            for item, sound in zip(items, sounds):
                index.write(json.dumps({k: v for k, v in item.items() if k not in ('ids', 'mix')} | {'samples': len(sound)}) + '\n')
        if not a.opus:
            np.save(os.path.join(a.out, name + '.npy'), np.concatenate(sounds))
            continue
        import soundfile
        shards = max(1, round(sum(map(len, sounds)) / RATE / 4200))
        size = -(-len(sounds) // shards)
        for k in range(shards):
            soundfile.write(os.path.join(a.out, f'{name}-{k}.opus'), np.concatenate(sounds[k * size:(k + 1) * size]), RATE,
                            format='OGG', subtype='OPUS', compression_level=0.92)


def unpack(a):
    import soundfile
    for path in glob.glob(os.path.join(a.dir, '*.jsonl')):
        name = os.path.basename(path)[:-6]
        shards = sorted(glob.glob(os.path.join(a.dir, name + '-*.opus')))
        if shards:
            sound = np.concatenate([soundfile.read(s, dtype='int16')[0] for s in shards])
            write_files([json.loads(l) for l in open(path)], sound, os.path.join(a.out, name))


def write_files(items, sound, folder):
    import soundfile
    os.makedirs(folder, exist_ok=True)
    at = 0
    with open(os.path.join(folder, 'manifest.jsonl'), 'w') as manifest:
        for i, item in enumerate(items):
            n = item.pop('samples')
            item['file'] = f'{i:05d}-{item["voice"]}.flac'
            soundfile.write(os.path.join(folder, item['file']), sound[at:at + n], RATE, subtype='PCM_16')
            at += n
            manifest.write(json.dumps(item) + '\n')


def files(a):
    items = [json.loads(l) for l in open(a.plan)]
    sounds = list(rendered(items, a))
    for item, sound in zip(items, sounds):
        item['samples'] = len(sound)
        del item['ids'], item['mix']
    write_files(items, np.concatenate(sounds), a.out)


def main():
    p = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    sub = p.add_subparsers(required=True)

    def command(name, run, *positional):
        c = sub.add_parser(name)
        c.set_defaults(run=run)
        for x in positional:
            c.add_argument(x, nargs='+' if x == 'plans' else None)
        return c
    c = command('plan', plan, 'phrases', 'out')
    c.add_argument('--set', choices=['train', 'fit', 'test', 'others'], required=True)
    c.add_argument('--seed', type=int, default=1)
    c.add_argument('--apart', type=float, default=0, help='share of the phrases whose numbers are said word by word')
    command('styles', pack_styles, 'out')
    command('unpack', unpack, 'dir').add_argument('--out', required=True)
    for c in (command('render', render, 'plans'), command('files', files, 'plan')):
        c.add_argument('--out', required=True)
        c.add_argument('--jobs', type=int, default=0)
        c.add_argument('--model')
        c.add_argument('--styles')
        c.add_argument('--gpu', action='store_true')
        c.add_argument('--opus', action='store_true')
    a = p.parse_args()
    a.run(a)


if __name__ == '__main__':
    main()
