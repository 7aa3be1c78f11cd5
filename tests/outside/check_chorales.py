"""Inner voices against chorales in four parts.

The chorales that music21 carries are reduced to the chords on their beats. Soprano, bass and chords
are given to Ripieno, which finds alto and tenor (`sustains`); the original has its own. Both are
counted by the same rules, which are those of every harmony book: complete chords; no parallel
fifths, octaves and unisons; no leading note twice in a dominant; sevenths that fall by step; no
crossing; soprano, alto and tenor no more than an octave apart.

Nothing is picked by hand: the pieces are taken in the order of the corpus.

    python check_chorales.py RIPIENO [EVERY]
"""

import multiprocessing
import os
import subprocess
import sys
import tempfile
import warnings
from collections import Counter
from fractions import Fraction
from pathlib import Path

import mido
from music21 import chord
from music21.corpus import chorales

from outputs import Finding

# Symbols of the chords in use, by their semitones above the root.
QUALITIES = {
    (0, 4, 7): "", (0, 3, 7): "m", (0, 3, 6): "dim",
    (0, 4, 7, 10): "7", (0, 3, 7, 10): "m7", (0, 3, 6, 10): "m7b5", (0, 4, 7, 11): "maj7",
    (0, 3, 6, 9): "dim7",
}
BEATS = 4
# What Ripieno may have of each fault in a hundred chords, and how many chords it must complete.
FAULTS = 3.0
COMPLETE = 0.9


def spelled(one):
    alter = int(one.alter)
    return f"{one.step}{'#' * alter if alter >= 0 else 'b' * -alter}"


def label(pitches):
    """(symbol, classes from the root up) of four notes, or None if they are no chord in use."""
    found = chord.Chord(pitches)
    root = found.root()
    above = tuple(sorted({(one.pitchClass - root.pitchClass) % 12 for one in pitches}))
    quality = QUALITIES.get(above)
    if quality is None:
        return None
    bass = min(pitches, key=lambda one: one.midi)
    symbol = spelled(root) + quality
    if bass.pitchClass != root.pitchClass:
        symbol += "/" + spelled(bass)
    return symbol, [(root.pitchClass + up) % 12 for up in above]


def sounding(part, time):
    for one in part:
        if one[0] <= time < one[1]:
            return one[2]
    return None


def reduced(score):
    """(four pitches from the soprano down, symbol, classes, joined) for each beat that is a chord."""
    parts = []
    for part in score.parts:
        notes = [n for n in part.flatten().notes if n.isNote]
        parts.append([(Fraction(n.offset), Fraction(n.offset) + Fraction(n.quarterLength), n.pitch)
                      for n in notes])
    if len(parts) != 4 or not all(parts):
        return None
    end = int(max(part[-1][1] for part in parts))
    beats, last = [], None
    for time in range(end):
        pitches = [sounding(part, time) for part in parts]
        if None in pitches or any(p.alter != int(p.alter) or abs(p.alter) > 1 for p in pitches):
            continue
        if pitches[3].midi > min(p.midi for p in pitches):
            continue
        found = label(pitches)
        if found is None:
            continue
        beats.append((pitches, *found, last == time - 1))
        last = time
    return beats


def source(beats, tonality):
    """A source that gives soprano, bass and chords and asks for what lies between."""
    bars = [beats[at:at + BEATS] for at in range(0, len(beats) - BEATS + 1, BEATS)]
    key = f"{tonality.tonic.name.replace('-', 'b')} {tonality.mode}"
    text = ['piece "Four parts" {', "}", "form {", f"  1 metre 4/4, key {key}, tempo 1/4 at 60",
            f"  {len(bars)} end", "}", "harmony {"]
    text += [f"  {i}: 1/4 {' '.join(beat[1] for beat in bar)} |" for i, bar in enumerate(bars, 1)]
    text.append("}")
    for name, which in (("soprano", 0), ("ground", 3)):
        text.append(f"voice {name} {{")
        for i, bar in enumerate(bars, 1):
            notes = " ".join(f"{spelled(b[0][which])}{b[0][which].octave}" for b in bar)
            text.append(f"  {i}: 1/4 {notes} |")
        text.append("}")
    text += ["ensemble four {", "  era 1770", "  violin-1, violin-2, viola, cello", "}",
             "scoring four for four {", "  violin-1 plays soprano as melody",
             "  violin-2, viola sustains", "  cello plays ground as bass", "}"]
    return "\n".join(text) + "\n", len(bars) * BEATS


def sampled(folder, count):
    """What the four players sound on each beat, from the MIDI file."""
    song = mido.MidiFile(next(Path(folder).rglob("score.mid")))
    rows = []
    for track in song.tracks:
        time, open_notes, notes = 0, {}, []
        for message in track:
            time += message.time
            if message.type == "note_on" and message.velocity > 0:
                open_notes[message.note] = time
            elif message.type in ("note_off", "note_on") and message.note in open_notes:
                notes.append((open_notes.pop(message.note), time, message.note))
        if notes:
            rows.append(notes)
    tick = song.ticks_per_beat
    at = lambda notes, time: next((k for a, b, k in notes if a <= time < b), None)
    # A note is let go a little early, so it is sought a little after the beat.
    return [[at(notes, beat * tick + tick // 8) for notes in rows] for beat in range(count)]


def parallels(one, two):
    """Pairs of voices that go in parallel fifths, octaves or unisons."""
    found = 0
    for high in range(4):
        for low in range(high + 1, 4):
            before, after = one[high] - one[low], two[high] - two[low]
            moved = one[high] != two[high] and one[low] != two[low]
            same_way = (two[high] - one[high]) * (two[low] - one[low]) > 0
            if moved and same_way and before % 12 == after % 12 and before % 12 in (0, 7):
                found += 1
    return found


def counted(rows, beats):
    """Faults of four voices, each a row of keys from the soprano down."""
    total = Counter()
    for index, (row, (_, symbol, classes, joined)) in enumerate(zip(rows, beats)):
        total["chords"] += 1
        if None in row:
            total["rests"] += 1
            continue
        has = {key % 12 for key in row}
        total["complete"] += has >= set(classes)
        needed = classes[1:2] + classes[3:]
        total["without third or seventh"] += not has >= set(needed)
        dominant = symbol.split("/")[0].endswith("7") and len(classes) == 4 and \
            (classes[1] - classes[0]) % 12 == 4 and (classes[3] - classes[0]) % 12 == 10
        if dominant:
            total["leading note twice"] += sum(k % 12 == classes[1] for k in row) > 1
        total["crossing"] += any(row[i] < row[i + 1] for i in range(3))
        total["wide"] += row[0] - row[1] > 12 or row[1] - row[2] > 12
        if index and joined and None not in rows[index - 1]:
            before, earlier = rows[index - 1], beats[index - 1]
            total["parallels"] += parallels(before, row)
            if len(earlier[2]) == 4 and set(earlier[2]) != set(classes):
                for voice in range(1, 3):
                    seventh = before[voice] % 12 == earlier[2][3]
                    down = [(before[voice] - step) % 12 in classes for step in (1, 2)]
                    falls = before[voice] - row[voice] in (0, 1, 2)
                    total["seventh hangs"] += seventh and any(down) and not falls
    return total


def compare(job):
    binary, number = job
    warnings.simplefilter("ignore")
    score = next(iter(chorales.Iterator(number, number)))
    beats = reduced(score)
    if not beats or len(beats) < 2 * BEATS:
        return None
    text, count = source(beats, score.analyze("key"))
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "four.ripieno"
        path.write_text(text)
        run = subprocess.run([binary, "build", str(path), "--only", "midi", "-o", folder + "/out"],
                             capture_output=True, text=True, check=False)
        if run.returncode != 0:
            raise RuntimeError(run.stdout + run.stderr)
        ours = sampled(folder + "/out", count)
    beats = beats[:count]
    original = [[p.midi for p in beat[0]] for beat in beats]
    return counted(ours, beats), counted(original, beats)


def compare_all(binary, every):
    jobs = [(binary, number) for number in range(1, 372, every)]
    with multiprocessing.Pool(os.cpu_count()) as pool:
        found = [both for both in pool.map(compare, jobs, chunksize=1) if both is not None]
    ours, original = Counter(), Counter()
    for one, two in found:
        ours.update(one)
        original.update(two)
    return len(found), ours, original


FAULTY = ["rests", "without third or seventh", "leading note twice", "crossing", "wide",
          "parallels", "seventh hangs"]


def per_hundred(total, what):
    return 100 * total[what] / max(total["chords"], 1)


def check(binary, every=24):
    """The finding for the outside checks."""
    pieces, ours, original = compare_all(binary, every)
    finding = Finding(f"inner voices of {pieces} chorales, {ours['chords']} chords")
    finding.expect(pieces >= 5, f"only {pieces} chorales could be read")
    complete = per_hundred(ours, "complete") / 100
    finding.expect(complete >= COMPLETE, f"only {complete:.1%} of the chords are complete")
    for fault in FAULTY:
        share, theirs = per_hundred(ours, fault), per_hundred(original, fault)
        finding.expect(share <= max(FAULTS, theirs),
                       f"{fault}: {share:.1f} in a hundred chords, the originals have {theirs:.1f}")
    yield finding


def main(binary, every="1"):
    pieces, ours, original = compare_all(binary, int(every))
    print(f"{pieces} chorales, {ours['chords']} chords; in a hundred chords (the original's)")
    for what in ["complete", *FAULTY]:
        print(f"  {what}: {per_hundred(ours, what):.1f} ({per_hundred(original, what):.1f})")


if __name__ == "__main__":
    main(*sys.argv[1:])
