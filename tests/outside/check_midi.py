"""The frame of the MIDI files: header, meta events, programs, channels.

Sources: Standard MIDI Files 1.0 (RP-001, MIDI Manufacturers Association, 1996) for header, meta
events and end of track; General MIDI Level 1 (1991) for programs, percussion keys and channel 10.
What the meta events must say is read from the MusicXML files.
"""

from fractions import Fraction
from itertools import groupby
from struct import unpack

import played
import published
import tempos
import written
from outputs import Finding


def check(scorings):
    for scoring in scorings:
        finding = Finding(f"MIDI header, meta events, programs: {scoring.name}")
        score = written.read(scoring.score("musicxml"))
        for path in scoring.files("mid"):
            parts = score
            if path.stem != "score":
                parts = written.read(path.with_suffix(".musicxml"))
            _file(finding, path, parts, score)
        _parts_as_in_score(finding, scoring)
        yield finding


def _file(finding, path, parts, score):
    def expect(right, words):
        finding.expect(right, f"{path.name}: {words}")

    magic, size, kind, count, division = unpack(">4sIHHH", path.read_bytes()[:14])
    expect(magic == b"MThd" and size == 6, f"header {magic}, {size}")
    expect(kind == 1, f"format {kind}, not 1")
    expect(count == len(parts) + 1, f"{count} tracks for {len(parts)} parts")
    expect(0 < division < 0x8000, f"division {division} is not one of ticks in a quarter")
    file, tracks = played.read(path)
    expect(len(tracks) == count, f"{count} tracks announced, {len(tracks)} there")
    frame = _frame(score)
    for index, track in enumerate(tracks):
        last = file.tracks[index][-1].type
        expect(last == "end_of_track", f"track {index} ends with {last}")
        expect(track.end == frame.length, f"track {index} ends at {track.end}, not {frame.length}")
        expect(not track.hanging, f"track {index}: {track.hanging[:3]}")
    _conductor(expect, tracks[0], frame)
    for part, track in zip(parts, tracks[1:]):
        _sound(expect, part, track)
    places = [(t.port, c) for p, t in zip(parts, tracks[1:]) for c in t.channels
              if not p.only_percussion and c != 9]
    expect(len(places) == len(set(places)), "two players share a channel")
    _seats(expect, parts, tracks[1:])


class _frame:
    """What track 0 must hold, unrolled from a MusicXML score."""

    def __init__(self, parts):
        # Keys of a part that sounds as it is written and has a key signature.
        concert = next(
            (p for p in parts if not p.only_percussion and p.bars[0].signature[1]
             and all(bar.transposition[0] % 7 == 0 for bar in p.bars)), None)
        self.metres, self.keys, self.marks = [], [], []
        first = parts[0]
        self.tempos, self.changes = tempos.played(parts)
        entered = set()
        for index, now in first.places:
            bar = first.bars[index]
            full = Fraction(4 * bar.metre[0], bar.metre[1])
            # A bar of another length than its metre is counted by what it has.
            self.metres.append((now, bar.metre if bar.length == full else bar.length))
            if concert:
                self.keys.append((now, concert.bars[index].signature))
            # The title of a movement stands where it is first played.
            titles = bar.titles if index not in entered else []
            entered.add(index)
            self.marks.extend((now, mark) for mark in [*titles, *bar.marks])
        self.length = first.length
        # A metre that none of its bars fills is not the metre of these bars.
        self.unfilled = []
        for metre, run in groupby(first.bars, key=lambda bar: bar.metre):
            lengths = [bar.length for bar in run]
            if len(lengths) > 1 and Fraction(4 * metre[0], metre[1]) not in lengths:
                self.unfilled.append(metre)


def _in_force(events, now):
    return next((value for at, value in reversed(events) if at <= now), None)


# Key signatures as mido names them: fifths and mode.
MAJOR = ["Cb", "Gb", "Db", "Ab", "Eb", "Bb", "F", "C", "G", "D", "A", "E", "B", "F#", "C#"]
MINOR = ["Ab", "Eb", "Bb", "F", "C", "G", "D", "A", "E", "B", "F#", "C#", "G#", "D#", "A#"]


def _conductor(expect, track, frame):
    expect(not track.notes and not track.channels, "notes in the first track")
    expect(bool(track.name), "the first track has no name")
    metres = [(at, (m.numerator, m.denominator)) for at, m in played.meta(track, "time_signature")]
    for now, wanted in frame.metres:
        there = _in_force(metres, now)
        if isinstance(wanted, Fraction):
            right = there is not None and Fraction(4 * there[0], there[1]) == wanted
        else:
            right = there == wanted
        expect(right, f"quarter {now}: metre {there}, not {wanted}")
    expect(not frame.unfilled, f"no bar is as long as its metre {frame.unfilled}")
    keys = [(at, m.key) for at, m in played.meta(track, "key_signature")]
    before = None
    for now, (fifths, mode) in frame.keys:
        major, minor = MAJOR[fifths + 7], f"{MINOR[fifths + 7]}m"
        wanted = minor if mode == "minor" else major
        there = _in_force(keys, now)
        # A change of mode alone prints no signature: until the next one only the signs are known.
        held = before == (fifths, mode) and there in (major, minor)
        expect(there == wanted or held, f"quarter {now}: key {there}, not {wanted}")
        before = (fifths, mode)
    there = _without_repetitions(
        (at, m.tempo) for at, m in played.meta(track, "set_tempo"))
    wanted = _without_repetitions((at, round(micros)) for at, micros in frame.tempos)
    times = [at for at, _ in there]
    expect(times == [at for at, _ in wanted],
           f"tempo changes {_differences(times, [at for at, _ in wanted])}")
    for (at, micros), (_, right) in zip(there, wanted):
        # One microsecond for the rounding.
        expect(abs(micros - right) <= 1, f"quarter {at}: tempo {micros}, not {right}")
    for faster, moments in frame.changes:
        run = [_in_force(there, moment) for moment in moments]
        # What follows in one step of a change has one tempo.
        run = [micros for micros, _ in groupby(run)]
        expect(run == sorted(set(run), reverse=faster),
               f"from quarter {moments[0]} on: tempos {run[:6]} do not go one way")
    marks = [(at, m.text) for at, m in played.meta(track, "marker")]
    # mido reads texts as Latin-1, the files are UTF-8.
    marks = [(at, text.encode("latin-1").decode()) for at, text in marks]
    expect(marks == frame.marks, f"markers {marks}, not {frame.marks}")


def _without_repetitions(events):
    found = []
    for at, value in events:
        if not found or found[-1][1] != value:
            found.append((at, value))
    return found


def _differences(there, wanted):
    alone, missing = sorted(set(there) - set(wanted)), sorted(set(wanted) - set(there))
    return f"at {[str(at) for at in alone[:6]]}, none at {[str(at) for at in missing[:6]]}"


VOLUME, PAN, EXPRESSION = 7, 10, 11
PERCUSSION = 9


def _seats(expect, parts, tracks):
    """Each player has his place and volume from the beginning, and those who share the number of a
    channel on two ports have one program where that can be."""
    first_port, shared = {}, {}
    for part, track in zip(parts, tracks):
        own = [event for event in track.controllers if event[1] != PERCUSSION]
        if part.only_percussion:
            own = [event for event in track.controllers if event[1] == PERCUSSION]
        for number in (VOLUME, PAN):
            times = [now for now, _, controller, _ in own if controller == number]
            expect(times == [0], f"{part.name}: controller {number} at {times}")
        swells = [(now, value) for now, _, controller, value in own if controller == EXPRESSION]
        expect(swells[:1] == [(0, 90)], f"{part.name}: expression {swells[:1]}")
        pan = next((value for _, _, controller, value in own if controller == PAN), 64)
        kind = part.name.lower() if part.first.kind == "violin" else part.first.kind
        side = published.SIDES.get(kind)
        if side and len(part.instruments) == 1:
            expect((pan - 64) * side > 0, f"{part.name}: pan {pan}")
        if track.port == 0 and track.programs:
            first_port.setdefault(track.programs[0][1], set()).update(track.channels)
        drums = {(now, *rest) for now, *rest in track.controllers if rest[0] == PERCUSSION}
        if drums:
            expect(drums == shared.setdefault("all", drums), f"{part.name}: moves other percussion")
    for part, track in zip(parts, tracks):
        if track.port > 0 and track.programs and track.programs[0][1] in first_port:
            expect(track.channels - {PERCUSSION} <= first_port[track.programs[0][1]],
                   f"{part.name}: shares channels {track.channels} with other instruments")


def _sound(expect, part, track):
    name = track.name.encode("latin-1").decode()
    expect(bool(name) and part.name.startswith(name), f"track {name!r} for part {part.name!r}")
    strokes, allowed, needed = set(), set(), set()
    for one in part.instruments.values():
        if one.percussion_key is not None:
            keys = published.PERCUSSION_KEYS[one.kind]
            expect(one.percussion_key in keys, f"{part.name}: key {one.percussion_key} in MusicXML")
            strokes |= keys
            continue
        wanted = published.PROGRAMS[one.kind]
        expect(one.program == wanted, f"{part.name}: program {one.program} in MusicXML")
        allowed.add(wanted)
        needed.add(wanted)
        if one.sound.startswith("strings.") and one.kind != "harp":
            allowed.add(published.PIZZICATO)
        if one.kind == "trumpet":
            allowed.add(published.MUTED_TRUMPET)
    if part.only_percussion:
        expect(track.channels <= {9}, f"{part.name}: channels {track.channels}")
        wrong = {key for _, _, key in track.notes} - strokes
        expect(not wrong, f"{part.name}: keys {wrong}")
        return
    first = track.programs[0] if track.programs else None
    expect(first is not None and first[0] == 0, f"{part.name}: no program at the beginning")
    programs = {program + 1 for _, program in track.programs}
    expect(programs <= allowed, f"{part.name}: programs {programs}, not among {allowed}")
    # Who takes another instrument sounds like it from then on.
    if len(part.instruments) > 1:
        expect(needed <= programs, f"{part.name}: programs {programs}, not all of {needed}")
    expect(len(track.channels - {9}) == 1 and (strokes or 9 not in track.channels),
           f"{part.name}: channels {track.channels}")


def _parts_as_in_score(finding, scoring):
    """A part alone sounds what it sounds in the score."""
    _, tracks = played.read(scoring.score("mid"))
    for path, in_score in zip(scoring.parts("mid"), tracks[1:], strict=True):
        _, alone = played.read(path)
        finding.expect(
            alone[1].notes == in_score.notes,
            f"{path.name} does not sound as its track in the score",
        )
