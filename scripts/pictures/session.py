"""Draws the picture of a session in the README from what a session printed.

usage: session.py FIRST LAST <PRINTED >PICTURE.svg   (called by draw)

FIRST is a part of the first line that is shown, LAST one of the last.
"""
import html
import sys
import textwrap

FIRST, LAST = sys.argv[1:]
WIDTH, LINE, CHAR, EDGE = 92, 21, 8.43, 22
COLOURS = {"waycall": "#e8e6df", "you": "#ffc95c", "may say": "#8d99a6", "": "#8d99a6", "stage": "#7fb3d5"}

rows, on = [], False
for line in sys.stdin.read().splitlines():
    on = on or FIRST in line
    if not on:
        continue
    who, text = line[:8].strip(), line[10:]
    style = who if who in COLOURS else "stage"
    label = who if style != "stage" else ""
    for i, part in enumerate(textwrap.wrap(text.removeprefix("-- "), WIDTH)):
        rows.append((label if i == 0 else "", style, part))
    if LAST in line:
        break
if not rows:
    sys.exit("session.py: nothing of such a session on standard input; pipe what it printed into it")

width, height = int((WIDTH + 12) * CHAR + 2 * EDGE), len(rows) * LINE + 2 * EDGE
print(f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="{height}" viewBox="0 0 {width} {height}" '
      'font-family="DejaVu Sans Mono, Menlo, Consolas, monospace" font-size="14" role="img" '
      'aria-label="A session: what waycall says, what the electrician says">')
print(f'<rect width="{width}" height="{height}" rx="10" fill="#20262e"/>')
for n, (label, style, text) in enumerate(rows):
    y = EDGE + n * LINE + 15
    weight = ' font-weight="bold"' if style == "you" else ""
    if label:
        print(f'<text x="{EDGE + 8 * CHAR:.0f}" y="{y}" fill="#8d99a6" text-anchor="end">{label}</text>')
    print(f'<text x="{EDGE + 10 * CHAR:.0f}" y="{y}" fill="{COLOURS[style]}"{weight}>{html.escape(text)}</text>')
print("</svg>")
