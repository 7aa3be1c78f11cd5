"""Reads printed pages back from their drawings, without knowing how they were made.

    python check_pages.py RIPIENO SAMPLE…

Every page is drawn as SVG. From the shapes alone this finds staves (five long level lines a space
apart), clefs, heads and words, and holds against one another and against the MusicXML files of the
same build: each note once at the place of its written pitch, in order; nothing outside the margins;
no two heads on one another; no words over heads or over other words; all lines of a part equally
long. Pages of the PDF are then made pictures by poppler, and staff lines and heads found in them by
counting dark dots agree with the drawing.
"""

import re
import subprocess
import sys
import tempfile
import xml.etree.ElementTree as ET
from pathlib import Path

import outputs

SVG = "{http://www.w3.org/2000/svg}"
# Steps of the middle line above C0, by clef: B4, C4 (alto), A3 (tenor), D3.
MIDDLE = {"gClef": 34, "fClef": 22}
STEP = {letter: n for n, letter in enumerate("CDEFGAB")}
# Millimetres that printers need around a page at least (half an inch, Major Orchestra Librarians'
# Association, from memory).
MARGIN = 12.0


def numbers(data):
    return [float(number) for number in re.findall(r"-?\d*\.?\d+(?:e-?\d+)?", data)]


def box_of(data):
    """The box around the points of a path; for these shapes the handles are near enough."""
    values = numbers(data)
    xs, ys = values[0::2], values[1::2]
    return min(xs), min(ys), max(xs), max(ys)


class Page:
    """Shapes of a page by their class, in staff spaces."""

    def __init__(self, path):
        root = ET.parse(path).getroot()
        self.path = path
        self.width, self.height = numbers(root.get("viewBox"))[2:]
        self.space = numbers(root.get("width"))[0] / self.width
        self.glyphs = {}
        for path in root.iter(f"{SVG}path"):
            if path.get("id"):
                self.glyphs[path.get("id")] = box_of(path.get("d"))
        self.shapes = []
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
                if element.get("stroke-width"):
                    half = float(element.get("stroke-width")) / 2
                    level = abs(box[1] - box[3]) < 1e-6
                    grow = (0, half) if level else (half, 0)
                    box = (box[0] - grow[0], box[1] - grow[1], box[2] + grow[0], box[3] + grow[1])
                self.shapes.append((element.get("class"), label, (box[0], box[1]), box, 1.0))
        self.staves = self.find_staves()

    def of(self, kind):
        return [shape for shape in self.shapes if shape[0] == kind]

    def find_staves(self):
        """Places of the middle lines, with the left and right end of each staff."""
        lines = sorted((s[3][1] + s[3][3]) / 2 for s in self.of("staff-line"))
        ends = {round((s[3][1] + s[3][3]) / 2, 3): (s[3][0], s[3][2]) for s in self.of("staff-line")}
        staves, n = [], 0
        while n < len(lines):
            five = lines[n:n + 5]
            if len(five) == 5 and all(abs(b - a - 1.0) < 0.01 for a, b in zip(five, five[1:])):
                staves.append((five[2], 5, *ends[round(five[0], 3)]))
                n += 5
            else:
                staves.append((lines[n], 1, *ends[round(lines[n], 3)]))
                n += 1
        return staves

    def staff_of(self, y):
        return min(range(len(self.staves)), key=lambda n: abs(self.staves[n][0] - y))


def area(a, b):
    return max(0.0, min(a[2], b[2]) - max(a[0], b[0])) * max(0.0, min(a[3], b[3]) - max(a[1], b[1]))


def drawn_notes(pages):
    """The steps above C0 of all heads of a part in the order in which one reads: staff by staff, from
    left to right, those of a chord from the lowest up. Nothing for strokes without pitch."""
    rows = {}
    for p, page in enumerate(pages):
        clefs = sorted((s[2][0], s[1], s[2][1]) for s in page.of("clef"))
        for shape in page.of("head"):
            x, y = shape[2]
            n = page.staff_of(y)
            middle, lines, _, _ = page.staves[n]
            step = None
            if lines == 5:
                _, clef, place = [c for c in clefs if c[0] < x and page.staff_of(c[2]) == n][-1]
                # A C clef names the line on which it stands.
                base = 28 + round(2 * (place - middle)) if clef == "cClef" else MIDDLE[clef]
                step = base - round(2 * (y - middle))
            rows.setdefault((p, n), []).append((x, step))
    notes = []
    for place in sorted(rows):
        for _, step in sorted(rows[place], key=lambda head: (round(head[0], 1), head[1] or 0)):
            notes.append(step)
    return notes


def written_notes(path):
    """Steps of all written notes of a part, in the order of the file."""
    steps = []
    for note in ET.parse(path).getroot().iter("note"):
        pitch = note.find("pitch")
        if pitch is not None:
            steps.append(7 * int(pitch.findtext("octave")) + STEP[pitch.findtext("step")])
        elif note.find("unpitched") is not None:
            steps.append(None)
    return steps


def check_notes(name, pages, musicxml, finding):
    """Every written note is drawn once, at the place of its pitch, and in its turn."""
    drawn, written = drawn_notes(pages), written_notes(musicxml)

    def ordered(steps):
        return sorted(step or 0 for step in steps)

    same = finding.expect(
        ordered(drawn) == ordered(written),
        f"{name}: {len(drawn)} heads are drawn for {len(written)} notes, or at other places",
    )
    text = Path(musicxml).read_text(encoding="utf-8")
    # With seconds in chords, two staves or two voices the file has another order than the eye.
    if same and "<chord/>" not in text and "<staves>" not in text and "<voice>2" not in text:
        finding.expect(drawn == written, f"{name}: notes stand in another order than they are written")


def check_page(name, page, finding):
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
            same = a[2] == b[2]
            small = min(a[4], b[4])
            covered = area(a[3], b[3]) > 0.4 * small
            finding.expect(same or not covered, f"{name}: heads lie on one another at {a[2]}, {b[2]}")
    words = [w for w in page.of("text") + page.of("tuplet") if w[1]]
    others = heads + page.of("rest") + page.of("dynamic") + page.of("accidental")
    for n, a in enumerate(words):
        over = [b for b in words[n + 1:] + others if area(a[3], b[3]) > 0.06]
        finding.expect(not over, f"{name}: {a[1]!r} lies over {[(b[0], b[1], b[2]) for b in over[:2]]}")
    rights = [staff[3] for staff in page.staves]
    level = not rights or max(rights) - min(rights) < 0.02
    last = len(rights) > 1 and max(rights[:-1]) - min(rights[:-1]) < 0.02
    finding.expect(level or last, f"{name}: lines are not equally long: {sorted({round(r, 2) for r in rights})}")


def drawings(folder, stem):
    """The pages of a part or score in their order."""
    single = folder / f"{stem}.svg"
    if single.exists():
        return [single]
    pages = [p for p in folder.glob(f"{stem}-*.svg") if p.stem[len(stem) + 1:].isdigit()]
    return sorted(pages, key=lambda path: int(path.stem[len(stem) + 1:]))


def check(folder, name):
    """Reads back all pages below the folder of a scoring."""
    finding = outputs.Finding(f"{name}: pages read back from their drawing")
    for musicxml in [folder / "score.musicxml", *sorted((folder / "parts").glob("*.musicxml"))]:
        paths = drawings(musicxml.parent, musicxml.stem)
        finding.expect(paths, f"{name}: no page of {musicxml.stem}")
        pages = [Page(path) for path in paths]
        for n, page in enumerate(pages):
            check_page(f"{name}/{musicxml.stem} page {n + 1}", page, finding)
        if musicxml.stem != "score":
            check_notes(f"{name}/{musicxml.stem}", pages, musicxml, finding)
    return finding


def picture(pdf, page, folder):
    """A page as grey values, at 300 dots to the inch, made by poppler."""
    import numpy
    from PIL import Image

    stem = folder / "page"
    command = ["pdftoppm", "-r", "300", "-gray", "-f", str(page), "-l", str(page), pdf, stem]
    subprocess.run(command, check=True, timeout=120)
    made = next(folder.glob("page*.pgm"))
    dots = numpy.asarray(Image.open(made)) < 128
    made.unlink()
    return dots


def check_picture(name, page, pdf, number, finding):
    """Staff lines and heads of the drawing are found in the picture, where they should be."""
    with tempfile.TemporaryDirectory() as folder:
        dots = picture(pdf, number, Path(folder))
    scale = 300 / 25.4 * page.space
    # A staff line is dark over most of the width between the ends of the staves.
    for middle, lines, left, right in page.staves:
        part = dots[:, int(left * scale) + 2:int(right * scale) - 2]
        for line in ([-2, -1, 0, 1, 2] if lines == 5 else [0]):
            row = round((middle + line) * scale)
            dark = part[row - 2:row + 3].mean(axis=1).max()
            finding.expect(dark > 0.97, f"{name}: no line in the picture at {middle + line:.2f}")
    # A black head fills most of an oval around its middle; a white one its rim.
    found = total = 0
    for _, glyph, (x, y), box, size in page.of("head"):
        if glyph != "noteheadBlack":
            continue
        total += 1
        column, row = (box[0] + box[2]) / 2 * scale, y * scale
        half = 0.3 * size * scale
        square = dots[int(row - half):int(row + half), int(column - half):int(column + half)]
        found += square.size > 0 and square.mean() > 0.95
    finding.expect(found >= 0.99 * total, f"{name}: {found} of {total} heads found in the picture")


def check_documents(folder, name):
    """Poppler and qpdf open the documents, which have their faces embedded and their words as text."""
    finding = outputs.Finding(f"{name}: documents opened by other programs")

    def run(*command):
        done = subprocess.run(command, capture_output=True, text=True, timeout=120, check=False)
        return done.returncode, done.stdout

    for pdf in [folder / "score.pdf", *sorted((folder / "parts").glob("*.pdf"))]:
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
                words = label.split()
                finding.expect(
                    all(word in text for word in words), f"{name}/{pdf.stem}: {label!r} cannot be searched for"
                )
        if pages:
            check_picture(f"{name}/{pdf.stem}", pages[0], pdf, 1, finding)
    return finding


def main():
    ripieno, *samples = sys.argv[1:]
    findings = []
    with tempfile.TemporaryDirectory() as work:
        command = [ripieno, "build", "--only", "svg,pdf,musicxml", "--format", "short", "-o", work]
        subprocess.run([*command, *samples], check=False, timeout=500, capture_output=True)
        for scoring in outputs.scorings(work, [Path(sample) for sample in samples]):
            findings += [check(scoring.folder, scoring.name), check_documents(scoring.folder, scoring.name)]
    for finding in findings:
        print(f"{'passed' if finding.passed else 'FAILED'}: {finding.name} ({finding.tested})")
        for wrong in finding.wrong[:12]:
            print(f"  {wrong}")
    sys.exit(not findings or any(not finding.passed for finding in findings))


if __name__ == "__main__":
    main()
