"""Text parts leave no bar out and fit the page.

Source: the project's own promise (a part is 80 columns wide, a score 120); the bars that must be
there are those of the MusicXML file.
"""

import re

import written
from outputs import Finding

WIDTH_OF_PART, WIDTH_OF_SCORE = 80, 120
# The number of the first bar of a line, then the beats if there is more than rest.
HEADING = re.compile(r"^ *(\d+)(?: +[ \d+·]+)?$")
ANY_LINE = "│║┃┆"
BAR_LINE = re.compile(r":?[│║┃┆]:?")
LONG_REST = re.compile(r"Rest \d+ bars \((\d+)–(\d+)\)")


def check(scorings):
    for scoring in scorings:
        finding = Finding(f"bars and width of the text: {scoring.name}")
        for path in scoring.files("txt"):
            text = path.read_text(encoding="utf-8")
            widest = WIDTH_OF_SCORE if path.stem == "score" else WIDTH_OF_PART
            wide = [n for n, line in enumerate(text.splitlines(), 1) if len(line) > widest]
            finding.expect(not wide, f"{path.name}: wider than {widest} columns in lines {wide}")
            own = written.read(path.with_suffix(".musicxml"))[0].bars
            silent = not any(event.heads for bar in own for event in bar.events)
            if "\nTacet\n" in text:
                finding.expect(silent, f"{path.name}: says Tacet, and has notes")
                continue
            wanted = numbers(own)
            shown = bars(text)
            finding.expect(
                shown == wanted,
                f"{path.name}: bars lacking {sorted(set(wanted) - set(shown))}, "
                f"beyond {sorted(set(shown) - set(wanted))}, in all {shown}",
            )
        yield finding


def numbers(bars):
    """The numbers of the bars that are shown: a movement that is tacet has none."""
    shown, tacet = [], False
    for index, bar in enumerate(bars):
        if bar.titles or bar.begins or index == 0:
            tacet = any(title.endswith(": tacet") for title in bar.titles)
        if not tacet:
            shown.append(bar.number)
    return shown


def bars(text):
    """The numbers of the bars that a text shows, in order, by counting between bar lines."""
    lines, shown = text.splitlines(), []
    for index, line in enumerate(lines):
        heading = HEADING.match(line)
        if not heading:
            continue
        music = next((l for l in lines[index + 1 :] if any(c in l for c in ANY_LINE)), "")
        first_line = BAR_LINE.search(music)
        if not first_line or heading.end(1) > first_line.start():
            continue
        number = int(heading[1])
        for cell in BAR_LINE.split(music)[1:-1]:
            if rest := LONG_REST.search(cell):
                shown.extend(range(int(rest[1]), int(rest[2]) + 1))
                number = int(rest[2]) + 1
                continue
            # A bar wider than the page goes on in the next line under the same number.
            if not shown or shown[-1] != number:
                shown.append(number)
            number += 1
    return shown
