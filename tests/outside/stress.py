"""Sources that ask for everything, written by this side so that what they must sound is known
beforehand: every key and crook of the published tables, players who take other instruments, every
token of the language, and all that two staves make harder.
"""

from itertools import zip_longest

import published
from pitches import move

# Partials 4, 5, 6, 8, then 9, 10, 12 of every horn and trumpet: open notes on any crook.
ARPEGGIO = ["C4", "E4", "G4", "C5", "D5", "E5", "G5", "C5"]
# Within the compass of whatever is written in the treble clef.
WRITTEN = ["C4", "E4", "G4", "C5", "D5", "E5", "G5", "C5"]


def _writes(player, written, interval):
    sounding = [move(pitch, interval) for pitch in written]
    first, second = " ".join(sounding[:4]), " ".join(sounding[4:])
    return f"  {player} writes as melody {{\n    1: 1/4 {first} |\n    2: 1/4 {second} |\n  }}\n"


def crooks():
    """The source, and for each part file in the order of the score: name of the kind, key, written
    pitches, interval to what sounds."""
    source = [
        "// Every key and crook: written C major on each of them.",
        'piece "Crooks" { licence "CC0-1.0" }',
        "form {\n  1 metre 4/4, key C major, tempo 1/4 at 90\n  2 end\n}",
    ]
    wanted = {}
    tables = (("horn", published.HORN_CROOKS), ("trumpet", published.TRUMPET_CROOKS))
    for half in (0, 1):
        name, ensemble, lines, rows = f"natural-{half + 1}", [], [], []
        for kind, table in tables:
            middle = len(table) // 2
            crooks = list(table.items())[half * middle : (half + 1) * middle]
            names = ", ".join(crook for crook, _ in crooks)
            ensemble.append(f"  {kind} {2 * len(crooks)} crook {names}\n")
            # A crook in the ensemble line is that of a pair of players.
            pairs = [crook for crook in crooks for _ in range(2)]
            for number, (crook, by) in enumerate(pairs, start=1):
                lines.append(_writes(f"{kind}.{number}", ARPEGGIO, by))
                rows.append((kind, crook, ARPEGGIO, by))
        source.append(f"ensemble {name} {{\n  era 1790\n{''.join(ensemble)}}}")
        source.append(f"scoring {name} for {name} {{\n{''.join(lines)}}}")
        wanted[name] = rows
    keyed = (
        ("clarinet", published.CLARINET_KEYS),
        ("bass-clarinet", published.BASS_CLARINET_KEYS),
        ("horn", published.VALVE_HORN_KEYS),
        ("trumpet", published.VALVE_TRUMPET_KEYS),
    )
    for turn, keys in enumerate(zip_longest(*(table for _, table in keyed)), start=1):
        ensemble, lines, rows = [], [], []
        for (kind, table), key in zip(keyed, keys):
            if key is None:
                continue
            ensemble.append(f"  {kind} in {key}\n")
            lines.append(_writes(kind, WRITTEN, table[key]))
            rows.append((kind.replace("-", " "), key, WRITTEN, table[key]))
        name = f"keys-{turn}"
        source.append(f"ensemble {name} {{\n  era 1885\n{''.join(ensemble)}}}")
        source.append(f"scoring {name} for {name} {{\n{''.join(lines)}}}")
        wanted[name] = rows
    fixed = {
        "piccolo": ["D4", "E4", "G4", "C5", "D5", "E5", "G5", "C5"],
        "cor anglais": WRITTEN,
        "contrabassoon": ["C2", "E2", "G2", "C3", "D3", "E3", "G3", "C3"],
        "glockenspiel": ["G3", "C4", "E4", "G4", "C5", "E5", "G5", "C5"],
        "double bass": ["E2", "G2", "C3", "E3", "G3", "C4", "E4", "C3"],
    }
    names = [kind.replace(" ", "-") for kind in fixed]
    source.append("ensemble fixed {\n  era 1885\n  " + "\n  ".join(names) + "\n}")
    lines = [
        _writes(name, written, published.FIXED[kind])
        for name, (kind, written) in zip(names, fixed.items())
    ]
    source.append("scoring fixed for fixed {\n" + "".join(lines) + "}")
    wanted["fixed"] = [(kind, None, fixed[kind], published.FIXED[kind]) for kind in fixed]
    return "\n\n".join(source) + "\n", wanted


def taking():
    """Players who take other instruments in mid-piece, with and without pitch."""
    return TAKING


TAKING = """\
piece "Taking" { licence "CC0-1.0" }

form {
  1      metre 4/4, key F major, tempo 1/4 at 96
  1..12  repeat
  9      mark "A", key D minor
  16     end
}

voice tune {
  1: 1/4 F5 G5 A5 Bb5 | 2: 1/2 C6 F5 | 3: 1/1 F5 | 4: rest 5 |
  9: 1/4 F5 G5 A5 Bb5 | 10: 1/2 C6 F5 | 11: 1/1 F5[trill] | 12: rest 4 | 16: 1/1 F5 |
}

voice low {
  1: 1/1 F3 | 2: 1/2 F3 F3[tremolo] | 3: 1/1 F3 | 4: rest 5 |
  9: 1/1 F3 | 10: F3 | 11: F3 | 12: rest 4 | 16: 1/1 F3 |
}

ensemble few {
  era 1885
  flute 3, clarinet 2 in Bb, bassoon, horn 2 in F without signature
  cymbals, bass-drum, timpani tuned F3, C3
}

scoring few for few {
  flute       plays tune as melody
  flute.3     takes piccolo bar 7
  flute.3     takes flute bar 13
  clarinet    plays tune 8vb as melody
  clarinet    takes clarinet in A bar 5
  clarinet.2  takes bass-clarinet in Bb bar 13
  bassoon     plays low as bass
  bassoon     takes contrabassoon bar 6
  horn        plays tune 8vb as melody
  horn.2      takes horn crook D bar 13
  cymbals     takes triangle bar 9
  cymbals     signals tune bars 1..3, 9..11
  bass-drum   signals low bars 1..3, 9..11
  bass-drum   takes timpani tuned C3, F2 bar 9
  timpani     highlights beat 1 bars 1..3, 16
}
"""


def language():
    """Every token of the language, for a large orchestra."""
    return LANGUAGE


def two_staves():
    """Harp and harpsichord in all that two hands make harder."""
    return TWO_STAVES


TWO_STAVES = """\
// Chords of every width, spread chords, tuplets over both hands, grace notes, slurs and ties,
// runs through the compass, repeats, a pick-up, bars longer and shorter than their metre.
piece "Two Staves" {
  composer "House copyist"
  licence "CC0-1.0"
}

form {
  0      metre 3/4, key Eb major, tempo "Con moto" 1/4 at 96, pick-up 1/4
  1..5   repeat
  5      ending 1
  6      ending 2
  7      metre 4/4, key G major, mark "A"
  11     metre 6/8, key A minor, tempo 1/4. at 60
  14     metre 2/2, key Db major, mark "B", double-bar
  15     length 3/4
  17     metre 4/4
  18..20 repeat
  24     end
}

harmony {
  0: Eb | 1: Eb | 2: Ab | 3: Ab | 4: Bb7 | 5: Eb | 6: Eb | 7: G | 8: G | 9: D7 | 10: D7 | 11: Am |
  12: Am | 13: Am | 14: Db | 15: Ab7 | 16: Db | 17: Db | 18: Db | 19: Db | 20: Db | 21: Ab7 | 22: Ab7 |
  23: Ab7 | 24: Db |
}

dynamics {
  0      p
  2..4   cresc
  5      f
  8 beat 3 mf
  9..10  dim
  11     pp
  17     ff
}

voice hands {
  0: 1/8 Bb2 Eb3 |
  1: 1/4 Eb3&G3&Bb3&Eb4[arpeggio] {Eb2&Bb2&G4&Eb5 G5} |
  2: grace(1/16 F5 G5) 1/4 Ab2&C3&Ab4&C5[accent] 1/8 Bb4 C5 D5 Eb5 |
  3: 3:2(1/8 Ab2 C4 Eb5) 3:2(1/8 Ab2&Eb5 C3&F5 Eb3&G5) 1/4 Ab5[stacc] |
  4: 1/4 Bb1&Bb2&F3&Ab4&D5&F5[arpeggio] 1/2 = |
  5: 1/4 = rest Eb3&G4[fermata] |
  6: 1/2. Eb2&Bb2&Eb3&G3&Bb3&Eb4&G4&Bb4 |
  7: 1/16 G2 B2 D3 G3 B3 D4 G4 B4 D5 G5 B5 D6 G6 D6 B5 G5 |
  8: 1/4 G2&G5[tremolo 1/32] 1/2 B2&D5[trill] crushed(1/8 C5) 1/4 B4 |
  9: 1/8 D2 F#4&A4&C5 D2 F#4&A4&C5 {D3 E3 F#3 G3 |
  10: A3 B3 C4 D4} 1/4 E4 5:4(1/16 F#4 C3 A4 D3 C5) |
  11: 1/8 A2 E3 A3 C4&E4&A4 = E4 |
  12: 2:3(1/8 A2&C5 E3&E5) 4:3(1/8 A2 C3 E3 A3) |
  13: rest |
  14: 1/4 Db2&Db3 Db4&F4&Ab4 Db5&F5&Ab5&Db6&F6 Db6&F6&Ab6&Db7 |
  15: 1/2 {Ab3&C4&Eb4&Gb4 1/4 Ab2&Ab3&F4} |
  16: 1/1 Db3&Ab3&F4&Db5 |
  17: = | 18: 1/2 = 1/4 Db5[turn] C5[mordent] |
  19: 1/8. F4&Db5 1/16 Eb4&C5 3:2(1/4 Db4&F4&Bb4 rest Db3) 1/4 rest |
  20: 1/4 Db3 Ab3 F4 Db5 | 21: rest 2 |
  23: 1/32 Ab5 Gb5 F5 Eb5 Db5 C5 Bb4 Ab4 Gb4 F4 Eb4 Db4 C4 Bb3 Ab3 Gb3 1/4 F3 Eb3 |
  24: grace(1/16 Ab3 Db4 F4) 1/1 Db2&Ab2&Db3&F4&Ab4&Db5[arpeggio fermata] |
}

voice ground {
  0: 1/4 rest | 1: 1/2. Eb3 | 2: Ab2 | 3: 1/4 Ab2 C3 Eb3 | 4: 1/2. Bb2 | 5: 1/4 Eb2 rest Eb3 | 6: 1/2. Eb3 |
  7: {1/8 G2 A2 B2 C3 D3 E3 F#3 G3} | 8: 1/1 G2 | 9: D3 | 10: 1/2 D3 D2 | 11: 3/8 A2 A2 | 12: 3/4 A2 |
  13: A2 | 14: 1/1 Db3 | 15: 3/4 Ab2 | 16: 1/1 Db3 | 17: = | 18: 1/1 Db3 | 19: Db3 | 20: 1/2 Db3 Ab2 |
  21: 1/1 Ab2 | 22: Ab2 | 23: Ab2 | 24: Db3 |
}

ensemble plucked {
  era 1885
  harp 2
  harpsichord 2
  violin-1 4 players
}

scoring both for plucked {
  harp.1       plays hands      as melody
  harp.2       plays ground bars 0..13                   as bass
  harp.2       sustains bars 14..24                      as harmony
  harpsichord.1  plays hands bars 0..6, 8..13, 15..24    as melody
  harpsichord.2  plays ground                            as bass
  violin-1     sustains                                  as harmony
}
"""

LANGUAGE = """\
// Everything that the language can say, in one piece.
piece "Everything" {
  subtitle "A piece for testing"
  composer "House copyist"
  arranger "House arranger"
  licence "CC0-1.0"
}

form {
  0      metre 3/4, key Eb major, tempo "Allegretto" 1/4 at 100, pick-up 1/4
  0..4   repeat
  4      ending 1
  4      length 2/4
  5      ending 2
  6      metre 6/8, key C minor, mark "A", tempo 1/4. at 72
  8      metre 5/8
  9      metre 2/2, key B major, tempo 1/2 at 80
  10     tempo "poco rit.", double-bar
  11     metre 4/4, key Gb major, mark "B", tempo "Vivo" 1/4 at 120
  12..13 repeat
  13     ending 1
  14     ending 2
  15     key G major, tempo "molto rall."
  16     tempo "a tempo"
  17..18 repeat
  18     tempo "stringendo"
  20     metre 3/4, key C major, mark "C", tempo 1/4 at 144
  21     tempo "Tempo I"
  22     tempo "meno mosso"
  23     tempo "rit. poco a poco"
  24     end
}

harmony {
  0: Eb | 1: Eb | 2: Bb7/D | 3: Ab | 4: Bb | 5: Eb | 6: Cm | 7: 3/8 Fm G7 | 8: Cm |
  9: B | 10: 1/2 F#7 B | 11: Gb | 12: Db7 | 13: Gb | 14: Gb | 15: G | 16: 1/2 C G/B | 17: Am7 |
  18: D7sus4 | 19: G | 20: C | 21: 1/2 F6 1/4 rest | 22: rest | 23: 1/2 Ab7 1/4 G | 24: C |
}

dynamics {
  0        p
  2..4     cresc
  5        f
  6        mp "semplice"
  9        ff
  11       dim
  12       pp
  17..18   cresc
  19       sfz
  20 beat 2 mf
  22 beat 1 .. 23 beat 2 dim
}

voice tune {
  0: 1/8 Bb4 D5 |
  1: {1/4 Eb5 1/8 F5 G5} 3:2(1/8 F5 Eb5 D5) |
  2: 5:4(1/16 Eb5 F5 G5 F5 Eb5) 7:8(1/32 D5 Eb5 F5 G5 F5 Eb5 D5) 1/4 C5[trill] |
  3: grace(1/16 Bb4 C5) 1/4 D5[accent stacc] 1/4 Eb5[tenuto] crushed(1/8 F5) 1/4 G5[marcato] |
  4: 1/2 F5[tremolo] |
  5: 1/4 Eb5 1/2 Eb5[fermata] |
  6: 1/8 C5[mordent] D5 Eb5[turn] {1/8. G5 1/16 F5 1/8 D5 |
  7: 1/4. C5} 1/4. Eb5[tremolo 1/16] |
  8: 1/8 = C5 D5 Eb5 D5 |
  9: 1/2 D#5&F#5 1/4 = rest |
  10: [p] 1/2 C#5[turn] [cresc] 1/2 D#5[mordent] |
  11: [f] 1/4 Bb4[breath] Db5[tenuto stacc] Gb5 = |
  12: 1/2 = 3:2(1/4 Ab4 rest Db5[tremolo]) |
  13: 1/2 = 1/2 Gb5 |
  14: 1/2 Gb5 1/8. F5 1/16 Gb5 1/4 rest[fermata] |
  15: 1/1 B4 |
  16: 1/2 = 1/4 C5 D5[trill] |
  17: 1/4 = C5[down-bow] 1/8 A4[staccatissimo] G4 A4 B4 |
  18: 1/4 A4&F#5 1/2. = |
  19: 1/2.. = 1/8 G4 |
  20: ["dolce"] {1/4 C5 grace(1/16 C5 D5) 1/4 E5 F5} |
  21: [pizz] 1/4 A4 C5 F5 [arco] |
  22: 1/32 C5 crushed(1/8 C5) 1/32 D5 1/16 C5[turn] 1/8 G#4 A4[mordent up-bow] 1/4 A4&E5[turn] 1/8 rest |
  23: 6:4(1/16 G4 A4 B4 C5 D5 E5) 1/4 F5[trill] 1/8 E5[tremolo 1/32] D5 |
  24: 1/2. C5&E5&G5[fermata] |
}

voice ground {
  0: 1/4 rest |
  1: 1/2. Eb3 | 2: 1/4 D3 F3 Bb2 | 3: 1/4 Ab2 1/2 Ab3 | 4: 1/2 Bb2 | 5: 1/2. Eb3 |
  6: 1/4. C3 = | 7: 3/8 F3 G3 | 8: 5/8 C3 |
  9: 1/1 B2 | 10: 1/2 F#3 B2 | 11: 1/1 Gb2 | 12: 1/4 Db3 Db3 Ab2 Db3 | 13: 1/1 Gb3 | 14: 1/1 Gb2 |
  15: 1/2 G2 D3 | 16: 1/2 C3 B2 | 17: 1/1 A2 | 18: 1/2 D3 = | 19: 1/1 G2 |
  20: 1/2. C3 | 21: 1/2. F2 | 22: rest 2 | 24: 1/2. C3 |
}

// Up and down through the compass, so that the clefs change.
voice climb {
  0: 1/4 rest |
  1: 1/4 C3 E3 G3 | 2: 1/4 C4 E4 G4 | 3: 1/2. A4 | 4: 1/4 G4 E4 | 5: 1/4 C4 G3 C3 |
  6: 3/8 E3 G3 | 7: 3/8 C4 F4 | 8: 1/8 G4 A4 G4 E4 C4 |
  9: 1/4 A3 F3 D3 F3 | 10: 1/4 A3 C4 F4 A4 | 11: 1/1 Bb4 | 12: 1/4 F4 Bb3 F3 D3 | 13: 1/1 Bb2 |
  14: 1/4 D3 F3 Bb3 D4 | 15: 1/2 F4 G4 | 16: 1/4 A4 F4 D4 A3 | 17: 1/1 F3 | 18: 1/1 G4 | 19: 1/1 E3 |
  20: 1/4 E4 F4 G4 | 21: 1/4 C3 G4 C3 | 22: 1/4 G3 C4 E4 | 23: 1/2. G4 | 24: 1/2. C3 |
}

ensemble full {
  era 1885
  piccolo, flute 3, oboe 3, cor-anglais, clarinet 3 in A, bass-clarinet in Bb
  bassoon 3, contrabassoon
  horn 4 in F, trumpet 3 in Bb
  alto-trombone, tenor-trombone, bass-trombone, tuba
  timpani tuned C3, G2
  bass-drum, cymbals, triangle, side-drum
  harp
  violin-1 12 players, violin-2 10 players, viola 8 players, cello 6 players, double-bass 4 players
  natural-horn 2 crook D as "Hunting horn"
}

scoring full for full {
  violin-1         plays tune                    as melody
  violin-2         doubles violin-1 bars 6..11   as melody
  violin-2         sustains bars 12..24          as harmony
  flute.1          plays tune 8va                as melody
  flute.2          plays tune bars 1..8          as melody, at mf
  piccolo          plays tune 8va bars 9..14     as melody
  oboe.1, oboe.2   plays tune bars 15..24 with chords as melody
  cor-anglais      plays tune 8vb bars 11..14    as melody
  clarinet.1       plays tune                    as melody
  clarinet.2       plays tune 8vb bars 5..10     as melody
  bass-clarinet    plays ground                  as bass
  bassoon.1        plays climb                   as bass solo
  bassoon.2        plays ground "marked"         as bass
  contrabassoon    plays ground 8vb              as bass
  horn.1           plays tune 8vb bars 1..10     as melody
  horn.2           sustains                      as harmony
  horn.3           sustains each beat bars 1..8  as harmony
  horn.4           sustains off the beat bars 1..8  as harmony
  trumpet.3        highlights peaks              as highlight
  trumpet.1        plays tune bars 11..16        as melody muted
  trumpet.2        signals tune bars 1..10       as rhythm
  alto-trombone    plays climb bars 3..4, 6..8, 20..24  as harmony
  tenor-trombone   plays climb                   as bass
  bass-trombone    plays ground bars 1..8        as bass
  tuba             plays ground                  as bass
  viola            plays tune 8vb                as harmony
  cello            plays climb bars 0..8, 13..21, 23..24  as bass
  cello            plays ground bars 9..12 pizz  as bass
  cello            rests bars 22
  double-bass      plays ground 8vb              as bass
  harp             sustains bars 15..24          as harmony
  timpani          writes as rhythm {
    4: 1/2 G2[tremolo] |
    5: 1/4 C3[trill] 1/2 C3[trill] |
    12: 1/4 G2 rest 1/8 G2 G2 1/4 C3 |
    24: grace(1/16 C3 C3) 1/2. C3[tremolo] |
  }
  bass-drum        writes as rhythm {
    1: 1/4 x rest x |
    24: 1/2. x[tremolo] |
  }
  cymbals          writes as rhythm {
    2: 1/4 rest x[accent] rest |
    20: 1/2. x |
  }
  triangle         writes as rhythm {
    11: 3:2(1/8 x x x) 1/4 x 1/2 x[trill] |
  }
  side-drum        writes as rhythm {
    12: 1/8 x x x x 1/2 x[tremolo 1/32] |
    13: 1/1 x |
  }
  natural-horn     takes crook F bar 9
  natural-horn.1   writes as highlight {
    1: 1/4 D4 F#4 A4 |
    2: 1/2. D5 |
    9: 1/2 F4 A4 |
    10: 1/2 C5 C5[stopped] |
  }
  natural-horn.2   writes as highlight {
    1: 1/4 D4 D4 F#4 |
    9: 1/2 C4 F4 |
  }
}
"""


def to_and_fro():
    """Tremolos between two notes, in every metre and value that can hold them."""
    return TO_AND_FRO


TO_AND_FRO = """\
// Quick and slow strokes, chords, wide and narrow steps, signs beside them, clefs that change,
// repeats, and players who transpose.
piece "To and Fro" {
  composer "House copyist"
  licence "CC0-1.0"
}

form {
  0      metre 3/4, key Bb major, tempo "Mosso" 1/4 at 88, pick-up 1/4
  1..3   repeat
  6      metre 6/8, key F minor, tempo 1/4. at 66
  9      metre 2/2, key E major, mark "A"
  12     end
}

dynamics {
  0      p
  2..3   cresc
  4      f
}

voice tune {
  0: 1/4 D5 |
  1: 1/2 D5[tremolo Bb4 1/16] 1/4 F5 |
  2: 1/2. G4&D5[tremolo Bb4&Eb5 1/32] |
  3: 1/4 C5[tremolo A4 1/32] 1/2 Bb4[tremolo F4 1/8] |
  4: {1/2 Bb4[tremolo D5 1/16 accent] 1/4 C5} |
  5: 1/4 D5[stacc] 1/2 Bb4[tremolo F5 1/64] |
  6: 1/4. C5[tremolo Ab4 1/16] Db5[tremolo F4 1/32] |
  7: 1/2. F4&C5[tremolo Ab4 1/16] |
  8: 1/4. E5 1/4 C5[tremolo G4 1/32] 1/8 C5 |
  9: 1/1 B4[tremolo G#4 1/16] |
  10: 1/2 E5[tremolo C#5 1/16] grace(1/16 D#5) 1/2 B4[tremolo E5 1/32] |
  11: 1/1 F#4&A4[tremolo D#4&B4 1/32 fermata] |
  12: 1/1 E4 |
}

voice ground {
  0: 1/4 rest |
  1: 1/2. Bb2[tremolo Bb3 1/16] | 2: 1/2 Eb3[tremolo G3 1/16] 1/4 C3 | 3: 1/2 F3 1/4 F2 |
  4: 1/2. Bb2 | 5: 1/2. F3 | 6: 1/2. F3[tremolo C4 1/16] | 7: 1/2. Ab2 |
  8: 1/4. C3 C3[tremolo E3 1/16] | 9: 1/1 E3 | 10: 1/2 A3[tremolo E4 1/16] 1/2 G#3 |
  11: 1/1 B2[tremolo F#3 1/16] | 12: 1/1 E3 |
}

ensemble waves {
  era 1885
  flute, clarinet in Bb, horn in F
  violin-1 4 players, viola 2 players, cello 2 players, double-bass
}

scoring waves for waves {
  flute         plays tune 8va                as melody
  clarinet      plays tune                    as melody
  violin-1      plays tune 8va                as melody
  viola         plays tune                    as melody
  horn          plays ground                  as bass
  cello         plays ground                  as bass
  double-bass   plays ground 8vb              as bass
}
"""
