#!/usr/bin/env python3
"""The weighted mean of two adapters of one base model, as an adapter.

    mean.py FIRST SECOND SHARE OUT              # SHARE of the second, 0 to 1
    mean.py --factors FIRST SECOND SHARE OUT    # where the second began as the first

Between an adapter and what further training made of it the mean can be better
than either: it keeps the habits of the first that the training unlearnt, and has
its new words. The mean of two products B A is not one of the same rank, so the two
are put side by side: ranks add up. Where the second was trained on from the first,
their factors lie near each other, and the mean of these is nearly the mean of the
products, at the same rank.
"""
import json, struct, sys
import numpy as np


def read(path):
    data = open(path, 'rb').read()
    size = struct.unpack('<Q', data[:8])[0]
    head, body = json.loads(data[8:8 + size]), data[8 + size:]
    head.pop('__metadata__', None)
    kinds = {'F16': '<f2', 'F32': '<f4'}
    return {name: np.frombuffer(body[slice(*t['data_offsets'])], kinds[t['dtype']]).reshape(t['shape']) for name, t in head.items()}


def write(path, tensors, about):
    head, body = {'__metadata__': about}, b''
    for name in sorted(tensors):
        part = np.ascontiguousarray(tensors[name].astype('<f2')).tobytes()
        head[name] = {'dtype': 'F16', 'shape': list(tensors[name].shape), 'data_offsets': [len(body), len(body) + len(part)]}
        body += part
    text = json.dumps(head, separators=(',', ':')).encode()
    text += b' ' * (-len(text) % 8)
    open(path, 'wb').write(struct.pack('<Q', len(text)) + text + body)


def main():
    args = [x for x in sys.argv[1:] if x != '--factors']
    factors = len(args) < len(sys.argv) - 1
    if len(args) != 4 or not 0 <= float(args[2]) <= 1:
        sys.exit(__doc__)
    first, second, share = read(args[0]), read(args[1]), float(args[2])
    if first.keys() != second.keys():
        sys.exit('mean.py: these are adapters of different models; give two of one base')
    out = {}
    for name in first:
        if factors:
            out[name] = first[name].astype('f4') + share * (second[name].astype('f4') - first[name].astype('f4'))
        elif name.endswith('.lora_A'):
            out[name] = np.concatenate([first[name], second[name]])
        else:
            out[name] = np.concatenate([first[name].astype('<f4') * (1 - share), second[name].astype('<f4') * share], 1)
    rank = len(next(t for name, t in out.items() if name.endswith('.lora_A')))
    about = {'base': 'tiny.en', 'apply': 'W += lora_B @ lora_A', 'rank': str(rank)}
    write(args[3], out, about | ({'share': str(share)} if factors else {}))


main()
