"""Checks what Ripieno writes against the world outside: schema, readers, published tables.

    python run.py RIPIENO SAMPLE…

Builds every sample and the sources of `stress.py` into a temporary folder, runs every check, and
ends with one line `N passed, N failed`.
"""

import datetime
import logging
import multiprocessing
import os
import subprocess
import sys
import tempfile
import warnings
from pathlib import Path

import check_agreement
import check_arrangements
import check_catalogue
import check_checks
import check_chorales
import check_condensed
import check_corpus
import check_editor
import check_faults
import check_figures
import check_files
import check_findings
import check_form
import check_harmony
import check_import
import check_midi
import check_notation
import check_pages
import check_schema
import check_second_reader
import check_sound
import check_staves
import check_text
import check_transposition
import outputs
import stress

# A page that is hard to engrave, which is read back as those of the samples are.
HARD_PAGE = Path(__file__).resolve().parent.parent / "fixtures" / "hard-page.ripieno"
# The most that is printed of one failure.
SHOWN = 12

HOSTILE = """\
piece "../../escape/..\\\\ : *" { licence "CC0-1.0" }
form {
  1 metre 2/4, key D major, tempo 1/4 at 60
  1 end
}
voice tune { 1: 1/4 D5 A4 | }
ensemble duo {
  era 1770
  oboe as "../oboe", violin-1 4 players as "/etc/violin"
}
scoring up for duo {
  oboe, violin-1 plays tune as melody
}
"""


def on_one_processor():
    os.sched_setaffinity(0, {min(os.sched_getaffinity(0))})


def build(ripieno, sources, output, root, otherwise=False):
    """Builds sources together; gives back whether that went well. `otherwise` builds them on one
    processor, from another folder and under another locale."""
    ripieno = Path(ripieno).resolve()
    command = [ripieno, "build", "--format", "short", "-o", output, "--root", root]
    command += ["--scores", "full,concert,condensed", *sources]
    how = {}
    if otherwise:
        how = {"cwd": "/", "env": dict(os.environ, LC_ALL="tr_TR.ISO-8859-9", TZ="Asia/Kathmandu")}
        if hasattr(os, "sched_setaffinity"):
            how["preexec_fn"] = on_one_processor
    run = subprocess.run(command, capture_output=True, text=True, timeout=600, check=False, **how)
    if run.returncode != 0:
        print(run.stdout, run.stderr, sep="\n")
    return run.returncode == 0


def build_all(ripieno, samples, work):
    """Builds samples and stress sources twice; gives back the findings of the building."""
    crooks, _ = stress.crooks()
    written = work / "sources"
    written.mkdir()
    (written / "crooks.ripieno").write_text(crooks, encoding="utf-8")
    (written / "everything.ripieno").write_text(stress.language(), encoding="utf-8")
    (written / "taking.ripieno").write_text(stress.taking(), encoding="utf-8")
    (written / "to-and-fro.ripieno").write_text(stress.to_and_fro(), encoding="utf-8")
    (written / "two-staves.ripieno").write_text(stress.two_staves(), encoding="utf-8")
    # The samples together, since one of them may hold nothing but ensembles.
    together = [samples, *([source] for source in sorted(written.iterdir()))]
    finding = outputs.Finding("samples and stress sources build without an error")
    for sources in filter(None, together):
        root = os.path.commonpath([source.parent for source in sources])
        names = ", ".join(source.name for source in sources)
        for output in ("once", "twice"):
            built = build(ripieno, sources, work / output, root, output == "twice")
            finding.expect(built, f"{names} does not build")
    yield finding
    if finding.passed:
        yield check_files.same_bytes(work / "once", work / "twice")
    room = work / "room"
    room.mkdir()
    (room / "source.ripieno").write_text(HOSTILE, encoding="utf-8")
    build(ripieno, [room / "source.ripieno"], room / "out", room)
    yield check_files.clean_names(room, room / "out")


def _compare(job):
    warnings.simplefilter("ignore")
    return check_agreement.compare(*job)


def agreement(scorings):
    """Every pair of files, the longest first, on as many processors as there are."""
    jobs = [
        (f"{scoring.name}/{xml.stem}", xml, xml.with_suffix(".mid"), scoring.era)
        for scoring in scorings
        for xml in scoring.files("musicxml")
    ]
    jobs.sort(key=lambda job: -job[1].stat().st_size)
    with multiprocessing.Pool(os.cpu_count()) as pool:
        yield from sorted(pool.imap_unordered(_compare, jobs), key=lambda finding: finding.name)


def checks(ripieno, work, samples):
    sources = [*samples, *(work / "sources").iterdir()]
    scorings = outputs.scorings(work / "once", sources)
    _, wanted = stress.crooks()
    known = [scoring for scoring in scorings if scoring.name.startswith("crooks/")]
    yield from check_schema.check(scorings)
    yield from check_notation.check(scorings)
    yield from check_second_reader.check(scorings)
    yield from check_midi.check(scorings)
    yield from check_sound.check(outputs.of_sources(scorings, samples))
    yield from check_transposition.check(scorings)
    yield from check_transposition.check_known(known, wanted)
    yield from check_text.check(scorings)
    yield from check_staves.check(scorings)
    yield from agreement(scorings)
    own = sorted((scoring.score("musicxml") for scoring in scorings), key=lambda p: p.stat().st_size)
    yield from check_import.check(ripieno, work / "import", own[:4])
    yield check_checks.check({s.name: s for s in scorings}, work / "planted")


def main(ripieno, *samples):
    logging.disable(logging.WARNING)
    passed = failed = 0
    with tempfile.TemporaryDirectory() as folder:
        work = Path(folder)
        samples = [Path(sample).resolve() for sample in samples]
        findings = build_all(ripieno, samples, work)
        clean = work / "clean.ripieno"
        clean.write_text(HOSTILE, encoding="utf-8")
        said = check_findings.check(ripieno, clean)
        printed = [*samples, HARD_PAGE]
        outside = (
            check_faults.check(ripieno, work / "faults"),
            check_editor.check(ripieno, work / "editor"),
            check_form.check(ripieno, work / "form"),
            check_harmony.check(ripieno),
            check_chorales.check(ripieno),
            [check_figures.check(ripieno)],
            check_corpus.check(ripieno),
            [check_catalogue.check(ripieno)],
            check_pages.check_all(ripieno, printed, work / "pages", datetime.date.today().toordinal()),
            check_condensed.check_built(work / "pages", printed),
            check_arrangements.check(
                ripieno, Path(ripieno).parent / "examples" / "arrangements", work / "generated",
            ),
        )
        for stage in (findings, said, *outside, checks(ripieno, work, samples)):
            for finding in stage:
                passed += finding.passed
                failed += not finding.passed
                if finding.passed:
                    print(f"ok      {finding.name} ({finding.tested})")
                    continue
                print(f"FAILED  {finding.name} ({finding.tested})")
                for words in finding.wrong[:SHOWN] or ["tested nothing"]:
                    print(f"          {words}")
            if not (work / "once").is_dir():
                break
    print(f"{passed} passed, {failed} failed")
    return 0 if failed == 0 and passed > 0 else 1


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
