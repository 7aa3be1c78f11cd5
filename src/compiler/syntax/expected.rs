//! What the grammar would have taken at a place, in words.

use super::context::Rule;
use super::keywords::keyword;

/// Words of the form that tell where to go on.
const SIGNS: [&str; 6] = ["coda", "da", "dal", "fine", "segno", "to"];

/// What would have been right, in words.
#[derive(Default)]
pub(super) struct Expected {
    pub(super) things: Vec<&'static str>,
    pub(super) keywords: Vec<&'static str>,
}

impl Expected {
    pub(super) fn of(rules: &[Rule]) -> Expected {
        let mut expected = Expected::default();
        for &rule in rules {
            if let Some(keyword) = keyword(rule) {
                expected.keywords.push(keyword);
            } else if let Some(thing) = in_words(rule)
                && !expected.things.contains(&thing)
            {
                expected.things.push(thing);
            }
        }
        expected.keywords.sort();
        expected.keywords.dedup();
        expected
    }

    pub(super) fn sentence(&self) -> String {
        let mut all: Vec<String> = self.things.iter().map(ToString::to_string).collect();
        // Of many words those that lead elsewhere in a form come last.
        let many = self.keywords.len() > 10;
        let rare = |word: &str| many && SIGNS.contains(&word);
        let keywords = self.keywords.iter().filter(|word| !rare(word)).take(10);
        all.extend(keywords.map(|word| format!("`{word}`")));
        match all.as_slice() {
            [] => "not expected here".to_string(),
            [one] => format!("expected {one}"),
            [first @ .., last] => format!("expected {} or {last}", first.join(", ")),
        }
    }
}

fn in_words(rule: Rule) -> Option<&'static str> {
    Some(match rule {
        Rule::value => "a value such as `1/4`",
        Rule::fraction => "a fraction such as `3/4`",
        Rule::additive => "groups such as `3+2/8`",
        Rule::pitch => "a pitch such as `F#4`",
        Rule::note | Rule::simple | Rule::step => "a note",
        Rule::hold => "a hold `=`",
        Rule::sung => "a syllable",
        Rule::tuplet | Rule::tuplet_ratio => "a tuplet such as `3:2( … )`",
        Rule::bar_line => "a bar line `|`",
        Rule::bar_number => "a bar number such as `12:`",
        Rule::bar_range | Rule::bar_list | Rule::number | Rule::position => "a number",
        Rule::decimal => "a number",
        Rule::name => "a name in small letters",
        Rule::part | Rule::who => "the name of a player",
        Rule::any_word | Rule::direction_word | Rule::note_mark => "a word",
        Rule::unit => "a unit such as `bars`",
        Rule::string => "text in quotes",
        Rule::note_name | Rule::tuning => "a note name such as `Bb`",
        Rule::chord_symbol => "a chord symbol such as `Dm`",
        Rule::bracket_end => "`)`",
        Rule::close => "`}`",
        Rule::line_end => "the end of the line",
        Rule::rule_code => "the name of a rule such as `compass/outside-custom`",
        Rule::paper | Rule::staff_size | Rule::hide_empty | Rule::line_break => {
            "what is overridden, such as `staff 7.5 mm` or `break before 17`"
        }
        Rule::paper_size => "a size of paper such as `a4`",
        Rule::bar_numbers => "a number",
        Rule::shift => "a way such as `up 1.5`",
        Rule::octaves => "`8va`, `8vb`, `15ma` or `15mb`",
        Rule::metre => "`metre`",
        Rule::key => "`key`",
        Rule::tempo => "`tempo`",
        Rule::mark => "`mark`",
        Rule::repeat => "`repeat`",
        Rule::ending => "`ending`",
        Rule::segno => "`segno`",
        Rule::coda => "`coda`",
        Rule::to_coda => "`to coda`",
        Rule::fine => "`fine`",
        Rule::da_capo => "`da capo`",
        Rule::dal_segno => "`dal segno`",
        Rule::end => "`end`",
        Rule::plays | Rule::doubles | Rule::sustains | Rule::rests => "a verb such as `plays`",
        _ => return None,
    })
}
