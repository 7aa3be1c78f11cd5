"""Players who read two staves: what stands on which, in MusicXML and in text.

Sources: MusicXML 4.0 (W3C Music Notation Community Group, 2021), `staves`, `staff`, `backup`; the
project's own promises: a harp reads two staves, a harpsichord too unless it has nothing but a
bass line, the hands do not cross within a chord, and a brace joins two rows of notes.
"""

import re

import written
from outputs import Finding
from pitches import key

UPPER, LOWER = "⎧", "⎩"
ALTERATIONS = {"": 0, "♮": 0, "♯": 1, "♯♯": 2, "♭": -1, "♭♭": -2}
HELD = re.compile(r"…[A-G0-9♭♯♮&]*")
NAME = re.compile(r"([A-G])(♯♯|♭♭|♯|♭|♮)?(\d)?")


def check(scorings):
    for scoring in scorings:
        finding = Finding(f"two staves of a player: {scoring.name}")
        for path in scoring.files("musicxml"):
            parts = written.read(path)
            for part in parts:
                wrong = list(mistakes(part))
                finding.expect(not wrong, f"{path.name}: {part.name}: {'; '.join(wrong[:3])}")
            _text(finding, path.with_suffix(".txt"), parts)
        yield finding


def mistakes(part):
    """What is wrong with how a part is laid out on its staves."""
    if part.staves != wanted_staves(part):
        yield f"{part.staves} staves"
    staves = range(1, part.staves + 1)
    if [staff for staff, _ in part.bars[0].staff_clefs] != list(staves):
        yield f"begins with clefs {part.bars[0].staff_clefs}"
    staves_of = {}
    for bar in part.bars:
        for sign in bar.signs:
            staves_of.setdefault(sign.voice, set()).add(sign.staff)
    if sorted(map(sorted, staves_of.values())) != [[staff] for staff in staves]:
        yield f"voices on staves {staves_of}"
    # Below the upper staff, which is between the two; a bass with figures under it has them above.
    side = "above" if any(bar.figured for bar in part.bars) else "below"
    for bar in part.bars:
        for staff in staves:
            ends = 0
            for sign in bar.signs:
                if sign.staff != staff or sign.chord or sign.grace:
                    continue
                if sign.start != ends:
                    yield f"bar {bar.number}, staff {staff}: {sign.start} follows on {ends}"
                ends = sign.start + sign.length
            if ends != bar.length:
                yield f"bar {bar.number}, staff {staff} ends at {ends}, not {bar.length}"
        if set(bar.dynamics) - {(1, side)}:
            yield f"bar {bar.number}: dynamics on staves {bar.dynamics}"
        yield from _crossings(bar)


def wanted_staves(part):
    if part.first.kind == "harp":
        return 2
    if part.first.kind != "harpsichord":
        return 1
    signs = [sign for bar in part.bars for sign in bar.signs]
    alone = part.bars[0].clefs == ["F4"] and not any(sign.chord for sign in signs)
    return 1 if alone else 2


def _crossings(bar):
    """Chords in both hands of which the lower one has the higher note."""
    struck = {}
    for sign in bar.signs:
        if sign.head and not sign.grace:
            struck.setdefault(sign.start, {}).setdefault(sign.staff, []).append(key(*sign.head))
    for start, hands in struck.items():
        if len(hands) == 2 and max(hands[2]) > min(hands[1]):
            yield f"bar {bar.number}, quarter {start}: the hands cross, {hands}"


def _text(finding, path, parts):
    """The rows of notes that a brace joins name what the MusicXML file has on the staves."""
    shown = _shown(path.read_text(encoding="utf-8"))
    two = [part for part in parts if part.staves == 2]
    if not two:
        return finding.expect(not shown, f"{path.name}: a brace for no part")
    for part in two:
        name = part.abbreviation if path.stem == "score" else ""
        for staff, rows in enumerate(shown.pop(name, ("", "")), start=1):
            named, wanted = _names(rows), _heads(part, staff)
            place = next((n for n, (a, b) in enumerate(zip(named, wanted)) if a != b), None)
            finding.expect(
                named == wanted,
                f"{path.name}: {part.name}, staff {staff}: {len(named)} notes, not {len(wanted)}; "
                f"they differ from note {place} on",
            )
    finding.expect(not shown, f"{path.name}: a brace for {list(shown)}")


def _shown(text):
    """For each name at the left, the rows of the upper and of the lower staff."""
    shown, name = {}, None
    for line in text.splitlines():
        if (end := line.find(UPPER)) >= 0 and LOWER not in line:
            name = line[:end].strip()
            shown.setdefault(name, ["", ""])[0] += line[end:] + "\n"
        elif (end := line.find(LOWER)) >= 0 and UPPER not in line:
            shown.setdefault(name, ["", ""])[1] += line[end:] + "\n"
    return shown


def _names(rows):
    """The notes that rows name; an octave holds until the next one."""
    named, octave = [], None
    for letter, sign, number in NAME.findall(HELD.sub("", rows)):
        octave = int(number) if number else octave
        named.append((letter, ALTERATIONS[sign], octave))
    return named


def _heads(part, staff):
    signs = [sign for bar in part.bars for sign in bar.signs if sign.staff == staff]
    return [sign.head for sign in signs if sign.head and not sign.tied_on]
