"""What a MusicXML file sounds, read with music21 and played out bar by bar.

music21 reads the file and brings transposing parts to sounding pitch; the order of the bars comes
from the repeat signs (`written.playing_order`), and tied notes are joined here, because a tie that
a repeat breaks must not be joined.
"""

from dataclasses import dataclass, field
from fractions import Fraction

from music21 import chord, converter, expressions, note

import written

FLAGS = {"eighth": 1, "16th": 2, "32nd": 3, "64th": 4, "128th": 5}


@dataclass
class Struck:
    """One note or chord as it is struck. Times are in quarters from the beginning."""

    start: Fraction
    end: Fraction
    keys: list
    trill: bool = False
    """Value of the strokes of a tremolo."""
    strokes: Fraction | None = None
    graces: list = field(default_factory=list)
    tied_to: bool = False
    bar: int = 0


def exact(value):
    """music21 gives binary fractions as floats and all others as fractions."""
    return Fraction(value).limit_denominator(65536)


def read(path):
    """For each part: its name, how long it lasts, what is struck."""
    parts = written.read(path)
    score = converter.parse(str(path), format="musicxml", forceSource=True)
    streams = iter(list(score.parts))
    found = []
    for part in parts:
        # music21 gives each staff of a part as a part of its own.
        staves = [_play(part, next(streams).toSoundingPitch()) for _ in range(part.staves)]
        struck = sorted((one for _, all_ in staves for one in all_), key=lambda one: one.start)
        found.append((part.name, max(length for length, _ in staves), struck))
    if left := list(streams):
        raise ValueError(f"{path}: staves without a part: {left}")
    return found


def _play(part, stream):
    measures = list(stream.getElementsByClass("Measure"))
    contents = [
        _contents(measure, part.instrument_in(bar).percussion_key) if measure.recurse().notes else []
        for measure, bar in zip(measures, part.bars, strict=True)
    ]
    struck, now, before = [], Fraction(0), None
    for index in part.order:
        follows = before is not None and index == before + 1
        for event in contents[index]:
            add(struck, event, now, follows, part.bars[index].number)
        now += part.bars[index].length
        before = index
    return now, struck


def add(struck, event, bar_start, follows, number):
    """Adds what stands in a bar at `bar_start` to what is struck, or holds on what is tied to it."""
    offset, length, heads, trill, strokes, graces = event
    start = bar_start + offset
    keys = sorted(key for key, _ in heads)
    ties = [tie for _, tie in heads]
    last = struck[-1] if struck else None
    held = all(tie in ("stop", "continue") for tie in ties)
    if held and last and last.tied_to and last.end == start and last.keys == keys:
        if offset > 0 or follows:
            last.end = start + length
            last.tied_to = all(tie == "continue" for tie in ties)
            last.trill |= trill
            last.strokes = last.strokes or strokes
            return
    tied_to = all(tie in ("start", "continue") for tie in ties)
    struck.append(Struck(start, start + length, keys, trill, strokes, graces, tied_to, number))


def _contents(measure, percussion_key):
    """What stands in a bar: offset, length, heads with ties, trill, strokes, grace notes."""
    found, graces = [], []
    for element in measure.recurse().notes:
        heads = _heads(element, percussion_key)
        if element.duration.isGrace:
            graces.append(sorted(key for key, _ in heads))
            continue
        offset = exact(element.getOffsetInHierarchy(measure))
        trill = any(isinstance(e, expressions.Trill) for e in element.expressions)
        length = exact(element.quarterLength)
        found.append((offset, length, heads, trill, strokes_of(element), graces))
        graces = []
    return found


def _heads(element, percussion_key):
    single = element.notes if isinstance(element, chord.Chord) else [element]
    heads = []
    for one in single:
        tie = one.tie or element.tie
        sounds = percussion_key if isinstance(one, note.Unpitched) else one.pitch.midi
        heads.append((sounds, tie.type if tie else None))
    return heads


def strokes_of(element):
    """Strokes through the stem divide the value as flags do: three through a quarter mean
    thirty-seconds (common practice)."""
    for expression in element.expressions:
        if isinstance(expression, expressions.Tremolo):
            lines = expression.numberOfMarks + FLAGS.get(element.duration.type, 0)
            value = Fraction(1, 2**lines)
            for tuplet in element.duration.tuplets:
                value *= Fraction(tuplet.numberNotesNormal, tuplet.numberNotesActual)
            return value
    return None
