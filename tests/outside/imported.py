"""What a file of music holds, read by music21: notes with their signs, the same for every reader.

Places are the index of a measure and the offset in it, in quarters, so that measures of another
length before do not matter.
"""

from collections import Counter, defaultdict
from dataclasses import dataclass, field
from fractions import Fraction

from music21 import converter, dynamics, spanner, tempo

# Readers round the times of tuplets: nothing written is nearer than this, in quarters.
NEAR = Fraction(1, 100)
ARTICULATIONS = {
    "Staccato": "staccato",
    "Staccatissimo": "staccatissimo",
    "Tenuto": "tenuto",
    "Accent": "accent",
    "StrongAccent": "marcato",
    "UpBow": "up-bow",
    "DownBow": "down-bow",
}
DYNAMICS = {"fz": "sf", "rf": "sf", "rfz": "sf", "sffz": "sfz", "sfp": "fp"}


@dataclass
class Note:
    """One head, ties worked in; `key` is the MIDI key, -1 a stroke without pitch."""

    measure: int
    at: Fraction
    key: int
    name: str
    length: Fraction
    part: int


@dataclass
class Music:
    notes: list = field(default_factory=list)
    graces: int = 0
    slurs: int = 0
    lyrics: int = 0
    """Where and which; the same in several voices of a part counts once."""
    articulations: set = field(default_factory=set)
    dynamics: set = field(default_factory=set)
    tempos: set = field(default_factory=set)
    repeats: set = field(default_factory=set)
    """Metre and signature by measure, where they change."""
    metres: dict = field(default_factory=dict)
    keys: dict = field(default_factory=dict)
    """How long each measure is, in quarters."""
    measures: list = field(default_factory=list)


def exact(number):
    return Fraction(number).limit_denominator(50000)


def read(path):
    score = converter.parse(path, forceSource=True).toSoundingPitch(inPlace=False)
    music = Music()
    for number, part in enumerate(score.parts):
        _part(music, number, part)
    music.slurs = len(list(score.recurse().getElementsByClass(spanner.Slur)))
    return music


def _part(music, number, part):
    held = {}
    for index, measure in enumerate(part.getElementsByClass("Measure")):
        heads = []
        for thing in measure.recurse().notes:
            if "Harmony" in thing.classSet or thing.style.hideObjectOnPrint:
                continue
            music.lyrics += len(thing.lyrics)
            if thing.duration.isGrace:
                music.graces += 1
                continue
            at = exact(thing.getOffsetInHierarchy(measure))
            for sign in thing.articulations:
                if word := ARTICULATIONS.get(type(sign).__name__):
                    music.articulations.add((index, round(float(at), 2), word))
            heads += _heads(thing, at)
        _signs(music, index, measure)
        length = exact(measure.highestTime)
        if index < len(music.measures):
            music.measures[index] = max(music.measures[index], length)
        else:
            music.measures.append(length)
        _join(music, held, (index, number), heads)


def _heads(thing, at):
    length = exact(thing.duration.quarterLength)
    for one in thing.notes if "ChordBase" in thing.classSet else [thing]:
        tie = one.tie or thing.tie
        pitch = getattr(one, "pitch", None)
        key, name = (pitch.midi, pitch.nameWithOctave) if pitch else (-1, "")
        if length > 0:
            yield at, key, name, length, tie.type if tie else None


def _join(music, held, place, heads):
    """Adds heads to the notes; one that is tied to a note makes it longer."""
    index, part = place
    for at, key, name, length, tie in sorted(heads, key=lambda head: head[:2]):
        if tie in ("stop", "continue") and key in held:
            held[key].length += length
            if tie == "stop":
                del held[key]
            continue
        note = Note(index, at, key, name, length, part)
        music.notes.append(note)
        if tie in ("start", "continue"):
            held[key] = note


def _signs(music, index, measure):
    for sign in measure.recurse().getElementsByClass(dynamics.Dynamic):
        at = round(float(sign.getOffsetInHierarchy(measure)), 2)
        music.dynamics.add((index, at, DYNAMICS.get(sign.value, sign.value)))
    for mark in measure.recurse().getElementsByClass(tempo.MetronomeMark):
        if mark.getQuarterBPM():
            music.tempos.add((index, round(mark.getQuarterBPM())))
    for line in (measure.leftBarline, measure.rightBarline):
        if line is not None and "Repeat" in line.classSet:
            music.repeats.add((index, line.direction))
    if measure.timeSignature is not None:
        music.metres.setdefault(index, measure.timeSignature.ratioString)
    for signature in measure.getElementsByClass("KeySignature")[:1]:
        music.keys.setdefault(index, signature.sharps)


def match(wanted, found):
    """Pairs the same notes of two readings; gives back the pairs, and what has no partner.

    Notes are the same if they lie in one measure, sound one key and begin and last alike.
    """
    places = defaultdict(list)
    for note in found:
        places[note.measure, note.key].append(note)
    pairs, missing = [], []
    for note in wanted:
        others = places[note.measure, note.key]
        best = next(
            (
                other
                for other in others
                if abs(other.at - note.at) < NEAR and abs(other.length - note.length) < NEAR
            ),
            None,
        )
        if best is None:
            missing.append(note)
        else:
            others.remove(best)
            pairs.append((note, best))
    return pairs, missing, [note for others in places.values() for note in others]


def struck_anew(missing, extra, measures):
    """Takes out notes that lie there in pieces: what is held beyond a fermata is struck anew."""
    starts = [sum(measures[:index], Fraction(0)) for index in range(len(measures))]
    place = lambda note: starts[note.measure] + note.at  # noqa: E731
    left = []
    for note in missing:
        pieces, at, end = [], place(note), place(note) + note.length
        while at < end - NEAR:
            piece = next((one for one in extra if one.key == note.key and one not in pieces
                          and abs(place(one) - at) < NEAR), None)
            if piece is None:
                break
            pieces.append(piece)
            at += piece.length
        if len(pieces) > 1 and abs(at - end) < NEAR:
            extra = [one for one in extra if one not in pieces]
        else:
            left.append(note)
    return left, extra


def without_effect(wanted, found):
    """How many dynamics are lost: over a rest they may stand where the next note of a part begins."""
    starts = [sum(wanted.measures[:index], Fraction(0)) for index in range(len(wanted.measures))]
    onsets = defaultdict(list)
    for note in wanted.notes:
        onsets[note.part].append((note.measure, round(float(note.at), 2)))
    for places in onsets.values():
        places.sort()
    count = 0
    for measure, at, value in wanted.dynamics - found.dynamics:
        place = starts[measure] + exact(at) if measure < len(starts) else None
        sounding = {note.part for note in wanted.notes if place is not None
                    and starts[note.measure] + note.at - NEAR <= place
                    < starts[note.measure] + note.at + note.length - NEAR}
        later = (
            next((other for other in places if other > (measure, at)), None)
            for part, places in onsets.items() if part not in sounding
        )
        count += not any(other and (*other, value) in found.dynamics for other in later)
    return count


def counted(report, *words):
    """How many things a report of the import tells that have one of these words in their name."""
    return sum(
        loss["count"]
        for loss in report["losses"]
        if any(word in loss["what"] for word in words)
    )


def shares(pairs):
    """Shares of notes whose name is right, and of steps of a voice that stay in one voice."""
    names = Counter(one.name == other.name for one, other in pairs)
    partner = {id(one): other for one, other in pairs}
    lines = defaultdict(list)
    for one, _ in pairs:
        lines[one.part].append(one)
    steps = Counter()
    for line in lines.values():
        line.sort(key=lambda note: (note.measure, note.at))
        for before, after in zip(line, line[1:]):
            steps[partner[id(before)].part == partner[id(after)].part] += 1
    share = lambda counter: counter[True] / max(1, counter.total())  # noqa: E731
    return share(names), share(steps)
