"""Draws a picture of the full screen from one of the golden screens of its tests.

usage: screen.py COLUMNSxROWS <NAME-COLUMNSxROWS.ansi >PICTURE.svg   (called by draw)
"""
import html
import re
import sys

CHAR, LINE, EDGE = 9, 18, 14
GROUND, INK = "#14181d", "#f2f0ea"
COLOURS = {"2": "#8a8f95", "92": "#5fe08a", "93": "#ffd75f", "91": "#ff6b61"}

if len(sys.argv) != 2 or not re.fullmatch(r"\d+x\d+", sys.argv[1]):
    sys.exit("screen.py: no size; give it as 80x24")
columns, rows = map(int, sys.argv[1].split("x"))
lines = sys.stdin.read().removesuffix("\n").split("\n")
if len(lines) > rows or not "".join(lines).strip():
    sys.exit(f"screen.py: {len(lines)} lines are no screen of {rows} rows; give a golden screen on standard input")

width, height = columns * CHAR + 2 * EDGE, rows * LINE + 2 * EDGE
print(f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="{height}" viewBox="0 0 {width} {height}" '
      'font-family="DejaVu Sans Mono, Menlo, Consolas, monospace" font-size="14.5" role="img" '
      'aria-label="The full screen of a session: the way, the test, the last reading and its verdict">')
print(f'<rect width="{width}" height="{height}" rx="8" fill="{GROUND}"/>')
for n, line in enumerate(lines):
    x, top, ink, bold, reverse = 0, EDGE + n * LINE, INK, False, False
    for part in re.split(r"(\x1b\[[0-9;]*m)", line):
        if part.startswith("\x1b"):
            codes = part[2:-1].split(";")
            bold, reverse = "1" in codes, "7" in codes
            ink = next((COLOURS[c] for c in codes if c in COLOURS), INK)
            continue
        if reverse and part:
            print(f'<rect x="{EDGE + x * CHAR}" y="{top}" width="{len(part) * CHAR}" height="{LINE}" fill="{ink}"/>')
        # Blocks are drawn as areas, so that no font leaves gaps between them.
        for run in re.finditer(r"█+|─+|[^█─ ]+(?: [^█─ ]+)*", part):
            at, size = EDGE + (x + run.start()) * CHAR, len(run[0]) * CHAR
            if run[0][0] == "█":
                print(f'<rect x="{at}" y="{top}" width="{size}" height="{LINE}" fill="{ink}" shape-rendering="crispEdges"/>')
            elif run[0][0] == "─":
                print(f'<rect x="{at}" y="{top + LINE // 2}" width="{size}" height="1" fill="{ink}"/>')
            else:
                weight = ' font-weight="bold"' if bold else ""
                print(f'<text x="{at}" y="{top + 14}" fill="{GROUND if reverse else ink}"{weight} textLength="{size}" '
                      f'lengthAdjust="spacingAndGlyphs" xml:space="preserve">{html.escape(run[0])}</text>')
        x += len(part)
print("</svg>")
