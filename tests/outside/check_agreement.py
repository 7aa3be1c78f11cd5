"""MusicXML and MIDI sound the same, note for note: pitch, onset and duration."""

from fractions import Fraction
from itertools import cycle, groupby

import played
import sounding
from outputs import Finding

# Grace notes and the notes of ornaments are thirty-seconds, or shorter by halves where there is no
# room, down to a 256th; in quarters.
QUICK, SHORTEST = Fraction(1, 8), Fraction(1, 64)
# The notes of an arpeggio come a 64th after one another, or less by halves, so that all of it takes a
# quarter of the chord at most; in quarters.
SPREAD = Fraction(1, 16)
# A breath takes a quarter of its note, at most a sixteenth.
BREATH = Fraction(1, 4)
# Trills of earlier years begin with the note above.
ON_ITS_NOTE_FROM = 1830
SHORTENED = {"staccato", "staccatissimo"}
# Enough to see what goes wrong.
SHOWN = 6


def compare(name, xml, mid, era):
    """One MusicXML file against one MIDI file."""
    finding = Finding(f"agreement of MusicXML and MIDI: {name}")
    file, tracks = played.read(mid)
    parts = sounding.read(xml)
    finding.expect(
        len(parts) == len(tracks) - 1,
        f"{len(parts)} parts in MusicXML, {len(tracks) - 1} tracks beside the first in MIDI",
    )
    for (part, length, struck), track in zip(parts, tracks[1:]):
        wrong = disagreements(struck, track, era, file.ticks_per_beat)
        if track.end != length:
            wrong.append(f"MusicXML lasts {length} quarters, MIDI {track.end}")
        for words in wrong[:SHOWN]:
            finding.wrong.append(f"{part}: {words}")
        finding.tested += len(struck)
    return finding


def disagreements(struck, track, era, ticks):
    """What differs between the notes of a part and the notes of a track, of so many ticks a
    quarter."""
    match = Match(track.notes, era, ticks)
    wrong = []
    # Two hands that strike together are one.
    chords = [list(together) for _, together in groupby(struck, key=lambda note: note.start)]
    # Grace notes first, because they say where their note begins and what they cut short.
    begins, ends = [], []
    for chord in chords:
        before = (begins[-1], max(note.end for note in chords[len(begins) - 1])) if begins else None
        first, start = match.graces(chord, before, wrong)
        if ends:
            ends[-1] = first
        begins.append(start)
        ends.append(max(note.end for note in chord))
    for chord, start, until in zip(chords, begins, ends):
        match.spread(chord, start, until)
        breath = {"breath-mark"} & set().union(*(note.signs for note in chord))
        for note in chord:
            note.signs |= breath
            match.note(note, start, min(until, note.end), wrong)
    for on, off, key in sorted(match.left):
        wrong.append(f"MIDI alone has key {key} from quarter {on} to {off}")
    return wrong


def quick(count, room):
    """The value of so many quick notes in a room, if there is one."""
    value = QUICK
    while value * count > room and value >= SHORTEST:
        value /= 2
    return value if value >= SHORTEST else None


def sounds(signs, length):
    """How long a note sounds: a dot halves it, a wedge leaves a quarter, a dot with a line three
    quarters (common practice)."""
    share = Fraction(1)
    if "fermata" not in signs:
        if "staccatissimo" in signs:
            share = Fraction(1, 4)
        elif "staccato" in signs:
            share = Fraction(3, 4) if "tenuto" in signs else Fraction(1, 2)
    breath = min(length / 4, BREATH) if "breath-mark" in signs else 0
    return min(length * share, length - breath)


class Match:
    """The notes of a track that are not accounted for yet."""

    def __init__(self, notes, era, ticks):
        self.left = set(notes)
        self.era = era
        self.ticks = ticks
        self.by_key = {}
        for on, off, key in notes:
            self.by_key.setdefault(key, []).append((on, off))

    def take(self, wanted):
        wanted = [(self._tick(on), self._tick(off), key) for on, off, key in wanted]
        if not all(note in self.left for note in wanted):
            return False
        self.left.difference_update(wanted)
        return True

    def _tick(self, time):
        """The nearest tick: where no resolution holds all times of a piece, they are rounded."""
        return Fraction((2 * time * self.ticks + 1) // 2, self.ticks)

    def graces(self, chord, before, wrong):
        """Accounts for the grace notes of a chord; gives back where the first of them begins and where
        the chord itself does. `before` says where the chord before begins and ends."""
        note = max(chord, key=lambda note: len(note.graces))
        graces = [
            [key for one in chord if index < len(one.graces) for key in one.graces[index]]
            for index in range(len(note.graces))
        ]
        if not graces:
            return note.start, note.start
        count = len(note.graces)
        room = note.start
        if before is not None:
            room = max(note.start - before[1], (note.start - before[0]) / 2)
        value, first = quick(count, room), note.start
        if value is not None:
            first -= count * value
        else:
            # No room before the beat: they take time from their note.
            value = quick(count, (note.end - note.start) / 2)
        if value is None:
            return note.start, note.start
        wanted = [
            (first + index * value, first + (index + 1) * value, key)
            for index, keys in enumerate(graces)
            for key in keys
        ]
        if not self.take(wanted):
            wrong.append(
                f"bar {note.bar}, quarter {note.start}: MIDI lacks the grace notes {note.graces}"
            )
        return first, first + count * value

    def spread(self, chord, start, until):
        """When each key of a chord begins that is struck from below, both hands together."""
        self.begins = {}
        rolled = [note for note in chord if "arpeggiate" in note.signs and not note.strokes]
        keys = sorted(key for note in rolled for key in note.keys)
        if not keys:
            return
        length = min(until, max(note.end for note in rolled)) - start
        each = SPREAD
        while each * (len(keys) - 1) * 4 > length:
            each /= 2
        self.begins = {key: start + index * each for index, key in enumerate(keys)}

    def note(self, note, start, until, wrong):
        place = f"bar {note.bar}, quarter {note.start}"
        plain = list(note.keys)
        # Of tied heads the last has the dot, and those before it are held.
        dotted = note.signs & SHORTENED and "fermata" not in note.signs
        short = max(start, note.last_head) if dotted else start
        ends = [min(until, short + sounds(note.signs, note.end - short))]
        if dotted and "tied perhaps" in note.signs:
            # Where our page ties, only a part of the note is short.
            there = (off for key in note.keys for on, off in self.by_key.get(key, []) if on == start)
            ends += sorted(off for off in there if ends[0] < off < until)
        if note.other:
            if not self._to_and_fro(note, start, ends[0]):
                wrong.append(f"{place}: the tremolo of {plain} and {note.other} is not played out")
            return
        if note.strokes:
            for key in plain:
                if not self._tremolo(key, start, ends[0], note.strokes):
                    wrong.append(f"{place}: the tremolo on key {key} does not fill {note.end}")
            return
        ornament = next((o for o in ("trill-mark", "turn", "mordent") if o in note.signs), None)
        if ornament and len(set(plain)) == len(plain) and note.around:
            top = plain.pop()
            if not any(self._ornament(ornament, note, top, start, end) for end in ends):
                wrong.append(f"{place}: the {ornament} on key {top} is not played up to {until}")
        elif ornament == "trill-mark":
            # A trill on a drum is a roll.
            for key in plain:
                if not self._repeated(key, start, ends[0], QUICK):
                    wrong.append(f"{place}: the roll on key {key} does not fill {note.end}")
            return
        for key in plain:
            start_of_key = self.begins.get(key, start)
            if not any(self.take([(start_of_key, end, key)]) for end in ends):
                there = [(str(a), str(b)) for a, b in self.by_key.get(key, []) if a == start]
                wrong.append(
                    f"{place}: MusicXML has key {key} up to {ends[0]}, MIDI {there or 'has not'}"
                )

    def _to_and_fro(self, note, start, end):
        """Strokes of one value without a gap, by turns on one note and the other; the last may be
        shorter."""
        (_, _, value), *_ = note.strokes
        now, turns = start, cycle([note.keys, note.other])
        while now < end:
            after = min(now + value, end)
            if not self.take([(now, after, key) for key in next(turns)]):
                return False
            now = after
        return True

    def _tremolo(self, key, start, end, strokes):
        return all(
            self._repeated(key, max(start, at), min(to, end), value)
            for at, to, value in strokes
            if max(start, at) < min(to, end)
        )

    def _repeated(self, key, start, end, value):
        """Strokes of one value without a gap; the last may be shorter."""
        now = start
        while now < end:
            after = min(now + value, end)
            if not self.take([(now, after, key)]):
                return False
            now = after
        return True

    def _ornament(self, name, note, main, start, end):
        """The notes of an ornament without a gap within the time of the printed note, the last of
        them on the main note (common practice)."""
        above, below = note.around
        if name == "mordent":
            return any(self._chain([main, main - b, main], start, end, 4) for b in below)
        if name == "turn":
            return any(
                self._chain([main + a, main, main - b, main], start, end, 5)
                for a in above
                for b in below
            )
        from_above = self.era < ON_ITS_NOTE_FROM
        if note.graces:
            # Written-out small notes say how the trill begins.
            from_above = note.graces[-1][-1] == main
        return any(self._trill(main, main + a, from_above, start, end) for a in above)

    def _chain(self, keys, start, end, least):
        value = quick(least, end - start)
        if value is None:
            return self.take([(start, end, keys[-1])])
        ends = [start + value * number for number in range(1, len(keys))] + [end]
        return self.take(zip([start, *ends], ends, keys))

    def _trill(self, main, above, from_above, start, end):
        least = 4 if from_above else 3
        value = quick(least, end - start)
        if value is None:
            return self.take([(start, end, main)])
        count = int((end - start) / value)
        # The last note is the main one and takes what is left.
        count -= (count - least) % 2
        pair = (above, main) if from_above else (main, above)
        keys = [pair[number % 2] for number in range(count)]
        return self._chain(keys, start, end, least)
