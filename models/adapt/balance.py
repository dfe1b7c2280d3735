#!/usr/bin/env python3
"""Phrases that balance the training: single words that are nobody's figure, figures
repeated, and teens beside tens, as JSON lines like those of lab phrases.

    balance.py --known WORDS.jsonl --words 1700 --pairs 300 --repeated 1200 --teens 800 TALK.txt... > balance.phr
    balance.py --list TALK.txt... > words.txt       # for lab phrases --label words.txt > WORDS.jsonl

The words come from the talk itself, and those that lie near a word of the grammar
come six times. What sounds just like a figure is left out: it has no answer.
"""
import argparse, json, random, re

ALIKE = set('ate eight for fore four to too two won one tree oh owe'.split())
NEAR = '''nose knows den hen then tin men when pen heaven eleventh fife hive wait weight mate late hate mine wine sign line fine
door war wall ball learn turn burn house mouse happy bird word third off of oven forward tube shoe zoo sue thick sick sink
think pink ink clean green seen fight light night kite free knee turkey rose goes those firm conform yet yell chest guess now note nor
north collect long song strong paws cause cherry fairy start stop step top computer marvin seventh several second hero zebra
follow visual backward hello nineteenth sixpence fifteenth sevenfold undertaker overture cancel'''.split()
DIGITS = 'one two three four five six seven eight nine'.split()
NAMES = ['live to earth', 'line to neutral', 'neutral to earth', 'live to neutral', 'r two', 'zed s']


def words_of(files):
    found = {w for f in files for l in open(f) if l[0] != '#' for w in re.findall(r"[a-z]{3,}", l.lower())}
    return sorted((found | set(NEAR)) - ALIKE)


def repeated(rng):
    """A figure two or three times, after a test or alone."""
    d, how = rng.choice(DIGITS + ['nine'] * 6), rng.random()
    said = [d] * 3 if how < .6 else [rng.choice(DIGITS), d, d] if how < .75 else [d, d, rng.choice(DIGITS)] if how < .9 else [d, d]
    test = rng.choice(['', '', rng.choice(NAMES)])
    way = rng.choice(['', 'way ' + rng.choice(DIGITS + ['fourteen', 'twenty two'])]) if test else ''
    bound = rng.choice(['', '', 'greater than', 'over', 'more than'])
    unit = rng.choice(['', '', 'megohms', 'megs']) if 'to' in test else ''
    return ' '.join(x for x in (way, test, bound, *said, unit) if x)


TESTS = """earthing conductor|bonding conductor|short circuit current|fault current|earth fault current|r c d ramp|r c d|r c d times five
earth electrode|brown to black|brown to grey|black to grey|ring r one|ring r two|ring r n|r one plus r two|r two|zed s|zed e|line to earth
live to earth|neutral to earth|line to neutral""".replace("\n", "|").split("|")
STEMS = 'thir four fif six seven eigh nine'.split()
TIES = {'four': 'for'}


def teens(rng):
    """A figure whose last syllable or last word decides: fifteen or fifty, seven or seven hundred, one nine or two."""
    stem, d = rng.choice(STEMS), lambda: rng.choice(DIGITS)
    pair = rng.choice([stem + 'teen', TIES.get(stem, stem) + 'ty'])
    figure = rng.choice([pair, pair, pair, 'point ' + pair, f'{pair} point {d()}', f'{d()} hundred', f'{d()} hundred and {pair}', f'{d()} thousand',
                         f'{pair} point {d()} {d()}', f'point {d()} oh', f'nought point {d()} {d()}', f'a hundred point {d()} {d()}', f'{d()} {d()}'])
    way = rng.choice(['way ', 'circuit ']) + rng.choice([pair, rng.choice(STEMS) + 'teen', 'seventeen', d(), d(), 'twenty ' + d()])
    where = rng.random()
    bound = rng.choice(['', '', '', 'under', 'over', 'less than', 'more than'])
    parts = [way if where < .3 else '', rng.choice(TESTS), bound, figure, rng.choice(['', '', 'ohms']), way if where > .75 else '']
    return ' '.join(x for x in parts if x)


def main():
    p = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    p.add_argument('talk', nargs='+')
    p.add_argument('--list', action='store_true')
    p.add_argument('--known')
    for name in ('words', 'pairs', 'repeated', 'teens'):
        p.add_argument('--' + name, type=int, default=0)
    p.add_argument('--seed', type=int, default=4)
    a = p.parse_args()
    words = words_of(a.talk)
    if a.list:
        print('\n'.join(words))
        return
    rng = random.Random(a.seed)
    known = {i['text'] for i in map(json.loads, open(a.known)) if i['want']['kind'] != 'none'}
    words = [w for w in words if w not in known]
    rng.shuffle(words)
    near = [w for w in NEAR if w not in known]
    texts = [(w, 'none') for w in words[:a.words] + near * 6] + [(' '.join(rng.sample(words, 2)), 'none') for _ in range(a.pairs)]
    texts += [(repeated(rng), 'reading') for _ in range(a.repeated)]
    texts += [(teens(rng), 'reading') for _ in range(a.teens)]
    for text, kind in texts:
        print(json.dumps({'text': text, 'want': {'kind': kind}}))


main()
