"""A catalogue of small pieces, built and built again.

    python3 tests/benches/catalogue.py RIPIENO [PIECES]

Writes so many pieces of eight bars for five players (1,000, unless another number is given), builds
all of them in one call, then again with nothing changed, and again with one piece changed. The
first may take 300 MB; the second a tenth of the time of the first.
"""

import os
import random
import sys
import tempfile
import time
from pathlib import Path

UPPER = ["F#4", "G4", "A4", "B4", "C5", "D5", "E5", "F#5", "G5"]
LOWER = ["G2", "A2", "B2", "C3", "D3", "E3"]


def bars(pitches: list[str]) -> str:
    lines = (f"  {bar}: 1/4 {' '.join(random.choices(pitches, k=4))} |" for bar in range(1, 9))
    return "\n".join(lines)


def piece(number: int) -> str:
    return f"""piece "Piece {number}" {{ composer "House copyist" }}
form {{
  1 metre 4/4, key G major, tempo 1/4 at 90
  8 end
}}
voice up {{
{bars(UPPER)}
}}
voice low {{
{bars(LOWER)}
}}
ensemble band {{
  era 1770
  oboe 2, violin-1 6 players, violin-2 6 players, cello 3 players
}}
scoring plain for band {{
  oboe, violin-1, violin-2 plays up as melody
  cello plays low as bass
}}
"""


def build(program: str, folder: Path) -> tuple[float, float, float]:
    """Seconds by the clock and of the processors, and the peak of memory in MB."""
    sources = sorted(path.name for path in folder.glob("*.ripieno"))
    begin = time.monotonic()
    process = os.fork()
    if process == 0:
        os.chdir(folder)
        quiet = os.open(os.devnull, os.O_WRONLY)
        os.dup2(quiet, 1)
        os.dup2(quiet, 2)
        os.execv(program, [program, "build", *sources])
    _, status, usage = os.wait4(process, 0)
    took = time.monotonic() - begin
    if status != 0:
        sys.exit(f"the build ended with {status}")
    return took, usage.ru_utime + usage.ru_stime, usage.ru_maxrss / 1024


def main() -> None:
    program = str(Path(sys.argv[1]).resolve())
    count = int(sys.argv[2]) if len(sys.argv) > 2 else 1000
    random.seed(20261127)
    with tempfile.TemporaryDirectory() as room:
        folder = Path(room)
        for number in range(count):
            (folder / f"p{number:05}.ripieno").write_text(piece(number))
        first = None
        for what in ("the first build", "nothing changed", "one piece changed"):
            if what == "one piece changed":
                (folder / "p00000.ripieno").write_text(piece(0))
            took, processor, memory = build(program, folder)
            first = first or took
            print(
                f"{count} pieces, {what}: {took:.2f} s ({took / first:.2f} of the first),"
                f" {processor:.2f} s of processors, {memory:.0f} MB at most"
            )


main()
