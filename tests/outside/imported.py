"""What a file of music holds, read by music21: notes with their signs, the same for every reader.

Places are the index of a measure and the offset in it, in quarters, so that measures of another
length before do not matter.
"""

import re
from collections import Counter, defaultdict
from dataclasses import dataclass, field, replace
from fractions import Fraction
from itertools import accumulate

from music21 import converter, dynamics, harmony, repeat, spanner, tempo

# Dynamics of one note.
STRESSES = ("sf", "sfz", "fz")
# Readers round the times of tuplets: nothing written is nearer than this, in quarters.
NEAR = Fraction(1, 100)
# By how much the duration of a printed value may be rounded.
ROUNDED = Fraction(1, 8)
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
    """The voice of the part by its number in the file."""
    voice: str = ""


@dataclass
class Music:
    notes: list = field(default_factory=list)
    graces: int = 0
    """Where each slur and each hairpin begins and ends: measure and offset."""
    slurs: Counter = field(default_factory=Counter)
    hairpins: Counter = field(default_factory=Counter)
    """Where, which verse, and the syllable."""
    lyrics: Counter = field(default_factory=Counter)
    """Where and which chord; where and what kind of jump."""
    chords: set = field(default_factory=set)
    jumps: set = field(default_factory=set)
    """Where and which; the same in several voices of a part counts once."""
    articulations: set = field(default_factory=set)
    dynamics: set = field(default_factory=set)
    """The same with the part before it."""
    loudness: set = field(default_factory=set)
    tempos: set = field(default_factory=set)
    repeats: set = field(default_factory=set)
    """Metre and signature by measure, where they change."""
    metres: dict = field(default_factory=dict)
    keys: dict = field(default_factory=dict)
    """How long each measure is, in quarters."""
    measures: list = field(default_factory=list)
    """The number of each measure."""
    numbers: list = field(default_factory=list)

    def starts(self):
        """Where each measure begins, in quarters from the beginning."""
        return list(accumulate(self.measures, initial=Fraction(0)))


def exact(number):
    return Fraction(number).limit_denominator(50000)


def read(path):
    music, heads = gather(path)
    join(music, heads)
    return music


def gather(path):
    """What a file holds, its notes still in heads, each with its tie."""
    score = converter.parse(path, forceSource=True)
    score.toSoundingPitch(inPlace=True)
    music, places, heads = Music(), {}, []
    ends = []
    for number, part in enumerate(score.parts):
        _part(music, (number, part), (places, ends), heads)
    music.measures = list(map(_length, ends))
    for kind, found in ((spanner.Slur, music.slurs), (dynamics.DynamicWedge, music.hairpins)):
        for line in score.recurse().getElementsByClass(kind):
            ends = [places.get(id(line.getFirst())), places.get(id(line.getLast()))]
            if None not in ends:
                found[tuple(ends)] += 1
    return music, heads


def _length(ends):
    """How long a measure is, by where the notes and where all of each part end, and its metre.

    Rests beyond the metre do not lengthen a measure in which another part has none.
    """
    needed = max(
        max(notes for notes, _, _ in ends),
        min((whole for _, whole, _ in ends if whole > 0), default=0),
        max(full for _, _, full in ends),
    )
    return min(needed, max(whole for _, whole, _ in ends))


def _part(music, part_of_score, places_and_ends, heads):
    (number, part), (places, ends) = part_of_score, places_and_ends
    for index, measure in enumerate(part.getElementsByClass("Measure")):
        exact_places, end, sounding = {}, Fraction(0), Fraction(0)
        for thing, voice, at, length in _placed(measure, exact_places):
            end = max(end, at + length)
            if not thing.isRest:
                sounding = max(sounding, at + length)
            if isinstance(thing, harmony.Harmony):
                if not isinstance(thing, harmony.NoChord) and thing.root() is not None:
                    music.chords.add((index, round(float(at), 2), thing.root().name, thing.chordKind))
                continue
            if thing.isRest or thing.style.hideObjectOnPrint:
                continue
            places[id(thing)] = (number, index, at)
            for verse, text in _sung(thing.lyrics).items():
                music.lyrics[index, round(float(at), 2), verse, text] += 1
            if thing.duration.isGrace:
                music.graces += 1
                continue
            for sign in thing.articulations:
                if word := ARTICULATIONS.get(type(sign).__name__):
                    music.articulations.add(((number, index, at), word))
            for key, name, tie in _heads(thing) if length > 0 else ():
                heads.append((Note(index, at, key, name, length, number, voice), tie))
        _signs(music, (number, index), measure, exact_places)
        of_part = (sounding, end, exact(measure.barDuration.quarterLength))
        if index < len(ends):
            ends[index].append(of_part)
        else:
            ends.append([of_part])
            music.numbers.append(measure.number)


def _placed(measure, exact_places):
    """Notes and rests with their voice, offset and length, as they are printed.

    Where a file rounds its durations (17 divisions of a quarter have no sixteenth), music21 keeps
    what is printed beside them; what follows then begins where that ends.
    """
    for container in (measure, *measure.voices):
        is_voice = container is not measure
        voice, begins = (str(container.id), container.offset) if is_voice else ("", 0)
        known = {}
        for thing in container.notesAndRests:
            rounded = exact(begins + thing.offset)
            at = known.get(rounded, rounded)
            length = exact(thing.duration.quarterLength)
            printed = length
            if not thing.duration.linked:
                printed = exact(sum(one.quarterLength for one in thing.duration.components)
                                * thing.duration.aggregateTupletMultiplier())
                if not 0 < abs(printed - length) <= ROUNDED:
                    printed = length
            known.setdefault(rounded + length, at + printed)
            exact_places.setdefault(rounded, at)
            yield thing, voice, at, printed


def _verse(lyric):
    """The verse that a file names; music21 counts those of a note where it is no plain number."""
    digits = re.findall(r"\d+", str(lyric.identifier))
    return int(digits[-1]) if digits else lyric.number


def _sung(lyrics):
    """What each verse sings to a note. Two syllables of one verse are drawn together, as Ripieno writes them."""
    verses = {}
    for lyric in lyrics:
        verse = _verse(lyric)
        verses[verse] = verses.get(verse, "") + _plain(lyric.text or "")
    return {verse: text for verse, text in verses.items() if text}


def _plain(syllable):
    """A syllable by its letters alone: blanks and hyphens are written in several ways."""
    return "".join(letter for letter in syllable if letter.isalnum())


def _heads(thing):
    for one in thing.notes if "ChordBase" in thing.classSet else [thing]:
        tie = one.tie or thing.tie
        pitch = getattr(one, "pitch", None)
        key, name = (pitch.midi, pitch.nameWithOctave) if pitch else (-1, "")
        yield key, name, tie.type if tie else None


def join(music, heads):
    """Heads to notes: one that is tied to what ends where it begins makes that longer.

    What hangs on a head that is held hangs on its note.
    """
    starts = music.starts()
    held, begun = {}, {}
    heads = sorted(heads, key=lambda head: (head[0].part, starts[head[0].measure] + head[0].at))
    for head, tie in heads:
        start = starts[head.measure] + head.at
        place = (head.part, head.key)
        note = None
        if tie in ("stop", "continue"):
            waiting = held.get(place, [])
            ends_here = (one for one in waiting if abs(one[1] - start) < NEAR)
            same_voice = lambda one: one[0].voice != head.voice  # noqa: E731
            if found := min(ends_here, key=same_voice, default=None):
                waiting.remove(found)
                note = found[0]
                note.length += head.length
                begun[head.part, head.measure, head.at] = (note.measure, note.at)
        if note is None:
            note = replace(head)
            music.notes.append(note)
        if tie in ("start", "continue"):
            held.setdefault(place, []).append((note, start + head.length))

    # Where something else begins, what hangs there hangs on that.
    for note in music.notes:
        begun.pop((note.part, note.measure, note.at), None)

    def beginning(place):
        measure, at = begun.get(place, place[1:])
        return measure, round(float(at), 2)

    music.articulations = {(*beginning(place), word) for place, word in music.articulations}
    for name in ("slurs", "hairpins"):
        joined = Counter()
        for ends, count in getattr(music, name).items():
            joined[tuple(map(beginning, ends))] += count
        setattr(music, name, joined)


def _signs(music, place, measure, exact_places):
    number, index = place
    for sign in measure.recurse().getElementsByClass(dynamics.Dynamic):
        at = exact(sign.getOffsetInHierarchy(measure))
        at = round(float(exact_places.get(at, at)), 2)
        value = DYNAMICS.get(sign.value, sign.value)
        music.dynamics.add((index, at, value))
        music.loudness.add((number, index, at, value))
    for mark in measure.recurse().getElementsByClass(tempo.MetronomeMark):
        if mark.getQuarterBPM():
            music.tempos.add((index, round(mark.getQuarterBPM())))
    for sign in measure.recurse().getElementsByClass(repeat.RepeatExpression):
        music.jumps.add((index, type(sign).__name__))
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


def struck_anew(missing, extra, starts):
    """Takes out notes that lie there in pieces: what is held beyond a fermata is struck anew."""
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


def without_effect(wanted, found, pairs):
    """The measures of dynamics that are lost.

    Over a rest they may stand where the next note of the part begins; one that says again how loud a
    part is need not be printed, and a stress without a note under it stresses nothing.
    """
    starts = wanted.starts()
    partners, onsets = defaultdict(set), defaultdict(list)
    for one, other in pairs:
        partners[one.part].add(other.part)
    for note in wanted.notes:
        onsets[note.part].append((note.measure, round(float(note.at), 2)))
    for places in onsets.values():
        places.sort()
    loud = defaultdict(list)
    for part, *sign in sorted(found.loudness):
        loud[part].append(tuple(sign))

    def in_force(part, place):
        before = [sign for sign in loud[part] if sign[:2] <= place and sign[2] not in STRESSES]
        value = before[-1][2] if before else None
        return "p" if value == "fp" else value

    lost = []
    for part, measure, at, value in sorted(wanted.loudness):
        if (measure, at, value) in found.dynamics:
            continue
        place = starts[measure] + exact(at) if measure < len(starts) else None
        sounding = {note.part for note in wanted.notes if place is not None
                    and starts[note.measure] + note.at - NEAR <= place
                    < starts[note.measure] + note.at + note.length - NEAR}
        later = (
            next((other for other in places if other > (measure, at)), None)
            for number, places in onsets.items() if number not in sounding
        )
        again = any(in_force(other, (measure, at)) == value for other in partners[part])
        idle = value in STRESSES and part not in sounding
        if not again and not idle and not any(
            other and (*other, value) in found.dynamics for other in later
        ):
            lost.append(measure)
    return lost


def not_in_force(wanted, found):
    """The measures of chord symbols that are lost: one that says again what holds is not needed."""
    lost = []
    for measure, at, *chord in sorted(wanted.chords - found.chords):
        before = max((one for one in found.chords if one[:2] <= (measure, at)), default=None)
        if before is None or list(before[2:]) != chord:
            lost.append(measure)
    return lost


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
