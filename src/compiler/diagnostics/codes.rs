//! What the findings of the stages before the checker mean. The checker's own rules document
//! themselves, each in its file.
//!
//! A code that is added here gets an example in `examples/`: a test wants to see the finding in it,
//! alone, and none in the mended one.

/// A code of an earlier stage: what it means and what to do.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Code {
    /// The code as it is printed: `bars/too-long`.
    pub code: &'static str,
    /// What it finds, in a sentence.
    pub finds: &'static str,
    /// How to fix it, in a sentence.
    pub mend: &'static str,
}

const fn code(code: &'static str, finds: &'static str, mend: &'static str) -> Code {
    Code { code, finds, mend }
}

/// All codes of the earlier stages, family by family.
pub const CODES: &[Code] = &[
    code(
        "arrange/chord-thinned",
        "A player who sounds one note at a time is given chords.",
        "Name as many players as the chords have notes, or write the line out.",
    ),
    code(
        "arrange/no-chord-note",
        "A computed line finds no note of the harmony within the players' compass.",
        "Give it to other players, or write the line out.",
    ),
    code(
        "arrange/no-moment",
        "`highlights` finds no such moment in its bars.",
        "Name other moments, such as `beat 1`, or other bars.",
    ),
    code(
        "arrange/no-note-fits",
        "A computed line finds no notes that keep the rules of part-writing.",
        "Give it to fewer players, or write the passage out.",
    ),
    code(
        "arrange/no-open-note",
        "The crook has no open note in the harmony of the passage.",
        "Use another crook; `ripieno advise crooks` ranks them.",
    ),
    code(
        "arrange/no-pitch",
        "A line that needs pitches is given to an instrument without pitch, or strokes without pitch to one that needs pitches.",
        "Use `signals` or `highlights` for an instrument without pitch, or write strokes; write notes for all others.",
    ),
    code(
        "arrange/no-rhythm",
        "`signals` finds nothing in the voice that suits the player.",
        "Name another voice, other bars, or write the line out.",
    ),
    code(
        "arrange/no-time-for-pedals",
        "A harp leaves out notes of its chords, for its pedals cannot be set in time.",
        "Strike the chords less often.",
    ),
    code(
        "arrange/no-tuned-note",
        "The timpani have no note of the harmony of the passage.",
        "Tune them differently; `ripieno advise timpani` ranks tunings.",
    ),
    code(
        "arrange/notes-left-out",
        "A doubled part has notes that brass without valves or timpani do not have; they rest there.",
        "Write the line out if you want something else.",
    ),
    code(
        "arrange/octave-moved",
        "A doubling is moved by octaves into the compass of the player.",
        "Write `8va` or `8vb` to choose the octave yourself: an octave that is named is never moved.",
    ),
    code(
        "arrange/too-many-players",
        "There are more players than chord tones.",
        "Name fewer players.",
    ),
    code(
        "arrange/too-many-notes",
        "The players of a scoring have more notes together than the language allows.",
        "Make several pieces of it, movement by movement.",
    ),
    code("bars/backwards", "A range of bars runs backwards.", "Write the earlier bar first."),
    code(
        "bars/claimed-twice",
        "`writes` is given `bars` that are not the bars that it writes.",
        "Leave `bars` out; within the first and the last written bar it may say from and up to which beat.",
    ),
    code(
        "bars/ending-without-repeat",
        "An ending does not belong to a repeat.",
        "Close the repeated bars with `ending 1`; `ending 2` follows them.",
    ),
    code(
        "bars/grace",
        "Grace notes have no notes, or none of their kind to lean on.",
        "Write them right before a note, in the same bar.",
    ),
    code(
        "bars/hairpin",
        "A hairpin does not end, or ends without having begun.",
        "End `cresc` or `dim` by a dynamic or `to`.",
    ),
    code(
        "bars/hold",
        "`=` has no note to hold, or grace notes or a tremolo stand at it.",
        "Write a note before it, or `rest`; what is struck is written as a note.",
    ),
    code(
        "bars/jump",
        "A jump leads nowhere, a sign has no jump, or bars are never played.",
        "Write what belongs together: `dal segno` and `segno`, `al fine` and `fine`, `al coda`, `to coda` and `coda`.",
    ),
    code(
        "bars/mark-alone",
        "A mark has no note.",
        "Write it right after its note, without a space.",
    ),
    code(
        "bars/mark-twice",
        "Two bars have the same rehearsal mark.",
        "Give each place a mark of its own.",
    ),
    code(
        "bars/harmonic",
        "An artificial harmonic that cannot be: the stopped note does not sound the written one, or \
         there is more than one note.",
        "Name the stopped note with its octave, mostly two octaves below: `E6[harmonic E4]`.",
    ),
    code("bars/mark-on-rest", "A mark is on a rest.", "Only `fermata` is allowed there."),
    code(
        "bars/missing",
        "A voice ends before the piece.",
        "Write the missing bars, or `rest` with their number.",
    ),
    code(
        "bars/neighbour",
        "The note that an ornament names is not its neighbour, or the mark names none.",
        "Write the next letter above a trill or turn, below a mordent: `[trill Eb]`.",
    ),
    code("bars/no-end", "The form has no end.", "Write `end` at its last bar."),
    code(
        "bars/no-form",
        "The source has no form.",
        "Write one: metre, key, and where the piece ends.",
    ),
    code("bars/no-metre", "The form names no metre.", "Write `metre` at its first bar."),
    code(
        "bars/no-such-key",
        "A key would need more than seven sharps or flats.",
        "Write the enharmonic key.",
    ),
    code(
        "bars/no-such-metre",
        "This is not a valid metre.",
        "Write 1 to 32 over 1, 2, 4, 8, 16 or 32, or groups such as `3+2/8`.",
    ),
    code("bars/no-such-tempo", "A tempo is out of range.", "Write 5 to 600 to the minute."),
    code(
        "bars/no-such-value",
        "There is no such note value, or no such length of a bar.",
        "Write `1/1` to `1/128`, a fraction such as `3/8`, or a dotted value.",
    ),
    code("bars/no-value", "The first note has no value.", "Write one before it, such as `1/4`."),
    code(
        "bars/no-up-beat",
        "No up-beat leads into a passage that is to begin with one.",
        "Say how long the up-beat is, or name the beat where the passage begins.",
    ),
    code(
        "bars/number",
        "A bar is misnumbered.",
        "Check whether a bar is missing or written twice.",
    ),
    code(
        "bars/one-bar",
        "Something that happens at one bar is given to several.",
        "Name the bar where it happens.",
    ),
    code("bars/octave", "The first note has no octave.", "Write one, such as `D4`."),
    code(
        "bars/outside",
        "A bar or beat is outside the piece.",
        "Write one that exists, or let the piece `end` later.",
    ),
    code("bars/pick-up", "A pick-up is at a bar other than 0.", "Write `0 pick-up …`."),
    code("bars/repeats-overlap", "Two repeats overlap.", "Write the inner one out."),
    code(
        "bars/same-twice",
        "A chord has the same note twice.",
        "Write it once, or give the second to another player.",
    ),
    code(
        "bars/slur",
        "A slur does not end, holds no notes or only one, or begins inside another.",
        "Write `{` before its first note and `}` right after its last.",
    ),
    code(
        "bars/slur-or-tie",
        "A slur joins a note to the same note, which reads as a tie.",
        "Write `=` for the second note if it is held, or mark both `[stacc]` or `[tenuto]`.",
    ),
    code(
        "bars/times",
        "A repeat or an ending is to be played more often than can be printed.",
        "Write 2 to 9 times, and endings from 1 to 9.",
    ),
    code(
        "bars/too-long",
        "A bar holds more than its metre.",
        "Remove what is too much, or give the bar a `length` in the form.",
    ),
    code(
        "bars/too-many",
        "A bar number is beyond what a piece may have.",
        "Check whether it has a digit too many.",
    ),
    code(
        "bars/too-short",
        "A bar holds less than its metre.",
        "Add what is missing, or give the bar a `length` in the form.",
    ),
    code("bars/tremolo", "A tremolo has an unsupported value.", "Write 1/8, 1/16, 1/32 or 1/64."),
    code(
        "bars/tuplet",
        "A tuplet is not full, or has a ratio that cannot be written.",
        "Fill it with as many of one value as it says.",
    ),
    code(
        "bars/up-beat",
        "A section's up-beat has no bar before it, takes the whole of it, or begins within a tuplet.",
        "Write one that is shorter than the bar before; that of the piece is `0 pick-up …`.",
    ),
    code(
        "harmony/inferred",
        "No harmony is declared, so computed lines go by what the voices spell.",
        "`ripieno advise harmony` prints it, ready to paste and correct.",
    ),
    code(
        "harmony/missing",
        "A computed line finds no harmony to go by.",
        "Write a `harmony` block for its bars.",
    ),
    code(
        "harmony/unknown-chord",
        "A chord symbol is unknown.",
        "Write a root, a quality of the list in the reference, and a bass if it is not the root.",
    ),
    code(
        "movements/attacca",
        "`attacca` stands at the last movement, behind which nothing follows.",
        "Remove it, or write it at the movement before.",
    ),
    code(
        "movements/music",
        "A piece in movements has music of its own.",
        "Move it into the source of the movement to which it belongs.",
    ),
    code(
        "movements/nested",
        "A movement is itself a piece in movements.",
        "Name its movements in its place, one a line.",
    ),
    code(
        "movements/no-scoring",
        "A movement lacks a scoring that other movements have; the scoring leaves it out.",
        "Write the scoring in its source, under the same name.",
    ),
    code(
        "movements/none",
        "A piece says how movements are numbered and names none.",
        "Remove the line, or name movements.",
    ),
    code("names/budget", "A budget exceeds 100%.", "Write at most 100%."),
    code(
        "harmony/not-declared",
        "Chord symbols are to be printed, but no harmony is declared.",
        "Write a `harmony` block.",
    ),
    code(
        "layout/no-character",
        "Words have characters that pages are not printed with.",
        "Write them in other characters.",
    ),
    code(
        "layout/no-effect",
        "A line of a layout changes nothing on the pages.",
        "Remove it, or name what it was meant for.",
    ),
    code(
        "layout/out-of-range",
        "A staff or a way of a layout is too small or too large.",
        "Write a staff from 2 to 15 mm, and move signs by 20 staff spaces at most.",
    ),
    code(
        "layout/small-staves",
        "The staves of a score are too small to be read.",
        "Print it on larger paper or condensed, as the finding says.",
    ),
    code(
        "lyrics/hold",
        "`=` has no syllable to hold.",
        "Write a syllable before it, or leave the bar out.",
    ),
    code(
        "lyrics/no-such-verse",
        "The number of a verse is out of range.",
        "Number verses from 1 to 20.",
    ),
    code(
        "lyrics/too-few",
        "A bar has fewer syllables than notes.",
        "Write `=` where a syllable is held over another note.",
    ),
    code(
        "lyrics/too-many",
        "A bar has more syllables than notes.",
        "Remove one, or join two on one note with `+`.",
    ),
    code(
        "lyrics/unfinished",
        "A word breaks off after a hyphen.",
        "Write the rest of the word, or remove the hyphen.",
    ),
    code(
        "names/conflict",
        "Two lines of one scoring claim the same player in the same bar.",
        "Give each line its own bars.",
    ),
    code(
        "names/count",
        "The number of players is out of range.",
        "Write 1 to 24 single players, or up to 200 `players` of one part.",
    ),
    code(
        "names/crook",
        "A crook is given to an instrument that has none, or their number does not fit the players.",
        "Name one crook, one for each pair, or one for each player.",
    ),
    code(
        "names/cycle",
        "Declarations refer to one another in a circle.",
        "Let only the larger one build on the smaller.",
    ),
    code(
        "names/era",
        "An ensemble has no era, or one outside 1600 to 2100.",
        "Write a year from 1600 to 2100.",
    ),
    code(
        "names/instrument",
        "An instrument of your own has an impossible value.",
        "Write a value that the finding names as possible.",
    ),
    code(
        "names/kept-player",
        "A kept line names a player whom the larger ensemble does not have.",
        "Make the ensemble `extends` the smaller one, or write `without`.",
    ),
    code(
        "names/key",
        "The instrument is not built in this key.",
        "Write one that the finding lists.",
    ),
    code(
        "names/key-missing",
        "The key or crook of an instrument is missing.",
        "Write `in` with a key, or `crook`.",
    ),
    code("names/no-piece", "There is no `piece` declaration.", "Write `piece \"Title\" { }`."),
    code("names/no-role", "A line has no role.", "Write `as` and the role."),
    code(
        "names/several-drummers",
        "An ensemble line asks for as many timpanists as it names drums.",
        "Leave the number out: one player strikes all drums that are `tuned`.",
    ),
    code(
        "names/takes",
        "`takes` names an instrument of another family than the player's.",
        "Name an instrument of the same family, or add another player to the ensemble.",
    ),
    code(
        "names/tuned",
        "Notes to tune to are wrong, or given to an instrument that is not tuned.",
        "Write sounding notes with octaves after `timpani tuned`.",
    ),
    code(
        "names/too-many",
        "There are more voices, ensembles, parts, scorings or lines than the language allows.",
        "Make several pieces of it.",
    ),
    code(
        "names/twice",
        "Something that must be unique is declared twice.",
        "Remove one, or rename it.",
    ),
    code(
        "names/unknown",
        "A name that is not declared anywhere.",
        "Write a name that is declared, or declare this one.",
    ),
    code(
        "natural-brass/drum-outside",
        "No drum can be tuned to this note.",
        "Take the octave that fits.",
    ),
    code(
        "natural-brass/no-such-crook",
        "There is no such crook, or its name can mean two.",
        "Write one that the finding lists, with `alto` or `basso` where there are both.",
    ),
    code(
        "notation/page-turn",
        "A player has to turn a page without a rest.",
        "Write `turn before` a bar with a rest in a `layout`, or let the part rest there.",
    ),
    code(
        "syntax/empty",
        "The file is empty.",
        "Begin with `piece`; `ripieno new` makes an example.",
    ),
    code(
        "syntax/behind-notes",
        "Something follows the notes of `writes` that belongs before them.",
        "Write it before the brace: `writes as harmony {`.",
    ),
    code(
        "syntax/hidden-character",
        "A text in quotes holds a control character, or a mark that turns the direction of writing.",
        "Remove it: it would steer a terminal or a printer, or show a text that is not there.",
    ),
    code("syntax/no-bar-line", "A bar has no bar line at its end.", "Write `|`."),
    code(
        "syntax/too-large",
        "The file, a line of it, a name or a text in quotes is longer than the language allows.",
        "Put each movement into a file of its own and each bar on a line of its own.",
    ),
    code(
        "syntax/unclosed-block",
        "A block is not closed before the next declaration.",
        "Write `}` on a line of its own.",
    ),
    code(
        "syntax/unexpected",
        "Something that is not allowed here.",
        "The finding says what is expected.",
    ),
    code(
        "syntax/unknown-declaration",
        "A line does not begin a declaration.",
        "Begin with one of the keywords of declarations.",
    ),
    code(
        "use/cannot-read",
        "A used file does not exist, cannot be read, or is outside the root.",
        "Check its path, which is relative to the file that uses it.",
    ),
    code(
        "use/cycle",
        "Files use each other in a circle.",
        "Move what both need into a third file.",
    ),
];
