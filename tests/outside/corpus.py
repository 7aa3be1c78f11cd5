"""Public scores as sources of ours: which there are, and how one is written.

music21 carries a corpus of scores. Those whose parts are all named after instruments of our
catalogue are written for these; chorales in four parts are set on strings. Nothing is picked by
hand: the corpus is gone through in its own order.

Every part becomes a voice at sounding pitch for one player. What the converter does not carry over:
repeats, hairpins, ornaments other than trills and grace notes, notes that are not printed (they play
ornaments out), and in bars with two voices on one staff those notes of the second that do not move
with the first; these are counted as `left_out`.

Old editions write high cello notes in a treble clef that is read an octave lower. Whether a score
does shows at its changes of clef: read wrongly, the line leaps an octave more at each of them.
"""

import hashlib
import re
import zipfile
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path

from lxml import etree
from music21 import articulations, chord, clef, converter, corpus, dynamics, expressions, key, note
from music21 import spanner, tempo

import ornaments
import sounding

# Years in which works were written, by the beginning of a digest of their place in the corpus; the
# year becomes the era of the ensemble. From general works of reference, from memory.
YEARS = {
    "7f7bf97f": 1758, "22f61397": 1793, "792592d2": 1770, "98e29776": 1772, "19041362": 1772,
    "bee36441": 1784, "6f689532": 1800, "628f4519": 1800, "bc284003": 1800, "9daf28d1": 1800,
    "59662585": 1806, "fe11e1c9": 1806, "ce0af6d0": 1806, "3e585f40": 1809, "26fbf93d": 1825,
    "1a3f65b7": 1825, "b49d0518": 1842, "a88074f2": 1725,
}
# Misprints: two notes for one string, or a note below the lowest string. Digest of the work's folder
# and name -> part and bar, counted from 0, and the note.
MISPRINTS = {
    "26fbf93d": (2, 186, "D3"),
    "8735ab3f": (3, 273, "B1"),
    "b4066c6e": (1, 69, "A#3"),
}
CHORALE = ["soprano", "alto", "tenor", "bass"]
# What stands beside the instrument in the name of a part.
ORDINALS = re.compile(r"\b(1st|2nd|3rd|4th|i|ii|iii|iv|\d+)\b|[^a-z ]")
MARKS = {
    articulations.Staccato: "stacc",
    articulations.Staccatissimo: "staccatissimo",
    articulations.Tenuto: "tenuto",
    articulations.Accent: "accent",
    articulations.StrongAccent: "marcato",
    articulations.UpBow: "up-bow",
    articulations.DownBow: "down-bow",
}
GRACES = {"half": "1/2", "quarter": "1/4", "eighth": "1/8", "16th": "1/16", "32nd": "1/32"}
DYNAMICS = {name: name for name in "ppp pp p mp mf f ff fff fp sf sfz".split()}
DYNAMICS |= {"fz": "sf", "rf": "sf", "rfz": "sf", "sfp": "fp"}
# Signs that change how long a note sounds, as MusicXML names them.
SHORT = {
    articulations.Staccato: "staccato",
    articulations.Staccatissimo: "staccatissimo",
    articulations.Tenuto: "tenuto",
}


class Unconvertible(Exception):
    """Something that the converter does not carry over and cannot leave out."""


@dataclass(frozen=True)
class Work:
    """A score of the corpus, and what its parts are played on."""

    path: Path
    players: tuple
    """Year of the instruments and customs."""
    era: int
    """Whether the score was written for these instruments."""
    own: bool


@dataclass
class Event:
    """A note, chord or rest in its bar; times in quarters."""

    at: Fraction
    length: Fraction
    """Pitches with their ties, the lowest first; none is a rest."""
    heads: list
    things: list
    ratio: tuple | None = None
    graces: list = field(default_factory=list)


@dataclass
class Source:
    """A source, what it must sound part by part, and how much of the score it holds."""

    text: str
    struck: list
    bars: int
    """Who plays them, in the order of the score."""
    players: list = field(default_factory=list)
    notes: int = 0
    left_out: int = 0


def part_names(path):
    """The names of the parts of a MusicXML file, without reading its music."""
    data = path.read_bytes()
    if path.suffix == ".mxl":
        with zipfile.ZipFile(path) as archive:
            inside = [name for name in archive.namelist() if not name.startswith("META-INF")]
            data = archive.read(next(n for n in inside if n.endswith((".xml", ".musicxml"))))
    return [
        " ".join(name.itertext()).strip().lower()
        for name in etree.fromstring(data).findall("part-list/score-part/part-name")
    ]


def digest(place):
    return hashlib.sha256(place.encode()).hexdigest()[:8]


def year(path):
    """The year of a work, by its place in the corpus or that of its folder."""
    place = f"{path.parent.name}/{path.stem}"
    if path.stem.startswith("movement"):
        place = f"{path.parent.parent.name}/{path.parent.name}"
    return YEARS.get(digest(place)) or YEARS.get(digest(path.parent.name))


def instruments(names, catalogue):
    """The instrument of each part, if the catalogue has all of them."""
    plain = [" ".join(ORDINALS.sub(" ", name).split()) for name in names]
    found = [catalogue.get(name) for name in plain]
    return found if None not in found else None


def works(catalogue):
    """All works of 3 to 20 parts. `catalogue` has the id of each instrument by its names."""
    for path in sorted(map(Path, corpus.getPaths())):
        era = year(path)
        if era is None or path.suffix not in (".mxl", ".xml", ".musicxml"):
            continue
        names = part_names(path)
        found = instruments(names, catalogue)
        if names == CHORALE:
            yield Work(path, (), era, own=False)
        elif found is not None and 3 <= len(found) <= 20:
            yield Work(path, tuple(numbered(found)), era, own=True)


def numbered(ids):
    """Players' names: sections of one instrument are numbered."""
    for index, one in enumerate(ids):
        several = ids.count(one) > 1
        yield f"{one}-{ids[: index + 1].count(one)}" if several else one


def set_on_strings(parts):
    """Four voices on strings: each part on the highest instrument that goes down far enough."""
    lowest = [min((p.midi for _, e in part for p, _ in e.heads), default=60) for part in parts]
    kinds = ["violin" if low >= 55 else "viola" if low >= 48 else "cello" for low in lowest]
    return list(numbered(kinds))


def convert(work):
    """A work as a source."""
    score = converter.parse(work.path).toSoundingPitch(inPlace=False)
    for part, player in zip(score.parts, work.players, strict=False):
        if player.startswith("cello"):
            _read_old_treble(part)
    staves = [list(part.getElementsByClass("Measure")) for part in score.parts]
    if len({len(staff) for staff in staves}) != 1:
        raise Unconvertible("the parts have different numbers of bars")
    result = Source("", [], len(staves[0]))
    bars = [[_events(measure, result) for measure in staff] for staff in staves]
    _mend(work.path, bars)
    form, lengths, first = _form(staves, bars)
    players = list(work.players) or set_on_strings([list(_numbered(part)) for part in bars])
    result.players = players
    slurred = [_slurs(score, part) for part in bars]
    voices = []
    for number, (staff, part) in enumerate(zip(staves, bars, strict=True), start=1):
        written = _voice(staff, part, lengths, first, slurred[number - 1])
        voices += [f"voice part-{number} {{", *written, "}"]
        result.struck.append(_struck(part, lengths, first))
    roles = ["melody"] + ["harmony"] * (len(players) - 2) + ["bass"]
    solo = " solo" if work.own else ""
    lines = [
        f"  {player} plays part-{number} as {role}{solo}"
        for number, (player, role) in enumerate(zip(players, roles, strict=True), start=1)
    ]
    ensemble = ["ensemble players {", f"  era {work.era}", f"  {', '.join(players)}", "}"]
    scoring = ["scoring as-written for players {", *lines, "}"]
    text = ['piece "From the corpus" {', "}", *form, *voices, *ensemble, *scoring]
    result.text = "\n".join(text) + "\n"
    return result


def _numbered(part):
    for index, events in enumerate(part):
        for event in events:
            yield index, event


# Reading.


def _read_old_treble(part):
    """Lowers the notes in treble clef by an octave where the line flows better so."""
    clefs = [
        (thing, isinstance(thing.getContextByClass(clef.Clef), clef.TrebleClef))
        for thing in part.recurse().notes
        if not thing.duration.isGrace
    ]
    written = lowered = 0
    for (before, high), (after, now_high) in zip(clefs, clefs[1:]):
        if high != now_high:
            leap = after.pitches[0].ps - before.pitches[0].ps
            written += abs(leap)
            lowered += abs(leap + (12 if high else -12))
    if lowered < written:
        for thing in part.recurse().notes:
            if isinstance(thing.getContextByClass(clef.Clef), clef.TrebleClef):
                for pitch in thing.pitches:
                    pitch.octave -= 1


def _event(thing, measure):
    length = sounding.exact(thing.duration.quarterLength)
    if len(thing.duration.tuplets) > 1:
        raise Unconvertible("a tuplet inside a tuplet")
    ratio = None
    for tuplet in thing.duration.tuplets:
        ratio = (tuplet.numberNotesActual, tuplet.numberNotesNormal)
        if max(ratio) > 16:
            raise Unconvertible("a tuplet of more than 16")
    return Event(sounding.exact(thing.getOffsetInHierarchy(measure)), length, _heads(thing), [thing], ratio)


def _heads(thing):
    if isinstance(thing, note.Rest):
        return []
    single = thing.notes if isinstance(thing, chord.Chord) else [thing]
    ties = [(one.pitch, (one.tie or thing.tie)) for one in single]
    return sorted(((p, tie.type if tie else None) for p, tie in ties), key=lambda head: head[0].ps)


def _events(measure, result):
    """One line of a bar, gaps filled with rests."""
    found = []
    for layer in list(measure.voices) or [measure]:
        graces = []
        for thing in layer.notesAndRests:
            if thing.style.hideObjectOnPrint and not thing.isRest:
                continue
            if thing.duration.isGrace:
                graces.append(thing)
            elif thing.duration.quarterLength > 0 and "Harmony" not in thing.classSet:
                event = _event(thing, measure)
                if event.heads:
                    event.graces, graces = graces, []
                _place(found, event, result)
    return _filled(found)


def _place(found, event, result):
    """Puts an event into the line if nothing else sounds there, or into a chord that moves with it."""
    result.notes += len(event.heads)
    end = event.at + event.length
    meets = [other for other in found if other.at < end and event.at < other.at + other.length]
    same = [other for other in meets if (other.at, other.length) == (event.at, event.length)]
    if not event.heads and meets:
        return
    if not any(other.heads for other in meets):
        found[:] = [other for other in found if other not in meets] + [event]
    elif same:
        _merge(same[0], event)
    else:
        result.left_out += len(event.heads)
    found.sort(key=lambda other: other.at)


def _merge(into, event):
    known = {pitch.midi for pitch, _ in into.heads}
    new = [head for head in event.heads if head[0].midi not in known]
    into.heads = sorted(into.heads + new, key=lambda head: head[0].ps)
    into.things += event.things
    into.graces = into.graces or event.graces


def _filled(found):
    line, now = [], Fraction(0)
    for event in found:
        if event.at > now:
            line.append(Event(now, event.at - now, [], []))
        line.append(event)
        now = event.at + event.length
    return line


def _mend(path, bars):
    """Leaves notes out that cannot have been meant."""
    part, index, wrong = MISPRINTS.get(digest(f"{path.parent.name}/{path.stem}"), (0, 0, None))
    for event in bars[part][index]:
        event.heads = [head for head in event.heads if head[0].nameWithOctave != wrong]


# What must sound.


def _struck(part, lengths, first):
    struck, now = [], Fraction(0)
    for index, events in enumerate(part):
        for event in filter(lambda event: event.heads, events):
            heads = [(pitch.midi, tie) for pitch, tie in event.heads]
            signs = {SHORT[type(a)] for t in event.things for a in t.articulations if type(a) in SHORT}
            # Where our own page needs a tie, it has no dot.
            signs |= {"tied perhaps"}
            if _trill(event):
                signs.add("trill-mark")
            strokes = sounding.strokes_of(event.things[0])
            graces = [sorted(p.midi for p in grace.pitches) for grace in event.graces]
            beside = (graces, ornaments.UNKNOWN)
            whole = (event.at, event.length, heads, signs, strokes, *beside)
            sounding.add(struck, whole, now, True, index + first)
        now += lengths[index]
    return struck


def _trill(event):
    return any(isinstance(e, expressions.Trill) for thing in event.things for e in thing.expressions)


# Writing.


def value(quarters):
    whole = Fraction(quarters) / 4
    if whole.denominator.bit_count() != 1 or whole.denominator > 128:
        raise Unconvertible(f"a value of {whole}")
    return f"{whole.numerator}/{whole.denominator}"


def spelled(pitch):
    alter = pitch.alter
    if alter != int(alter) or abs(alter) > 2:
        raise Unconvertible(f"the pitch {pitch}")
    return f"{pitch.step}{'#' * int(alter) if alter > 0 else 'b' * -int(alter)}{pitch.octave}"


def _form(staves, bars):
    """The form, the length of every bar in quarters, and the number of the first bar."""
    lines, lengths, first, metre, current = [], [], 1, None, None
    for index, measure in enumerate(staves[0]):
        items = []
        metre = measure.timeSignature or metre
        if metre is None:
            raise Unconvertible("no metre")
        if metre.ratioString != current:
            current = metre.ratioString
            items.append(f"metre {current}")
        for signature in measure.getElementsByClass(key.KeySignature)[:1]:
            items.append(f"key {_key(signature)}")
        if index == 0 and not any(item.startswith("key") for item in items):
            items.append("key C major")
        full = sounding.exact(metre.barDuration.quarterLength)
        ends = [part[index][-1].at + part[index][-1].length for part in bars if part[index]]
        length = max(ends, default=full)
        if length != full:
            pick_up = index == 0 and length < full
            first = 0 if pick_up else first
            items.append(f"{'pick-up' if pick_up else 'length'} {value(length)}")
        items += _tempo(staves, index)
        lengths.append(length)
        if items:
            lines.append(f"  {index + first} {', '.join(items)}")
    lines.append(f"  {len(lengths) - 1 + first} end")
    return ["form {", *lines, "}"], lengths, first


def _key(signature):
    mode = getattr(signature, "mode", None)
    tonality = signature if mode in ("major", "minor") else signature.asKey("major")
    return f"{tonality.tonic.name.replace('-', 'b')} {tonality.mode}"


def _tempo(staves, index):
    for staff in staves:
        for mark in staff[index].recurse().getElementsByClass(tempo.MetronomeMark):
            quarters = mark.getQuarterBPM()
            if quarters:
                return [f"tempo 1/4 at {round(quarters)}"]
        for words in staff[index].recurse().getElementsByClass(expressions.TextExpression):
            first = re.match(r"[a-z]*", words.content.strip().lower())[0]
            if first in tempo.defaultTempoValues:
                return [f"tempo 1/4 at {tempo.defaultTempoValues[first]}"]
    return []


def _slurs(score, part):
    """Positions of the events at which slurs begin and end; slurs that overlap are left out."""
    positions = {}
    for position, (_, event) in enumerate(_numbered(part)):
        for thing in event.things:
            positions[id(thing)] = position
    pairs = []
    for slur in score.recurse().getElementsByClass(spanner.Slur):
        pair = positions.get(id(slur.getFirst())), positions.get(id(slur.getLast()))
        if None not in pair and pair[0] < pair[1]:
            pairs.append(pair)
    begins, ends, free = set(), set(), 0
    for begin, end in sorted(pairs):
        if begin >= free:
            begins.add(begin)
            ends.add(end)
            free = end + 1
    return begins, ends


def _voice(staff, part, lengths, first, slurred):
    """The bars of a voice."""
    writer = _Writer(*slurred)
    for index, events in enumerate(part):
        filled = list(events)
        end = filled[-1].at + filled[-1].length if filled else Fraction(0)
        if lengths[index] > end:
            filled.append(Event(end, lengths[index] - end, [], []))
        directions = _directions(staff[index])
        tokens = writer.bar(filled, directions, len(events))
        yield f"  {index + first}: {' '.join(tokens)} |"


def _directions(measure):
    """(offset, words) of dynamics and of changes between bow and plucking."""
    found = []
    for mark in measure.recurse().getElementsByClass([dynamics.Dynamic, expressions.TextExpression]):
        offset = sounding.exact(mark.getOffsetInHierarchy(measure))
        if isinstance(mark, dynamics.Dynamic):
            word = DYNAMICS.get(mark.value)
        else:
            plucked = re.search(r"\b(pizz|arco)", mark.content.lower())
            word = plucked[1] if plucked else None
        if word:
            found.append((offset, word))
    return sorted(dict(found).items())


class _Writer:
    """Writes a voice bar by bar; remembers what the next bar may hold on."""

    def __init__(self, begins, ends):
        self.begins, self.ends = begins, ends
        self.position = 0
        self.before = None
        self.plucked = False

    def bar(self, events, directions, counted):
        tokens, group = [], []
        waiting = list(directions)
        for index, event in enumerate(events):
            words = []
            while waiting and waiting[0][0] <= event.at and event.heads:
                word = waiting.pop(0)[1]
                words = [f"[{word}]"]
                self.plucked = word == "pizz" or (self.plucked and word != "arco")
            if self.plucked and event.things and self.position in self.begins:
                # Nobody plucks a slur: the score has lost its `arco`.
                words, self.plucked = [*words, "[arco]"], False
            written = [*words, *self._event(event)]
            self.position += index < counted
            if event.ratio is None:
                if group:
                    raise Unconvertible("a tuplet that is not full")
                tokens += written
                continue
            group.append((event, written))
            if self._full(group):
                inside = " ".join(token for _, tokens in group for token in tokens)
                tokens.append(f"{event.ratio[0]}:{event.ratio[1]}({inside})")
                group = []
        if group:
            raise Unconvertible("a tuplet that is not full")
        return tokens

    @staticmethod
    def _full(group):
        actual, normal = group[0][0].ratio
        if any(event.ratio != (actual, normal) for event, _ in group):
            raise Unconvertible("a tuplet of two kinds")
        unit = sum(event.length for event, _ in group) / normal / 4
        return unit.numerator == 1 and unit.denominator.bit_count() == 1

    def _event(self, event):
        actual, normal = event.ratio or (1, 1)
        length = value(event.length * actual / normal)
        begins, ends = self.position in self.begins, self.position in self.ends
        before, self.before = self.before, event
        opening, closing = "{" if begins and event.things else "", "}" if ends and event.things else ""
        if not event.heads:
            return [f"{length} rest"]
        if _held(before, event):
            return [f"{opening}{length} ={_marks(event, held=True)}{closing}"]
        names = "&".join(spelled(pitch) for pitch, _ in event.heads)
        return [*_graces(event), f"{opening}{length} {names}{_marks(event)}{closing}"]


def _held(before, event):
    if before is None or any(tie not in ("stop", "continue") for _, tie in event.heads):
        return False
    opened = all(tie in ("start", "continue") for _, tie in before.heads)
    return opened and [p.midi for p, _ in before.heads] == [p.midi for p, _ in event.heads]


def _graces(event):
    tokens = []
    for grace in event.graces:
        written = GRACES.get(grace.duration.type, "1/8")
        names = "&".join(spelled(pitch) for pitch in sorted(grace.pitches))
        tokens.append(f"{written} {names}")
    return [f"grace({' '.join(tokens)})"] if tokens else []


def _marks(event, held=False):
    words = []
    for thing in event.things if not held else []:
        words += [MARKS[type(a)] for a in thing.articulations if type(a) in MARKS]
        strokes = sounding.strokes_of(thing)
        if strokes is not None:
            words.append(f"tremolo {value(strokes)}")
    if _trill(event):
        words.append("trill")
    return f"[{' '.join(dict.fromkeys(words))}]" if words else ""
