"""Transposing instruments against the published tables (sources in `published.py`)."""

import re

import played
import published
import written
from outputs import Finding
from pitches import key, move, parse, spell


def _table(instrument):
    """The published intervals of an instrument by key or crook."""
    if instrument.kind in published.FIXED:
        return {None: published.FIXED[instrument.kind]}
    natural = instrument.sound in published.WITHOUT_SIGNATURE
    tables = {
        "horn": published.HORN_CROOKS if natural else published.VALVE_HORN_KEYS,
        "trumpet": published.TRUMPET_CROOKS if natural else published.VALVE_TRUMPET_KEYS,
        "clarinet": published.CLARINET_KEYS,
        "bass clarinet": published.BASS_CLARINET_KEYS,
    }
    return tables.get(instrument.kind, {None: published.SOUNDING_AS_WRITTEN})


def key_on_paper(name):
    """The key in which a part's name says that it stands: `Horn 1 in B♭ basso`."""
    found = re.search(r" in ([A-G][♭♯]?(?: alto| basso)?)$", name)
    return found and found[1].replace("♭", "b").replace("♯", "#")


def check(scorings):
    for scoring in scorings:
        finding = Finding(f"transpositions, clefs, signatures: {scoring.name}")
        for path in scoring.files("musicxml"):
            for part in written.read(path):
                _part(finding, path, part)
        concert = scoring.folder / "score-concert.musicxml"
        for part in written.read(concert) if concert.is_file() else ():
            _at_concert_pitch(finding, concert, part)
        yield finding


def _part(finding, path, part):
    table = _table(part.first)
    wanted = table[None] if None in table else table.get(key_on_paper(part.name))
    first = part.bars[0].transposition
    finding.expect(first == wanted, f"{path.name}: {part.name} moves by {first}, not {wanted}")
    for instrument in part.instruments.values():
        _instrument(finding, f"{path.name}: {part.name}", part.bars_of(instrument), instrument)


def _instrument(finding, where, bars, instrument):
    later = {bar.transposition for bar in bars} - set(_table(instrument).values())
    finding.expect(not later, f"{where} moves by {later}, which no key of {instrument.name} does")
    if instrument.sound in published.WITHOUT_SIGNATURE:
        signed = [bar.number for bar in bars if bar.signature[0] != 0]
        finding.expect(not signed, f"{where} has a signature in bars {signed}")
    if instrument.percussion_key is None and instrument.kind in published.CLEFS:
        clefs = {clef for bar in bars for clef in bar.clefs}
        odd = clefs - published.CLEFS[instrument.kind]
        finding.expect(not odd, f"{where} reads clefs {clefs}")


def _at_concert_pitch(finding, path, part):
    """Only octaves are left that an instrument always sounds in, and timpani alone have no signature."""
    for instrument in part.instruments.values():
        where = f"{path.name}: {part.name}"
        bars = part.bars_of(instrument)
        steps, semitones = published.FIXED.get(instrument.kind, published.SOUNDING_AS_WRITTEN)
        octave = steps % 7 == 0 and semitones % 12 == 0
        wanted = (steps, semitones) if octave else published.SOUNDING_AS_WRITTEN
        moved = {bar.transposition for bar in bars}
        finding.expect(moved <= {wanted}, f"{where} moves by {moved}, not {wanted}")
        if instrument.sound in published.CROOKED:
            unsigned = [bar.number for bar in bars if not bar.signature[1]]
            finding.expect(not unsigned, f"{where} has no signature in bars {unsigned}")


def check_known(scorings, wanted):
    """The parts of the source whose written and sounding notes are known beforehand."""
    for scoring in scorings:
        rows = list(wanted[scoring.name.split("/")[1]])
        finding = Finding(f"every key and crook, note for note: {scoring.name}")
        parts = written.read(scoring.score("musicxml"))
        _, tracks = played.read(scoring.score("mid"))
        finding.expect(len(parts) == len(rows), f"{len(parts)} parts, not {len(rows)}")
        for part, track in zip(parts, tracks[1:], strict=True):
            of_kind = [row for row in rows if row[0] == part.first.kind]
            row = next((r for r in of_kind if r[1] in (None, key_on_paper(part.name))), None)
            if not finding.expect(row is not None, f"nothing is known of {part.name}"):
                continue
            rows.remove(row)
            _, _, pitches, interval = row
            on_paper = [spell(*head) for bar in part.bars for head in bar.heads]
            finding.expect(
                on_paper == pitches, f"{part.name} is written {on_paper}, not {pitches}"
            )
            sounding = [key(*parse(move(pitch, interval))) for pitch in pitches]
            heard = [note for _, _, note in track.notes]
            finding.expect(heard == sounding, f"{part.name} sounds {heard}, not {sounding}")
        finding.expect(not rows, f"without a part: {rows}")
        yield finding
