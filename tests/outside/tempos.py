"""How fast the mock-up must go, worked out from the pages of a score.

Metronome marks and the words beside them stand on the top staff, fermatas over notes and rests of
all. What the words are worth is Ripieno's own rule, as its reference tells it; it is worked out here
once more, in exact fractions, from what is printed.
"""

import re
from dataclasses import dataclass
from fractions import Fraction

SLOWER = {"rit", "ritard", "ritardando", "rall", "rallentando", "allarg", "allargando"}
FASTER = {"accel", "accelerando", "string", "stringendo"}
# An eighth, in quarters.
STEP = Fraction(1, 2)
USUAL = (Fraction(1), Fraction(96))


@dataclass
class Point:
    """A tempo on the page: when, metronome mark if any, what its words mean."""

    at: Fraction
    mark: tuple | None
    back: str
    by: Fraction | None
    gradual: bool = True


def _point(at, bar):
    words = re.findall(r"[a-z0-9]+", " ".join(bar.words).lower().replace("ù", "u"))
    text = f" {' '.join(words)} "
    back = "first" if re.search(" tempo (i|1|primo) ", text) else ""
    back = back or ("mark" if " a tempo " in text else "")
    by = None
    if way := Fraction(bool(FASTER & set(words)) - bool(SLOWER & set(words))):
        by = way * (Fraction(1, 6) if "poco" in words and "poco a poco" not in text else
                    Fraction(1, 2) if "molto" in words else Fraction(1, 3))
    mark = bar.tempos[-1] if bar.tempos else None
    gradual = by is not None
    # With a mark beside it, the mark is what is meant.
    if not gradual and not mark and (found := re.search(" (piu|meno) mosso ", text)):
        by = Fraction(1, 6) if found[1] == "piu" else -Fraction(1, 6)
    return Point(at, mark, back, by, gradual) if mark or back or by else None


def _measured(bar_words):
    words = " ".join(bar_words).lower().replace("poco a poco", "")
    return "poco" in words or "molto" in words


def page(parts):
    """(from, to, microseconds a quarter, gradual change, waiting) in the order of the page, without
    gaps. A gradual change is named by its beginning and its direction."""
    starts, now = [], Fraction(0)
    for bar in parts[0].bars:
        starts.append(now)
        now += bar.length
    end = now
    points = [_point(at, bar) for at, bar in zip(starts, parts[0].bars)]
    measured = {at: _measured(bar.words) for at, bar in zip(starts, parts[0].bars)}
    points = [point for point in points if point]
    spans = [[Fraction(0), points[0].at if points else end, _micros(USUAL), None]]
    mark, speed = USUAL, Fraction(1)
    first = next((point.mark for point in points if point.mark), USUAL)
    for point, after in zip(points, points[1:] + [None]):
        until = after.at if after else end
        if point.mark or point.back:
            speed = Fraction(1)
        mark = point.mark or (first if point.back == "first" else mark)
        if not point.gradual:
            speed *= 1 + (point.by or 0)
            spans.append([point.at, until, _micros(mark) / speed, None])
            continue
        goal = speed * (1 + point.by)
        if after and after.mark and after.mark[0] == mark[0] and not measured[point.at]:
            ratio = after.mark[1] / mark[1]
            if (ratio - speed) * point.by > 0:
                goal = ratio
        at = point.at
        while at < until:
            to = min(at + STEP, until)
            way = ((at + to) / 2 - point.at) / (until - point.at)
            micros = _micros(mark) / (speed + (goal - speed) * way)
            spans.append([at, to, micros, (point.at, point.by > 0)])
            at = to
        speed = goal
    waiting = [(a, b, _longer(parts, starts, a, b)) for a, b in held(parts, starts)]
    return _with_fermatas([span for span in spans if span[0] < span[1]], waiting)


def _micros(mark):
    return Fraction(60_000_000) / (mark[0] * mark[1])


def held(parts, starts):
    """When everybody waits: where a fermata stands over somebody's note, and nobody strikes another
    note under a fermata before the first of these notes ends."""
    lasting = set()
    for part in parts:
        for start, bar in zip(starts, part.bars):
            lasting |= {(start + a, start + b) for a, b in _fermatas(bar)}
    waiting = []
    times = sorted({time for pair in lasting for time in pair})
    for a, b in zip(times, times[1:]):
        ends = [to for at, to in lasting if at <= a and b <= to]
        if ends and not any(a < at < min(ends) for at, _ in lasting):
            waiting.append((a, b, min(ends)))
    return _joined(waiting)


def _joined(waiting):
    joined = []
    for a, b, end in waiting:
        if joined and joined[-1][1:] == (a, end):
            a = joined.pop()[0]
        joined.append((a, b, end))
    return [(a, b) for a, b, _ in joined]


def _longer(parts, starts, a, b):
    """A fermata doubles what it stands over, and adds a beat at least."""
    bar = max(index for index, start in enumerate(starts) if start <= a)
    count, unit = parts[0].bars[bar].metre
    compound = count > 3 and count % 3 == 0 and unit >= 4
    beat = Fraction(4, unit) * (3 if compound else 1)
    return 1 + max(b - a, beat) / (b - a)


def _fermatas(bar):
    for staff in {event.staff for event in bar.events}:
        yield from _on_staff([e for e in bar.events if e.staff == staff and not e.grace])


def _on_staff(events):
    for index, event in enumerate(events):
        if "fermata" not in event.names:
            continue
        first = last = index
        while events[first].tied_from and first > 0:
            first -= 1
        while not event.heads and last + 1 < len(events) and not events[last + 1].sounds:
            last += 1
        yield events[first].offset, events[last].offset + events[last].length


def _with_fermatas(spans, waiting):
    divided = []
    for at, to, micros, change in spans:
        inside = {time for pair in waiting for time in pair[:2] if at < time < to}
        edges = sorted({at, to} | inside)
        for a, b in zip(edges, edges[1:]):
            longer = next((times for x, y, times in waiting if x <= a and b <= y), None)
            divided.append((a, b, micros * (longer or 1), change, longer is not None))
    return divided


def played(parts):
    """The tempos of the whole as it is played, with repeats, as (when, microseconds a quarter); and
    each gradual change as (is it to a faster tempo, moments in which nobody waits)."""
    spans, events, runs = page(parts), [], {}
    starts, start = [], Fraction(0)
    for bar in parts[0].bars:
        starts.append(start)
        start += bar.length
    before, run = None, 0
    for index, now in parts[0].places:
        start, end = starts[index], starts[index] + parts[0].bars[index].length
        run += index - 1 != before
        for at, to, micros, change, waits in spans:
            at, to = max(at, start), min(to, end)
            if at >= to:
                continue
            events.append((now + at - start, micros))
            if change and not waits:
                runs.setdefault((run, change), []).append(now + (at + to) / 2 - start)
        before = index
    return events, [(faster, moments) for (_, (_, faster)), moments in runs.items()]
