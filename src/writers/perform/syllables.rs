//! What is sung when: the verses follow one another as the bars of a repeat do.

use std::collections::HashMap;

use crate::music::Time;
use crate::notate::{ElementKind, FrameBar, Staff, StaffNote};

use super::timeline::Timeline;

/// The syllables of a staff in played time, each with the hyphen or the blank that follows it. When
/// a bar is played for the second time its second verse is sung, where there is one; else the
/// first. (Common practice.)
pub(super) fn syllables(
    staff: Option<&Staff>,
    frame: &[FrameBar],
    timeline: &Timeline,
) -> Vec<(Time, String)> {
    let mut sung = Vec::new();
    let Some(staff) = staff else { return sung };
    let has_words = |note: &StaffNote| !note.lyrics.is_empty();
    let any = staff
        .all_measures()
        .flat_map(|measure| &measure.elements)
        .any(|element| matches!(&element.kind, ElementKind::Note(note) if has_words(note)));
    if !any {
        return sung;
    }
    let mut passes: HashMap<usize, u8> = HashMap::new();
    for &(bar, at) in &timeline.bars {
        let pass = passes.entry(bar).or_default();
        *pass = pass.saturating_add(1);
        if bar >= frame.len() {
            continue;
        }
        for element in staff.in_bar(bar).flat_map(|measure| &measure.elements) {
            let ElementKind::Note(note) = &element.kind else { continue };
            let of_pass = note.lyrics.iter().find(|syllable| syllable.verse == *pass);
            if let Some(syllable) = of_pass.or(note.lyrics.first()) {
                let after = if syllable.goes_on { "-" } else { " " };
                sung.push((at + element.at, format!("{}{after}", syllable.text)));
            }
        }
    }
    sung.sort_by_key(|(at, _)| *at);
    sung
}

#[cfg(test)]
mod tests {
    use crate::arrange::arrange;
    use crate::notate::{ElementKind, notate};
    use crate::perform::perform;
    use crate::resolve::{NoFiles, resolve};

    /// What is sung, syllable by syllable with their quarters, and where verses are numbered.
    fn sung(form: &str, words: &str) -> (String, Vec<usize>) {
        let source = format!(
            "piece \"Weir\" {{ }}\nform {{ 1 metre 2/4, key C major\n {form}\n 4 end }}\n\
             voice tune {{ 1: 1/4 C5 D | 2: {{E F}} | 3: 1/2 G | 4: C | }}\n{words}\n\
             ensemble song {{ era 1885\n soprano\n}}\n\
             scoring plain for song {{ soprano plays tune as melody }}\n"
        );
        let mut sources = crate::diagnostics::Sources::new();
        let file = sources.add("weir.ripieno", source);
        let (piece, told) = resolve(&mut sources, file, &mut NoFiles);
        assert!(told.is_empty(), "{told:?}");
        let arrangement = arrange(&piece, &piece.scorings[0]);
        let score = notate(&arrangement);
        let performance = perform(&arrangement, &score);
        let syllables = performance.players[0].syllables.iter();
        let sung = syllables.map(|(at, text)| format!("{}:{text}", at.scaled(4, 1).unwrap()));
        let numbered = score.staves[0].measures.iter().enumerate().filter(|(_, measure)| {
            measure
                .elements
                .iter()
                .any(|one| matches!(&one.kind, ElementKind::Note(note) if note.verses_numbered))
        });
        (sung.collect(), numbered.map(|(bar, _)| bar + 1).collect())
    }

    #[test]
    fn a_syllable_is_sung_where_it_begins() {
        let words = "lyrics for tune { 1: Wa-ter | 2: runs = | 3: on | 4: down. | }";
        let expected = "0/1:Wa-1/1:ter 2/1:runs 4/1:on 6/1:down. ";
        assert_eq!(sung("2 double-bar", words), (expected.to_string(), vec![]));
    }

    #[test]
    fn verses_follow_one_another_in_a_repeat_and_the_refrain_has_one() {
        let words = "lyrics for tune { 1: Wa-ter | 2: runs = | 3: on | 4: down. | }\n\
                     lyrics for tune verse 2 { 1: Mill-stones | 2: turn = | }";
        let expected = "0/1:Wa-1/1:ter 2/1:runs 4/1:Mill-5/1:stones 6/1:turn 8/1:on 10/1:down. ";
        assert_eq!(sung("1..2 repeat", words), (expected.to_string(), vec![1]));
        let again = "lyrics for tune { 1: Wa-ter | 2: runs = | 3: on | 4: down. | }\n\
                     lyrics for tune verse 2 { 1: Mill-stones | 2: turn = | 4: round. | }";
        assert_eq!(sung("1..2 repeat", again).1, [1, 4]);
    }
}
