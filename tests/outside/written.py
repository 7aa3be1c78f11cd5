"""What stands in a MusicXML file, read as plain XML.

Bars are unrolled here by the repeat and ending signs of the file, as a player would read them.
"""

from dataclasses import dataclass, field
from fractions import Fraction
from functools import cached_property

from lxml import etree

from pitches import key


@dataclass
class Sign:
    """One `note` of a file: a head of a note, or a rest. Times are in quarters from the bar."""

    staff: int
    voice: str
    start: Fraction
    length: Fraction
    # Letter, alteration, octave; none for a rest and a stroke without pitch.
    head: tuple | None
    grace: bool
    chord: bool
    tied_on: bool
    sounds: bool
    """The value that is printed: "quarter", whatever dots it has."""
    value: str
    """Is it where a string is touched that another head says is stopped?"""
    touched: bool = False


@dataclass
class Bar:
    """One measure of one part. Times are in quarters from the beginning of the bar."""

    number: int
    length: Fraction = Fraction(0)
    metre: tuple = (4, 4)
    signature: tuple = (0, "")
    clefs: list = field(default_factory=list)
    transposition: tuple = (0, 0)
    tempos: list = field(default_factory=list)
    marks: list = field(default_factory=list)
    """Titles of movements."""
    titles: list = field(default_factory=list)
    forward: bool = False
    backward: bool = False
    ending: tuple = ()
    ending_stops: bool = False
    heads: list = field(default_factory=list)
    """Instruments that the notes name, by their ids."""
    named: set = field(default_factory=set)
    signs: list = field(default_factory=list)
    # Staff and clef, where a clef says its staff.
    staff_clefs: list = field(default_factory=list)
    # Staff and placement of dynamics and hairpins.
    dynamics: list = field(default_factory=list)
    # Has it figures of a bass?
    figured: bool = False
    """Words beside the metronome mark."""
    words: list = field(default_factory=list)
    events: list = field(default_factory=list)
    """Where the music goes on, and places to which it does: the attributes of `sound`."""
    sounds: dict = field(default_factory=dict)
    """Does a further movement begin here? Does the next one follow at once?"""
    begins: bool = False
    attacca: bool = False


@dataclass
class Instrument:
    """One of the instruments of a part."""

    name: str
    sound: str
    program: int | None
    percussion_key: int | None

    @property
    def kind(self):
        """The name in small letters, as the published tables have it."""
        return self.name.lower()


# Signs on notes that change how long they sound or what is played in their place.
SIGNS = {"staccato", "staccatissimo", "tenuto", "breath-mark", "fermata", "trill-mark", "turn",
         "mordent", "arpeggiate"}


@dataclass
class Event:
    """A note, chord, grace note or rest as it stands in its bar; times in quarters."""

    offset: Fraction
    length: Fraction
    """Written pitches: letter, alteration, octave."""
    heads: list
    names: set
    tied_from: bool
    grace: bool
    """Is it a note, with or without pitch?"""
    sounds: bool
    staff: int


@dataclass
class Part:
    """One part of a file."""

    name: str
    instruments: dict
    abbreviation: str = ""
    staves: int = 1
    bars: list = field(default_factory=list)
    """The bars of the part over which tempos and jumps stand."""
    leading: list = field(default_factory=list)

    @property
    def first(self):
        return next(iter(self.instruments.values()))

    @property
    def only_percussion(self):
        return all(one.percussion_key is not None for one in self.instruments.values())

    def instrument_in(self, bar):
        """The instrument that the notes of a bar name; where there is only one, they need not."""
        if len(self.instruments) == 1:
            return self.first
        (only,) = bar.named
        return self.instruments[only]

    def bars_of(self, instrument):
        """The bars that are read on an instrument; of several, those in which it has notes."""
        if len(self.instruments) == 1:
            return self.bars
        return [bar for bar in self.bars if bar.named and self.instrument_in(bar) is instrument]

    @cached_property
    def order(self):
        """Indices of the bars in the order in which they are played."""
        return playing_order(self.leading)

    @cached_property
    def places(self):
        """Each bar played, by its index, with the quarter at which it begins."""
        places, now = [], Fraction(0)
        for before, index in zip([None, *self.order], self.order):
            bar = self.leading[index]
            if bar.begins and before < index and not self.leading[index - 1].attacca:
                now += pause(self.leading[:index])
            places.append((index, now))
            now += self.bars[index].length
        return places

    @property
    def length(self):
        """Quarters that it lasts, played out."""
        index, at = self.places[-1]
        return at + self.bars[index].length


def own(path):
    """The root of a MusicXML file without cues, which nobody sounds: a bar with a cue keeps the rest
    of its player, in the voice behind it."""
    root = etree.parse(str(path)).getroot()
    for measure in root.iter("measure"):
        cues = [
            note for note in measure.findall("note")
            if note.find("cue") is not None or (note.find("type") is not None and note.find("type").get("size") == "cue")
        ]
        if cues:
            for element in [*cues, *measure.findall("backup")]:
                measure.remove(element)
            # Alone on its staff, the rest of the player is its first voice.
            for voice in measure.iterfind("note/voice"):
                voice.text = "1"
    return root


def read(path):
    """The parts of a MusicXML file, without cues."""
    root = own(path)
    listed = {}
    for entry in root.iter("score-part"):
        instruments = {}
        for one in entry.findall("score-instrument"):
            midi = next(m for m in entry.findall("midi-instrument") if m.get("id") == one.get("id"))
            program, stroke = midi.findtext("midi-program"), midi.findtext("midi-unpitched")
            instruments[one.get("id")] = Instrument(
                name=one.findtext("instrument-name"),
                sound=one.findtext("instrument-sound") or "",
                program=int(program) if program else None,
                # MusicXML counts these keys from 1.
                percussion_key=int(stroke) - 1 if stroke else None,
            )
        name, short = entry.findtext("part-name"), entry.findtext("part-abbreviation") or ""
        listed[entry.get("id")] = Part(name, instruments, short)
    parts = []
    for element in root.iter("part"):
        part = listed[element.get("id")]
        part.bars = _bars(element)
        part.staves = int(element.findtext("measure/attributes/staves") or 1)
        parts.append(part)
    for part in parts:
        part.leading = parts[0].bars
    return parts


def _bars(part):
    divisions, bars = 1, []
    for measure in part.iter("measure"):
        bar = Bar(number=int(measure.get("number")))
        if bars:
            before = bars[-1]
            bar.metre, bar.signature = before.metre, before.signature
            bar.transposition = before.transposition
        now = Fraction(0)
        for element in measure:
            if element.tag == "attributes":
                divisions = int(element.findtext("divisions") or divisions)
                _attributes(bar, element)
            elif element.tag == "note":
                now = _note(bar, element, now, divisions)
            elif element.tag == "figured-bass":
                bar.figured = True
            elif element.tag == "direction":
                _direction(bar, element)
            elif element.tag == "barline":
                _bar_line(bar, element)
            elif element.tag == "print":
                bar.begins = element.get("new-system") == "yes"
            elif element.tag in ("backup", "forward"):
                step = Fraction(int(element.findtext("duration")), divisions)
                now += step if element.tag == "forward" else -step
            bar.length = max(bar.length, now)
        bars.append(bar)
    return bars


def _attributes(bar, element):
    if (time := element.find("time")) is not None:
        bar.metre = (int(time.findtext("beats")), int(time.findtext("beat-type")))
    if (signature := element.find("key")) is not None:
        bar.signature = (int(signature.findtext("fifths")), signature.findtext("mode") or "")
    for clef in element.findall("clef"):
        bar.clefs.append(clef.findtext("sign") + (clef.findtext("line") or ""))
        bar.staff_clefs.append((int(clef.get("number", 1)), bar.clefs[-1]))
    if (by := element.find("transpose")) is not None:
        octaves = int(by.findtext("octave-change") or 0)
        steps = int(by.findtext("diatonic") or 0) + 7 * octaves
        bar.transposition = (steps, int(by.findtext("chromatic")) + 12 * octaves)


def _note(bar, element, now, divisions):
    grace, chord = element.find("grace") is not None, element.find("chord") is not None
    length = Fraction(0) if grace else Fraction(int(element.findtext("duration")), divisions)
    if (instrument := element.find("instrument")) is not None:
        bar.named.add(instrument.get("id"))
    head = None
    if (pitch := element.find("pitch")) is not None:
        alter, octave = int(pitch.findtext("alter") or 0), int(pitch.findtext("octave"))
        head = (pitch.findtext("step"), alter, octave)
        bar.heads.append(head)
    # The heads of a chord begin with its first one, which has moved time on.
    start = bar.signs[-1].start if chord else now
    staff, voice = int(element.findtext("staff") or 1), element.findtext("voice")
    tied_on = any(tie.get("type") == "stop" for tie in element.findall("tie"))
    sounds, value = element.find("rest") is None, element.findtext("type") or ""
    touched = element.find("notations/technical/harmonic/touching-pitch") is not None
    bar.signs.append(
        Sign(staff, voice, start, length, head, grace, chord, tied_on, sounds, value, touched)
    )
    heads = [head] if head else []
    names = {sign.tag for sign in element.iter()} & SIGNS
    if chord:
        bar.events[-1].heads += heads
        bar.events[-1].names |= names
    else:
        bar.events.append(Event(now, length, heads, names, tied_on, grace, sounds, staff))
    return now if chord else now + length


JUMPS = {"segno", "coda", "tocoda", "fine", "dacapo", "dalsegno"}
BEATS = {"whole": 4, "half": 2, "quarter": 1, "eighth": Fraction(1, 2), "16th": Fraction(1, 4)}


def _direction(bar, element):
    if any(element.find(f"direction-type/{kind}") is not None for kind in ("dynamics", "wedge")):
        bar.dynamics.append((int(element.findtext("staff") or 1), element.get("placement")))
    for mark in element.iter("rehearsal"):
        bar.marks.append(mark.text)
    # Only the words of a tempo are bold, and the titles of movements, which are larger.
    for words in element.iter("words"):
        if words.get("font-weight") == "bold":
            large = words.get("font-size") == "x-large"
            (bar.titles if large else bar.words).append(words.text)
    bar.attacca |= element.findtext("direction-type/words") == "attacca"
    for sound in element.iter("sound"):
        bar.sounds |= {name: value for name, value in sound.items() if name in JUMPS}
    for sign in element.iter("metronome"):
        beat, dots = Fraction(BEATS[sign.findtext("beat-unit")]), len(sign.findall("beat-unit-dot"))
        beat = beat * (2 - Fraction(1, 2**dots))
        bar.tempos.append((beat, Fraction(sign.findtext("per-minute"))))


def _bar_line(bar, element):
    if (repeat := element.find("repeat")) is not None:
        bar.forward |= repeat.get("direction") == "forward"
        bar.backward |= repeat.get("direction") == "backward"
    if (ending := element.find("ending")) is not None:
        if ending.get("type") == "start":
            bar.ending = tuple(int(n) for n in ending.get("number").split(","))
        else:
            bar.ending_stops = True


def playing_order(bars):
    """A repeat sign sends back to the last forward sign, or to the beginning; an ending is played
    only the times that its bracket names. A jump is taken once, and after it nothing is repeated,
    until the bar from which it was taken, the fine or the coda. A fine ends its movement."""
    order, start, time, ending, index = [], 0, 1, (), 0
    jumped, taken = None, set()
    while index < len(bars):
        bar = bars[index]
        if bar.begins and not (order and order[-1] > index):
            start, time, jumped = index, 1, None
        if bar.forward and start != index:
            start, time = index, 1
        if bar.ending:
            ending = bar.ending
            last = jumped is not None and not _leads_on(bars, index)
            if time not in ending and not last:
                while not bars[index].ending_stops:
                    index += 1
                index, ending = index + 1, ()
                continue
        order.append(index)
        again = bar.backward and (bool(ending) or time < 2) and jumped is None
        if bar.ending_stops:
            ending = ()
        if again:
            index, time = start, time + 1
            continue
        sounds = bar.sounds
        if jumped is not None:
            if "fine" in sounds:
                behind = (i for i in range(index + 1, len(bars)) if bars[i].begins)
                index, jumped = next(behind, len(bars)), None
                continue
            if "tocoda" in sounds:
                index, jumped = _place(bars, "coda", sounds["tocoda"], index), None
                continue
            jumped = None if jumped == index else jumped
        if index not in taken and ("dacapo" in sounds or "dalsegno" in sounds):
            taken.add(index)
            jumped, time = index, 1
            home = _place(bars, "segno", sounds["dalsegno"], 0) if "dalsegno" in sounds else 0
            index = start = home
            continue
        index += 1
        finished = bar.backward or bar.ending_stops
        if finished and not (index < len(bars) and bars[index].ending):
            start, time = index, 1
    return order


def _leads_on(bars, index):
    """Does another ending follow the one that begins with a bar?"""
    while not bars[index].ending_stops:
        index += 1
    return index + 1 < len(bars) and bool(bars[index + 1].ending)


def _place(bars, kind, name, after):
    return next(i for i in range(after, len(bars)) if bars[i].sounds.get(kind) == name)


def pause(bars):
    """Quarters of silence behind the movement with which these bars end: as many full bars of its
    last metre as last three seconds (Ripieno's own rule)."""
    count, unit = bars[-1].metre
    begin = max(index for index, bar in enumerate(bars) if bar.begins or index == 0)
    marks = [mark for bar in bars[begin:] for mark in bar.tempos]
    beat, rate = marks[-1] if marks else (Fraction(1), Fraction(96))
    full = Fraction(4 * count, unit)
    seconds = full / beat * 60 / rate
    return full * max(1, -(-3 // seconds))


def written_keys(part):
    """Every written head as a MIDI key, with the transposition in force."""
    return [(key(*head), bar.transposition) for bar in part.bars for head in bar.heads]
