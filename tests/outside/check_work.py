"""What `check` does grows with its source, whatever stands in it.

    python check_work.py RIPIENO [PATTERN…]

Each pattern repeats one thing, sensible or not, so many times and twice and four times as often.
Work is counted in instructions of the machine, as valgrind's cachegrind counts them: the count is
the same however busy the machine is. Twice as much source may cost little more than twice as much;
what cost its square would cost four times as much. Where something is bounded by the limits of the
language, a pattern stays below the bound.
"""

import re
import shutil
import subprocess
import sys
import tempfile
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from outputs import Finding

# What twice as much may cost: sorting, and tables that grow, make it a little more than double.
MOST = 2.45

VOICE = "voice tune { 1: 1/4 D5 A4 |\n}\n"
ENSEMBLE = "ensemble duo { era 1885\n oboe 2, violin-1 4 players }\n"
SCORING = "scoring few for duo {\n oboe plays tune as melody\n violin-1 rests\n}\n"
FORM = "form {\n 1 metre 2/4, key D major, tempo 1/4 at 96\n 1 end\n}\n"


def whole(
    head='piece "Ferry" { licence "CC0-1.0" }\n',
    form=FORM,
    more="",
    voices=VOICE,
    ensembles=ENSEMBLE,
    scorings=SCORING,
):
    return head + form + more + voices + ensembles + scorings


def bars(count, written="1/2 D5"):
    """A form of so many bars, and a voice with this in each."""
    form = f"form {{\n 1 metre 2/4, key D major, tempo 1/4 at 96\n {count} end\n}}\n"
    voice = "".join(f"  {bar}: {written} |\n" for bar in range(1, count + 1))
    return {"form": form, "voices": f"voice tune {{\n{voice}}}\n"}


def lines(count, line):
    return "".join(line.replace("#", str(number)) + "\n" for number in range(1, count + 1))


def scored(*given):
    return "scoring few for duo {\n" + "".join(given) + "}\n"


def in_bar(text):
    return whole(voices=f"voice tune {{ 1: {text} |\n}}\n")


def used(count):
    """Files that use one another in every way that there is, under several names."""
    return "".join(f'use "x{number}.ripieno"\nuse "./x{number}.ripieno"\n' for number in range(count))


# How often the thing is repeated first, and the source for a count.
PATTERNS = {
    "bars of a voice": (250, lambda n: whole(**bars(n, "1/8 D5 E5 F#5 A4"))),
    "bars too long": (200, lambda n: whole(**bars(n, "1/8 D5 E5 F#5 A4 G4"))),
    "notes out of compass": (150, lambda n: whole(**bars(n, "1/8 D8 E2 F#8 A1"))),
    "hairpins without an end": (200, lambda n: whole(**bars(n, "[cresc] 1/4 D5 A4"))),
    "a note tied on": (200, lambda n: whole(**bars(n, "1/2 ="))),
    "notes in one bar": (800, lambda n: in_bar("1/4 " + "D5 " * n)),
    "marks on one note": (500, lambda n: in_bar("1/2 D5" + "[stacc]" * n)),
    "dynamics before one note": (500, lambda n: in_bar("[p] " * n + "1/2 D5")),
    "notes of one chord": (500, lambda n: in_bar("1/2 D5" + "&F5" * n)),
    "tuplets within tuplets": (500, lambda n: in_bar("3:2(" * n)),
    "grace notes not closed": (500, lambda n: in_bar("grace(" * n)),
    "slurs not closed": (1000, lambda n: in_bar("{ " * n + "1/2 D5")),
    "voices": (60, lambda n: whole(voices=VOICE + lines(n, "voice t# { 1: 1/4 D5 A4 | }"))),
    "open braces": (2000, lambda n: "{" * n),
    "open voices": (500, lambda n: "voice a {\n" * n),
    "open quotes": (600, lambda n: 'piece "' * n),
    "open quotes on many lines": (500, lambda n: 'piece "\n' * n),
    "open quotes in a scoring": (
        300,
        lambda n: whole(scorings=scored(' oboe plays tune as melody "\n' * n)),
    ),
    "open quotes in a voice": (300, lambda n: in_bar('["' * n + " 1/2 D5")),
    "comments": (16000, lambda n: whole() + "//\n" * n),
    "comments between bars": (
        2000,
        lambda n: whole(voices="voice tune {\n" + " // why\n" * n + " 1: 1/4 D5 A4 |\n}\n"),
    ),
    "comments behind bars": (
        250,
        lambda n: whole(**bars(n, "1/2 D5") | {"more": "// one\n"}).replace(" |\n", " | // why\n"),
    ),
    "comments in a scoring": (2000, lambda n: whole(scorings=scored(" // why\n" * n))),
    "pieces": (200, lambda n: 'piece "a" { composer "b" }\n' * n),
    "composers": (400, lambda n: whole(head='piece "a" {\n' + ' composer "b"\n' * n + "}\n")),
    "changes of form": (
        250,
        lambda n: whole(
            **bars(n)
            | {"form": "form {\n" + lines(n, " # metre 2/4, key D major, tempo 1/4 at 96") + f" {n} end\n}}\n"}
        ),
    ),
    "changes of one bar": (
        300,
        lambda n: whole(form="form {\n" + " 1 metre 2/4, key D major\n" * n + " 1 end\n}\n"),
    ),
    "repeats": (
        150,
        lambda n: whole(
            **bars(2 * n)
            | {
                "form": "form {\n 1 metre 2/4, key D major\n"
                + "".join(f" {bar}..{bar + 1} repeat\n" for bar in range(1, 2 * n, 2))
                + f" {2 * n} end\n}}\n"
            }
        ),
    ),
    "dynamics": (
        200,
        lambda n: whole(more="dynamics {\n" + lines(n, " # p") + "}\n", **bars(n)),
    ),
    "harmony": (200, lambda n: whole(more="harmony {\n" + lines(n, " #: D A7 |") + "}\n", **bars(n))),
    "names that nothing declares, and voices": (
        60,
        lambda n: whole(
            voices=VOICE + lines(60, "voice t# { 1: 1/4 D5 A4 | }"),
            scorings=scored(lines(n, " oboe plays u# as melody bars 1")),
        ),
    ),
    "players that nothing declares, and groups": (
        100,
        lambda n: whole(
            ensembles="ensemble duo { era 1885\n" + lines(60, " group g# = oboe") + " oboe 2 }\n",
            scorings=scored(lines(n, " unknown# plays tune as melody")),
        ),
    ),
    "a long word": (4000, lambda n: whole(scorings=scored(" oboe plays ", "a" * n, " as melody\n"))),
    "`writes` on one line": (400, lambda n: whole(scorings=scored(" f writes {" * n, "\n"))),
    "`writes` on many lines": (400, lambda n: whole(scorings=scored(" f writes {\n" * n))),
    "written blocks": (
        150,
        lambda n: whole(
            scorings=scored(lines(n, " oboe.1 writes as melody {\n #: 1/2 D5 |\n }")), **bars(n)
        ),
    ),
    "lines, each with a bar": (
        250,
        lambda n: whole(scorings=scored(lines(n, " oboe plays tune as melody bars #")), **bars(n)),
    ),
    "lines that claim one bar": (
        150,
        lambda n: whole(scorings=scored(" oboe plays tune as melody\n" * n)),
    ),
    "players in one line": (
        400,
        lambda n: whole(scorings=scored(" ", ", ".join(["oboe"] * n), " plays tune as melody\n")),
    ),
    "bars in one line": (
        400,
        lambda n: whole(
            scorings=scored(
                " oboe plays tune as melody bars ",
                ", ".join(str(bar) for bar in range(1, 2 * n, 2)),
                "\n violin-1 rests\n",
            ),
            **bars(2 * n),
        ),
    ),
    "chords held": (
        60,
        lambda n: whole(scorings=scored(" oboe sustains\n violin-1 plays tune as melody\n"), **bars(n)),
    ),
    "crooks taken": (
        100,
        lambda n: whole(
            ensembles="ensemble duo { era 1790\n horn crook D, violin-1 4 players }\n",
            scorings=scored(
                " violin-1 plays tune as melody\n",
                "".join(f" horn takes crook {'DG'[bar % 2]} bar {bar}\n" for bar in range(1, n + 1)),
            ),
            **bars(n),
        ),
    ),
    "groups": (
        200,
        lambda n: whole(
            ensembles="ensemble duo { era 1885\n oboe 2, violin-1 4 players\n"
            + lines(n, " group g# = oboe, violin-1")
            + "}\n"
        ),
    ),
    "groups of players that nothing declares": (
        100,
        lambda n: whole(
            ensembles="ensemble duo { era 1885\n oboe 2, violin-1 4 players\n group g0 = oboe\n"
            + "".join(f" group g{i} = nobody{i}, violin-1\n" for i in range(1, n))
            + "}\n"
        ),
    ),
    "members of one group": (
        100,
        lambda n: whole(
            ensembles="ensemble duo { era 1885\n oboe 2, violin-1 4 players\n group g = "
            + ", ".join(["oboe.1", "violin-1"] * n)
            + "\n}\n"
        ),
    ),
    "groups that play": (
        60,
        lambda n: whole(
            ensembles="ensemble duo { era 1885\n oboe 2, violin-1 4 players\n"
            + lines(n, " group g# = oboe, violin-1")
            + "}\n",
            scorings=scored(lines(n, " g# plays tune as melody bars 1")),
        ),
    ),
    "rules that are allowed": (
        300,
        lambda n: whole(scorings=SCORING[:-2] + ' allow agility/too-fast "why" bars 1\n' * n + "}\n"),
    ),
    "ensembles that extend one another": (
        8,
        lambda n: whole(
            ensembles=ENSEMBLE
            + "".join(
                f"ensemble e{i} extends {f'e{i - 1}' if i > 1 else 'duo'} {{ era 1885\n flute\n}}\n"
                for i in range(1, n)
            )
        ),
    ),
    "ensembles": (45, lambda n: whole(ensembles=ENSEMBLE + lines(n, "ensemble e# { era 1885\n oboe }"))),
    "scorings": (
        30,
        lambda n: whole(
            scorings=lines(n, "scoring s# for duo {\n oboe plays tune as melody\n violin-1 rests\n}")
        ),
    ),
    "scorings of one name": (30, lambda n: whole(scorings=SCORING * n)),
    "files that are not there": (45, lambda n: used(n // 2) + whole()),
    "words that mean nothing": (500, lambda n: "x y z\n" * n),
    "letters that mean nothing": (4000, lambda n: "x" * n),
    "nothing in a voice": (500, lambda n: whole(voices="voice tune {\n" + " x y z ?\n" * n + "}\n")),
    "nothing in a scoring": (500, lambda n: whole(scorings=scored(" ? y z\n" * n))),
    "lines that end with CR alone": (2000, lambda n: whole().replace("\n", "\r") + "//\r" * n),
}


def instructions(ripieno, folder, name, text):
    """How many instructions `check` takes for a source."""
    source = folder / f"{name}.ripieno"
    source.write_text(text, encoding="utf-8")
    command = [ripieno, "check", "--format=short", "--allow", "all", source]
    run = subprocess.run(
        ["valgrind", "--tool=cachegrind", "--cache-sim=no", "--cachegrind-out-file=/dev/null", *command],
        capture_output=True,
        text=True,
        errors="replace",
        timeout=600,
        check=False,
    )
    counted = re.search(r"I\s+refs:\s*([\d,]+)", run.stderr)
    if run.returncode not in (0, 1) or counted is None:
        raise RuntimeError(f"{name}: {run.returncode}: {run.stderr[-400:]}")
    return int(counted[1].replace(",", ""))


def grown(ripieno, folder, number, pattern):
    """What is added by the first part, and by twice and four times as much."""
    count, source = PATTERNS[pattern]
    one, two, four = (
        instructions(ripieno, folder, f"{number}-{times}", source(count * times)) for times in (1, 2, 4)
    )
    # From 1 to 2 and from 2 to 4: what does not depend on the source drops out.
    return two - one, four - two


def check(ripieno, folder, patterns=()):
    if shutil.which("valgrind") is None:
        print("skipped  what `check` costs: valgrind counts it, and is not installed")
        return
    folder.mkdir(exist_ok=True)
    finding = Finding("what `check` does grows with its source, whatever stands in it")
    patterns = list(patterns or PATTERNS)
    with ThreadPoolExecutor() as pool:
        jobs = [pool.submit(grown, ripieno, folder, *job) for job in enumerate(patterns)]
        for pattern, job in zip(patterns, jobs, strict=True):
            less, more = job.result()
            ratio = more / max(less, 100_000)
            finding.expect(ratio <= MOST, f"{pattern}: twice as much costs {ratio:.2f} times as much")
            if __name__ == "__main__":
                print(f"{pattern:45} {less:13,} {more:13,} {ratio:5.2f}", flush=True)
    yield finding


def main(ripieno, *patterns):
    failed = False
    with tempfile.TemporaryDirectory() as folder:
        for finding in check(str(Path(ripieno).resolve()), Path(folder), patterns):
            failed |= not finding.passed
            for words in finding.wrong:
                print("FAILED ", words)
    return failed


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
