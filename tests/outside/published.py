"""Figures from outside the project, typed in again from their sources.

Nothing here is read from the catalogue of Ripieno: what the catalogue says is checked against it.
Intervals lead from written to sounding pitch, as (diatonic steps, semitones).
"""

# Grove, A Dictionary of Music and Musicians, vol. 1 (1879), "Horn", p. 750: C, D, E flat, E and F
# horns against the written notes, the names of the other crooks; rows that it does not print follow
# the same rule. Johnstone, Instruments of the Modern Symphony Orchestra, 1917, p. 38, has the F horn.
HORN_CROOKS = {
    "C alto": (0, 0),
    "Bb alto": (-1, -2),
    "A": (-2, -3),
    "Ab": (-2, -4),
    "G": (-3, -5),
    "F#": (-4, -6),
    "F": (-4, -7),
    "E": (-5, -8),
    "Eb": (-5, -9),
    "D": (-6, -10),
    "Db": (-6, -11),
    "C basso": (-7, -12),
    "B basso": (-8, -13),
    "Bb basso": (-8, -14),
    "A basso": (-9, -15),
    "Ab basso": (-9, -16),
}

# Johnstone 1917, p. 40: the trumpet's tube is half as long as that of the horn in the same key, so
# it sounds an octave above that horn. A, B, D flat and G from memory.
TRUMPET_CROOKS = {
    "A": (-2, -3),
    "Bb": (-1, -2),
    "B": (-1, -1),
    "C": (0, 0),
    "Db": (1, 1),
    "D": (1, 2),
    "Eb": (2, 3),
    "E": (2, 4),
    "F": (3, 5),
    "G": (4, 7),
}

# Grove, vol. 1, "Clarinet", p. 362: written E3 sounds E3, D3 and C sharp 3 on clarinets in C, B flat
# and A. Johnstone 1917, p. 30: the bass clarinet in B flat in the treble clef.
CLARINET_KEYS = {"C": (0, 0), "Bb": (-1, -2), "A": (-2, -3)}
BASS_CLARINET_KEYS = {"Bb": (-8, -14)}

# Johnstone 1917, p. 38 and p. 40; D, E flat and F trumpets from memory.
VALVE_HORN_KEYS = {"F": (-4, -7), "E": (-5, -8), "Eb": (-5, -9)}
VALVE_TRUMPET_KEYS = {
    "Bb": (-1, -2),
    "A": (-2, -3),
    "C": (0, 0),
    "D": (1, 2),
    "Eb": (2, 3),
    "F": (3, 5),
}

# Instruments that name no key. Johnstone 1917: p. 20 piccolo, p. 24 cor anglais, p. 34 double
# bassoon, p. 14 double bass. Everything else of the orchestra sounds as written (common practice).
FIXED = {
    "piccolo": (7, 12),
    "cor anglais": (-4, -7),
    "contrabassoon": (-7, -12),
    "double bass": (-7, -12),
    "glockenspiel": (14, 24),
}
SOUNDING_AS_WRITTEN = (0, 0)

# General MIDI Level 1 (MIDI Manufacturers Association, 1991), program numbers from 1, as printed in
# "Standard MIDI Patch Assignments" (Windows multimedia reference). No contrabassoon, bass clarinet
# or alto trombone there: bassoon, clarinet and trombone stand in.
PROGRAMS = {
    "harpsichord": 7,
    "glockenspiel": 10,
    "violin": 41,
    "viola": 42,
    "violoncello": 43,
    "double bass": 44,
    "harp": 47,
    "timpani": 48,
    "trumpet": 57,
    "alto trombone": 58,
    "tenor trombone": 58,
    "bass trombone": 58,
    "tuba": 59,
    "horn": 61,
    "oboe": 69,
    "cor anglais": 70,
    "bassoon": 71,
    "contrabassoon": 71,
    "clarinet": 72,
    "bass clarinet": 72,
    "piccolo": 73,
    "flute": 74,
}
# The program that a technique asks for: pizzicato strings, muted trumpet.
PIZZICATO, MUTED_TRUMPET = 46, 60

# On which side of the platform players sit, seen from the hall: left -1, right 1. The two violins face
# each other, horns and brass sit apart (common practice of the 19th century, from memory).
SIDES = {"violin 1": -1, "violin 2": 1, "viola": 1, "violoncello": -1, "horn": -1, "trumpet": 1,
         "tenor trombone": 1, "tuba": 1, "flute": -1, "oboe": 1, "clarinet": -1, "bassoon": 1}

# General MIDI Level 1, percussion key map (channel 10). Hand cymbals are absent: 49 or 57 are the
# nearest. More than one key is right for some instruments.
PERCUSSION_KEYS = {
    "bass drum": {35, 36},
    "side drum": {38, 40},
    "cymbals": {49, 57},
    "tambourine": {54},
    "triangle": {80, 81},
    "tam-tam": {52},
}

# "MusicXML 4.0" (W3C Music Notation Community Group, 2021): clefs in which a player of the
# orchestra reads his part. Henderson, The Orchestra and Orchestral Music, 1899, ch. V (trombones);
# Johnstone 1917, p. 12 (cello), "Viola" (p. 10), "Bassoon" (p. 32), p. 44 (trombones).
CLEFS = {
    "viola": {"C3", "G2"},
    "violoncello": {"F4", "C4", "G2"},
    "double bass": {"F4", "C4", "G2"},
    "bassoon": {"F4", "C4", "G2"},
    "contrabassoon": {"F4"},
    "alto trombone": {"C3"},
    "tenor trombone": {"C4", "F4"},
    "bass trombone": {"F4"},
    "tuba": {"F4"},
    "timpani": {"F4"},
    "violin": {"G2"},
    "flute": {"G2"},
    "piccolo": {"G2"},
    "oboe": {"G2"},
    "cor anglais": {"G2"},
    "clarinet": {"G2"},
    "bass clarinet": {"G2"},
    "trumpet": {"G2"},
    "horn": {"G2"},
    "harpsichord": {"G2", "F4"},
    "harp": {"G2", "F4"},
}

# Natural horns and trumpets are written without a key signature (common practice of their time).
WITHOUT_SIGNATURE = {"brass.natural-horn", "brass.trumpet.baroque", "drum.timpani"}

# Those of them who have one in a score at concert pitch, where no crook keeps it away (common practice).
CROOKED = {"brass.natural-horn", "brass.trumpet.baroque"}
