"""Spelled pitches and intervals, as far as the checks need them."""

LETTERS = "CDEFGAB"
SEMITONES = (0, 2, 4, 5, 7, 9, 11)
SIGNS = {-2: "bb", -1: "b", 0: "", 1: "#", 2: "##"}


def key(letter, alter, octave):
    """The MIDI key: middle C, C4, is 60 (MIDI 1.0 specification, 1996)."""
    return 12 * (octave + 1) + SEMITONES[LETTERS.index(letter)] + alter


def parse(name):
    """`Bb4` as letter, alteration and octave."""
    letter, octave = name[0], int(name.lstrip(LETTERS).lstrip("b#"))
    signs = name[1 : len(name) - len(str(octave))]
    return letter, signs.count("#") - signs.count("b"), octave


def spell(letter, alter, octave):
    return f"{letter}{SIGNS[alter]}{octave}"


def move(name, interval):
    """A pitch moved by diatonic steps and semitones together."""
    steps, semitones = interval
    letter, alter, octave = parse(name)
    position = LETTERS.index(letter) + 7 * octave + steps
    target, there = LETTERS[position % 7], position // 7
    wanted = key(letter, alter, octave) + semitones
    return spell(target, wanted - key(target, 0, there), there)
