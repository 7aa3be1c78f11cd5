//! The keywords of the language: the rule of the grammar that reads each, and the word itself, as the
//! reference has it.

use super::context::Rule;

macro_rules! keywords {
    ($($rule:ident => $word:literal,)*) => {
        /// The word, if the rule reads a keyword.
        pub(super) fn keyword(rule: Rule) -> Option<&'static str> {
            match rule {
                $(Rule::$rule => Some($word),)*
                _ => None,
            }
        }

        #[cfg(test)]
        const ALL: &[(&str, &str)] = &[$((stringify!($rule), $word)),*];
    };
}

keywords! {
    kw_15ma => "15ma",
    kw_15mb => "15mb",
    kw_8va => "8va",
    kw_8vb => "8vb",
    kw_afresh => "afresh",
    kw_al => "al",
    kw_allow => "allow",
    kw_alto => "alto",
    kw_arco => "arco",
    kw_as => "as",
    kw_at => "at",
    kw_attacca => "attacca",
    kw_bar => "bar",
    kw_bars => "bars",
    kw_basso => "basso",
    kw_beat => "beat",
    kw_before => "before",
    kw_break => "break",
    kw_broken => "broken",
    kw_budget => "budget",
    kw_cadences => "cadences",
    kw_capo => "capo",
    kw_chord => "chord",
    kw_chords => "chords",
    kw_clef => "clef",
    kw_coda => "coda",
    kw_common => "common",
    kw_compass => "compass",
    kw_crook => "crook",
    kw_crushed => "crushed",
    kw_custom => "custom",
    kw_cut => "cut",
    kw_da => "da",
    kw_dal => "dal",
    kw_divisi => "divisi",
    kw_double_bar => "double-bar",
    kw_doubles => "doubles",
    kw_down => "down",
    kw_dynamics => "dynamics",
    kw_each => "each",
    kw_empty => "empty",
    kw_end => "end",
    kw_ending => "ending",
    kw_ensemble => "ensemble",
    kw_entries => "entries",
    kw_era => "era",
    kw_extends => "extends",
    kw_figures => "figures",
    kw_fine => "fine",
    kw_for => "for",
    kw_form => "form",
    kw_from => "from",
    kw_grace => "grace",
    kw_group => "group",
    kw_harmony => "harmony",
    kw_hide => "hide",
    kw_highlights => "highlights",
    kw_in => "in",
    kw_instrument => "instrument",
    kw_joins => "joins",
    kw_keep => "keep",
    kw_key => "key",
    kw_landscape => "landscape",
    kw_layout => "layout",
    kw_left => "left",
    kw_length => "length",
    kw_like => "like",
    kw_limits => "limits",
    kw_lyrics => "lyrics",
    kw_major => "major",
    kw_mark => "mark",
    kw_marks => "marks",
    kw_metre => "metre",
    kw_minor => "minor",
    kw_mm => "mm",
    kw_movement => "movement",
    kw_muted => "muted",
    kw_nudge => "nudge",
    kw_of => "of",
    kw_off => "off",
    kw_on => "on",
    kw_paper => "paper",
    kw_parts => "parts",
    kw_peaks => "peaks",
    kw_phrases => "phrases",
    kw_pick_up => "pick-up",
    kw_piece => "piece",
    kw_pizz => "pizz",
    kw_player => "player",
    kw_players => "players",
    kw_plays => "plays",
    kw_realises => "realises",
    kw_repeat => "repeat",
    kw_rest => "rest",
    kw_rests => "rests",
    kw_right => "right",
    kw_score => "score",
    kw_scoring => "scoring",
    kw_segno => "segno",
    kw_short => "short",
    kw_signals => "signals",
    kw_signature => "signature",
    kw_solo => "solo",
    kw_sounds => "sounds",
    kw_staff => "staff",
    kw_strings => "strings",
    kw_sustains => "sustains",
    kw_takes => "takes",
    kw_tempo => "tempo",
    kw_the => "the",
    kw_through => "through",
    kw_times => "times",
    kw_to => "to",
    kw_tremolo => "tremolo",
    kw_tuned => "tuned",
    kw_turn => "turn",
    kw_unmuted => "unmuted",
    kw_up => "up",
    kw_up_beat => "up-beat",
    kw_use => "use",
    kw_verse => "verse",
    kw_voice => "voice",
    kw_with => "with",
    kw_without => "without",
    kw_writes => "writes",
    kw_written => "written",
    kw_x => "x",
}

#[cfg(test)]
mod tests {
    /// The grammar is read as text: each of its rules that reads a word stands in the table, with
    /// the first of the words that it takes.
    #[test]
    fn the_table_has_every_keyword_of_the_grammar() {
        let grammar = include_str!("../../../grammar/ripieno.pest");
        let rules: Vec<(&str, &str)> = grammar
            .lines()
            .filter(|line| line.starts_with("kw_"))
            .map(|line| {
                let (rule, reads) = line.split_once('=').unwrap();
                (rule.trim(), reads.split('"').nth(1).unwrap())
            })
            .collect();
        assert!(rules.len() > 80, "{rules:?}");
        assert_eq!(super::ALL, rules);
    }
}
