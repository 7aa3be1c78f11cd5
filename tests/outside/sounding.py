"""What a MusicXML file sounds, read with music21 and played out bar by bar.

music21 reads the file and brings transposing parts to sounding pitch; the order of the bars comes
from the repeat signs (`written.playing_order`), and tied notes are joined here, because a tie that
a repeat breaks must not be joined.
"""

from dataclasses import dataclass, field
from fractions import Fraction
from math import log2

from lxml import etree
from music21 import chord, converter, expressions, harmony, note

import ornaments
import written

FLAGS = {"eighth": 1, "16th": 2, "32nd": 3, "64th": 4, "128th": 5}


@dataclass
class Struck:
    """One note or chord as it is struck. Times are in quarters from the beginning."""

    start: Fraction
    end: Fraction
    keys: list
    """Names of the signs on it, as MusicXML has them."""
    signs: set = field(default_factory=set)
    """Strokes of a tremolo: from, to, value."""
    strokes: list = field(default_factory=list)
    """The keys of the other note of a tremolo between two."""
    other: list = field(default_factory=list)
    graces: list = field(default_factory=list)
    """Semitones from the highest note up and down to its neighbours; none on a drum."""
    around: tuple | None = ornaments.UNKNOWN
    tied_to: bool = False
    bar: int = 0
    """Where the last head begins of those that are tied: a dot on it makes that one short."""
    last_head: Fraction = Fraction(0)


def exact(value):
    """music21 gives binary fractions as floats and all others as fractions."""
    return Fraction(value).limit_denominator(65536)


def read(path):
    """For each part: its name, how long it lasts, what is struck."""
    parts = written.read(path)
    root = written.own(path)
    _sound_harmonics(root)
    text = etree.tostring(root, encoding="unicode")
    score = converter.parseData(text, format="musicxml")
    streams = iter(list(score.parts))
    found = []
    for part in parts:
        # music21 gives each staff of a part as a part of its own.
        staves = [
            _play(part, staff, next(streams).toSoundingPitch())
            for staff in range(1, part.staves + 1)
        ]
        struck = sorted((one for _, all_ in staves for one in all_), key=lambda one: one.start)
        found.append((part.name, max(length for length, _ in staves), struck))
    if left := list(streams):
        raise ValueError(f"{path}: staves without a part: {left}")
    return found


def _sound_harmonics(root):
    """An artificial harmonic is written as the note that is stopped and the one that is touched: what
    sounds is the partial of the first at whose node the finger lies."""
    for touching in root.findall(".//note/notations/technical/harmonic/touching-pitch/../../../.."):
        base = touching.getprevious()
        stopped, touched = (_key(note.find("pitch")) for note in (base, touching))
        partial = round(1 / (1 - 2 ** ((stopped - touched) / 12)))
        key = stopped + round(12 * log2(partial))
        octave, step = divmod(key, 12)
        pitch = base.find("pitch")
        name, alter = _NAMES[step]
        for element in list(pitch):
            pitch.remove(element)
        etree.SubElement(pitch, "step").text = name
        etree.SubElement(pitch, "alter").text = str(alter)
        etree.SubElement(pitch, "octave").text = str(octave - 1)
        if (accidental := base.find("accidental")) is not None:
            base.remove(accidental)
        touching.getparent().remove(touching)


_NAMES = [("C", 0), ("C", 1), ("D", 0), ("E", -1), ("E", 0), ("F", 0), ("F", 1), ("G", 0), ("A", -1),
          ("A", 0), ("B", -1), ("B", 0)]


def _key(pitch):
    white = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}[pitch.findtext("step")]
    return 12 * (int(pitch.findtext("octave")) + 1) + white + int(pitch.findtext("alter") or 0)


def _play(part, staff, stream):
    measures = list(stream.getElementsByClass("Measure"))
    contents = [
        _contents(measure, bar, staff, part.instrument_in(bar)) if measure.recurse().notes else []
        for measure, bar in zip(measures, part.bars, strict=True)
    ]
    struck, before = [], None
    for index, now in part.places:
        follows = before is not None and index == before + 1
        for event in contents[index]:
            add(struck, event, now, follows, part.bars[index].number)
        before = index
    return part.length, struck


def add(struck, event, bar_start, follows, number):
    """Adds what stands in a bar at `bar_start` to what is struck, or holds on what is tied to it."""
    offset, length, heads, signs, value, graces, around, *other = event
    start = bar_start + offset
    strokes = [(start, start + length, value)] if value else []
    keys = sorted(key for key, _ in heads)
    ties = [tie for _, tie in heads]
    last = struck[-1] if struck else None
    held = all(tie in ("stop", "continue") for tie in ties)
    if held and last and last.tied_to and last.end == start and last.keys == keys:
        if offset > 0 or follows:
            last.end = start + length
            last.tied_to = all(tie == "continue" for tie in ties)
            last.signs |= signs
            last.last_head = start
            last.strokes = _hold_on(last, strokes, start + length)
            return
    tied_to = all(tie in ("start", "continue") for tie in ties)
    struck.append(
        Struck(start, start + length, keys, set(signs), strokes, *other, graces=graces,
               around=around, tied_to=tied_to, bar=number, last_head=start)
    )


def _hold_on(last, strokes, end):
    """The strokes of a note to which another is tied: those of one value go on without a new start."""
    if not last.strokes:
        return [(last.start, end, strokes[0][2])] if strokes else []
    start, _, value = last.strokes[-1]
    if not strokes or strokes[0][2] == value:
        return [*last.strokes[:-1], (start, end, value)]
    return last.strokes + strokes


def _contents(measure, bar, staff, instrument):
    """What stands in a bar: offset, length, heads with ties, signs, value of the strokes, grace
    notes, neighbours."""
    found, graces = [], []
    signs = {
        event.offset: event.names
        for event in bar.events
        if event.staff == staff and event.sounds and not event.grace
    }
    around = ornaments.around(bar)
    drum = instrument.percussion_key is not None or instrument.sound == "drum.timpani"
    for element in measure.recurse().notes:
        # A chord symbol says what is to be heard and sounds nothing itself.
        if isinstance(element, harmony.Harmony):
            continue
        heads = _heads(element, instrument.percussion_key)
        if element.duration.isGrace:
            graces.append(sorted(key for key, _ in heads))
            continue
        offset = exact(element.getOffsetInHierarchy(measure))
        length = exact(element.quarterLength)
        if _of_two(element) == "second":
            # Both notes are one event, which sounds for the time of both.
            at, before, first, others, value, *beside = found.pop()
            if at + before != offset or before != length:
                raise ValueError(f"measure {measure.number}, {offset}: half a tremolo of two notes")
            keys = sorted(key for key, _ in heads)
            found.append((at, before + length, first, others | signs[offset], value, *beside, keys))
            continue
        beside = (graces, None if drum else around.get(offset, ornaments.UNKNOWN))
        found.append((offset, length, heads, signs[offset], strokes_of(element), *beside))
        graces = []
    return found


def _of_two(element):
    """Which note of a tremolo between two it is."""
    for spanner in element.getSpannerSites("TremoloSpanner"):
        return "first" if spanner.isFirst(element) else "second"
    return None


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
    between = element.getSpannerSites("TremoloSpanner")
    for expression in [*element.expressions, *between]:
        if isinstance(expression, expressions.Tremolo) or expression in between:
            lines = expression.numberOfMarks + FLAGS.get(element.duration.type, 0)
            value = Fraction(1, 2**lines)
            if expression in between:
                # Each of the two is written with the value of both.
                return value
            for tuplet in element.duration.tuplets:
                value *= Fraction(tuplet.numberNotesNormal, tuplet.numberNotesActual)
            return value
    return None
