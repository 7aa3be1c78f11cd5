"""What `ripieno import` makes of music from outside.

    python check_import.py RIPIENO

imports every MusicXML file of music21's corpus as voices with a scoring, builds it and reads both
with music21: pitch, onset and duration must be the same (but for notes held beyond a fermata, which Ripieno strikes
anew), and whatever else the file holds
(sung words, slurs, articulations, dynamics, tempos, repeats) must be in what was built or in the
report of the import. Then it writes works as MIDI without any meta event, imports these, and counts
how many spellings, voices, metres and keys come out as in the score. As a part of the outside checks
a sample is taken, another one every day; `RIPIENO_SEED` names one.
"""

import datetime
import json
import multiprocessing
import os
import random
import subprocess
import sys
import tempfile
import time
import warnings
import zipfile
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path

import mido
from music21 import bar, converter, corpus, repeat, spanner

import imported
import played
from outputs import Finding

SAMPLE, LARGEST = 10, 40_000
MIDI_SAMPLE = 4
# Share of all notes that must come through exactly, of a sample (in which one work may be one of the
# few that DEVELOPERS.md lists) and of a full run.
EXACT, EXACT_OF_ALL = 0.999, 0.9997
# Share of signs, and how many in any case, that need not be accounted for.
SILENT, FEW = 0.0005, 3
# Aims for what MIDI does not tell.
SPELLED, VOICES = 0.98, 0.90
SHOWN = 4
# An entity that grows without end, a document type from elsewhere, a bar without end.
BOMB = '<!DOCTYPE score-partwise [<!ENTITY a "ha">' + "".join(
    f'<!ENTITY {after} "{f"&{before};" * 10}">' for before, after in zip("abcdefghi", "bcdefghij")
) + "]><score-partwise><work><work-title>&j;</work-title></work></score-partwise>"
ELSEWHERE = ('<!DOCTYPE score-partwise SYSTEM "file:///etc/passwd"><score-partwise>'
             '<part id="P1"><measure number="1"/></part></score-partwise>')


@dataclass
class Outcome:
    """How one work came through."""

    name: str
    notes: int = 0
    exact: int = 0
    """What went wrong, in words."""
    wrong: list = field(default_factory=list)
    """Notes without a partner, in words."""
    missing: list = field(default_factory=list)
    """Signs that are neither in what was built nor in the report, by kind."""
    silent: Counter = field(default_factory=Counter)
    """How many signs the file has."""
    signs: int = 0
    """Seconds that the import and that music21 took to read the file."""
    seconds: tuple = (0.0, 0.0)


def works():
    paths = map(Path, corpus.getPaths())
    return sorted(p for p in paths if p.suffix in (".mxl", ".xml", ".musicxml"))


def run(*command, timeout=300):
    return subprocess.run([str(word) for word in command], capture_output=True, text=True,
                          timeout=timeout, check=False)


def through(ripieno, path, work, format="musicxml"):
    """Imports and builds a file; gives back its score and the report, or the reason."""
    source = work / "imported.ripieno"
    started = time.perf_counter()
    told = run(ripieno, "import", path, "-o", source, "--as", "scoring", "--format", "json")
    seconds = time.perf_counter() - started
    if told.returncode not in (0, 1):
        return None, f"import: {told.stderr.strip()[-200:]}"
    report = json.loads(told.stdout)
    checked = run(ripieno, "check", "--format", "json", source)
    slips = [
        finding["message"]
        for finding in json.loads(checked.stdout)["findings"]
        if finding["severity"] == "error"
        and finding["code"].split("/")[0] in ("syntax", "bars", "names", "harmony", "use")
    ]
    if slips:
        return None, f"the source does not compile: {slips[0]}"
    built = run(ripieno, "build", "--only", format, "--despite-errors", "--format", "short",
                "-o", work / "built", "--root", work, source)
    scores = list((work / "built").rglob("score.mid" if format == "midi" else "score.musicxml"))
    if len(scores) != 1:
        return None, f"build: {built.stderr.strip()[-200:]}"
    return (scores[0], report, seconds), None


def compare(job):
    """One work, imported and read again."""
    ripieno, path = job
    warnings.simplefilter("ignore")
    outcome = Outcome(f"{path.parent.name}/{path.stem}")
    with tempfile.TemporaryDirectory() as folder:
        result, reason = through(ripieno, path, Path(folder))
        if reason is not None:
            outcome.wrong.append(reason)
            return outcome
        score, report, _ = result
        started = time.perf_counter()
        try:
            wanted = imported.read(path)
        except Exception as error:  # noqa: BLE001: whatever music21 cannot read is not ours
            outcome.wrong.append(f"music21 cannot read it: {error!r}")
            return outcome
        outcome.seconds = (result[2], time.perf_counter() - started)
        found = imported.read(score)
    pairs, missing, extra = imported.match(wanted.notes, found.notes)
    missing, extra = imported.struck_anew(missing, extra, found.starts())
    outcome.notes, outcome.exact = len(wanted.notes), len(wanted.notes) - len(missing)
    for note in missing[:SHOWN]:
        outcome.missing.append(
            f"{outcome.name}: measure {note.measure + 1}, offset {note.at}: {note.name or 'stroke'} "
            f"for {note.length} is not there"
        )
    for note in extra[:SHOWN] if not missing else []:
        outcome.missing.append(
            f"{outcome.name}: measure {note.measure + 1}, offset {note.at}: {note.name} is too many"
        )
    outcome.silent = silent(wanted, found, (pairs, report))
    sets = (wanted.dynamics, wanted.articulations, wanted.tempos, wanted.repeats, wanted.chords,
            wanted.jumps)
    counted = wanted.lyrics.total() + wanted.slurs.total() + wanted.graces
    outcome.signs = counted + sum(map(len, sets))
    return outcome


# Which words of the report speak of which signs.
TELLING = {
    "sung words": ("sung words",),
    "slurs": ("slur", "ties", "cue"),
    "grace notes": ("grace notes", "cue"),
    "dynamics": ("written as", "dynamics", "the sign", "cue", "notes that are not printed"),
    "articulations": ("cue", "the sign", "ties", "notes", "written as staccatissimo"),
    "tempos": ("tempo", "metronome"),
    "repeats": ("repeat", "ending"),
    "chord symbols": ("chord",),
    "jumps": ("jump",),
}


def silent(wanted, found, result):
    """Signs that are not where they were and of which the report does not speak, each with its bar.

    The report must speak of the bar (or of none, if it is of the whole), and of as many signs as
    there are lost.
    """
    pairs, report = result
    gone = {
        "sung words": [m for m, *_ in (wanted.lyrics - found.lyrics).elements()],
        "slurs": [begin[0] for begin, _ in (wanted.slurs - found.slurs).elements()],
        "dynamics": imported.without_effect(wanted, found, pairs),
        "articulations": [m for m, *_ in wanted.articulations - found.articulations],
        "tempos": [m for m, _ in wanted.tempos - found.tempos],
        "repeats": [m for m, _ in wanted.repeats - found.repeats if m > 0],
        "chord symbols": imported.not_in_force(wanted, found),
        "jumps": [m for m, _ in wanted.jumps - found.jumps],
        "grace notes": [None] * (wanted.graces - found.graces),
    }
    lost = Counter()
    for kind, measures in gone.items():
        losses = [loss for loss in report["losses"]
                  if any(word in loss["what"] for word in TELLING[kind])]
        bars = [run for loss in losses for run in loss["bars"]]
        # What is told of a part may be lost in all of its voices.
        left = len(measures) - sum(loss["count"] for loss in losses)
        number = lambda m: found.numbers[m] if m < len(found.numbers) else None  # noqa: E731
        # What stands at the end of a measure may be told of the next one.
        untold = [
            m for m in measures
            if m is not None
            and not any(first <= number(n) <= last for first, last in bars
                        for n in (m, m + 1) if number(n) is not None)
        ]
        if count := max(left, len(untold)):
            lost[kind, tuple(sorted({number(m) for m in untold}))] = count
    return lost


def sample(count, seed, largest):
    return sample_of([path for path in works() if path.stat().st_size <= largest], count, seed)


def sample_of(paths, count, seed):
    random.Random(seed).shuffle(paths)
    return paths[:count]


def seed():
    return os.environ.get("RIPIENO_SEED", datetime.date.today().isoformat())


def summed(outcomes, name, least):
    """Findings of many works, of whose notes at least such a share must be exact."""
    runs = Finding(f"{name}: every work is imported, compiles and is built")
    exact = Finding(f"{name}: notes are those of the file")
    words = Finding(f"{name}: nothing is lost without a word")
    notes = sum(outcome.notes for outcome in outcomes)
    right = sum(outcome.exact for outcome in outcomes)
    for outcome in outcomes:
        runs.expect(not outcome.wrong, f"{outcome.name}: {'; '.join(outcome.wrong)}")
    # The two readings do not agree on every sign: a few are let pass, and shown.
    signs = sum(outcome.signs for outcome in outcomes)
    lost = [f"{o.name}: {kind}: {count}" for o in outcomes for kind, count in o.silent.items()]
    gone = sum(outcome.silent.total() for outcome in outcomes)
    words.tested = signs
    if gone > max(SILENT * signs, FEW):
        words.wrong = lost
    elif lost:
        print(f"        {gone} of {signs} signs are not accounted for: {'; '.join(lost)}")
    exact.tested = notes
    if notes == 0 or right / notes < least:
        exact.wrong = [f"{right} of {notes}"]
        exact.wrong += [line for outcome in outcomes for line in outcome.missing]
    return [runs, exact, words]


# MIDI without meta events.


def plain_midi(path, target):
    """Writes a work as MIDI and takes out what is not a note."""
    score = converter.parse(path, forceSource=True)
    # Repeats would be played out, and nothing could be held against the score any more.
    for measure in score.recurse().getElementsByClass("Measure"):
        for side in ("leftBarline", "rightBarline"):
            if isinstance(getattr(measure, side), bar.Repeat):
                setattr(measure, side, None)
    score.remove(list(score.recurse().getElementsByClass(repeat.RepeatExpression)), recurse=True)
    score.remove(list(score.recurse().getElementsByClass(spanner.RepeatBracket)), recurse=True)
    score.write("midi", fp=str(target))
    file = mido.MidiFile(target)
    for track in file.tracks:
        # The time of what goes belongs to what follows.
        kept, waiting = [], 0
        for message in track:
            if message.type in ("note_on", "note_off"):
                kept.append(message.copy(time=message.time + waiting))
                waiting = 0
            else:
                waiting += message.time
        track[:] = kept
    file.save(target)


def from_midi(job):
    ripieno, path = job
    warnings.simplefilter("ignore")
    with tempfile.TemporaryDirectory() as folder:
        work = Path(folder)
        try:
            wanted = imported.read(path)
            plain_midi(path, work / "plain.mid")
        except Exception:  # noqa: BLE001: what music21 cannot write cannot be imported
            return None
        result, reason = through(ripieno, work / "plain.mid", work)
        if reason is not None:
            return path, reason
        found = imported.read(result[0])
    for music in (wanted, found):
        _count_from_the_beginning(music)
    pairs, missing, _ = imported.match(wanted.notes, found.notes)
    spelled, voices = imported.shares(pairs)
    metre = wanted.metres.get(0) == found.metres.get(0) or wanted.metres.get(0) is None
    key = wanted.keys.get(0) == found.keys.get(0) or wanted.keys.get(0) is None
    return path, (len(pairs), len(missing), spelled, voices, metre, key)


def _count_from_the_beginning(music):
    """Places as offsets from the first note: bars are one of the things to be found out."""
    starts = music.starts()
    first = min(starts[note.measure] + note.at for note in music.notes)
    for note in music.notes:
        note.at, note.measure = starts[note.measure] + note.at - first, 0


def midi_findings(outcomes):
    runs = Finding("MIDI without meta events: every file is imported, compiles and is built")
    names = Finding("MIDI without meta events: notes are spelled as in the score")
    lines = Finding("MIDI without meta events: voices are those of the score")
    done = []
    for path, outcome in filter(None, outcomes):
        if runs.expect(not isinstance(outcome, str), f"{path.stem}: {outcome}"):
            done.append(outcome)
    notes = sum(outcome[0] for outcome in done)
    if notes:
        mean = lambda i: sum(o[0] * o[i] for o in done) / notes  # noqa: E731
        names.expect(mean(2) >= SPELLED, f"{mean(2):.2%} of {notes}")
        lines.expect(mean(3) >= VOICES, f"{mean(3):.2%} of {notes}")
        lost = sum(outcome[1] for outcome in done)
        print(
            f"        of {notes} notes from MIDI: spelled {mean(2):.2%}, voices {mean(3):.2%}, "
            f"not found {lost}; metres {sum(o[4] for o in done)} and signatures "
            f"{sum(o[5] for o in done)} of {len(done)}"
        )
    return [runs, names, lines]


def carried():
    """All MIDI files that the installed packages carry."""
    packages = Path(mido.__file__).parent.parent
    return sorted(path for path in packages.rglob("*") if path.suffix.lower() in (".mid", ".midi"))


def carried_midi(job):
    """One of them: what goes wrong, in words, or nothing."""
    ripieno, path = job
    with tempfile.TemporaryDirectory() as folder:
        _, reason = through(ripieno, path, Path(folder))
    if reason is None:
        return path, None
    # What has no note, or what another reader refuses too, may be refused with a word.
    try:
        notes = sum(m.type == "note_on" and m.velocity > 0 for m in mido.MidiFile(path))
    except Exception:  # noqa: BLE001: whatever it is, the file is broken
        notes = 0
    refused = notes == 0 and reason.startswith("import: ripieno: ")
    return path, None if refused else reason


def carried_findings(outcomes):
    finding = Finding("MIDI files that packages carry are imported, compile and are built")
    for path, reason in outcomes:
        finding.expect(reason is None, f"{path.name}: {reason}")
    finding.expect(finding.tested > 0, "there is no file")
    return finding


# What is made to hurt.

BEGIN = "<score-partwise><part-list><score-part id='P1'/></part-list><part id='P1'><measure number='1'>"
END = "</measure></part></score-partwise>"
NOTE = ("<note>{}<pitch><step>C</step><octave>4</octave></pitch><duration>{}</duration>"
        "<voice>1</voice></note>")
DIVISIONS = "<attributes><divisions>4</divisions></attributes>"


def packed(path, names):
    """A packed file whose container names its score as it likes."""
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, text in names:
            archive.writestr(name, text)


def rough(work):
    """Files that are wrong and yet hold music: they are imported, and what is lost is told."""
    written = {
        "negative.xml": DIVISIONS + NOTE.format("", -8) + NOTE.format("", 4),
        "absurd.xml": DIVISIONS + NOTE.format("", 10**30) + NOTE.format("", 4),
        "overlapping.xml": DIVISIONS + NOTE.format("", 8)
        + "<backup><duration>6</duration></backup>" + NOTE.format("", 8),
        "without-divisions.xml": NOTE.format("", 4),
        "back-too-far.xml": DIVISIONS + NOTE.format("", 4)
        + "<backup><duration>400</duration></backup>" + NOTE.format("", 4),
    }
    for name, text in written.items():
        (work / name).write_text(BEGIN + text + END, encoding="utf-8")
        yield name
    (work / "wide.xml").write_text(
        f'<?xml version="1.0" encoding="UTF-16"?>{BEGIN}{DIVISIONS}{NOTE.format("", 4)}{END}',
        encoding="utf-16")
    yield "wide.xml"
    # Paths of a container are names inside it.
    container = "<container><rootfiles><rootfile full-path='{}'/></rootfiles></container>"
    inside = BEGIN + DIVISIONS + NOTE.format("", 4) + END
    packed(work / "upwards.mxl", [("META-INF/container.xml", container.format("../../up.xml")),
                                  ("../../up.xml", inside)])
    yield "upwards.mxl"


def million(path):
    """A million notes in 2,000 bars."""
    bar = NOTE.format("", 1) * 500
    with path.open("w", encoding="utf-8") as file:
        file.write("<score-partwise><part-list><score-part id='P1'/></part-list><part id='P1'>")
        for number in range(1, 2001):
            divisions = "<attributes><divisions>125</divisions></attributes>" if number == 1 else ""
            file.write(f"<measure number='{number}'>{divisions}{bar}</measure>")
        file.write("</part></score-partwise>")


def hostile(ripieno, work):
    """Files that are made to hurt are refused with a word, soon and with little memory."""
    finding = Finding("files that are made to hurt are refused with a word")
    bomb = work / "bomb.mxl"
    with zipfile.ZipFile(bomb, "w", zipfile.ZIP_DEFLATED) as archive:
        with archive.open("score.xml", "w") as inside:
            inside.write(b"<score-partwise>")
            for _ in range(300):
                inside.write(b" " * (1 << 20))
    limited = ["bash", "-c", 'ulimit -v 2000000; exec "$@"', "bash"]
    for name in rough(work):
        told = run(*limited, ripieno, "import", work / name, "-o", work / f"{name}.ripieno", timeout=60)
        finding.expect(told.returncode in (0, 1), f"{name}: {told.returncode} {told.stderr[-200:]}")
    finding.expect(not (work.parent.parent / "up.xml").exists(), "a path led out of its file")
    million(work / "million.xml")
    told = run(*limited, ripieno, "import", work / "million.xml", "-o", work / "million.ripieno",
               timeout=120)
    finding.expect(told.returncode in (0, 1, 2), f"a million notes: {told.returncode} {told.stderr[-200:]}")
    cut = (BEGIN + DIVISIONS + NOTE.format("", 4) * 20 + END)[:-700]
    files = {"cut.xml": cut, "entities.xml": BOMB, "elsewhere.xml": ELSEWHERE, "bomb.mxl": None,
             "deep.xml": "<score-partwise>" + "<a>" * 1_000_000, "empty.mid": "MThd"}
    for name, text in files.items():
        if text is not None:
            (work / name).write_text(text, encoding="utf-8")
        told = run(*limited, ripieno, "import", work / name, "-o", work / f"{name}.ripieno", timeout=60)
        soft = told.returncode in (0, 1) and name == "elsewhere.xml"
        refused = told.returncode == 2 and told.stderr.startswith("ripieno: ")
        finding.expect(soft or refused, f"{name}: {told.returncode} {told.stderr[-200:]}")
        finding.expect("root:" not in told.stdout + told.stderr, f"{name} was looked up")
    return finding


def own_files(ripieno, work, scores):
    """MusicXML and MIDI that we wrote come back note for note."""
    finding = Finding("what we wrote is imported as the same music")
    for score in scores:
        place = work / f"own-{finding.tested}"
        place.mkdir()
        result, reason = through(ripieno, score, place)
        if not finding.expect(reason is None, f"{score}: {reason}"):
            continue
        wanted, found = imported.read(score), imported.read(result[0])
        _, missing, extra = imported.match(wanted.notes, found.notes)
        missing, extra = imported.struck_anew(missing, extra, found.starts())
        finding.expect(
            not missing and not extra,
            f"{score}: {len(missing)} notes are missing, {len(extra)} too many",
        )
        midi = score.with_suffix(".mid")
        heard = work / f"played-{finding.tested}"
        heard.mkdir()
        result, reason = through(ripieno, midi, heard, "midi")
        if finding.expect(reason is None, f"{midi}: {reason}"):
            wanted, found = struck(midi), struck(result[0])
            lost, more = wanted - found, found - wanted
            finding.expect(
                wanted and not lost and not more,
                f"{midi}: {lost.total()} of {wanted.total()} notes are missing, {more.total()} too many",
            )
    return finding


def struck(midi):
    """What a file sounds, from its first note on: when, which key, how long.

    Percussion has other keys where another drum comes nearest, and strokes have no length.
    """
    _, tracks = played.read(midi)
    notes = [(note, 9 in track.channels) for track in tracks for note in track.notes]
    first = min((on for (on, _, _), _ in notes), default=0)
    place = lambda time: round(float(time - first), 2)  # noqa: E731
    return Counter(
        (place(on), -1 if drums else key, None if drums else round(float(off - on), 2))
        for (on, off, key), drums in notes
    )


def check(ripieno, work, scores=()):
    """A sample of everything."""
    work.mkdir(exist_ok=True)
    jobs = [(ripieno, path) for path in sample(SAMPLE, seed(), LARGEST)]
    midi_jobs = [(ripieno, path) for path in sample(MIDI_SAMPLE, f"midi {seed()}", 20_000)]
    with multiprocessing.Pool(os.cpu_count()) as pool:
        midi = pool.map_async(from_midi, midi_jobs)
        yield from summed(pool.map(compare, jobs), f"import ({seed()})", EXACT)
        yield from midi_findings(midi.get())
        carried_jobs = [(ripieno, path) for path in sample_of(carried(), 8, seed())]
        yield carried_findings(pool.map(carried_midi, carried_jobs))
    yield hostile(ripieno, work)
    if scores:
        yield own_files(ripieno, work, scores)


def main(ripieno):
    """All works, with what is missing."""
    paths = works()
    with multiprocessing.Pool(os.cpu_count()) as pool:
        outcomes = []
        for outcome in pool.imap_unordered(compare, [(ripieno, path) for path in paths]):
            outcomes.append(outcome)
            for line in [*outcome.wrong, *outcome.missing]:
                print(f"  {line}", flush=True)
            for kind, count in outcome.silent.items():
                print(f"  {outcome.name}: lost without a word: {kind}: {count}", flush=True)
        midi = list(pool.imap_unordered(from_midi, [(ripieno, p) for p in sample(60, "all", 20_000)]))
        others = carried_findings(pool.map(carried_midi, [(ripieno, path) for path in carried()]))
    notes, right = sum(o.notes for o in outcomes), sum(o.exact for o in outcomes)
    ours, theirs = (sum(o.seconds[i] for o in outcomes) for i in (0, 1))
    print(f"reading: music21 took {theirs:.0f} s, the import (process, check and writing) {ours:.0f} s: "
          f"{theirs / max(0.01, ours):.0f} times as fast")
    print(f"{len(outcomes)} works, {right} of {notes} notes exact ({right / max(1, notes):.4%})")
    failed = 0
    for finding in [*summed(outcomes, "corpus", EXACT_OF_ALL), *midi_findings(midi), others]:
        failed += not finding.passed
        print(f"{'ok    ' if finding.passed else 'FAILED'}  {finding.name} ({finding.tested})")
    return failed


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
