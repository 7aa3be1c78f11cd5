"""The notes above and below a printed note, as a player reads them from the page.

A sign holds for its letter and octave up to the bar line, else the key signature says what the
neighbour is (common practice). An augmented step is narrowed to a whole tone, and there is always
at least a semitone: Ripieno's own rule.
"""

from pitches import LETTERS, key

# Either may be right where the part has no key signature to read from.
UNKNOWN = ({1, 2}, {1, 2})
SHARPS = "FCGDAEB"


def around(bar):
    """For each note of a bar by its offset: semitones up and down to its neighbours."""
    found, signs = {}, {}
    # Two hands of one player are read together, from the lowest note up.
    together = sorted(bar.events, key=lambda event: (event.offset, not event.grace, -event.staff))
    for event in together:
        if not event.heads:
            continue
        if not event.grace:
            top = max(event.heads, key=lambda head: key(*head))
            known = (_distance(bar, signs, top, 1), _distance(bar, signs, top, -1))
            found[event.offset] = known if bar.signature[1] else UNKNOWN
        if not event.tied_from:
            signs.update({(letter, octave): alter for letter, alter, octave in event.heads})
    return found


def _distance(bar, signs, head, way):
    letter, _, octave = head
    place = LETTERS.index(letter) + way
    letter, octave = LETTERS[place % 7], octave + place // 7
    alter = signs.get((letter, octave), in_signature(bar.signature[0], letter))
    return {min(max(way * (key(letter, alter, octave) - key(*head)), 1), 2)}


def in_signature(fifths, letter):
    if fifths > 0:
        return int(letter in SHARPS[:fifths])
    return -int(fifths < 0 and letter in SHARPS[fifths:])
