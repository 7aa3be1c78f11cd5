"""The catalogue against the classes of instruments that music21 carries: lowest note, highest
note where it states one, transposition, open strings, General MIDI program and percussion key.
All classes that have an instrument here are compared; a class of neither is an error too.

music21 states its lowest notes partly as written and partly as sounding, so either may agree. Every
difference is listed here with its reason; one that is not listed fails, and so does a listed one
that is gone.
"""

import json
import subprocess

from music21 import instrument as music21
from music21 import pitch

from outputs import Finding

# Ours, and the class of music21.
BOTH = {
    "piccolo": "Piccolo",
    "flute": "Flute",
    "alto-recorder": "Recorder",
    "oboe": "Oboe",
    "cor-anglais": "EnglishHorn",
    "clarinet": "Clarinet",
    "bass-clarinet": "BassClarinet",
    "bassoon": "Bassoon",
    "contrabassoon": "Contrabassoon",
    "soprano-saxophone": "SopranoSaxophone",
    "alto-saxophone": "AltoSaxophone",
    "tenor-saxophone": "TenorSaxophone",
    "baritone-saxophone": "BaritoneSaxophone",
    "horn": "Horn",
    "trumpet": "Trumpet",
    "tenor-trombone": "Trombone",
    "bass-trombone": "BassTrombone",
    "tuba": "Tuba",
    "timpani": "Timpani",
    "glockenspiel": "Glockenspiel",
    "xylophone": "Xylophone",
    "vibraphone": "Vibraphone",
    "marimba": "Marimba",
    "tubular-bells": "TubularBells",
    "harp": "Harp",
    "mandolin": "Mandolin",
    "guitar": "Guitar",
    "harpsichord": "Harpsichord",
    "organ": "PipeOrgan",
    "piano": "Piano",
    "celesta": "Celesta",
    "violin": "Violin",
    "viola": "Viola",
    "cello": "Violoncello",
    "double-bass": "Contrabass",
    "lute": "Lute",
    "triangle": "Triangle",
    "tambourine": "Tambourine",
    "side-drum": "SnareDrum",
    "cymbals": "CrashCymbals",
    "bass-drum": "BassDrum",
    "tam-tam": "TamTam",
    "castanets": "Castanets",
    "wood-block": "Woodblock",
    "soprano": "Soprano",
    "mezzo-soprano": "MezzoSoprano",
    "alto": "Alto",
    "tenor": "Tenor",
    "baritone": "Baritone",
    "bass-voice": "Bass",
}

# Classes of music21 that are no instrument of an orchestra, a band or a choir of ours.
NOT_OURS = """
    Accordion AcousticBass AcousticGuitar Agogo Bagpipes Banjo BongoDrums ChurchBells Clavichord
    CongaDrum Cowbell Cymbals Dulcimer ElectricBass ElectricGuitar ElectricOrgan ElectricPiano
    FingerCymbals FretlessBass Gong Handbells Harmonica HiHatCymbal Kalimba Koto Maracas Ocarina
    Organ PanFlute Ratchet ReedOrgan RideCymbals Sampler SandpaperBlocks Saxophone Shakuhachi
    Shamisen Shehnai Siren Sitar SizzleCymbal SleighBells SplashCymbals SteelDrum SuspendedCymbals
    SuspendedCymbal Taiko TempleBlock TenorDrum Timbales TomTom Ukulele Vibraslap Whip Whistle
    WindMachine Choir Conductor Vocalist
    Instrument KeyboardInstrument StringInstrument WoodwindInstrument BrassInstrument Percussion
    PitchedPercussion UnpitchedPercussion
""".split()

# What is different, and why.
REASONS = {
    ("horn", "lowest"): "C2 there is the pedal of the horn in F, which nobody asks for",
    ("tenor-trombone", "lowest"): "E2 there is the lowest note without pedals and valve",
    ("harp", "lowest"): "C1 there is the string with its pedal in the middle, Cb1 here the lowest",
    ("organ", "highest"): "C6 there is an old manual; ours of today goes to G6",
    ("mandolin", "program"): "music21 takes an ensemble of strings, we a plucked string",
    ("guitar", "transposition"): "music21 states E2, as it sounds, and no transposition",
    ("cor-anglais", "lowest"): "B3 there is written; ours has Bb3 (Johnstone, 1917, p. 24)",
    ("contrabassoon", "transposition"): "music21 leaves the octave to the clef",
    ("glockenspiel", "transposition"): "music21 leaves the octaves to the clef",
    ("xylophone", "transposition"): "music21 leaves the octave to the clef",
    ("celesta", "transposition"): "music21 leaves the octave to the clef",
    ("tenor", "transposition"): "music21 leaves the octave to the clef",
    ("double-bass", "lowest"): "E2 there is written, with four strings; the fifth has C1 here",
} | {
    (voice, "program"): "music21 takes 54, Voice Oohs, we 53, Choir Aahs: neither is one singer"
    for voice in ("soprano", "mezzo-soprano", "alto", "tenor", "baritone", "bass-voice")
}


def _catalogue(ripieno):
    run = subprocess.run(
        [ripieno, "instruments", "--format", "json"],
        capture_output=True,
        text=True,
        timeout=60,
        check=True,
    )
    return {row["id"]: row for row in json.loads(run.stdout)}


def _key(name):
    return pitch.Pitch(name.replace("b", "-")).ps if name else None


def _today(row, limit):
    rows = [c for c in row["compasses"] if c["limit"] == limit and c["to"] >= 2000]
    return rows[0] if rows else row["compasses"][-1]


def _ways(row):
    """What a written note may sound, in semitones."""
    ways = [key["transposition"]["semitones"] for key in row["keys"]]
    return ways or [row["transposition"]["semitones"]]


def _differences(row, theirs):
    low, high = theirs.lowestNote, theirs.highestNote
    way = theirs.transposition.chromatic.semitones if theirs.transposition else 0
    if way not in _ways(row):
        yield "transposition", f"{way} semitones there, {_ways(row)} here"
    ends = _today(row, "instrument")
    moves = {0, *_ways(row), *(-way for way in _ways(row))}
    if low and all(low.ps != _key(ends["low"]) + move for move in moves):
        yield "lowest", f"{low.nameWithOctave} there, {ends['low']} here"
    if high and all(high.ps != _key(ends["high"]) + move for move in moves):
        yield "highest", f"{high.nameWithOctave} there, {ends['high']} here"
    program = row["midi"].get("program")
    if theirs.midiProgram is not None and program and theirs.midiProgram + 1 != program:
        yield "program", f"{theirs.midiProgram + 1} there, {program} here"
    key, mapped = row["midi"].get("percussion-key"), getattr(theirs, "percMapPitch", None)
    if key and mapped and key != mapped:
        yield "percussion key", f"{mapped} there, {key} here"
    known = getattr(theirs, "_stringPitches", None)
    strings = theirs.stringPitches if known else None
    if strings and row["open_strings"]:
        ours = [_key(name) for name in row["open_strings"][-1]["strings"]]
        if [string.ps for string in strings] != ours:
            yield "strings", f"{[s.nameWithOctave for s in strings]} there"


def _classes():
    """All classes of music21 that make an instrument."""
    known = vars(music21).values()
    return {c.__name__ for c in known if isinstance(c, type) and issubclass(c, music21.Instrument)}


def check(ripieno):
    """Compares all that both know."""
    finding = Finding("the catalogue against the instruments of music21")
    catalogue = _catalogue(ripieno)
    found = set()
    for ours, theirs in BOTH.items():
        for what, said in _differences(catalogue[ours], getattr(music21, theirs)()):
            found.add((ours, what))
            finding.expect((ours, what) in REASONS, f"{ours}, {what}: {said}")
        finding.expect(True, ours)
    for name in sorted(_classes() - set(BOTH.values()) - set(NOT_OURS)):
        finding.expect(False, f"music21 has a class {name}, which is compared with nothing")
    for gone in set(REASONS) - found:
        finding.expect(False, f"{gone[0]}, {gone[1]}: both agree, and a reason is given")
    return finding
