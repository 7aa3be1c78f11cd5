"""Harmony inference against analyses made by people.

Every Roman-numeral analysis that the corpus of music21 carries is paired with its score. The score
is written as a source of ours, voice by voice, without any chords; `ripieno advise harmony` infers
them; and the roots are compared beat by beat with those of the analysis.

The pieces are taken as the corpus gives them. Every second one was used to tune the costs; the
figures that count are those of the others. Analyses that do not belong to the edition of the score
(another order of repeats, say) are left out: where fewer than 75 % of all sounding time lies on
notes of the analysed chord, the two are not the same music. This test looks at score and analysis
alone, not at what we infer.

Usage: python harmony.py RIPIENO-BINARY
Needs: music21 (PyPI).
"""

import json
import re
import subprocess
import sys
import tempfile
from fractions import Fraction
from pathlib import Path

from music21 import chord, converter, corpus, key, note, roman
from music21.corpus import chorales

# Shares of beats that must agree on the pieces that were not used for tuning.
FLOORS = {"chorale-like": (0.80, 0.75), "freely imitating": (0.70, 0.65)}


def pairs():
    """Yields (texture, analysis, score) for every analysis of the corpus, in the corpus's order."""
    for path in sorted(corpus.getPaths()):
        if Path(path).suffix != ".rntxt":
            continue
        number = re.fullmatch(r"[a-z]+(\d+)", Path(path).stem)
        if number:
            texture = "chorale-like"
            score = next(iter(chorales.Iterator(int(number[1]), int(number[1]))))
        else:
            texture = "freely imitating"
            twins = [p for p in corpus.getPaths() if Path(p).stem == Path(path).stem and p != path]
            if not twins:
                continue
            score = converter.parse(twins[0])
        yield texture, converter.parse(path), score


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


def bar_tokens(measure, full):
    tokens, at_time = [], Fraction(0)
    voices = list(measure.voices) or [measure]
    for thing in voices[0].notesAndRests:
        length = Fraction(thing.duration.quarterLength)
        if length == 0:
            continue
        if Fraction(thing.offset) > at_time:
            tokens.append(f"{value(Fraction(thing.offset) - at_time)} _")
        at_time = Fraction(thing.offset) + length
        if isinstance(thing, note.Rest):
            word = "_"
        elif thing.tie is not None and thing.tie.type in ("continue", "stop"):
            word = "="
        elif isinstance(thing, chord.Chord):
            word = "&".join(spelled(p) for p in thing.pitches)
        else:
            word = spelled(thing.pitch)
        tokens.append(f"{value(length)} {word}")
    rest = full - at_time
    if rest > 0:
        tokens.append(f"{value(rest)} _")
    return " ".join(tokens) + " |"


def source(score, tonality):
    """The score as a source of ours without harmony, and the measures in order."""
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
    for number, part in enumerate(score.parts, start=1):
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


def main():
    binary = sys.argv[1]
    sums, calls, left_out = {}, [], 0
    for index, (texture, analysis, score) in enumerate(pairs()):
        frame = bars_of(score.parts[0])
        events = timeline(analysis, frame)
        if belongs(score, events) < 0.75:
            left_out += 1
            continue
        figures = [figure for _, figure in events]
        text, measures = source(score, figures[0].key)
        ours = inferred(binary, text, measures)
        half = "tuned" if index % 2 == 0 else "unseen"
        roots = both = count = 0
        for time in beats(measures):
            figure, mine = at(events, time), at(ours, time)
            if figure is None or mine is None:
                continue
            root, quality = split_symbol(mine[0])
            count += 1
            same = root == figure.root().name
            roots += same
            both += same and quality == triad(figure.quality)
            if half == "unseen":
                calls.append((mine[1], same))
        total = sums.setdefault((texture, half), [0, 0, 0, 0])
        for place, number in enumerate((1, count, roots, both)):
            total[place] += number
    failed = False
    for (texture, half), (pieces, count, roots, both) in sorted(sums.items()):
        print(f"{texture}, {half}: {pieces} pieces, {count} beats, root {roots / count:.1%}, "
              f"root and quality {both / count:.1%}")
        if half == "unseen":
            floor = FLOORS[texture]
            failed |= roots / count < floor[0] or both / count < floor[1]
    print(f"left out: {left_out}")
    for low, high in ((0.0, 0.5), (0.5, 0.7), (0.7, 0.9), (0.9, 1.01)):
        of = [same for certainty, same in calls if low <= certainty < high]
        if of:
            print(f"said to be {low:.0%} to {min(high, 1):.0%} sure: right in {sum(of) / len(of):.1%}"
                  f" of {len(of)} beats")
    if failed:
        sys.exit("below the floor")


if __name__ == "__main__":
    main()
