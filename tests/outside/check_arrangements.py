"""Generated arrangements, read from outside like the samples.

    python check_arrangements.py RIPIENO MAKER [COUNT [SEED]]

MAKER is the program `arrangements` (`tests/shared/arrangements.rs`), which writes sources with any metre,
key, length, tuplet, ensemble and verb. Every score and part of each must be valid by the schema,
hold together (`check_notation`), and be read by partitura as written; mido finds no note in the MIDI
that is struck twice or never ends. Whether the MIDI sounds every note is held by `tests/writers.rs` over
the same sources. Their pages are read back from the drawings (`check_pages`), full scores, condensed ones and
parts. The test command does that with the pages of two hundred, and the rest with some of these, which differ by
the day; all of it over two hundred is one command.
"""

import datetime
import multiprocessing
import os
import re
import shutil
import subprocess
import sys
import tempfile
import warnings
from pathlib import Path

from lxml import etree

import check_condensed
import check_notation
import check_pages
import check_schema
import check_second_reader
import outputs
import played

# So many of them in the test command, and of so many the pages are read back.
SAMPLE = 12
PAGES = 200


def _players(page):
    """Who reads from a page: one player, or the two halves of a section that divides."""
    entries = etree.parse(str(page.with_suffix(".musicxml"))).getroot().iter("score-instrument")
    return {one.get("id").split("-")[0] for one in entries}


def _midi(scorings):
    for scoring in scorings:
        finding = outputs.Finding(scoring.name)
        parts = scoring.parts("mid")
        for path in scoring.files("mid"):
            _, tracks = played.read(path)
            pages = parts if path == scoring.score("mid") else [path]
            wanted = 1 + sum(len(_players(page)) for page in pages)
            finding.expect(len(tracks) == wanted, f"{path.name}: {len(tracks)} tracks, not {wanted}")
            hanging = [words for track in tracks for words in track.hanging]
            finding.expect(not hanging, f"{path.name}: {hanging[:3]}")
            ends = {track.end for track in tracks[1:]}
            finding.expect(len(ends) == 1, f"{path.name}: tracks end at {sorted(ends)}")
        yield finding


def _pages(scorings):
    for scoring in scorings:
        yield check_pages.check(scoring.folder, scoring.name)
        yield from check_condensed.check(scoring.folder, scoring.name)


def _documents(scorings):
    # Not as pictures: on pages of a few bars under long beams staff lines cannot be told by their
    # lengths, as on the pages of music that somebody wrote.
    for scoring in scorings if not check_pages.missing() else ():
        yield check_pages.check_documents(scoring.folder, scoring.name, pictures=False)


PAGES_CHECK = "pages read back from their drawings"
CHECKS = {
    "valid by the schema": check_schema.check,
    "hold together": check_notation.check,
    "read by partitura": check_second_reader.check,
    "MIDI read by mido": _midi,
    PAGES_CHECK: _pages,
    "documents opened by other programs": _documents,
}


# What is said of signs that a layout moved onto others, and of pages that it turned before they were full.
MEANT = {
    "nudge accidental ": r"accidental lies over a head",
    "nudge words ": r"lies over \[",
    "nudge dynamic ": r"lies over \[.*'dynamic'",
    "nudge slur ": r"lies over \[.*'tie or slur'",
    "nudge tie ": r"lies over \[.*'tie or slur'",
    " turn before ": r"one line alone",
}


def meant(text, words):
    """Does a layout of the source ask for that itself, whatever stands there?"""
    return any(asked in text and re.search(said, words) for asked, said in MEANT.items())


def _one(job):
    """Builds one source and checks it; gives back what was tested and what was wrong, by check."""
    ripieno, source, folder, only_pages = job
    warnings.simplefilter("ignore")
    command = [ripieno, "build", "--format", "short", "--despite-errors", "--only",
               "musicxml,svg" if only_pages else "musicxml,midi,svg,pdf",
               "--scores", "full,condensed", "-o", folder, source]
    run = subprocess.run(command, capture_output=True, text=True, timeout=300, check=False)
    if not folder.is_dir():
        return {"are built": (1, [f"{source.name}: {run.stderr[-400:]}"])}
    found = {"are built": (1, [])}
    text = source.read_text(encoding="utf-8")
    scorings = outputs.scorings(folder, [source])
    for name, check in CHECKS.items():
        if only_pages and check is not _pages:
            continue
        tested, wrong = 0, []
        for finding in check(scorings):
            tested += finding.tested
            wrong += [f"{source.name}: {words}" for words in finding.wrong if not meant(text, words)]
        found[name] = (tested, wrong)
    # Two hundred leave many files.
    shutil.rmtree(folder)
    return found


def check(ripieno, maker, work, count=PAGES, seed=None, whole=SAMPLE):
    """One finding for each check over arrangements; the seed is the day's if none is given. The pages of all are
    read back, and all checks are made of the first `whole`."""
    seed = datetime.date.today().toordinal() if seed is None else seed
    work.mkdir(exist_ok=True)
    sources = work / "arrangements"
    run = subprocess.run([maker, sources, str(count), str(seed)], capture_output=True, text=True,
                         check=False)
    told = f"{count} generated arrangements (seed {seed})"
    if run.returncode != 0:
        finding = outputs.Finding(f"{told} are made")
        finding.expect(False, run.stderr)
        yield finding
        return
    jobs = [
        (ripieno, source, work / "arranged" / source.stem, n >= whole) for n, source in enumerate(sorted(sources.iterdir()))
    ]
    findings = {}
    with multiprocessing.Pool(os.cpu_count()) as pool:
        for found in pool.imap(_one, jobs):
            for name, (tested, wrong) in found.items():
                of = told if name in ("are built", PAGES_CHECK) else f"{min(count, whole)} of {told}"
                finding = findings.setdefault(name, outputs.Finding(f"{of}: {name}"))
                finding.tested += tested
                finding.wrong += wrong
    yield from findings.values()


def main(ripieno, maker, count=200, seed=None):
    with tempfile.TemporaryDirectory() as work:
        seed = None if seed is None else int(seed)
        findings = check(Path(ripieno).resolve(), Path(maker).resolve(), Path(work), int(count), seed, int(count))
        outputs.report(findings, shown=40)


if __name__ == "__main__":
    main(*sys.argv[1:])
