"""What the rules say of public scores, and whether these come through Ripieno note for note.

`corpus.py` finds works and writes them as sources. Every one must compile; works that are scored for
their own instruments must not have a note that their instruments cannot play; and the MIDI file
that Ripieno writes must sound what music21 reads in the score: pitch, onset and duration.

    python check_corpus.py RIPIENO

does this with all works and prints how many findings each rule has per 100 bars: the table of
DEVELOPERS.md. As a part of the outside checks, some works of each kind are taken.
"""

import json
import multiprocessing
import os
import re
import subprocess
import sys
import tempfile
import warnings
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path

import check_agreement
import corpus
import played
from outputs import Finding

# Of the works in the corpus's order, every n-th is taken for the outside checks, if it is no longer
# than so many bytes: reading a long score takes half a minute.
EVERY = {True: 3, False: 30}
SIZE = 40_000
OWN, RANKS, SET = "own, as soloists", "own, as ranks", "set on strings"
# Findings per 100 bars that a rule may have, by severity, in works judged as what they are. A rule
# that barks at the masters all the time is wrong.
MOST = {"error": 0, "warning": 5, "advice": 15}
# Share of the notes that a converted work must hold.
KEPT = 0.94
SHOWN = 3


@dataclass
class Outcome:
    """How one work came out."""

    own: bool
    bars: int = 0
    notes: int = 0
    left_out: int = 0
    """Why it could not be converted."""
    refused: str | None = None
    compiles: str | None = None
    """(kind, code, severity) -> findings"""
    findings: Counter = field(default_factory=Counter)
    """(kind, code, severity) -> notes and bars that the findings speak of"""
    places: Counter = field(default_factory=Counter)
    """Notes that cannot be played, in the words of the rule."""
    unplayable: list = field(default_factory=list)
    disagreements: list = field(default_factory=list)


def catalogue(ripieno):
    """The id of each instrument that needs neither key, crook nor tuning, by its names; and the
    place of each id from the top of a score."""
    listed = subprocess.run([ripieno, "instruments", "--format", "json"], capture_output=True,
                            text=True, check=True)
    ids, order = {}, {}
    for instrument in json.loads(listed.stdout):
        known = instrument["id"]
        order[known] = instrument["score_order"]
        tuned = instrument["keys"] or instrument["crooks"] or instrument["natural"]
        if not tuned and "timpani" not in known:
            ids[known] = ids[instrument["name"].lower()] = known
    return ids, order


def report(ripieno, source):
    """What `check` says, as data; `None` and its words if it says nothing that can be read."""
    run = subprocess.run([ripieno, "check", "--format", "json", source], capture_output=True,
                         text=True, timeout=120, check=False)
    return json.loads(run.stdout) if run.returncode in (0, 1) else None


def places(message):
    """How many notes (or else bars) a finding speaks of: passages are one finding."""
    more = re.search(r"(\d+) more notes", message)
    if more:
        return int(more[1]) + 1
    if "one more note" in message:
        return 2
    whole = re.search(r"(\d+) notes in all", message)
    if whole:
        return int(whole[1])
    listed = re.search(r"\(bars? ([^)]*)\)", message)
    ranges = re.findall(r"(\d+)(?: to (\d+))?", listed[1]) if listed else []
    return max(1, sum(int(last or first) - int(first) + 1 for first, last in ranges))


def examine(job):
    """One work, from the corpus to what is said of it."""
    ripieno, work, order = job
    warnings.simplefilter("ignore")
    outcome = Outcome(work.own)
    try:
        converted = corpus.convert(work)
    except corpus.Unconvertible as reason:
        outcome.refused = str(reason)
        return outcome
    outcome.bars, outcome.notes = converted.bars, converted.notes
    outcome.left_out = converted.left_out
    with tempfile.TemporaryDirectory() as folder:
        source = Path(folder) / "work.ripieno"
        kinds = [(OWN if work.own else SET, converted.text)]
        if work.own:
            kinds.append((RANKS, converted.text.replace(" solo\n", "\n")))
        for kind, text in kinds:
            source.write_text(text, encoding="utf-8")
            _judge(ripieno, source, kind, outcome)
        if outcome.compiles is None:
            _sound(ripieno, source, converted, work.era, order, outcome)
    return outcome


def _judge(ripieno, source, kind, outcome):
    said = report(ripieno, source)
    if said is None:
        outcome.compiles = "check failed"
        return
    for finding in said["findings"]:
        code, severity = finding["code"], finding["severity"]
        outcome.findings[(kind, code, severity)] += 1
        outcome.places[(kind, code, severity)] += places(finding["message"])
        if code.split("/")[0] in ("syntax", "bars", "names", "use") and severity == "error":
            outcome.compiles = f"line {finding['start']['line']}: {finding['message']}"
        if code == "compass/beyond-instrument" and kind == OWN:
            outcome.unplayable.append(finding["message"])


def _sound(ripieno, source, converted, era, order, outcome):
    output = source.parent / "out"
    run = subprocess.run([ripieno, "build", "--only", "midi", "--format", "short", "-o", output, source],
                         capture_output=True, text=True, timeout=120, check=False)
    files = list(output.glob("*/*/score.mid"))
    if not files:
        # Notes that cannot be played are errors, and errors are not built.
        outcome.disagreements.append(f"nothing was built: {run.stderr[:300]}")
        return
    midi, tracks = played.read(files[0])
    places = [order[re.sub(r"-\d+$", "", player)] for player in converted.players]
    from_top = sorted(range(len(places)), key=places.__getitem__)
    for number, track in zip(from_top, tracks[1:], strict=True):
        struck = converted.struck[number]
        wrong = check_agreement.disagreements(struck, track, era, midi.ticks_per_beat)
        outcome.disagreements += [f"part {number + 1}: {words}" for words in wrong[:SHOWN]]


def examine_all(ripieno, works, order):
    jobs = [(ripieno, work, order) for work in works]
    with multiprocessing.Pool(os.cpu_count()) as pool:
        return pool.map(examine, jobs, chunksize=1)


def some(works):
    """Works for the outside checks: every n-th of each kind that is not too long."""
    for own, step in EVERY.items():
        yield from [w for w in works if w.own == own and w.path.stat().st_size <= SIZE][::step]


def per_hundred(outcomes):
    """(code, severity) -> kind -> findings and places per 100 bars; and the bars of each kind."""
    bars = {
        kind: sum(outcome.bars for outcome in outcomes if outcome.own == (kind != SET))
        for kind in (OWN, RANKS, SET)
    }
    counts = sum((outcome.findings for outcome in outcomes), Counter())
    spoken = sum((outcome.places for outcome in outcomes), Counter())
    table = {}
    for row, count in counts.items():
        kind, code, severity = row
        share = 100 / max(bars[kind], 1)
        table.setdefault((code, severity), {})[kind] = (count * share, spoken[row] * share)
    return table, bars


def findings(outcomes):
    """The outcomes as findings of the outside checks."""
    compiled = Finding("public scores: every converted work compiles")
    playable = Finding("public scores: every note can be played on its own instrument")
    sounds = Finding("public scores: what is written sounds, note for note")
    kept = Finding("public scores: nearly all notes are carried over")
    for number, outcome in enumerate(outcomes, start=1):
        if outcome.refused is not None:
            continue
        compiled.expect(outcome.compiles is None, f"work {number}: {outcome.compiles}")
        for words in outcome.unplayable[:SHOWN]:
            playable.wrong.append(f"work {number}: {words}")
        playable.tested += outcome.notes if outcome.own else 0
        sounds.wrong += [f"work {number}: {words}" for words in outcome.disagreements[:SHOWN]]
        sounds.tested += outcome.notes
        held = 1 - outcome.left_out / max(outcome.notes, 1)
        kept.expect(held >= KEPT, f"work {number}: only {held:.1%} of the notes")
    converted = sum(outcome.refused is None for outcome in outcomes)
    compiled.expect(converted >= 0.7 * len(outcomes), f"only {converted} of {len(outcomes)} converted")
    quiet = Finding("public scores: no rule barks all the time")
    for (code, severity), rates in sorted(per_hundred(outcomes)[0].items()):
        for kind in (OWN, SET):
            rate = rates.get(kind, (0, 0))[0]
            quiet.expect(rate <= MOST[severity],
                         f"{code}: {rate:.1f} per 100 bars, {kind}; at most {MOST[severity]}")
    return [compiled, playable, sounds, kept, quiet]


def check(ripieno):
    """The findings for the outside checks."""
    ids, order = catalogue(ripieno)
    works = list(corpus.works(ids))
    yield from findings(examine_all(ripieno, list(some(works)), order))


def main(ripieno):
    ids, order = catalogue(ripieno)
    outcomes = examine_all(ripieno, list(corpus.works(ids)), order)
    table, bars = per_hundred(outcomes)
    for own in (True, False):
        of = [outcome for outcome in outcomes if outcome.own == own]
        reasons = Counter(outcome.refused for outcome in of if outcome.refused)
        print(f"own instruments: {own}; {len(of)} works, not converted {dict(reasons)}, "
              f"{sum(o.notes for o in of)} notes, {sum(o.left_out for o in of)} left out")
    print()
    print("| rule | severity | " + " | ".join(bars) + " |")
    print("| --- | --- |" + " ---: |" * len(bars))
    for (code, severity), rates in sorted(table.items()):
        cells = [
            f"{rates[kind][0]:.2f} ({rates[kind][1]:.1f})" if kind in rates else "0"
            for kind in bars
        ]
        print(f"| `{code}` | {severity} | {' | '.join(cells)} |")
    print(f"\nbars: {bars}\n")
    for finding in findings(outcomes):
        print("ok    " if finding.passed else "FAILED", finding.name, finding.tested)
        for words in finding.wrong[:60]:
            print("   ", words)


if __name__ == "__main__":
    main(*sys.argv[1:])
