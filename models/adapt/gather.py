#!/usr/bin/env python3
"""Puts together what is rendered for the second training on people: phrases of lab
phrases and of balance.py, as JSON lines in a mixed order.

    gather.py SAMPLE.phr BALANCE.phr BALANCE.lab > train.phr

Of the readings of insulation, which are more than half of the sample, two in five
stay, and 1,500 sentences of talk. BALANCE.lab are the labels of lab phrases for the
texts of BALANCE.phr: what is no phrase of the grammar, and was to be one, goes.
"""
import json, random, sys

INSULATION = set('LN-E L-N L-E N-E L-L L1-L2 L1-L3 L2-L3 L1-N L2-N L3-N L1-E L2-E L3-E'.split())


def main():
    if len(sys.argv) != 4:
        sys.exit(__doc__)
    sample, balance, labels = ([json.loads(l) for l in open(p)] for p in sys.argv[1:])
    rng, out, talk = random.Random(19), [], []
    for i in sample:
        if i['want']['kind'] == 'none':
            talk.append(i)
        elif i['want'].get('test') not in INSULATION or rng.random() >= .6:
            out.append(i)
    rng.shuffle(talk)
    out += talk[:1500]
    known = {l['text']: l['want'] for l in labels}
    for i in balance:
        want = known[i['text']]
        if i['want']['kind'] == 'none':
            out.append(i)
        elif want['kind'] != 'none':
            out.append({'text': i['text'], 'want': want})
    rng.shuffle(out)
    sys.stdout.writelines(json.dumps(i) + '\n' for i in out)


main()
