"""Repeats, endings, da capo and dal segno, and lyrics: what other readers make of them.

Sources: MusicXML 4.0 (W3C Music Notation Community Group, 2021), `ending`, `repeat`, `sound`,
`lyric`; the order in which music21 plays out a score (`music21.repeat.Expander`, which knows
nothing of ours); Standard MIDI Files 1.0 (1996).

    python check_form.py RIPIENO
"""

import subprocess
import sys
import tempfile
from pathlib import Path

import mido
from lxml import etree
from music21 import converter, repeat

import check_schema
from outputs import Finding, report

# Each: lines of the form, the last bar. Every bar has one note of its own.
FORMS = {
    "three endings": ("1..3 repeat\n3 ending 1\n4..5 ending 2\n6 ending 3", 7),
    "an ending for two times": ("1..3 repeat\n3 ending 1..2\n4 ending 3", 5),
    "three times": ("2..3 repeat 3 times", 4),
    "da capo": ("4 da capo", 4),
    "da capo al fine": ("3 fine\n6 da capo al fine", 6),
    "da capo al fine with repeats": ("1..2 repeat\n4 fine\n5..6 repeat\n7 da capo al fine", 7),
    "dal segno al fine": ("2 segno\n4 fine\n6 dal segno al fine", 6),
    "da capo al coda": ("2 to coda\n4 da capo al coda\n5 coda", 6),
    "dal segno al coda": ("2 segno\n3 to coda\n5 dal segno al coda\n6 coda", 8),
}
# The same with up-beats: every bar has three beats of one note and a fourth of another.
UP_BEATS = {
    "a second half with its up-beat": (
        "0 pick-up 1/4\n0..4 repeat\n5 up-beat 1/4\n5..8 repeat\n8 length 3/4",
        8,
    ),
    "an up-beat behind endings": (
        "1..3 repeat\n3 ending 1\n4 ending 2\n5 up-beat 1/4\n5..6 repeat",
        6,
    ),
    "endings with up-beats": ("1..3 repeat\n3 ending 1, up-beat 1/4\n4 ending 2, up-beat 1/4", 5),
    "a trio with an up-beat": (
        "1..2 repeat\n3 up-beat 1/4\n3..4 repeat\n4 fine\n"
        "5 up-beat 1/4, key F major\n5..6 repeat\n7 da capo al fine",
        7,
    ),
    "a segno before an up-beat": ("3 segno, up-beat 1/4\n5 fine\n6 dal segno al fine", 6),
    "a coda with an up-beat": ("2 to coda\n4 da capo al coda\n5 coda, up-beat 1/4", 6),
}
NOTES = ["C4", "D4", "E4", "F4", "G4", "A4", "B4", "C5"]

PIECE = """\
piece "Order" {{ licence "CC0-1.0" }}
form {{
{metres}{lines}
{last} end
}}
voice tune {{
{bars}
}}
{lyrics}
ensemble one {{
  era 1885
  {player}
}}
scoring plain for one {{
  {player} plays tune as melody
}}
"""

METRES = {
    "common": ("common", [("4", "4")], "common"),
    "cut": ("cut", [("2", "2")], "cut"),
    "3+2/8": ("3+2/8", [("3+2", "8")], None),
    "2+2+3/16": ("2+2+3/16", [("2+2+3", "16")], None),
}

# Bars, syllables as they are written, and (text, syllabic, held) note by note.
SUNG = (
    "1: 1/4 D4 E F G | 2: 1/4 A4 G F E | 3: 1/2 = D | 4: 1/2 D C |",
    "1: The mill-wheel turns | 2: turn- = = ing | 3: on+and | 4: on. = |",
    "1: Old weir-keep-er | 2: hold your lan-tern | 3: now | 4: still. = |",
    [
        ["The/single", "Old/single"],
        ["mill/begin", "weir/begin"],
        ["wheel/end", "keep/middle"],
        ["turns/single", "er/end"],
        ["turn/begin", "hold/single"],
        [None, "your/single"],
        [None, "lan/begin"],
        ["ing/end", "tern/end"],
        ["on\u00a0and/single", "now/single"],
        ["on./single", "still./single"],
        [None, None],
    ],
)


def build(ripieno, work, name, **parts):
    """Builds one source; gives back the MusicXML and MIDI of its score, or `None`."""
    parts = {"lyrics": "", "player": "oboe", "metres": "1 metre 4/4, key C major\n", **parts}
    source = work / f"{name.replace(' ', '-').replace('/', '-').replace('+', '-')}.ripieno"
    source.write_text(PIECE.format(**parts), encoding="utf-8")
    output = work / source.stem
    command = [ripieno, "build", "--format", "short", "-o", output, "--root", work, source]
    run = subprocess.run(command, capture_output=True, text=True, timeout=120, check=False)
    if run.returncode != 0:
        print(run.stdout, run.stderr, sep="\n")
        return None
    return next(output.rglob("score.musicxml")), next(output.rglob("score.mid"))


def struck(path):
    """The keys of a MIDI file in the order in which they are struck."""
    return [
        message.note
        for message in mido.MidiFile(path)
        if message.type == "note_on" and message.velocity > 0
    ]


def expanded(path):
    """The keys of a score as music21 plays it out."""
    part = converter.parse(path).parts[0]
    order = repeat.Expander(part).process()
    return [note.pitch.midi for note in order.recurse().notes]


def played_out(finding, name, built, schema):
    """Is a file there, valid, and played by its MIDI as music21 plays it out?"""
    if not finding.expect(built is not None, f"{name} does not build"):
        return False
    xml, midi = built
    finding.expect(schema.validate(etree.parse(xml)), f"{name}: {schema.error_log.last_error}")
    ours, theirs = struck(midi), expanded(xml)
    finding.expect(ours == theirs, f"{name}: MIDI has {ours}, music21 {theirs}")
    return True


def orders(ripieno, work, schema):
    finding = Finding("repeats and jumps are played as music21 plays them out")
    for name, (lines, last) in FORMS.items():
        bars = "\n".join(f"{n}: 1/1 {NOTES[n - 1]} |" for n in range(1, last + 1))
        built = build(ripieno, work, name, lines=lines, last=last, bars=bars)
        played_out(finding, name, built, schema)
    return finding


def up_beats(ripieno, work, schema):
    finding = Finding("sections with up-beats are played as music21 plays them out")
    for name, (lines, last) in UP_BEATS.items():
        bars = "\n".join(
            f"{n}: 3/4 {NOTES[n - 1]}"
            + (" |" if f"{n} length" in lines else f" 1/4 {NOTES[n - 1][0]}5 |")
            for n in range(1, last + 1)
        )
        if "0 pick-up" in lines:
            bars = f"0: 1/4 A5 |\n{bars}"
        built = build(ripieno, work, name, lines=lines, last=last, bars=bars)
        if not played_out(finding, name, built, schema):
            continue
        # A bar that is divided is one bar: all numbers are there, the parts make a whole.
        lengths = {}
        for measure in converter.parse(built[0]).parts[0].getElementsByClass("Measure"):
            lengths.setdefault(measure.number, []).append(measure.duration.quarterLength)
        divided = [number for number, parts in lengths.items() if len(parts) > 1]
        wanted = sorted(
            int(line.split()[0]) - 1 for line in lines.split("\n") if "up-beat" in line
        )
        finding.expect(divided == wanted, f"{name}: bars {divided} are divided, not {wanted}")
        whole = all(sum(lengths[number]) == 4 for number in divided)
        finding.expect(whole, f"{name}: {lengths}")
    return finding


def metres(ripieno, work, schema):
    finding = Finding("signs and groups of metres are those of the source")
    for name, (metre, wanted, symbol) in METRES.items():
        line = f"1 metre {metre}, key C major\n"
        bars = "1: rest |\n2: rest |"
        built = build(ripieno, work, f"m {name}", metres=line, lines="", last=2, bars=bars)
        if not finding.expect(built is not None, f"{name} does not build"):
            continue
        tree = etree.parse(built[0])
        finding.expect(schema.validate(tree), f"{name}: {schema.error_log.last_error}")
        time = tree.find(".//time")
        found = [(time.findtext("beats"), time.findtext("beat-type"))]
        finding.expect(found == wanted, f"{name}: {found}")
        finding.expect(time.get("symbol") == symbol, f"{name}: sign {time.get('symbol')}")
        signature = converter.parse(built[0]).recurse().getElementsByClass("TimeSignature")[0]
        units = sum(map(int, wanted[0][0].split("+"))) / int(wanted[0][1])
        finding.expect(signature.barDuration.quarterLength == units * 4, f"{name}: {signature}")
    return finding


def lyrics(ripieno, work, schema):
    finding = Finding("syllables stand under the notes to which they are sung")
    bars, first, second, wanted = SUNG
    verses = f"lyrics for tune {{\n{first}\n}}\nlyrics for tune verse 2 {{\n{second}\n}}"
    verses = verses.replace(" | ", " |\n")
    built = build(
        ripieno, work, "sung", lines="", last=4, bars=bars, lyrics=verses, player="soprano"
    )
    if not finding.expect(built is not None, "the song does not build"):
        return finding
    finding.expect(schema.validate(etree.parse(built[0])), f"{schema.error_log.last_error}")
    part = converter.parse(built[0]).parts[0].stripTies()
    notes = list(part.recurse().notes)
    finding.expect(len(notes) == len(wanted), f"{len(notes)} notes")
    for note, syllables in zip(notes, wanted, strict=False):
        found = {lyric.number: f"{lyric.text}/{lyric.syllabic}" for lyric in note.lyrics}
        for verse, syllable in enumerate(syllables, 1):
            finding.expect(
                found.get(verse) == syllable,
                f"{note.nameWithOctave}, verse {verse}: {found.get(verse)}, not {syllable}",
            )
    held = etree.parse(built[0]).findall(".//lyric[extend]")
    texts = [one.findtext("text") for one in held]
    # Over several notes, or over the bar line by a tie.
    finding.expect(texts == ["ing", "tern", "on.", "still."], f"held: {texts}")
    return finding


def check(ripieno, work):
    work.mkdir()
    schema = check_schema._schema()
    yield orders(ripieno, work, schema)
    yield up_beats(ripieno, work, schema)
    yield metres(ripieno, work, schema)
    yield lyrics(ripieno, work, schema)


def main(ripieno):
    with tempfile.TemporaryDirectory() as folder:
        report(check(ripieno, Path(folder) / "form"))


if __name__ == "__main__":
    main(*sys.argv[1:])
