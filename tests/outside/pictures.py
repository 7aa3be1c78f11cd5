"""Reads pictures of pages: looks for staff lines and heads in their dots, and holds them against the drawing."""

import copy
import subprocess
import tempfile
from pathlib import Path

import outputs

# Dots to the inch of the pictures, and the least share of heads that must be found in them.
DOTS = 300
FOUND = 0.99
# The least share of a head's own place that is dark, and of an oval that is none because curves and lines that
# were drawn make it, such as the belly of a tie on a line of the staff.
DARK = 0.95
# How far an oval leans: rows go to the right by so much as they rise.
SLANT = 0.4
# The least share of the outline of such a head that is dark: in small scores it is a dot or two thick.
OUTLINE = 0.8
# The least share of what is light in and around a white, cross or diamond head, where nothing else was drawn.
LIGHT = 0.8
# The largest hole of a white head, in square spaces.
HOLE = 0.8
WHITE = ("noteheadHalf", "noteheadWhole", "noteheadDoubleWhole")
# What has no box of its own but that of its ends: their dots are drawn.
STROKES = ("staff-line", "ledger", "stem", "slur", "tie")


def area(a, b):
    return max(0.0, min(a[2], b[2]) - max(a[0], b[0])) * max(0.0, min(a[3], b[3]) - max(a[1], b[1]))


def picture(pdf, page):
    """A page as dots that are dark or not, made by poppler."""
    import numpy
    from PIL import Image

    with tempfile.TemporaryDirectory() as folder:
        command = ["pdftoppm", "-r", str(DOTS), "-gray", "-f", str(page), "-l", str(page), pdf]
        subprocess.run([*command, Path(folder) / "page"], check=True, timeout=120)
        with Image.open(next(Path(folder).glob("page*.pgm"))) as image:
            return numpy.asarray(image) < 128


def runs(dots):
    """How many dark dots follow one another up to each dot from the left, and from the right."""
    import numpy

    columns = numpy.arange(dots.shape[1], dtype=numpy.int32)
    light = numpy.where(dots, -1, columns)
    left = columns - numpy.maximum.accumulate(light, axis=1)
    light = numpy.where(dots, dots.shape[1], columns)
    right = numpy.minimum.accumulate(light[:, ::-1], axis=1)[:, ::-1] - columns
    return left, right


def lines_in(left, right, space):
    """Rows of the picture in which long level lines run: those in which dark runs of ten spaces and
    more together are nearly as long as in the darkest row."""
    import numpy

    dark = ((left + right > 10 * space) & (left > 0)).sum(axis=1)
    rows = numpy.flatnonzero(dark > 0.1 * dark.max())
    groups = [g for g in numpy.split(rows, numpy.flatnonzero(numpy.diff(rows) > 1) + 1) if g.size]
    # Of a group, where beams touch a line, the rows that are darkest.
    found = []
    for group in groups:
        most = dark[group].max()
        if group.size > 0.5 * space:
            group = group[dark[group] > 0.85 * most]
        # A beam between two lines may touch both.
        lines = numpy.split(group, numpy.flatnonzero(numpy.diff(group) > 0.5 * space) + 1)
        found += [(float(line.mean()), dark[line].max()) for line in lines]
    full = {n for n, (_, most) in enumerate(found) if most > 0.85 * dark.max()}
    # A short last line: five lines a space apart and as long as one another, or one as long as these.
    short = set()
    for n in range(len(found) - 4):
        five = found[n:n + 5]
        level = all(abs(b[0] - a[0] - space) < 0.15 * space for a, b in zip(five, five[1:]))
        alike = min(most for _, most in five) > 0.85 * max(most for _, most in five)
        if level and alike:
            short |= set(range(n, n + 5))
    lengths = [found[n][1] for n in short - full]
    alone = {n for n, (_, most) in enumerate(found) if any(abs(most - length) < 0.03 * length for length in lengths)}
    # Where nobody has five lines (percussion), a short last line has nothing beside it to be known by.
    even = lambda a, b: abs(b[0] - a[0] - space) < 0.15 * space  # noqa: E731
    if not any(even(a, b) for a, b in zip(found, found[1:])):
        alone |= {n for n, (_, most) in enumerate(found) if most > 0.5 * dark.max()}
    return [found[n][0] for n in sorted(full | short | alone)]


def ovals_in(left, right, space):
    """Middles of dark ovals: where an oval a little smaller than a black head fits in."""
    import numpy
    from skimage import measure

    fits = None
    for y, before, behind in rows_of_oval(space):
        if fits is None:
            fits = numpy.nonzero((left > before) & (right > behind))
        rows, columns = fits[0] + y, fits[1]
        inside = (rows >= 0) & (rows < left.shape[0])
        fits = fits[0][inside], columns[inside]
        rows, columns = rows[inside], columns[inside]
        # Both ends of the row must lie within one dark run.
        dark = (left[rows, columns] > before) & (right[rows, columns] > behind)
        fits = fits[0][dark], fits[1][dark]
    picture = numpy.zeros(left.shape, bool)
    picture[fits] = True
    parts = measure.regionprops(measure.label(picture, connectivity=2))
    return [(float(column), float(row)) for row, column in (part.centroid for part in parts)]


def holes_in(dots, left, right, space):
    """Light parts of the picture with dark all around that are no larger than what is light in a white head, as
    skimage measures them: as they are, and with those joined that only a line of the staff or a ledger line
    parts."""
    import numpy
    from skimage import measure

    def no_larger(light):
        labels = measure.label(light, connectivity=1)
        sizes = numpy.bincount(labels.ravel())
        # A cue's head has the smallest hole.
        small = sizes <= HOLE * space * space
        small[0] = False
        fit = small & (sizes >= 0.04 * space * space)
        return small[labels], measure.regionprops(numpy.where(fit[labels], labels, 0))

    light, holes = no_larger(~dots)
    line = dots & (left + right > 1.4 * space)
    joined = light.copy()
    within = numpy.ones(line.shape, bool)
    # As many dots as a line is thick, and one for what is half dark.
    for thick in range(1, round(0.13 * space) + 2):
        within = within[:line.shape[0] - thick + 1] & line[thick - 1:]
        bridge = within[1:-1] & light[:-thick - 1] & light[thick + 1:]
        for row in range(1, thick + 1):
            joined[row:row + bridge.shape[0]] |= bridge
    return holes + no_larger(joined)[1]


def is_oval_hole(hole, size):
    """Is a hole as high and as wide as that of a white head of that many dots to the space?"""
    top, left, bottom, right = hole.bbox
    return 0.35 < (bottom - top) / size < 1.0 and 0.4 < (right - left) / size < 1.15


def is_of_signs(page, scale, hole):
    """Do lines, curves and other signs that were drawn make by themselves most of what is dark around a hole?"""
    import numpy
    from skimage import morphology

    reach = 4
    top, left, bottom, right = hole.bbox
    box = (left - reach, top - reach, right + reach, bottom + reach)
    around = numpy.pad(hole.image, reach)
    around = morphology.dilation(around, numpy.ones((5, 5), bool)) & ~around
    known = strokes(page, scale, box)
    known = known | signs_in(page, scale, box, lambda kind: kind not in STROKES)
    return known[around].mean() > 0.8


def signs_in(page, scale, box, taken):
    """The dots of a part of the picture that lie in the boxes of signs."""
    import numpy

    left, top, right, bottom = box
    dots = numpy.zeros((bottom - top, right - left), bool)
    for kind, _, _, (x0, y0, x1, y1), _ in page.shapes:
        if taken(kind) and x1 * scale >= left and x0 * scale <= right and y1 * scale >= top and y0 * scale <= bottom:
            rows = slice(max(0, round(y0 * scale) - top - 1), max(0, round(y1 * scale) - top + 1))
            dots[rows, max(0, round(x0 * scale) - left - 1):max(0, round(x1 * scale) - left + 1)] = True
    return dots


def looks_as_drawn(page, dots, scale, shape):
    """Is the picture dark within the outline of a head, and light in its holes and close around it, where nothing
    else was drawn?"""
    import numpy
    from PIL import Image, ImageChops, ImageDraw
    from skimage import morphology

    _, name, (x, y), (x0, y0, x1, y1), size = shape
    left, top, right, bottom = int(x0 * scale) - 4, int(y0 * scale) - 4, int(x1 * scale) + 5, int(y1 * scale) + 5
    part = dots[max(0, top):bottom, max(0, left):right]
    if part.shape != (bottom - top, right - left):
        return False
    # Four points to a dot: a dot counts as within or without if all of them are.
    fine = 4
    image = Image.new("1", ((right - left) * fine, (bottom - top) * fine))
    for ring in page.rings[name]:
        one = Image.new("1", image.size)
        points = [
            (((x + px * size) * scale - left) * fine - 0.5, ((y + py * size) * scale - top) * fine - 0.5)
            for px, py in ring
        ]
        ImageDraw.Draw(one).polygon(points, 1)
        image = ImageChops.logical_xor(image, one)
    share = numpy.asarray(image).reshape(bottom - top, fine, right - left, fine).mean(axis=(1, 3))
    box = (left, top, right, bottom)
    others = copy.copy(page)
    others.shapes = [other for other in page.shapes if other is not shape]
    known = strokes(others, scale, box) | signs_in(others, scale, box, lambda kind: kind not in STROKES)
    dark = part[share > 0.75]
    near = morphology.dilation(share > 0, numpy.ones((5, 5), bool))
    light = ~part[(share == 0) & near & ~known]
    return dark.size > 0 and dark.mean() >= OUTLINE and (light.size == 0 or light.mean() >= LIGHT)


def rows_of_oval(size, wide=0.43, high=0.34):
    """The rows of an oval a little smaller than a black head of that many dots to the space: how far each lies
    below its middle, and how far it goes to the left and to the right. The oval leans."""
    wide, high = wide * size, high * size
    rows = []
    for y in sorted(range(-int(high), int(high) + 1), key=abs):
        # Rows are moved to the right as they rise.
        reach, moved = wide * (1 - (y / high) ** 2) ** 0.5, -SLANT * y
        before, behind = int(reach - moved), int(reach + moved)
        if before >= 0 and behind >= 0:
            rows.append((y, before, behind))
    return rows


def covered(dots, x, y, size):
    """What share of an oval with its middle there is dark."""
    dark, count = 0, 0
    for row, before, behind in rows_of_oval(size):
        part = dots[max(0, round(y) + row), max(0, round(x) - before):round(x) + behind + 1]
        dark, count = dark + int(part.sum()), count + part.size
    return dark / max(count, 1)


def strokes(page, scale, box):
    """The dots of a part of the picture that ties, slurs and lines of the drawing may darken: they are a dot
    larger on each side, since a picture has no halves of dots."""
    import numpy
    from PIL import Image, ImageDraw, ImageFilter

    left, top, right, bottom = box
    image = Image.new("L", (right - left, bottom - top))
    draw = ImageDraw.Draw(image)
    for points in page.curves:
        draw.polygon([(x * scale - left - 0.5, y * scale - top - 0.5) for x, y in points], 255, 255)
    for kind, _, _, (x0, y0, x1, y1), _ in page.shapes:
        if kind in ("staff-line", "ledger", "stem"):
            edges = (x0 * scale - left, y0 * scale - top, x1 * scale - left - 1, y1 * scale - top - 1)
            draw.rectangle([round(edge) for edge in edges], 255)
    return numpy.asarray(image.filter(ImageFilter.MaxFilter(3))) > 0


def is_of_strokes(page, scale, x, y, size):
    """Do ties, slurs and lines that were drawn make the oval with its middle there by themselves?"""
    around = int(size) + 2
    left, top = max(0, round(x) - around), max(0, round(y) - around)
    dots = strokes(page, scale, (left, top, round(x) + around, round(y) + around))
    return covered(dots, round(x) - left, round(y) - top, size) >= DARK


def check_picture(name, page, pdf, number, finding):
    """Staff lines and heads that are found in the picture are those of the drawing.

    Returns how many heads were found, and how many there are."""
    dots = picture(pdf, number)
    scale = DOTS / 25.4 * page.space
    wanted = sorted(
        (middle + line) * scale
        for middle, lines, _, _ in page.staves
        for line in ([-2, -1, 0, 1, 2] if lines == 5 else [0])
    )
    if not wanted:
        return 0, 0
    left, right = runs(dots)
    rows = lines_in(left, right, scale)
    # Where a staff has five lines only in a part of the line, the outer ones may be too short to be seen as such.
    short = {
        round((middle + line) * scale)
        for (middle, _, left, right), own in zip(page.staves, page.stretches)
        if sum(r - l for l, r, count in own if count == 5) < 0.9 * (right - left)
        for line in [-2, -1, 1, 2]
    }
    known = [row for row in rows if any(abs(row - line) < 0.2 * scale for line in wanted)]
    hidden = [
        line for line in wanted
        if round(line) in short and not any(abs(row - line) < 0.2 * scale for row in rows)
    ]
    same = known == rows and len(rows) + len(hidden) == len(wanted)
    finding.expect(same, f"{name}: {len(rows)} staff lines in the picture for {len(wanted)}, or elsewhere")
    heads = [
        ((box[0] + box[2]) / 2 * scale, (box[1] + box[3]) / 2 * scale, 0.35 * size * scale)
        for _, glyph, _, box, size in page.of("head")
        if glyph == "noteheadBlack"
    ]
    # Cue and grace notes are smaller: their ovals are looked for as such.
    sizes = {round(size, 2) for _, glyph, _, _, size in page.of("head") if glyph == "noteheadBlack"}
    ovals = [(*oval, scale * size) for size in sizes or {1.0} for oval in ovals_in(left, right, scale * size)]
    found = [
        head for head in heads
        if any(abs(x - head[0]) < head[2] and abs(y - head[1]) < head[2] for x, y, _ in ovals)
    ]
    # Of a page with few heads one or two may lie hidden; of all pages nearly all are found.
    finding.expect(
        len(heads) - len(found) <= max(2, (1 - FOUND) * len(heads)),
        f"{name}: {len(found)} of {len(heads)} heads found in the picture",
    )
    # Hidden or not, a black head is dark where it was drawn: half a space away from there it is not.
    light = [
        (round(x / scale, 1), round(y / scale, 1))
        for x, y, size in heads
        if covered(dots, x, y, size / 0.35) < DARK
    ]
    finding.expect(not light, f"{name}: no head in the picture where one was drawn: {light[:4]}")
    # An oval in the picture is a head of the drawing, or part of some other sign of it.
    signs = [box for kind, _, _, box, _ in page.shapes if kind not in STROKES]
    strange = [
        (round(x / scale, 1), round(y / scale, 1))
        for x, y, size in ovals
        if not any(b[0] - 0.1 < x / scale < b[2] + 0.1 and b[1] - 0.1 < y / scale < b[3] + 0.1 for b in signs)
        and not is_of_strokes(page, scale, x, y, size)
    ]
    finding.expect(not strange, f"{name}: heads in the picture that were not drawn: {strange[:4]}")
    # A white head is a hole in the picture with an oval around it, where it was drawn; a cross or a diamond is
    # known by its outline.
    holes = holes_in(dots, left, right, scale)
    middles = [(hole.centroid[1], hole.centroid[0], hole) for hole in holes]
    others, seen, unlike = 0, 0, []
    for shape in page.of("head"):
        _, glyph, _, box, size = shape
        if glyph == "noteheadBlack":
            continue
        others += 1
        x, y, own = (box[0] + box[2]) / 2 * scale, (box[1] + box[3]) / 2 * scale, size * scale
        alike = looks_as_drawn(page, dots, scale, shape)
        if not alike:
            unlike.append((round(x / scale, 1), round(y / scale, 1)))
        if glyph in WHITE:
            seen += any(
                abs(a - x) < 0.25 * own and abs(b - y) < 0.2 * own and is_oval_hole(hole, own)
                for a, b, hole in middles
            )
        else:
            seen += alike
    finding.expect(
        # Some holes are cut by curves and ledger lines; all these heads are held against their outlines besides.
        others - seen <= max(3, (1 - FOUND) * others),
        f"{name}: {seen} of {others} white and other heads found in the picture",
    )
    finding.expect(not unlike, f"{name}: no white or other head in the picture where one was drawn: {unlike[:4]}")
    # And a hole in the picture is one of those, or what other signs leave between them.
    strange = [
        (round(x / scale, 1), round(y / scale, 1))
        for x, y, hole in middles
        if not any(b[0] - 0.1 < x / scale < b[2] + 0.1 and b[1] - 0.1 < y / scale < b[3] + 0.1 for b in signs)
        and is_oval_hole(hole, scale)
        and not is_of_signs(page, scale, hole)
    ]
    finding.expect(not strange, f"{name}: white heads in the picture that were not drawn: {strange[:4]}")
    return len(found) + seen, len(heads) + others


def moved(shape, down):
    kind, label, (x, y), (x0, y0, x1, y1), size = shape
    return kind, label, (x, y + down), (x0, y0 + down, x1, y1 + down), size


def planted(name, documents):
    """What is wrong in a picture is found: of a page of which the drawing is changed a head, a black one and that of
    a half note, stands half a space off in the picture, or is there without being drawn. Given are documents and
    their drawings."""
    finding = outputs.Finding(f"{name}: heads elsewhere than in the drawing are found in the picture")
    wanted = {"noteheadBlack", "noteheadHalf"}
    for pdf, pages in documents:
        for glyph in sorted(wanted):
            page, head = head_to_move(pages, glyph)
            if head is None:
                continue
            wanted.discard(glyph)
            kept = [shape for shape in page.shapes if shape is not head]
            for what, shapes in (
                ("as it is", page.shapes),
                ("half a space below", [*kept, moved(head, 0.5)]),
                ("half a space above", [*kept, moved(head, -0.5)]),
                ("not there", kept),
            ):
                changed = copy.copy(page)
                changed.shapes = shapes
                seen = outputs.Finding(what)
                check_picture(name, changed, pdf, pages.index(page) + 1, seen)
                right = seen.passed == (shapes is page.shapes)
                finding.expect(
                    right, f"{name}/{pdf.stem}: the {glyph} at {head[2]} {what}: {seen.wrong or 'nothing found'}"
                )
        if not wanted:
            break
    return finding


def head_to_move(pages, glyph):
    """A head of that kind that no other sign touches, on the first page with curves that has one: the one nearest
    to a tie or slur, where one would most easily take the one for the other."""
    for page in pages:
        others = [shape[3] for shape in page.shapes if shape[0] not in ("head", "staff-line", "stem", "slur", "tie")]
        heads = [
            shape for shape in page.of("head")
            if shape[1] == glyph and not any(area(shape[3], other) for other in others)
        ]
        if page.curves and heads:
            ends = [end for curve in page.curves for end in (curve[0], curve[len(curve) // 2])]
            return page, min(heads, key=lambda head: min(abs(head[2][0] - x) + abs(head[2][1] - y) for x, y in ends))
    return None, None
