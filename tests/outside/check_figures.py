"""Figures under a bass against an independent realiser.

Chords of every quality and inversion are declared in keys up to five accidentals, with their bass in
a voice; `with figures` writes figures under it into MusicXML; and music21's figured bass derives the
chords again from key, bass and figures alone. They are the declared ones: no strange note, and
nothing missing but a perfect fifth, which its table of abbreviations leaves out where an accidental
stands for the third.

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
SIGNS = {"sharp": "#", "flat": "b", "natural": "n", "double-sharp": "##", "flat-flat": "bb"}


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


def figures_of(score):
    """The figures of each bar, as music21 writes them."""
    for measure in ElementTree.parse(score).getroot().iter("measure"):
        words = []
        for figure in measure.iter("figure"):
            sign = SIGNS.get(figure.findtext("prefix", ""), "")
            words.append(sign + figure.findtext("figure-number", ""))
        yield ",".join(words)


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
            for (symbol, bass, members), figures in zip(chords, figures_of(part), strict=True):
                low = pitch.Pitch(bass.name + "3")
                derived = {pitch.Pitch(n).pitchClass for n in scale.getPitchNames(low, figures)}
                wanted = {one.pitchClass for one in members}
                fifth = {(members[0].pitchClass + 7) % 12}
                compared += 1
                if not derived <= wanted or not wanted - derived <= fifth:
                    wrong.append(f"{symbol} in {tonality}: {figures or 'nothing'}")
    finding = Finding(f"figures under a bass, read by music21: {compared} chords")
    finding.expect(compared >= CHORDS * len(KEYS) * 0.9, "too few could be compared")
    finding.expect(not wrong, f"{len(wrong)} are read as others: {'; '.join(wrong[:8])}")
    return finding


if __name__ == "__main__":
    found = check(sys.argv[1])
    print(found)
