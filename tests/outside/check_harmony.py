"""Harmony inference against analyses made by people.

Every Roman-numeral analysis that the corpus of music21 carries is paired with its score. The score
is written as a source of ours, voice by voice, without any chords; `ripieno advise harmony` infers
them; and the roots are compared beat by beat with those of the analysis.

Nothing is picked by hand: the pieces are taken as the corpus gives them. Analyses that do not belong
to the edition of the score (another order of repeats, say) are left out: where fewer than 75 % of all
sounding time lies on notes of the analysed chord, the two are not the same music. That looks at score
and analysis alone, not at what we infer. So are scores whose parts do not agree on the length of a
bar.

    python check_harmony.py RIPIENO

compares all pieces and tells how far what Ripieno says of its own certainty is to be believed. As a
part of the outside checks, all chorales and every fourth of the long pieces are compared.

What few voices say is compared too: the tune alone, and the tune with the bass. Their costs are learned
(`learn_harmony.py`) from every second piece, so that only those are compared that were held back.
"""

import json
import multiprocessing
import os
import re
import subprocess
import sys
import tempfile
import warnings
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path

from music21 import chord, converter, corpus, note, roman
from music21.corpus import chorales

from outputs import Finding

# Shares of beats whose root, and whose root and triad, must agree. Reached over all pieces: 0.91 and
# 0.91 (chorales), 0.87 and 0.83 (the others).
FLOORS = {"chorale-like": (0.88, 0.88), "freely imitating": (0.84, 0.80)}
# The same of the chorales that were held back, by the voices that are given: reached 0.51 and 0.87.
FEW = {"the tune alone": (0.48, 0.43), "tune and bass": (0.85, 0.77)}
# Share of the sounding time that must lie on notes of the analysed chord.
BELONGS = 0.75


def paths():
    """(texture, path of the analysis) for every analysis, in the corpus's order."""
    for path in sorted(corpus.getPaths()):
        if Path(path).suffix == ".rntxt":
            numbered = re.fullmatch(r"[a-z]+\d+", Path(path).stem)
            yield ("chorale-like" if numbered else "freely imitating"), Path(path)


def score_of(texture, path):
    """The score to which an analysis belongs."""
    if texture == "chorale-like":
        number = int(re.search(r"\d+", path.stem)[0])
        return next(iter(chorales.Iterator(number, number)))
    twins = [p for p in corpus.getPaths() if Path(p).stem == path.stem and Path(p) != path]
    return converter.parse(twins[0]) if twins else None


def analysed(analysis):
    """(measure number, offset in quarters within the measure, figure) for every chord."""
    for measure in analysis.recurse().getElementsByClass("Measure"):
        for figure in measure.getElementsByClass(roman.RomanNumeral):
            yield measure.number, Fraction(figure.offset), figure


def timeline(analysis, frame):
    """The analysed chord in force at each quarter offset of the score: [(start, figure)]."""
    events = []
    for number, offset, figure in analysed(analysis):
        if number in frame:
            start, _, padding = frame[number]
            events.append((start + max(offset - padding, Fraction(0)), figure))
    return sorted(events, key=lambda event: event[0])


def at(events, time):
    current = None
    for start, what in events:
        if start > time:
            break
        current = what
    return current


def bars_of(part):
    """Measure number -> (start, length, padding), in quarters."""
    frame = {}
    for measure in part.getElementsByClass("Measure"):
        start = Fraction(measure.offset)
        length = Fraction(measure.duration.quarterLength)
        if measure.number not in frame:
            frame[measure.number] = (start, length, Fraction(measure.paddingLeft))
    return frame


def value(quarters):
    whole = Fraction(quarters) / 4
    return f"{whole.numerator}/{whole.denominator}"



def spelled(pitch):
    alter = int(pitch.alter)
    sign = "#" * alter if alter >= 0 else "b" * -alter
    return f"{pitch.step}{sign}{pitch.octave}"


class Uneven(Exception):
    """The parts of a score do not agree on the length of a bar."""


def bar_tokens(measure, full):
    tokens, at_time = [], Fraction(0)
    voices = list(measure.voices) or [measure]
    for thing in voices[0].notesAndRests:
        length = Fraction(thing.duration.quarterLength)
        if length == 0:
            continue
        if Fraction(thing.offset) > at_time:
            tokens.append(f"{value(Fraction(thing.offset) - at_time)} rest")
        at_time = Fraction(thing.offset) + length
        if isinstance(thing, note.Rest):
            word = "rest"
        elif thing.tie is not None and thing.tie.type in ("continue", "stop"):
            word = "="
        elif isinstance(thing, chord.Chord):
            word = "&".join(spelled(p) for p in thing.pitches)
        else:
            word = spelled(thing.pitch)
        tokens.append(f"{value(length)} {word}")
    rest = full - at_time
    if rest < 0:
        raise Uneven
    if rest > 0:
        tokens.append(f"{value(rest)} rest")
    return " ".join(tokens) + " |"


def source(score, tonality, parts=None):
    """The score, or some of its parts, as a source of ours without harmony; the measures in order."""
    first = score.parts[0]
    measures = list(first.getElementsByClass("Measure"))
    metre = None
    form, current, lengths = [], None, []
    for index, measure in enumerate(measures):
        metre = measure.timeSignature or metre
        full = Fraction(metre.barDuration.quarterLength)
        length = Fraction(measure.duration.quarterLength) or full
        lengths.append(length)
        line = []
        wanted = metre.ratioString
        if length > full:
            # A bar of double length, as old editions have them: a metre of its own.
            full = length
            wanted = f"{int(length / 4 * metre.denominator)}/{metre.denominator}"
        if current != wanted:
            current = wanted
            line.append(f"metre {current}")
        if index == 0:
            mode = "minor" if tonality.mode == "minor" else "major"
            line.append(f"key {tonality.tonic.name.replace('-', 'b')} {mode}")
        if length < full:
            line.append(f"length {value(length)}")
        if line:
            form.append(f"  {index + 1} {', '.join(line)}")
    form.append(f"  {len(measures)} end")
    text = ['piece "From the corpus" {', "}", "form {", *form, "}"]
    for number, part in enumerate(parts or score.parts, start=1):
        text.append(f"voice part-{number} {{")
        for index, measure in enumerate(part.getElementsByClass("Measure")):
            text.append(f"  {index + 1}: {bar_tokens(measure, lengths[index])}")
        text.append("}")
    return "\n".join(text) + "\n", measures


def belongs(score, events):
    """Share of sounding time on notes of the analysed chord."""
    inside = total = Fraction(0)
    for part in score.parts:
        for thing in part.flatten().notes:
            figure = at(events, Fraction(thing.getOffsetInHierarchy(part)))
            length = Fraction(thing.duration.quarterLength)
            if figure is None or length == 0:
                continue
            classes = {p.pitchClass for p in figure.pitches}
            for pitch in thing.pitches:
                total += length
                inside += length if pitch.pitchClass in classes else 0
    return float(inside / total) if total else 0.0


def triad(quality):
    return {"dominant-seventh": "major"}.get(quality, quality)


SUFFIXES = [("m7b5", "diminished"), ("dim", "diminished"), ("maj", "major"), ("m", "minor"),
            ("aug", "augmented")]


def split_symbol(symbol):
    root = re.match(r"[A-G](?:##|bb|#|b)?", symbol)[0]
    rest = symbol[len(root):].split("/")[0]
    quality = next((name for suffix, name in SUFFIXES if rest.startswith(suffix)), "major")
    return root.replace("b", "-"), quality


def inferred(binary, text, measures):
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "piece.ripieno"
        path.write_text(text)
        run = subprocess.run([binary, "advise", "harmony", str(path), "--format", "json"],
                             capture_output=True, text=True, check=False)
    if run.returncode != 0:
        raise RuntimeError(run.stdout + run.stderr)
    events = []
    for bar in json.loads(run.stdout)["bars"]:
        start = Fraction(measures[bar["bar"] - 1].offset)
        for one in bar["chords"]:
            events.append((start + 4 * Fraction(one["at"]), (one["chord"], bar["certainty"])))
    return events


def beats(measures):
    metre = None
    for measure in measures:
        metre = measure.timeSignature or metre
        step = Fraction(metre.beatDuration.quarterLength)
        if step >= 2 and metre.denominator <= 2:
            step = Fraction(1)
        start = Fraction(measure.offset)
        time = start
        while time < start + Fraction(measure.duration.quarterLength):
            yield time
            time += step


@dataclass
class Compared:
    """How one piece came out."""

    texture: str
    beats: int = 0
    roots: int = 0
    triads: int = 0
    # (certainty, was it right?) for each beat
    claims: list = field(default_factory=list)


def compare(job):
    """One piece; `None` where analysis and score do not belong together."""
    binary, texture, path, *few = job
    warnings.simplefilter("ignore")
    score, analysis = score_of(texture, path), converter.parse(path)
    if score is None:
        return None
    events = timeline(analysis, bars_of(score.parts[0]))
    if not events or belongs(score, events) < BELONGS:
        return None
    parts = list(score.parts)
    if few:
        texture = few[0]
        parts = parts[:1] if texture == "the tune alone" else [parts[0], parts[-1]]
    try:
        text, measures = source(score, events[0][1].key, parts)
    except Uneven:
        return None
    ours = inferred(binary, text, measures)
    result = Compared(texture)
    for time in beats(measures):
        figure, mine = at(events, time), at(ours, time)
        if figure is None or mine is None:
            continue
        (symbol, certainty), result.beats = mine, result.beats + 1
        root, quality = split_symbol(symbol)
        same = root == figure.root().name
        result.roots += same
        result.triads += same and quality == triad(figure.quality)
        result.claims.append((certainty, same))
    return result


def belonging():
    """The chorales that can be compared, in order."""
    for texture, path in paths():
        if texture != "chorale-like":
            continue
        score, analysis = score_of(texture, path), converter.parse(path)
        events = timeline(analysis, bars_of(score.parts[0])) if score is not None else []
        if events and belongs(score, events) >= BELONGS:
            yield texture, path


def held_back(binary, few):
    """The chorales from which nothing was learned, with a few of their voices."""
    return [(binary, *job, few) for job in list(belonging())[1::2]]


def compare_all(binary, long_pieces):
    """Chorales, and every n-th of the long pieces; and the few voices of those held back."""
    found = list(paths())
    long = [job for job in found if job[0] != "chorale-like"][::long_pieces]
    jobs = [(binary, *job) for job in found if job[0] == "chorale-like"]
    jobs += [(binary, *job) for job in long]
    jobs += [job for few in FEW for job in held_back(binary, few)]
    with multiprocessing.Pool(os.cpu_count()) as pool:
        return pool.map(compare, jobs, chunksize=1)


def shares(results, texture):
    of = [result for result in results if result is not None and result.texture == texture]
    count = sum(result.beats for result in of)
    roots = sum(result.roots for result in of)
    triads = sum(result.triads for result in of)
    return len(of), count, roots / max(count, 1), triads / max(count, 1)


def check(binary):
    """The findings for the outside checks."""
    results = compare_all(binary, 4)
    for texture, (root_floor, triad_floor) in (FLOORS | FEW).items():
        pieces, count, roots, triads = shares(results, texture)
        finding = Finding(
            f"inferred harmony, {texture}: {pieces} pieces, {count} beats, "
            f"root {roots:.1%}, root and triad {triads:.1%}"
        )
        finding.expect(pieces >= 5, f"only {pieces} pieces could be compared")
        finding.expect(roots >= root_floor, f"roots agree in less than {root_floor:.0%}")
        finding.expect(triads >= triad_floor, f"triads agree in less than {triad_floor:.0%}")
        yield finding


def main(binary):
    results = compare_all(binary, 1)
    for texture in FLOORS | FEW:
        pieces, count, roots, triads = shares(results, texture)
        print(f"{texture}: {pieces} pieces, {count} beats, root {roots:.1%}, "
              f"root and triad {triads:.1%}")
    print(f"left out: {sum(result is None for result in results)}")
    claims = [claim for result in results
              if result is not None and result.texture in FLOORS for claim in result.claims]
    for low, high in ((0.0, 0.5), (0.5, 0.7), (0.7, 0.9), (0.9, 1.01)):
        of = [same for certainty, same in claims if low <= certainty < high]
        if of:
            print(f"said to be {low:.0%} to {min(high, 1):.0%} sure: right in "
                  f"{sum(of) / len(of):.1%} of {len(of)} beats")


if __name__ == "__main__":
    main(sys.argv[1])
