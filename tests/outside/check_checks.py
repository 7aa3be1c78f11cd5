"""The checks themselves: a mistake planted into good files must be found by the check for it."""

import re
import shutil

import mido

import check_agreement
import check_midi
import check_schema
import check_staves
import check_text
import check_transposition
from outputs import Finding, Scoring


def _change_text(pattern, replacement, every=False):
    def plant(path):
        text = path.read_text(encoding="utf-8")
        changed = re.sub(pattern, replacement, text, count=0 if every else 1)
        path.write_text(changed, encoding="utf-8")
        return changed != text

    return plant


def _change_midi(change, frame=False, every=False):
    """Changes a message of a player's track, or of the frame; or every one that can be changed."""

    def plant(path):
        file = mido.MidiFile(str(path))
        tracks = file.tracks[:1] if frame else file.tracks[1:]
        messages = [m for track in tracks for m in track if change(m, False)]
        if not messages:
            return False
        # The second half of the file, so that repeats and late bars are seen too.
        for message in messages if every else [messages[len(messages) // 2]]:
            change(message, True)
        file.save(str(path))
        return True

    return plant


def _pitch(message, do):
    if do:
        message.note += 1
    return message.type == "note_on" and message.velocity > 0


def _later(message, do):
    if do:
        message.time += 1
    return message.type == "note_on" and message.velocity > 0


def _program(message, do):
    if do:
        message.program += 1
    return message.type == "program_change"


def _tempo(message, do):
    if do:
        message.tempo += 20
    return message.type == "set_tempo"


def _slow(message, do):
    """A fermata or the end of a ritardando lost."""
    if do:
        message.tempo = 600_000
    return message.type == "set_tempo" and message.tempo > 800_000


def _controller(number, value):
    def change(message, do):
        if do:
            message.value = value
        return message.type == "control_change" and message.control == number

    return change


def _channel(message, do):
    """Everybody on one channel."""
    if do:
        message.channel = 0
    return not message.is_meta and message.channel not in (0, 9)


def _end_lost(message, do):
    if do:
        message.velocity, message.note = 64, 0
    return message.type == "note_off"


def _agreement(scoring):
    files = scoring.score("musicxml"), scoring.score("mid")
    yield check_agreement.compare("planted", *files, scoring.era)


def _other_era(scoring):
    files = scoring.score("musicxml"), scoring.score("mid")
    yield check_agreement.compare("planted", *files, 1725)


def _midi(scoring):
    return check_midi.check([scoring])


def _schema(scoring):
    return check_schema.check([scoring])


def _transposition(scoring):
    return check_transposition.check([scoring])


def _text(scoring):
    return check_text.check([scoring])


def _staves(scoring):
    return check_staves.check([scoring])


def _xml(pattern, replacement, every=False):
    return "musicxml", _change_text(pattern, replacement, every)


# What is planted, into which file, and the check that must find it.
PLANTED = [
    ("an octave in MusicXML", *_xml(r"<octave>5<", "<octave>4<"), _agreement),
    ("a value in MusicXML", *_xml(r"<duration>(\d+)<", r"<duration>\g<1>0<"), _agreement),
    ("a lost tie", *_xml(r'<tie type="start"/>', ""), _agreement),
    ("a lost repeat", *_xml(r'<repeat direction="backward"/>', ""), _agreement),
    ("a lost trill", *_xml(r"<trill-mark/>", "<turn/>"), _agreement),
    ("a lost grace note", *_xml(r"<note>\s*<grace.*?(?s:.)*?</note>", ""), _agreement),
    ("a stroke too many", *_xml(r'single">3<', 'single">4<'), _agreement),
    ("a transposition", *_xml(r"<chromatic>-3<", "<chromatic>-2<"), _agreement),
    ("a pitch in MIDI", "mid", _change_midi(_pitch), _agreement),
    ("an onset in MIDI", "mid", _change_midi(_later), _agreement),
    ("a trill of another era", "mid", lambda path: True, _other_era),
    ("a lost turn", *_xml(r"<turn/>", "<mordent/>"), _agreement),
    ("a lost mordent", *_xml(r"<mordent/>", "<accent/>"), _agreement),
    ("a lost dot", *_xml(r"<staccato/>", "<tenuto/>"), _agreement),
    ("a lost breath", *_xml(r"<breath-mark/>", ""), _agreement),
    ("another key", *_xml(r"<fifths>-3<", "<fifths>3<", every=True), _agreement),
    ("a lost fermata", *_xml(r"<fermata/>", "", every=True), _midi),
    ("a lost word of tempo", *_xml(r">poco rit\.<", ">dolce<"), _midi),
    ("a tempo in MIDI", "mid", _change_midi(_tempo, frame=True), _midi),
    ("a fermata in MIDI", "mid", _change_midi(_slow, frame=True), _midi),
    ("a seat", "mid", _change_midi(_controller(check_midi.PAN, 64), every=True), _midi),
    ("a channel for all", "mid", _change_midi(_channel, every=True), _midi),
    ("a note that never ends", "mid", _change_midi(_end_lost), _midi),
    ("a program", "mid", _change_midi(_program), _midi),
    ("a tempo", *_xml(r"<per-minute>\d+<", "<per-minute>55<"), _midi),
    ("a metre", *_xml(r"<beats>6<", "<beats>7<"), _midi),
    ("an unknown element", *_xml(r"<dot/>", "<dott/>"), _schema),
    ("elements out of order", *_xml(r"(<beats>.*>)\s*(<beat-type>.*>)", r"\2\1"), _schema),
    ("an interval that no clarinet has", *_xml(r"matic>-3<", "matic>-4<"), _transposition),
    ("a bar number in the text", "txt", _change_text(r"\n( +)20 (  1 )", r"\n\g<1>21 \2"), _text),
    ("a line that is too wide", "txt", _change_text(r"\n\n", "\n" + 121 * "x" + "\n"), _text),
]

# The same for a scoring of players who read two staves.
_BACKUP = r"<backup>\s*<duration>\d+</duration>\s*</backup>"
_TO_UPPER = r"<voice>5</voice>((?:(?!</note>)(?s:.))*)<staff>2</staff>"
_TO_LOWER = r"(<voice>1</voice>(?:(?!</note>)(?s:.))*)<staff>1</staff>"
_SAID = r"<staff>1</staff>(?=\s*</direction>)"
_SHORT = r"<backup>\s*<duration>\d+<"
_LOWER_NOTE = r"<note>(?:(?!</note>)(?s:.))*<staff>2</staff>(?:(?!</note>)(?s:.))*</note>"
PLANTED_IN_HANDS = [
    ("a note on the lower staff", *_xml(_TO_LOWER, r"\1<staff>2</staff>"), _staves),
    ("a note that says no staff", *_xml(r"<staff>2</staff>", ""), _staves),
    ("dynamics of the lower staff", *_xml(_SAID, "<staff>2</staff>"), _staves),
    ("a note in the other hand", *_xml(_TO_UPPER, r"<voice>1</voice>\1<staff>1</staff>"), _staves),
    ("a missing backup", *_xml(_BACKUP, ""), _staves),
    ("a missing backup in what sounds", *_xml(_BACKUP, ""), _agreement),
    ("a backup that is too short", *_xml(_SHORT, "<backup><duration>1<"), _staves),
    ("a lost second staff", *_xml(r"<staves>2</staves>", ""), _staves),
    ("a clef for no staff", *_xml(r'<clef number="2">', '<clef number="1">'), _staves),
    ("a note of the lower staff", *_xml(_LOWER_NOTE, ""), _agreement),
    ("a pitch in the lower row", "txt", _change_text(r"(⎩[^A-G\n]*[A-G][♭♯]?)2", r"\g<1>4"), _staves),
    ("a note in the upper row", "txt", _change_text(r"(⎧[^A-G\n]*)[A-G][♭♯]?\d", r"\1"), _staves),
    ("a brace that joins nothing", "txt", _change_text(r"⎩", " "), _staves),
]

# The same for players who take other instruments.
TAKEN = [
    ("a note on the wrong instrument", *_xml(r"(P10-I)2", r"\g<1>1"), _agreement),
    ("an instrument that moves otherwise", *_xml(r"change>1<", "change>2<"), _transposition),
    ("a program that stays", "mid", _change_midi(_program), _midi),
]

# The same for tremolos between two notes.
_TO_ANOTHER = r"(type=\"start\">2</tremolo>(?s:.)*?<step>)G(</step>)"
OF_TWO = [
    ("another second note", *_xml(_TO_ANOTHER, r"\1F\2"), _agreement),
    ("a stroke too many between two", *_xml(r'(st\w+)">2<', r'\1">3<', every=True), _agreement),
    ("a stroke on another note", "mid", _change_midi(_pitch), _agreement),
]

# Into the scores of which scorings what is planted.
ROOMS = {"everything/full": PLANTED, "taking/few": TAKEN, "two-staves/both": PLANTED_IN_HANDS,
         "to-and-fro/waves": OF_TWO}


def check(scorings, work):
    """Plants every mistake into the score of a fresh copy of a scoring."""
    finding = Finding("planted mistakes are found")
    planted = [(scorings[room], *row) for room, rows in ROOMS.items() for row in rows]
    for number, (scoring, name, ending, plant, find) in enumerate(planted):
        copy = Scoring("planted", work / str(number), scoring.era)
        shutil.copytree(scoring.folder, copy.folder)
        if not finding.expect(plant(copy.score(ending)), f"{name}: nothing to plant it into"):
            continue
        found = any(not result.passed for result in find(copy))
        finding.expect(found, f"{name}: not found")
    return finding
