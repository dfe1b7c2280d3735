#!/usr/bin/env python3
"""Adapt whisper tiny.en to the phrases of an electrician's test: low-rank updates
of every linear layer, trained on one GPU.

    train.py --base model.bin --tokenizer tokenizer.json --data DIR --out adapter.safetensors
             [--rank 48] [--seconds 480] [--seed 1] [--apart] [--begin FILE] [--log log.jsonl]

DIR holds train.npy, train.jsonl (what is learnt) and fit.npy, fit.jsonl (voices
kept out of training, to stop on), as speech.py renders them, and where people are
learnt from too people.* and people-fit.*, as people.py makes them. All augmentation
runs on the GPU, a batch at a time: rate, the speaker's throat, room, site noise, other people talking,
band, level, clipping, pauses within a phrase, broken-off starts, two phrases in
one breath, and audio contexts down to the shortest useful.

What the model learns to write: lower-case words, as the grammar spells them, and
nothing for noise. A start that is broken off is written as a dash (" -"), so
that the hearing can tell it from the phrase itself; never before a phrase that
begins with a figure, since "nine, nine nine" is no broken-off start. Talk is written
out, or, with --apart, marked by a leading asterisk (" *") and written out.

The adapter that did best on the kept-out voices and people, in noise and in quiet, is
written; its weights are running means over the steps. With --begin, what lies between
the beginning and the end is tried as well: that much of the way is written that did best.
"""
import argparse, json, math, os, random, re, struct, time
import numpy as np, torch, torch.nn as nn, torch.nn.functional as F

RATE = 16000
FRAME = 320  # samples per position of the audio context
SOT, PLAIN, EOT = 50257, 50362, 50256  # start, no timestamps, end of text
HEADS, WIDTH, LAYERS = 6, 384, 4


# --- the base model, in CTranslate2's file format (version 6) ---

def read_base(path):
    if path.endswith('.npz'):  # int8 rows with a scale each, for a machine that is reached by a narrow way
        packed = np.load(path)
        return {n: torch.from_numpy(packed[n].astype(np.float32) * (packed['scale of ' + n] if 'scale of ' + n in packed else 1)) for n in packed if not n.startswith('scale of ')}
    data = memoryview(open(path, 'rb').read())
    at = 0

    def take(fmt):
        nonlocal at
        value = struct.unpack_from('<' + fmt, data, at)
        at += struct.calcsize('<' + fmt)
        return value[0] if len(value) == 1 else value

    def text():
        nonlocal at
        n = take('H')
        at += n
        return bytes(data[at - n:at - 1]).decode()

    assert take('I') == 6, 'not a CTranslate2 file of version 6'
    text(), take('I')
    tensors = {}
    for _ in range(take('I')):
        name = text()
        shape = [take('I') for _ in range(take('B'))]
        kind = {0: 'f4', 1: 'i1', 2: 'i2', 3: 'i4', 4: 'f2'}[take('B')]
        size = take('I')
        if kind in ('f2', 'f4'):
            tensors[name] = torch.from_numpy(np.frombuffer(data[at:at + size], '<' + kind).reshape(shape).astype(np.float32))
        at += size
    return tensors


class Adapted(nn.Module):
    """A linear layer that stays as it is, plus a low-rank update that learns."""

    def __init__(self, base, name, rank):
        super().__init__()
        self.name = name
        self.register_buffer('weight', base[name + '/weight'])
        self.register_buffer('bias', base[name + '/bias'])
        out, into = self.weight.shape
        self.down = nn.Parameter(torch.randn(rank, into) / math.sqrt(into))
        self.up = nn.Parameter(torch.zeros(out, rank))

    def forward(self, x):
        return F.linear(x, self.weight, self.bias) + F.linear(F.linear(x, self.down), self.up)


class Norm(nn.Module):
    def __init__(self, base, name):
        super().__init__()
        self.register_buffer('gamma', base[name + '/gamma'])
        self.register_buffer('beta', base[name + '/beta'])

    def forward(self, x):
        return F.layer_norm(x, (WIDTH,), self.gamma, self.beta)


class Attention(nn.Module):
    """Self-attention, or attention to the sound when memory is given."""

    def __init__(self, base, name, rank, crossing=False):
        super().__init__()
        self.norm = Norm(base, name + '/layer_norm')
        self.parts = nn.ModuleList(Adapted(base, f'{name}/linear_{i}', rank) for i in range(3 if crossing else 2))

    def forward(self, x, memory=None, causal=False):
        y = self.norm(x)
        if memory is None:
            q, k, v = self.parts[0](y).chunk(3, -1)
        else:
            q, (k, v) = self.parts[0](y), self.parts[1](memory).chunk(2, -1)
        split = lambda t: t.unflatten(-1, (HEADS, -1)).transpose(1, 2)
        y = F.scaled_dot_product_attention(split(q), split(k), split(v), is_causal=causal)
        return x + self.parts[-1](y.transpose(1, 2).flatten(2))


class Feed(nn.Module):
    def __init__(self, base, name, rank):
        super().__init__()
        self.norm = Norm(base, name + '/layer_norm')
        self.wide, self.back = (Adapted(base, f'{name}/linear_{i}', rank) for i in range(2))

    def forward(self, x):
        return x + self.back(F.gelu(self.wide(self.norm(x))))


class Whisper(nn.Module):
    def __init__(self, base, rank):
        super().__init__()
        for name in ('encoder/conv1/weight', 'encoder/conv1/bias', 'encoder/conv2/weight', 'encoder/conv2/bias',
                     'encoder/position_encodings/encodings', 'decoder/position_encodings/encodings', 'decoder/embeddings/weight'):
            self.register_buffer(name.replace('/', '_'), base[name])
        self.encoder = nn.ModuleList(nn.ModuleList([Attention(base, f'encoder/layer_{i}/self_attention', rank), Feed(base, f'encoder/layer_{i}/ffn', rank)]) for i in range(LAYERS))
        self.encoder_norm = Norm(base, 'encoder/layer_norm')
        self.decoder = nn.ModuleList(nn.ModuleList([Attention(base, f'decoder/layer_{i}/self_attention', rank), Attention(base, f'decoder/layer_{i}/attention', rank, True),
                                                    Feed(base, f'decoder/layer_{i}/ffn', rank)]) for i in range(LAYERS))
        self.decoder_norm = Norm(base, 'decoder/layer_norm')

    def encode(self, mel):
        x = F.gelu(F.conv1d(mel, self.encoder_conv1_weight, self.encoder_conv1_bias, padding=1))
        x = F.gelu(F.conv1d(x, self.encoder_conv2_weight, self.encoder_conv2_bias, stride=2, padding=1)).transpose(1, 2)
        x = x + self.encoder_position_encodings_encodings[:x.shape[1]]
        for attend, feed in self.encoder:
            x = feed(attend(x))
        return self.encoder_norm(x)

    def decode(self, tokens, memory):
        x = self.decoder_embeddings_weight[tokens] + self.decoder_position_encodings_encodings[:tokens.shape[1]]
        for attend, listen, feed in self.decoder:
            x = feed(listen(attend(x, causal=True), memory))
        return self.decoder_norm(x) @ self.decoder_embeddings_weight.T


def mel_filters():
    """80 Slaney filters over 201 bins, 0 to 8 kHz."""
    def hertz(mel):
        return np.where(mel < 15, mel * 200 / 3, 1000 * np.exp((mel - 15) * math.log(6.4) / 27))
    edges = hertz(np.linspace(0, 15 + 27 * math.log(8) / math.log(6.4), 82))
    bins = np.linspace(0, RATE / 2, 201)
    rise = (bins - edges[:-2, None]) / (edges[1:-1] - edges[:-2])[:, None]
    fall = (edges[2:, None] - bins) / (edges[2:] - edges[1:-1])[:, None]
    return torch.tensor(np.maximum(0, np.minimum(rise, fall)) * (2 / (edges[2:] - edges[:-2]))[:, None], dtype=torch.float32)


def features(x, filters, window, stretch=None):
    """Log mel features; stretch moves each phrase's spectrum up or down, as a shorter or a longer throat does."""
    power = torch.stft(x, 400, 160, window=window, center=True, return_complex=True)[..., :-1].abs() ** 2
    if stretch is not None:
        bins = torch.arange(201, device=x.device)[None] / stretch
        low = bins.floor().clamp(max=199)
        part = (bins - low).clamp(0, 1)[:, :, None]
        low = low.long()[:, :, None].expand(-1, -1, power.shape[2])
        power = power.gather(1, low) * (1 - part) + power.gather(1, low + 1) * part
    mel = (filters @ power).clamp(min=1e-10).log10()
    return (torch.maximum(mel, mel.amax((1, 2), keepdim=True) - 8) + 4) / 4


# --- the data ---

class Pack:
    """Phrases and their sound, all of it in the GPU's memory."""

    def __init__(self, folder, names, tokenizer, device, apart):
        self.items = [json.loads(l) for name in names for l in open(f'{folder}/{name}.jsonl')]
        sound = np.concatenate([np.load(f'{folder}/{name}.npy') for name in names])
        self.length = np.array([i['samples'] for i in self.items])
        self.start = np.concatenate([[0], np.cumsum(self.length)[:-1]])
        self.talk = np.array([i['want']['kind'] == 'none' for i in self.items])
        self.tokens = [tokenizer.encode((' *' if apart and t else '') + ' ' + i['text'], add_special_tokens=False).ids for i, t in zip(self.items, self.talk)]
        self.sound = torch.from_numpy(sound).to(device)
        self.quiet = self.quietest()
        self.mark = tokenizer.encode(' -', add_special_tokens=False).ids
        self.figure = np.array([NUMBER.match(i['text']) is not None for i in self.items])

    def quietest(self):
        """Where in each phrase it is quietest, in four stretches of it: there a speaker would pause."""
        step = 80
        level = self.sound[:len(self.sound) // step * step].view(-1, step).float().abs().mean(1)
        level = F.avg_pool1d(level[None, None], 9, 1, 4)[0, 0].cpu().numpy()
        found = []
        for s, n in zip(self.start // step, self.length // step):
            marks = [int(s + n * share) for share in (.2, .35, .5, .65, .85)]
            found.append([(low + int(level[low:max(high, low + 1)].argmin())) * step for low, high in zip(marks, marks[1:])])
        return np.array(found)


# What begins with a number, or is a single word, might be said twice for its own sake.
NUMBER = re.compile(r'(?:nought|zero|oh|one|two|three|four|five|six|seven|eight|nine|ten|\w+teen|eleven|twelve|\w+ty|a|double|triple|point)\b|\w+$')
STRETCHES = 5


def compose(pack, chosen, rng, train):
    """For each phrase the stretches of sound that make it up, and what to write.

    A stretch is (from, length, gap before it) in samples of the pack."""
    stretches, targets = [], []
    for i in chosen:
        s, n = int(pack.start[i]), int(pack.length[i])
        head = int(rng.uniform(0, .19) * RATE) if train else 0  # the renderer leaves 0.2 s before and 0.3 s behind
        foot = int(rng.uniform(0, .25) * RATE) if train else 0
        words, low, high = pack.tokens[i], s + head, s + n - foot
        made = [(low, high - low, 0)]
        if train and n > 1.5 * RATE and rng.random() < .45:  # pauses within the phrase
            made, at, gap = [], low, 0
            for cut in sorted(rng.choice(pack.quiet[i], rng.integers(1, 4), replace=False)):
                if cut - at > .15 * RATE:
                    made.append((at, int(cut) - at, gap))
                    at, gap = int(cut), int(rng.uniform(.05, .35 if rng.random() < .5 else 1) * RATE)
            made.append((at, high - at, gap))
        how = rng.random() if train else 1
        if how < .02:
            made, words = [], []  # nobody speaks
        elif how < .06 and not pack.figure[i]:
            cut = int(rng.uniform(.45, .8) * RATE)  # 0.25 to 0.6 s of speech, then again from the start
            if cut < .6 * n and len(made) < STRETCHES:
                made = [(low, cut - head, 0), (made[0][0], made[0][1], int(rng.uniform(.02, .4) * RATE))] + made[1:]
                words = pack.mark + words
        elif how < .11 and n < 2.2 * RATE and len(made) == 1:
            j = int(rng.integers(len(pack.items)))
            if pack.length[j] < 2.2 * RATE:
                made, words = made + [(int(pack.start[j]), int(pack.length[j]), 0)], words + pack.tokens[j]
        stretches.append(made + [(0, 0, 0)] * (STRETCHES - len(made))), targets.append(words)
    return stretches, targets


class Studio:
    """Makes batches of sound as it might come from a headset on a site."""

    def __init__(self, device, seed):
        self.device = device
        self.filters, self.window = mel_filters().to(device), torch.hann_window(400, device=device)
        self.gpu = torch.Generator(device).manual_seed(seed)

    def uniform(self, low, high, *shape):
        return torch.rand(*shape, generator=self.gpu, device=self.device) * (high - low) + low

    def normal(self, *shape):
        return torch.randn(*shape, generator=self.gpu, device=self.device)

    def maybe(self, p, n):
        return (self.uniform(0, 1, n, 1) < p).float()

    def batch(self, pack, chosen, rng, train, snr=None):
        stretches, targets = compose(pack, chosen, rng, train)
        n, dev = len(chosen), self.device
        plan = torch.tensor(stretches, device=dev)  # [phrase, stretch, (from, length, gap)]
        rate = self.uniform(.88, 1.14, n, 1) if train else torch.ones(n, 1, device=dev)
        lead = self.uniform(0, .45, n, 1) * RATE if train else torch.zeros(n, 1, device=dev)
        tail = self.uniform(.02, .6, n, 1) * RATE if train else torch.zeros(n, 1, device=dev)
        end = lead + plan[:, :, 1:].sum((1, 2))[:, None] / rate + tail
        context = int(end.max().item() / FRAME) + (rng.choice([4, 8, 16, 32, 64, 96, 160]) if train else 32)
        context = min(1500, max(int(rng.choice([112, 128, 160, 256])) if train else 160, -(-context // 16) * 16))
        T = context * FRAME
        at = torch.arange(T, device=dev)[None]
        u = (at - lead) * rate
        x, begin = 0, torch.zeros(n, 1, device=dev)
        for k in range(STRETCHES):
            source, length, gap = (plan[:, k, j][:, None] for j in range(3))
            begin = begin + gap
            within = u - begin
            low = (within.floor().long() + source).clamp(0, len(pack.sound) - 2)
            part = within - within.floor()
            y = pack.sound[low].float() * (1 - part) + pack.sound[low + 1].float() * part
            x = x + torch.where((within >= 0) & (within < length - 1), y / 32768, 0.)
            begin = begin + length
        live = (at < end).float()
        if train:
            x = self.room(x, T)
        loud = (x.abs() > .02 * x.abs().amax(1, keepdim=True)).float()
        level = ((x ** 2 * loud).sum(1, keepdim=True) / loud.sum(1, keepdim=True).clamp(min=1)).sqrt().clamp(min=1e-3)
        if train:
            # Half of the noise lies where a site is: at 0 to 15 dB.
            ratio = torch.where(self.maybe(.5, n) > 0, self.uniform(0, 15, n, 1), self.uniform(-3, 30, n, 1))
            x = x + self.noise(pack, n, T) * level / 10 ** (ratio / 20) * self.maybe(.85, n)
        elif snr is not None:
            x = x + self.noise(pack, n, T) * level / 10 ** (snr / 20)
        if train:
            x = self.microphone(x, T)
        x = (x + self.normal(n, T) * 1e-4 * (10 ** self.uniform(-1, .5, n, 1) if train else 1)) * torch.where(self.maybe(.12, n) > 0, 1., live)
        if train:
            x = x * 10 ** self.uniform(-1.6, 0, n, 1)
            hot = self.maybe(.12, n) * self.uniform(1, 5, n, 1) / x.abs().amax(1, keepdim=True).clamp(min=1e-3)
            x = torch.where(hot > 0, x * hot, x).clamp(-1, 1)
        throat = torch.where(self.maybe(.5, n) > 0, self.uniform(.86, 1.18, n, 1), 1.) if train else None
        mel = features(x, self.filters, self.window, throat)
        if train:  # hide a few mel bands
            band = torch.arange(80, device=dev)[None, :, None]
            lo = self.uniform(0, 80, n, 1, 1)
            hide = (band >= lo) & (band < lo + self.uniform(0, 14, n, 1, 1)) & (self.maybe(.3, n)[:, :, None] > 0)
            mel = torch.where(hide, mel.amin((1, 2), keepdim=True), mel)
        width = max(map(len, targets)) + 3
        tokens, wanted = torch.full((n, width), EOT), torch.full((n, width), -100)
        for j, ids in enumerate(targets):
            tokens[j, :len(ids) + 2] = torch.tensor([SOT, PLAIN] + ids)
            wanted[j, 1:len(ids) + 2] = torch.tensor(ids + [EOT])
        return mel, tokens.to(dev, non_blocking=True), wanted.to(dev, non_blocking=True)

    def room(self, x, T):
        n, L = len(x), int(.4 * RATE)
        s = torch.arange(L, device=self.device)[None] / RATE
        response = self.normal(n, L) * torch.exp(-s * 6.9 / self.uniform(.08, .5, n, 1)) * 10 ** self.uniform(-2, -.6, n, 1) * (s > .002)
        response = response * self.maybe(.4, n)
        response[:, 0] = 1
        size = T + L
        return torch.fft.irfft(torch.fft.rfft(x, n=size) * torch.fft.rfft(response, n=size), n=size)[:, :T]

    def coloured(self, n, T, low=0., high=1.7):
        spectrum = torch.fft.rfft(self.normal(n, T))
        f = torch.linspace(0, 8000, spectrum.shape[1], device=self.device)[None] + 20
        shape = f ** (-self.uniform(low, high, n, 1) / 2)
        middle, broad = 10 ** self.uniform(2.2, 3.7, n, 1), self.uniform(.15, .8, n, 1)
        shape = shape * (1 + self.uniform(0, 12, n, 1) * self.maybe(.5, n) * torch.exp(-(torch.log(f / middle) / broad) ** 2))
        return unit(torch.fft.irfft(spectrum * shape, n=T))

    def slow(self, n, T, rate):
        """Smooth random movement between -1 and 1, about rate times a second."""
        k = max(4, int(T / RATE * rate) + 3)
        return F.interpolate(self.uniform(-1, 1, n, 1, k), size=T, mode='linear', align_corners=True)[:, 0]

    def bursts(self, n, T):
        return torch.sigmoid(self.slow(n, T, 3) * 20 + self.uniform(-5, 12, n, 1))

    def machine(self, n, T):
        """A drill or a saw: harmonics of a speed that the load pulls down, with its roar."""
        speed = self.uniform(50, 420, n, 1) * (1 + .15 * self.slow(n, T, 2) + .01 * self.slow(n, T, 40))
        phase = 2 * math.pi * torch.cumsum(speed, 1) / RATE
        y = 0
        for k in range(1, 15):
            y = y + torch.sin(k * phase + self.uniform(0, 6.28, n, 1)) * self.uniform(0, 1, n, 1) * k ** -self.uniform(0, 1.2, n, 1) * (k * speed < 7800)
        y = unit(y) + self.coloured(n, T, -.5, 1) * self.uniform(.1, 1, n, 1)
        return unit(y * self.bursts(n, T))

    def blows(self, n, T):
        """Hammering: damped resonances at irregular times."""
        hits = (self.uniform(0, 1, n, T) < self.uniform(1.5, 9, n, 1) / RATE).float() * self.uniform(.2, 1, n, T)
        L = int(.3 * RATE)
        s = torch.arange(L, device=self.device)[None] / RATE
        ring = self.normal(n, L) * torch.exp(-s / self.uniform(.003, .03, n, 1))
        for _ in range(4):
            ring = ring + self.uniform(0, 1, n, 1) * torch.sin(2 * math.pi * 10 ** self.uniform(2, 3.7, n, 1) * s) * torch.exp(-s / self.uniform(.005, .09, n, 1))
        return unit(torch.fft.irfft(torch.fft.rfft(hits, n=T + L) * torch.fft.rfft(ring, n=T + L), n=T + L)[:, :T])

    def hum(self, n, T):
        s = torch.arange(T, device=self.device)[None] / RATE
        y = 0
        for k in (1, 2, 3, 4, 5, 6, 8, 10, 12, 14):
            y = y + self.uniform(0, 1, n, 1) / k ** .5 * torch.sin(2 * math.pi * 50 * k * self.uniform(.995, 1.005, n, 1) * s + self.uniform(0, 6.28, n, 1))
        return unit(y)

    def people(self, pack, n, T):
        """One to six other people, from anywhere in the pack."""
        y = 0
        for k in range(6):
            off = (torch.rand(n, 1, generator=self.gpu, device=self.device) * (len(pack.sound) - T - 1)).long()
            y = y + pack.sound[off + torch.arange(T, device=self.device)[None]].float() * self.uniform(.3, 1, n, 1) * (self.maybe(.6, n) if k else 1)
        return unit(y)

    def noise(self, pack, n, T):
        y, m = 0, -(-n // 4)  # each sound serves a few phrases of the batch, in other mixtures
        # Other people stay behind the speaker: two who speak at once as loudly have no answer.
        kinds = [(self.coloured(m, T), .55, 0), (self.machine(m, T), .3, 0), (self.blows(m, T), .3, 0), (self.hum(m, T), .25, 0), (self.people(pack, m, T), .35, -.25)]
        for sound, share, most in kinds:
            sound = sound[torch.randint(m, (n,), generator=self.gpu, device=self.device)]
            y = y + sound * self.maybe(share, n) * 10 ** self.uniform(-.8, most, n, 1)
        return unit(y + 1e-3 * self.normal(n, T))

    def microphone(self, x, T):
        n = len(x)
        spectrum = torch.fft.rfft(x)
        f = torch.linspace(0, 8000, spectrum.shape[1], device=self.device)[None]
        narrow, phone = self.maybe(.3, n), self.maybe(.14, n)
        top = torch.where(phone > 0, self.uniform(3000, 3900, n, 1), torch.where(narrow > 0, self.uniform(2800, 7500, n, 1), torch.full((n, 1), 20000., device=self.device)))
        foot = torch.where(phone > 0, self.uniform(150, 320, n, 1), torch.where(narrow > 0, self.uniform(0, 250, n, 1), torch.full((n, 1), -2000., device=self.device)))
        shape = torch.sigmoid((top - f) / 60) * torch.sigmoid((f - foot) / 25)
        tilt = ((f + 100) / 1000) ** (self.uniform(-.6, .6, n, 1) * self.maybe(.5, n))
        return torch.fft.irfft(spectrum * shape * tilt, n=T)


def unit(y):
    return y / (y ** 2).mean(1, keepdim=True).sqrt().clamp(min=1e-4)


# --- training ---

def batches(pack, size, rng):
    """Endless batches of phrases of like length, in a new order each time."""
    while True:
        order = rng.permutation(len(pack.items))
        for k in range(0, len(order) - size * 8 + 1, size * 8):
            block = sorted(order[k:k + size * 8], key=lambda i: pack.length[i])
            slices = [block[j:j + size] for j in range(0, len(block), size)]
            rng.shuffle(slices)
            yield from slices


def check(net, pack, studio, snr, talk=False):
    """Share of the phrases (talk aside, or talk alone) of which every token is the likeliest, given those before it."""
    net.eval()
    chosen = [i for i in range(len(pack.items)) if pack.talk[i] == talk]
    chosen.sort(key=lambda i: pack.length[i])
    rng, right = np.random.default_rng(0), 0
    studio.gpu.manual_seed(0)
    with torch.no_grad(), torch.autocast('cuda', torch.bfloat16):
        for k in range(0, len(chosen), 128):
            mel, tokens, wanted = studio.batch(pack, chosen[k:k + 128], rng, False, snr)
            best = net.decode(tokens, net.encode(mel)).argmax(-1)
            right += ((best == wanted) | (wanted == -100)).all(1).sum().item()
    net.train()
    return right / len(chosen)


def main():
    p = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    p.add_argument('--base', required=True), p.add_argument('--tokenizer', required=True), p.add_argument('--data', required=True)
    p.add_argument('--out', required=True), p.add_argument('--log')
    p.add_argument('--rank', type=int, default=48), p.add_argument('--seconds', type=float, default=480)
    p.add_argument('--rate', type=float, default=1e-3), p.add_argument('--size', type=int, default=160), p.add_argument('--seed', type=int, default=1)
    p.add_argument('--begin', help='an adapter to go on from')
    p.add_argument('--apart', action='store_true', help='mark talk with a token of its own')
    a = p.parse_args()
    from safetensors.torch import load_file, save_file
    from tokenizers import Tokenizer
    torch.manual_seed(a.seed), random.seed(a.seed)
    torch.backends.cuda.matmul.allow_tf32 = torch.backends.cudnn.allow_tf32 = True
    rng, tokenizer = np.random.default_rng(a.seed), Tokenizer.from_file(a.tokenizer)
    people = os.path.exists(f'{a.data}/people.jsonl')
    load = lambda *names: Pack(a.data, names, tokenizer, 'cuda', a.apart)
    pack, kept, persons = load('train', *['people'] * people), load('fit'), load('people-fit') if people else None
    net = Whisper(read_base(a.base), a.rank).cuda()
    if a.begin:
        begun = load_file(a.begin)
        for m in net.modules():
            if isinstance(m, Adapted):
                m.down.data.copy_(begun[m.name + '.lora_A']), m.up.data.copy_(begun[m.name + '.lora_B'])
    weights = [w for w in net.parameters() if w.requires_grad]
    first = [w.detach().clone() for w in weights]
    log = open(a.log, 'w') if a.log else None

    def say(**what):
        line = json.dumps(what)
        print(line, flush=True)
        if log:
            print(line, file=log, flush=True)

    say(phrases=len(pack.items), kept=len(kept.items), hours=round(len(pack.sound) / RATE / 3600, 2), parameters=sum(w.numel() for w in weights), **vars(a))
    studio, judge = Studio('cuda', a.seed), Studio('cuda', 0)
    optimiser = torch.optim.AdamW(weights, a.rate, weight_decay=.01, fused=True)
    mean, best, began, step = [w.detach().clone() for w in weights], None, time.time(), 0

    def swapped(run):
        now = [w.detach().clone() for w in weights]
        for w, m in zip(weights, mean):
            w.data.copy_(m)
        result = run()
        for w, m in zip(weights, now):
            w.data.copy_(m)
        return result

    def adapter():
        return {f'{m.name}.lora_{k}': v.detach().half().cpu().contiguous().clone() for m in net.modules() if isinstance(m, Adapted) for k, v in (('A', m.down), ('B', m.up))}

    def judged(share=1.):
        nonlocal best
        found = {name: check(net, kept, judge, snr) for name, snr in (('quiet', None), ('at_10_dB', 10), ('at_3_dB', 3))}
        if persons:
            found |= {'people': check(net, persons, judge, None), 'people_at_10_dB': check(net, persons, judge, 10), 'stray': check(net, persons, judge, None, True)}
        say(step=step, share=share, seconds=round(time.time() - began), loss=round(loss.item(), 4), **{k: round(v, 4) for k, v in found.items()})
        # A phrase of a rendered voice that is lost weighs as one of a person; quiet weighs most.
        score = sum(found.values()) + found['quiet']
        if best is None or score > best[0]:
            best = score, step, share, adapter()

    for chosen in batches(pack, a.size, rng):
        gone = (time.time() - began) / a.seconds
        if gone >= 1:
            break
        for group in optimiser.param_groups:
            group['lr'] = a.rate * min(1, (step + 1) / 200) * (.01 + .99 * .5 * (1 + math.cos(math.pi * gone)))
        with torch.no_grad():
            mel, tokens, wanted = studio.batch(pack, chosen, rng, True)
        with torch.autocast('cuda', torch.bfloat16):
            scores = net.decode(tokens, net.encode(mel))
        loss = F.cross_entropy(scores.float().flatten(0, 1), wanted.flatten(), ignore_index=-100, label_smoothing=.03)
        optimiser.zero_grad(), loss.backward()
        nn.utils.clip_grad_norm_(weights, 1.)
        optimiser.step()
        step += 1
        keep = min(.999, step / (step + 50))
        torch._foreach_lerp_(mean, [w.detach() for w in weights], 1 - keep)
        if step % 1500 == 0:
            swapped(judged)
    swapped(judged)
    about = {'base': 'tiny.en', 'apply': 'W += lora_B @ lora_A', 'rank': str(a.rank), 'seed': str(a.seed)}
    for share in (.8, .6, .4, .2, 0.) if a.begin else ():
        # Both factors lie near those they began as, so that their means are nearly the mean of the products.
        for w, m, b in zip(weights, mean, first):
            w.data.copy_(b + share * (m - b))
        judged(share)
    save_file(best[3], a.out, about | {'step': str(best[1]), 'share': str(best[2])})
    for w, m in zip(weights, mean):
        w.data.copy_(m)
    save_file(adapter(), a.out + '.last', about | {'step': str(step)})
    say(kept_step=best[1], kept_share=best[2], steps=step, seconds=round(time.time() - began))


if __name__ == '__main__':
    main()
