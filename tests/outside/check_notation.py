"""What a copyist looks for in a MusicXML file, beyond what its schema can say.

The rules are those of the format (MusicXML 4.0, W3C Music Notation Community Group, 2021) and of
notation (Gould, Behind Bars, 2011, from memory): values fill their times, ties, slurs, hairpins
and beams that begin also end, every accidental that is needed is there, rests of several bars hold
nothing but rests. It reads plain XML and knows nothing of the program.
"""

from collections import Counter, defaultdict
from fractions import Fraction

from lxml import etree

from outputs import Finding

TYPES = {
    "breve": Fraction(8), "whole": Fraction(4), "half": Fraction(2), "quarter": Fraction(1),
    **{name: Fraction(1, 2**power) for power, name in enumerate(
        ("eighth", "16th", "32nd", "64th", "128th", "256th", "512th", "1024th"), start=1)},
}
SHARPS = "FCGDAEB"
ALTERS = {"sharp": 1, "flat": -1, "natural": 0, "double-sharp": 2, "flat-flat": -2}


def check(scorings):
    for scoring in scorings:
        finding = Finding(f"notation: {scoring.name}")
        for path in scoring.files("musicxml"):
            _file(finding, path)
        yield finding
        condensed = scoring.folder / "score-condensed.musicxml"
        if condensed.is_file():
            yield _condensed(scoring, condensed)


def _file(finding, path):
    root = etree.parse(str(path)).getroot()
    _channels(finding, path, root)
    for part in root.iter("part"):
        _part(finding, path, part)


def _channels(finding, path, root):
    """No two players with pitch share a channel of one port."""
    ports = {device.get("id"): device.get("port") for device in root.iter("midi-device")}
    places = defaultdict(set)
    for entry in root.iter("score-part"):
        for one in entry.iter("midi-instrument"):
            if one.find("midi-unpitched") is None:
                place = (ports.get(one.get("id")), one.findtext("midi-channel"))
                places[place].add(one.get("id").split("-")[0])
    for place, players in places.items():
        finding.expect(len(players) == 1, f"{path.name}: {sorted(players)} share {place}")


class _State:
    """What is open in a part."""

    def __init__(self):
        self.slurs, self.wedges, self.ties = set(), set(), {}
        self.rest_left, self.number = 0, None
        self.signature, self.divisions = 0, 1


def _part(finding, path, part):
    state = _State()
    where = f"{path.parent.parent.name}/{path.name} {part.get('id')}"
    for measure in part.iter("measure"):
        _measure(finding, f"{where} bar {measure.get('number')}", measure, state)
    finding.expect(not state.slurs, f"{where}: slurs {state.slurs} never end")
    finding.expect(not state.wedges, f"{where}: hairpins {state.wedges} never end")


def _measure(finding, where, measure, state):
    number = int(measure.get("number"))
    # A movement begins with a line of its own, and may number its bars afresh.
    layout = measure.find("print")
    begins = layout is not None and layout.get("new-system") == "yes"
    follows = begins and number < 2 or state.number is None or number == state.number + 1
    # The up-beat of a section is the last part of the bar before, which a line divides.
    follows |= measure.get("implicit") == "yes" and number == state.number
    finding.expect(follows, f"{where} follows bar {state.number}")
    state.number = number
    stated, beams, stopped = {}, defaultdict(dict), {}
    if state.rest_left:
        state.rest_left -= 1
        rests = all(note.find("rest") is not None for note in measure.findall("note"))
        finding.expect(rests, f"{where}: notes inside a rest of several bars")
    signs = []
    now = Fraction(0)
    for element in measure:
        if element.tag == "attributes":
            state.divisions = int(element.findtext("divisions") or state.divisions)
            state.signature = int(element.findtext("key/fifths") or state.signature)
            if (rest := element.findtext("measure-style/multiple-rest")) is not None:
                state.rest_left = int(rest) - 1
                rests = all(note.find("rest") is not None for note in measure.findall("note"))
                finding.expect(rests and int(rest) > 1, f"{where}: a rest of {rest} bars")
        elif element.tag == "direction":
            _wedges(finding, where, element, state)
        elif element.tag == "backup":
            now -= Fraction(int(element.findtext("duration")), state.divisions)
        elif element.tag == "forward":
            now += Fraction(int(element.findtext("duration")), state.divisions)
        elif element.tag == "note":
            start = now if element.find("chord") is None else start
            if element.find("grace") is None and element.find("chord") is None:
                now += Fraction(int(element.findtext("duration")), state.divisions)
            _value(finding, where, element, state)
            _slurs(finding, where, element, state, stopped, start)
            _beams(finding, where, element, beams)
            signs.append((start, element))
    for slur in stopped:
        finding.expect(False, f"{where}: slur {slur} ends without a beginning")
    for voice, levels in beams.items():
        finding.expect(not levels, f"{where}: beams {dict(levels)} of voice {voice} never end")
    # Accidentals hold for the staff, whoever reads it; those of a cue are its own.
    for _, element in sorted(signs, key=lambda sign: sign[0]):
        if element.find("cue") is None:
            _accidental(finding, where, element, state, stated)


def _value(finding, where, note, state):
    if note.find("grace") is not None or (kind := note.findtext("type")) is None:
        return
    dots = len(note.findall("dot"))
    length = TYPES[kind] * (2 - Fraction(1, 2**dots))
    if (ratio := note.find("time-modification")) is not None:
        length *= Fraction(int(ratio.findtext("normal-notes")), int(ratio.findtext("actual-notes")))
    lasts = Fraction(int(note.findtext("duration")), state.divisions)
    finding.expect(length == lasts, f"{where}: a {kind} with {dots} dots lasts {lasts} quarters")


def _slurs(finding, where, note, state, stopped, start):
    """A slur from the lower staff of a player to the upper one begins, in the document, behind its end in the same
    bar, and earlier in time (MusicXML 4.0, number-level); `stopped` has such ends of the bar with their times."""
    slurs = note.findall("notations/slur")
    for slur in sorted(slurs, key=lambda slur: slur.get("type") != "stop"):
        number = slur.get("number")
        if slur.get("type") == "stop":
            finding.tested += 1
            if number in state.slurs:
                state.slurs.discard(number)
            else:
                stopped[number] = start
        elif number in stopped and start < stopped[number]:
            del stopped[number]
        else:
            finding.expect(number not in state.slurs, f"{where}: slur {number} begins twice")
            state.slurs.add(number)


def _wedges(finding, where, direction, state):
    for wedge in direction.iter("wedge"):
        number = wedge.get("number")
        if wedge.get("type") == "stop":
            finding.expect(number in state.wedges, f"{where}: hairpin {number} ends unbegun")
            state.wedges.discard(number)
        else:
            finding.expect(number not in state.wedges, f"{where}: hairpin {number} begins twice")
            state.wedges.add(number)


def _beams(finding, where, note, beams):
    """A beam begins, goes on and ends, each level inside the one before it. Grace notes are beamed
    among themselves."""
    if note.find("chord") is not None:
        return
    grace = note.find("grace") is not None
    open_ = beams[note.findtext("voice"), grace]
    levels = {int(beam.get("number")): beam.text for beam in note.findall("beam")}
    finding.expect(set(levels) == set(range(1, len(levels) + 1)), f"{where}: beams {levels}")
    for level, word in levels.items():
        begun = open_.get(level, False)
        right = not begun if word in ("begin", "forward hook", "backward hook") else begun
        finding.expect(right, f"{where}: beam {level} is {word!r} while open: {begun}")
        if word == "begin":
            open_[level] = True
        elif word == "end":
            open_.pop(level, None)
    rested = note.find("rest") is not None and not grace
    finding.expect(not (rested and open_ and not levels), f"{where}: a beam goes over a rest")


def _accidental(finding, where, note, state, stated):
    if (pitch := note.find("pitch")) is None:
        return
    step, octave = pitch.findtext("step"), pitch.findtext("octave")
    alter = int(pitch.findtext("alter") or 0)
    held = any(tie.get("type") == "stop" for tie in note.findall("tie"))
    shown = note.findtext("accidental")
    if held and shown is None:
        return
    sharps = SHARPS[: state.signature] if state.signature > 0 else ""
    flats = SHARPS[::-1][: -state.signature] if state.signature < 0 else ""
    key = 1 if step in sharps else -1 if step in flats else 0
    place = (note.findtext("staff"), step, octave)
    expected = stated.get(place, key)
    words = f"{where}: {step}{octave} altered by {alter} with the sign {shown}, read as {expected}"
    right = alter == (expected if shown is None else ALTERS[shown])
    finding.expect(right, words)
    # The format ends with octave 9, in which higher ones are folded: signs of two may stand there.
    if shown is not None and expected == alter and octave != "9":
        finding.expect(note.find("accidental").get("cautionary") == "yes", f"{words}: not needed")
    stated[place] = alter


def _notes(part, players):
    """Notes of a part bar by bar: start, length, written pitch, and how many players read each."""
    bars, divisions = [], 1
    for measure in part.iter("measure"):
        found, now, start = Counter(), Fraction(0), Fraction(0)
        for element in measure:
            if element.tag == "attributes":
                divisions = int(element.findtext("divisions") or divisions)
            elif element.tag == "backup":
                now -= Fraction(int(element.findtext("duration")), divisions)
            elif element.tag == "note" and element.find("grace") is None:
                length = Fraction(int(element.findtext("duration")), divisions)
                if element.find("chord") is None:
                    start, now = now, now + length
                if (pitch := element.find("pitch")) is not None:
                    name = tuple(pitch.findtext(tag) or "0" for tag in ("step", "alter", "octave"))
                    found[start, length, name] += 1
        unison = any(words.text == f"a {players}" for words in measure.iter("words"))
        bars.append((found, unison))
    return bars


def _condensed(scoring, path):
    """A shared staff has the notes of both who read it, and of nobody else."""
    finding = Finding(f"condensed score: {scoring.name}")
    whole = etree.parse(str(scoring.score("musicxml"))).getroot()
    # Who reads each staff of the full score: the halves of a section that divides share one there, too.
    full = {_players(entry): part
            for entry, part in zip(whole.iter("score-part"), whole.iter("part"), strict=True)}
    root = etree.parse(str(path)).getroot()
    for entry, part in zip(root.iter("score-part"), root.iter("part"), strict=True):
        players = _players(entry)
        if players in full:
            finding.expect(_same(part, full[players]), f"{players} is not as in the full score")
            continue
        own = [_notes(full[player,], 1) for player in players]
        for bar, (found, _) in enumerate(_notes(part, len(players))):
            wanted = [notes[bar][0] for notes in own]
            both = wanted[0] + wanted[1]
            unison = wanted[0] == wanted[1] and found == wanted[0]
            finding.expect(unison or found == both, f"{players} bar {bar + 1}: {found} for {wanted}")
    return finding


def _players(entry):
    return tuple(sorted({one.get("id").split("-")[0] for one in entry.iter("score-instrument")}))


def _same(one, other):
    return [bar for bar, _ in _notes(one, 1)] == [bar for bar, _ in _notes(other, 1)]
