"""A second independent reader, partitura (PyPI), finds in every MusicXML part what the file says.

Pitch, onset and length of every head, the clefs, the signatures of key and metre: what partitura
makes of a part is held against the plain XML, bar by bar (`written.py`). Cues are left out, and
grace notes, to which it gives times of its own.
"""

import tempfile
import warnings
from collections import Counter
from fractions import Fraction
from pathlib import Path

import partitura
from lxml import etree
from partitura.score import Clef, GraceNote, KeySignature, TimeSignature

import written
from outputs import Finding


def check(scorings):
    for scoring in scorings:
        finding = Finding(f"read by partitura: {scoring.name}")
        with tempfile.TemporaryDirectory() as folder:
            for path in scoring.parts("musicxml"):
                _part(finding, path, Path(folder) / "own.musicxml")
        yield finding


def _part(finding, path, copy):
    own = etree.tostring(written.own(path))
    # partitura knows no value below a 256th.
    if b">512th<" in own or b">1024th<" in own:
        return
    copy.write_bytes(own)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        (read,) = partitura.load_musicxml(copy).parts
    (part,) = written.read(path)
    wanted, start = Counter(), Fraction(0)
    for bar in part.bars:
        for sign in bar.signs:
            if sign.head and not sign.grace:
                wanted[start + sign.start, sign.length, sign.head] += 1
        start += bar.length
    found = Counter()
    for note in read.notes:
        if isinstance(note, GraceNote) or getattr(note, "step", None) is None:
            continue
        begin, end = _quarters(read, note.start.t), _quarters(read, note.end.t)
        found[begin, end - begin, (note.step, note.alter or 0, note.octave)] += 1
    words = f"{path.name}: heads {_few(found - wanted)} for {_few(wanted - found)}"
    finding.expect(found == wanted, words)
    signatures = {bar.signature[0] for bar in part.bars}
    # A part without pitch has no signature.
    keys = {key.fifths for key in read.iter_all(KeySignature)} or {0}
    finding.expect(keys == signatures, f"{path.name}: signatures {keys} for {signatures}")
    metres = {bar.metre for bar in part.bars}
    read_metres = {(time.beats, time.beat_type) for time in read.iter_all(TimeSignature)}
    finding.expect(read_metres == metres, f"{path.name}: metres {read_metres} for {metres}")
    clefs = {clef for bar in part.bars for clef in bar.clefs}
    read_clefs = {
        clef.sign if clef.sign == "percussion" else f"{clef.sign}{clef.line}"
        for clef in read.iter_all(Clef)
    }
    finding.expect(read_clefs == clefs, f"{path.name}: clefs {read_clefs} for {clefs}")


def _quarters(part, time):
    """Quarters from the beginning, a pick-up counted."""
    quarters = part.quarter_map(time) - part.quarter_map(0)
    return Fraction(float(quarters)).limit_denominator(4096)


def _few(counter):
    return sorted(counter)[:3]
