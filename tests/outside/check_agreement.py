"""MusicXML and MIDI sound the same, note for note: pitch, onset and duration."""

from fractions import Fraction

import played
import sounding
from outputs import Finding

# Grace notes and the notes of a trill are short: a thirty-second at most.
QUICK = Fraction(1, 8)
# Enough to see what goes wrong.
SHOWN = 6


def compare(name, xml, mid):
    """One MusicXML file against one MIDI file."""
    finding = Finding(f"agreement of MusicXML and MIDI: {name}")
    _, tracks = played.read(mid)
    parts = sounding.read(xml)
    finding.expect(
        len(parts) == len(tracks) - 1,
        f"{len(parts)} parts in MusicXML, {len(tracks) - 1} tracks beside the first in MIDI",
    )
    for (part, length, struck), track in zip(parts, tracks[1:]):
        wrong = disagreements(struck, track)
        if track.end != length:
            wrong.append(f"MusicXML lasts {length} quarters, MIDI {track.end}")
        for words in wrong[:SHOWN]:
            finding.wrong.append(f"{part}: {words}")
        finding.tested += len(struck)
    return finding


def disagreements(struck, track):
    """What differs between the notes of a part and the notes of a track."""
    match = Match(track.notes)
    wrong = []
    # Grace notes first, because they say where their note begins and what they cut short.
    begins = [match.graces(note, wrong) for note in struck]
    for note, start in zip(struck, begins):
        match.note(note, start, wrong)
    for on, off, key in sorted(match.left):
        wrong.append(f"MIDI alone has key {key} from quarter {on} to {off}")
    return wrong


class Match:
    """The notes of a track that are not accounted for yet."""

    def __init__(self, notes):
        self.left = set(notes)
        self.by_key = {}
        for on, off, key in notes:
            self.by_key.setdefault(key, []).append((on, off))
        self.grace_onsets = set()

    def take(self, on, off, key):
        if (on, off, key) not in self.left:
            return False
        self.left.discard((on, off, key))
        return True

    def graces(self, note, wrong):
        """Accounts for the grace notes of a note; gives back where the note itself begins."""
        if not note.graces:
            return note.start
        count = len(note.graces)
        # Before the beat; at the very beginning of the music they take time from their note.
        for principal in sorted({on for on, off in self.by_key.get(note.keys[0], [])}):
            if not note.start <= principal < note.end:
                continue
            last = [on for on, off in self.by_key.get(note.graces[-1][0], []) if off == principal]
            for value in (principal - on for on in last):
                first = principal - count * value
                early_enough = principal == note.start or first == 0
                if 0 < value <= QUICK and first >= 0 and early_enough:
                    if self._take_graces(note.graces, first, value):
                        return principal
        wrong.append(
            f"bar {note.bar}, quarter {note.start}: MIDI lacks the grace notes {note.graces}"
        )
        return note.start

    def _take_graces(self, graces, first, value):
        wanted = [
            (first + index * value, first + (index + 1) * value, key)
            for index, keys in enumerate(graces)
            for key in keys
        ]
        if not all(note in self.left for note in wanted):
            return False
        self.left.difference_update(wanted)
        self.grace_onsets.update((on, key) for on, _, key in wanted)
        return True

    def note(self, note, start, wrong):
        place = f"bar {note.bar}, quarter {note.start}"
        plain = list(note.keys)
        if note.strokes is not None:
            for key in plain:
                if not self._repeated(key, start, note.end, note.strokes):
                    wrong.append(f"{place}: the tremolo on key {key} does not fill {note.end}")
            return
        if note.trill and len(set(plain)) == len(plain):
            top = plain.pop()
            if not self._trill(top, start, note.end) and not self._roll(top, start, note.end):
                wrong.append(f"{place}: the trill on key {top} does not fill up to {note.end}")
        for key in plain:
            if not self._plain(key, start, note.end):
                there = [(str(a), str(b)) for a, b in self.by_key.get(key, []) if a == start]
                wrong.append(
                    f"{place}: MusicXML has key {key} up to {note.end}, MIDI {there or 'has not'}"
                )

    def _plain(self, key, start, end):
        if self.take(start, end, key):
            return True
        # A grace note of the same key, on the same instrument, ends the note a little earlier.
        cut = [on for on, grace in self.grace_onsets if grace == key and start < on < end]
        return any(end - on <= 8 * QUICK and self.take(start, on, key) for on in cut)

    def _repeated(self, key, start, end, value):
        """Strokes of one value without a gap; the last may be shorter."""
        now = start
        while now < end:
            after = min(now + value, end)
            if not self._plain(key, now, after):
                return False
            now = after
        return True

    def _trill(self, main, start, end):
        """Main note and upper neighbour in turn without a gap, beginning and ending on the main
        note (common practice of the 19th century)."""
        for neighbour in (main + 1, main + 2):
            chain, now, key = [], start, main
            while now < end:
                after = [off for on, off in self.by_key.get(key, []) if on == now]
                if not after:
                    break
                chain.append((now, after[0], key))
                now, key = after[0], neighbour if key == main else main
            shaken = len(chain) >= 3 and chain[-1][2] == main
            # The grace notes of the next note may cut the last note of a trill short.
            cut = any(on == now and end - on <= 8 * QUICK for on, _ in self.grace_onsets)
            full = now == end or cut
            if full and shaken and all(note in self.left for note in chain):
                self.left.difference_update(chain)
                return True
        return False

    def _roll(self, key, start, end):
        """A trill on a drum is a roll."""
        return self._repeated(key, start, end, QUICK)
