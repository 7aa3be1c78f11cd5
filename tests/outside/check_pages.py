"""Reads printed pages back from their drawings, without knowing how they were made.

    python check_pages.py RIPIENO SOURCE…

Every page is drawn as SVG. From the shapes alone this finds staves (five long level lines a space
apart), clefs, heads and words, and holds against one another and against the MusicXML files of the
same build: each note once at the place of its written pitch, in order; nothing outside the margins;
no two heads on one another, but for those of one onset side by side; no words over heads, stems,
beams, ties, slurs and other signs or over other words; all lines of a part equally long. The documents
are opened by pdfinfo, pdffonts, pdftotext and qpdf. Pages are then made pictures by poppler, at 300
dots to the inch, and staff lines and heads are looked for in the dots alone: their number and places
agree with the drawing.

The test command looks at the picture of one page of every fourth document, others each day; by hand
all pages are looked at.
"""

import copy
import functools
import math
import multiprocessing
import os
import re
import shutil
import subprocess
import sys
import tempfile
import xml.etree.ElementTree as ET
from collections import Counter
from pathlib import Path

import outputs
from pictures import FOUND, area, check_picture, moved, planted

SVG = "{http://www.w3.org/2000/svg}"
# Steps of the middle line above C0, by clef: B4, D3, and an octave from them. A C clef stands on its line.
MIDDLE = {"gClef": 34, "gClef8va": 41, "gClef8vb": 27, "fClef": 22, "fClef8vb": 15}
STEP = {letter: n for n, letter in enumerate("CDEFGAB")}
# Millimetres that printers need around a page at least (half an inch, Major Orchestra Librarians'
# Association, from memory).
MARGIN = 12.0
# What opens the documents: Debian's packages poppler-utils and qpdf.
TOOLS = ("pdfinfo", "pdffonts", "pdftotext", "pdftoppm", "qpdf")
# Into how many pieces a curve is parted.
STEPS = 24
# Into how many columns signs are parted to the space, where their outlines are held against one another.
COLUMNS = 40
# The kinds of shapes that are words.
WORDS = ("text", "tuplet")
# Of other shapes those that words keep off by their outlines, as they do off beams, ties and slurs.
THIN = ("stem", "flag", "articulation", "dot")
# So much of their area, in square spaces, may be common to words and such a sign: a stem's end of a sixth of a space.
HAIR = 0.02
# The share of a smaller head's box that may be common to two heads which touch.
OVAL = 0.05
# Heads of one onset beside one another stand about so much of the breadth of their boxes apart, and at least so much.
SECOND = 0.82
BESIDE = 0.75
# The test command looks at a picture of every so many documents.
SHARE = 4


def numbers(data):
    return [float(number) for number in re.findall(r"-?\d*\.?\d+(?:e-?\d+)?", data)]


def outline(data):
    """The outline of a path of lines and curves as points that follow one another closely."""
    points = []
    for command, values in re.findall(r"([A-Za-z])([^A-Za-z]*)", data):
        values = numbers(values)
        ends = list(zip(values[0::2], values[1::2]))
        if command == "C":
            for n in range(0, len(ends), 3):
                a, (b, c, d) = points[-1], ends[n:n + 3]
                for step in range(1, STEPS + 1):
                    t, u = step / STEPS, 1 - step / STEPS
                    weights = (u ** 3, 3 * u * u * t, 3 * u * t * t, t ** 3)
                    points.append(tuple(sum(w * p[n] for w, p in zip(weights, (a, b, c, d))) for n in (0, 1)))
        else:
            points += ends
    return points


def box_of(data):
    """The box around the points of a path; for these shapes the handles are near enough."""
    values = numbers(data)
    xs, ys = values[0::2], values[1::2]
    return min(xs), min(ys), max(xs), max(ys)


def filled(loops):
    """From the top to the bottom of closed outlines, by column."""
    columns = {}
    for points in loops:
        for (x0, y0), (x1, y1) in zip(points, [*points[1:], points[0]]):
            if x0 > x1:
                x0, y0, x1, y1 = x1, y1, x0, y0
            for column in range(math.ceil(x0 * COLUMNS), math.floor(x1 * COLUMNS) + 1):
                y = y0 + (y1 - y0) * (column / COLUMNS - x0) / (x1 - x0) if x1 > x0 else y0
                for end in (y, y1) if x1 == x0 else (y,):
                    top, bottom = columns.get(column, (end, end))
                    columns[column] = min(top, end), max(bottom, end)
    return columns


def joined(columns):
    """Fills columns between letters."""
    if not columns:
        return columns
    known = sorted(columns)
    whole = dict(columns)
    for a, b in zip(known, known[1:]):
        top, bottom = max(columns[a][0], columns[b][0]), min(columns[a][1], columns[b][1])
        if top < bottom:
            whole |= {column: (top, bottom) for column in range(a + 1, b)}
    return whole


def common(a, b):
    """The area that two signs cover both, by their columns."""
    both = (min(a[n][1], b[n][1]) - max(a[n][0], b[n][0]) for n in a.keys() & b.keys())
    return sum(max(0.0, part) for part in both) / COLUMNS


class Page:
    """Shapes of a page by their class, in staff spaces."""

    def __init__(self, path):
        root = ET.parse(path).getroot()
        self.path = path
        self.width, self.height = numbers(root.get("viewBox"))[2:]
        self.space = numbers(root.get("width"))[0] / self.width
        self.glyphs = {}
        # What they look like, for those of which a box says too little.
        self.outlines = {}
        self.rings = {}
        # What is drawn of glyphs, and of words by their shape.
        self.contours = {}
        for path in root.iter(f"{SVG}path"):
            if path.get("id"):
                self.glyphs[path.get("id")] = box_of(path.get("d"))
                if path.get("id").startswith("rest"):
                    self.outlines[path.get("id")] = outline(path.get("d"))
                if path.get("id").startswith("notehead"):
                    self.rings[path.get("id")] = [outline("M" + ring) for ring in path.get("d").split("M")[1:]]
                self.contours[path.get("id")] = path.get("d")
        self.shapes = []
        # Outlines of ties and slurs, and of beams.
        self.curves = []
        self.beams = []
        for element in root:
            if element.tag == f"{SVG}use":
                name = element.get("href")[1:]
                values = numbers(element.get("transform"))
                scale = values[2] if len(values) > 2 else 1.0
                x, y = values[:2]
                x0, y0, x1, y1 = (edge * scale for edge in self.glyphs[name])
                self.shapes.append((element.get("class"), name, (x, y), (x + x0, y + y0, x + x1, y + y1), scale))
            elif element.tag == f"{SVG}path" and element.get("class"):
                box = box_of(element.get("d"))
                label = element.get("aria-label") or ""
                if element.get("class") in ("slur", "tie"):
                    self.curves.append(outline(element.get("d")))
                if element.get("class") == "beam":
                    self.beams.append(outline(element.get("d")))
                if element.get("stroke-width"):
                    half = float(element.get("stroke-width")) / 2
                    level = abs(box[1] - box[3]) < 1e-6
                    grow = (0, half) if level else (half, 0)
                    box = (box[0] - grow[0], box[1] - grow[1], box[2] + grow[0], box[3] + grow[1])
                self.shapes.append((element.get("class"), label, (box[0], box[1]), box, 1.0))
                if label:
                    self.contours[self.shapes[-1]] = element.get("d")
        self.staves = self.find_staves()

    def silhouette(self, shape):
        """Of the columns of a sign or of words, where they begin and end. Between letters words are as high as
        the lower ones of their neighbours."""
        kind, name, (x, y), box, scale = shape
        if shape in self.contours:
            loops = [outline(loop) for loop in re.findall("M[^M]*", self.contours[shape])]
        elif name in self.contours:
            loops = [
                [(x + px * scale, y + py * scale) for px, py in outline(loop)]
                for loop in re.findall("M[^M]*", self.contours[name])
            ]
        else:
            loops = [[(box[0], box[1]), (box[2], box[1]), (box[2], box[3]), (box[0], box[3])]]
        columns = filled(loops)
        return joined(columns) if kind in WORDS else columns

    def strokes(self):
        """What words must keep off by its outline, since a box says too little of it: the kind, the box, and what
        gives the columns."""
        signs = [
            (kind, shape[3], functools.partial(self.silhouette, shape)) for kind in THIN for shape in self.of(kind)
        ]
        for kind, outlines in (("tie or slur", self.curves), ("beam", self.beams)):
            for points in outlines:
                xs, ys = zip(*points)
                signs.append((kind, (min(xs), min(ys), max(xs), max(ys)), functools.partial(filled, [points])))
        return signs

    def of(self, kind):
        return [shape for shape in self.shapes if shape[0] == kind]

    def find_staves(self):
        """Places of the middle lines, with the left and right end of each staff. The lines of one in percussion
        may change at a bar line from five to one: its stretches join at one height."""
        columns = {}
        for shape in self.of("staff-line"):
            x0, y0, x1, y1 = shape[3]
            columns.setdefault((round(x0, 3), round(x1, 3)), []).append((y0 + y1) / 2)
        stretches = {}
        for ends, lines in columns.items():
            lines, n = sorted(lines), 0
            while n < len(lines):
                five = lines[n:n + 5]
                is_five = len(five) == 5 and all(abs(b - a - 1.0) < 0.01 for a, b in zip(five, five[1:]))
                middle, count = (five[2], 5) if is_five else (lines[n], 1)
                stretches.setdefault(round(middle, 3), []).append((*ends, count))
                n += count
        self.stretches = [sorted(stretches[middle]) for middle in sorted(stretches)]
        return [
            (middle, max(count for _, _, count in own), own[0][0], own[-1][1])
            for middle, own in zip(sorted(stretches), self.stretches)
        ]

    def lines_at(self, n, x):
        """How many lines a staff has at a place from the left."""
        return next((count for _, right, count in self.stretches[n] if x < right), self.stretches[n][-1][2])

    def staff_of(self, y):
        return min(range(len(self.staves)), key=lambda n: abs(self.staves[n][0] - y))

    def staff_of_head(self, shape):
        """The staff to which ledger lines lead from a head, or the nearest one."""
        x, y = (shape[3][0] + shape[3][2]) / 2, shape[2][1]
        ledgers = [
            (s[3][1] + s[3][3]) / 2 for s in self.of("ledger") if s[3][0] < x < s[3][2]
        ]
        for n in sorted(range(len(self.staves)), key=lambda n: abs(self.staves[n][0] - y))[:3]:
            middle, lines = self.staves[n][0], self.lines_at(n, x)
            beyond = abs(y - middle)
            # Strokes without pitch stand on their line, whatever stands near it.
            if lines != 5 and beyond > 0.1:
                continue
            side = 1 if y > middle else -1
            wanted = [middle + side * k for k in range(3, int(beyond + 0.1) + 1)] if lines == 5 else []
            if all(any(abs(ledger - line) < 0.05 for ledger in ledgers) for line in wanted):
                return n
        return self.staff_of(y)

    def groups(self):
        """The staves of each system, by their numbers: those that stand below one another and have a
        stroke through them at their beginning."""
        strokes = [s[3] for s in self.of("bar-line") if s[3][3] - s[3][1] > 4.5]
        groups = []
        for n, (middle, _, left, _) in enumerate(self.staves):
            if groups:
                above = self.staves[groups[-1][-1]][0]
                joined = any(
                    b[1] < above + 0.5 and b[3] > middle - 0.5 and abs(b[2] - left) < 0.5 for b in strokes
                )
                if joined:
                    groups[-1].append(n)
                    continue
            groups.append([n])
        return groups

    def systems(self):
        """The middle of the first staff of each system, and where its staves end."""
        return [(self.staves[group[0]][0], [self.staves[n][3] for n in group]) for group in self.groups()]

    @functools.cached_property
    def heads(self):
        """All heads: the staff, the place from the left, the steps above C0 as the clef before it has
        them (nothing for strokes without pitch), and the shape."""
        clefs = sorted((s[2][0], s[1], s[2][1]) for s in self.of("clef"))
        heads = []
        for shape in self.of("head"):
            x, y = shape[2]
            n = self.staff_of_head(shape)
            middle = self.staves[n][0]
            step = None
            if self.lines_at(n, x) == 5:
                _, clef, place = [c for c in clefs if c[0] < x and self.staff_of(c[2]) == n][-1]
                # A C clef names the line on which it stands.
                base = 28 + round(2 * (place - middle)) if clef == "cClef" else MIDDLE[clef]
                step = base - round(2 * (y - middle))
            heads.append((n, x, step, shape))
        return heads


def drawn_notes(pages):
    """The steps above C0 of all heads of a part in the order in which one reads: staff by staff, from
    left to right, those of a chord from the lowest up. Nothing for strokes without pitch."""
    rows = {}
    for p, page in enumerate(pages):
        for n, x, step, _ in page.heads:
            rows.setdefault((p, n), []).append((x, step))
    notes = []
    for place in sorted(rows):
        for _, step in sorted(rows[place], key=lambda head: (round(head[0], 1), head[1] or 0)):
            notes.append(step)
    return notes


# How far heads stand from their pitch under a line of octaves, by the word of the format.
OCTAVE_LINES = {"down": -7, "up": 7, "stop": 0}


def moved_notes(root):
    """All elements of a part, each with the steps by which a line of octaves moves its heads."""
    lines = {}
    for element in root.iter():
        if element.tag == "direction" and (line := element.find(".//octave-shift")) is not None:
            lines[element.findtext("staff") or "1"] = OCTAVE_LINES[line.get("type")]
        moved = lines.get(element.findtext("staff") or "1", 0) if element.tag == "note" else 0
        yield element, moved


def of_divided(root):
    """The file without the parts of those who are one player or play as one: sections that divide are left."""
    divided = {
        part.get("id") for part in root.iter("score-part")
        if len({one.get("id").split("-")[0] for one in part.iter("score-instrument")}) > 1
    }
    for part in root.findall("part"):
        if part.get("id") not in divided:
            root.remove(part)
    return root


def written_notes(path, choose=lambda root: root):
    """Steps of all written notes of a part as they are read, in the order of the file."""
    steps = []
    for note, moved in moved_notes(choose(ET.parse(path).getroot())):
        pitch = note.find("pitch")
        if pitch is not None:
            steps.append(7 * int(pitch.findtext("octave")) + STEP[pitch.findtext("step")] + moved)
        elif note.find("unpitched") is not None:
            steps.append(None)
    return steps


# The lowest line of the usual clefs, by sign and line: its letter and octave counted in steps.
LOWEST = {("G", 2): 30, ("F", 4): 18, ("C", 3): 24, ("C", 4): 22}
# Beyond so many ledger lines a head may lie nearer to the next staff than to its own.
LEDGERS = 7


def is_far_off(path):
    """Is some note of a part farther from its staff than any player would read it?"""
    lowest = {}
    for element, moved in moved_notes(ET.parse(path).getroot()):
        if element.tag == "clef":
            sign, line = element.findtext("sign"), int(element.findtext("line") or 0)
            octaves = int(element.findtext("clef-octave-change") or 0)
            lowest[element.get("number", "1")] = LOWEST.get((sign, line), 30) + 7 * octaves
        elif element.tag == "note" and element.find("pitch") is not None:
            pitch = element.find("pitch")
            step = 7 * int(pitch.findtext("octave")) + STEP[pitch.findtext("step")] + moved
            bottom = lowest.get(element.findtext("staff") or "1", 30)
            if not -2 * LEDGERS <= step - bottom <= 8 + 2 * LEDGERS:
                return True
    return False


def check_notes(name, pages, musicxml, finding):
    """Every written note is drawn once, at the place of its pitch, and in a part in its turn."""
    if is_far_off(musicxml):
        return
    drawn, written = drawn_notes(pages), written_notes(musicxml)

    def ordered(steps):
        return sorted(step or 0 for step in steps)

    text = Path(musicxml).read_text(encoding="utf-8")
    right = ordered(drawn) == ordered(written)
    if not right and "<staves>" not in text:
        # In lines in which the halves of a section have a staff each, what both play stands on both.
        twice, missing = Counter(drawn) - Counter(written), Counter(written) - Counter(drawn)
        shared = Counter(written if text.count("<part id=") == 1 else written_notes(musicxml, of_divided))
        right = not missing and twice <= shared and any(page.of("bracket") for page in pages)
    same = finding.expect(
        right, f"{name}: {len(drawn)} heads are drawn for {len(written)} notes, or at other places"
    )
    same = same and len(drawn) == len(written)
    # With seconds in chords, two staves or two voices the file has another order than the eye; that of a score
    # goes player by player.
    alone = text.count("<part id=") == 1
    if same and alone and "<chord/>" not in text and "<staves>" not in text and "<voice>2" not in text:
        finding.expect(drawn == written, f"{name}: notes stand in another order than they are written")


def reaches(page, sign, box):
    """Does a sign reach into a box, rather than lean over it as rests with hooks do?"""
    _, name, (x, y), _, scale = sign
    points = [(x + px * scale, y + py * scale) for px, py in page.outlines.get(name, [])]
    return not points or any(box[0] < px < box[2] and box[1] < py < box[3] for px, py in points)


def low(box, at):
    """The box of a head without the strokes beside that of a double whole note."""
    return box[0], max(box[1], at[1] - 0.5), box[2], min(box[3], at[1] + 0.5)


def overlap(a, b):
    """Do two heads lie on one another? Boxes of ovals that only touch share a little."""
    a, b = low(a[3], a[2]), low(b[3], b[2])
    return area(a, b) > OVAL * min(area(a, a), area(b, b))


def beside(head, stem, side):
    """Does a stem begin or pass at a side of a head: 0 the left one, 2 the right one? Slanted strokes lead from
    heads of one step to the stem of their chord, and are none."""
    x0, y0, x1, y1 = stem[3]
    passes = x1 - x0 < 0.3 and y0 - 0.3 < head[2][1] < y1 + 0.3
    return passes and abs((x0 + x1) / 2 - head[3][side]) < 0.2 * head[4]


def stem_sides(page, head):
    stems = page.of("stem")
    return {side for side in (0, 2) if any(beside(head, stem, side) for stem in stems)}


def side_by_side(page, a, b):
    """Are two heads those of one onset that stand beside one another, a stem's breadth into one another: a second
    or a unison of a chord or of two voices? Of two onsets, even of voices that meet, each has a stem at the same
    side; heads of two sizes are those of a note and a grace note."""
    left, right = sorted((a, b), key=lambda head: head[2])
    wide = left[3][2] - left[3][0]
    apart = right[2][0] - left[2][0]
    near = abs(right[2][1] - left[2][1]) < 0.6 * left[4]
    if left[4] != right[4] or not near or not BESIDE * wide < apart:
        return False
    return not stem_sides(page, left) & stem_sides(page, right)


def check_page(name, page, finding, last=True):
    edge = MARGIN / page.space
    outside = [
        (kind, label, box)
        for kind, label, _, box, _ in page.shapes
        if box[0] < edge - 0.2 or box[2] > page.width - edge + 0.2
        or box[1] < edge - 0.2 or box[3] > page.height - edge / 2
    ]
    finding.expect(not outside, f"{name}: outside the margins: {outside[:2]}")
    heads = page.of("head")
    for n, a in enumerate(heads):
        near = [b for b in heads[n + 1:] if abs(a[2][0] - b[2][0]) < 3 and abs(a[2][1] - b[2][1]) < 1.2]
        for b in near:
            # One head may be that of two voices.
            right = a[2] == b[2] or not overlap(a, b) or side_by_side(page, a, b)
            finding.expect(right, f"{name}: heads lie on one another at {a[2]}, {b[2]}")
    words = [w for kind in WORDS for w in page.of(kind) if w[1]]
    others = heads + page.of("rest") + page.of("dynamic") + page.of("accidental")
    for n, a in enumerate(words):
        over = [b for b in words[n + 1:] + others if area(a[3], b[3]) > 0.06]
        finding.expect(not over, f"{name}: {a[1]!r} lies over {[(b[0], b[1], b[2]) for b in over[:2]]}")
    strokes = page.strokes()
    for word in words:
        over = [
            (kind, box[:2]) for kind, box, columns in strokes
            if area(word[3], box) > 0 and common(page.silhouette(word), columns()) > HAIR
        ]
        finding.expect(not over, f"{name}: {word[1]!r} at {word[2]} lies over {over[:2]}")
    for kind in ("rest", "dot", "accidental"):
        for sign in page.of(kind):
            over = [head[2] for head in heads if area(sign[3], head[3]) > 0.1 and reaches(page, sign, head[3])]
            finding.expect(not over, f"{name}: a {kind} lies over a head at {over[:1]}")
    signs = page.of("accidental")
    for n, a in enumerate(signs):
        # Boxes of flats and naturals are larger than they are black. One sign may be that of two voices.
        over = [
            b[2] for b in signs[n + 1:]
            if area(a[3], b[3]) > 0.35 * min(a[4], b[4]) and a[1:3] != b[1:3]
        ]
        finding.expect(not over, f"{name}: accidentals lie on one another at {a[2]}, {over[:1]}")
    # All lines end together; only the last one of all and of a movement, over whose next line a heading
    # stands, may be shorter.
    systems = page.systems()
    longest = max((right for _, rights in systems for right in rights), default=0)
    titles = [
        w[3] for w in page.of("text")
        if w[3][3] - w[3][1] > 1.9 and abs((w[3][0] + w[3][2]) / 2 - page.width / 2) < 6
    ]
    for n, (_, rights) in enumerate(systems):
        level = max(rights) - min(rights) < 0.02 and max(rights) <= longest
        finding.expect(level, f"{name}: staves of a system end at {sorted({round(r, 2) for r in rights})}")
        if n + 1 < len(systems):
            below = systems[n + 1][0]
            headed = any(below - 25 < t[3] < below for t in titles)
            ends = systems[n][0]
            headed = headed and any(ends < t[1] for t in titles if t[3] < below)
            finding.expect(
                longest - max(rights) < 0.02 or headed,
                f"{name}: a line ends at {max(rights):.2f}, others at {longest:.2f}",
            )
        else:
            finding.expect(
                longest - max(rights) < 0.02 or last,
                f"{name}: the last line ends at {max(rights):.2f}, others at {longest:.2f}",
            )


def drawings(folder, stem):
    """The pages of a part or score in their order."""
    single = folder / f"{stem}.svg"
    if single.exists():
        return [single]
    pages = [p for p in folder.glob(f"{stem}-*.svg") if p.stem[len(stem) + 1:].isdigit()]
    return sorted(pages, key=lambda path: int(path.stem[len(stem) + 1:]))


def scores(folder, ending, *kinds):
    """The scores of a scoring that there are: always the full one, and of others those of these kinds."""
    others = [folder / f"score-{kind}.{ending}" for kind in kinds]
    return [folder / f"score.{ending}", *(path for path in others if path.exists())]


def check(folder, name):
    """Reads back all pages below the folder of a scoring, but for those of its condensed score."""
    finding = outputs.Finding(f"{name}: pages read back from their drawing")
    for musicxml in [*scores(folder, "musicxml", "concert"), *sorted((folder / "parts").glob("*.musicxml"))]:
        paths = drawings(musicxml.parent, musicxml.stem)
        finding.expect(paths, f"{name}: no page of {musicxml.stem}")
        pages = [Page(path) for path in paths]
        for n, page in enumerate(pages):
            check_page(f"{name}/{musicxml.stem} page {n + 1}", page, finding, n + 1 == len(pages))
        if musicxml.parent.name == "parts" and len(pages) > 1:
            orphans = [n + 1 for n, page in enumerate(pages) if len(page.systems()) == 1]
            finding.expect(not orphans, f"{name}/{musicxml.stem}: one line alone on pages {orphans}")
        check_notes(f"{name}/{musicxml.stem}", pages, musicxml, finding)
    return finding


def chosen(pages, name, day):
    """The pages whose pictures are looked at: all, or on a day one of some documents."""
    if day is None:
        return range(len(pages))
    turn = day + sum(name.encode())
    return [turn // SHARE % len(pages)] if pages and turn % SHARE == 0 else []


def check_documents(folder, name, day=None, pictures=True):
    """Poppler and qpdf open the documents, which have their faces embedded and their words as text;
    their pages look as they are drawn: some of them, by the day, or all, or none."""
    finding = outputs.Finding(f"{name}: documents opened by other programs")

    def run(*command):
        done = subprocess.run(command, capture_output=True, text=True, timeout=120, check=False)
        return done.returncode, done.stdout

    seen, drawn = 0, 0
    for pdf in [*scores(folder, "pdf", "concert", "condensed"), *sorted((folder / "parts").glob("*.pdf"))]:
        pages = [Page(path) for path in drawings(pdf.parent, pdf.stem)]
        status, told = run("qpdf", "--check", pdf)
        finding.expect(status == 0, f"{name}/{pdf.stem}: qpdf: {told}")
        _, told = run("pdfinfo", pdf)
        counted = re.search(r"^Pages:\s+(\d+)", told, re.MULTILINE)
        finding.expect(counted and int(counted[1]) == len(pages), f"{name}/{pdf.stem}: {told}")
        _, told = run("pdffonts", pdf)
        fonts = told.splitlines()[2:]
        embedded = fonts and all(re.search(r"\byes yes yes\b", line) for line in fonts)
        finding.expect(embedded, f"{name}/{pdf.stem}: faces are not embedded: {fonts}")
        _, text = run("pdftotext", pdf, "-")
        for page in pages:
            for _, label, _, _, _ in page.of("text"):
                # Signs among the words, such as the note of a tempo, are none.
                words = [] if label in page.glyphs else label.split()
                finding.expect(
                    all(word in text for word in words), f"{name}/{pdf.stem}: {label!r} cannot be searched for"
                )
        for number in chosen(pages, pdf.stem, day) if pictures else ():
            place = f"{name}/{pdf.stem} page {number + 1}"
            found, heads = check_picture(place, pages[number], pdf, number + 1, finding)
            seen, drawn = seen + found, drawn + heads
    finding.expect(seen >= FOUND * drawn, f"{name}: {seen} of {drawn} heads found in the pictures")
    return finding


def missing():
    """The programs that open documents and are not on this machine."""
    return [tool for tool in TOOLS if not shutil.which(tool)]


def _one(scoring, day, documents):
    found = [check(scoring.folder, scoring.name)]
    return found + ([check_documents(scoring.folder, scoring.name, day)] if documents else [])


def check_all(ripieno, sources, work, day=None):
    """Builds sources as drawings and documents and reads all pages back, but for those of the condensed scores,
    which it builds for `check_condensed`."""
    command = [ripieno, "build", "--only", "svg,pdf,musicxml", "--scores", "full,concert,condensed", "--format", "short"]
    command += ["-o", work]
    roots = os.path.commonpath([Path(source).resolve().parent for source in sources])
    run = subprocess.run(
        [*command, "--root", roots, *sources], check=False, timeout=500, capture_output=True, text=True
    )
    lacks = missing()
    if lacks:
        tools = f"documents are opened by other programs (missing: {', '.join(lacks)})"
        if os.environ.get("CI"):
            yield outputs.Finding(tools)
        else:
            print(f"skipped {tools}: install poppler-utils and qpdf (Debian, Ubuntu: apt install them)")
    if not Path(work).is_dir():
        finding = outputs.Finding("pages are drawn")
        finding.expect(False, run.stderr[-800:])
        yield finding
        return
    scorings = outputs.scorings(work, [Path(source) for source in sources])
    job = functools.partial(_one, day=day, documents=not lacks)
    with multiprocessing.Pool(os.cpu_count()) as pool:
        for findings in pool.imap(job, scorings):
            yield from findings
    yield planted_signs(scorings)
    yield planted_scores(scorings, lacks)
    if scorings and not lacks:
        documents = (
            (pdf, [Page(path) for path in drawings(pdf.parent, pdf.stem)])
            for pdf in sorted((scorings[-1].folder / "parts").glob("*.pdf"))
        )
        yield planted(scorings[-1].name, documents)


def shifted(shape, x, y):
    kind, label, (left, top), (x0, y0, x1, y1), size = shape
    return kind, label, (left + x, top + y), (x0 + x, y0 + y, x1 + x, y1 + y), size


def tallest(columns):
    """The middle of the highest column of a sign."""
    column = max(columns, key=lambda column: columns[column][1] - columns[column][0])
    return column / COLUMNS, sum(columns[column]) / 2


def on_words(page, word):
    """The page with one stroke of each kind on words, where both are highest; of a stem only its end."""
    to = tallest(page.silhouette(word))
    for kind in THIN:
        for shape in page.of(kind)[:1]:
            at = (shape[2][0], shape[3][3]) if kind == "stem" else tallest(page.silhouette(shape))
            there = shifted(shape, to[0] - at[0], to[1] - at[1])
            changed = copy.copy(page)
            changed.shapes = [there if other is shape else other for other in page.shapes]
            yield kind, changed
    for kind, name in (("tie or slur", "curves"), ("beam", "beams")):
        for points in getattr(page, name)[:1]:
            at = tallest(filled([points]))
            there = [(x + to[0] - at[0], y + to[1] - at[1]) for x, y in points]
            changed = copy.copy(page)
            setattr(changed, name, [there if other is points else other for other in getattr(page, name)])
            yield kind, changed


def on_heads(page):
    """The page with a head on its neighbour: half its breadth from there, or with its stem beside it as a second
    stands beside a head."""
    black = [head for head in page.of("head") if head[1] == "noteheadBlack" and head[4] == 1.0]
    stems = [{side: stem for stem in page.of("stem") for side in (0, 2) if beside(head, stem, side)} for head in black]
    alone = [(head, *own.items()) for head, own in zip(black, stems) if len(own) == 1]
    for (a, (side, _)), (b, (other, stem)) in zip(alone, alone[1:]):
        if side != other or not 1.5 < b[2][0] - a[2][0] < 12 or abs(b[2][1] - a[2][1]) > 3:
            continue
        wide = a[3][2] - a[3][0]
        for what, apart, own in (("half a head", wide / 2, ()), ("a head with its stem", SECOND * wide, (stem,))):
            by = a[2][0] + apart - b[2][0], a[2][1] - 0.5 - b[2][1]
            changed = copy.copy(page)
            changed.shapes = [
                shifted(shape, *by) if shape is b or any(shape is one for one in own) else shape
                for shape in page.shapes
            ]
            yield what, changed
        return


def planted_signs(scorings):
    """Strokes that lie on words are found, and heads on their neighbours."""
    finding = outputs.Finding("strokes on words and heads on heads are found")
    wanted = {*THIN, "tie or slur", "beam", "half a head", "a head with its stem"}
    for scoring in scorings:
        for path in drawings(scoring.folder, "score"):
            if not wanted:
                return finding
            page = Page(path)
            words = [w for w in page.of("text") if len(w[1]) > 2 and w[1] not in page.glyphs]
            if not words:
                continue
            word = max(words, key=lambda word: word[3][2] - word[3][0])
            for what, changed in (*on_words(page, word), *on_heads(page)):
                if what not in wanted:
                    continue
                wanted.remove(what)
                sought = "heads lie on one another"
                if "head" not in what:
                    sought = f"{word[1]!r} at {word[2]} lies over [('{what}'"
                found = []
                for drawn in (page, changed):
                    seen = outputs.Finding("planted")
                    check_page(scoring.name, drawn, seen)
                    found.append(any(sought in words for words in seen.wrong))
                finding.expect(found == [False, True], f"{path.name}: {what} on another sign: found {found}")
    finding.expect(not wanted, f"nothing of the pages could be moved: {sorted(wanted)}")
    return finding


def planted_scores(scorings, lacks):
    """What is wrong in a concert score is found as in others: a head that stands a step off; and a document of
    a concert or condensed score that is cut short."""
    finding = outputs.Finding("mistakes in concert and condensed scores are found")
    for scoring in scorings:
        musicxml = scoring.folder / "score-concert.musicxml"
        if not musicxml.exists() or is_far_off(musicxml):
            continue
        pages = [Page(path) for path in drawings(scoring.folder, musicxml.stem)]
        head = next((head[3] for page in pages for head in page.heads if head[2] is not None), None)
        for down in (0.0, 0.5, -1.0) if head else ():
            for page in pages:
                page.shapes = [moved(shape, down) if shape is head else shape for shape in page.shapes]
                page.__dict__.pop("heads", None)
            seen = outputs.Finding("planted")
            check_notes(scoring.name, pages, musicxml, seen)
            finding.expect(seen.passed == (down == 0), f"{scoring.name}: a head moved by {down} spaces: {seen.wrong}")
            head = next((s for page in pages for s in page.of("head") if s[1:] == moved(head, down)[1:]), head)
        break
    for kind in () if lacks else ("concert", "condensed"):
        scoring = next((s for s in scorings if (s.folder / f"score-{kind}.pdf").exists()), None)
        if scoring is None:
            continue
        with tempfile.TemporaryDirectory() as room:
            for path in scoring.folder.glob("score*"):
                shutil.copy(path, room)
            cut = Path(room) / f"score-{kind}.pdf"
            cut.write_bytes(cut.read_bytes()[:-600])
            found = check_documents(Path(room), scoring.name, pictures=False)
            finding.expect(
                any(f"/score-{kind}:" in words for words in found.wrong), f"a {kind} score cut short is not found"
            )
    return finding


def main():
    ripieno, *sources = sys.argv[1:]
    with tempfile.TemporaryDirectory() as work:
        outputs.report(check_all(ripieno, sources, Path(work) / "pages"))


if __name__ == "__main__":
    main()
