//! What a copyist looks at last: names before staves, running heads, the last page.

use super::page_tests::bars;
use super::tests::{of, part, part_of, score, texts};
use crate::page::{Kind, Page, Shape};
use crate::paper::Setup;

#[test]
fn no_line_of_a_name_begins_with_its_number() {
    let named = |name: &str| {
        let text = format!(
            "piece \"Sluice\" {{ }}\nform {{ 1 metre 4/4, key C major\n 2 end }}\n\
             voice tune {{ 1: 1/1 C5 | 2: D5 | }}\n\
             ensemble few {{ era 1885\n oboe as \"{name}\"\n }}\n\
             scoring all for few {{\n oboe plays tune as melody\n}}\n"
        );
        score(&text, false).pages.remove(0)
    };
    let page = named("Baritone horns 1, 2");
    assert_eq!(texts(&page, "Baritone").len(), 1);
    assert_eq!(texts(&page, "horns 1, 2").len(), 1, "and in the file it has plain blanks");
    let page = named("Trumpetermajors 1, 2");
    assert_eq!(texts(&page, "1, 2").len(), 1, "a long word is not divided for it");
}

#[test]
fn every_page_says_its_scoring_and_revision() {
    let tune = bars(160, "1/8 C5 D5 E5 F5 G5 F5 E5 D5");
    let text = format!(
        "piece \"Sluice\" {{ revision \"2nd version, 12 May\" }}\n\
         form {{ 1 metre 4/4, key C major\n 160 end }}\nvoice tune {{ {tune} }}\n\
         ensemble few {{ era 1885\n flute\n }}\n\
         scoring festival for few {{\n flute plays tune as melody\n}}\n"
    );
    for pages in [part_of(&text, &Setup::default()), score(&text, false)] {
        assert!(pages.pages.len() > 2);
        for page in &pages.pages {
            let says = |words: &str| {
                page.marks.iter().any(|mark| match &mark.shape {
                    Shape::Text { run, .. } => run.text.contains(words),
                    _ => false,
                })
            };
            assert!(says("2nd version, 12 May") && says("festival"));
        }
    }
}

/// How many lines of music a part has on a page.
fn lines(page: &Page) -> usize {
    of(page, Kind::StaffLine).len() / 5
}

#[test]
fn no_last_page_has_a_single_line() {
    let mut several = 0;
    for count in (60..=140).step_by(4) {
        let form = format!("1 metre 4/4, key C major, tempo 1/4 at 96\n {count} end");
        let pages = part(&form, &bars(count, "1/8 C5 D5 E5 F5 1/4 G5 rest")).pages;
        if let [.., last] = &pages[..]
            && pages.len() > 1
        {
            several += 1;
            assert!(lines(last) > 1, "{count} bars");
        }
    }
    assert!(several > 8, "{several}");
}
