"""Figures under a bass against an independent realiser.

Chords of every quality and inversion are declared in keys up to five accidentals, with their bass in
a voice; `with figures` writes figures under it into MusicXML; and music21's figured bass derives the
chords again from key, bass and figures alone. They are the declared ones, note for note. What a figure
means without being written (a fifth and a third under 7 and 9, a sixth under 4 3 and 4 2, a third
under 6 and 6 5) is added by the rules of the books first, since music21 adds it only where no figure
has an accidental.

    python check_figures.py RIPIENO
"""

import random
import subprocess
import sys
import tempfile
import xml.etree.ElementTree as ElementTree
from pathlib import Path

from music21 import key, pitch
from music21.figuredBass import realizerScale

from outputs import Finding

KEYS = [("C", "major"), ("G", "major"), ("D", "major"), ("E", "major"), ("B", "major"),
        ("F", "major"), ("Bb", "major"), ("Eb", "major"), ("Db", "major"), ("A", "minor"),
        ("E", "minor"), ("B", "minor"), ("F#", "minor"), ("D", "minor"), ("G", "minor"),
        ("C", "minor"), ("F", "minor"), ("Bb", "minor")]
# Symbols after the root, with the interval of each member above it as music21 names it.
QUALITIES = {
    "": ["M3", "P5"], "m": ["m3", "P5"], "dim": ["m3", "d5"], "7": ["M3", "P5", "m7"],
    "m7": ["m3", "P5", "m7"], "maj7": ["M3", "P5", "M7"], "m7b5": ["m3", "d5", "m7"],
    "dim7": ["m3", "d5", "d7"], "sus4": ["P4", "P5"], "7sus4": ["P4", "P5", "m7"],
    "9": ["M3", "P5", "m7", "M9"],
}
CHORDS = 40
ALTERS = {"sharp": 1, "flat": -1, "natural": 0, "double-sharp": 2, "flat-flat": -2}
MODIFIERS = {-2: "bb", -1: "b", 0: "", 1: "#", 2: "##"}


def named(one):
    return one.name.replace("-", "b")


def declared(chosen, tonality):
    """Symbols with their bass and members, on degrees of the key or a third around it."""
    scale = [p.name for p in tonality.getScale().getPitches("C3", "B3")]
    found = []
    while len(found) < CHORDS:
        root = pitch.Pitch(chosen.choice(scale))
        quality = chosen.choice(list(QUALITIES))
        members = [root] + [root.transpose(step) for step in QUALITIES[quality]]
        if any(abs(one.alter) > 1 for one in members):
            continue
        # Suspensions and ninths stand over their root.
        place = 0 if "sus" in quality or quality == "9" else chosen.randrange(len(members))
        bass = members[place]
        symbol = named(root) + quality + (f"/{named(bass)}" if place else "")
        found.append((symbol, bass, members))
    return found


def source(tonality, chords):
    mode = tonality.mode
    tonic = named(tonality.tonic)
    lines = ['piece "Figures" { composer "House copyist" }', "form {",
             f"  1 metre 4/4, key {tonic} {mode}", f"  {len(chords)} end", "}", "harmony {"]
    lines += [f"  {bar}: {symbol} |" for bar, (symbol, *_) in enumerate(chords, 1)]
    lines += ["}", "voice low {"]
    lines += [f"  {bar}: 1/1 {named(bass)}3 |" for bar, (_, bass, _) in enumerate(chords, 1)]
    lines += ["}", "ensemble one { era 1725", "  cello }", "scoring plain for one {",
              "  cello plays low with figures, as bass", "}"]
    return "\n".join(lines) + "\n"


def figures_of(score, tonality):
    """The figures of each bar, as music21 writes them: with signs that alter the note of the key,
    where those of MusicXML say what it is."""
    for measure in ElementTree.parse(score).getroot().iter("measure"):
        bass = "CDEFGAB".index(next(measure.iter("step")).text)
        signs = {}
        for figure in measure.iter("figure"):
            number = int(figure.findtext("figure-number") or 3)
            usual = tonality.accidentalByStep("CDEFGAB"[(bass + number - 1) % 7])
            usual = int(usual.alter) if usual is not None else 0
            wanted = ALTERS.get(figure.findtext("prefix", ""), usual)
            signs[number] = MODIFIERS[wanted - usual]
        for number in understood(set(signs)):
            signs.setdefault(number, "")
        yield ",".join(f"{signs[number]}{number}" for number in sorted(signs, reverse=True))


def understood(written):
    """The intervals that figures mean without saying so."""
    if {4, 3} <= written or {4, 2} <= written:
        return {6}
    if 6 in written:
        return set() if 4 in written else {3}
    return {5} if 4 in written else {5, 3}


def check(binary, seed=20):
    chosen = random.Random(seed)
    compared, wrong = 0, []
    with tempfile.TemporaryDirectory() as folder:
        for tonic, mode in KEYS:
            tonality = key.Key(tonic.replace("b", "-"), mode)
            chords = declared(chosen, tonality)
            path = Path(folder) / "figures.ripieno"
            path.write_text(source(tonality, chords))
            run = subprocess.run([binary, "build", str(path), "-o", folder, "--only", "musicxml"],
                                 capture_output=True, text=True, check=False)
            part = next(Path(folder).rglob("parts/*.musicxml"), None)
            if run.returncode != 0 or part is None:
                wrong.append(f"{tonality}: {run.stdout}{run.stderr}")
                continue
            scale = realizerScale.FiguredBassScale(tonality.tonic, mode)
            for (symbol, bass, members), figures in zip(chords, figures_of(part, tonality), strict=True):
                low = pitch.Pitch(bass.name + "3")
                derived = {pitch.Pitch(n).pitchClass for n in scale.getPitchNames(low, figures)}
                wanted = {one.pitchClass for one in members}
                compared += 1
                if derived != wanted:
                    wrong.append(f"{symbol} in {tonality}: {figures or 'nothing'}")
    finding = Finding(f"figures under a bass, read by music21: {compared} chords")
    finding.expect(compared >= CHORDS * len(KEYS) * 0.9, "too few could be compared")
    finding.expect(not wrong, f"{len(wrong)} are read as others: {'; '.join(wrong[:8])}")
    return finding


if __name__ == "__main__":
    found = check(sys.argv[1])
    print(found)
