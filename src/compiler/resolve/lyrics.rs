//! Lyrics: syllables put to the notes of a voice, bar by bar.

use super::Resolver;
use super::counting::{BarCount, Counting};
use super::piece::{Form, Lyrics, Note, Piece, Syllable, Voice};
use crate::diagnostics::{Diagnostic, Span};
use crate::syntax::{Declaration, LyricsBar, LyricsTree, Spanned, SyllableTree, Tree};

/// The most verses under one voice.
const MOST_VERSES: u32 = 20;

/// The lyrics of a piece whose form and voices are known.
pub(super) fn lyrics(cx: &mut Resolver, tree: &Tree, piece: &Piece) -> Lyrics {
    let mut lyrics = Lyrics::default();
    let mut before: Vec<(&str, u8, Span)> = Vec::new();
    let told = cx.found;
    for declaration in &tree.declarations {
        let Declaration::Lyrics(tree) = &**declaration else { continue };
        let names: Vec<&str> = piece.voices.iter().map(|voice| voice.name.as_str()).collect();
        let voice = piece.voices.iter().find(|voice| voice.name == tree.voice.value);
        let Some(voice) = voice else {
            cx.push_unknown(&tree.voice, &names, "voice");
            continue;
        };
        let Some(verse) = verse(cx, tree) else { continue };
        let same = before
            .iter()
            .find(|(name, number, _)| (*name, *number) == (voice.name.as_str(), verse));
        if let Some((.., first)) = same {
            cx.push(
                Diagnostic::error(
                    "names/twice",
                    tree.voice.span,
                    format!("`{}` has a second verse {verse}.", voice.name),
                )
                .with_label(*first, "the first is here")
                .with_help(format!(
                    "Write `lyrics for {} verse {}`.",
                    voice.name,
                    verse + 1
                )),
            );
            continue;
        }
        before.push((voice.name.as_str(), verse, tree.voice.span));
        Setting { form: &piece.form, voice, verse, lyrics: &mut lyrics, last: None, doubt: false }
            .set(cx, tree);
    }
    lyrics.unsure |= cx.found > told || cx.told.may_be_lost("lyrics");
    lyrics
}

fn verse(cx: &mut Resolver, tree: &LyricsTree) -> Option<u8> {
    let Some(number) = &tree.verse else { return Some(1) };
    if (1..=MOST_VERSES).contains(&number.value) {
        return u8::try_from(number.value).ok();
    }
    cx.push(
        Diagnostic::error(
            "lyrics/no-such-verse",
            number.span,
            format!("Verse {} is out of range.", number.value),
        )
        .with_help(format!("Verses are numbered from 1 to {MOST_VERSES}.")),
    );
    None
}

/// One verse that is put to its voice.
struct Setting<'a> {
    form: &'a Form,
    voice: &'a Voice,
    verse: u8,
    lyrics: &'a mut Lyrics,
    /// The last syllable: its note and where it is written.
    last: Option<(Span, Span)>,
    /// Is it not known which syllable is the last, because of what was told?
    doubt: bool,
}

impl Setting<'_> {
    fn set(mut self, cx: &mut Resolver, tree: &LyricsTree) {
        let mut count = BarCount::new(Counting::Chosen);
        for (place, bar) in tree.bars.iter().enumerate() {
            let following = tree.bars.get(place + 1).and_then(|bar| bar.number());
            let (number, broken) = (bar.number(), bar.broken());
            if broken {
                self.forget();
            }
            let numbers = (number.as_ref(), following.as_ref());
            let Some(index) = count.index(cx, self.form, numbers, bar.span()) else { continue };
            count.next = self.form.whole(index).after;
            if !broken && !count.is_off() {
                self.bar(cx, bar, index);
            }
        }
        if let Some((note, span)) = self.last
            && self.syllable(note).is_some_and(|syllable| syllable.goes_on)
        {
            cx.push(
                Diagnostic::error("lyrics/unfinished", span, "The word does not go on after this.")
                    .with_text("a hyphen follows this")
                    .with_help("Write the rest of the word, or remove the hyphen."),
            );
        }
    }

    /// Nothing follows from what is not known.
    fn forget(&mut self) {
        (self.last, self.doubt) = (None, true);
        self.lyrics.unsure = true;
    }

    /// The syllable of this verse on a note.
    fn syllable(&mut self, note: Span) -> Option<&mut Syllable> {
        let verse = self.verse;
        self.lyrics.by_note.get_mut(&note)?.iter_mut().find(|syllable| syllable.verse == verse)
    }

    fn bar(&mut self, cx: &mut Resolver, bar: &LyricsBar, index: usize) {
        let frame = &self.form.bars[index];
        let (_, end) = self.form.times_of(self.form.whole(index));
        let all = &self.voice.music.notes;
        let from = all.begun_before(frame.start);
        let notes: Vec<Note> =
            all.starting_with(from).take_while(|note| note.start < end).collect();
        let unsure = &self.voice.music.unsure;
        if !self.form.is_sure(index) || unsure.iter().any(|bars| bars.contains(index)) {
            self.forget();
            return;
        }
        let syllables = bar.read();
        let counted = syllables.len() == notes.len();
        if !counted {
            cx.push(miscounted(&self.voice.name, frame.number, (bar.span(), &syllables), &notes));
        }
        for (Spanned { value, span }, note) in syllables.iter().zip(notes) {
            match value {
                SyllableTree::Text { text, continues, goes_on } => {
                    let before = self.last.and_then(|(note, _)| self.syllable(note).cloned());
                    let continues = *continues || before.is_some_and(|before| before.goes_on);
                    let syllable = Syllable {
                        verse: self.verse,
                        text: text.clone(),
                        continues,
                        goes_on: *goes_on,
                        melisma: false,
                    };
                    let here = self.lyrics.by_note.entry(note.span).or_default();
                    here.reserve_exact(1);
                    here.push(syllable);
                    here.sort_by_key(|syllable| syllable.verse);
                    (self.last, self.doubt) = (Some((note.span, *span)), false);
                }
                SyllableTree::Hold { goes_on } => {
                    self.lyrics.held.insert(note.span);
                    let held = match self.last {
                        Some((note, _)) => self.syllable(note),
                        None => None,
                    };
                    if let Some(held) = held {
                        held.melisma = true;
                        held.goes_on |= goes_on;
                    } else if !self.doubt {
                        cx.push(
                            Diagnostic::error("lyrics/hold", *span, "`=` has no syllable to hold.")
                                .with_help("Write a syllable before it, or leave the bar out where nothing is sung.")
                                .with_bars(frame.number, frame.number),
                        );
                    }
                }
            }
        }
        if !counted {
            self.forget();
        }
    }
}

/// A bar with too many or too few syllables.
fn miscounted(
    voice: &str,
    number: i32,
    (bar, syllables): (Span, &[Spanned<SyllableTree>]),
    notes: &[Note],
) -> Diagnostic {
    let amount = |count: usize, one: &str| match count {
        0 => format!("no {one}s"),
        1 => format!("one {one}"),
        count => format!("{count} {one}s"),
    };
    let sung = syllables.len();
    let message = format!(
        "Bar {number} of `{voice}` has {}, but {}.",
        amount(notes.len(), "note"),
        amount(sung, "syllable")
    );
    if sung > notes.len() {
        let (first, last) = (&syllables[notes.len()], &syllables[sung - 1]);
        let finding = Diagnostic::error("lyrics/too-many", first.span.to(last.span), message);
        let finding = match notes.last() {
            Some(note) => finding
                .with_text("no note is left for this")
                .with_label(note.span, "the last note of the bar"),
            None => finding.with_text("the voice rests here"),
        };
        return finding
            .with_help(
                "Remove a syllable, move it into the next bar, or join two words on one note \
                 with `+`: `the+old`. A held or tied note takes no syllable of its own.",
            )
            .with_bars(number, number);
    }
    let place = syllables.last().map_or(bar, |last| last.span);
    let mut finding = Diagnostic::error("lyrics/too-few", place, message);
    if let Some(note) = notes.get(sung) {
        finding = finding.with_label(note.span, "the first note without a syllable");
    }
    finding
        .with_help(
            "Write a syllable for each note that is struck, and `=` where the syllable before is \
             held over another note: `turn = =`. Leave out a bar in which nothing is sung.",
        )
        .with_bars(number, number)
}

#[cfg(test)]
mod tests {
    use crate::diagnostics::Sources;
    use crate::resolve::{NoFiles, resolve};

    /// What is sung to a tune of three bars, note by note, or what is told.
    fn sung(lyrics: &str) -> String {
        let source = format!(
            "piece \"Weir\" {{ }}\nform {{\n 1 metre 3/4, key C major\n 3 end\n}}\n\
             voice tune {{ 1: 1/4 C5 D E | 2: 1/2 F 1/4 E | 3: 1/2 = 1/4 rest | }}\n{lyrics}\n"
        );
        let mut sources = Sources::new();
        let file = sources.add("weir.ripieno", source);
        let (piece, findings) = resolve(&mut sources, file, &mut NoFiles);
        let told: Vec<String> = findings.into_iter().map(|finding| finding.message).collect();
        if !told.is_empty() {
            return told.join(" ");
        }
        let shown = piece.voices[0].music.notes.iter().map(|note| {
            let syllables = piece.lyrics.of(note.span).iter().map(|syllable| {
                format!(
                    "{}{}{}{}",
                    if syllable.continues { "-" } else { "" },
                    syllable.text,
                    if syllable.goes_on { "-" } else { "" },
                    if syllable.melisma { "_" } else { "" }
                )
            });
            syllables.collect::<Vec<_>>().join("/")
        });
        shown.collect::<Vec<_>>().join(" ")
    }

    #[test]
    fn syllables_go_to_the_notes_that_are_struck() {
        assert_eq!(
            sung("lyrics for tune {\n 1: The mill-stone |\n 2: turns. = |\n}"),
            "The mill- -stone turns._ "
        );
    }

    #[test]
    fn a_word_goes_on_over_bar_lines_and_held_notes() {
        assert_eq!(
            sung("lyrics for tune {\n 1: turn- = ing |\n 2: wa- ters |\n}"),
            "turn-_  -ing wa- -ters"
        );
        assert_eq!(
            sung("lyrics for tune {\n 1: Fes-ti-val- |\n 2: day to+day |\n}"),
            "Fes- -ti- -val- -day to\u{A0}day"
        );
        assert_eq!(sung("lyrics for tune {\n 1: turn-=-ing |\n}"), "turn-_  -ing  ");
    }

    #[test]
    fn verses_stand_one_under_another() {
        let lyrics =
            "lyrics for tune verse 2 { 1: Down it runs | }\nlyrics for tune { 1: Up it goes | }";
        assert_eq!(sung(lyrics), "Up/Down it/it goes/runs  ");
    }

    #[test]
    fn what_does_not_fit_is_told() {
        for (lyrics, told) in [
            ("1: The mill |", "Bar 1 of `tune` has 3 notes, but 2 syllables."),
            ("2: turns and turns |", "Bar 2 of `tune` has 2 notes, but 3 syllables."),
            ("1: = the mill |", "`=` has no syllable to hold."),
            ("1: The old mill- |", "The word does not go on after this."),
            ("5: turns |", "The piece has no bar 5."),
        ] {
            assert_eq!(sung(&format!("lyrics for tune {{\n {lyrics}\n}}")), told);
        }
        assert_eq!(sung("lyrics for tone {\n}"), "Unknown voice `tone`.");
        let twice = "lyrics for tune {\n}\nlyrics for tune {\n}";
        assert_eq!(sung(twice), "`tune` has a second verse 1.");
        assert_eq!(sung("lyrics for tune verse 0 {\n}"), "Verse 0 is out of range.");
    }
}
