//! Small sources that between them have a little of everything, to be changed at random thousands of
//! times a second.

/// All of them; each compiles without an error.
pub const SMALL: [&str; 8] = [
    // Repeats, a pick-up, changes of metre, key and tempo.
    r#"piece "Bell" {
  subtitle "For testing"
  licence "CC0-1.0"
}
form {
  0 metre 3/4, key D minor, tempo "Con moto" 1/4 at 96, pick-up 1/4
  0..2 repeat
  2 ending 1
  3 ending 2
  4 metre 2/4, mark "A", key F major, tempo "rit.", double-bar
  4 end
}
voice upper { 0: 1/8 D5 E | 1: 1/2. D5 | 2: rest | 3: 1/4 D5 E F | 4: 1/2 F5[fermata] | }
ensemble duo { era 1770
  oboe }
scoring first for duo {
  oboe plays upper as melody
}
"#,
    // What stands in a voice.
    r#"piece "Gate" { licence "CC0-1.0" }
form {
  1 metre 3/4, key D minor, tempo 1/4 at 96
  4 end
}
voice upper {
  1: {1/8 D5 E} 3:2(1/8 F E D) 1/4 A4[stacc] |
  2: 1/4 D5&F5 1/8 = E5 rest C#5[accent tenuto] |
  3: grace(1/16 E5 F) 1/2 D5[trill] crushed(1/8 E5) 1/4 = |
  4: [p] 1/4 F5[tremolo 1/16] [cresc] [pizz] 1/8. D5 1/16 C5 [to] [f] 1/4 D5 |
}
ensemble band { era 1885
  violin-1 4 players, flute }
scoring second for band {
  violin-1 plays upper as melody
  flute plays upper 8va bars 1..2 as highlight, at mf
}
"#,
    // Harmony and the lines that are computed from it.
    r#"piece "Ferry" { licence "CC0-1.0" }
form {
  1 metre 2/4, key F major, tempo 1/4 at 96
  2 end
}
harmony { 1: 1/4 F C7/E | 2: Bbmaj7 | }
dynamics {
  1 p
  1..2 cresc
  2 beat 2 f "dolce"
}
voice upper { 1: 1/4 F5 E | 2: 1/2 D5 | }
voice lower { 1: 1/4 F3 E | 2: 1/2 Bb2 | }
ensemble duo { era 1770
  oboe, viola, cello, horn crook F }
scoring third for duo {
  oboe plays upper as melody
  viola sustains as harmony
  cello plays lower as bass
  horn signals upper as harmony
}
"#,
    // Drums, strokes and bars that are written for a player.
    r#"piece "Drum" { licence "CC0-1.0" }
form {
  1 metre 3/4, key D minor
  2 end
}
voice upper { 1: 1/4 D5 E F | 2: 1/2. D5 | }
ensemble band { era 1885
  timpani tuned D3, A2
  triangle, trumpet in Bb }
scoring first for band {
  trumpet plays upper 8vb as melody "warm"
  timpani writes as rhythm { 1: 1/4 D3 rest A2[tremolo] | }
  triangle writes as rhythm { 2: 1/4 x x[trill] x | }
}
"#,
    // A larger scoring that keeps a smaller one.
    r#"piece "Weir" { licence "CC0-1.0" }
form {
  1 metre 2/4, key D major
  2 end
}
voice upper { 1: 1/4 D5 F# | 2: 1/2 A5 | }
ensemble small { era 1770
  oboe 2, cello 2 players as "Cellos"
  group basso = cello }
ensemble large extends small { era 1885
  flute
  bassoon joins basso }
scoring first for small {
  oboe.1 plays upper as melody
  oboe.2 doubles oboe.1 8vb bars 1 as harmony
  basso plays upper 15mb as bass
}
scoring second for large {
  keep first
  flute plays upper 8va as melody solo
}
"#,
    // Players who take something else, and what is allowed.
    r#"piece "Sluice" { licence "CC0-1.0" }
form {
  1 metre 2/4, key D major
  3 end
}
voice upper { 1: 1/4 D5 F# | 2: 1/2 A5 | 3: 1/2 D5 | }
ensemble small { era 1770
  horn crook F, flute }
scoring first for small {
  horn rests bars 1
  horn plays upper 8vb bars 2 as melody
  horn takes crook D bar 3
  flute highlights entries
  flute takes piccolo bar 2
  allow coverage/voice-left-out bars 1..3 "on purpose"
}
"#,
    // Pages.
    r#"piece "Page" { licence "CC0-1.0" }
form {
  1 metre 2/4, key D major
  2 end
}
voice upper { 1: {1/4 D5 F#} | 2: [p] 1/2 A5 | }
ensemble small { era 1770
  oboe, violin-1 2 players }
scoring first for small {
  oboe, violin-1 plays upper as melody
}
layout for first {
  score paper a3 landscape
  score hide empty
  oboe break before 2
  oboe nudge slur bar 1 up 1 left 0.5
}
layout {
  parts staff 7.5 mm
}
"#,
    // What is sung.
    r#"piece "Song" { licence "CC0-1.0" }
form {
  1 metre 2/4, key G major, tempo 1/4 at 80
  2 end
}
voice tune { 1: 1/4 G4 A | 2: 1/2 B4 | }
lyrics for tune {
  1: Run, wa- | 2: ter. |
}
ensemble choir { era 1885
  soprano, organ }
scoring sung for choir {
  soprano plays tune as melody
  organ realises tune
}
"#,
];
