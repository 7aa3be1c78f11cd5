"""Sets the writing of a score and its parts against a general-purpose Python toolkit.

    cargo build --release
    target/outside/bin/python tests/benches/compare.py

Both write 30 parts of 100 bars of eight notes (24,000 notes), the score and each part, as MusicXML
and as MIDI. Ripieno's time is that of the whole process, reading the text included; the toolkit's
is that of building its score in memory and writing it. Without the toolkit only Ripieno is timed.
"""

import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

PARTS, BARS = 30, 100
NOTES = ["D5", "E5", "F#5", "G5", "A5", "G5", "F#5", "E5"]
RIPIENO = Path(__file__).resolve().parents[2] / "target" / "release" / "ripieno"


def source():
    """The piece as Ripieno reads it."""
    bars = "\n".join(f"  {bar}: 1/8 {' '.join(NOTES)} |" for bar in range(1, BARS + 1))
    parts = "\n".join(f"  oboe.{n} plays upper as melody" for n in range(1, 16))
    more = "\n".join(f"  flute.{n} plays upper as melody" for n in range(1, 16))
    return (
        f'piece "Figures" {{ }}\nform {{\n  1 metre 4/4, key D major\n  {BARS} end\n}}\n'
        f"voice upper {{\n{bars}\n}}\n"
        "ensemble all {\n  era 1885\n  oboe 15\n  flute 15\n}\n"
        f"scoring all for all {{\n{parts}\n{more}\n}}\n"
    )


def ripieno(folder):
    """Median seconds of five runs of the whole process."""
    piece = folder / "figures.ripieno"
    piece.write_text(source(), encoding="utf-8")
    command = [RIPIENO, "build", piece, "-o", folder / "ripieno", "--only", "musicxml,midi"]
    times = []
    for _ in range(5):
        begin = time.perf_counter()
        subprocess.run(command, check=True, capture_output=True)
        times.append(time.perf_counter() - begin)
    endings = (".musicxml", ".mid")
    written = sum(1 for file in (folder / "ripieno").rglob("*") if file.suffix in endings)
    assert written == 2 * (PARTS + 1), f"{written} files were written"
    return statistics.median(times)


def toolkit(folder):
    """Seconds of one run, or None where the toolkit is not installed."""
    try:
        from music21 import key, meter, note, stream
    except ImportError:
        return None
    begin = time.perf_counter()
    score = stream.Score()
    for number in range(PARTS):
        part = stream.Part(id=f"P{number + 1}")
        for bar in range(1, BARS + 1):
            measure = stream.Measure(number=bar)
            if bar == 1:
                measure.append([meter.TimeSignature("4/4"), key.Key("D")])
            for pitch in NOTES:
                measure.append(note.Note(pitch, quarterLength=0.5))
            part.append(measure)
        score.insert(0, part)
    score.write("musicxml", folder / "score.musicxml")
    score.write("midi", folder / "score.mid")
    for number, part in enumerate(score.parts):
        part.write("musicxml", folder / f"part-{number}.musicxml")
        part.write("midi", folder / f"part-{number}.mid")
    return time.perf_counter() - begin


def main():
    if not RIPIENO.exists():
        sys.exit("build Ripieno first: cargo build --release")
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        ours = ripieno(folder)
        print(f"Ripieno: {ours * 1000:.0f} ms for the whole process")
        theirs = toolkit(folder)
        if theirs is None:
            print("the Python toolkit is not installed: no ratio")
        else:
            print(f"the Python toolkit: {theirs:.1f} s")
            print(f"ratio: {theirs / ours:.0f}")


if __name__ == "__main__":
    main()
